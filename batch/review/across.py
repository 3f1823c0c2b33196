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
    Column,
    Pack,
    bars,
    data_bar,
    finish,
    heading,
    note,
    solid,
    style,
    table,
)
from siltbook.batch.review.stations import MOST_BARS, bar_rows
from siltbook.batch.sheets import kit as k
from siltbook.templates import look
from siltbook.templates.book import column_letters

TITLE = "Fouling compared"
_SIDES = 24  # first column of the intervals as the chart needs them, outside the print
_COLUMNS = (
    Column("Group", 44, "wrap"),
    Column("Median rate (m/day)", 11, "rate"),
    Column("From (m/day)", 11, "rate"),
    Column("To (m/day)", 11, "rate"),
    Column("Confidence", 11, "share"),
    Column("Stations", 9, "whole"),
    Column("Runs", 8, "whole"),
    Column("One observation is", 16),
    Column("Note", 38, "wrap"),
)
_BEHIND = (
    Column("Station", 44, "wrap"),
    Column("Median of its runs", 11, "rate"),
    Column("Slowest run", 11, "rate"),
    Column("Fastest run", 11, "rate"),
    Column("Season", 11, "text"),
    Column("Grade (µm)", 9, "whole"),
    Column("Runs", 8, "whole"),
    Column("Filter type", 16),
    Column("Note", 38, "wrap"),
)
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
    note(kit, sheet, 2, _COLUMNS, _NOTE + _left_out(sum(s.runs_left_out for s in stations)))
    found = compare(stations)
    shown = _drawn(found)
    row = 3 + (bar_rows(len(_ranked(shown))) if shown else 0)
    for question in found:
        sheet.write_string(row, 0, question.title, style(kit, "section"))
        sheet.set_row(row, 22)
        last = table(kit, sheet, row + 1, _COLUMNS, (_row(g) for g in question.groups))
        data_bar(sheet, row + 2, last, 1)
        if question is shown:
            _chart(kit, sheet, question, row + 2)
        row = last + 2
    if found:
        row = _behind(kit, sheet, stations, row)
    else:
        k.spread(
            sheet, row, len(_COLUMNS) - 1,
            "Nothing to compare: fewer than two groups of filters have runs.",
            kit.format("line"), sum(c.width for c in _COLUMNS),
        )  # fmt: skip
    finish(kit, sheet, 1, row, len(_COLUMNS))


def _behind(kit: k.Kit, sheet: Any, stations: Sequence[StationRates], row: int) -> int:
    """The stations that the medians come from, fastest first; the row below them."""
    sheet.write_string(row, 0, "The stations behind it", style(kit, "section"))
    sheet.set_row(row, 22)
    ordered = sorted(stations, key=lambda s: -median(s.rates) if s.rates else 0.0)
    return table(kit, sheet, row + 1, _BEHIND, map(_station, ordered)) + 1


def _station(one: StationRates) -> tuple[object, ...]:
    count = one.runs_left_out
    left = f"{count} run{'' if count == 1 else 's'} left out" if count else ""
    few = "" if one.rates else "no run with a believable rate"
    return (
        k.one_line(f"{one.farm}: {one.station}"), median(one.rates) if one.rates else None,
        min(one.rates, default=None), max(one.rates, default=None), k.one_line(one.season),
        one.grade, len(one.rates), one.filter_type, "; ".join(t for t in (few, left) if t),
    )  # fmt: skip


def _left_out(runs: int) -> str:
    return f" {runs} runs were left out: their rate is not to be believed." if runs else ""


def _row(group: Group) -> tuple[object, ...]:
    return (
        k.one_line(group.name), group.rate, group.low, group.high, group.confidence,
        group.stations, group.runs,
        "a station" if group.unit == "stations" else "a run", group.too_few,
    )  # fmt: skip


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
        rate = group.rate or 0.0
        k.number(sheet, row, _SIDES, rate - (group.low or rate), kit.format("data"))
        k.number(sheet, row, _SIDES + 1, (group.high or rate) - rate, kit.format("data"))
    chart = bars(kit, f"{question.title}: how fast they foul (m/day)", stacked=False)
    chart.add_series({
        "name": "Median rate with its interval",
        "categories": [TITLE, first, 0, last, 0],
        "values": [TITLE, first, 1, last, 1],
        "gap": 60,
        "x_error_bars": {
            "type": "custom",
            "minus_values": _range(_SIDES, first, last),
            "plus_values": _range(_SIDES + 1, first, last),
            "minus_data": [(g.rate or 0.0) - (g.low or 0.0) for g in ranked],
            "plus_data": [(g.high or 0.0) - (g.rate or 0.0) for g in ranked],
            "line": {"color": look.LIMIT_LINE, "width": 2},
        },
        **solid(look.BAR_FILL),
    })  # fmt: skip
    chart.set_size({"width": 1000, "height": 100 + 20 * len(ranked)})
    said = f"Bars of median fouling rates, {question.title}; the table below has the numbers."
    sheet.insert_chart(3, 0, chart, {"description": said, "object_position": 1, "y_offset": 4})


def _range(col: int, first: int, last: int) -> str:
    letters = column_letters(col)
    return f"={k.quoted(TITLE)}${letters}${first + 1}:${letters}${last + 1}"
