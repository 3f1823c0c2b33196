"""One row of a source with what holds for all its stations, and what its texts say."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass

from siltbook.batch.adopt.columns import shown
from siltbook.batch.adopt.model import MEASURED, STRUCK, Cell, Column, Found
from siltbook.batch.adopt.words import find_phrase, plain

DATED = ("date", "date and time")


@dataclass
class Context:
    """One source row with what holds for all its stations."""

    found: Found
    row: int
    cells: dict[int, Cell]
    date: dt.date | None
    time: dt.time | None
    station: str
    time_typed: str = ""  # a time that cannot be read, as it was typed

    def text(self, role: str, station: str | None = None) -> str:
        """The texts under a role, one after the other; of a station's own columns too."""
        return "; ".join(self.texts(role, station))

    def texts(self, role: str, station: str | None = None) -> list[str]:
        """As `text`, each by itself; of what was struck through that is said."""
        return [
            self._told(c) for c in self.found.of(role)
            if c.index in self.cells and (not c.station or station in (None, c.station))
        ]  # fmt: skip

    def _told(self, column: Column) -> str:
        value = self.cells[column.index]
        return struck_text(value) if self.struck(column) else whole(value)

    def struck(self, column: Column) -> bool:
        """Whether a cell of this row is struck through."""
        return (self.row, column.index) in self.found.grid.struck

    def notes(self, own: Sequence[Column]) -> list[str]:
        """The notes at cells of this row: those of a station's own columns, and what all share."""
        noted = self.found.grid.notes
        shared = [c for c in self.found.columns if c.role not in MEASURED or c in own]
        return [
            f"note at {self.found.cell(self.row, c.index)}: {noted[self.row, c.index]}"
            for c in shared if (self.row, c.index) in noted
        ]  # fmt: skip

    @property
    def void(self) -> tuple[Column, ...]:
        """The columns of date and station that are struck through: who does so means the row."""
        return tuple(c for c in self.found.of("station", *DATED) if self.struck(c))


def whole(value: Cell) -> str:
    """A cell's text to its end, on one line; lines become parts."""
    if not isinstance(value, str):
        return shown(value)
    return "; ".join(" ".join(line.split()) for line in value.splitlines() if line.strip())


def struck_text(value: Cell) -> str:
    """A cell's text with the word that it is struck through."""
    text = whole(value)
    return text if STRUCK in text else text + STRUCK  # of a part of a text it is said already


def names_of(found: Found, station: str) -> list[str]:
    """The stations that a row may be about."""
    if found.layout != "wide":
        return [station]
    return list(dict.fromkeys(c.station for c in found.of(*MEASURED) if c.station))


def parts_of(text: str, stations: list[str]) -> list[str]:
    """A note cut at the stations that it names; what names none belongs to the part before it."""
    struck = STRUCK if text.endswith(STRUCK) else ""
    parts: list[str] = []
    for piece in re.split(r"[;\n]", text.removesuffix(STRUCK)):
        if parts and not any(names(piece, s) for s in stations):
            parts[-1] += f"; {piece.strip()}"
        else:
            parts.append(piece.strip())
    return [part + struck for part in parts]


def names(text: str, station: str) -> bool:
    """Whether a text names a station."""
    name = tuple(plain(station).split())
    return bool(name) and find_phrase(tuple(plain(text).split()), name) >= 0
