"""The order of a station's entries: by date, then time, and what is done where times are missing.

On a day without (all) times exactly one order may make sense: over, the work, in range. Else the
custom of the trade: routine readings, then the work, each reading after it where it belongs.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise
from operator import itemgetter

from siltbook.batch.model import CLEANINGS, CLEARS, Reading, Work, is_over

Entry = Reading | Work


def in_order(entries: Iterable[Entry], limit: float | None = None) -> tuple[Entry, ...]:
    """Entries in the ladder's order; `limit` of the drop [m] and the rest as for `ordered`."""
    return ordered(entries, limit)[0]


def ordered(
    entries: Iterable[Entry], limit: float | None = None
) -> tuple[tuple[Entry, ...], tuple[dt.date, ...]]:
    """Entries in the ladder's order, and the days that were put into the one that makes sense.

    `limit` [m]: without it no drop can be called over, and every untimed day goes by custom.
    """
    found = sorted(entries, key=_day)
    if all(before.date != after.date for before, after in pairwise(found)):
        return tuple(found), ()
    timed = _by_the_clock(found)
    if timed is not None:
        return timed, ()
    placed: list[Entry] = []
    sensible = []
    rows = [e.row for e in found if isinstance(e, Reading)]
    newest_on_top = bool(rows) and rows[0] > rows[-1] and found[0].date < found[-1].date
    for day, entries_then in groupby(found, _day):
        today = list(entries_then)
        if len(today) > 1:
            today.sort(key=lambda e: (isinstance(e, Work), e.row))
            only = _only_order(today, limit, placed, newest_on_top)
            if only is not None:
                sensible.append(day)
            today = only or _usual(today, limit)
        placed += today
    return tuple(placed), tuple(sensible)


def _day(entry: Entry) -> dt.date:
    return entry.date


def _by_the_clock(entries: Sequence[Entry]) -> tuple[Entry, ...] | None:
    """Entries by date and time where all have times and no two the same; else None."""
    clock = {(e.date, e.time): e for e in entries if e.time is not None}
    if len(clock) < len(entries):
        return None
    return tuple(entry for _, entry in sorted(clock.items(), key=itemgetter(0)))


def _usual(day: list[Entry], limit: float | None) -> list[Entry]:
    if _untimed(day):
        return _by_custom(day, limit)
    worked = {e.time for e in day if isinstance(e, Work)}

    def place(entry: Entry) -> tuple[dt.time, int, float, int]:
        # Of two readings of one minute nobody knows the later: the one over the limit is taken
        # for it, whatever their rows, so that no episode is closed by a contradiction.
        alone = isinstance(entry, Reading) and entry.time not in worked
        drop = entry.drop if alone and isinstance(entry, Reading) and entry.usable else None
        return entry.time or dt.time(), _rank(entry), drop or 0.0, entry.row

    return sorted(day, key=place)


def _untimed(day: Sequence[Entry]) -> bool:
    return len(day) > 1 and any(e.time is None for e in day)


def _rank(entry: Entry) -> int:
    """Order of entries that carry the same time: a step comes before the reading that proves it."""
    if isinstance(entry, Work):
        return 1
    return 0 if entry.occasion == "routine" else 2


def _only_order(
    day: list[Entry], limit: float | None, before: Sequence[Entry], newest_on_top: bool
) -> list[Entry] | None:
    """Over, the work, in range, where that alone makes sense of a day without times; else None.

    The reading over may be one of `before` this day. The times that are given must agree, and so
    must the rows of the two readings: in range, over, the work makes sense as well.
    """
    readings = [e for e in day if isinstance(e, Reading)]
    work: list[Entry] = [e for e in day if isinstance(e, Work) and e.work in CLEARS]
    usual = all(r.usable and r.drop is not None and r.occasion == "routine" for r in readings)
    if limit is None or not _untimed(day) or not usual or len(work) != 1:
        return None
    over = [r for r in readings if is_over(r.drop or 0.0, limit)]
    fine = [r for r in readings if not is_over(r.drop or 0.0, limit)]
    if len(day) != len(readings) + 1 or len(fine) != 1 or len(over) > 1:
        return None
    if not over and not _left_over(before, limit):
        return None
    if over and (over[0].row > fine[0].row) is not newest_on_top:
        return None
    found = [*over, *work, *fine]
    times = [e.time for e in found if e.time is not None]
    return found if times == sorted(times) else None


def _left_over(entries: Sequence[Entry], limit: float) -> bool:
    """Whether the last that was read is over, with no work on the element since."""
    for entry in reversed(entries):
        if isinstance(entry, Work) and entry.work in CLEARS:
            return False
        if isinstance(entry, Reading) and entry.usable and entry.drop is not None:
            return is_over(entry.drop, limit)
    return False


def _by_custom(day: Sequence[Entry], limit: float | None) -> list[Entry]:
    """The order of the trade for a day without (all) times."""
    readings = [e for e in day if isinstance(e, Reading)]
    steps: list[Entry] = [e for e in day if isinstance(e, Work)]
    works = [e.work for e in steps if isinstance(e, Work)]
    opened = next((i for i, w in enumerate(works) if w in CLEANINGS), len(works))
    flushes = [i for i, w in enumerate(works) if w == "flush"]
    before = [i for i in flushes if i < opened]
    if before or flushes:
        place = (before or flushes)[-1] + 1
    else:
        place = opened if opened < len(works) else 0
    steps[place:place] = [r for r in readings if r.occasion == "after flush"]
    routine = [r for r in readings if r.occasion == "routine"]
    if limit is not None and not any(w in CLEARS for w in works):
        # Nobody knows which came last, and no work says why it fell: the one over the limit.
        routine.sort(key=lambda r: r.usable and is_over(r.drop or 0.0, limit))
    return [*routine, *steps, *(r for r in readings if r.occasion == "after cleaning")]
