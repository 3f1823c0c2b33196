"""What people wrote beside a station, a reading or a piece of work, as far as a page has room."""

from __future__ import annotations

from siltbook.batch.model import Reading, Station, Work
from siltbook.batch.sheets.kit import one_line
from siltbook.templates.book import Book

MOST = 240  # characters of one text; a page has room for several, and the book holds the whole


def clipped(text: object) -> str:
    """A person's text in one line; '' for an empty cell, '…' at the end of one that is longer."""
    words = one_line(text).strip() if isinstance(text, str) else ""
    return words if len(words) <= MOST else f"{words[: MOST - 1].rstrip()}…"


def of_station(station: Station) -> str:
    """The remark of the register: 'Remark: …', '' where there is none."""
    said = clipped(station.registered("remark"))
    return f"Remark: {said}" if said else ""


def of_entry(book: Book, entry: Reading | Work) -> str:
    """The remark beside a reading or a piece of work, in quotes; '' where there is none."""
    table = book.readings if isinstance(entry, Reading) else book.work
    said = clipped(table.frame["remark"].get(entry.row))
    return f'"{said}"' if said else ""
