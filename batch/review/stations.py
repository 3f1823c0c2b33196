"""The sheets What changed and Days over limit: one row per station."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from siltbook.batch.assess import URGENCY
from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM
from siltbook.batch.remarks import beside_advice
from siltbook.batch.results import StationResult
from siltbook.batch.review.episodes import DaysOver, days_over
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.page import (
    Pack,
    bars,
    cautions_below,
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

CHANGED, OVER = "What changed", "Days over limit"
MOST_BARS = 25  # more do not fit the first page
_LABELS = 24  # first column of what the chart needs, outside the print


class StationMonth(NamedTuple):
    """A station of a farm, judged at both ends of the month."""

    farm: FarmMonth
    result: StationResult

    @property
    def before(self) -> StationResult:
        """The station as it was judged at the month's beginning."""
        return self.farm.before(self.result.station.name)


class OverLimit(NamedTuple):
    """A station that stood over its limit in the month."""

    farm: FarmMonth
    result: StationResult
    over: DaysOver


def _drop(result: StationResult) -> float | None:
    return result.latest.drop if result.latest else None


def _in_month(row: StationMonth) -> int:
    return sum(r.date in row.farm.month for r in row.result.history.readings)


def _changed_rows(row: StationMonth) -> str:
    """The two readings, then what the verdict now rests on."""
    rests = _by_sheet(row.result)
    latest = [r.row for r in (row.before.latest, row.result.latest) if r is not None]
    return rows_text(row.farm.book, [*latest, *rests["readings"][-8:]], rests["work"][-8:])


def _untold(row: OverLimit) -> str:
    if not row.over.untold:
        return ""
    return "the beginning of an episode cannot be told: no reading near enough before it"


def _if_known(source: Callable[[DaysOver], float]) -> Callable[[OverLimit], float | None]:
    """A figure that is nothing where no beginning can be told."""

    def known(row: OverLimit) -> float | None:
        return source(row.over) if not row.over.untold or row.over.unnoticed > 0 else None

    return known


def _over_rows(row: OverLimit) -> str:
    # A station that stood over and was not read again has no drop of this month to show.
    readings = [
        r.row
        for s in row.over.spells
        for r in (s.before, s.opened, s.closed, row.over.highest)
        if r is not None
    ]
    return rows_text(row.farm.book, readings)


def _why(row: StationMonth) -> str:
    """The reason, and what was noted where something is to be done, or the remark matters."""
    calm = row.result.verdict in CALM and not row.result.heed
    noted = () if calm else beside_advice(row.result, 1)
    return "\n".join(map(k.one_line, (row.result.judgement.reason, *noted)))


_CHANGED: Table[StationMonth] = Table(
    CHANGED,
    (
        farm_column(lambda r: r.farm, 17),
        station_column(lambda r: r.result.station.name),
        Column("block", "Block", Kind.NAME, 9, lambda r: r.result.station.block, style="wrap"),
        Column("filter", "Filter", Kind.TEXT, 9, lambda r: r.result.station.filter_type,
               style="wrap"),
        Column("then", "Then", Kind.VERDICT, 15, lambda r: r.before.verdict),
        Column("now", "Now", Kind.VERDICT, 15, lambda r: r.result.verdict),
        Column("change", "Change", Kind.TEXT, 9, lambda r: _change(r)[1]),
        Column("drop_then", "Drop then ({unit})", Kind.PRESSURE, 8, lambda r: _drop(r.before), "m"),
        Column("drop_now", "Drop now ({unit})", Kind.PRESSURE, 8, lambda r: _drop(r.result), "m"),
        Column("limit", "Limit ({unit})", Kind.PRESSURE, 8, lambda r: r.result.station.limit, "m"),
        Column("readings", "Readings in month", Kind.COUNT, 9, _in_month),
        Column("why", "Why", Kind.NAME, 24, _why, style="wrap"),
        rows_column(_changed_rows, 17),
    ),
)  # fmt: skip
_OVER: Table[OverLimit] = Table(
    OVER,
    (
        farm_column(lambda r: r.farm),
        station_column(lambda r: r.result.station.name),
        Column("found", "Days over", Kind.DAYS, 9, lambda r: r.over.found),
        Column("unnoticed", "Days unnoticed", Kind.DAYS, 10, _if_known(lambda d: d.unnoticed)),
        Column("together", "Together", Kind.DAYS, 9, _if_known(lambda d: d.total)),
        Column("episodes", "Episodes in month", Kind.COUNT, 10, lambda r: len(r.over.spells)),
        Column("highest", "Highest drop ({unit})", Kind.PRESSURE, 9,
               lambda r: r.over.highest.drop if r.over.highest else None, "m"),
        Column("limit", "Limit ({unit})", Kind.PRESSURE, 8, lambda r: r.result.station.limit, "m"),
        Column("note", "Note", Kind.TEXT, 28, _untold, style="wrap"),
        rows_column(_over_rows, 30),
    ),
)  # fmt: skip


