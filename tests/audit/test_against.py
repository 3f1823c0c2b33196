"""Earlier copies, archives and packs as witnesses: what is gone or changed in the book since."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch.audit.against import against
from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Question, RuleResult, State
from siltbook.batch.audit.report import answer
from siltbook.batch.audit.witness import read_witness
from siltbook.batch.cli import main
from siltbook.batch.job import review_bytes
from siltbook.batch.merging.sides import read_side
from siltbook.templates.blank import BlankOptions, build
from tests.audit.farm import Farm, half, open_places

NAME, COPY = "farm.xlsx", "may.xlsx"
pytestmark = pytest.mark.usefixtures("without_what_would_be")


def with_failed_flush() -> Farm:
    """Half of the honest farm with a flush that showed no water."""
    farm = half()
    farm.work[3].update(click="yes", water="no")
    return farm


def compared(now: Farm, was: Farm | bytes) -> dict[str, RuleResult]:
    """What a copy says of the book; without the rest of the audit, which asks nothing of it."""
    home = read_side(now.package(), NAME)
    witness = was if isinstance(was, bytes) else was.package()
    return {r.rule.code: r for r in against(home, [read_witness(witness, COPY, home)])}


def settings(**values: object) -> bytes:
    farm = half()
    lists = {"Stations": farm.stations, "Readings": farm.readings, "Work done": farm.work}
    return build(BlankOptions("bar", "m3/h", "Invented farm"), lists, {"interval": 7, **values})


def test_a_book_that_only_grew_says_that_every_row_still_stands() -> None:
    early = half()
    early.readings, early.work = early.readings[:40], early.work[:5]
    found = compared(half(), early)
    assert found["witness-rows"].state is State.QUIET
    said = f"All 45 rows of {COPY} stand in the book with the same values."
    assert found["witness-rows"].said == said
    assert found["witness-rules"].said == (
        f"Limits, units, intervals and gauges are those of {COPY}."
    )


def test_a_failed_flush_that_is_gone_is_named_first_with_its_place_in_both() -> None:
    now = with_failed_flush()
    gone = now.work.pop(3)
    now.readings.pop(40)
    rows = compared(now, with_failed_flush())["witness-rows"]
    first, second = open_places(rows)
    assert first.said == (
        f"{gone['station']}, {gone['date']}: 'flush' without water at the outlet stands in "
        f"{COPY}, Work done!5:5, and not in the book"
    )
    assert first.sheet == "Work done"
    assert second.said.endswith(f"stands in {COPY}, Readings!42:42, and not in the book")
    assert second.sheet == "Readings"
    assert (rows.of or 0) - (rows.kept or 0) == 2


def test_changed_values_and_days_are_named_with_both() -> None:
    now = with_failed_flush()
    old = now.readings[40]["inlet"]
    now.readings[40]["inlet"] = 2.0
    moved = now.readings[50]
    was = moved["date"]
    moved["date"] = was + dt.timedelta(days=3)
    now.work[3]["water"] = "yes"
    said = [p.said for p in open_places(compared(now, with_failed_flush())["witness-rows"])]
    assert len(said) == 3
    assert any(f"Inlet pressure is 2; {old:g} in {COPY}, Readings!42:42" in s for s in said)
    assert any(f"date {was} → {moved['date']}" in s for s in said)
    assert any(f"Water at outlet is yes; no in {COPY}, Work done!5:5" in s for s in said)


@pytest.mark.at_length  # test_files_agree.py
def test_an_empty_cell_of_a_reading_that_was_filled_in_is_for_the_record() -> None:
    early = half()
    for reading in early.readings[:3]:
        reading["time"] = None
    rows = compared(half(), early)["witness-rows"]
    assert rows.state is State.QUIET
    assert [place.holds for place in rows.places] == [True, True, True]


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"drop_limit": 4.0}, "Drop limit is 0.4903 bar; 0.3923 bar in may.xlsx, Farm!B6"),
        ({"watch_share": 0.7}, "Watch share is 0.8; 0.7 in may.xlsx, Farm!B7"),
        ({"interval": 3}, "Reading interval is 7 days; 3 days in may.xlsx, Farm!B10"),
    ],
)
def test_a_setting_that_changed_is_a_finding(values: dict[str, object], said: str) -> None:
    rules = compared(half(), settings(**values))["witness-rules"]
    assert [place.said for place in open_places(rules)] == [said]


@pytest.mark.at_length  # test_own_rules.py: the same figure in another unit
def test_a_unit_that_changed_is_one_finding_and_no_changed_reading() -> None:
    found = compared(half(), settings(pressure_unit="kPa"))
    assert open_places(found["witness-rules"])[0].said.startswith(
        "Pressure unit is bar; kPa in may.xlsx, Farm!B4"
    )
    assert found["witness-rows"].state is State.QUIET


@pytest.mark.at_length  # a setting that changed is one
def test_a_gauge_and_a_limit_of_the_register_that_changed_are_findings() -> None:
    now = half()
    now.stations[1].update(gauge_class=2.5, drop_limit=6.0)
    del now.stations[2]
    said = [p.said for p in open_places(compared(now, half())["witness-rules"])]
    assert said == [
        "Birch: Drop limit (m) is 6; empty in may.xlsx, Stations!3:3",
        "Birch: Gauge class (%) is 2.5; 1 in may.xlsx, Stations!3:3",
        "Elm: stands in may.xlsx, Stations!4:4, and not in the book",
    ]


def test_another_farm_s_book_is_no_witness_and_reassures_of_nothing() -> None:
    other = half()
    for row in (*other.stations, *other.readings, *other.work):
        row["station"] = f"North {row['station']}"
    rows = compared(half(), other)["witness-rows"]
    assert rows.state is State.CANNOT
    assert rows.said == f"{COPY} is no witness: it has no station in common with the book."


@pytest.mark.at_length  # test_files_agree.py
def test_a_book_without_any_row_left_is_held_against_its_copy() -> None:
    empty = half()
    empty.readings, empty.work = [], []
    audit = audit_bytes(empty.package(), NAME, None, [(COPY, half().package())])
    rows = next(r for r in audit.results if r.rule.code == "witness-rows")
    assert rows.kept == 0
    assert answer(audit, Question.TRUST).startswith("Look first, then trust: ")


@pytest.mark.at_length  # test_earlier.py, test_agreed.py: one of each
def test_an_archive_and_a_pack_are_witnesses(tmp_path: Path) -> None:
    book = tmp_path / NAME
    book.write_bytes(with_failed_flush().package())
    run = CliRunner().invoke
    assert run(main, ["archive", str(book), "--to", str(tmp_path / "kept")]).exit_code == 0
    failed = with_failed_flush().work[3]
    month, pack = f"{failed['date']:%Y-%m}", tmp_path / "pack.xlsx"
    made = run(main, ["review", str(book), "--month", month, "--no-pdf", "--out", str(pack)])
    assert made.exit_code == 0, made.output
    packs = sorted(tmp_path.rglob("*review-*.xlsx")) or [pack]
    now = with_failed_flush()
    del now.work[3]
    now.stations[0]["drop_limit"] = 9.0
    book.write_bytes(now.package())
    wanted = f"{failed['station']}, {failed['date']}: 'flush' without water at the outlet stands in"
    for witness in (tmp_path / "kept", packs[0]):
        done = run(main, ["audit", str(book), "--against", str(witness), "--json"])
        assert done.exit_code == 1, done.output
        rules = [r for q in json.loads(done.output)["books"][0]["questions"] for r in q["rules"]]
        (rows,) = [r for r in rules if r["rule"] == "witness-rows"]
        assert rows["said"].startswith(wanted), rows["said"]
        # Every other flush and reading stands there unchanged, whatever unit the pack shows.
        assert (rows["of"] or 0) - (rows["kept"] or 0) == 1
        (rules_of,) = [r for r in rules if r["rule"] == "witness-rules"]
        assert "drop limit" in rules_of["said"].casefold() or "limit is 9" in rules_of["said"]
    (tmp_path / "kept" / "farm" / NAME).write_bytes(now.package())
    done = run(main, ["audit", str(book), "--against", str(tmp_path / "kept")])
    assert done.exit_code == 3
    assert "is not the file that the archive lists, so it is no witness" in done.output


@pytest.mark.at_length  # test_earlier.py finds a witness that holds the inputs
def test_the_inputs_of_the_last_run_are_found_in_a_witness() -> None:
    was = half()
    result = review_bytes(was.package(), NAME, NAME).package
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.reading.workbook import open_workbook
    from siltbook.batch.review.append import change_cells

    table = read_book(result, NAME).book.readings
    styles = open_workbook(open_package(result, NAME), NAME).styles
    data = change_cells(result, table, {20: dict.fromkeys(table.places)}, styles)
    audit = audit_bytes(data, NAME, None, [(COPY, was.package())])
    said = answer(audit, Question.VERDICT)
    assert said.startswith(
        f"Not as it stands. Inputs changed since {COPY}, which the last run was made from: "
    )
    assert " cells follow from it. " in said
