"""Books with another way of showing dates, for the tests of that setting."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import address
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review.append import change_cells
from tests.office import cells_of

ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
DAY_FIRST, MONTH_FIRST = "30/08/2026", "08/30/2026"


def with_setting(data: bytes, key: str, value: str | float) -> bytes:
    """The book with one setting of its Farm sheet changed, and nothing else."""
    book = read_book(data, "book.xlsx").book
    row, column = address(book.setting_cells[key])
    farm = replace(
        book.stations, sheet=book.farm_sheet, header_row=0, places={"value": column}, units={}
    )
    styles = open_workbook(open_package(data, "book.xlsx"), "book.xlsx").styles
    return change_cells(data, farm, {row: {"value": value}}, styles)


def dated(data: bytes, choice: str = DAY_FIRST) -> bytes:
    """The book with dates shown so."""
    return with_setting(data, "show_dates", choice)


def iso(said: Iterable[str]) -> list[str]:
    """The texts that hold a date as 2026-08-30."""
    return [text for text in said if ISO_DAY.search(text)]


def dates(package: bytes, sheets: Iterable[str]) -> Iterator[tuple[str, str, str]]:
    """Sheet, cell and number format of every cell that holds a date."""
    for name, cells in cells_of(package, sheets, values=True).items():
        for cell in cells:
            if isinstance(cell.value, dt.date):
                yield name, cell.coordinate, cell.number_format
