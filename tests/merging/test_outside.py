"""Formulas, notes and pictures of a copy: what the book does not get is said with its place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest
from openpyxl.chart import BarChart

from siltbook.batch.commands.merge import lines as lines_of
from siltbook.batch.merging.job import Merged
from tests.merging.test_formulas import cells, stored
from tests.merging.test_merge import BOOK, cell, changed, merged
from tests.typed.farm import DAY
from tests.typed.test_beside import link, note, picture, printed, with_box


def terminal(done: Merged) -> list[str]:
    from pathlib import Path

    return [line.strip() for line in lines_of(done, Path("farm.xlsx"), None)]


def lines(done: Merged) -> list[tuple[object, ...]]:
    return [(p.op, p.sheet, p.mine, p.theirs, p.there) for p in done.points]


def own_sheet(value: object, at: str = "B2") -> Callable[[openpyxl.Workbook], None]:
    def write(book: openpyxl.Workbook) -> None:
        sheet = book["Mine"] if "Mine" in book.sheetnames else book.create_sheet("Mine")
        sheet["A1"], sheet[at] = "Sum", value

    return write


def test_a_new_formula_on_an_own_sheet_is_said() -> None:
    """Formulas were left out altogether: a sheet of nothing but formulas was lost."""
    home, copy = changed(BOOK, own_sheet(1)), changed(BOOK, own_sheet("=SUM(Readings!D2:D9)"))
    for mine, here in ((home, "1"), (BOOK, None)):
        done = merged(mine, copy)
        said = ("placeless", "Mine", here, "=SUM(Readings!D2:D9)", "Mine!B2")
        assert said in lines(done)
    assert "B2: this book has no place for it: '1' here, '=SUM(Readings!D2:D9)' in copy-1" in str(
        terminal(merged(home, copy))
    )
    assert merged(copy, copy).points == ()
    assert merged(home, copy, base=copy).points == ()  # the book itself went on from it
    other = merged(copy, home).points  # a number typed over the formula of the book
    assert [(p.mine, p.theirs) for p in other] == [("=SUM(Readings!D2:D9)", "1")]


def test_links_and_the_words_of_shapes_headers_and_footers_are_said() -> None:
    def typed(book: openpyxl.Workbook) -> None:
        link(book)
        printed(book)

    copy = changed(with_box(BOOK, "gate 3 is new"), typed)
    boxed = with_box(BOOK, "gate 3 is new")
    assert lines(merged(BOOK, boxed)) == [
        ("placeless", "Stations", None, "1 shape", "Stations"),
        ("placeless", "Stations", None, "words in a shape 'gate 3 is new'", "Stations"),
    ]
    assert lines(merged(BOOK, copy)) == [
        ("placeless", "Readings", None, "link to 'https://invented.example/gauge'", "Readings"),
        ("placeless", "Readings", None, "words in the header or footer 'gauge broken'", "Readings"),
    ]  # the library that changed this copy keeps no shapes
    assert merged(copy, copy).points == merged(boxed, boxed).points == ()
    assert merged(BOOK, copy, base=copy).points == ()


def test_a_formula_beside_a_list_and_beside_the_settings_is_said() -> None:
    copy = changed(changed(BOOK, cell("Readings", "Z4", "=D4*2")), cell("Farm", "F3", "=1+1"))
    assert lines(merged(BOOK, copy)) == [
        ("placeless", "Farm", None, "=1+1", "Farm!F3"),
        ("placeless", "Readings", None, "=D4*2", "Readings!Z4"),
    ]


def new_row(book: openpyxl.Workbook) -> None:
    book["Readings"].insert_rows(2)
    row = ["West", DAY + dt.timedelta(3), "=1.5*2", 2.8]
    for column, value in enumerate(row, 1):
        book["Readings"].cell(2, column).value = value
    book["Readings"]["B2"].number_format = "yyyy-mm-dd"
    book["Readings"]["T2"] = "=C2-D2"


def test_a_row_that_is_added_says_of_which_formulas_it_has_the_results() -> None:
    """They became fixed numbers without a word; without a stored result, blank cells."""
    home = changed(BOOK, cell("Readings", "T1", "My drop"))
    copy = changed(changed(home, new_row), lambda book: None)
    done = merged(home, stored(copy, C2=3.0, T2=0.2))
    assert cells(done, "C20", "T20") == [3, 0.2]
    what = "fixed", "Readings"
    assert lines(done) == [
        (*what, 0.2, "=C2-D2", "Readings!T2"),
        (*what, 3.0, "=1.5*2", "Readings!C2"),
    ]
    assert terminal(done)[2] == (
        "Readings, west · 2026-06-04 · routine, Inlet pressure (bar): a formula of the copy; this "
        "book has its result alone: '3' here, '=1.5*2' in copy-1.xlsx [Readings!C2]"
    )
    empty = merged(home, copy)
    assert [(p.op, p.mine, p.theirs) for p in empty.points] == [
        ("fixed", None, "=C2-D2"), ("fixed", None, "=1.5*2"),
    ]  # fmt: skip
    # Said until the book calculates the cell itself.
    assert done.data is not None
    assert len(merged(done.data).points) == 2
    mended = changed(done.data, cell("Readings", "T20", "=C20-D20"))
    assert [p.header for p in merged(mended).points] == ["Inlet pressure"]


def test_a_blank_cell_that_is_filled_by_a_formula_says_so() -> None:
    copy = stored(changed(BOOK, cell("Readings", "G2", "=1&2")), G2="12")
    done = merged(BOOK, copy)
    assert lines(done) == [("fixed", "Readings", "12", "=1&2", "Readings!G2")]
    assert cells(done, "G2") == ["12"]


@pytest.mark.parametrize(
    ("how", "sheet", "theirs", "there"),
    [
        (note("Readings", "C3"), "Readings", "note: ask Bea", "Readings!C3"),
        (lambda book: picture(book, "Stations"), "Stations", "1 picture", "Stations"),
        (
            lambda book: book.create_chartsheet("My chart").add_chart(BarChart()),
            "My chart", "a sheet without cells", "My chart",
        ),
    ],
)  # fmt: skip
def test_notes_pictures_and_sheets_of_charts_are_said(
    how: Callable[[openpyxl.Workbook], Any], sheet: str, theirs: str, there: str
) -> None:
    copy = changed(BOOK, how)
    assert lines(merged(BOOK, copy)) == [("placeless", sheet, None, theirs, there)]
    assert merged(copy, copy).points == ()
    assert merged(BOOK, copy, base=copy).points == () or sheet == "My chart"


def test_numbers_and_dates_of_an_own_column_come_as_what_they_are() -> None:
    """A number came as text, which sums pass over, and a date as the text '46177'."""
    head = changed(changed(BOOK, cell("Readings", "T1", "Litres")), cell("Readings", "U1", "Asked"))

    def row(book: openpyxl.Workbook) -> None:
        sheet = book["Readings"]
        sheet.append(["West", DAY + dt.timedelta(3), 3.0, 2.8])
        sheet["T20"], sheet["U20"] = 12.5, dt.date(2026, 6, 4)

    done = merged(head, changed(head, row))
    assert cells(done, "T20", "U20") == [12.5, "2026-06-04"]
    assert done.points == ()
    dated = changed(head, cell("Readings", "U19", dt.date(2026, 6, 1)))
    done = merged(dated, changed(dated, row))
    assert cells(done, "T20", "U20") == [12.5, dt.datetime(2026, 6, 4)]
    # A number that an earlier merge wrote as text is no difference.
    assert merged(changed(head, row), changed(changed(head, row), cell("Readings", "T20", "12.5"))
                  ).points == ()  # fmt: skip
