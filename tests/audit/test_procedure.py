"""The procedure, step by step: kept, not kept, and not called for."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import openpyxl
import pytest

from siltbook.batch.audit.agreed_rules import agreed_done
from siltbook.batch.audit.job import audit_bytes, audited_package
from siltbook.batch.audit.model import RuleResult, State, Taken
from siltbook.batch.audit.procedure import procedure
from siltbook.batch.audit.report import audit_json
from siltbook.batch.audit.steps_by import STEPS, by_person, by_station
from siltbook.batch.numbers.history import histories
from tests.audit.farm import Farm, honest, looks, open_places, planted
from tests.checks.builders import Row, book, job, reading

OVER: dict[str, Any] = {"inlet": 3.0, "outlet": 2.4}
FINE: dict[str, Any] = {"inlet": 3.0, "outlet": 2.8}
FLUSHED: dict[str, Any] = {"flush_inlet": 2.4}


def results(readings: list[Row], work: list[Row]) -> dict[str, RuleResult]:
    one = book(readings, work=work)
    on = dt.date(2026, 5, 31)
    return {r.rule.code: r for r in procedure(one, histories(one, on), on)}


def shares(found: dict[str, RuleResult]) -> dict[str, tuple[int | None, int | None]]:
    return {code: (r.kept, r.of) for code, r in found.items() if r.of}


def test_the_whole_ladder_kept() -> None:
    readings = [
        reading(4, **OVER),
        reading(4, **OVER, occasion="after flush"),
        reading(5, **OVER, occasion="after cleaning"),
        reading(9, **FINE),
    ]
    work = [job(4, **FLUSHED), job(5, "hand cleaning", gauge_zero="yes"), job(6, "called out")]
    readings.insert(2, reading(5, **OVER))
    found = results(readings, work)
    asked = {c: (1, 1) for c in found if c != "gear-in-time"}  # every flush had its signs
    assert shares(found) == asked | {"read-after": (2, 2), "recovery-shown": (1, 1)}
    assert looks(found) == set()


def test_over_and_nobody_flushed() -> None:
    found = results([reading(4, **OVER), reading(11, **OVER)], [job(12, **FLUSHED)])
    (place,) = open_places(found["flush-in-a-day"])
    assert place.said == (
        "North 1, 2026-05-04: drop 6.12 m over the limit, flush on 2026-05-12, 8 days later"
    )
    assert (place.sheet, place.cell) == ("Readings", "D2")


def test_a_second_reading_that_takes_the_first_back_calls_for_no_flush() -> None:
    found = results([reading(4, **OVER), reading(5, **FINE)], [])
    assert found["flush-in-a-day"].state is State.CANNOT


def test_the_last_day_is_still_open() -> None:
    assert results([reading(31, **OVER)], [])["flush-in-a-day"].state is State.CANNOT


def test_a_flush_with_too_few_cycles_a_low_inlet_and_no_signs_written_down() -> None:
    poor = job(4, cycles=2, flush_inlet=1.5, click=None, water=None)
    found = results([reading(4, **OVER), reading(5, **FINE)], [poor])
    assert open_places(found["all-cycles"])[0].said == "North 1, 2026-05-04: cycles 2 of 3"
    assert "lowest inlet 15.3 m (at least 20.4 m)" in found["inlet-held"].said
    assert "click and water not recorded" in found["signs-recorded"].said


def test_blank_cells_are_not_recorded_and_so_not_shown() -> None:
    blank = job(4, cycles=None, flush_inlet=None)
    found = results([reading(4, **OVER), reading(5, **FINE)], [blank])
    assert "cycles not recorded" in found["all-cycles"].said
    assert "lowest inlet not recorded" in found["inlet-held"].said
    assert found["signs-recorded"].state is State.QUIET


def test_nothing_read_after_the_flush() -> None:
    found = results([reading(4, **OVER), reading(18, **OVER)], [job(4, **FLUSHED)])
    assert open_places(found["read-after"])[0].said == (
        "North 1, 2026-05-04: flush, reading on 2026-05-18, 14 days later"
    )


def test_after_a_flush_that_showed_no_signs_the_gear_comes_first() -> None:
    failed = job(4, click="no", water="no", **FLUSHED)
    found = results([reading(4, **OVER), reading(18, **OVER)], [failed])
    assert found["read-after"].state is State.CANNOT
    assert found["signs-recorded"].state is State.QUIET


def test_cleaned_without_a_proven_flush() -> None:
    cleaned = job(4, "hand cleaning", gauge_zero="yes")
    found = results([reading(4, **OVER), reading(5, **FINE)], [cleaned])
    assert open_places(found["cleaned-after-flush"])[0].said == (
        "North 1, 2026-05-04: hand cleaning after the station 'needs flush'"
    )


def test_a_planned_cleaning_needs_no_flush_but_a_gauge_that_was_seen_working() -> None:
    cleaned = job(6, "hand cleaning")
    found = results([reading(4, **FINE), reading(7, **FINE)], [cleaned])
    assert found["cleaned-after-flush"].state is State.CANNOT
    assert "gauge at zero: not recorded" in found["zero-before-opening"].said
    assert "no reading above zero earlier that day" in found["above-zero-before"].said


def test_a_call_for_help_is_never_held_against_anyone() -> None:
    found = results([reading(4, **OVER), reading(9, **OVER)], [job(5, "called out")])
    called = found["called-after-cleaning"]
    assert called.state is State.QUIET
    assert called.said == (
        "A call for help is never held against anyone, also one made before opening."
    )
    assert called.places[0].said == (
        "North 1, 2026-05-05: called out at 'needs flush', before cleaning was tried: in order, as "
        "any call"
    )


def test_a_skipped_step_in_a_season() -> None:
    kept = honest().results()["flush-in-a-day"]
    assert kept.state is State.QUIET

    def skip(farm: Farm) -> None:
        first = next(r for r in farm.work if r["work"] == "flush")
        farm.work.remove(first)
        for row in farm.of(str(first["station"]), "after flush"):
            if row["date"] == first["date"]:
                farm.readings.remove(row)

    skipped = planted(skip)["flush-in-a-day"]
    assert skipped.state is State.LOOK
    assert (skipped.kept, skipped.of) != (kept.kept, kept.of)
    assert "no flush until " in skipped.said


def test_nobody_cleaned_after_a_proven_flush_that_did_not_help() -> None:
    late = [reading(4, **OVER), reading(4, **OVER, occasion="after flush"), reading(25, **OVER)]
    found = results(late, [job(4, **FLUSHED)])["cleaned-in-time"]
    assert found.state is State.LOOK
    (place,) = open_places(found)
    assert "2026-05-04" in place.said


def test_nobody_called_after_a_cleaning_that_did_not_help() -> None:
    late = [
        reading(4, **OVER), reading(4, **OVER, occasion="after flush"),
        reading(5, **OVER, occasion="after cleaning"), reading(25, **OVER),
    ]  # fmt: skip
    work = [job(4, **FLUSHED), job(5, "hand cleaning", gauge_zero="yes")]
    found = results(late, work)["called-in-time"]
    assert found.state is State.LOOK
    (place,) = open_places(found)
    assert "2026-05-05" in place.said


def test_without_an_agreed_action_nothing_can_be_told_of_them() -> None:
    one = book([reading(4, **FINE)])
    found = agreed_done(one, ())
    assert (found.rule.code, found.state) == ("agreed-done", State.CANNOT)
    assert found.said == "Nothing agreed was due."


def test_steps_are_counted_for_each_station_and_each_person() -> None:
    farm = honest()
    for row in farm.readings:
        row["read_by"] = "Reader A"
    for row in farm.work:
        row["done_by"] = "Reader B"
    gone = next(row for row in farm.work if row["work"] == "flush")
    farm.work.remove(gone)
    results = list(farm.results().values())
    stations, people = by_station(results), by_person(results)
    asked = sum(r.of or 0 for r in results if r.rule.code in STEPS)
    assert sum(c.asked for c in stations) == sum(c.asked for c in people) == asked
    assert stations[0].name == gone["station"]
    assert stations[0].taken[Taken.IN_TIME] < stations[0].asked
    assert {c.name for c in people} == {"Reader A", "Reader B"}
    by_name = {c.name: c for c in people}
    # Who flushed took those steps in time; who read what was not followed is named beside it.
    assert by_name["Reader B"].taken[Taken.IN_TIME] == by_name["Reader B"].asked > 0
    assert by_name["Reader A"].taken.total() > by_name["Reader A"].taken[Taken.IN_TIME]


@pytest.mark.usefixtures("without_what_would_be")
def test_the_steps_stand_on_the_detail_and_in_json() -> None:
    audit = audit_bytes(honest().package(), "farm.xlsx")
    package = audited_package(audit, honest().package(), "farm.xlsx")
    sheet = openpyxl.load_workbook(io.BytesIO(package))["Audit detail"]
    rows = [[cell.value for cell in row[1:7]] for row in sheet.iter_rows()]
    heads = ["Steps asked for", "In time", "Late", "Not taken", "Cannot be told"]
    first = rows.index(["Station", *heads])
    count = by_station(audit.results)[0]
    numbers = [count.asked, *(count.taken[t] for t in Taken)]
    assert rows[first + 1] == [count.name, *numbers]
    assert ["Person", *heads] in rows
    steps = audit_json(audit, "farm.xlsx", None)["steps"]
    assert steps["stations"][0] == {
        "name": count.name, "asked": numbers[0], "in_time": numbers[1], "late": numbers[2],
        "not_taken": numbers[3], "cannot_be_told": numbers[4],
    }  # fmt: skip
    assert [one["name"] for one in steps["people"]] == ["(no name)"]
