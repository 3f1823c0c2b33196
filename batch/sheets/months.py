"""The part of the Costs sheet with energy and money by station and month."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from siltbook.batch.numbers.bill import StationBill
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import LongTable, Value, line, swatch
from siltbook.batch.sheets.sums import LAST, NAME_WIDTH, heads, section, total
from siltbook.templates.book import column_letters

MOST = LAST - 1  # months that have a column


@dataclass(frozen=True)
class _Grid:
    """Amounts by station and column of months; None where nothing could be counted."""

    labels: tuple[str, ...]
    names: tuple[str, ...]
    amounts: tuple[tuple[float | None, ...], ...]


def write(
    kit: k.Kit, sheet: Any, row: int, bills: Sequence[StationBill], price: str
) -> tuple[int, list[LongTable]]:
    """Write both tables from `row` on around their rows; `price` is a cell.

    Returns the last row used, and the tables whose rows follow.
    """
    section(kit, sheet, row, "Energy by month (kWh)")
    energy = _energy([bill for bill in bills if bill.months])
    if not energy.names:
        k.text(sheet, row + 1, 0, "No station's energy is known.", kit.format("mark"))
        return row + 1, []
    at = row
    tables = [_table(kit, sheet, row + 1, energy, "")]
    row += len(energy.names) + 4
    settings = kit.assessment.book.settings
    if settings.price is None:
        note = "No energy price on the Farm sheet: no money."
        k.text(sheet, row - 1, 0, note, kit.format("mark"))
        return row - 1, tables
    currency = k.one_line(settings.currency) or "money"
    section(kit, sheet, row, f"Energy by month, money ({currency})")
    each = settings.price
    money = tuple(tuple(None if e is None else e * each for e in month) for month in energy.amounts)
    grid = _Grid(energy.labels, energy.names, money)
    tables.append(_table(kit, sheet, row + 1, grid, price, row - at))
    return row + len(grid.names) + 2, tables


def _energy(bills: Sequence[StationBill]) -> _Grid:
    """The energy [kWh]; what no longer fits a page's width is taken together in column one."""
    months = sorted({month for bill in bills for month, _ in bill.months})
    early = months[: max(1, len(months) - MOST + 1)]
    labels = [*(f"to {month}" if early[1:] else month for month in early[-1:])]
    labels += months[len(early) :]
    place = {month: max(0, n - len(early) + 1) for n, month in enumerate(months)}
    rows = (_row(bill, place, len(labels)) for bill in bills)
    return _Grid(tuple(labels), tuple(bill.station for bill in bills), tuple(rows))


def _row(bill: StationBill, place: dict[str, int], count: int) -> tuple[float | None, ...]:
    found: list[float | None] = [None] * count
    for month, cost in bill.months:
        if cost.energy_kwh is not None:
            found[place[month]] = (found[place[month]] or 0.0) + cost.energy_kwh
    return tuple(found)


def _table(kit: k.Kit, sheet: Any, row: int, grid: _Grid, price: str, higher: int = 0) -> LongTable:
    """Stations by months with sums both ways, around its rows.

    With a `price`, each amount is that cell times the amount so many rows `higher`.
    """
    heads(kit, sheet, row, ["Station", *grid.labels, "Total"])
    first, end = row + 1, len(grid.labels) + 1
    swatch(sheet, first, map(kit.format, ("name", *("amount",) * (end - 1), "sum")))
    row = first + len(grid.names)
    sheet.write_string(row, 0, "Farm", kit.format("total-name"))
    style = kit.format("total")
    for col in range(1, end):
        total(sheet, row, col, first, [one[col - 1] for one in grid.amounts], style)
    total(sheet, row, end, first, [_sum(one) for one in grid.amounts], style)
    rows = partial(_rows, first + 1, grid, price, higher)
    return LongTable(first + 1, len(grid.names), rows)


def _rows(first: int, grid: _Grid, price: str, higher: int, styles: list[str]) -> Iterator[str]:
    letters = [column_letters(col) for col in range(1, len(grid.labels) + 1)]
    for n, (name, amounts) in enumerate(zip(grid.names, grid.amounts, strict=True), first):
        shown: list[Value] = list(amounts)
        if price:
            shown = [
                None if amount is None else (f"{letter}{n - higher}*{price}", amount)
                for letter, amount in zip(letters, amounts, strict=True)
            ]
        across = (f"SUM(B{n}:{letters[-1]}{n})", _sum(amounts))
        name = k.one_line(name)
        height = k.row_height(k.lines(name, NAME_WIDTH))
        yield line(n, styles, [name, *shown, across], height)


def _sum(line: Sequence[float | None]) -> float:
    return math.fsum(value or 0.0 for value in line)
