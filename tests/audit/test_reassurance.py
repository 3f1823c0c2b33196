"""A reassuring sentence is the hardest one to get: what once got one, and must not."""

from __future__ import annotations

import io

import openpyxl
import pytest

from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Audit, Question, RuleResult, State
from siltbook.batch.audit.report import answer
from tests.audit.farm import Farm, honest, looks, open_places, planted
from tests.samples.load import SAMPLES
from tests.whole.verdicts import Row, day, filled, reading

CALM = "speaks against"


def audited(farm: Farm) -> Audit:
    return audit_bytes(farm.package(), "farm.xlsx")


def rules(audit: Audit) -> dict[str, State]:
    return {r.rule.code: r.state for r in audit.results}


def test_the_honest_farm_is_told_yes() -> None:
    audit = audited(honest())
    assert CALM in answer(audit, Question.TRUST)
    assert answer(audit, Question.PROCEDURE).startswith("Yes: all ")


@pytest.mark.at_length  # test_many_doubts: the book's own findings
def test_two_rows_typed_in_kilopascal_speak_against_the_data() -> None:
    farm = honest()
    for row in farm.of("Cedar")[5:7]:
        row["inlet"], row["outlet"] = 100 * row["inlet"], 100 * row["outlet"]
    said = answer(audited(farm), Question.TRUST)
    assert CALM not in said
    assert "The book's own findings: 4 errors" in said
    assert "the worst: Readings!D" in said


def test_many_doubts_speak_against_the_data() -> None:
    farm = honest()
    for row in farm.of("Cedar")[5:17]:
        row["drop"] = 9.0
    audit = audited(farm)
    assert rules(audit)["book-findings"] is State.LOOK
    assert CALM not in answer(audit, Question.TRUST)


@pytest.mark.at_length  # test_steps.py and test_limits.py: calls for help
def test_a_station_left_waiting_for_weeks_is_said_with_its_days() -> None:
    farm = honest()
    flush = next(r for r in farm.work if r["work"] == "flush" and r["station"] == "Alder")
    begun = flush["date"]
    farm.readings = [r for r in farm.readings if r["station"] != "Alder" or r["date"] < begun]
    farm.work = [r for r in farm.work if r["station"] != "Alder" or r["date"] < begun]
    over = {"station": "Alder", "date": begun, "inlet": 3.0, "outlet": 2.3, "occasion": "routine"}
    farm.readings += [over | {"occasion": o} for o in ("routine", "after flush", "after cleaning")]
    farm.work += [flush, {"station": "Alder", "date": begun, "work": "hand cleaning"}]
    for row, hour in zip(farm.readings[-3:], (8, 10, 12), strict=True):
        row["time"] = f"{hour:02d}:00"
    for row, hour in zip(farm.work[-2:], (9, 11), strict=True):
        row["time"] = f"{hour:02d}:00"
    audit = audited(farm)
    said = answer(audit, Question.PROCEDURE)
    assert said.startswith("Not in all: of ")
    assert "%" not in said
    waits = "drop 0.70 bar after hand cleaning, no call for help since, for "
    assert f"Alder, {begun}: {waits}" in said


def test_deleted_flushes_are_missed() -> None:
    def delete(farm: Farm) -> None:
        farm.work = [r for r in farm.work if (r["station"], r["work"]) != ("Alder", "flush")]

    results = planted(delete)
    assert {"recovery-shown", "step-order"} <= looks(results)
    assert results["flush-in-a-day"].untold > 0
    shown = open_places(results["recovery-shown"])[0]
    assert "with nothing in the log that explains it: recovery not shown" in shown.said


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("sheet", ["readings", "work"])
def test_entries_far_below_later_ones_are_not_said_to_be_in_order(sheet: str) -> None:
    def late(farm: Farm) -> None:
        rows = getattr(farm, sheet)
        first = next(r for r in rows if r["station"] == "Alder")
        rows.remove(first)
        rows.append(first)

    assert planted(late)["back-dated"].state is State.LOOK
    assert "in the order of their dates" not in honest().results()["back-dated"].said


@pytest.mark.at_length  # test_own_rules.py and test_rules_of_book.py
@pytest.mark.parametrize("remark", ["", "agreed with the owner in March"])
def test_a_raised_limit_needs_a_remark(remark: str) -> None:
    book = openpyxl.load_workbook(io.BytesIO(honest().package()))
    sheet = book["Farm"]
    (row,) = (r for r in sheet.iter_rows() if r[0].value == "Drop limit")
    row[1].value = 6
    if remark:
        sheet.cell(row[0].row, 5, remark)
    target = io.BytesIO()
    book.save(target)
    audit = audit_bytes(target.getvalue(), "farm.xlsx")
    said = answer(audit, Question.PROCEDURE)
    raised = "Drop limit is 0.5884 bar, by default 0.4903 bar; no remark says why"
    assert (raised in said) is (not remark)
    assert (rules(audit)["rules-of-book"] is State.LOOK) is (not remark)


@pytest.mark.at_length  # test_steps.py counts each step
def test_the_counts_add_up_on_the_sample_farm() -> None:
    book = SAMPLES / "twelve-stations.xlsx"
    audit = audit_bytes(book.read_bytes(), book.name)
    asked = [r for r in audit.of(Question.PROCEDURE) if r.of]
    assert asked
    for result in asked:
        assert result.kept is not None
        assert result.missing >= 0
        assert len(result.places) == result.of


@pytest.mark.parametrize(("done", "state"), [({"Flushed": day(1)}, State.QUIET), ({}, State.LOOK)])
def test_the_work_of_last_season_explains_a_return_to_range(done: Row, state: State) -> None:
    """Flushed on the last day of the old season; read in range on the first of the new one."""
    step = "awaiting reading after flush" if done else "needs flush"
    carried = [{"Station": "North 1", "Stood at": step, "Over since": day(1), **done}]
    book = filled(Readings=[reading(day(20), 3.2, 3.0)], Carried_over=carried)
    assert rules(audit_bytes(book, "farm.xlsx"))["recovery-shown"] is state


def rules_of(farm: Farm) -> RuleResult:
    audit = audit_bytes(farm.package(), "farm.xlsx")
    return next(r for r in audit.results if r.rule.code == "rules-of-book")


@pytest.mark.at_length  # test_own_rules.py: units and gauges
def test_a_unit_and_a_gauge_of_one_station_are_said_for_the_record_and_alarm_nobody() -> None:
    farm = honest()
    assert rules_of(farm).said == "Limit, watch share, flush rules and interval are the defaults."
    farm.stations[2].update(gauge_class=2.5)
    farm.stations[4].update(unit="kPa")
    result = rules_of(farm)
    assert result.state is State.QUIET
    said = [place.said for place in result.places]
    assert said[0] == "Hazel: pressures in kPa, the farm's in bar; no remark says why"
    assert "Cedar: Gauge class (%) 2.5, at most stations 1; no remark says why" in said
    assert "not as at most stations, with no remark; the first: Hazel: pressures in" in result.said
    farm.stations[2]["remark"] = "old gauge, to be replaced"
    farm.stations[4]["remark"] = "unit of the gauge is kPa"
    left = [place.said for place in rules_of(farm).places]
    assert [s for s in left if s.startswith(("Hazel: pressures", "Cedar"))] == []
