"""One station's invented season: weekly visits, what is read, and what is done about it.

The people of a sample farm keep one rule. They read; where the drop is over the limit they
flush and read again; where that did not help they clean by hand and read again; where that did
not help they call for help. A `Visit` changes one week: a missed visit, a broken solenoid, a
tired pump.
"""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass, field

from sample_workbooks.dirt import Dirt, Reset, give_back, on_division, true_drop
from siltbook.templates.units import metres_per

LIMIT = 5.0  # the farm's drop limit [m]
_WAVERS = (-0.1, -0.05, 0.0, 0.0, 0.05, 0.1)  # of the inlet from visit to visit [bar]


@dataclass(frozen=True)
class Gauge:
    """One gauge with a selector; `division` and `full_scale` in `unit`, class in percent."""

    unit: str = "bar"
    division: float = 0.05
    full_scale: float = 6.0
    gauge_class: float = 1.6

    def read(self, metres: float) -> float:
        """What a person reads for a pressure [m], in the gauge's unit."""
        return on_division(metres / metres_per(self.unit), self.division)

    def metres(self, reading: float) -> float:
        """A reading in the gauge's unit as pressure [m]."""
        return reading * metres_per(self.unit)


@dataclass(frozen=True)
class Visit:
    """What is special about one week. `inlet` [bar]; `flow` and `torn` are shares of normal."""

    missed: bool = False
    inlet: float | None = None
    flow: float | None = None
    field_loss: float | None = None
    torn: float | None = None
    flush: bool = True
    signs: bool = True
    read_after_flush: bool = True
    new_solenoid: bool = False  # the day after a flush without signs
    clean_by_hand: bool = True
    planned_cleaning: bool = False
    flush_share: float | None = None
    cleaning_share: float | None = None
    remark: str = ""


@dataclass(frozen=True)
class Plan:
    """Everything that decides one station's season."""

    name: str
    block: str
    verdict: str
    dirt: Dirt
    visits: dict[int, Visit] = field(default_factory=dict)
    base: float = 0.0  # dirt on the element at the season's start [m]
    inlet: float = 3.2  # usual inlet pressure [bar]
    working_inlet: float = 2.4  # [bar]
    wanted_field: float = 1.5  # [bar]
    field_loss: float = 6.0  # between filter and field at the reference flow [m]
    filter_type: str = "screen"
    grade: float = 130.0
    in_service: bool = True
    remark: str = ""
    flush_flow: float | None = None  # in the farm's flow unit
    emitter: tuple[float, float] | None = None  # exponent, passage [mm]
    own_inlet: bool = False  # its inlet wavers by itself where stations share one season


@dataclass(frozen=True)
class Episode:
    """A stretch over the limit; `closed` is None where it is still open."""

    opened: dt.date
    closed: dt.date | None = None
    closed_by: str = ""


@dataclass(frozen=True)
class TrueReading:
    """A reading's true drop [m] and flow [m3/h], beside its place in time."""

    date: dt.date
    time: dt.time
    drop: float
    flow: float


@dataclass(frozen=True)
class Season:
    """What a season leaves: rows for the workbook, and the truth behind them."""

    plan: Plan
    readings: tuple[dict[str, object], ...]
    work: tuple[dict[str, object], ...]
    truths: tuple[TrueReading, ...]
    resets: tuple[Reset, ...]
    episodes: tuple[Episode, ...]


