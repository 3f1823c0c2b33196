"""Dates that look mistyped: day and month exchanged, or another year.

A spreadsheet program turns 05/08/2026 into the 5th of August or the 8th of May, as the machine is
set, and keeps 13/08/2026 as text, which can be read in one way only. So some rows of a log stand
at their day and some lie months away. What tells is the order of the rows: a log is written from
top to bottom, or the newest on top. A row out of that order, which fits between its neighbours once
day and month are exchanged, or the year is another one (2126 for 2026 as well), or the days are
counted from the other epoch (cells pasted from a book that counts from 1904), is taken for slipped.
The numbers below are choices of this program.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Any

LEAST = 3  # dated rows of a station, of which two can show where the third belongs
BREAK = 60  # [days] after or before all other rows, from which the last or first one is questioned
RARE = 2  # rows of a year far away; of more, it is another season that stands in the book
NEAR = 14  # [days] from its one neighbour that such a row must come to, or two usual steps
EXCHANGED, OTHER_YEAR = "with day and month exchanged", "in another year"
OTHER_EPOCH = "counted from 1904 or 1900"
_EPOCHS = 1462  # [days] between the two days from which spreadsheet programs count


@dataclass(frozen=True)
class Slipped:
    """A row whose date was probably meant to be another day, and in which way it was mistyped."""

    row: int
    typed: dt.date
    likely: dt.date
    how: str


def slipped_dates(
    names: Sequence[object], days: Sequence[Any], rows: Sequence[int]
) -> dict[str, tuple[Slipped, ...]]:
    """Station -> its rows whose dates look mistyped, as they stand in the sheet.

    `names` of stations, `days` and numbers of the `rows` of a list, in the sheet's order. Rows
    without a day or a station are left out.
    """
    found = {}
    for places in _out_of_order(names, days):
        entries = [(int(rows[i]), days[i]) for i in places]
        if slips := _of_station(entries):
            found[str(names[places[0]])] = tuple(sorted(slips, key=lambda slip: slip.row))
    return found


def _out_of_order(names: Sequence[object], days: Sequence[object]) -> Iterator[list[int]]:
    """The places of each station's rows, unless they stand in order, upwards or downwards, with
    no long break behind the first or before the last: all stations at once."""
    import numpy as np
    import pandas as pd

    codes, known = pd.factorize(np.array(names, dtype=object))
    ordinals = np.array([day.toordinal() if isinstance(day, dt.date) else 0 for day in days], int)
    there = np.flatnonzero((codes >= 0) & (ordinals > 0))
    if not len(there):
        return
    there = there[np.argsort(codes[there], kind="stable")]
    station = codes[there]
    begins = np.flatnonzero(np.diff(station, prepend=-1))
    ends = np.append(begins[1:], len(there))
    steps = np.diff(ordinals[there], append=0)
    steps[ends - 1] = 0  # what leads to the next station's first row
    turns = (np.minimum.reduceat(steps, begins) < 0) & (np.maximum.reduceat(steps, begins) > 0)
    far = (abs(steps[begins]) > BREAK) | (abs(steps[np.maximum(ends - 2, 0)]) > BREAK)
    for i in np.flatnonzero((turns | far) & (ends - begins >= LEAST)):
        if isinstance(known[station[begins[i]]], str):
            yield there[begins[i] : ends[i]].tolist()


def _of_station(entries: list[tuple[int, dt.date]]) -> list[Slipped]:
    days = [day.toordinal() for _, day in entries]
    kept = _longest_rise(days)
    if len(kept) < len(days):  # or it is written with the newest on top
        turned = [len(days) - 1 - i for i in reversed(_longest_rise(days[::-1]))]
        if len(turned) > len(kept):
            return _of_station(entries[::-1])
        if 2 * len(kept) < len(days) or len(kept) < 2:
            return []
    kept = _without_far_ends(entries, kept)
    steps = [days[b] - days[a] for a, b in pairwise(kept) if days[b] > days[a]]
    near = max(NEAR, 2 * int(median(steps))) if steps else NEAR
    if len(kept) == len(days):
        return []
    found, years = [], [day.year for _, day in entries]
    for i in sorted(set(range(len(days))).difference(kept)):
        place = bisect_right(kept, i)
        before = days[kept[place - 1]] if place else days[kept[place]] - near
        after = days[kept[place]] if place < len(kept) else before + near
        slip = _explained(*entries[i], before, after, rare=years.count(entries[i][1].year) <= RARE)
        if slip is not None:
            found.append(slip)
    return found


def _longest_rise(days: Sequence[int]) -> list[int]:
    """The positions of a longest part of the rows in which no day is before the last one."""
    if all(a <= b for a, b in pairwise(days)):
        return list(range(len(days)))
    ends: list[int] = []  # the least day at which a rise of each length ends
    at: list[int] = []
    came_from: list[int] = []
    for i, day in enumerate(days):
        length = bisect_right(ends, day)
        came_from.append(at[length - 1] if length else -1)
        ends[length : length + 1] = [day]
        at[length : length + 1] = [i]
    kept, i = [], at[-1]
    while i >= 0:
        kept.append(i)
        i = came_from[i]
    return kept[::-1]


def _without_far_ends(entries: list[tuple[int, dt.date]], kept: list[int]) -> list[int]:
    """The order without a first or last row that lies beyond a long break: it proves itself."""
    days = [entries[i][1].toordinal() for i in kept]
    if len(kept) >= LEAST and days[-1] - days[-2] > BREAK:
        kept = kept[:-1]
    if len(kept) >= LEAST and days[1] - days[0] > BREAK:
        kept = kept[1:]
    return kept


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _moved(day: dt.date, by: int) -> dt.date | None:
    try:
        return day + dt.timedelta(days=by)
    except OverflowError:
        return None


def _years(day: dt.date, before: int, after: int) -> list[int]:
    """The years in which a day may come between two others, the nearest to its own first."""
    latest = dt.date.max.toordinal()
    first, last = (dt.date.fromordinal(min(max(1, at), latest)).year for at in (before, after))
    return sorted(range(first, last + 1), key=lambda year: abs(year - day.year))


def _explained(row: int, day: dt.date, before: int, after: int, *, rare: bool) -> Slipped | None:
    """The way in which a day comes between two others; None where it does in none.

    `rare`: whether hardly another row is of its year, so that the year may be a slip of any size.
    """
    if before <= day.toordinal() <= after:
        return None
    tried = [(EXCHANGED, (day.year, day.day, day.month))]
    tried += [(OTHER_YEAR, (day.year + more, day.month, day.day)) for more in (1, -1)]
    days = [(how, _day(*parts)) for how, parts in tried]
    days += [(OTHER_EPOCH, _moved(day, more)) for more in (_EPOCHS, -_EPOCHS)]
    years = _years(day, before, after) if rare else []
    days += [(OTHER_YEAR, _day(year, day.month, day.day)) for year in years]
    for how, likely in days:
        if likely is None:
            continue
        if before <= likely.toordinal() <= after:
            return Slipped(row, day, likely, how)
    return None
