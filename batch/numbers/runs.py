"""Cuts a station's history into runs: the stretches of readings between two resets.

A reset is a hand cleaning, a new screen, a complete flush, or a drop that fell with no such work
logged. A trend is fitted inside a run and never across a reset: over a sawtooth the slope of
the whole series can come out with the wrong sign.

Edges:
- The first run starts at its first reading, since nothing says when the element was last clean;
  every later one starts on the day of its reset. The last run is open (`ended_by` empty) unless
  a reset follows its last reading.
- Resets with no usable reading between them count as one, named after the strongest work.
- A flush whose cycles nobody wrote down counts as complete, as it does on the ladder. One with too
  few cycles, or with a missing sign, cuts only where the drop fell; the run is then marked
  `concluded`.
- A run of one reading is kept, without a rate; a stretch without readings is no run.
- Unusable readings are left out. Time of day counts where it is logged, else noon.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from siltbook.batch.model import FLOW_EXPONENT, History, Reading, Work
from siltbook.batch.numbers.drops import corrected_drop, implausibly_low, u_at_reference
from siltbook.batch.numbers.rates import rate_interval
from siltbook.batch.numbers.robust import median_slope
from siltbook.checks.gauges import NOISE

FALL_SHARE = 0.4  # a fall by more than this share of the drop ...
FALL_SIGMAS = 3.0  # ... and by more than this many standard uncertainties is a reset
FALL_UNKNOWN_GAUGE = 0.5  # [m]; least fall that counts where the gauge data are missing
LEAST_FALL = 0.5  # [m]; of any gauge
LONGEST_GAP = 60.0  # [days] without a reading, over which a rate says little
LEAST_READINGS = 3
RATE_CONFIDENCE = 0.8

# What opened a run that starts from a clean element, as far as is known.
CLEANED = ("hand cleaning", "screen replaced", "")
RISE_SIGMAS, CLEANER_SIGMAS = 3.0, 2.0
FELL = "fell with no work logged"
_STRENGTH = {FELL: 0, "flush": 1, "hand cleaning": 2, "screen replaced": 3}


@dataclass(frozen=True)
class Run:
    """The readings between two resets.

    `days` [days since start] and `drops` [m, at the reference flow where the flow is known] go
    together. `start_level` is the first drop. `rate`, `slowest`, `fastest` [m/day]: Theil-Sen
    slope of the readings on one gauge with its 80 % interval. `believable` says whether the rate
    may be used, `why` why not.
    `ended_by` is empty while the run is open. `concluded`: the reset at its end was concluded from
    the drop, not logged as complete work. `given_back`: by that reset, as a share of
    the excess over the clean drop (1 = clean again); None where it cannot be known. `opened_by`
    is the reset at its start, empty for a first run that no reset is known to have opened.
    `rows`: where its readings stand on the workbook's sheet. `clean_level` [m]: what this
    station's drop mostly is after a cleaning; None for a run that was cut by itself.
    `left_cleaner`: the drop after its reset was under the clean drop by more than the gauge can
    err. `u_start` [m]: standard uncertainty of the first drop, in differences on the same gauges.
    """

    begins: dt.date
    ends: dt.date
    days: tuple[float, ...]
    drops: tuple[float, ...]
    start_level: float
    rate: float | None
    slowest: float | None
    fastest: float | None
    believable: bool
    why: str
    ended_by: str
    concluded: bool
    given_back: float | None
    opened_by: str = ""
    rows: tuple[int, ...] = ()
    clean_level: float | None = None
    left_cleaner: bool = False
    u_start: float | None = None

    def __hash__(self) -> int:
        """By where it stands: runs are looked up often, and a hash of every reading is slow."""
        return hash((self.rows[:1], self.begins, self.start_level))

    @property
    def open(self) -> bool:
        """Whether no reset has ended this run yet."""
        return not self.ended_by


@dataclass(frozen=True)
class _Reset:
    date: dt.date
    moment: float
    kind: str
    concluded: bool


_Point = tuple[Reading, float]  # a reading and its corrected drop [m]


@dataclass
class _Stretch:
    opened: _Reset | None
    points: list[_Point]
    closed: _Reset | None = None


def moment(date: dt.date, time: dt.time | None) -> float:
    """A day number with its part of the day [days]; noon where no time is logged."""
    part = 0.5 if time is None else (time.hour + time.minute / 60 + time.second / 3600) / 24
    return date.toordinal() + part


def is_complete_flush(work: Work, flush_cycles: int, flush_inlet: float = 0.0) -> bool:
    """Whether the log shows a flush of at least `flush_cycles` cycles with no sign missing.

    Its inlet must not have fallen under `flush_inlet` [m]. A blank sign, inlet or number of
    cycles is not a no: the ladder takes it so, with a finding.
    """
    held = work.flush_inlet is None or work.flush_inlet >= flush_inlet - 1e-6
    enough = work.cycles is None or work.cycles >= flush_cycles
    return work.work == "flush" and not work.missing_signs and held and enough


def is_reset(work: Work, flush_cycles: int, flush_inlet: float) -> bool:
    """Whether this work takes dirt away: the element was opened, or flushed completely.

    `flush_cycles` [-] and `flush_inlet` [m]: what a complete flush has, as for `replay_ladder`.
    """
    opened = work.work in ("hand cleaning", "screen replaced")
    return opened or is_complete_flush(work, flush_cycles, flush_inlet)


def _logged_reset(work: Work, flush_cycles: int, flush_inlet: float) -> _Reset | None:
    if is_reset(work, flush_cycles, flush_inlet):
        return _Reset(work.date, moment(work.date, work.time), work.work, False)
    return None


def _least_fall(points: tuple[_Point, _Point]) -> float:
    square = 0.0
    same = points[0][0].gauge_row == points[1][0].gauge_row
    for reading, drop in points:
        u = u_at_reference(reading, drop, same_gauge=same)
        if u is None:
            return FALL_UNKNOWN_GAUGE
        square += u**2
    return max(FALL_SIGMAS * math.sqrt(square), LEAST_FALL)


def fall_between(
    before: Reading,
    after: Reading,
    reference_flow: float | None,
    exponent: float = FLOW_EXPONENT,
) -> tuple[float, float] | None:
    """Both drops [m] where the second fell beyond doubt, else None.

    Beyond doubt: by more than 40 %, more than three standard uncertainties of such a difference
    and more than 0.5 m: near zero a drop falls by half from one reading to the next, and no dirt
    has gone. At `reference_flow` [m3/h] by `exponent` [-] where both flows are known.
    """
    first = _point(before, reference_flow, exponent)
    return _fallen(first, _point(after, reference_flow, exponent))


def _point(reading: Reading, reference_flow: float | None, exponent: float) -> _Point:
    """A reading with its drop at the reference flow; a drop that is missing counts as 0."""
    return reading, corrected_drop(reading.drop or 0.0, reading.flow, reference_flow, exponent)


def _fallen(before: _Point, after: _Point) -> tuple[float, float] | None:
    """`fall_between` of readings with their drops at the reference flow."""
    (first, high), (second, low) = before, after
    # A corrected drop and an uncorrected one do not compare: then both are taken as read.
    if not (first.flow and second.flow):
        high, low = first.drop or 0.0, second.drop or 0.0
    fall = high - low
    # A fall of exactly that share is none, in whatever unit it was read.
    if not fall > FALL_SHARE * high + NOISE:
        return None
    least = _least_fall(((first, high), (second, low)))
    return (high, low) if fall > least + NOISE else None


def _stretches(history: History, flush_cycles: int, flush_inlet: float) -> list[_Stretch]:
    stretches = [_Stretch(None, [])]
    partial = False  # a flush that does not count on its own, since the last reading
    reference, n = history.station.reference_flow, history.exponent
    for entry in history.entries:
        now = stretches[-1]
        if isinstance(entry, Work):
            partial = partial or entry.work == "flush"
            reset = _logged_reset(entry, flush_cycles, flush_inlet)
            if reset is not None:
                _close(stretches, reset)
            continue
        if entry.why_unusable or entry.drop is None:
            continue
        point = _point(entry, reference, n)
        if now.points and _fallen(now.points[-1], point):
            at = moment(entry.date, entry.time)
            _close(stretches, _Reset(entry.date, at, "flush" if partial else FELL, True))
        stretches[-1].points.append(point)
        partial = False
    return stretches


def _close(stretches: list[_Stretch], reset: _Reset) -> None:
    now = stretches[-1]
    if now.points:
        now.closed = reset
        stretches.append(_Stretch(reset, []))
        return
    # Nothing was read since the last reset: both count as one, under the stronger name.
    kind = max((r.kind for r in (now.opened, reset) if r), key=_STRENGTH.__getitem__)
    now.opened = replace(reset, kind=kind)
    if len(stretches) > 1:
        before = stretches[-2]
        if before.closed is None or _STRENGTH[reset.kind] >= _STRENGTH[before.closed.kind]:
            before.closed = reset


def _given_back(
    before: _Point, after: _Point | None, clean: float | None
) -> tuple[float | None, bool]:
    """What a reset gave back, as a share; and whether it left less than the clean drop.

    No share where the rise over the clean drop is less than three standard uncertainties, or
    where the drop after is under the clean drop by more than the gauge can err: then the clean
    drop of the register is too high, and a share over 1 would only say that. Within what the gauge
    can err it is 1.
    """
    if after is None or clean is None:
        return None, False
    # The clean drop was read on the register's gauge.
    u_before, u_after = (
        u_at_reference(*point, same_gauge=not point[0].gauge_row) or 0.0
        for point in (before, after)
    )
    rise = before[1] - clean
    if clean - after[1] > CLEANER_SIGMAS * u_after + NOISE:
        return None, True
    if rise <= max(RISE_SIGMAS * u_before, NOISE):
        return None, False
    return min((before[1] - after[1]) / rise, 1.0), False


def longest_gap(days: tuple[float, ...]) -> float:
    """The longest time [days] between two readings of a run; 0 where there is one."""
    return max((b - a for a, b in pairwise(days)), default=0.0)


def _judge(
    days: tuple[float, ...], rate: float | None, high: float | None, *, changed: bool
) -> str:
    if len(days) < LEAST_READINGS:
        where = "on one gauge: it was changed in the run" if changed else "in the run"
        return f"fewer than {LEAST_READINGS} readings {where}"
    if rate is None:
        return "all readings of the run were taken at the same time"
    gap = longest_gap(days)
    if gap > LONGEST_GAP:
        return f"{gap:.0f} days of the run passed without a reading"
    if rate < 0 and high is not None and high < 0:
        return "the drop falls during the run"
    return ""


def _rates(
    days: tuple[float, ...], drops: tuple[float, ...]
) -> tuple[float | None, float | None, float | None]:
    if len(set(days)) < 2:
        return None, None, None
    slope = median_slope(days, drops)
    bounds = rate_interval(days, drops, RATE_CONFIDENCE)
    if bounds is None:
        return slope, None, None
    return slope, min(bounds[0], slope), max(bounds[1], slope)


def _on_one_gauge(gauges: Sequence[int]) -> slice:
    """Which readings of a run its rate rests on: from another gauge on, a drop also steps by the
    classes of the two, so only the longest row of readings on one gauge counts, the last of two
    alike."""
    starts = [i for i, g in enumerate(gauges) if not i or g != gauges[i - 1]]
    parts = zip(starts, [*starts[1:], len(gauges)], strict=True)
    return slice(*max(parts, key=lambda part: (part[1] - part[0], part[0])))


def _run(stretch: _Stretch, after: _Point | None, clean: float | None) -> Run:
    first = stretch.points[0][0]
    opened = stretch.opened
    begun = moment(first.date, first.time) if opened is None else opened.moment
    # A reading timed before an untimed reset of the same day stands at the start, not before it.
    raw = [moment(r.date, r.time) - begun for r, _ in stretch.points]
    days = tuple(accumulate([max(raw[0], 0.0), *raw[1:]], max))
    drops = tuple(drop for _, drop in stretch.points)
    on = _on_one_gauge([reading.gauge_row for reading, _ in stretch.points])
    rate, low, high = _rates(days[on], drops[on])
    why = _judge(days[on], rate, high, changed=len(days[on]) < len(days))
    closed = stretch.closed
    given_back, cleaner = (
        (None, False) if closed is None else _given_back(stretch.points[-1], after, clean)
    )
    return Run(
        begins=first.date if opened is None else opened.date,
        ends=stretch.points[-1][0].date if closed is None else closed.date,
        days=days,
        drops=drops,
        start_level=drops[0],
        rate=rate,
        slowest=low,
        fastest=high,
        believable=not why,
        why=why,
        ended_by="" if closed is None else closed.kind,
        concluded=closed is not None and closed.concluded,
        given_back=given_back,
        opened_by="" if opened is None else opened.kind,
        rows=tuple(reading.row for reading, _ in stretch.points),
        left_cleaner=cleaner,
        u_start=u_at_reference(*stretch.points[0]),
    )


def cut_runs(history: History, flush_cycles: int, flush_inlet: float = 0.0) -> tuple[Run, ...]:
    """The runs of one station in order of time; empty where there is no usable reading.

    `flush_cycles` (1 or more): the cycles that make one complete flush; ValueError under 1.
    `flush_inlet` [m]: the least inlet during one.
    """
    if flush_cycles < 1:
        raise ValueError(f"a complete flush needs at least 1 cycle, not {flush_cycles}")
    filled = [s for s in _stretches(history, flush_cycles, flush_inlet) if s.points]
    # A torn element shows a low drop, too: that is nothing that the reset gave back.
    firsts = [s.points[0] for s in filled[1:]]
    afters = [None if implausibly_low(history, p[0]) else p for p in firsts]
    afters = [*afters, None][: len(filled)]
    clean = history.station.clean_drop
    runs = [_run(s, after, clean) for s, after in zip(filled, afters, strict=True)]
    level = _clean_level(runs)
    return tuple(replace(run, clean_level=level) for run in runs)


def _clean_level(runs: Sequence[Run]) -> float | None:
    """The level [m] that cleanings mostly leave: rather low among the first drops after them.

    Where no run began with a cleaning, among all first drops.
    """
    cleaned = [r.start_level for r in runs if r.opened_by in CLEANED]
    levels = sorted(cleaned or [r.start_level for r in runs])
    return levels[len(levels) // 3] if levels else None
