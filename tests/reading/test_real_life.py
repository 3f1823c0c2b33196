"""Everything that people really do to a workbook, in one table: what becomes of it.

Each case is one row of Readings, or a whole sheet, with what is used, noted or found.
"""

from __future__ import annotations

import datetime as dt
import io
import math
from dataclasses import dataclass, field

import openpyxl
import pytest
import xlsxwriter

from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.templates.units import metres_per
from tests.reading.books import (
    HEAD,
    NAME,
    clean_sheets,
    raw_book,
    raw_sheet,
    reading,
    row,
    workbook,
)

DAY = dt.date(2026, 5, 31)
USED, ASIDE = "used", "set aside"
REMARK = 9


@dataclass(frozen=True)
class Case:
    """One habit of people: the rows, and what becomes of them."""

    words: str
    rows: list[list[object]]
    codes: tuple[str, ...] = ()
    used: int = 1
    inlet: float | None = 3.0  # [bar] of the first row used
    headers: tuple[str, ...] = ("Station", "Date", "Time", "Inlet pressure", "Outlet pressure")
    stations: tuple[str, ...] = ("F1",)
    expected: dict[str, object] = field(default_factory=dict)


def one(words: str, *values: object, **more: object) -> Case:
    """A case of a single row; what is not given is an ordinary reading."""
    usual: list[object] = ["F1", DAY, None, 3.0, 2.0]
    return Case(words, [[*values, *usual[len(values) :]]], **more)


def inlet(words: str, typed: object, read: float | None, *codes: str) -> Case:
    return one(words, "F1", DAY, None, typed, inlet=read, codes=codes)


def dated(words: str, typed: object, *codes: str, read: dt.date | None = DAY) -> Case:
    used = 0 if read is None else 1
    return one(words, "F1", typed, codes=codes, used=used, expected={"date": read})


PSI = metres_per("psi") / metres_per("bar")
CASES = (
    inlet("decimal comma", "2,4", 2.4, "cell-text-number"),
    inlet("decimal point as text", "2.4", 2.4, "cell-text-number"),
    Case("decimal commas and points in one sheet",
         [["F1", DAY, None, "2,4", 2], ["F1", DAY, None, "2.4", 2]],
         ("cell-text-number",) * 2, used=2, inlet=2.4),
    Case("commas and points, and one that could be either",
         [["F1", DAY, None, "1,234", 1], ["F1", DAY, None, "2,4", 2], ["F1", DAY, None, "2.4", 2]],
         ("cell-ambiguous-number", "cell-text-number", "cell-text-number"), used=3, inlet=None),
    inlet("thousands separator, point for decimals", "1,234.5", 1234.5, "cell-text-number"),
    inlet("thousands separator, comma for decimals", "1.234,5", 1234.5, "cell-text-number"),
    inlet("thousands separator, space", "1 234,5", 1234.5, "cell-text-number"),
    inlet("thousands separator or decimals", "1,234", None, "cell-ambiguous-number"),
    inlet("thousands separators twice", "1,234,567", 1234567.0, "cell-text-number"),
    inlet("the book's own unit in a cell", "2.4 bar", 2.4, "cell-other-unit"),
    inlet("another unit in a cell", "35 psi", 35 * PSI, "cell-other-unit"),
    inlet("a unit that is none", "35 pies", None, "cell-not-number"),
    Case("units in headers", [["F1", DAY, 35, 30]], inlet=35 * PSI,
         headers=("Station", "Date", "Inlet pressure (psi)", "Outlet pressure [psi]")),
    dated("date as text, year first", "2026-05-31"),
    dated("date as text, day first", "31/05/2026"),
    dated("date as text, month first", "05/31/2026"),
    dated("date as text, ambiguous", "03/04/2026", "cell-ambiguous-date", read=None),
    dated("serial number as date", 46173),
    dated("date as text that no calendar has", "31/06/2026", "cell-not-date", read=None),
    one("time as text", "F1", DAY, "7:30", expected={"time": dt.time(7, 30)}),
    one("time that is none", "F1", DAY, "early", codes=("cell-not-time",), expected={"time": None}),
    inlet("formula with a stored value", ("=1+2", 3), 3.0),
    Case("title above the header", [["Season 2026"], [], list(Case.headers),
         ["F1", DAY, None, 3.0, 2.0]], headers=()),
    Case("blank rows between blocks",
         [["F1", DAY, None, 3.0, 2.0], [], [], ["F1", DAY, None, 3.0, 2.0]], used=2),
    Case("a second header block",
         [["F1", DAY, None, 3.0, 2.0], list(Case.headers), ["F1", DAY, None, 3.0, 2.0]], used=2),
    Case("columns moved", [[2.0, 3.0, DAY, "F1"]],
         headers=("Outlet pressure", "Inlet pressure", "Date", "Station")),
    Case("columns of your own between", [["F1", "x", DAY, 3.0, "y", 2.0]],
         headers=("Station", "Mine", "Date", "Inlet pressure", "Too", "Outlet pressure")),
    Case("odd capitals and spaces in headers", [["F1", DAY, 3.0, 2.0]],
         headers=(" STATION ", "date", "Inlet  Pressure", "outlet\u00a0pressure:")),
    one("trailing spaces in a name", "F1  ", expected={"station": "F1"}),
    one("odd capitals in a name", "f1", expected={"station": "F1"}),
    one("non-breaking space in a name", "Upper\u00a01", stations=("Upper 1",),
        expected={"station": "Upper 1"}),
    one("a name that looks like a number", "007", stations=("007",),
        expected={"station": "007"}),
    one("a name typed as a number", 7, stations=("7",), expected={"station": "7"}),
    one("a name that is not in the register", "F9", used=0, codes=()),
    Case("a word that looks like a missing value",
         [["F1", DAY, None, 3.0, 2.0, "NA"]], headers=(*Case.headers, "Remark"),
         expected={"remark": "NA"}),
    Case("control characters in a remark",
         [["F1", DAY, None, 3.0, 2.0, "a\u200bb\u0085c"]], headers=(*Case.headers, "Remark"),
         expected={"remark": "abc"}),
    Case("very long text", [["F1", DAY, None, 3.0, 2.0, "x" * 32_767]],
         headers=(*Case.headers, "Remark"), expected={"remark": "x" * 32_767}),
    one("a row without a station", None, codes=("cell-missing",), used=0),
    inlet("a number that a program turned into a date", dt.date(2026, 4, 2), None,
          "cell-looks-like-date"),
)  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.words)
def test_what_becomes_of_it(case: Case) -> None:
    stations = [["Station"], *[[name] for name in case.stations]]
    rows = [list(case.headers), *case.rows] if case.headers else case.rows
    result = reading(Readings=rows, Stations=stations)
    check(result, case.codes, case.used)
    frame = result.book.readings.frame
    if case.used:
        first = frame.iloc[0]
        if case.inlet is None:
            assert math.isnan(first.inlet)
        else:
            assert first.inlet == pytest.approx(case.inlet * metres_per("bar"))
        for key, value in case.expected.items():
            assert first[key] == value


