"""The Costs sheet: what dirt took, farm first, then stations, the trade-off, and months.

Sums and prices are live formulas; the prices stand once, in the summary, and lead to the cells
of the Farm sheet. What is not known is named with its reason, never filled with a guess.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from siltbook.batch.numbers.bill import FarmBill, StationBill
from siltbook.batch.numbers.costs import LONGEST_GAP
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import months, tradeoff
from siltbook.batch.sheets.rows import LongTable, Value, line, swatch
from siltbook.batch.sheets.sums import ALL, LAST, NAME_WIDTH, WIDTH, heads, live, section, total
from siltbook.templates.book import column_letters
from siltbook.templates.shown import Shown

MOST_REASONS = 12
MOST_NAMES = 5
FIRST = 3  # row of the summary's first amount
PRICE, CLEANING = f"$D${FIRST + 2}", f"$D${FIRST + 5}"  # cells that other formulas lead to
EITHER = (
    "Energy or head, never both. Where the pump makes up for the drop, the field keeps its pressure"
    " and dirt costs energy and money. Where nothing makes up for it, no more energy is used: the"
    " field loses the pressure and the emitters their discharge. Read the one that fits the farm;"
    " do not add them."
)
NOT_FILLED = "not known: not filled in on the Farm sheet"
STATION_HEADS = (
    "Station", "Days counted", "Gaps not counted", "Mean head lost ({unit})", "Energy (kWh)",
    "Energy (money)", "Discharge lost, mean", "Discharge lost, at most",
    "Field pressure, clean ({unit})", "Water for flushing (m3)", "Hand cleanings",
)  # fmt: skip
_STYLES = (
    "name", "amount", "whole", "metres", "amount", "amount", "chance", "chance", "level",
    "amount", "whole", *("wrap",) * (LAST + 1 - len(STATION_HEADS)),
)  # fmt: skip


@dataclass(frozen=True)
class _Amount:
    """One line of the summary; `said` where the value is known, `without` where it is not."""

    label: str
    value: float | None
    unit: str = ""
    formula: str = ""
    said: str = ""
    without: str = "not known, see below"


def write(kit: k.Kit, sheet: Any, name: str) -> list[LongTable]:
    """Write the Costs sheet, called `name` in the book, around its tables, whose rows follow."""
    k.heading(kit, sheet, "Costs")
    sheet.set_column(0, 0, NAME_WIDTH)
    sheet.set_column(1, LAST, WIDTH)
    bill = kit.assessment.bill
    breaks: list[int] = []
    tables: list[LongTable] = []
    if bill is None or not bill.stations:
        k.text(sheet, 2, 0, "No station in this book.", kit.format("mark"))
        row = 2
    else:
        row = _summary(kit, sheet, bill)
        ordered = sorted(bill.stations, key=lambda s: (-(s.cost.energy_kwh or 0.0), s.station))
        tables.append(_stations(kit, sheet, row + 1, ordered))
        row += len(ordered) + 5
        breaks = [] if bill.trade_off.silent else [row]
        row = tradeoff.write(kit, sheet, row, name, bill.trade_off, PRICE, CLEANING) + 1
        breaks.append(row)
        row, monthly = months.write(kit, sheet, row, ordered, PRICE)
        tables += monthly
    k.page(kit, sheet, header=1, widths=[NAME_WIDTH, *[WIDTH] * LAST])
    # A page each for stations, trade-off and months.
    sheet.set_h_pagebreaks(breaks)
    sheet.print_area(0, 0, row, LAST)
    return tables


def _summary(kit: k.Kit, sheet: Any, bill: FarmBill) -> int:
    """Write the farm's sums and what is not known; return the next free row."""
    row = FIRST
    for amount in _amounts(kit, bill):
        _amount(kit, sheet, row, amount)
        row += 1
    for reason in reasons(bill):
        k.spread(sheet, row, LAST, reason, kit.format("line"), ALL)
        row += 1
    k.spread(sheet, row, LAST, EITHER, kit.format("caution"), ALL)
    return row + 1


def _amounts(kit: k.Kit, bill: FarmBill) -> tuple[_Amount, ...]:
    """The lines of the summary; PRICE and CLEANING are the second and the fifth."""
    settings = kit.assessment.book.settings
    money = k.one_line(settings.currency) or "money"
    known = sum(s.cost.energy_kwh is not None for s in bill.stations)
    flushes = sum(s.flush.flushes for s in bill.stations)
    hours, labour = settings.cleaning_hours, settings.labour_price
    each = None if hours is None or labour is None else hours * labour
    both = f"{_setting(kit, 'cleaning_hours', hours)}*{_setting(kit, 'labour_price', labour)}"
    return (
        _Amount(
            "Energy that dirt took", bill.energy_kwh, "kWh",
            said=f"{known} of {len(bill.stations)} stations, {bill.days:,.0f} station days counted",
        ),
        _Amount(
            "Energy price", settings.price, f"{money} per kWh",
            _setting(kit, "price", settings.price), without=NOT_FILLED,
        ),
        _Amount(
            "Price of that energy", bill.energy_cost, money, f"D{FIRST + 1}*{PRICE}",
            "energy x price", "not known: energy or price is not",
        ),
        _Amount("Hand cleanings logged", float(bill.cleanings), said="all days, gaps included"),
        _Amount("One hand cleaning", each, money, both, "hours x labour price", NOT_FILLED),
        _Amount(
            "Price of the cleanings", bill.labour_cost, money, f"D{FIRST + 4}*{CLEANING}",
            "flushes not priced: nobody logs their hours", NOT_FILLED,
        ),
        _Amount(
            "Water for flushing", bill.flush_water, "m3",
            said=f"{flushes} logged flushes; what the controller flushed by itself is in no log",
        ),
        _Amount(
            "Gaps not counted", float(bill.gaps),
            said=f"between readings, longer than {LONGEST_GAP * settings.interval:g} days",
        ),
    )  # fmt: skip


