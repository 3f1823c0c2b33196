"""The sheets What changed and Days over limit: one row per station."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from siltbook.batch.assess import URGENCY
from siltbook.batch.cautions import touched_at
from siltbook.batch.results import StationResult
from siltbook.batch.review.episodes import DaysOver, days_over
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.page import (
    Column,
    Pack,
    bars,
    cautions_below,
    finish,
    heading,
    note,
    solid,
    table,
)
from siltbook.batch.sheets import kit as k
from siltbook.templates import look

CHANGED, OVER = "What changed", "Days over limit"
MOST_BARS = 25  # more do not fit the first page
_LABELS = 24  # first column of what the chart needs, outside the print

_CHANGED = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Block", 11, "wrap"),
    Column("Filter", 9, "wrap"),
    Column("Then", 16, "wrap"),
    Column("Now", 16, "wrap"),
    Column("Change", 9),
    Column("Drop then (m)", 8, "metres"),
    Column("Drop now (m)", 8, "metres"),
    Column("Limit (m)", 8, "metres"),
    Column("Readings in month", 9, "whole"),
    Column("Why", 44, "wrap"),
    Column("Rows of the book", 24, "rows"),
)
_OVER = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Days over", 9, "days"),
    Column("Days unnoticed", 10, "days"),
    Column("Together", 9, "days"),
    Column("Episodes in month", 10, "whole"),
    Column("Highest drop (m)", 9, "metres"),
    Column("Limit (m)", 8, "metres"),
    Column("Note", 28, "wrap"),
    Column("Rows of the book", 30, "rows"),
)


def write_changed(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Every station then and now: those that got worse first, then by urgency."""
    heading(kit, sheet, pack, CHANGED)
    note(
        kit, sheet, 2, _CHANGED,
        f"Then: as of {pack.month.eve}. Now: as of {pack.month.last}. Drop: the latest usable "
        "reading by that day. Rows: the two readings, then what the verdict now rests on.",
    )  # fmt: skip
    pairs = [(farm, result) for farm in pack.farms for result in farm.now.stations]
    pairs.sort(key=lambda p: (_change(*p)[0], URGENCY[p[1].verdict], p[0].farm))
    last = table(kit, sheet, 3, _CHANGED, (_changed(f, r) for f, r in pairs))
    sheet.autofilter(3, 0, max(last, 4), len(_CHANGED) - 1)
    last = cautions_below(kit, sheet, last, _CHANGED, touched_at(r for _, r in pairs))
    finish(kit, sheet, 3, last, len(_CHANGED))


def _change(farm: FarmMonth, result: StationResult) -> tuple[int, str]:
    """Order and word: worse, better, same; by the urgency of the verdicts."""
    moved = URGENCY[result.verdict] - URGENCY[farm.before(result.station.name).verdict]
    return (0, "worse") if moved < 0 else (1, "better") if moved > 0 else (2, "same")


def _changed(farm: FarmMonth, result: StationResult) -> tuple[object, ...]:
    station, before = result.station, farm.before(result.station.name)
    was = before.latest
    month = [r for r in result.history.readings if r.date in farm.month]
    rests = _by_sheet(result)
    latest = [r.row for r in (was, result.latest) if r is not None]
    return (
        k.one_line(farm.farm), k.one_line(station.name), k.one_line(station.block),
        station.filter_type, before.verdict, result.verdict,
        _change(farm, result)[1], was.drop if was else None,
        result.latest.drop if result.latest else None, station.limit, len(month),
        k.one_line(result.judgement.reason),
        rows_text(farm.book, [*latest, *rests["readings"][-8:]], rests["work"][-8:]),
    )  # fmt: skip


def _by_sheet(result: StationResult) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {"readings": [], "work": []}
    for sheet, row in result.judgement.rows:
        found.setdefault(sheet, []).append(row)
    return found


Line = tuple[FarmMonth, StationResult, DaysOver]


