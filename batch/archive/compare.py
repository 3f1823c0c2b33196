"""The sheet Seasons: the same stations over the seasons, side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from statistics import median
from typing import Any

from siltbook import __version__
from siltbook.batch.archive.season import StationSeason, left_open, station_seasons
from siltbook.batch.graft import graft
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.templates import look

NAME = "Seasons"
LEAST_RUNS = 4  # valid runs in each of two seasons, under which their rates are not compared
_FARM_HEAD = 3
_NOTE = (
    "Fouling rate: median of the season's valid runs, in metres of drop a day, with the span in "
    "which that median lies in at least 8 cases of 10; silent under "
    f"{LEAST_RUNS} runs. A rate counts as changed only where the spans of two seasons do not "
    "touch. Given back: median share of the rise over the clean drop. Every season was judged "
    "again by the same version for this sheet."
)
# Both tables share the columns of the page, so their widths are chosen together.
_WIDTHS = (18.0, 13.0, 9.0, 10.0, 16.0, 28.0, 9.0, 9.0, 10.0, 11.0, 11.0, 10.0, 11.0)
_FARM = (
    "Season",
    "As of",
    "Stations",
    "Rate (m/day)",
    "Readings used",
    "Cost of dirt known for",
    "Times over",
    "Days over",
    "Flushes",
    "Cleanings",
    "Left open",
    "Dirt (kWh)",
    "Dirt (money)",
)
_STATION = (
    "Station",
    "Season",
    "Valid runs",
    "Rate (m/day)",
    "Span of the rate",
    "Against the season before",
    "Times over",
    "Days over",
    "Flushes gave back",
    "Cleanings gave back",
    "Clean drop now (m)",
    "Dirt (kWh)",
    "Dirt (money)",
)


@dataclass(frozen=True)
class Year:
    """One archived season: its label and its stations."""

    label: str
    assessment: Assessment
    stations: tuple[StationSeason, ...]


def years(seasons: Sequence[Assessment]) -> tuple[Year, ...]:
    """Seasons in order of their as-of date."""
    ordered = sorted(seasons, key=lambda a: a.as_of or dt.date.min)
    return tuple(Year(_label(a), a, station_seasons(a)) for a in ordered)


def _label(assessment: Assessment) -> str:
    as_of = assessment.as_of.isoformat() if assessment.as_of else "no date"
    return assessment.book.settings.season or f"as of {as_of}"


def against(now: StationSeason, before: StationSeason | None) -> str:
    """How a station's fouling rate compares with the season before, in words."""
    if before is None:
        return "no season before"
    if min(now.runs, before.runs) < LEAST_RUNS or not (now.rate and before.rate):
        return f"too few runs ({before.runs} then, {now.runs} now)"
    spans = (before.rate_low, before.rate_high, now.rate_low, now.rate_high)
    low, high, now_low, now_high = spans
    if low is None or high is None or now_low is None or now_high is None:
        return "too few runs for a span"
    times = f"{now.rate / before.rate:.1f} times as fast"
    if now_low > high:
        return f"fouls faster: {times}"
    return f"fouls slower: {times}" if now_high < low else "no clear change"


def with_seasons(book: bytes, ordered: Sequence[Year], book_name: str) -> bytes:
    """The workbook with the sheet Seasons in it; GraftError where it cannot take one."""
    target = BytesIO()
    with k.new_workbook(target, "Seasons") as workbook:
        kit = k.Kit(workbook, ordered[-1].assessment, book_name, __version__)
        _write(kit, workbook.add_worksheet(NAME), ordered)
    return graft(book, target.getvalue(), [NAME])


def _write(kit: k.Kit, sheet: Any, ordered: Sequence[Year]) -> None:
    _heading(kit, sheet, ordered)
    k.header_row(kit, sheet, _FARM_HEAD, tuple(zip(_FARM, _WIDTHS, strict=True)))
    for row, year in enumerate(ordered, _FARM_HEAD + 1):
        _farm(kit, sheet, row, year)
    names = _names(ordered)
    head = _FARM_HEAD + len(ordered) + 2
    chart_rows = 18
    table = head + chart_rows
    first = table + 1
    row = _stations(kit, sheet, table, ordered, names)
    if names:
        _chart(kit, sheet, head, first, ordered, len(names))
    k.page(kit, sheet, header=_FARM_HEAD)
    sheet.print_area(0, 0, row, len(_STATION) - 1)


def _heading(kit: k.Kit, sheet: Any, ordered: Sequence[Year]) -> None:
    farm = k.one_line(ordered[-1].assessment.book.settings.farm)
    sheet.write_string(
        0, 0, k.clean(f"Seasons – {farm}" if farm else "Seasons"), kit.format("title")
    )
    sheet.set_row(0, 22)
    books = ", ".join(k.one_line(year.assessment.book.path) for year in ordered)
    made = f"Made by Siltbook {kit.version} from the archives of {books}"
    sheet.write_string(1, 0, k.clean(made), kit.format("mark"))
    k.spread(sheet, 2, len(_WIDTHS) - 1, _NOTE, kit.format("line"), sum(_WIDTHS))


