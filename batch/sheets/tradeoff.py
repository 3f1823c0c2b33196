"""The part of the Costs sheet that weighs energy against labour: its chart and its table."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from siltbook.batch.numbers.tradeoff import Priced, TradeOff
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.sums import ALL, LAST, heads, live, note, section
from siltbook.templates import look
from siltbook.templates.shown import Shown

CHART_POINTS = 225.0  # height of the chart's row, so that it stands whatever rows are above
CHART = {"width": 760, "height": 290}
FAR = 0.25  # share of days beyond the readings over which a drop is named above the chart
BEYOND = "beyond the readings"
NEAR = 0.1  # totals within this share of the least count as level
MOST_NAMED = 6
HEADS = (
    "Cleaned by hand at ({unit})", "Hand cleanings", "Days between", "Energy (kWh)",
    "Energy (money)", "Labour (money)", "Total (money)", "Beyond the readings",
)  # fmt: skip
ASSUMES = (
    "Every station's own runs are replayed from its clean drop to the drop at which one would"
    " clean by hand, in turn over the days counted; what a run lacks at its foot or end is filled"
    " by its own robust rate ('beyond the readings'). The pump makes up for the drop, one cleans on"
    " the very day, nobody flushes in between. Only energy and labour are weighed: what the"
    " emitters lose, and what a high drop does to an element, are not. A low total is therefore no"
    " reason to raise a limit."
)
_SERIES = (
    (4, "Energy", "triangle", look.DROP_LINE, "dash"),
    (5, "Labour", "square", look.CLEAN_LINE, "dash"),
    (6, "Total", "circle", look.LIMIT_LINE, "solid"),
)


def write(
    kit: k.Kit, sheet: Any, row: int, name: str, weighed: TradeOff, price: str, cleaning: str
) -> int:
    """Write the trade-off from `row` on and return the next free row.

    `name` is the sheet's name in the book; `price` and `cleaning` are the cells with the energy
    price and the price of one hand cleaning.
    """
    section(kit, sheet, row, "Cleaning by hand at another drop")
    for line in said(weighed, kit.shown):
        row += 1
        k.spread(sheet, row, LAST, line, kit.format("line"), ALL)
    if weighed.silent:
        return row + 1
    row += 1
    chart_row, header = row, row + 1
    sheet.set_row(chart_row, CHART_POINTS)
    heads(kit, sheet, header, [head.format(unit=kit.shown.unit) for head in HEADS], "Note")
    for row, priced in enumerate(weighed.priced, header + 1):
        _priced(kit, sheet, row, priced, price, cleaning)
    rows = (header + 1, row)
    if weighed.was is not None:
        row += 1
        _priced(kit, sheet, row, weighed.was, price, cleaning)
    options = {"description": alt_text(weighed, kit.shown), "object_position": 1}
    options |= {"x_offset": 4, "y_offset": 4}
    sheet.insert_chart(chart_row, 0, _chart(kit, name, rows, weighed), options)
    return row + 1


def said(weighed: TradeOff, shown: Shown) -> list[str]:
    """What stands above the chart: the answer, what it rests on, and what was left out."""
    lines = []
    if weighed.silent:
        lines.append(f"Not worked out: {weighed.silent}.")
    else:
        lines += [_answer(weighed, shown), ASSUMES]
        lines.append(
            f"Rests on {_count(weighed.runs, 'run')} of {_count(len(weighed.stations), 'station')}"
            f" over {weighed.days:,.0f} station days."
        )
        far = [_at(p, shown) for p in weighed.priced if p.total and (p.beyond or 0.0) > FAR]
        if far:
            at = " and ".join([*([", ".join(far[:-1])] if far[1:] else []), far[-1]])
            at += f" {shown.unit}"
            lines.append(f"Take with care: at {at} over a quarter of the days lie {BEYOND}.")
    return [*lines, *_left_out(weighed)]


def _left_out(weighed: TradeOff) -> list[str]:
    """One line for every reason, with the stations that it holds for."""
    found: dict[str, list[str]] = defaultdict(list)
    for name, why in weighed.left_out:
        found[why].append(k.one_line(name))
    lines = []
    for why, names in [*found.items()][:MOST_NAMED]:
        more = len(names) - MOST_NAMED
        shown = ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        lines.append(f"Left out: {shown}: {why}.")
    if len(found) > MOST_NAMED:
        rest = sum(map(len, [*found.values()][MOST_NAMED:]))
        lines.append(f"Left out for other reasons: {_count(rest, 'station')}.")
    return lines


def _count(n: int, word: str) -> str:
    return f"{n:,} {word}{'' if n == 1 else 's'}"


def _at(priced: Priced, shown: Shown) -> str:
    """The drop at which one cleans, without its unit: a round figure in metres."""
    drop = priced.drop or 0.0
    return f"{drop:g}" if shown.metres else shown.number(drop)


def _answer(weighed: TradeOff, shown: Shown) -> str:
    best = weighed.cheapest
    known = [p for p in weighed.priced if p.total is not None]
    if best is None:
        return "None of these drops can be priced; the notes below say why."
    at = known.index(best)
    most = (1 + NEAR) * (best.total or 0.0)
    low, high = at, at
    while low > 0 and (known[low - 1].total or 0.0) <= most:
        low -= 1
    while high + 1 < len(known) and (known[high + 1].total or 0.0) <= most:
        high += 1
    line = f"Energy and labour together are least at {_at(best, shown)} {shown.unit}"
    line += f", of {len(known)} drops priced"
    if low < high:
        span = f"from {_at(known[low], shown)} to {_at(known[high], shown)} {shown.unit}"
        line += f"; {span} they differ by no more than a tenth"
    if len(known) > 1 and at in (0, len(known) - 1):
        line += "; no drop beyond was priced, so the least may lie further on"
    return line + "."


def _priced(kit: k.Kit, sheet: Any, row: int, priced: Priced, price: str, cleaning: str) -> None:
    amount, at = kit.format("amount"), row + 1
    if priced.drop is None:
        k.text(sheet, row, 0, "As it was", kit.format("name"))
    else:
        style = amount if kit.shown.metres else kit.format("metres")
        k.number(sheet, row, 0, kit.shown.value(priced.drop), style)
    k.number(sheet, row, 1, priced.cleanings, amount)
    k.number(sheet, row, 2, priced.days_between, amount)
    k.number(sheet, row, 3, priced.energy_kwh, amount)
    live(sheet, row, 4, f"D{at}*{price}", priced.energy_cost, amount)
    live(sheet, row, 5, f"B{at}*{cleaning}", priced.labour_cost, amount)
    live(sheet, row, 6, f"E{at}+F{at}", priced.total, amount)
    k.number(sheet, row, 7, priced.beyond, kit.format("share"))
    said, interval = priced.silent, kit.assessment.book.settings.interval
    if priced.days_between is not None and priced.days_between < interval:
        said = f"sooner than the reading interval of {interval:g} days: nobody would see it in time"
    if priced.drop is None:
        said = "with the logged flushes, whose labour is not priced: compare the energy only"
    note(kit, sheet, row, len(HEADS), said)


def alt_text(weighed: TradeOff, shown: Shown) -> str:
    """The chart in one sentence, for those who cannot see it."""
    axes = "Energy, labour and their total against the drop at which one cleans."
    return f"{axes} {_answer(weighed, shown)}"


def _chart(kit: k.Kit, name: str, rows: tuple[int, int], weighed: TradeOff) -> Any:
    chart = kit.workbook.add_chart({"type": "scatter", "subtype": "straight_with_markers"})
    first, last = rows
    for col, shown, shape, colour, dash in _SERIES:
        ink = {"color": colour}
        chart.add_series({
            "name": shown,
            "categories": [name, first, 0, last, 0],
            "values": [name, first, col, last, col],
            "line": {"color": colour, "width": 2 if dash == "solid" else 1.5, "dash_type": dash},
            "marker": {"type": shape, "size": 7, "fill": ink, "border": ink},
        })  # fmt: skip
    small = {"name": look.FONT, "size": 10, "color": look.INK}
    axis = {"name_font": {**small, "bold": False}, "num_font": small}
    title = {"name": look.FONT, "size": 11, "bold": True, "color": look.INK}
    chart.set_title({"name": "Energy against labour", "name_font": title, "overlay": False})
    drops = [p.drop or 0.0 for p in weighed.priced]
    scale = {"num_format": "0", "min": min(drops) - 1, "max": max(drops) + 1, "major_unit": 1}
    if not kit.shown.metres:  # no whole numbers: the program finds the steps
        scale = {"num_format": kit.shown.cells("metres"), "min": 0}
    chart.set_x_axis({
        **axis, "name": f"Drop at which one cleans by hand ({kit.shown.unit})",
        "major_gridlines": {"visible": False}, **scale,
    })  # fmt: skip
    currency = k.one_line(kit.assessment.book.settings.currency)[:20] or "money"
    chart.set_y_axis({
        **axis, "name": f"For the days counted ({currency})", "num_format": "#,##0", "min": 0,
        "major_gridlines": {"visible": True, "line": {"color": look.GRID_LINE, "width": 0.5}},
    })  # fmt: skip
    chart.set_legend({"position": "bottom", "font": small})
    chart.show_blanks_as("gap")
    chart.set_size(CHART)
    chart.set_chartarea({"border": {"color": look.RULE}})
    return chart
