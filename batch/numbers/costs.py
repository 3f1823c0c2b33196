"""What dirt costs: the pump energy that the drop over the clean drop takes, and its price.

Excess head is the drop minus what a clean element would take at that flow, never under zero: the
station's clean drop, scaled by its flow exponent where the flow was read. Between two usable
readings it runs in a straight line. Where the drop fell and a flush, a hand cleaning or a new
screen is logged in between, it steps on the day of that work instead: the earlier excess up to it,
the later one from then on.

Edges:
- A gap longer than three reading intervals is left out and counted: nobody knows what the filter
  did. A gap is counted in the month in which it begins.
- Of several pieces of work between two readings the last that opened the filter makes the step,
  else the last flush. A fall with no such work logged stays a slope.
- The flow of a stretch is the mean of its two readings' flows; one without a flow takes the
  station's reference flow, or the other reading's where there is no reference flow.
- Unusable readings are passed over. Time of day counts where it is logged, else noon.
- Without hours, efficiency or flow there is no energy, but the mean excess is still given.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from siltbook.batch.model import History, Reading, Work
from siltbook.batch.numbers.order import in_order
from siltbook.batch.numbers.runs import moment
from siltbook.templates.book import Settings
from siltbook.templates.units import PASCAL_PER_METRE

LONGEST_GAP = 3.0  # [reading intervals]
_JOULES_PER_KWH = 3.6e6
# The work that takes dirt away; what opens the filter outranks a flush.
_CLEARS = {"flush": 0, "hand cleaning": 1, "screen replaced": 1}


@dataclass(frozen=True)
class DirtCost:
    """What the excess drop cost over the days that could be counted.

    `energy_kwh` [kWh]; `energy_cost` [the farm's currency], None without a price too;
    `mean_excess_m` [m of water], the mean over time; `days_counted` [days];
    `gaps_left_out`: gaps between readings too long to say anything about.
    `silent` says why there is no energy; it is empty where there is one.
    """

    energy_kwh: float | None
    energy_cost: float | None
    mean_excess_m: float | None
    days_counted: float
    gaps_left_out: int
    silent: str


@dataclass(frozen=True)
class ExcessSegment:
    """A straight piece of the excess head: moments [days], excess [m], flow [m3/h]."""

    start: float
    end: float
    first: float
    last: float
    flow: float | None

    @property
    def days(self) -> float:
        """How long it lasts [days]."""
        return self.end - self.start

    @property
    def mean(self) -> float:
        """Its mean excess [m]."""
        return (self.first + self.last) / 2

    def cut(self, start: float, end: float) -> ExcessSegment:
        """The part of the line between two moments inside it."""
        slope = (self.last - self.first) / self.days
        # Rounding must not give a drop under zero its own small credit.
        first, last = (max(0.0, self.first + slope * (at - self.start)) for at in (start, end))
        return replace(self, start=start, end=end, first=first, last=last)


@dataclass(frozen=True)
class Line:
    """The excess head of one station, and the gaps in it: when each begins and ends."""

    stretches: tuple[ExcessSegment, ...]
    gaps: tuple[tuple[float, float], ...]


def pump_energy(flow: float, head: float, hours: float, efficiency: float) -> float:
    """Energy [kWh] to lift `flow` [m3/h] by `head` [m of water] for `hours` [h].

    E = rho g Q h t / eta, with 9806.65 Pa per metre. `efficiency` of pump and motor together,
    over 0 and up to 1; ValueError outside that.
    """
    if not 0 < efficiency <= 1:
        raise ValueError(f"a pump efficiency lies over 0 and up to 1, not at {efficiency:g}")
    return PASCAL_PER_METRE * flow * head * hours / (_JOULES_PER_KWH * efficiency)


def discharge_share_lost(
    excess_m: float | None, field_m: float | None, exponent: float
) -> float | None:
    """Share of the emitters' discharge (0 to 1) that the excess drop takes, by q = k H^x.

    `field_m` [m] is the field's working pressure behind a clean filter, `excess_m` [m] what dirt
    takes off it (under zero counts as none). `exponent` x: 0 (pressure-compensating) to 1
    (laminar); ValueError outside. None where a pressure is not known or `field_m` is not
    positive; 1 where nothing is left of the pressure.
    """
    if not 0 <= exponent <= 1:
        raise ValueError(f"an emitter exponent lies between 0 and 1, not at {exponent:g}")
    if excess_m is None or field_m is None or field_m <= 0:
        return None
    left = (field_m - max(excess_m, 0.0)) / field_m
    return float(1.0 - left**exponent) if left > 0 else 1.0


def _excess(reading: Reading, clean: float, history: History) -> float:
    """The drop over what a clean element would take at this reading's flow [m]."""
    flow, reference = reading.flow, history.station.reference_flow
    if flow and reference and flow > 0 and reference > 0:
        clean *= (flow / reference) ** history.exponent
    return max(0.0, (reading.drop or 0.0) - clean)


def _flow(before: Reading, after: Reading, reference: float | None) -> float | None:
    flows = [reference if r.flow is None else r.flow for r in (before, after)]
    known = [flow for flow in flows if flow is not None and flow > 0]
    return sum(known) / len(known) if known else None


def _between(line: ExcessSegment, step: float | None) -> list[ExcessSegment]:
    """The line itself, or two level pieces that meet at the moment of the work."""
    if step is None or line.last >= line.first:
        pieces = [line]
    else:
        pieces = [
            replace(line, end=step, last=line.first),
            replace(line, start=step, first=line.last),
        ]
    return [piece for piece in pieces if piece.days > 0]


def excess_line(history: History, clean: float, interval: float) -> Line:
    """The excess over `clean` [m]; gaps over three times `interval` [days] left out."""
    longest = LONGEST_GAP * interval
    stretches: list[ExcessSegment] = []
    gaps: list[tuple[float, float]] = []
    before: tuple[float, Reading, float] | None = None
    steps: list[tuple[int, float]] = []
    now = 0.0
    for entry in in_order(history.entries, history.station.limit):
        # An untimed entry counts as noon, yet nothing may run backwards within a day.
        now = max(now, moment(entry.date, entry.time))
        if isinstance(entry, Work):
            if entry.work in _CLEARS:
                steps.append((_CLEARS[entry.work], now))
            continue
        if not entry.usable or entry.drop is None:
            continue
        excess = _excess(entry, clean, history)
        if before is not None and (entry.date - before[1].date).days > longest:
            gaps.append((before[0], now))
        elif before is not None:
            flow = _flow(before[1], entry, history.station.reference_flow)
            step = max(steps)[1] if steps else None
            stretches += _between(ExcessSegment(before[0], now, before[2], excess, flow), step)
        before, steps = (now, entry, excess), []
    return Line(tuple(stretches), tuple(gaps))


def _no_energy(stretches: Sequence[ExcessSegment], settings: Settings) -> str:
    missing = []
    if settings.hours is None:
        missing.append("no irrigation hours per day on the Farm sheet")
    if settings.efficiency is None:
        missing.append("no pump efficiency on the Farm sheet")
    without = sum(s.flow is None for s in stretches)
    if without == len(stretches):
        missing.append("no flow was read and the station has no reference flow")
    elif without:
        missing.append("some readings have no flow and the station has no reference flow")
    return "; ".join(missing)


def _cost(
    stretches: Sequence[ExcessSegment], gaps: int, settings: Settings, nothing: str
) -> DirtCost:
    """The sum over stretches; `nothing` is the reason given where there are none."""
    if not stretches:
        return DirtCost(None, None, None, 0.0, gaps, nothing)
    days = sum(s.days for s in stretches)
    mean = sum(s.days * s.mean for s in stretches) / days
    silent = _no_energy(stretches, settings)
    if silent or settings.hours is None or settings.efficiency is None:
        return DirtCost(None, None, mean, days, gaps, silent)
    energy = sum(
        pump_energy(s.flow or 0.0, s.mean, s.days * settings.hours, settings.efficiency)
        for s in stretches
    )
    money = None if settings.price is None else energy * settings.price
    return DirtCost(energy, money, mean, days, gaps, "")


def _why_no_line(history: History) -> str:
    if history.station.clean_drop is None:
        return "the station has no clean drop"
    if sum(r.usable and r.drop is not None for r in history.readings) < 2:
        return "fewer than two usable readings"
    return ""


def dirt_cost(history: History, settings: Settings, line: Line | None = None) -> DirtCost:
    """What dirt cost over the whole history of one station.

    `line` is the station's `excess_line`, where it is at hand.
    Uses the settings' reading interval [days], hours [h/day], efficiency (0 to 1) and price
    [per kWh]. Never raises for a value that is missing: `silent` names it.
    """
    why = _why_no_line(history)
    clean = history.station.clean_drop
    if why or clean is None:
        return DirtCost(None, None, None, 0.0, 0, why)
    longest = LONGEST_GAP * settings.interval
    line = line or excess_line(history, clean, settings.interval)
    nothing = "all usable readings were taken at the same time"
    if line.gaps:
        nothing = f"no two readings in a row lie within {longest:g} days"
    return _cost(line.stretches, len(line.gaps), settings, nothing)


def _month(moment: float) -> str:
    return dt.date.fromordinal(int(moment)).isoformat()[:7]


def _next_month(moment: float) -> int:
    """The ordinal of the first day of the month after this moment's."""
    day = dt.date.fromordinal(int(moment))
    return dt.date(day.year + day.month // 12, day.month % 12 + 1, 1).toordinal()


def _by_month(stretch: ExcessSegment) -> Iterator[tuple[str, ExcessSegment]]:
    start = stretch.start
    if stretch.end <= _next_month(start):
        yield _month(start), stretch
        return
    while start < stretch.end:
        end = min(stretch.end, float(_next_month(start)))
        yield _month(start), stretch.cut(start, end)
        start = end


def _months(line: Line) -> list[str]:
    """Every calendar month from the first usable reading to the last, with none left out."""
    spans = [*((s.start, s.end) for s in line.stretches), *line.gaps]
    start, last = min(a for a, _ in spans), max(b for _, b in spans)
    months = []
    while start < last:
        months.append(_month(start))
        start = float(_next_month(start))
    return months


def monthly(
    history: History, settings: Settings, line: Line | None = None
) -> tuple[tuple[str, DirtCost], ...]:
    """What dirt cost in each calendar month, named like '2026-05', in order of time.

    `line` is the station's `excess_line`, where it is at hand.
    Days, energy, money and gaps add up to those of `dirt_cost`. A month inside a long gap is
    listed and says that nothing could be counted. Empty where the whole has no mean excess.
    """
    clean = history.station.clean_drop
    if _why_no_line(history) or clean is None:
        return ()
    line = line or excess_line(history, clean, settings.interval)
    if not line.stretches:
        return ()
    longest = LONGEST_GAP * settings.interval
    parts: dict[str, list[ExcessSegment]] = defaultdict(list)
    for stretch in line.stretches:
        for month, part in _by_month(stretch):
            parts[month].append(part)
    gaps = [_month(begin) for begin, _ in line.gaps]
    nothing = f"no two readings in a row within {longest:g} days cover this month"
    return tuple(
        (month, _cost(parts[month], gaps.count(month), settings, nothing))
        for month in _months(line)
    )
