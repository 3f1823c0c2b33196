"""Is this workbook fit to judge? The one entry to every check of a book's data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from siltbook.checks import carried, labour, pressures, register, visits
from siltbook.checks.context import JoinedBook, join_lists
from siltbook.checks.findings import Finding
from siltbook.checks.schemas import check_list, check_settings
from siltbook.templates.book import Book

CROSS_RULES: tuple[Callable[[JoinedBook], list[Finding]], ...] = (
    *register.RULES,
    *visits.RULES,
    *pressures.RULES,
    *labour.RULES,
    *carried.RULES,
)


def cross_check(joined: JoinedBook) -> list[Finding]:
    """The findings of every cross-row rule."""
    return [found for rule in CROSS_RULES for found in rule(joined)]


def check_book(book: Book, as_of: dt.date | None) -> tuple[Finding, ...]:
    """Every schema and cross-row finding of a book, sheet by sheet in the order of rows.

    The book is never changed. `as_of` None means the latest entry in the book.
    """
    joined = join_lists(book, as_of)
    lists = (joined.stations, joined.readings, joined.work, joined.agreed, joined.water,
             joined.gauges, joined.carried)  # fmt: skip
    found = check_settings(book)
    for place in lists:
        found += check_list(joined, place)
    found += cross_check(joined)
    sheets = [book.farm_sheet, *(place.table.sheet for place in lists)]
    return tuple(sorted(found, key=lambda one: (sheets.index(one.sheet), _row(one.cell))))


def _row(cell: str) -> int:
    return int("".join(filter(str.isdigit, cell)) or 0)
