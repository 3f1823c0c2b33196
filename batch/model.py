"""What the rooms hand on: a station, what was logged there, and what the ladder says of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from siltbook.checks.changed import ChangedGauge
from siltbook.checks.findings import Finding
from siltbook.checks.gauges import NOISE
from siltbook.checks.slipped import Slipped
from siltbook.templates.book import Elsewhere
from siltbook.templates.safety import Step


class Verdict(StrEnum):
    """Most urgent first; the order of this enum is the order of urgency."""

    ESCALATE = "escalate"
    HAND_CLEAN = "hand-clean"
    CHECK_FLUSH_GEAR = "check-flush-gear"
    CHECK_SUPPLY = "check-supply"
    CHECK_FIELD = "check-field"
    FLUSH = "flush"
    INSPECT_SCREEN = "inspect-screen"
    RE_READ = "re-read"
    NO_READING = "no-reading"
    WATCH = "watch"
    IN_RANGE = "in-range"
    RESTING = "resting"


CALM = (Verdict.IN_RANGE, Verdict.RESTING)  # nothing to do now
CLEANINGS = ("hand cleaning", "screen replaced")
CLEARS = ("flush", *CLEANINGS)  # work that takes dirt off the element
NO_WORK = "no work logged"  # what closed an episode that nobody worked on
SAME_BOTH_SIDES = "inlet and outlet the same: valves shut, or the selector not turned"
FLOW_EXPONENT = 2.0  # of h ~ Q^n, where a station's own readings do not fix it better


def is_over(drop: float, limit: float) -> bool:
    """Whether a drop [m] is over the limit [m]; equal is in range."""
    return drop > limit + NOISE


@dataclass(frozen=True)
class Station:
    """One row of the register with the farm's defaults filled in; pressures [m], flow [m3/h]."""

    name: str
    row: int
    block: str
    filter_type: str
    grade: float | None
    reference_flow: float | None
    clean_drop: float | None
    limit: float
    working_inlet: float | None
    wanted_field: float | None
    gauges: str | None  # 'one gauge', 'two gauges' or None
    full_scale: float | None
    gauge_class: float | None  # [% of full scale]
    division: float | None
    unit: str
    in_service: bool
    flush_flow: float | None = None  # [m3/h]
    emitter_exponent: float | None = None
    emitter_passage: float | None = None  # [mm]
    refused: tuple[str, ...] = ()  # keys of numbers that were typed, but cannot be
    own_limit: bool = False  # whether the register gives its limit, and not the farm
    not_read: tuple[str, ...] = ()  # keys of its rules that were typed and count for nothing
    more: tuple[tuple[str, object], ...] = ()  # what else the row holds, by the contract's keys
    changed: tuple[ChangedGauge, ...] = ()  # gauges since, in order of time, up to the as-of date
    gauge_row: int = 0  # of the sheet Gauges; 0 where the register's gauge holds

    def on(self, day: dt.date) -> Station:
        """The station with the gauge that it was read on at a day."""
        station = self
        for gauge in self.changed:
            if gauge.since <= day:
                station = replace(
                    station,
                    gauges=gauge.gauges or station.gauges,
                    full_scale=gauge.full_scale,
                    gauge_class=gauge.gauge_class,
                    division=gauge.division,
                    unit=gauge.unit or station.unit,
                    gauge_row=gauge.row,
                )
        return station

    @property
    def now(self) -> Station:
        """The station with the last gauge that it has."""
        return self.on(self.changed[-1].since) if self.changed else self

    def registered(self, key: str) -> object:
        """A value of the row that nothing computes with; None where it is empty."""
        return dict(self.more).get(key)


@dataclass(frozen=True)
class Reading:
    """One visit's reading. `why_unusable` is empty where the ladder may use it."""

    row: int
    date: dt.date
    time: dt.time | None
    inlet: float | None  # [m]
    outlet: float | None  # [m]
    drop: float | None  # [m]
    flow: float | None  # [m3/h]
    field: float | None  # [m]
    occasion: str  # 'routine', 'after flush', 'after cleaning'
    u_drop: float | None = None  # standard uncertainty [m], against the limit
    p_over: float | None = None
    why_unusable: str = ""
    looks_like: str = ""  # the unit that explains its pressures better than the station's does
    u_read: float | None = None  # the part of `u_drop` from reading the scale [m]
    gauge_row: int = 0  # of the sheet Gauges; 0 where it was read on the register's gauge
    unread: tuple[str, ...] = ()  # cells beside the pressures that say what nobody can read

    @property
    def u_between(self) -> float | None:
        """Standard uncertainty of this drop [m] in differences from drops on the same gauges.

        The gauges' class is the same at both and cancels.
        """
        return self.u_drop if self.u_read is None else self.u_read

    @property
    def usable(self) -> bool:
        """Whether the ladder may use this reading."""
        return not self.why_unusable


