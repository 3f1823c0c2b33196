"""Which of a station's remarks stand beside its advice, and in which order.

No program understands *downstream valve is stuck*. So nothing is left out that may hold still: of
what was noted since the last work all, and first what speaks of valve, gauge, leak, electrics,
chemicals, access or danger.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from siltbook.batch.model import History
from siltbook.batch.numbers.unplaced import likely_stations
from siltbook.batch.remark_words import speaks
from siltbook.batch.remarks import LOST, STRUCK, Remark, clipped
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import WHOLE_FARM
from siltbook.templates.names import name_key

_NO_MENDING = ("flush", "called out")  # what frees no stuck valve and mends no leak
_NEVER = dt.date.min
_EARLIER = 3  # the last rank


@dataclass(frozen=True)
class Weighed:
    """A station's remarks, the first to be told first, and the earlier ones not among them."""

    remarks: tuple[Remark, ...] = ()
    earlier: tuple[Remark, ...] = ()
    heed: int = 0  # how many of `remarks` are of the first rank


@dataclass(frozen=True)
class Noted:
    """What a book remarks: by station, and in rows that belong to no station of the register."""

    by_station: Mapping[str, Weighed]
    homeless: tuple[Remark, ...]

    def of(self, history: History) -> Weighed:
        """A station's."""
        return self.by_station.get(history.station.name, Weighed())


def noted(book: Book, histories: Iterable[History], on: dt.date | None) -> Noted:
    """All remarks up to `on`; those of a day after it are left out, as their rows are."""
    own = {history.station.name: history for history in histories}
    found: dict[str, list[Remark]] = {}
    homeless: list[Remark] = []
    known = {name_key(name): name for name in own} | book.names
    for station, remark in _all(book, on):
        name = known.get(name_key(station), "")
        if name in own:
            found.setdefault(name, []).append(remark)
        elif station != WHOLE_FARM:
            about = ", ".join(filter(None, (station, remark.at)))
            homeless.append(replace(remark, at=about))
    by_station = {name: _weighed(said, own[name]) for name, said in found.items()}
    return Noted(by_station, tuple(homeless))


def _weighed(remarks: list[Remark], history: History) -> Weighed:
    """First what speaks of what can hurt or hinder and was noted since work that may have mended
    it; then what was noted after the day of any work, and the newest of each sheet; then what
    speaks of it and is older. Each newest first; the same words once, by their newest row."""
    mended = _last(history, _NO_MENDING)
    worked = _last(history, _NO_MENDING[1:])
    newest: dict[str, dt.date] = {}
    for remark in remarks:
        if remark.day is not None:
            newest[remark.sheet] = max(remark.day, newest.get(remark.sheet, _NEVER))

    def rank(remark: Remark) -> int:
        matters = speaks(remark.words) and remark.state != STRUCK
        since = remark.day or dt.date.max
        if matters and since >= mended:
            return 0
        if since > worked or remark.day == newest[remark.sheet]:
            return 1
        return 2 if matters else _EARLIER

    told = sorted(_told_once(remarks), key=_age, reverse=True)
    ranks = {remark: rank(remark) for remark in told}
    told.sort(key=ranks.__getitem__)
    earlier = tuple(remark for remark in told if ranks[remark] == _EARLIER)
    heed = sum(rank == 0 for rank in ranks.values())
    return Weighed(tuple(told[: len(told) - len(earlier)]), earlier, heed)


def _last(history: History, leave_out: tuple[str, ...]) -> dt.date:
    return max((w.date for w in history.work if w.work not in leave_out), default=_NEVER)


def _told_once(remarks: list[Remark]) -> list[Remark]:
    told: dict[tuple[str, str], Remark] = {}
    for remark in sorted(remarks, key=_age):
        same = clipped(remark.words).casefold(), remark.state
        before = told.get(same)
        first = (before.first or before.day) if before else None
        told[same] = replace(remark, first=None if first == remark.day else first)
    return list(told.values())


def _age(remark: Remark) -> tuple[dt.date, int]:
    lost = remark.state == LOST  # without a day it may be of today
    return remark.day or (dt.date.max if lost else _NEVER), remark.row


def _all(book: Book, on: dt.date | None) -> Iterator[tuple[str, Remark]]:
    """Every remark of a book with its station: what is agreed and done, and the future, apart."""
    yield from _dated(book, book.readings, "date", "", on)
    yield from _dated(book, book.work, "date", "work", on)
    yield from _dated(book, book.gauges, "since", "", on)
    yield from _undated(book.carried, "")
    yield from _undated(book.agreed, "action")
    for table in (book.readings, book.work, book.gauges, book.carried, book.agreed):
        if not table.loose:
            continue
        likely = likely_stations(book, table, on) if _logged(book, table) else {}
        for row, (station, day, words) in table.loose.items():
            if words.strip() and not (on and day and day > on):
                yield likely.get(row, station), Remark(table.sheet, row, day, words, state=LOST)


def _logged(book: Book, table: Table) -> bool:
    return table is book.readings or table is book.work or table is book.gauges


def _dated(
    book: Book, table: Table, day: str, at: str, on: dt.date | None
) -> Iterator[tuple[str, Remark]]:
    noted = list(_noted(table, ("remark", day)))
    if not noted:
        return
    likely = likely_stations(book, table, on) if _logged(book, table) else {}
    struck = table.struck | table.struck_remarks
    for entry in noted:
        row, when, words = entry["row"], entry[day], entry["remark"]
        lost = row in likely
        if not str(words).strip() or (on is not None and when > on and not lost):
            continue
        state = LOST if lost else STRUCK if row in struck else ""
        said = Remark(table.sheet, row, when, str(words), entry.get(at) or "", state)
        yield likely.get(row, entry["station"]), said


def _noted(table: Table, keys: tuple[str, ...]) -> Iterator[dict[str, Any]]:
    """The rows in which each of these columns has a value; most rows of a book have no remark."""
    import numpy as np
    import pandas as pd

    there = np.logical_and.reduce([pd.notna(table.values[key]) for key in keys])
    for place in np.flatnonzero(there).tolist():
        yield {"row": table.rows[place], **{key: of[place] for key, of in table.values.items()}}


def _undated(table: Table, at: str) -> Iterator[tuple[str, Remark]]:
    """The remarks of a list whose rows hold until they are taken out or done."""
    for entry in _noted(table, ("remark",)):
        row, words = entry["row"], str(entry["remark"])
        if words.strip() and entry.get("done") is None:
            state = STRUCK if row in table.struck_remarks else ""
            said = Remark(table.sheet, row, None, words, entry.get(at) or "", state)
            yield entry["station"], said
