"""The Costs sheet: what dirt took, farm first, then stations, the trade-off, and months.

Sums and prices are live formulas; the prices stand once, in the summary, and lead to the cells
of the Farm sheet. What is not known is named with its reason, never filled with a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from batch.bill import FarmBill, StationBill
from batch.costs import LONGEST_GAP
from batch.sheets import kit as k
from batch.sheets import tradeoff
from templates.book import column_letters

NAME_WIDTH, WIDTH = 20.0, 9.5
LAST = 13  # the last column, N
ALL = NAME_WIDTH + LAST * WIDTH
SCALE = 88  # [%] at which the columns fit a landscape A4 page
MOST_MONTHS = LAST - 1
MOST_REASONS = 12
_WHY = 11  # first column of a station's reasons
EITHER = (
    "Energy or head, never both. Where the pump makes up for the drop, the field keeps its pressure"
    " and dirt costs energy and money. Where nothing makes up for it, no more energy is used: the"
    " field loses the metres and the emitters their discharge. Read the one that fits the farm; do"
    " not add them."
)
STATION_HEADS = (
    "Station", "Days counted", "Gaps not counted", "Mean head lost (m)", "Energy (kWh)",
    "Energy (money)", "Discharge lost, mean", "Discharge lost, at most",
    "Field pressure, clean (m)", "Water for flushing (m3)", "Hand cleanings",
)  # fmt: skip


def write(kit: k.Kit, sheet: Any, name: str) -> None:
    """Write the Costs sheet, called `name` in the book."""
    k.heading(kit, sheet, "Costs")
    sheet.set_column(0, 0, NAME_WIDTH)
    sheet.set_column(1, LAST, WIDTH)
    bill, breaks = kit.assessment.bill, []
    if bill is None or not bill.stations:
        k.text(sheet, 2, 0, "No station in this book.", kit.format("mark"))
        row = 2
    else:
        row = _summary(kit, sheet, bill)
        ordered = sorted(bill.stations, key=lambda s: (-(s.cost.energy_kwh or 0.0), s.station))
        row = second = _stations(kit, sheet, row + 1, ordered) + 1
        row = third = tradeoff.write(kit, sheet, row, name, bill.trade_off, PRICE, CLEANING) + 1
        row = _months(kit, sheet, row, ordered)
        breaks = [second, third]
    k.page(kit, sheet, header=1)
    # A page each for stations, trade-off and months; fitting to a width would ignore the breaks.
    sheet.set_print_scale(SCALE)
    sheet.set_h_pagebreaks(breaks)
    sheet.print_area(0, 0, row, LAST)


# Cells of the summary that other formulas lead to.
_FIRST = 3
PRICE, CLEANING = f"$D${_FIRST + 2}", f"$D${_FIRST + 5}"


def _summary(kit: k.Kit, sheet: Any, bill: FarmBill) -> int:
    """Write the farm's sums from row 3 on and return the next free row."""
    settings = kit.assessment.book.settings
    money = k.one_line(settings.currency) or "money"
    energy, stations = bill.energy_kwh, len(bill.stations)
    known = sum(s.cost.energy_kwh is not None for s in bill.stations)
    each = None
    if settings.cleaning_hours is not None and settings.labour_price is not None:
        each = settings.cleaning_hours * settings.labour_price
    flushes = sum(s.flush.flushes for s in bill.stations)
    longest = LONGEST_GAP * settings.interval
    counted = f"{known} of {stations} stations, {bill.days:,.0f} station days counted"
    lines: tuple[tuple[str, float | None, str, str, str], ...] = (
        ("Energy that dirt took", energy, "", "kWh", counted),
        ("Energy price", settings.price, setting(kit, "price", settings.price),
         f"{money} per kWh", ""),
        ("Price of that energy", bill.energy_cost, f"D{_FIRST + 1}*{PRICE}", money,
         "energy x price"),
        ("Hand cleanings logged", float(bill.cleanings), "", "", "all days, gaps included"),
        ("One hand cleaning", each, _cleaning(kit), money, "hours x labour price"),
        ("Price of the cleanings", bill.labour_cost, f"D{_FIRST + 4}*{CLEANING}", money,
         "flushes not priced: nobody logs their hours"),
        ("Water for flushing", bill.flush_water, "", "m3",
         f"{flushes} logged flushes; what the controller flushed on its own is in no log"),
        ("Gaps not counted", float(bill.gaps), "", "",
         f"between readings, longer than {longest:g} days"),
    )  # fmt: skip
    row = _FIRST
    for label, value, formula, unit, said in lines:
        _summary_line(kit, sheet, row, label, (value, formula), unit, said)
        row += 1
    for line in reasons(bill):
        k.spread(sheet, row, LAST, line, kit.format("line"), ALL)
        row += 1
    k.spread(sheet, row, LAST, EITHER, kit.format("caution"), ALL)
    return row + 1


