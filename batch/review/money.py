"""The sheet Cost of dirt: pump energy that the drop over the clean drop took, month by month."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from siltbook.batch.numbers.costs import DirtCost, monthly
from siltbook.batch.results import StationResult
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.month import Month, parse_month
from siltbook.batch.review.page import (
    Pack,
    bars,
    farm_column,
    finish,
    heading,
    note,
    rows_column,
    solid,
    station_column,
)
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look

TITLE = "Cost of dirt"
MOST_MONTHS = 12
MOST_FARMS = 9  # of the table by month, and series of the chart
CHART_ROWS = 17
ENOUGH = 0.5  # share of a month's days, under which its energy does not stand beside another's


@dataclass(frozen=True)
class StationCost:
    """One station's cost in the month and in the month before; None where not listed."""

    farm: FarmMonth
    result: StationResult
    now: DirtCost | None
    before: DirtCost | None
    by_month: dict[str, DirtCost]

    @property
    def note(self) -> str:
        """Why a number is missing or covers little of the month, as a clause."""
        if self.now is None:
            whole = self.result.outlook.cost.silent if self.result.outlook else ""
            return whole or "no two usable readings cover this month"
        said = [self.now.silent] if self.now.silent else []
        if not said and self.now.energy_cost is None:
            said.append("no energy price on the Farm sheet")
        month = self.farm.month
        if _counted(self.now, month) < ENOUGH:
            said.append(f"only {self.now.days_counted:.0f} of {month.days} days could be counted")
        return "; ".join(said)


def station_costs(pack: Pack) -> list[StationCost]:
    """Every station's cost, dearest in energy first; those that cannot be known last."""
    found = []
    month = pack.month
    for farm in pack.farms:
        for result in farm.now.stations:
            by_month = dict(monthly(result.history, farm.book.settings))
            before = by_month.get(str(_previous(month)))
            found.append(StationCost(farm, result, by_month.get(str(month)), before, by_month))
    return sorted(found, key=lambda c: (_energy(c.now) is None, -(_energy(c.now) or 0.0)))


def _previous(month: Month) -> Month:
    return Month(month.eve.year, month.eve.month)


def _energy(cost: DirtCost | None) -> float | None:
    return None if cost is None else cost.energy_kwh


def _counted(cost: DirtCost, month: Month) -> float:
    """Share of the month's days that the cost covers (0 to 1)."""
    return cost.days_counted / month.days


def _comparable(cost: DirtCost | None, month: Month) -> float | None:
    """The month's energy [kWh] where enough of it was counted to stand beside another month."""
    return _energy(cost) if cost and _counted(cost, month) >= ENOUGH else None


