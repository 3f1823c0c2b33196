"""How much of the reading plan each station has, month by month."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.model import History
from siltbook.templates.book import Book

LEAST_SHARE = 2 / 3  # of a station's season
LEAST_MONTH = 3  # visits that a month must have been due for its emptiness to be seen


@dataclass(frozen=True)
class MonthCoverage:
    """Visits due and made at one station in one month (`month` is its first day)."""

    station: str
    month: dt.date
    due: int
    made: int


def coverage(
    histories: Sequence[History], interval: float, as_of: dt.date
) -> tuple[MonthCoverage, ...]:
    """Every month of every station, from its first reading to the as-of date.

    A station that is not in service counts up to its last reading: since when it rests the
    book does not say. Visits less than half an interval apart count once.
    """
    return tuple(m for h in histories for m in _station(h, interval, as_of))


def _station(history: History, interval: float, as_of: dt.date) -> list[MonthCoverage]:
    days = _visits(history, interval)
    if not days:
        return []
    first, last = days[0], as_of if history.station.in_service else days[-1]
    found = []
    month, asked = first.replace(day=1), 0
    while month <= last:
        following = (month + dt.timedelta(days=32)).replace(day=1)
        end = min(following, last + dt.timedelta(days=1))
        # One visit on the first day, then one every interval; whole visits in every month.
        until = int(((end - first).days - 1) / interval + 1e-9) + 1
        made = bisect_left(days, following) - bisect_left(days, month)
        found.append(MonthCoverage(history.station.name, month, until - asked, made))
        month, asked = following, until
    return found


def _visits(history: History, interval: float) -> list[dt.date]:
    kept: list[dt.date] = []
    for reading in history.readings:
        if not kept or (reading.date - kept[-1]).days >= interval / 2:
            kept.append(reading.date)
    return kept


def plan_kept(book: Book, months: Sequence[MonthCoverage], rows: dict[str, int]) -> RuleResult:
    """The rule 'coverage'; `rows` gives each station's row in the register."""
    rule = RULES["coverage"]
    if not months:
        return RuleResult(rule, State.CANNOT, "No station has a reading.")
    places: list[Place] = []
    due = made = 0
    by_station: dict[str, list[MonthCoverage]] = {}
    for month in months:
        by_station.setdefault(month.station, []).append(month)
    for name, own in by_station.items():
        asked = sum(m.due for m in own)
        done = min(asked, sum(m.made for m in own))
        due, made = due + asked, made + done
        empty = [m for m in own if m.made == 0 and m.due >= LEAST_MONTH]
        few = asked > 0 and done < LEAST_SHARE * asked
        table = ", ".join(f"{m.month:%Y-%m} {m.made} of {m.due}" for m in own)
        said = f"{name}: {done} of {asked} visits ({table})"
        cell = book.stations.cell("station", rows[name])
        holds = not (few or empty)
        places.append(Place(book.stations.sheet, cell, said, name, holds=holds))
    share = f"{made} of {due} visits of the reading plan were made."
    result = looked(rule, places, share, many="stations with too few visits")
    said = result.said if result.state is State.QUIET else f"{share} {result.said}"
    return RuleResult(rule, result.state, said, None, made, due, result.places)