def over_lines(pack: Pack) -> list[Line]:
    """The stations that were over their limit in the month, longest first."""
    lines = [
        (farm, result, days_over(result, farm.book.settings.interval, pack.month))
        for farm in pack.farms
        for result in farm.now.stations
    ]
    over = [line for line in lines if line[2].spells]
    return sorted(over, key=lambda x: (-x[2].total, x[0].farm, x[1].station.name))


def write_over(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Stations by days over the limit, as a chart and as a table."""
    heading(kit, sheet, pack, OVER)
    lines = over_lines(pack)
    count = sum(len(f.now.stations) for f in pack.farms)
    note(
        kit, sheet, 2, _OVER,
        "Days over: from the reading that found the drop over the limit to the reading that "
        f"found it in range (or {pack.month.last}), inside the month. Days unnoticed: an "
        "estimate of the time before that first reading, where the straight line from the "
        f"reading before it crosses the limit. {len(lines)} of {count} stations stood over "
        "the limit at some time in the month.",
    )  # fmt: skip
    top = 3 + bar_rows(len(lines)) if lines else 3
    last = table(kit, sheet, top, _OVER, (_over(*line) for line in lines))
    if lines:
        _chart(kit, sheet, pack, lines[:MOST_BARS], top + 1)
    finish(kit, sheet, 1, last, len(_OVER))
    sheet.repeat_rows(top, top)  # on the pages behind the chart


def bar_rows(count: int) -> int:
    """Sheet rows that a chart of so many bars covers."""
    return -(-_bar_height(count) // 20) + 1


def _bar_height(count: int) -> int:
    return 100 + 20 * min(count, MOST_BARS)


def _over(farm: FarmMonth, result: StationResult, over: DaysOver) -> tuple[object, ...]:
    untold = ""
    if over.untold:
        untold = "the beginning of an episode cannot be told: no reading near enough before it"
    # A station that stood over and was not read again has no drop of this month to show.
    readings = [
        r.row
        for s in over.spells
        for r in (s.before, s.opened, s.closed, over.highest)
        if r is not None
    ]
    known = not over.untold or over.unnoticed > 0
    return (
        k.one_line(farm.farm), k.one_line(result.station.name), float(over.found),
        over.unnoticed if known else None, over.total if known else None, len(over.spells),
        over.highest.drop if over.highest else None, result.station.limit, untold,
        rows_text(farm.book, readings),
    )  # fmt: skip


def _chart(kit: k.Kit, sheet: Any, pack: Pack, lines: list[Line], first: int) -> None:
    """The bars above the table, whose first row is `first`."""
    end = first + len(lines) - 1
    for row, (farm, result, _) in enumerate(lines, first):
        name = f"{farm.farm}: {result.station.name}" if pack.several else result.station.name
        k.text(sheet, row, _LABELS, k.one_line(name), kit.format("data"))
    chart = bars(kit, f"Days over the limit in {pack.month.words}")
    for col, name, colour in ((2, "Days over", look.DROP_LINE),
                              (3, "Days unnoticed (estimate)", look.BAR_FILL)):  # fmt: skip
        chart.add_series({
            "name": name, "categories": [OVER, first, _LABELS, end, _LABELS],
            "values": [OVER, first, col, end, col], "gap": 40, **solid(colour),
        })  # fmt: skip
    chart.set_size({"width": 1000, "height": _bar_height(len(lines))})
    said = f"Bars of days over the limit, {len(lines)} stations, longest first; the table has them."
    sheet.insert_chart(3, 0, chart, {"description": said, "object_position": 1, "y_offset": 4})


def iter_spells(pack: Pack) -> Iterator[tuple[FarmMonth, StationResult, DaysOver]]:
    """The stations with episodes in the month, farm by farm in the order of the agenda."""
    for farm in pack.farms:
        for result in farm.now.stations:
            over = days_over(result, farm.book.settings.interval, pack.month)
            if over.spells:
                yield farm, result, over