def write_changed(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Every station then and now: those that got worse first, then by urgency."""
    heading(kit, sheet, pack, CHANGED)
    day = kit.shown.day
    note(
        kit, sheet, 2, _CHANGED,
        f"Then: as of {day(pack.month.eve)}. Now: as of {day(pack.month.last)}. Drop: the latest "
        "usable reading by that day. Rows: the two readings, then what the verdict now rests on.",
    )  # fmt: skip
    pairs = [StationMonth(farm, result) for farm in pack.farms for result in farm.now.stations]
    pairs.sort(key=lambda p: (_change(p)[0], URGENCY[p.result.verdict], p.farm.farm))
    last = tables.short(kit, sheet, 3, _CHANGED, pairs)
    tables.filters(sheet, 3, max(last, 4), _CHANGED)
    last = cautions_below(kit, sheet, last, _CHANGED, touched_at(r for _, r in pairs))
    finish(kit, sheet, 3, last, _CHANGED.widths)


def _change(row: StationMonth) -> tuple[int, str]:
    """Order and word: worse, better, same; by the urgency of the verdicts."""
    moved = URGENCY[row.result.verdict] - URGENCY[row.before.verdict]
    return (0, "worse") if moved < 0 else (1, "better") if moved > 0 else (2, "same")


def _by_sheet(result: StationResult) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {"readings": [], "work": []}
    for sheet, row in result.judgement.rows:
        found.setdefault(sheet, []).append(row)
    return found


def over_lines(pack: Pack) -> list[OverLimit]:
    """The stations that were over their limit in the month, longest first."""
    lines = [
        OverLimit(farm, result, days_over(result, farm.book.settings.interval, pack.month))
        for farm in pack.farms
        for result in farm.now.stations
    ]
    over = [line for line in lines if line.over.spells]
    return sorted(over, key=lambda x: (-x.over.total, x.farm.farm, x.result.station.name))


def write_over(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Stations by days over the limit, as a chart and as a table."""
    heading(kit, sheet, pack, OVER)
    lines = over_lines(pack)
    count = sum(len(f.now.stations) for f in pack.farms)
    note(
        kit, sheet, 2, _OVER,
        "Days over: from the reading that found the drop over the limit to the reading that "
        f"found it in range (or {kit.shown.day(pack.month.last)}), inside the month. Days "
        "unnoticed: an estimate of the time before that first reading, where the straight line "
        f"from the reading before it crosses the limit. {len(lines)} of {count} stations stood "
        "over the limit at some time in the month.",
    )  # fmt: skip
    top = 3 + bar_rows(len(lines)) if lines else 3
    last = tables.short(kit, sheet, top, _OVER, lines)
    if lines:
        _chart(kit, sheet, pack, lines[:MOST_BARS], top + 1)
    finish(kit, sheet, 1, last, _OVER.widths)
    sheet.repeat_rows(top, top)  # on the pages behind the chart


def bar_rows(count: int) -> int:
    """Sheet rows that a chart of so many bars covers."""
    return -(-_bar_height(count) // 20) + 1


def _bar_height(count: int) -> int:
    return 100 + 20 * min(count, MOST_BARS)


def _chart(kit: k.Kit, sheet: Any, pack: Pack, lines: list[OverLimit], first: int) -> None:
    """The bars above the table, whose first row is `first`."""
    end = first + len(lines) - 1
    for row, (farm, result, _) in enumerate(lines, first):
        name = f"{farm.farm}: {result.station.name}" if pack.several else result.station.name
        k.text(sheet, row, _LABELS, k.one_line(name), kit.format("data"))
    chart = bars(kit, f"Days over the limit in {pack.month.words}")
    for key, name, colour in (
        ("found", "Days over", look.DROP_LINE),
        ("unnoticed", "Days unnoticed (estimate)", look.BAR_FILL),
    ):
        col = _OVER.places[key]
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