def _amount(kit: k.Kit, sheet: Any, row: int, amount: _Amount) -> None:
    text = kit.format("text")
    said = amount.without if amount.value is None else amount.said
    counted = amount.unit == "" or "per kWh" in amount.unit
    sheet.merge_range(row, 0, row, 2, amount.label, kit.format("name"))
    style = kit.format("general" if counted else "amount")
    live(sheet, row, 3, amount.formula, amount.value, style)
    for first, last, value in ((4, 5, amount.unit), (6, LAST, said)):
        sheet.merge_range(row, first, row, last, "", text)
        k.text(sheet, row, first, value, text)


def _setting(kit: k.Kit, key: str, value: float | None) -> str:
    """The formula (without '=') for a number of the Farm sheet; '' where there is none."""
    if value is None:
        return ""
    book = kit.assessment.book
    cell = book.setting_cells.get(key)
    if not cell:
        return repr(float(value))
    address = f"{k.quoted(book.farm_sheet)}{cell}"
    # The cell may hold words, such as '0.2 a kWh': then the number that was read stands.
    return f"IF(ISNUMBER({address}),{address},{float(value)!r})"


def reasons(bill: FarmBill) -> list[str]:
    """One line for everything that is not known: what, of which stations, and why."""
    found, every = [], len(bill.stations)
    for what, why, names in bill.missing[:MOST_REASONS]:
        shown = ", ".join(map(k.one_line, names[:MOST_NAMES]))
        if len(names) == every:
            shown = "all stations"
        elif len(names) > MOST_NAMES:
            shown += f" and {len(names) - MOST_NAMES} more"
        found.append(f"Not known: {what} of {shown} – {why}.")
    if len(bill.missing) > MOST_REASONS:
        found.append("More is not known; see the stations below.")
    return found


def _stations(kit: k.Kit, sheet: Any, row: int, bills: Sequence[StationBill]) -> LongTable:
    """Write the station table around its rows: title, headers, and the farm's sums below."""
    section(kit, sheet, row, "Stations, the costliest first")
    names = [name.format(unit=kit.shown.unit) for name in STATION_HEADS]
    heads(kit, sheet, row + 1, names, "Not known, and why")
    first = row + 2
    swatch(sheet, first, map(kit.format, _STYLES))
    row = first + len(bills)
    sheet.write_string(row, 0, "Farm", kit.format("total-name"))
    sums: dict[int, list[float | None]] = {
        1: [b.cost.days_counted for b in bills],
        2: [float(b.cost.gaps_left_out) for b in bills],
        4: [b.cost.energy_kwh for b in bills],
        5: [b.cost.energy_cost for b in bills],
        9: [b.flush.volume for b in bills],
        10: [float(b.cleanings) for b in bills],
    }
    for col in range(1, LAST + 1):
        style = kit.format("total-whole" if col in (2, 10) else "total")
        total(sheet, row, col, first, sums.get(col, []), style)
    merged = column_letters(len(STATION_HEADS)), column_letters(LAST)
    return LongTable(first + 1, len(bills), partial(_rows, first + 1, bills, kit.shown), merged)


def _rows(
    first: int, bills: Sequence[StationBill], shown: Shown, styles: list[str]
) -> Iterator[str]:
    width = (LAST + 1 - len(STATION_HEADS)) * WIDTH
    for n, bill in enumerate(bills, first):
        name, why = k.one_line(bill.station), k.clean(_unknown(bill))
        most = max(k.lines(name, NAME_WIDTH), k.lines(why, width))
        values = [name, *_station(bill, n, shown), why, None, None]
        yield line(n, styles, values, k.row_height(most))


def _station(bill: StationBill, n: int, shown: Shown) -> list[Value]:
    """The amounts of one station, in row `n`."""
    cost, lost = bill.cost, bill.discharge
    money, excess, field = cost.energy_cost, cost.mean_excess_m, lost.pressure
    return [
        cost.days_counted,
        float(cost.gaps_left_out),
        None if excess is None else shown.value(excess),
        cost.energy_kwh,
        None if money is None else (f"E{n}*{PRICE}", money),
        lost.mean,
        lost.most,
        None if field is None else shown.value(field),
        bill.flush.volume,
        float(bill.cleanings),
    ]


def _unknown(bill: StationBill) -> str:
    """What is not known of a station, and why, in one line."""
    why = [f"{what}: {reason}" for what, reason in bill.missing]
    if bill.discharge.pressure is not None and not bill.discharge.read:
        why.append("field pressure: none was read, the wanted one stands")
    return "; ".join(why)
