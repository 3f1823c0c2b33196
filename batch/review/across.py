"""The sheet Fouling compared: which filters foul fastest, with intervals, or said to be too few."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

from siltbook.batch.review.compare import (
    LEAST,
    LEAST_RUNS,
    WITHIN_FARM,
    Comparison,
    Group,
    StationRates,
    compare,
    station_rates,
)
from siltbook.batch.review.page import (
    Pack,
    bars,
    data_bar,
    finish,
    heading,
    note,
    solid,
)
from siltbook.batch.review.stations import MOST_BARS, bar_rows
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look
from siltbook.templates.book import column_letters
from siltbook.templates.shown import Shown

TITLE = "Fouling compared"
_SIDES = 24  # first column of the intervals as the chart needs them, outside the print
_GROUPS: Table[Group] = Table(
    TITLE,
    (
        Column("group", "Group", Kind.NAME, 44, lambda g: g.name, style="wrap"),
        Column("rate", "Median rate ({unit})", Kind.RATE, 11, lambda g: g.rate, "m/day",
               style="rate"),
        Column("low", "From ({unit})", Kind.RATE, 11, lambda g: g.low, "m/day", style="rate"),
        Column("high", "To ({unit})", Kind.RATE, 11, lambda g: g.high, "m/day", style="rate"),
        Column("confidence", "Confidence", Kind.SHARE, 11, lambda g: g.confidence),
        Column("stations", "Stations", Kind.COUNT, 9, lambda g: g.stations),
        Column("runs", "Runs", Kind.COUNT, 8, lambda g: g.runs),
        Column("unit", "One observation is", Kind.TEXT, 16,
               lambda g: "a station" if g.unit == "stations" else "a run"),
        Column("note", "Note", Kind.TEXT, 38, lambda g: g.too_few, style="wrap"),
    ),
)  # fmt: skip


def _behind_note(one: StationRates) -> str:
    count = one.runs_left_out
    left = f"{count} run{'' if count == 1 else 's'} left out" if count else ""
    few = "" if one.rates else "no run with a believable rate"
    return "; ".join(text for text in (few, left) if text)


_BEHIND: Table[StationRates] = Table(
    "The stations behind it",
    (
        Column("station", "Station", Kind.NAME, 44, lambda s: f"{s.farm}: {s.station}",
               style="wrap"),
        Column("rate", "Median of its runs", Kind.RATE, 11,
               lambda s: median(s.rates) if s.rates else None, "m/day", style="rate"),
        Column("slowest", "Slowest run", Kind.RATE, 11, lambda s: min(s.rates, default=None),
               "m/day", style="rate"),
        Column("fastest", "Fastest run", Kind.RATE, 11, lambda s: max(s.rates, default=None),
               "m/day", style="rate"),
        Column("season", "Season", Kind.TEXT, 11, lambda s: s.season),
        Column("grade", "Grade ({unit})", Kind.NUMBER, 9, lambda s: s.grade, "µm", style="whole"),
        Column("runs", "Runs", Kind.COUNT, 8, lambda s: len(s.rates)),
        Column("filter_type", "Filter type", Kind.TEXT, 16, lambda s: s.filter_type),
        Column("note", "Note", Kind.TEXT, 38, _behind_note, style="wrap"),
    ),
)  # fmt: skip
_NOTE = (
    "How fast the drop rises between two cleanings, at the reference flow where the flow is known: "
    "median with an interval by order statistics of at least 80 % (its true confidence beside "
    f"it). Under {LEAST} observations there is no interval and no rank, and it says 'too few'; a "
    f"station needs {LEAST_RUNS} runs with a believable rate to be one. Where two intervals "
    "overlap, the order may be chance. A difference between farms may come from the water, "
    "the season or the reading; within a farm the filters share the water. Rates, rows and dates "
    "of every run: sheet Runs of each book's result."
)


def write(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """The chart of one question, then a table for each."""
    heading(kit, sheet, pack, TITLE)
    stations = station_rates((*pack.farms, *pack.others))
    note(kit, sheet, 2, _GROUPS, _NOTE + _left_out(sum(s.runs_left_out for s in stations)))
    found = compare(stations)
    shown = _drawn(found)
    row = 3 + (bar_rows(len(_ranked(shown))) if shown else 0)
    for question in found:
        sheet.write_string(row, 0, question.title, kit.format("section"))
        sheet.set_row(row, 22)
        last = tables.short(kit, sheet, row + 1, _GROUPS, question.groups)
        data_bar(sheet, row + 2, last, 1)
        if question is shown:
            _chart(kit, sheet, question, row + 2)
        row = last + 2
    if found:
        row = _behind(kit, sheet, stations, row)
    else:
        k.spread(
            sheet, row, _GROUPS.last,
            "Nothing to compare: fewer than two groups of filters have runs.",
            kit.format("line"), _GROUPS.width,
        )  # fmt: skip
    finish(kit, sheet, 1, row, _GROUPS.widths)


def _behind(kit: k.Kit, sheet: Any, stations: Sequence[StationRates], row: int) -> int:
    """The stations that the medians come from, fastest first; the row below them."""
    sheet.write_string(row, 0, "The stations behind it", kit.format("section"))
    sheet.set_row(row, 22)
    ordered = sorted(stations, key=lambda s: -median(s.rates) if s.rates else 0.0)
    return tables.short(kit, sheet, row + 1, _BEHIND, ordered) + 1


def _left_out(runs: int) -> str:
    return f" {runs} runs were left out: their rate is not to be believed." if runs else ""


def _ranked(question: Comparison | None) -> list[Group]:
    groups = question.groups if question else ()
    return [g for g in groups if g.rate is not None][:MOST_BARS]


def _drawn(found: tuple[Comparison, ...]) -> Comparison | None:
    """The comparison that gets a chart: filters that share the water, else the first ranked."""
    several = [c for c in found if len(_ranked(c)) > 1]
    return next((c for c in several if c.title == WITHIN_FARM), several[0] if several else None)


def _chart(kit: k.Kit, sheet: Any, question: Comparison, first: int) -> None:
    """Bars of the ranked groups with their intervals, above the tables."""
    ranked = _ranked(question)
    last = first + len(ranked) - 1
    for row, group in enumerate(ranked, first):
        for col, side in enumerate(_sides(group, kit.shown), _SIDES):
            k.number(sheet, row, col, side, kit.format("data"))
    chart = bars(kit, f"{question.title}: how fast they foul ({kit.shown.unit}/day)", stacked=False)
    chart.add_series({
        "name": "Median rate with its interval",
        "categories": [TITLE, first, 0, last, 0],
        "values": [TITLE, first, 1, last, 1],
        "gap": 60,
        "x_error_bars": {
            "type": "custom",
            "minus_values": _range(_SIDES, first, last),
            "plus_values": _range(_SIDES + 1, first, last),
            "minus_data": [_sides(g, kit.shown)[0] for g in ranked],
            "plus_data": [_sides(g, kit.shown)[1] for g in ranked],
            "line": {"color": look.LIMIT_LINE, "width": 2},
        },
        **solid(look.BAR_FILL),
    })  # fmt: skip
    chart.set_size({"width": 1000, "height": 100 + 20 * len(ranked)})
    said = f"Bars of median fouling rates, {question.title}; the table below has the numbers."
    sheet.insert_chart(3, 0, chart, {"description": said, "object_position": 1, "y_offset": 4})


def _sides(group: Group, shown: Shown) -> tuple[float, float]:
    """How far the interval reaches below and above a group's median [as shown, per day]."""
    rate = group.rate or 0.0
    low, high = group.low or rate, group.high or rate
    return shown.value(rate - low), shown.value(high - rate)


def _range(col: int, first: int, last: int) -> str:
    letters = column_letters(col)
    return f"={k.quoted(TITLE)}${letters}${first + 1}:${letters}${last + 1}"
