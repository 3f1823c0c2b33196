"""What people wrote beside a station, a reading or a piece of work, as far as there is room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from siltbook.batch.model import History, Reading, Station, Work
from siltbook.templates.book import Book, Table
from siltbook.templates.shown import Shown

MOST = 240  # characters of one text; a page has room for several, and the book holds the whole


def clipped(text: object, most: int = MOST) -> str:
    """A person's text in one line of at most so many characters; '' for an empty cell, '…' at the
    end of one that is longer."""
    words = " ".join(text.split()) if isinstance(text, str) else ""
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}…"


def of_station(station: Station, most: int = MOST) -> str:
    """The remark of the register: 'Remark: …', '' where there is none."""
    said = clipped(station.registered("remark"), most)
    return f"Remark: {said}" if said else ""


@dataclass(frozen=True)
class Remarks:
    """The remarks of a book's readings and work, by their rows."""

    readings: Mapping[int, str]
    work: Mapping[int, str]

    @classmethod
    def of(cls, book: Book) -> Remarks:
        """All that a book has."""
        return cls(_by_row(book.readings), _by_row(book.work))

    def beside(self, entry: Reading | Work, most: int = MOST) -> str:
        """The remark beside an entry, in quotes; '' where there is none."""
        rows = self.readings if isinstance(entry, Reading) else self.work
        said = clipped(rows.get(entry.row), most)
        return f'"{said}"' if said else ""

    def latest(self, history: History, shown: Shown) -> tuple[str, ...]:
        """A line each for the remarks beside a station's latest work and its latest reading."""
        entries: list[Reading | Work] = [*history.work[-1:], *history.readings[-1:]]
        return tuple(
            f"Noted {shown.day(entry.date)}{_what(entry)}: {said}"
            for entry in entries
            if (said := self.beside(entry))
        )


def _what(entry: Reading | Work) -> str:
    return f", {entry.work}" if isinstance(entry, Work) else ""


def _by_row(table: Table) -> dict[int, str]:
    said = table.frame["remark"].dropna()
    return dict(zip(map(int, said.index), map(str, said), strict=True))
