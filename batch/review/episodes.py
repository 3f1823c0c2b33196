"""Episodes with the rows they rest on, and the days that a station was over its limit.

Two numbers, kept apart because they are known in different ways. *Days over* runs from the
reading that found the drop over the limit to the reading that found it in range again (or the
as-of date): both are rows of the book. *Days unnoticed* is an estimate of the time before that
first reading: where the straight line from the reading before it crosses the limit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from siltbook.batch.model import CLEARS, NO_WORK, Reading, Work, is_over
from siltbook.batch.numbers.costs import LONGEST_GAP
from siltbook.batch.numbers.runs import moment
from siltbook.batch.results import StationResult
from siltbook.batch.review.month import Month


@dataclass(frozen=True)
class MonthEpisode:
    """One episode: readings, work and how it ended.

    `crossed` is the estimated moment [days] at which the drop passed the limit before it was
    found; None where that cannot be told. `end` is the as-of date while the episode is open.
    """

    opened: Reading
    highest: Reading
    closed: Reading | None
    closed_by: str
    work: tuple[Work, ...]
    before: Reading | None
    crossed: float | None
    end: dt.date

    def days(self, month: Month) -> int:
        """Days over within the month, from reading to reading."""
        first = max(self.opened.date, month.first)
        last = min(self.end, month.next.first)
        return max(0, (last - first).days)

    def unnoticed(self, month: Month) -> float | None:
        """Estimated days over within the month before it was found; None where unknown."""
        if self.opened.date < month.first:
            return 0.0
        if self.crossed is None:
            return None
        found = moment(self.opened.date, self.opened.time)
        return max(0.0, found - max(self.crossed, float(month.first.toordinal())))

    def touches(self, month: Month) -> bool:
        """Whether any of it lies in the month."""
        return self.opened.date <= month.last and self.end >= month.first

    @property
    def ending(self) -> str:
        """How it ended, in words."""
        if self.closed is None:
            return "still open"
        worked = self.closed_by not in ("", NO_WORK)
        return f"in range after {self.closed_by}" if worked else f"in range, {NO_WORK}"


def spells(result: StationResult, interval: float, as_of: dt.date) -> tuple[MonthEpisode, ...]:
    """The station's episodes in order of time; `interval` is the reading interval [days]."""
    found: list[MonthEpisode] = []
    before: Reading | None = None
    over: list[Reading] = []
    work: list[Work] = []
    known = iter(result.judgement.episodes)
    carried = any(episode.row == 0 for episode in result.judgement.episodes)
    for entry in result.history.entries:
        if isinstance(entry, Work):
            work.append(entry)
            continue
        if not entry.usable or entry.drop is None:
            continue
        if is_over(entry.drop, result.station.limit):
            if not over:
                crossed = _crossed(before, entry, work, result.station.limit, interval)
                work.clear()
            over.append(entry)
            carried = False
            continue
        if over:
            found.append(_spell(over, entry, next(known).closed_by, work, before, crossed, as_of))
            over = []
        elif carried:
            next(known)  # open since last season, and over at no reading of this one
        carried = False
        before = entry
        work.clear()
    if over:
        found.append(_spell(over, None, "", work, before, crossed, as_of))
    return tuple(found)


def _spell(
    over: list[Reading],
    closed: Reading | None,
    by: str,
    work: list[Work],
    before: Reading | None,
    crossed: float | None,
    as_of: dt.date,
) -> MonthEpisode:
    highest = max(over, key=lambda r: r.drop or 0.0)
    end = as_of if closed is None else closed.date
    return MonthEpisode(over[0], highest, closed, by, tuple(work), before, crossed, end)


def _crossed(
    before: Reading | None, opened: Reading, work: list[Work], limit: float, interval: float
) -> float | None:
    """When the straight line between two readings passes the limit [days]; None if untold."""
    if before is None or before.drop is None or opened.drop is None:
        return None
    if (opened.date - before.date).days > LONGEST_GAP * interval:
        return None
    if any(w.work in CLEARS for w in work):
        return None  # the drop fell in between, and nobody knows how far
    start, end = moment(before.date, before.time), moment(opened.date, opened.time)
    return start + (limit - before.drop) / (opened.drop - before.drop) * (end - start)


@dataclass(frozen=True)
class DaysOver:
    """One station's month: days over [days], estimated days before it was found, and where.

    `untold`: episodes whose beginning cannot be estimated.
    """

    found: int
    unnoticed: float
    untold: int
    highest: Reading | None  # the highest drop read over the limit in the month
    spells: tuple[MonthEpisode, ...]

    @property
    def total(self) -> float:
        """Both together [days]."""
        return self.found + self.unnoticed


def days_over(result: StationResult, interval: float, month: Month) -> DaysOver:
    """The station's days over the limit within the month, judged as of its last day."""
    own = tuple(s for s in spells(result, interval, month.last) if s.touches(month))
    estimates = [s.unnoticed(month) for s in own]
    return DaysOver(
        found=sum(s.days(month) for s in own),
        unnoticed=sum(e for e in estimates if e is not None),
        untold=sum(e is None for e in estimates),
        highest=max(_over_in(result, month), key=lambda r: r.drop or 0.0, default=None),
        spells=own,
    )


def _over_in(result: StationResult, month: Month) -> Iterator[Reading]:
    for reading in result.history.readings:
        usable = reading.usable and reading.drop is not None and reading.date in month
        if usable and is_over(reading.drop or 0.0, result.station.limit):
            yield reading
