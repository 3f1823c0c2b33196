"""Entries that were not read or used: no answer that they may change reassures without a word."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Question
from siltbook.batch.audit.report import answer
from siltbook.batch.cli import main
from siltbook.batch.fingerprint import fingerprint
from tests.sheets.test_beside import actions
from tests.whole.verdicts import (
    NAME,
    Row,
    assessed,
    day,
    filled,
    judged,
    reading,
    said,
    station,
    work,
)

OVER, FINE = (3.2, 2.5), (3.2, 3.0)  # inlet and outlet [bar]: drops of 7.14 and 2.04 m
RANGE = "Drop 2.04 m on 2026-06-08, within the limit of 5.00 m."
READ = [reading(day(1), *FINE), reading(day(8), *FINE)]
NOWHERE = (
    "Judged nowhere, since it was not read: Readings July, a sheet that looks like Readings by its"
    " headers."
)


def beside(*rows: Row, name: str = "Readings_July") -> bytes:
    """The book of a station in range with one more sheet."""
    return filled(Readings=READ, Work_done=[work(day(1))], **{name: list(rows)})


def test_a_later_reading_on_such_a_sheet_has_to_be_read() -> None:
    """It was In range, and no station needed anything."""
    book = beside(reading(day(15), *OVER))
    verdict, sentence = said(book)
    assert verdict == "re-read"
    assert sentence == (
        f"{RANGE} The sheet Readings July looks like Readings, was not read and has an entry here"
        " of 2026-06-15: move its rows to the sheet Readings."
    )
    assert judged(book).judgement.steps[0].words == (
        "Move the rows that were not read to where they belong."
    )


@pytest.mark.parametrize("rows", [
    [reading(day(1), *OVER), reading(day(8), *FINE)],
    [reading(dt.date(2025, 8, 1), *OVER)],
    [reading(day(15), *OVER) | {"Station": "South 7"}],
    [reading(None, *OVER)],
])  # fmt: skip
def test_rows_that_are_not_later_leave_the_verdict_and_are_said(rows: list[Row]) -> None:
    """A copy of the sheet, last season's, another farm's, or one without a day."""
    assert said(beside(*rows)) == ("in-range", RANGE)
    found = actions(beside(*rows))
    assert NOWHERE in found
    assert "No station of the register needs anything, as far as the data tell." in found


def test_a_day_after_the_review_is_not_held_against_it() -> None:
    book = beside(reading(day(15), *OVER))
    assert said(book, day(7))[0] == "in-range"
    assert said(book, day(14))[0] == "in-range"
    assert said(book, day(15))[0] == "re-read"


def test_work_of_a_day_without_any_has_to_be_read() -> None:
    failed = work(day(8), Click_heard="no")
    verdict, sentence = said(beside(failed, name="Work_June"))
    assert verdict == "re-read"
    assert sentence.endswith(
        " The sheet Work June looks like Work done, was not read and has an entry here of"
        " 2026-06-08: move its rows to the sheet Work done."
    )
    assert said(beside(work(day(1)), name="Work_June"))[0] == "in-range"


def test_the_terminal_and_the_archive_say_it(tmp_path: Path) -> None:
    book = tmp_path / NAME
    book.write_bytes(beside(reading(day(8), *OVER)))
    run = CliRunner().invoke(main, ["run", str(book), "--out", str(tmp_path)]).output
    assert f"  1 of 1 stations need nothing now\n  {NOWHERE}\n" in run
    kept = CliRunner().invoke(main, ["archive", str(book), "--to", str(tmp_path / "kept")])
    assert kept.exit_code == 0
    assert f"  {NOWHERE}\n  Seal: " in kept.output


def test_the_audit_trusts_no_data_and_no_procedure_beside_it() -> None:
    audit = audit_bytes(beside(reading(day(8), *OVER)), NAME)
    assert answer(audit, Question.TRUST).startswith("Look first, then trust: ")
    assert (
        "the worst: Readings July, sheet was not read (a sheet that looks like Readings by its"
        " headers)." in answer(audit, Question.TRUST)
    )
    assert answer(audit, Question.PROCEDURE) == (
        f"No step of the procedure was called for by what was read. {NOWHERE}"
    )


@pytest.mark.parametrize(("heads", "cells"), [
    (("Station", "Date", "Inlet pressure", "Outlet pressure"), ("North 1", day(15), *OVER)),
    (("Inlet pressure", "Outlet pressure"), OVER),
])  # fmt: skip
def test_a_second_table_beside_the_first(heads: tuple[str, ...], cells: tuple[Any, ...]) -> None:
    """Another block of columns, or the pressures of the evening: *In range*, with doubts."""
    workbook = openpyxl.load_workbook(io.BytesIO(filled(Readings=READ)))
    for column, (head, cell) in enumerate(zip(heads, cells, strict=True), 5):
        workbook["Readings"].cell(1, column).value = head
        workbook["Readings"].cell(3, column).value = cell
    target = io.BytesIO()
    workbook.save(target)
    verdict, sentence = said(target.getvalue())
    on = day(15 if len(cells) == 4 else 8)
    assert verdict == "re-read"
    assert sentence == (
        f"{RANGE} A second table on Readings was not read and has an entry here of {on}: move its"
        " rows under the first."
    )
    named = [
        text for text in actions(target.getvalue()) if "under a header that stands twice" in text
    ]
    assert named[0].startswith("Judged nowhere, under a header that stands twice: Readings E1, '")


def test_a_row_of_pressures_with_neither_station_nor_date() -> None:
    """Both were left out as above; the row was an error, and the station in range."""
    row = {"Inlet pressure": 3.2, "Outlet pressure": 2.5}
    assert said(filled(Readings=[*READ, row])) == (
        "re-read",
        f"{RANGE} Row 4 of the readings could not be placed and may be the latest here: correct"
        " station or date.",
    )
    assert said(filled(Readings=[READ[0], row, READ[1]]))[0] == "in-range"
    nameless = {"Work": "flush", "Click heard": "no"}
    assert said(filled(Readings=READ, Work_done=[work(day(1)), nameless])) == (
        "re-read",
        f"{RANGE} Row 3 of the work could not be placed and may be work here: correct station or"
        " date.",
    )


def test_what_is_dated_after_the_day_of_the_review_is_said() -> None:
    """A review date that was left from last month: a note, and no station needed anything."""
    farm: list[Row] = [{"Review date": day(8)}]
    found = actions(filled(Farm=farm, Readings=[*READ, reading(day(20), *OVER)]))
    assert "No station of the register needs anything, as far as the data tell." in found
    assert (
        "Not used, since all is judged as of 2026-06-08: Readings, 1 entry (row 4), the first dated"
        " 2026-06-20." in found
    )


def test_a_station_out_of_service_that_was_read_over_is_said() -> None:
    register = station(In_service="no")
    found = actions(filled(Stations=register, Readings=[*READ, reading(day(9), *OVER)]))
    assert (
        "Not in service, and over the limit when last read: North 1. See to it before it is put"
        " into service, or correct the register." in found
    )
    assert not [t for t in actions(filled(Stations=register, Readings=READ)) if "last read" in t]


def test_what_was_not_read_is_among_the_inputs() -> None:
    """Else the audit would blame a hand for a verdict that such a sheet changed."""
    without, later = filled(Readings=READ, Work_done=[work(day(1))]), reading(day(15), *FINE)
    prints = [fingerprint(assessed(book).book) for book in (without, beside(later), beside())]
    assert len({*prints}) == 2
    assert prints[0] == prints[2]