def _summary_line(
    kit: k.Kit,
    sheet: Any,
    row: int,
    label: str,
    amount: tuple[float | None, str],
    unit: str,
    said: str,
) -> None:
    value, formula = amount
    sheet.merge_range(row, 0, row, 2, label, kit.format("name"))
    plain = unit == "" or "per kWh" in unit
    _live(sheet, row, 3, formula, value, kit.format("general" if plain else "amount"))
    sheet.merge_range(row, 4, row, 5, "", kit.format("text"))
    sheet.merge_range(row, 6, row, LAST, "", kit.format("text"))
    k.text(sheet, row, 4, unit, kit.format("text"))
    k.text(sheet, row, 6, "not known" if value is None else said, kit.format("text"))


def _live(sheet: Any, row: int, col: int, formula: str, value: float | None, style: Any) -> None:
    """A formula with its value; the bare value without a formula; blank without a value."""
    if value is None or not formula:
        k.number(sheet, row, col, value, style)
    else:
        sheet.write_formula(row, col, f"={formula}", style, value)


def setting(kit: k.Kit, key: str, value: float | None) -> str:
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


def _cleaning(kit: k.Kit) -> str:
    settings = kit.assessment.book.settings
    hours = setting(kit, "cleaning_hours", settings.cleaning_hours)
    price = setting(kit, "labour_price", settings.labour_price)
    return f"{hours}*{price}" if hours and price else ""


def reasons(bill: FarmBill) -> list[str]:
    """One line for everything that is not known: what, of which stations, and why."""
    found, every = [], len(bill.stations)
    for what, why, names in bill.missing[:MOST_REASONS]:
        shown = "all stations" if len(names) == every else ", ".join(map(k.one_line, names[:5]))
        more = f" and {len(names) - 5} more" if 5 < len(names) < every else ""
        found.append(f"Not known: {what} of {shown}{more} – {why}.")
    if len(bill.missing) > MOST_REASONS:
        found.append("More is not known; see the stations below.")
    return found


def heads(kit: k.Kit, sheet: Any, row: int, names: Sequence[str], wide: str = "") -> None:
    """A header row; `wide` is one more header, over the remaining columns."""
    style = kit.format("head")
    for col, name in enumerate(names):
        sheet.write_string(row, col, name, style)
    if wide:
        sheet.merge_range(row, len(names), row, LAST, wide, style)
    most = max(k.lines(name, WIDTH if col else NAME_WIDTH) for col, name in enumerate(names))
    sheet.set_row(row, most * k.LINE_POINTS + 4)


def _section(kit: k.Kit, sheet: Any, row: int, title: str) -> None:
    sheet.write_string(row, 0, title, kit.format("section"))
    sheet.set_row(row, 18)


def _stations(kit: k.Kit, sheet: Any, row: int, bills: Sequence[StationBill]) -> int:
    """Write the station table and return the next free row."""
    _section(kit, sheet, row, "Stations, the costliest first")
    heads(kit, sheet, row + 1, STATION_HEADS, "Not known, and why")
    first = row + 2
    for row, bill in enumerate(bills, first):
        _station(kit, sheet, row, bill)
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
        _total(kit, sheet, row, col, first, sums.get(col, []), whole=col in (2, 10))
    return row + 1


def _total(
    kit: k.Kit,
    sheet: Any,
    row: int,
    col: int,
    first: int,
    values: Sequence[float | None],
    *,
    whole: bool = False,
) -> None:
    """The sum of a column from row `first` to the row above; blank where nothing is known."""
    known = [value for value in values if value is not None]
    letter = column_letters(col)
    formula = f"SUM({letter}{first + 1}:{letter}{row})"
    style = kit.format("total-whole" if whole else "total")
    _live(sheet, row, col, formula, sum(known) if known else None, style)


