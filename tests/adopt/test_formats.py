"""The same table as .xlsx, .ods, .xls and .xlsm: the same readings."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import openpyxl
import pytest

from sample_workbooks.as_kept import Style, as_xlsx
from siltbook.batch.adopt.hidden import places
from siltbook.batch.adopt.job import Source, look
from tests.adopt.farms import kept
from tests.adopt.test_hidden import edited, hide
from tests.office import Shared, needs_office

LAYOUTS = ("wide two headers", "sheet per station")


@cache
def book(layout: str) -> bytes:
    return as_xlsx(kept(Style(layout, title=True, junk=True)))


@cache
def with_hidden_parts() -> bytes:
    def how(book: openpyxl.Workbook) -> None:
        hide(book)
        book.create_sheet("Other")["A1"] = "nothing here"
        book.worksheets[0].sheet_state = "hidden"
        book.active = 1

    return edited("list", how)


def saved(which: str, office: Shared, ending: str) -> bytes:
    """One of the books as another program saves it; all of them by one start of it."""
    books = {layout: book(layout) for layout in LAYOUTS} | {"hidden": with_hidden_parts()}
    return dict(zip(books, office.resaved(*books.values(), to=ending), strict=True))[which]


@pytest.mark.at_length(keep="xls")
@needs_office
@pytest.mark.parametrize("ending", ["ods", "xls"])
def test_other_formats_say_the_same_of_what_is_hidden(office: Shared, ending: str) -> None:
    seen = look([Source(Path(f"own.{ending}"), saved("hidden", office, ending))])
    assert places(seen.made.tables) == [
        "sheet Readings", "column C of sheet Readings", "2 rows of sheet Readings"
    ]  # fmt: skip
    assert len(seen.rows.readings) == 15


@pytest.mark.at_length(keep="xls")
@needs_office
@pytest.mark.parametrize("ending", ["ods", "xls"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_other_formats_give_the_same_readings(office: Shared, ending: str, layout: str) -> None:
    made = saved(layout, office, ending)
    source, other = Path("own.xlsx"), Path(f"own.{ending}")
    first = look([Source(source, book(layout))])
    second = look([Source(other, made)])
    keys = ("station", "date", "inlet", "outlet", "remark")
    told = [[{k: r.get(k) for k in keys} for r in one.rows.readings] for one in (first, second)]
    assert len(told[0]) == 15
    assert told[0] == told[1]
    assert second.asked == []


def test_a_book_with_macros_is_read_as_any_other() -> None:
    seen = look([Source(Path("own.xlsm"), as_xlsx(kept(Style())))])
    assert len(seen.rows.readings) == 15