def write(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Farms and months first, as a chart and a table, then every station."""
    costs = station_costs(pack)
    heading(kit, sheet, pack, TITLE)
    note(
        kit, sheet, 2, _COLUMNS,
        "What the pump spends to push water through dirt: the drop above the clean drop, in a "
        "straight line between two readings, at the flow read, over the farm's irrigation hours. "
        "Money is in each farm's own currency and is not added up over farms. "
        "A month of which less than half could be counted has no number beside others. "
        f"{_sum(pack, costs)}",
    )  # fmt: skip
    months, top = _months(pack, costs), 3
    if months:
        top = _by_month(kit, sheet, pack, costs, months, CHART_ROWS + 3) + 2
    last = tables.short(kit, sheet, top, _COLUMNS, costs)
    finish(kit, sheet, 1, last, _COLUMNS.widths)
    sheet.repeat_rows(top, top)  # on the pages behind the chart


def _sum(pack: Pack, costs: Sequence[StationCost]) -> str:
    """For each farm the month's energy and money, or why there is none."""
    return " ".join(farm_line(farm, costs) for farm in pack.farms)


def farm_line(farm: FarmMonth, costs: Sequence[StationCost]) -> str:
    """One farm's month in one sentence."""
    own = [c for c in costs if c.farm is farm]
    energy = [e for c in own if (e := _energy(c.now)) is not None]
    money = [c.now.energy_cost for c in own if c.now and c.now.energy_cost is not None]
    name = k.one_line(farm.farm)
    if not energy:
        return f"{name}: cannot be told."
    said = f"{name}: {sum(energy):,.0f} kWh"
    if len(money) == len(energy):
        currency = k.one_line(farm.book.settings.currency)
        said += f", {sum(money):,.2f} {currency}".rstrip()
    few = [] if len(energy) == len(own) else [f"{len(energy)} of {len(own)} stations"]
    counted = math.fsum(c.now.days_counted for c in own if c.now and _energy(c.now) is not None)
    days = farm.month.days * len(energy)
    if counted < ENOUGH * days:
        few.append(f"{counted:,.0f} of {days:,} station days counted")
    return f"{said} ({'; '.join(few)})." if few else f"{said}."


def _readings(cost: StationCost) -> Iterator[int]:
    """Rows of the month's usable readings and of the one before, where the first line starts."""
    usable = [r for r in cost.result.history.readings if r.usable]
    month = cost.farm.month
    earlier = [r.row for r in usable if r.date < month.first]
    yield from earlier[-1:]
    yield from (r.row for r in usable if r.date in month)


def _currency(cost: StationCost) -> str:
    known = cost.now is not None and cost.now.energy_cost is not None
    return cost.farm.book.settings.currency if known else ""


_COLUMNS: Table[StationCost] = Table(
    TITLE,
    (
        farm_column(lambda c: c.farm),
        station_column(lambda c: c.result.station.name),
        Column("excess", "Mean excess drop ({unit})", Kind.PRESSURE, 13,
               lambda c: c.now.mean_excess_m if c.now else None, "m"),
        Column("energy", "Energy ({unit})", Kind.ENERGY, 13, lambda c: _energy(c.now), "kWh",
               style="energy"),
        Column("before", "Month before ({unit})", Kind.ENERGY, 13,
               lambda c: _comparable(c.before, _previous(c.farm.month)), "kWh", style="energy"),
        Column("money", "Money", Kind.MONEY, 12, lambda c: c.now.energy_cost if c.now else None),
        Column("currency", "Currency", Kind.NAME, 12, _currency, style="wrap"),
        Column("days", "Days counted", Kind.DAYS, 10,
               lambda c: c.now.days_counted if c.now else None),
        Column("note", "Note", Kind.TEXT, 30, lambda c: c.note, style="wrap"),
        rows_column(lambda c: rows_text(c.farm.book, _readings(c)), 27),
    ),
)  # fmt: skip


def _months(pack: Pack, costs: Sequence[StationCost]) -> list[str]:
    known = {m for c in costs for m, cost in c.by_month.items() if cost.energy_kwh is not None}
    return sorted(m for m in known if m <= str(pack.month))[-MOST_MONTHS:]


def _by_month(
    kit: k.Kit, sheet: Any, pack: Pack, costs: Sequence[StationCost], months: list[str], top: int
) -> int:
    """Energy by month and farm as a table with its chart; the last row used."""
    sheet.write_string(top, 0, "Energy by month (kWh)", kit.format("section"))
    names = ["Month", *(k.one_line(f.farm) for f in pack.farms)]
    head = kit.format("head")
    for col, name in enumerate(names[: MOST_FARMS + 1]):
        sheet.write_string(top + 1, col, name, head)
    most = max(k.lines(n, c.width) for n, c in zip(names, _COLUMNS.columns[1:], strict=False))
    sheet.set_row(top + 1, most * k.LINE_POINTS + 4)
    farms = pack.farms[:MOST_FARMS]
    for row, month in enumerate(months, top + 2):
        k.text(sheet, row, 0, month, kit.format("text"))
        for col, farm in enumerate(farms, 1):
            own = [c.by_month.get(month) for c in costs if c.farm is farm]
            k.number(sheet, row, col, _farm_month(own, parse_month(month)), kit.format("energy"))
    last = top + 1 + len(months)
    _chart(kit, sheet, farms, (top + 2, last))
    return last


def _farm_month(costs: Sequence[DirtCost | None], month: Month) -> float | None:
    """A farm's energy of a month [kWh]; None where under half of its station days were counted."""
    known = [c for c in costs if c is not None and c.energy_kwh is not None]
    counted = sum(c.days_counted for c in known)
    if counted < ENOUGH * month.days * max(1, len(costs)):
        return None
    return math.fsum(c.energy_kwh or 0.0 for c in known)


def _chart(kit: k.Kit, sheet: Any, farms: Sequence[FarmMonth], rows: tuple[int, int]) -> None:
    first, last = rows
    chart = bars(kit, "Pump energy spent on dirt by month (kWh)", "column")
    for number, farm in enumerate(farms):
        chart.add_series({
            "name": k.one_line(farm.farm)[:60].lstrip("=") or f"Book {farm.number}",
            "categories": [TITLE, first, 0, last, 0],
            "values": [TITLE, first, number + 1, last, number + 1],
            "gap": 60, **solid(look.SERIES[number % len(look.SERIES)]),
        })  # fmt: skip
    chart.set_size({"width": 1000, "height": 310})
    said = "Columns of pump energy spent on dirt, by month; the table below has the numbers."
    sheet.insert_chart(3, 0, chart, {"description": said, "object_position": 1, "y_offset": 4})
