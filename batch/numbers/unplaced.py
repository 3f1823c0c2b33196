"""Readings that may be a station's latest and cannot be counted as such.

A row without a date that can be read, without a station, or under a name that only looks like one
of the register's is used for no station. Where it may be the latest reading of one, nothing that
was read before it speaks for today.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

from siltbook.checks.register import near_name
from siltbook.templates.book import Book

_Placed = tuple[int, dt.date]  # spreadsheet row and day


def unplaced(book: Book, as_of: dt.date | None) -> dict[str, tuple[int, ...]]:
    """Station -> rows of the sheet Readings that may hold its latest reading."""
    known = {name for name in book.stations.frame["station"].tolist() if isinstance(name, str)}
    frame, likely = book.readings.frame, dict(book.readings.aside)
    names = frame["station"].tolist()
    strange = {name for name in names if isinstance(name, str)} - known
    if not strange and not likely:
        return {}
    register = tuple(sorted(known))
    meant = {name: near_name(name, register) for name in strange}
    used: dict[str, list[_Placed]] = defaultdict(list)
    for row, name, day in zip(frame.index.tolist(), names, frame["date"].tolist(), strict=True):
        if name in known:
            used[name].append((int(row), day))
        else:
            likely[int(row)] = (meant.get(name, ""), day)
    found: dict[str, list[int]] = defaultdict(list)
    for row, (name, on) in sorted(likely.items()):
        if name not in known or (as_of is not None and on is not None and on > as_of):
            continue
        if _may_be_latest(row, on, used[name]):
            found[name].append(row)
    return {name: tuple(rows) for name, rows in found.items()}


def _may_be_latest(row: int, day: dt.date | None, used: list[_Placed]) -> bool:
    """By its date; without one, by where it stands: below the last, or above it in a list that
    has the newest on top."""
    if not used:
        return True
    if day is not None:
        return day >= max(other for _, other in used)
    first, last = used[0], used[-1]
    return row < first[0] if first[1] > last[1] else row > last[0]
