"""Books whose result sheets were broken, blown up or rewritten: the audit stands and says so."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch.audit import stored_results
from siltbook.batch.audit.job import audit_bytes, audited_package
from siltbook.batch.audit.model import Audit, Question, RuleResult, State
from siltbook.batch.audit.report import answer, audit_json
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.job import review_bytes
from siltbook.templates.contract import RESULT_SHEETS
from tests.effort import must_end
from tests.graft.packs import sheet_part
from tests.reading.books import clean_sheets, workbook, zipped
from tests.review.packs import small_pack

NAME = "b.xlsx"
pytestmark = pytest.mark.usefixtures("without_what_would_be")
DAMAGED = f"{RESULT_SHEETS[0]} is damaged and cannot be read; run 'siltbook run' again"


@cache
def reviewed() -> bytes:
    return review_bytes(workbook(clean_sheets()), NAME, NAME).package


def edited(edit: Callable[[bytes], bytes], *only: str) -> bytes:
    """The reviewed book with an edit of its result sheets, or of only some of them, by name."""
    with zipfile.ZipFile(io.BytesIO(reviewed())) as archive:
        parts: dict[str, str | bytes] = {n: archive.read(n) for n in archive.namelist()}
    before = dict(parts)
    for name in (sheet_part(reviewed(), sheet) for sheet in only or RESULT_SHEETS):
        parts[name] = edit(archive_bytes(parts[name]))
    assert parts != before
    return zipped(parts)


def archive_bytes(part: str | bytes) -> bytes:
    assert isinstance(part, bytes)
    return part


def added(cells: str, row: int = 1_048_576) -> Callable[[bytes], bytes]:
    """An edit that puts a row with these cells at the sheet's end."""
    made = f'<row r="{row}">{cells}</row></sheetData>'.encode()
    return lambda xml: xml.replace(b"</sheetData>", made)


def audited(data: bytes) -> tuple[Audit, RuleResult, str]:
    """The audit, what came of the numbers, and the answer to the third question."""
    with must_end():
        audit = audit_bytes(data, NAME)
        audited_package(audit, data, NAME)
    json.dumps(audit_json(audit, NAME, None), allow_nan=False)
    found = {r.rule.code: r for r in audit.of(Question.VERDICT)}
    return audit, found["same-numbers"], answer(audit, Question.VERDICT)


BROKEN = {
    "cut": lambda xml: xml[: len(xml) // 2],
    "doctype": lambda xml: xml.replace(
        b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet', 1),
    "beyond-the-corner": lambda xml: xml.replace(b'r="A5"', b'r="ZZZ99"'),
    "row-beyond": added('<c r="A1048579"><v>1</v></c>', 1_048_579),
    "infinite": added('<c r="A1048576"><v>1e999</v></c>'),
    "no-number": added('<c r="A1048576"><v>one</v></c>'),
    "no-such-string": added('<c r="A1048576" t="s"><v>999999</v></c>'),
}  # fmt: skip


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("which", BROKEN)
def test_one_broken_result_sheet_is_something_to_look_at(which: str) -> None:
    _, numbers, said = audited(edited(BROKEN[which], RESULT_SHEETS[0]))
    assert numbers.state is State.LOOK
    assert numbers.said == DAMAGED
    assert said.startswith(f"Not as it stands. {DAMAGED}. ")


def test_where_every_result_sheet_is_broken_nothing_is_compared() -> None:
    audit, numbers, said = audited(edited(BROKEN["cut"]))
    assert numbers.state is State.CANNOT
    names = ", ".join(RESULT_SHEETS)
    assert said.startswith(
        f"The result sheets {names} are damaged and cannot be read: run 'siltbook run' again to "
        "replace them. There is nothing to compare."
    )
    assert answer(audit, Question.TRUST).startswith("It cannot be told. ")


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("day", ["2026-99-99", "0000-01-01", "0001-01-01", "9999-12-31"])
def test_a_day_that_no_book_can_have_in_the_mark_is_something_to_look_at(day: str) -> None:
    data = edited(lambda xml: xml.replace(b"as of 2026-05-04", f"as of {day}".encode()))
    audit, _, _ = audited(data)
    (date,) = [r for r in audit.of(Question.VERDICT) if r.rule.code == "same-date"]
    assert date.state is State.LOOK
    assert date.said == "The result sheets stand as of no date; the audit as of 2026-05-04"


@pytest.mark.at_length(keep="2026-05-03")
@pytest.mark.parametrize("day", ["2026-05-03", "2026-05-05", "1950-01-01", "2149-12-31"])
def test_result_sheets_of_an_earlier_or_a_later_day_are_compared_as_of_it(day: str) -> None:
    data = review_bytes(workbook(clean_sheets()), NAME, NAME, dt.date.fromisoformat(day)).package
    audit, numbers, _ = audited(data)
    assert numbers.state is State.QUIET
    (date,) = [r for r in audit.of(Question.VERDICT) if r.rule.code == "same-date"]
    assert date.said == f"The result sheets stand as of {day}; the audit as of 2026-05-04"


ODD = {
    "corner": ('<c r="XFD1048576"><v>1</v></c>', "XFD1048576 holds 1; recomputed nothing"),
    "error": ('<c r="A1048576" t="e"><v>#REF!</v></c>', 'A1048576 holds "#REF!"; recomputed'),
    "long": (f'<c r="A1048576" t="inlineStr"><is><t>{"x" * 3_000_000}</t></is></c>',
             f'A1048576 holds "{"x" * 60}"; recomputed nothing'),
    "formula": ('<c r="A1048576" t="inlineStr"><is><t>=cmd|x</t></is></c>',
                'A1048576 holds "=cmd|x"; recomputed nothing'),
}  # fmt: skip


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("which", ODD)
def test_an_odd_cell_on_a_result_sheet_is_named(which: str) -> None:
    cells, wanted = ODD[which]
    _, numbers, said = audited(edited(added(cells), RESULT_SHEETS[0]))
    assert said.startswith("Not as it stands. 1 result cell was edited by hand: Actions!")
    assert f"{RESULT_SHEETS[0]}!{wanted}" in numbers.said


def test_very_many_cells_are_counted_and_the_first_ones_named() -> None:
    rows = "".join(
        f'</row><row r="{r}"><c r="A{r}"><v>1</v></c><c r="B{r}"><v>1</v></c>'
        for r in range(9_001, 14_001)
    )
    _, numbers, said = audited(edited(added(rows, 9_000), RESULT_SHEETS[0]))
    assert said.startswith("Not as it stands. 10,000 result cells were edited by hand: Actions!A9")
    assert len(numbers.places) == stored_results.MOST_NAMED
    assert [place.cell for place in numbers.places[:3]] == ["A9001", "B9001", "A9002"]
    assert (numbers.of or 0) - (numbers.kept or 0) == 10_000


def test_a_book_that_takes_no_audit_sheets_is_refused_by_its_name(tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(workbook(clean_sheets()))) as archive:
        parts: dict[str, str | bytes] = {n: archive.read(n) for n in archive.namelist()}
    del parts["[Content_Types].xml"]
    (tmp_path / NAME).write_bytes(zipped(parts))
    done = CliRunner().invoke(main, ["audit", str(tmp_path)])
    assert done.exit_code == 3
    assert done.stderr.startswith(f"siltbook: {tmp_path / NAME}: The file lacks its part")
    assert [p.name for p in tmp_path.iterdir()] == [NAME]


def test_a_pack_is_no_book_to_audit() -> None:
    with pytest.raises(BookError, match=r"^b\.xlsx is a review pack that 'siltbook review' made"):
        audit_bytes(small_pack(), NAME)