@dataclass(frozen=True)
class Work:
    """One piece of work."""

    row: int
    date: dt.date
    time: dt.time | None
    work: str
    cycles: float | None = None
    flush_inlet: float | None = None  # [m]
    click: bool | None = None
    water: bool | None = None  # at the flush outlet
    gauge_zero: bool | None = None
    water_heard: bool | None = None  # in the filter
    unread: tuple[str, ...] = ()  # signs that were answered in words which nobody can read

    @property
    def missing_signs(self) -> tuple[str, ...]:
        """The signs of a flush that were answered with no, in words; a blank is not a no.

        What was answered and cannot be read is no yes, and may be a no.
        """
        signs = (
            (self.click, "no click heard"),
            (self.water_heard, "no water heard in the filter"),
            (self.water, "no water at the outlet"),
        )
        return (*(words for seen, words in signs if seen is False), *self.unread)


@dataclass(frozen=True)
class FlowFit:
    """The exponent `n` of h ~ Q^n [-] that a station uses, and the evidence for it.

    `estimate` with its 80 % interval `low`, `high` is what its own clean readings say, None
    where they say nothing; `why_default` says why 2 was kept all the same, empty where it was
    not. `readings`: clean readings with a flow; `flow_low`, `flow_high`: their flows [m3/h].
    """

    n: float = FLOW_EXPONENT
    estimate: float | None = None
    low: float | None = None
    high: float | None = None
    readings: int = 0
    flow_low: float | None = None
    flow_high: float | None = None
    why_default: str = "not looked for"


@dataclass(frozen=True)
class CarriedOver:
    """Where a station stood at the end of last season: a row of the sheet Carried over.

    `step` and `gear` are values of `ladder.replay.Step` and `Gear`; days are None where the row
    leaves them empty.
    """

    row: int
    step: str = "clear"
    gear: str = "trusted"
    opened: dt.date | None = None
    flushed: dt.date | None = None
    cleaned: dt.date | None = None
    failed: dt.date | None = None  # the last flush without its signs
    solenoid: dt.date | None = None  # new ones
    controller: dt.date | None = None
    called: dt.date | None = None
    supply: dt.date | None = None  # when the inlet was too low for a flush


@dataclass(frozen=True)
class History:
    """Everything logged for one station up to the as-of date, in the ladder's order.

    `reordered`: days without times that were put into the one order that makes sense.
    `slipped`: rows of readings whose dates look mistyped, those after the as-of date as well.
    `unplaced`: rows of readings that may be its latest, and could not be placed; `unplaced_work`:
    rows of work, with their days; `unplaced_gauges`: of changed gauges with a unit.
    `elsewhere`: entries on sheets that were not read.
    """

    station: Station
    entries: tuple[Reading | Work, ...]
    flow_fit: FlowFit = FlowFit()
    carried: CarriedOver | None = None
    reordered: tuple[dt.date, ...] = ()
    slipped: tuple[Slipped, ...] = ()
    unplaced: tuple[int, ...] = ()
    unplaced_work: tuple[tuple[int, dt.date | None], ...] = ()
    unplaced_gauges: tuple[int, ...] = ()
    elsewhere: tuple[Elsewhere, ...] = ()

    @property
    def exponent(self) -> float:
        """The exponent [-] by which this station's drops are taken to the reference flow."""
        return self.flow_fit.n

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The readings, in order."""
        return tuple(e for e in self.entries if isinstance(e, Reading))

    @property
    def latest(self) -> Reading | None:
        """The latest reading that the ladder may use."""
        usable = (e for e in reversed(self.entries) if isinstance(e, Reading) and e.usable)
        return next(usable, None)

    @cached_property
    def work(self) -> tuple[Work, ...]:
        """The pieces of work, in order."""
        return tuple(e for e in self.entries if isinstance(e, Work))


@dataclass(frozen=True)
class Episode:
    """A stretch over the limit: from the reading that opened it to the one that closed it."""

    opened: dt.date
    closed: dt.date | None
    closed_by: str  # 'flush', 'hand cleaning', ... or ''
    row: int = 0  # of the reading that opened it; 0 where it was carried over

    @property
    def open(self) -> bool:
        """Whether no reading has ended it."""
        return self.closed is None

    def days(self, as_of: dt.date | None) -> int | None:
        """How long it lasted [days], up to `as_of` while it is open; None without such a day."""
        end = self.closed or as_of
        return None if end is None else (end - self.opened).days


@dataclass(frozen=True)
class Judgement:
    """The ladder's answer for one station.

    `reason` is one sentence with figures and dates; `steps` what to do next in order;
    `rows` the (sheet key, row) pairs it rests on, sheet key 'readings' or 'work'; `read_by` the
    day by which to read again, None where the station rests or there is no as-of date;
    `came_back_alone`: back in range with no work logged, by less than the gauge can tell;
    `doubts`: sentences of the reason that speak against being in range, '' where none does.
    """

    verdict: Verdict
    reason: str
    steps: tuple[Step, ...]
    also: tuple[Verdict, ...]
    borderline: bool
    rows: tuple[tuple[str, int], ...]
    episodes: tuple[Episode, ...]
    findings: tuple[Finding, ...] = ()
    read_by: dt.date | None = None
    came_back_alone: bool = False
    doubts: str = ""

    @property
    def episode(self) -> Episode | None:
        """The latest episode, open or ended."""
        return self.episodes[-1] if self.episodes else None
