"""What the conditions of a verdict look at: where a station stands, and its latest readings."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from statistics import median

from siltbook.batch.ladder.replay import Standing, scanned
from siltbook.batch.model import CLEARS, NO_WORK, History, Reading, Work, is_over
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.readings import usual_flow
from siltbook.batch.numbers.unplaced import LostRow
from siltbook.checks.gauges import NOISE
from siltbook.checks.register import MOST_LIMIT
from siltbook.checks.slipped import Slipped
from siltbook.templates.book import Settings
from siltbook.templates.contract import FARM, READINGS, STATIONS
from siltbook.templates.shown import Shown

BORDER = 0.05  # probability on either side
HALF = 0.5
FEW = 3  # earlier readings on end, of which the middle one may be the usual inlet
LEAK_FLOW = 1.15  # times the reference flow


@dataclass(frozen=True)
class Facts:
    """What the conditions look at: the standing and the latest readings of one station."""

    history: History
    settings: Settings
    as_of: dt.date | None
    standing: Standing
    latest: Reading | None  # latest usable
    newest: Reading | None  # latest of all, usable or not
    expected: Forecast | None = None
    flushing_helps: bool = True

    @property
    def over(self) -> bool:
        """Whether the latest usable drop is over the limit."""
        return self.latest is not None and is_over(self.drop, self.history.station.limit)

    @property
    def drop(self) -> float:
        """Latest usable drop [m]; NaN without one."""
        return self.latest.drop if self.latest and self.latest.drop is not None else float("nan")

    @property
    def shown(self) -> Shown:
        """The unit and the dates of all that is said."""
        return self.settings.shown

    def on(self, entry: Reading | Work | None) -> str:
        """The day of an entry in a sentence; empty without one."""
        return "" if entry is None else self.shown.day(entry.date)

    @property
    def misplaced(self) -> Slipped | None:
        """A reading whose date looks mistyped, where that one may be the latest."""
        last = None if self.newest is None else self.newest.date
        found = [
            slip
            for slip in self.history.slipped
            if self.as_of is None or min(slip.typed, slip.likely) <= self.as_of
            if last is None or max(slip.typed, slip.likely) >= last
        ]
        return max(found, key=lambda slip: slip.likely, default=None)

    @property
    def lost_work(self) -> tuple[LostRow, ...]:
        """Rows of work that could not be placed, and may change where the station stands.

        Of the open episode, or since an interval before the latest reading; any without a day.
        """
        rows, since = self.history.unplaced_work, self._work_since
        return tuple((row, day) for row, day in rows if day is None or day >= since)

    @property
    def _work_since(self) -> dt.date:
        """From when on work that is not known may change where the station stands."""
        episode = self.standing.episode
        if episode is not None and episode.open:
            return episode.opened
        if self.latest is None:
            return dt.date.min
        return self.latest.date - dt.timedelta(days=int(self.settings.interval))

    @property
    def not_read(self) -> tuple[tuple[str, str, dt.date], ...]:
        """Sheets and tables that were not read and hold what may change where the station stands.

        Each with the list that it looks like and the latest such day: a reading after the newest
        one (of its day too, in a second table on the sheet), or work of a day of which none is
        logged.
        """
        if not self.history.elsewhere:
            return ()
        last = dt.date.min if self.newest is None else self.newest.date
        logged = {work.date for work in self.history.work}
        found = []
        for place in self.history.elsewhere:
            if place.like == READINGS.name:
                first = last + dt.timedelta(days=1) if place.sheet else last
                days = [day for day in place.days if day >= first]
            else:
                days = [d for d in place.days if d >= self._work_since and d not in logged]
            if days:
                found.append((place.sheet, place.like, max(days)))
        return tuple(found)

    @property
    def days_since(self) -> int | None:
        """Days from the latest usable reading to the as-of date."""
        if self.latest is None or self.as_of is None:
            return None
        return (self.as_of - self.latest.date).days


def facts_of(
    history: History,
    settings: Settings,
    as_of: dt.date | None,
    expected: Forecast | None = None,
    flushing_helps: bool = True,
) -> Facts:
    """Scan a history and pick out its latest readings."""
    cycles, inlet = settings.flush_cycles, settings.flush_inlet
    entries, standing = scanned(history, flush_cycles=cycles, flush_inlet=inlet)
    if entries != history.entries:  # as a rule they were settled before
        history = replace(history, entries=entries)
    readings = history.readings
    return Facts(
        history,
        settings,
        as_of,
        standing,
        history.latest,
        readings[-1] if readings else None,
        expected,
        flushing_helps,
    )


def _under(value: float | None, least: float | None) -> bool:
    return value is not None and least is not None and value < least - NOISE


def inlet_low(facts: Facts) -> bool:
    """Latest inlet under the station's lowest working inlet; without one, or fallen far."""
    latest = facts.latest
    if latest is None:
        return False
    least = facts.history.station.working_inlet
    return _under(latest.inlet, least) or (least is None and fallen_from(facts) is not None)


