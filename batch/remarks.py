"""What people wrote beside a station, a reading or a piece of work, as far as there is room."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from siltbook.batch.model import Reading, Station, Work
from siltbook.templates.book import Book, Table
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown

BRIEF, FEW = 200, 2  # characters of a remark beside advice, and how many of them
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


@dataclass(frozen=True)
class Remark:
    """What a person wrote beside a row of a station; `at` is the work or the action it is about."""

    sheet: str
    row: int
    day: dt.date | None
    words: str
    at: str = ""

    def line(self, shown: Shown) -> str:
        """The remark for a page: 'Noted 2026-05-09: "..."'; its sheet where it has no day."""
        when = f"on {self.sheet}" if self.day is None else shown.day(self.day)
        at = f", {clipped(self.at, BRIEF // 2)}" if self.at else ""
        said = clipped(self.words, BRIEF)
        whole = f" (the rest: {self.sheet} row {self.row})" if said.endswith("…") else ""
        return f'Noted {when}{at}: "{said}"{whole}'


def newest(book: Book, on: dt.date | None) -> dict[str, tuple[Remark, ...]]:
    """A station's key -> its newest remarks up to `on`, newest first, those without a day last.

    Of *Readings*, *Work done* and *Gauges* all of the newest day that has one: who writes 'valve
    stuck' on one round and nothing on the next has not taken it back. Of *Agreed* what is not done.
    """
    found: dict[str, list[Remark]] = {}
    for remarks in (
        _dated(book.readings, "date", "", on),
        _dated(book.work, "date", "work", on),
        _dated(book.gauges, "since", "", on),
        _undated(book.carried, ""),
        _undated(book.agreed, "action"),
    ):
        for key, remark in remarks:
            found.setdefault(key, []).append(remark)
    return {key: _told_once(said) for key, said in found.items()}


def _told_once(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    """Newest first; the same words of one day, beside a reading and the work there, once."""
    told = {(r.day, clipped(r.words)): r for r in remarks}
    return tuple(sorted(told.values(), key=_age, reverse=True))


def beside_advice(noted: Iterable[str], few: int = FEW) -> list[str]:
    """The lines that stand beside advice: the newest few, and how many more there are."""
    lines = list(noted)
    rest = len(lines) - few
    if rest > 0:
        lines[few - 1] += f" (+ {rest} more on Station review)"
    return lines[:few]


def _age(remark: Remark) -> tuple[dt.date, int]:
    return remark.day or dt.date.min, remark.row


def _dated(table: Table, day: str, at: str, on: dt.date | None) -> Iterator[tuple[str, Remark]]:
    """The remarks of each station's newest day that has one."""
    last: dict[str, list[Remark]] = {}
    frame = table.frame[table.frame["remark"].notna() & table.frame[day].notna()]
    about = frame[at] if at else [""] * len(frame)
    rows = zip(frame["station"], frame.index, frame[day], frame["remark"], about, strict=True)
    for station, row, when, words, what in rows:
        if not str(words).strip() or (on is not None and when > on):
            continue
        said = last.setdefault(station, [])
        if said and said[0].day != when:
            if said[0].day is None or said[0].day > when:
                continue
            said.clear()
        said.append(Remark(table.sheet, int(row), when, str(words), what or ""))
    yield from ((name_key(station), remark) for station, all_ in last.items() for remark in all_)


def _undated(table: Table, at: str) -> Iterator[tuple[str, Remark]]:
    """The remarks of a list whose rows hold until they are taken out or done."""
    frame = table.frame[table.frame["remark"].notna()]
    frame = frame[frame["done"].isna()] if "done" in frame else frame
    about = frame[at] if at else [""] * len(frame)
    for station, row, words, what in zip(
        frame["station"], frame.index, frame["remark"], about, strict=True
    ):
        if str(words).strip():
            yield name_key(station), Remark(table.sheet, int(row), None, str(words), what or "")


def _by_row(table: Table) -> dict[int, str]:
    said = table.frame["remark"].dropna()
    return dict(zip(map(int, said.index), map(str, said), strict=True))
