"""A sheet of entries that was not read: no answer that it may change reassures without a word."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Question
from siltbook.batch.audit.report import answer
from siltbook.batch.cli import main
from tests.sheets.test_beside import actions
from tests.whole.verdicts import NAME, Row, day, filled, judged, reading, said, work

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
        "Move the rows of the sheet that was not read to the sheet where they belong."
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