def fallen_from(facts: Facts) -> float | None:
    """The usual inlet [m], where the latest is under half of it and of what a flush needs.

    The usual one is the highest median of FEW earlier readings on end, so that a supply that
    falls slowly does not take it along, and the lowest where there are fewer; None where it has
    not fallen so.
    """
    latest = facts.latest
    if latest is None or not _under(latest.inlet, HALF * facts.settings.flush_inlet):
        return None
    earlier = [r.inlet for r in facts.history.readings if r.usable and r is not latest and r.inlet]
    if not earlier:
        return None
    if len(earlier) < FEW:  # the lower of two: one odd reading tells nothing beside another
        return min(earlier) if _under(latest.inlet, HALF * min(earlier)) else None
    usual = max(float(median(earlier[i : i + FEW])) for i in range(len(earlier) - FEW + 1))
    return usual if _under(latest.inlet, HALF * usual) else None


def inlet_weak(facts: Facts) -> bool:
    """Latest inlet under half of what a flush needs, where no lowest working inlet is given.

    45 psi in a book of kPa looks so at every reading: its drops are a seventh of what was read.
    """
    least = facts.history.station.working_inlet
    latest, half = facts.latest, HALF * facts.settings.flush_inlet
    return latest is not None and least is None and _under(latest.inlet, half)


def too_low_to_flush(facts: Facts) -> bool:
    """Over, with the latest inlet under the farm's lowest flush inlet: a flush cannot work."""
    return facts.over and facts.latest is not None and _under(
        facts.latest.inlet, facts.settings.flush_inlet
    )  # fmt: skip


def at_reference(facts: Facts) -> float:
    """The latest drop taken to the reference flow [m]; as read where no flow is known."""
    flow = facts.latest.flow if facts.latest else None
    reference = facts.history.station.reference_flow
    return corrected_drop(facts.drop, flow, reference, facts.history.exponent)


def known_flow(facts: Facts) -> float | None:
    """The reference flow [m3/h]; without one the usual flow, None where that is not known."""
    return facts.history.station.reference_flow or usual_flow(facts.history.readings)


def at_known_flow(facts: Facts) -> float:
    """The latest drop taken to the reference, else to the usual flow [m]; as read without."""
    flow = facts.latest.flow if facts.latest else None
    return corrected_drop(facts.drop, flow, known_flow(facts), facts.history.exponent)


def over_at_reference(facts: Facts) -> bool:
    """In range as read, but over the limit once taken to the reference, or the usual, flow."""
    return not facts.over and is_over(at_known_flow(facts), facts.history.station.limit)


def back_by_one_reading(facts: Facts) -> bool:
    """Back in range with no work logged, by one reading alone, and nobody knows at what flow.

    Valves half shut, or few open emitters, look the same; a reading on another day tells.
    """
    episode, latest = facts.standing.episode, facts.latest
    if latest is None or facts.over or episode is None or episode.closed != latest.date:
        return False
    worked = any(w.work in CLEARS and w.date >= latest.date for w in facts.history.work)
    told = latest.flow is not None and known_flow(facts) is not None
    return episode.closed_by == NO_WORK and not worked and not told


def outlet_zero(facts: Facts) -> bool:
    """Whether the latest usable drop stands on an outlet of zero."""
    return facts.latest is not None and facts.latest.outlet == 0


def flush_unseen(facts: Facts) -> bool:
    """Whether none of the signs of this episode's flush was written down, neither yes nor no."""
    flush = facts.standing.flushed
    if flush is None or not flush.row:  # one that was carried over has its signs in last season
        return False
    return flush.click is None and flush.water is None and flush.water_heard is None


def unread_beside(facts: Facts) -> tuple[str, ...]:
    """Cells of the newest reading that may say that nothing flowed, or that the field is dry.

    A field pressure says nothing where none is wanted.
    """
    newest = facts.newest
    if newest is None or not newest.usable:
        return ()
    wanted = facts.history.station.wanted_field is not None
    return tuple(said for said in newest.unread if wanted or "'Field pressure'" not in said)


def rules_not_read(facts: Facts) -> tuple[str, ...]:
    """Rules by which the station is judged otherwise than was typed, since they cannot be read.

    The farm's limit says nothing where the station has its own.
    """
    station, farm = facts.history.station, facts.settings.not_read
    own = tuple(STATIONS.column(key).header.removesuffix(" (m)") for key in station.not_read)
    farms = tuple(key for key in farm if key != "drop_limit" or not station.own_limit)
    return (*own, *(f"the farm's {FARM.column(key).header}" for key in farms))


def limit_too_high(facts: Facts) -> bool:
    """A limit so high that its unit is in doubt, and *within the limit* says little."""
    return facts.history.station.limit > MOST_LIMIT


def came_back_alone(facts: Facts) -> bool:
    """Back in range with no work logged, by less than the gauge can tell."""
    episode, latest = facts.standing.episode, facts.latest
    if latest is None or facts.over or episode is None or episode.closed is None:
        return False
    closed, p = episode.closed, latest.p_over
    worked = any(w.work in CLEARS and w.date >= closed for w in facts.history.work)
    return episode.closed_by == NO_WORK and not worked and p is not None and p >= BORDER


def field_low(facts: Facts) -> bool:
    """Latest field pressure under the wanted one."""
    latest = facts.latest
    return latest is not None and _under(latest.field, facts.history.station.wanted_field)


def leak_suspected(facts: Facts) -> bool:
    """Flow well above the reference together with a low inlet or field pressure."""
    latest, reference = facts.latest, facts.history.station.reference_flow
    if latest is None or not latest.flow or not reference:
        return False
    return latest.flow > LEAK_FLOW * reference and (inlet_low(facts) or field_low(facts))