def _names(ordered: Sequence[Year]) -> list[str]:
    """Every station of any season, the latest season's first."""
    found: dict[str, str] = {}
    for year in reversed(ordered):
        for name in sorted(s.result.station.name for s in year.stations):
            found.setdefault(name.casefold(), name)
    return list(found.values())


def _known(values: Sequence[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _farm(kit: k.Kit, sheet: Any, row: int, year: Year) -> None:
    stations = year.stations
    counts = year.assessment.book.counts.get("Readings")
    rates = _known([s.rate for s in stations])
    energy, money = (
        _known([s.energy_kwh for s in stations]),
        _known([s.energy_cost for s in stations]),
    )
    k.text(sheet, row, 0, k.one_line(year.label), kit.format("name"))
    k.date(kit, sheet, row, 1, year.assessment.as_of, kit.format("date"))
    k.number(sheet, row, 2, len(stations), kit.format("whole"))
    k.number(sheet, row, 3, median(rates) if rates else None, kit.format("rate"))
    used = f"{counts.used} of {counts.read}" if counts else ""
    k.text(sheet, row, 4, used, kit.format("text"))
    k.text(sheet, row, 5, f"{len(energy)} of {len(stations)} stations", kit.format("text"))
    figures = (
        sum(s.episodes for s in stations),
        sum(s.days_over for s in stations),
        sum(s.flushes for s in stations),
        sum(s.cleanings for s in stations),
        len(left_open(year.assessment)),
    )
    for col, figure in enumerate(figures, 6):
        k.number(sheet, row, col, figure, kit.format("whole"))
    k.number(sheet, row, 11, sum(energy) if energy else None, kit.format("whole"))
    k.number(sheet, row, 12, sum(money) if money else None, kit.format("metres"))


def _stations(
    kit: k.Kit, sheet: Any, head: int, ordered: Sequence[Year], names: Sequence[str]
) -> int:
    """One row for every season and station, season by season; gives the last row."""
    style = kit.format("head")
    for col, words in enumerate(_STATION):
        sheet.write_string(head, col, words, style)
    sheet.set_row(head, 2 * k.LINE_POINTS + 4)
    row = head
    before: dict[str, StationSeason] = {}
    for year in ordered:
        now = {s.result.station.name.casefold(): s for s in year.stations}
        for name in names:
            row += 1
            held = now.get(name.casefold())
            _station(kit, sheet, row, name, year.label, held, before.get(name.casefold()))
        before = now
    if row > head:
        sheet.autofilter(head, 0, row, len(_STATION) - 1)
    return row


def _station(
    kit: k.Kit,
    sheet: Any,
    row: int,
    name: str,
    label: str,
    now: StationSeason | None,
    before: StationSeason | None,
) -> None:
    k.text(sheet, row, 0, k.one_line(name), kit.format("name"))
    k.text(sheet, row, 1, k.one_line(label), kit.format("text"))
    if now is None:
        k.text(sheet, row, 5, "not in this season's register", kit.format("wrap"))
        return
    span = ""
    if now.rate_low is not None and now.rate_high is not None:
        span = f"{now.rate_low:.3f} to {now.rate_high:.3f}"
    k.number(sheet, row, 2, now.runs, kit.format("whole"))
    k.number(sheet, row, 3, now.rate, kit.format("rate"))
    k.text(sheet, row, 4, span, kit.format("text"))
    k.text(sheet, row, 5, against(now, before), kit.format("wrap"))
    k.number(sheet, row, 6, now.episodes, kit.format("whole"))
    k.number(sheet, row, 7, now.days_over, kit.format("whole"))
    k.number(sheet, row, 8, now.by_flush, kit.format("share"))
    k.number(sheet, row, 9, now.by_cleaning, kit.format("share"))
    k.number(sheet, row, 10, now.clean_level, kit.format("metres"))
    k.number(sheet, row, 11, now.energy_kwh, kit.format("whole"))
    k.number(sheet, row, 12, now.energy_cost, kit.format("metres"))


def _chart(
    kit: k.Kit, sheet: Any, row: int, first: int, ordered: Sequence[Year], count: int
) -> None:
    """The fouling rates, a cluster of columns for every station."""
    chart = kit.workbook.add_chart({"type": "column"})
    fills = (look.BAR_FILL, look.DROP_LINE, look.CLEAN_LINE, look.LIMIT_LINE)
    for i, year in enumerate(ordered):
        top = first + i * count
        chart.add_series({
            "name": k.one_line(year.label),
            "categories": [NAME, top, 0, top + count - 1, 0],
            "values": [NAME, top, 3, top + count - 1, 3],
            "fill": {"color": fills[i % len(fills)]},
            "gap": 60,
        })  # fmt: skip
    font = {"name": look.FONT, "size": 9}
    title = {"name": "Median fouling rate (m/day)", "name_font": {**font, "size": 11}}
    chart.set_title({**title, "overlay": False})
    chart.set_legend({"position": "bottom", "font": font})
    chart.set_x_axis({"num_font": font})
    grid = {"visible": True, "line": {"color": look.RULE}}
    chart.set_y_axis({"num_font": font, "num_format": "0.00", "min": 0, "major_gridlines": grid})
    chart.set_size({"width": 1080, "height": 330})
    sheet.insert_chart(row, 0, chart, {"object_position": 1})