def check(result: ReadResult, codes: tuple[str, ...], used: int) -> None:
    """The findings, each with its cell, and counts that add up."""
    assert tuple(finding.rule for finding in result.findings) == codes
    assert all(finding.cell for finding in result.findings)
    for counts in result.book.counts.values():
        assert counts.read == counts.used + counts.set_aside
    assert result.book.counts["Readings"].used == used


def raw(*content: str, after: str = "", main: str = "") -> ReadResult:
    return read_book(raw_book(raw_sheet(HEAD, *content, after=after), main=main), NAME)


GOOD = row("F1", "2026-05-31", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>")
PACKAGES = {
    "1904 date system": (
        lambda: raw(row("F1", '<c s="1"><v>44711</v></c>', "<c/>", "<c><v>3</v></c>",
                        "<c><v>2</v></c>"), main='<workbookPr date1904="1"/>'), (), 1),
    "formula without a stored value": (
        lambda: raw(row("F1", "2026-05-31", "<c/>", "<c><f>A1</f></c>", "<c><v>2</v></c>")),
        ("cell-no-value",), 1),
    "error cell": (
        lambda: raw(row("F1", "2026-05-31", "<c/>", '<c t="e"><v>#N/A</v></c>',
                        "<c><v>2</v></c>")), ("cell-error",), 1),
    "error cell for a date": (
        lambda: raw(row("F1", '<c t="e"><v>#REF!</v></c>', "<c/>", "<c><v>3</v></c>",
                        "<c><v>2</v></c>")), ("cell-error",), 0),
    "merged cells": (
        lambda: raw(GOOD, row("<c/>", "2026-05-31", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>"),
                    after='<mergeCells><mergeCell ref="A2:A3"/></mergeCells>'),
        ("cells-merged", "cell-missing"), 1),
    "hidden row": (
        lambda: raw(GOOD.replace("<row>", '<row r="2" hidden="1">')), ("rows-hidden",), 1),
    "filtered rows": (
        lambda: raw(GOOD.replace("<row>", '<row r="2" hidden="1">'),
                    GOOD.replace("<row>", '<row r="3">'), after='<autoFilter ref="A1:E3"/>'),
        ("rows-hidden",), 2),
}  # fmt: skip


@pytest.mark.parametrize("words", PACKAGES)
def test_what_becomes_of_a_package(words: str) -> None:
    make, codes, used = PACKAGES[words]
    check(make(), codes, used)


def test_hidden_rows_are_named() -> None:
    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True})
    book.add_worksheet("Stations").write_column(0, 0, ["Station", "F1"])
    page = book.add_worksheet("Readings")
    page.write_row(0, 0, Case.headers)
    for r in range(1, 13):
        page.write_row(r, 0, ["F1", "2026-05-31", None, 3, 2])
        if r % 2:
            page.set_row(r, None, None, {"hidden": True})
    page.set_row(40, None, None, {"hidden": True})  # an empty one is nobody's business
    book.close()
    (note,) = [f.message for f in read_book(target.getvalue(), NAME).findings]
    assert note == (
        "Readings!A2: hidden rows in the list: read rows 2, 4, 6, 8, 10 and 12 hidden or filtered;"
        " accepted: any row: hidden ones count as well. Nothing to do; delete the rows if they are"
        " not meant to count."
    )


def test_a_macro_workbook_and_one_saved_by_another_program_read_the_same() -> None:
    data = workbook(clean_sheets())
    book = openpyxl.load_workbook(io.BytesIO(data))
    saved = io.BytesIO()
    book.save(saved)
    read = [read_book(d, n).book for d, n in ((data, NAME), (saved.getvalue(), "book.xlsm"))]
    assert read[0].readings.frame.equals(read[1].readings.frame)
    assert read[0].counts == read[1].counts
