"""What dirt cost a farm: every station's energy, head, discharge and water, and their sums."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from siltbook.batch.model import History
from siltbook.batch.numbers.costs import DirtCost, dirt_cost, monthly
from siltbook.batch.numbers.field import DischargeLost, FlushWater, discharge_lost, flush_water
from siltbook.batch.numbers.outlook import Outlook
from siltbook.batch.numbers.tradeoff import TradeOff, trade_off
from siltbook.templates.book import Settings


@dataclass(frozen=True)
class StationBill:
    """What dirt cost one station; `months` is empty where the season's energy is not known."""

    station: str
    cost: DirtCost
    months: tuple[tuple[str, DirtCost], ...]
    discharge: DischargeLost
    flush: FlushWater
    cleanings: int  # hand cleanings logged

    @property
    def missing(self) -> tuple[tuple[str, str], ...]:
        """What is not known of this station, and why: pairs such as ('energy', 'no clean drop')."""
        unpriced = self.cost.energy_kwh is not None and self.cost.energy_cost is None
        found = [
            ("energy", self.cost.silent),
            ("money", "no energy price on the Farm sheet" if unpriced else ""),
            ("discharge", self.discharge.silent),
            ("flushing water", self.flush.silent),
        ]
        if not self.flush.silent and self.flush.left_out:
            n = self.flush.left_out
            why = f"{n} flush{'' if n == 1 else 'es'} without cycles or signs not counted"
            found.append(("flushing water", why))
        return tuple((what, why) for what, why in found if why)


@dataclass(frozen=True)
class FarmBill:
    """A farm's stations in the order given, their sums, and the trade-off.

    A sum covers the stations that have the number; it is None where none has.
    """

    stations: tuple[StationBill, ...]
    labour_cost: float | None  # of the hand cleanings logged
    trade_off: TradeOff

    @property
    def energy_kwh(self) -> float | None:
        """Pump energy that dirt took [kWh]."""
        return _sum(s.cost.energy_kwh for s in self.stations)

    @property
    def energy_cost(self) -> float | None:
        """Its price, in the farm's currency."""
        return _sum(s.cost.energy_cost for s in self.stations)

    @property
    def flush_water(self) -> float | None:
        """Water of the logged flushes [m3]."""
        return _sum(s.flush.volume for s in self.stations)

    @property
    def cleanings(self) -> int:
        """Hand cleanings logged."""
        return sum(s.cleanings for s in self.stations)

    @property
    def days(self) -> float:
        """Station days that could be counted."""
        return math.fsum(s.cost.days_counted for s in self.stations)

    @property
    def gaps(self) -> int:
        """Gaps between readings that were not counted."""
        return sum(s.cost.gaps_left_out for s in self.stations)

    @property
    def months(self) -> tuple[tuple[str, float, float | None], ...]:
        """(month, energy [kWh], money) over all stations, in order of time."""
        kwh: dict[str, float] = defaultdict(float)
        money: dict[str, float | None] = {}
        for month, cost in (pair for s in self.stations for pair in s.months):
            kwh[month] += cost.energy_kwh or 0.0
            if cost.energy_cost is not None:
                money[month] = (money.get(month) or 0.0) + cost.energy_cost
        return tuple((month, kwh[month], money.get(month)) for month in sorted(kwh))

    @property
    def missing(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
        """(what, why, stations) of everything that is not known, the commonest first."""
        found: dict[tuple[str, str], list[str]] = defaultdict(list)
        for bill in self.stations:
            for reason in bill.missing:
                found[reason].append(bill.station)
        ordered = sorted(found.items(), key=lambda item: -len(item[1]))
        return tuple((what, why, tuple(names)) for (what, why), names in ordered)


def _sum(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if known else None


def _station(history: History, ahead: Outlook | None, settings: Settings) -> StationBill:
    line = ahead.excess if ahead else None
    cost = ahead.cost if ahead else dirt_cost(history, settings)
    return StationBill(
        station=history.station.name,
        cost=cost,
        months=() if cost.energy_kwh is None else monthly(history, settings, line),
        discharge=discharge_lost(history, settings, line),
        flush=flush_water(history, settings),
        cleanings=_hand_cleanings(history),
    )


def _hand_cleanings(history: History) -> int:
    return sum(w.work == "hand cleaning" for w in history.work)


def farm_bill(stations: Sequence[tuple[History, Outlook | None]], settings: Settings) -> FarmBill:
    """What dirt cost the stations of one farm up to the as-of date of their histories.

    Beside each history stands its outlook, where there is one.
    """
    bills = tuple(_station(history, ahead, settings) for history, ahead in stations)
    labour = None
    if settings.cleaning_hours is not None and settings.labour_price is not None:
        hours = settings.cleaning_hours * sum(bill.cleanings for bill in bills)
        labour = hours * settings.labour_price
    weighed = trade_off(
        [
            (history, ahead.runs if ahead else (), bill.cost, bill.cleanings)
            for (history, ahead), bill in zip(stations, bills, strict=True)
        ],
        settings,
    )
    return FarmBill(bills, labour, weighed)
