"""What people wrote beside a station, a reading or a piece of work, as far as there is room."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from siltbook.batch.model import Reading, Station, Work
from siltbook.checks.wording import rows_named
from siltbook.templates.book import Book, Table
from siltbook.templates.shown import Shown

if TYPE_CHECKING:
    from siltbook.batch.results import StationResult

BRIEF, FEW = 200, 2  # characters of a remark beside advice, and how many of them
MOST = 240  # characters of one text; a page has room for several, and the book holds the whole
MANY = 8  # remarks of a station where it has a cell, or a page, of its own
STRUCK, LOST = "struck through", "not placed"


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


@dataclass(frozen=True)
class Remark:
    """What a person wrote beside a row of a station; `at` is the work or the action it is about.

    `state`: '' for a row that counts, STRUCK where the row or the remark is, LOST for a row that
    could not be placed, whose station is the likely one. `first`: the first day of the same words.
    """

    sheet: str
    row: int
    day: dt.date | None
    words: str
    at: str = ""
    state: str = ""
    first: dt.date | None = None

    def line(self, shown: Shown) -> str:
        """The remark for a page: 'Noted 2026-05-09: "..."'; its sheet where it has no day."""
        said = clipped(self.words, BRIEF)
        whole = f" (the rest: {self.sheet} row {self.row})" if said.endswith("…") else ""
        return f'Noted {self._when(shown)}: "{said}"{whole}'

    def _when(self, shown: Shown) -> str:
        at = f", {clipped(self.at, BRIEF // 2)}" if self.at else ""
        if self.state == LOST:
            day = f"{shown.day(self.day)} " if self.day else ""
            return f"{day}on {self.sheet} row {self.row}, which could not be placed{at}"
        when = f"on {self.sheet}" if self.day is None else shown.day(self.day)
        first = f" (first {shown.day(self.first)})" if self.first else ""
        struck = f" ({STRUCK})" if self.state == STRUCK else ""
        return f"{when}{first}{at}{struck}"


def beside_advice(result: StationResult, few: int = FEW, most: int | None = None) -> list[str]:
    """The first few remarks of a station, a line each of at most so many characters, and how many
    more there are, with their rows."""
    rest = result.remarks[few:]
    lines = [clipped(line, most) if most else line for line in result.noted[:few]]
    if rest:
        lines[-1] += f" (+ {len(rest)} more: {rows_of(rest)})"
    return lines


def on_review(result: StationResult, few: int = FEW) -> list[str]:
    """The same on a sheet of a book that has *Station review*, where the others stand."""
    rest, lines = len(result.noted) - few, list(result.noted[:few])
    if rest > 0:
        lines[-1] += f" (+ {rest} more on Station review)"
    return lines


def all_of(result: StationResult) -> list[str]:
    """Up to MANY of a station's remarks, and where those of before its last work stand."""
    lines, earlier = beside_advice(result, MANY), result.earlier
    return [*lines, f"Noted earlier: {rows_of(earlier)}."] if earlier else lines


def rows_of(remarks: Iterable[Remark]) -> str:
    """Where remarks stand: 'Readings rows 5 and 7; Agreed row 2'."""
    rows: dict[str, list[int]] = {}
    for remark in remarks:
        rows.setdefault(remark.sheet, []).append(remark.row)
    return "; ".join(f"{sheet} {rows_named(sorted(own))}" for sheet, own in rows.items())


def _by_row(table: Table) -> dict[int, str]:
    said = table.frame["remark"].dropna()
    return dict(zip(map(int, said.index), map(str, said), strict=True))
