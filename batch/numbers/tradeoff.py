"""What cleaning by hand at another drop would have cost: pump energy against labour.

Each station's own runs are replayed as they were read. A hand cleaning brings the element back to
its clean drop (that is what the register calls the clean drop); from there the drop follows one
observed run until it reaches the drop at which one cleans, then the next run, and so on in turn
over the days that could be counted. Over R runs that take T days and gather E metre days in all,
N days hold N R / T cleanings at a mean excess of E / T.

A run that started above the clean drop, as after a flush that gave back part, gets its missing
foot, and one that was cut off before the drop in question its missing end, from its own robust
rate. Those days lie beyond the readings. A run of which they would make up more than half,
replayed up to the station's limit, is not used; a drop at which they make up more than half of
all days is not priced; else their share is given. Fouling often creeps first and climbs at the
end, so the straight foot is likely too short and the straight end too long.

Assumptions: the pump makes up for the drop (energy, not head at the field); one cleans on the very
day; no flushing in between; the flow is the station's reference flow. Only money is weighed:
neither what the emitters lose nor what a high drop does to an element is in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from siltbook.batch.model import History
from siltbook.batch.numbers.costs import DirtCost, pump_energy
from siltbook.batch.numbers.runs import RISE_SIGMAS, Run
from siltbook.templates.book import Settings
from siltbook.templates.shown import Shown

DROPS = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)  # [m]
SOONEST = 1.0  # [days] from a cleaning to the next, under which there is no price
LEAST_RISE = 0.5  # [m] of a run that is replayed
MOST_BEYOND = 0.5  # share of days beyond the readings, over which there is no price


@dataclass(frozen=True)
class Priced:
    """One season at one drop: `cleanings`, `energy_kwh` [kWh], and what they cost.

    `days_between`: mean days from one cleaning to the next; `beyond`: share of the days that lie
    beyond the readings (0 to 1). All None where `silent` says why there is no price.
    """

    drop: float | None
    cleanings: float | None
    days_between: float | None
    energy_kwh: float | None
    energy_cost: float | None
    labour_cost: float | None
    beyond: float | None
    silent: str = ""

    @property
    def total(self) -> float | None:
        """Energy and labour together, in the farm's currency."""
        if self.energy_cost is None or self.labour_cost is None:
            return None
        return self.energy_cost + self.labour_cost


@dataclass(frozen=True)
class TradeOff:
    """The drops priced for the same stations; `was` is how it was, flushes included.

    `stations` are the names it rests on, `runs` how many of their runs, `days` [station days];
    `left_out` gives (station, why). `silent` says why nothing is priced.
    """

    priced: tuple[Priced, ...]
    was: Priced | None
    stations: tuple[str, ...]
    runs: int
    days: float
    left_out: tuple[tuple[str, str], ...]
    silent: str

    @property
    def cheapest(self) -> Priced | None:
        """The drop with the least total; None where nothing is priced."""
        known = [p for p in self.priced if p.total is not None]
        return min(known, key=lambda p: p.total or 0.0, default=None)


@dataclass(frozen=True)
class Cycle:
    """From one cleaning to the next: its days, its excess [m days], and the days not observed."""

    days: float
    metre_days: float
    beyond: float


@dataclass(frozen=True)
class _Basis:
    """One station that can be replayed; `days` are those counted, `flow` [m3/h]."""

    history: History
    clean: float
    runs: tuple[Run, ...]
    flow: float
    cost: DirtCost
    cleanings: int


def rising(run: Run) -> bool:
    """Whether a run can be replayed: valid, and risen by more than a reading can err."""
    known = run.rate is not None and run.rate > 0
    doubt = max(LEAST_RISE, RISE_SIGMAS * (run.u_start or 0.0))
    return run.believable and known and run.drops[-1] - run.start_level >= doubt


def replayed(run: Run, clean: float, drop: float) -> Cycle:
    """One run from the clean drop [m] until it first reaches `drop` [m], both over 0.

    The run must rise (`rising`); ValueError where `drop` is not over `clean`.
    """
    if not drop > clean or not run.rate or run.rate <= 0:
        raise ValueError("a replay needs a rising run and a drop over the clean drop")
    start = min(0.0, run.days[0] - max(0.0, run.drops[0] - clean) / run.rate)
    foot = min(clean, run.drops[0])
    points = [(start, foot), *zip(run.days, run.drops, strict=True)]
    metre_days = 0.0
    for (t0, h0), (t1, h1) in pairwise(points):
        if h1 >= drop:
            end = t0 + (t1 - t0) * (drop - h0) / (h1 - h0) if h1 > h0 else t0
            metre_days += _area(end - t0, h0 - clean, drop - clean)
            return Cycle(end - start, metre_days, min(end, 0.0) - start)
        metre_days += _area(t1 - t0, h0 - clean, h1 - clean)
    last, high = points[-1]
    more = (drop - high) / run.rate
    metre_days += _area(more, high - clean, drop - clean)
    return Cycle(last + more - start, metre_days, more - start)


def _bears(run: Run, clean: float, limit: float) -> bool:
    cycle = replayed(run, clean, limit)
    return cycle.beyond <= MOST_BEYOND * cycle.days


def _area(days: float, first: float, last: float) -> float:
    return days * (max(0.0, first) + max(0.0, last)) / 2


