"""Rows of copies of which no live row comes, and that is said: struck through, or of a date that
the book would read in another way than the copy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siltbook.batch.merging.points import COUNTS, STRUCK, STRUCK_OUT, TWO_WAYS, VOID, Point
from siltbook.batch.merging.rows import Live, alike
from siltbook.batch.merging.sides import Entry, Side
from siltbook.batch.reading.parsing import date_text


def void(entry: Entry, copy: Side) -> Point:
    """A row that the copy strikes through, and that the book has not: it stays out."""
    return Point(
        VOID, entry.sheet, entry.key, row=tuple(entry.cells.items()), there=_place(copy, entry),
        file=copy.name, their_by=entry.by,
    )  # fmt: skip


def two_ways(entry: Entry, home: Side, copy: Side) -> Point | None:
    """A row of a date such as 05/06/2026, of which the copy tells neither day nor month, and the
    book's own texts would; None of any other row."""
    for key, order in home.orders.get(entry.sheet, {}).items():
        typed = entry.cells.get(key)
        if order and isinstance(typed, str) and date_text(typed).ambiguous:
            return replace(void(entry, copy), op=TWO_WAYS)
    return None


def struck(home: Side, live: Live, entry: Entry, copy: Side) -> Point:
    """A row that one side alone strikes through: in the book it stays as it is there."""
    mine, theirs = (STRUCK_OUT if one.struck else COUNTS for one in (live, entry))
    return Point(
        STRUCK, entry.sheet, live.key, "", mine, theirs, cell=_place(home, live),
        there=_place(copy, entry), file=copy.name, by=live.by, their_by=entry.by,
    )  # fmt: skip


def _place(side: Side, one: Entry | Live) -> str:
    return side.at(one.sheet, one.row, next(iter(one.cells), ""))


def settled_there(point: Point, rows: Iterable[Live]) -> bool:
    """Whether the book says by now what such a line asks for."""
    own = [row for row in rows if row.key == point.key]
    if point.op in (VOID, TWO_WAYS):
        return any(alike(row.cells, dict(point.row)) for row in own)
    return any(row.struck for row in own) is (point.theirs == STRUCK_OUT)
