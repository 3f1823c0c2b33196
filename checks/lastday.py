"""The day of a book's last entry, and dates so far after all others that they cannot be it.

Whoever types 2126 for 2026 would put the whole book a century later, where every other station has
had no reading for a hundred years. No clock is asked: a book that is judged years later, as an
archive is, is judged by its own last entry. The numbers below are choices of this program.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise

from siltbook.checks.slipped import Slipped, slipped_dates
from siltbook.templates.book import Book, Table

AWAY = 20  # [days] between two entries of a book, up to which no date of it is questioned here
# [days] after all other entries. A date that may be right, however long the pause, must be the day
# of the judgement: else what was last read before the pause stays in range.
FAR = 1_000
FEW_DAYS = 2  # on which such entries lie; of more, work went on
SHARE = 3  # times as many entries lie before
# Entries from this year on, behind a break from others before it, are not yet: 2125 for 2025 is a
# slip, however few the others are. (All of a book's entries may be of such years.)
CENTURY = 2100

_Place = tuple[str, int]  # sheet, spreadsheet row
_Entry = tuple[str, int, dt.date]


def latest_day(book: Book) -> dt.date | None:
    """The day of the last entry of a book; None without one.

    An entry whose date looks mistyped counts at the day that it is likely of, where that is the
    earlier one; one that is far ahead of all others does not count. One a century ahead counts at
    the same day of this one, where that goes on with the others: else what was read before would
    look newer than it is.
    """
    days = _days(book)
    if not any((b - a).days > AWAY for a, b in pairwise(days)):
        return days[-1] if days else None
    ahead, likely = far_ahead(book), _likely(book)
    if not ahead and not likely:
        return days[-1]
    entries = [e for e in _entries(book) if e[:2] not in ahead]
    last = max(min(day, likely.get((sheet, row), day)) for sheet, row, day in entries)
    meant = [d.replace(year=d.year - 100) for d, _ in ahead.values() if d.year >= CENTURY]
    return max([last, *(day for day in meant if (day - last).days <= AWAY)])


def far_ahead(book: Book) -> dict[_Place, tuple[dt.date, int]]:
    """(Sheet, row) -> day, and days after all others, of the few entries beyond a long break.

    The break is FAR. Entries of which another day is likely (`slipped_dates`) are not among them.
    Of entries a century ahead there may be any number.
    """
    days = _days(book)
    few = days[-FEW_DAYS:]
    for last, first in pairwise(days):
        if (first - last).days <= FAR:
            continue
        entries = list(_entries(book))
        beyond = [e for e in entries if e[2] >= first]
        rare = first in few and len(beyond) * SHARE <= len(entries) - len(beyond)
        if rare or last.year < CENTURY <= first.year:
            likely = _likely(book)
            return {e[:2]: (e[2], (e[2] - last).days) for e in beyond if e[:2] not in likely}
    return {}


def _likely(book: Book) -> dict[_Place, dt.date]:
    """(Sheet, row) -> the likely day of readings and work whose date looks mistyped."""
    return {
        (table.sheet, slip.row): slip.likely
        for table in (book.readings, book.work)
        for slips in _slips(table).values()
        for slip in slips
    }


def _slips(table: Table) -> dict[str, tuple[Slipped, ...]]:
    values = table.values
    return slipped_dates(values["station"].tolist(), values["date"].tolist(), table.rows)


def _days(book: Book) -> list[dt.date]:
    """Every day of an entry, once and in order."""
    found = {*book.readings.values["date"].tolist(), *book.work.values["date"].tolist()}
    found |= {day for _, day in book.readings.aside.values()}
    return sorted(day for day in found if isinstance(day, dt.date))


def _entries(book: Book) -> Iterator[_Entry]:
    for table in (book.readings, book.work):
        for row, day in zip(table.rows, table.values["date"].tolist(), strict=True):
            if isinstance(day, dt.date):
                yield table.sheet, row, day
    for row, (_, day) in book.readings.aside.items():
        if day is not None:
            yield book.readings.sheet, row, day