class _Diary:
    """Collects one station's rows while the season runs."""

    def __init__(self, plan: Plan, gauge: Gauge, people: tuple[str, ...], rng: random.Random):
        self.plan, self.gauge, self.people, self.rng = plan, gauge, people, rng
        self.readings: list[dict[str, object]] = []
        self.work: list[dict[str, object]] = []
        self.truths: list[TrueReading] = []
        self.resets: list[Reset] = []
        self.episodes: list[Episode] = []
        self.last_work = ""
        self.inlets = random.Random(plan.name) if plan.own_inlet else None
        self.inlet = 0.0
        self.flow = 0.0
        self.who = people[0]

    def arrive(self, visit: Visit) -> None:
        """Settle the visit's inlet [m], flow [m3/h] and person; always the same draws."""
        jitter = self.rng.choice(_WAVERS)
        if self.inlets is not None:
            jitter = self.inlets.choice(_WAVERS)
        share = self.rng.uniform(0.97, 1.03)
        self.who = self.rng.choice(self.people)
        inlet_bar = self.plan.inlet + jitter if visit.inlet is None else visit.inlet
        self.inlet = self.gauge.metres(self.gauge.read(inlet_bar * metres_per("bar")))
        share = share if visit.flow is None else visit.flow
        self.flow = on_division(self.plan.dirt.reference_flow * share, 0.1)

    def read(self, when: dt.datetime, visit: Visit, occasion: str) -> bool:
        """Log one reading; True where its drop, as read, is over the limit."""
        drop = true_drop(self.plan.dirt, self.resets[-1], when.date(), self.flow)
        loss = self.plan.field_loss if visit.field_loss is None else visit.field_loss
        loss *= (self.flow / self.plan.dirt.reference_flow) ** 2
        inlet, outlet = self.gauge.read(self.inlet), self.gauge.read(self.inlet - drop)
        self.readings.append(
            {
                "station": self.plan.name, "date": when.date(), "time": when.time(),
                "inlet": inlet, "outlet": outlet, "flow": self.flow,
                "field": self.gauge.read(self.inlet - drop - loss),
                "occasion": occasion, "read_by": self.who, "remark": visit.remark,
            }
        )  # fmt: skip
        self.truths.append(TrueReading(when.date(), when.time(), drop, self.flow))
        over = self.gauge.metres(round(inlet - outlet, 6)) > LIMIT + 1e-6
        self._follow(when.date(), over)
        return over

    def _follow(self, day: dt.date, over: bool) -> None:
        open_ = bool(self.episodes) and self.episodes[-1].closed is None
        if over and not open_:
            self.episodes.append(Episode(day))
            self.last_work = ""
        elif not over and open_:
            self.episodes[-1] = Episode(self.episodes[-1].opened, day, self.last_work)

    def log(self, when: dt.datetime, work: str, **cells: object) -> None:
        """Log one piece of work."""
        row: dict[str, object] = {
            "station": self.plan.name, "date": when.date(), "time": when.time(), "work": work,
        }  # fmt: skip
        self.work.append({**row, **cells, "done_by": self.who})
        self.last_work = work

    def flush(self, when: dt.datetime, signs: bool, share: float) -> None:
        """Log three flush cycles; dirt leaves only where the valve really opened."""
        seen = "yes" if signs else "no"
        lowest = self.gauge.read(self.inlet - (5.0 if signs else 0.0))
        signs_seen = dict.fromkeys(("click", "water_heard", "water"), seen)
        self.log(when, "flush", cycles=3, flush_inlet=lowest, **signs_seen)
        if signs:
            self.resets.append(give_back(self.plan.dirt, self.resets[-1], when.date(), share))

    def clean(self, when: dt.datetime, share: float) -> None:
        """Log a hand cleaning, gauge seen working and then at zero."""
        self.log(when, "hand cleaning", gauge_zero="yes")
        self.resets.append(give_back(self.plan.dirt, self.resets[-1], when.date(), share))


def _visit(diary: _Diary, visit: Visit, when: dt.datetime) -> None:
    dirt = diary.plan.dirt
    share = dirt.cleaning_share if visit.cleaning_share is None else visit.cleaning_share
    over = diary.read(when, visit, "routine")
    if over and visit.flush:
        over = _flush(diary, visit, when)
        clean = over and visit.clean_by_hand and visit.signs and visit.read_after_flush
    else:
        clean = visit.planned_cleaning
    if clean:
        diary.clean(when + dt.timedelta(minutes=55), share)
        after = when + dt.timedelta(minutes=75)
        if diary.read(after, visit, "after cleaning"):
            diary.log(after + dt.timedelta(minutes=10), "called out")


def _flush(diary: _Diary, visit: Visit, when: dt.datetime) -> bool:
    """Flush and read again; True where the reading afterwards is still over."""
    share = diary.plan.dirt.flush_share if visit.flush_share is None else visit.flush_share
    diary.flush(when + dt.timedelta(minutes=10), visit.signs, share)
    if not visit.signs and visit.new_solenoid:
        when = when + dt.timedelta(days=1)
        diary.log(when, "solenoid replaced")
        diary.flush(when + dt.timedelta(minutes=10), True, share)
    elif not visit.signs:
        return True
    if not visit.read_after_flush:
        return True
    return diary.read(when + dt.timedelta(minutes=25), visit, "after flush")


def run(
    plan: Plan,
    gauge: Gauge,
    people: tuple[str, ...],
    start: dt.datetime,
    weeks: int,
    seed: str,
) -> Season:
    """One station's season of weekly visits from `start` on; the same for the same seed."""
    diary = _Diary(plan, gauge, people, random.Random(seed))
    diary.resets.append(Reset(start.date(), plan.base))
    for week in range(weeks):
        visit = plan.visits.get(week, Visit())
        diary.arrive(visit)
        when = start + dt.timedelta(days=7 * week)
        if visit.torn is not None:
            last = diary.resets[-1]
            held = give_back(plan.dirt, last, when.date(), 0.0)
            diary.resets.append(Reset(when.date(), held.base, visit.torn))
        if not visit.missed:
            _visit(diary, visit, when)
    return Season(
        plan, tuple(diary.readings), tuple(diary.work), tuple(diary.truths),
        tuple(diary.resets), tuple(diary.episodes),
    )  # fmt: skip