def _over(basis: _Basis, drop: float) -> tuple[Cycle, int]:
    """All runs of a station in turn, at one drop, and how many they are."""
    cycles = [replayed(run, basis.clean, drop) for run in basis.runs]
    return Cycle(
        math.fsum(c.days for c in cycles),
        math.fsum(c.metre_days for c in cycles),
        math.fsum(c.beyond for c in cycles),
    ), len(cycles)


def _missing(settings: Settings) -> str:
    wanted = {
        "irrigation hours per day": settings.hours,
        "pump efficiency": settings.efficiency,
        "energy price": settings.price,
        "hours per hand cleaning": settings.cleaning_hours,
        "labour price": settings.labour_price,
    }
    return ", ".join(name for name, value in wanted.items() if value is None)


def _flow(history: History) -> float | None:
    if history.station.reference_flow:
        return history.station.reference_flow
    flows = [r.flow for r in history.readings if r.usable and r.flow]
    return fmean(flows) if flows else None


def _basis(
    history: History, runs: Sequence[Run], cost: DirtCost, cleanings: int, shown: Shown
) -> _Basis | str:
    """What a station brings, or why it is left out."""
    clean, flow = history.station.clean_drop, _flow(history)
    if cost.energy_kwh is None or clean is None or flow is None:
        return cost.silent or "no flow was read and the station has no reference flow"
    limit = history.station.limit
    if not limit > clean:
        return f"its clean drop of {shown.drop(clean)} is not under its limit"
    climbing = [run for run in runs if rising(run)]
    if not climbing:
        return "no believable run that rises by more than its readings can err"
    usable = tuple(run for run in climbing if _bears(run, clean, limit))
    if usable:
        return _Basis(history, clean, usable, flow, cost, cleanings)
    top = max(max(run.drops) for run in climbing)
    return (
        f"its runs reach {shown.coarse(top)} at most; over half of a replay up to its limit of"
        f" {shown.coarse(limit)} would lie beyond the readings"
    )


def _priced(bases: Sequence[_Basis], settings: Settings, drop: float) -> Priced:
    """All stations at one drop; silent where one of them cannot be cleaned there."""
    under = [b.history.station.name for b in bases if not drop > b.clean]
    if under:
        return _no_price(drop, None, f"not over the clean drop of {_names(under)}")
    cleanings = energy = beyond = days = 0.0
    for basis in bases:
        cycle, count = _over(basis, drop)
        if cycle.days < count * SOONEST:
            name = basis.history.station.name
            return _no_price(drop, None, f"{name} would be there within a day of its cleaning")
        counted = basis.cost.days_counted
        cleanings += counted * count / cycle.days
        beyond += counted * cycle.beyond / cycle.days
        days += counted
        hours = counted * (settings.hours or 0.0)
        mean = cycle.metre_days / cycle.days
        energy += pump_energy(basis.flow, mean, hours, settings.efficiency or 1.0)
    share = beyond / days
    if share > MOST_BEYOND:
        return _no_price(drop, share, f"{share:.0%} of the days would lie beyond the readings")
    money, labour = _money(settings, energy, cleanings)
    return Priced(drop, cleanings, days / cleanings, energy, money, labour, share)


def _no_price(drop: float, beyond: float | None, why: str) -> Priced:
    return Priced(drop, None, None, None, None, None, beyond, why)


def _money(settings: Settings, energy: float, cleanings: float) -> tuple[float, float]:
    hours = cleanings * (settings.cleaning_hours or 0.0)
    return energy * (settings.price or 0.0), hours * (settings.labour_price or 0.0)


def _names(names: Sequence[str], most: int = 3) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def _as_it_was(bases: Sequence[_Basis], settings: Settings) -> Priced:
    energy = math.fsum(b.cost.energy_kwh or 0.0 for b in bases)
    cleanings = float(sum(b.cleanings for b in bases))
    days = math.fsum(b.cost.days_counted for b in bases)
    money, labour = _money(settings, energy, cleanings)
    between = days / cleanings if cleanings else None
    return Priced(None, cleanings, between, energy, money, labour, None)


def trade_off(
    stations: Sequence[tuple[History, Sequence[Run], DirtCost, int]], settings: Settings
) -> TradeOff:
    """Price every drop of `DROPS` [m] for the stations whose runs bear it.

    One tuple of `stations` each: history, runs in order of time, what dirt cost, and the count of
    logged hand cleanings. Needs irrigation hours, pump efficiency, energy price, hours per hand
    cleaning and labour price; silent, naming them, where one is missing.
    """
    missing = _missing(settings)
    if missing:
        return TradeOff((), None, (), 0, 0.0, (), f"not on the Farm sheet: {missing}")
    bases: list[_Basis] = []
    left_out: list[tuple[str, str]] = []
    for history, runs, cost, cleanings in stations:
        found = _basis(history, runs, cost, cleanings, settings.shown)
        if isinstance(found, _Basis):
            bases.append(found)
        else:
            left_out.append((history.station.name, found))
    if not bases:
        return TradeOff((), None, (), 0, 0.0, tuple(left_out), "no station can be replayed")
    return TradeOff(
        priced=tuple(_priced(bases, settings, drop) for drop in DROPS),
        was=_as_it_was(bases, settings),
        stations=tuple(b.history.station.name for b in bases),
        runs=sum(len(b.runs) for b in bases),
        days=math.fsum(b.cost.days_counted for b in bases),
        left_out=tuple(left_out),
        silent="",
    )