def _station(kit: k.Kit, sheet: Any, row: int, bill: StationBill) -> None:
    cost, lost = bill.cost, bill.discharge
    amount, share = kit.format("amount"), kit.format("chance")
    k.text(sheet, row, 0, k.one_line(bill.station), kit.format("name"))
    k.number(sheet, row, 1, cost.days_counted, amount)
    k.number(sheet, row, 2, float(cost.gaps_left_out), kit.format("whole"))
    k.number(sheet, row, 3, cost.mean_excess_m, kit.format("metres"))
    k.number(sheet, row, 4, cost.energy_kwh, amount)
    _live(sheet, row, 5, f"E{row + 1}*{PRICE}", cost.energy_cost, amount)
    k.number(sheet, row, 6, lost.mean, share)
    k.number(sheet, row, 7, lost.most, share)
    k.number(sheet, row, 8, lost.pressure, amount)
    k.number(sheet, row, 9, bill.flush.volume, amount)
    k.number(sheet, row, 10, float(bill.cleanings), kit.format("whole"))
    why = "; ".join(f"{what}: {reason}" for what, reason in bill.missing)
    sheet.merge_range(row, _WHY, row, LAST, "", kit.format("wrap"))
    k.text(sheet, row, _WHY, why, kit.format("wrap"))
    wide = (LAST - _WHY + 1) * WIDTH
    most = max(k.lines(why, wide), k.lines(k.one_line(bill.station), NAME_WIDTH))
    sheet.set_row(row, min(409.0, most * k.LINE_POINTS + 4))


def _months(kit: k.Kit, sheet: Any, row: int, bills: Sequence[StationBill]) -> int:
    """Write energy and money per station and month; return the last row used."""
    _section(kit, sheet, row, "Energy by month (kWh)")
    shown = [bill for bill in bills if bill.months]
    if not shown:
        k.text(sheet, row + 1, 0, "No station's energy is known.", kit.format("mark"))
        return row + 1
    months = sorted({month for bill in shown for month, _ in bill.months})
    # What no longer fits a page's width is taken together in the first column.
    first = months[: max(1, len(months) - MOST_MONTHS + 1)]
    labels = [f"to {first[-1]}" if len(first) > 1 else first[0], *months[len(first) :]]
    place = {month: max(0, n - len(first) + 1) for n, month in enumerate(months)}
    grid = [_by_place(bill, place, len(labels)) for bill in shown]
    names = [bill.station for bill in shown]
    at = row + 2
    row = _matrix(kit, sheet, row + 1, labels, names, grid, "")
    price = kit.assessment.book.settings.price
    if price is None:
        line = "No energy price on the Farm sheet: no money."
        k.text(sheet, row, 0, line, kit.format("mark"))
        return row
    currency = k.one_line(kit.assessment.book.settings.currency) or "money"
    _section(kit, sheet, row + 1, k.clean(f"Energy by month, money ({currency})"))
    shift = row + 3 - at
    money = [[None if e is None else e * price for e in line] for line in grid]
    return _matrix(kit, sheet, row + 2, labels, names, money, str(shift)) - 1


def _by_place(bill: StationBill, place: dict[str, int], count: int) -> list[float | None]:
    """A station's energy [kWh] in each column of months; None where nothing could be counted."""
    found: list[float | None] = [None] * count
    for month, cost in bill.months:
        if cost.energy_kwh is not None:
            at = place[month]
            found[at] = (found[at] or 0.0) + cost.energy_kwh
    return found


def _matrix(
    kit: k.Kit,
    sheet: Any,
    row: int,
    labels: Sequence[str],
    names: Sequence[str],
    grid: Sequence[Sequence[float | None]],
    shift: str,
) -> int:
    """Stations by months with sums both ways; the next free row.

    With a `shift`, each amount is the price times the amount so many rows higher.
    """
    heads(kit, sheet, row, ["Station", *labels, "Total"])
    first, end = row + 1, len(labels) + 1
    for row, (name, line) in enumerate(zip(names, grid, strict=True), first):
        k.text(sheet, row, 0, k.one_line(name), kit.format("name"))
        for col, value in enumerate(line, 1):
            source = f"{column_letters(col)}{row + 1 - int(shift)}*{PRICE}" if shift else ""
            _live(sheet, row, col, source, value, kit.format("amount"))
        across = f"SUM(B{row + 1}:{column_letters(end - 1)}{row + 1})"
        _live(sheet, row, end, across, sum(v or 0.0 for v in line), kit.format("sum"))
    row = first + len(names)
    sheet.write_string(row, 0, "Farm", kit.format("total-name"))
    for col in range(1, end):
        _total(kit, sheet, row, col, first, [line[col - 1] for line in grid])
    _total(kit, sheet, row, end, first, [sum(v or 0.0 for v in line) for line in grid])
    return row + 1
