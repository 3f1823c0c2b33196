"""The sheet Seasons: the same stations over the seasons, side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from statistics import median
from typing import Any, NamedTuple

from siltbook import __version__
from siltbook.batch.archive.season import StationSeason, left_open, station_seasons
from siltbook.batch.graft import graft
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look
from siltbook.templates.names import name_key
from siltbook.templates.shown import IN_METRES, Shown

NAME = "Seasons"
LEAST_RUNS = 4  # believable runs in each of two seasons, under which their rates are not compared
_FARM_HEAD = 3
_NOTE = (
    "Fouling rate: median of the season's believable runs, in {unit} of drop a day, with the span "
    "in which that median lies in at least 8 cases of 10; silent under "
    f"{LEAST_RUNS} runs. A rate counts as changed only where the spans of two seasons do not "
    "touch. Given back: median share of the rise over the clean drop. Every season was judged "
    "again by the same version for this sheet."
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
    shown = ordered[-1].book.settings.shown if ordered else IN_METRES
    return tuple(Year(_label(a, shown), a, station_seasons(a)) for a in ordered)


def _label(assessment: Assessment, shown: Shown) -> str:
    as_of = shown.on(assessment.as_of, "no date")
    return assessment.book.settings.season or f"as of {as_of}"


def against(now: StationSeason, before: StationSeason | None) -> str:
    """How a station's fouling rate compares with the season before, in words."""
    if before is None:
        return "no season before"
    if min(now.runs, before.runs) < LEAST_RUNS or not (now.rate and before.rate):
        return f"too few runs ({before.runs} then, {now.runs} now)"
    spans = (before.slowest, before.fastest, now.slowest, now.fastest)
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
    tables.short(kit, sheet, _FARM_HEAD, SEASONS, ordered)
    names = _names(ordered)
    head = _FARM_HEAD + len(ordered) + 2
    chart_rows = 18
    table = head + chart_rows
    first = table + 1
    row = tables.short(kit, sheet, table, STATION_SEASONS, _pairs(ordered, names))
    if names:
        tables.filters(sheet, table, row, STATION_SEASONS)
        _chart(kit, sheet, head, first, ordered, len(names))
    k.page(kit, sheet, header=_FARM_HEAD, widths=STATION_SEASONS.widths)
    sheet.print_area(0, 0, row, STATION_SEASONS.last)


def _heading(kit: k.Kit, sheet: Any, ordered: Sequence[Year]) -> None:
    farm = k.one_line(ordered[-1].assessment.book.settings.farm)
    sheet.write_string(
        0, 0, k.clean(f"Seasons – {farm}" if farm else "Seasons"), kit.format("title")
    )
    sheet.set_row(0, 22)
    books = ", ".join(k.one_line(year.assessment.book.path) for year in ordered)
    made = f"Made by Siltbook {kit.version} from the archives of {books}"
    made += f". {kit.shown.order}" if kit.shown.order else ""
    sheet.write_string(1, 0, k.clean(made), kit.format("mark"))
    unit = "metres" if kit.shown.metres else kit.shown.unit
    said = _NOTE.replace("{unit}", unit)
    k.spread(sheet, 2, SEASONS.last, said, kit.format("line"), SEASONS.width)


def _names(ordered: Sequence[Year]) -> list[str]:
    """Every station of any season, the latest season's first."""
    found: dict[str, str] = {}
    for year in reversed(ordered):
        for name in sorted(s.result.station.name for s in year.stations):
            found.setdefault(name_key(name), name)
    return list(found.values())


def _known(values: Sequence[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _rates(year: Year) -> list[float]:
    return _known([s.rate for s in year.stations])


def _used(year: Year) -> str:
    counts = year.assessment.book.counts.get("Readings")
    return f"{counts.used} of {counts.read}" if counts else ""


def _sum(values: Sequence[float | None]) -> float | None:
    known = _known(values)
    return sum(known) if known else None


def _energy_known(year: Year) -> str:
    known = _known([s.energy_kwh for s in year.stations])
    return f"{len(known)} of {len(year.stations)} stations"


# Both tables share the columns of the page, so their widths are chosen together.
SEASONS: Table[Year] = Table(
    "Seasons",
    (
        Column("season", "Season", Kind.NAME, 18.0, lambda y: y.label),
        Column("as_of", "As of", Kind.DATE, 13.0, lambda y: y.assessment.as_of),
        Column("stations", "Stations", Kind.COUNT, 11.0, lambda y: len(y.stations)),
        Column("rate_m_per_day", "Rate ({unit})", Kind.RATE, 10.0,
               lambda y: median(rates) if (rates := _rates(y)) else None, "m/day", style="rate"),
        Column("used", "Readings used", Kind.TEXT, 16.0, _used),
        Column("known", "Cost of dirt known for", Kind.TEXT, 25.0, _energy_known),
        Column("episodes", "Times over", Kind.COUNT, 9.0,
               lambda y: sum(s.episodes for s in y.stations)),
        Column("days_over", "Days over", Kind.COUNT, 9.0,
               lambda y: sum(s.days_over for s in y.stations)),
        Column("flushes", "Flushes", Kind.COUNT, 10.0,
               lambda y: sum(s.flushes for s in y.stations)),
        Column("cleanings", "Cleanings", Kind.COUNT, 11.0,
               lambda y: sum(s.cleanings for s in y.stations)),
        Column("left_open", "Left open", Kind.COUNT, 11.0,
               lambda y: len(left_open(y.assessment))),
        Column("energy_kwh", "Dirt ({unit})", Kind.ENERGY, 10.0,
               lambda y: _sum([s.energy_kwh for s in y.stations]), "kWh", style="whole"),
        Column("energy_cost", "Dirt (money)", Kind.MONEY, 11.0,
               lambda y: _sum([s.energy_cost for s in y.stations])),
    ),
)  # fmt: skip


class StationYear(NamedTuple):
    """A station in one season, and in the season before; None where no register had it."""

    name: str
    label: str
    now: StationSeason | None
    before: StationSeason | None


def _of(source: Callable[[StationSeason], object]) -> Callable[[StationYear], object]:
    """A figure of the season; nothing where the register had no such station."""
    return lambda pair: None if pair.now is None else source(pair.now)


def _span(now: StationSeason, shown: Shown = IN_METRES) -> str:
    if now.slowest is None or now.fastest is None:
        return ""
    digits = shown.digits.daily
    return f"{shown.number(now.slowest, digits)} to {shown.number(now.fastest, digits)}"


def _against(pair: StationYear) -> str:
    return against(pair.now, pair.before) if pair.now else "not in this season's register"


STATION_SEASONS: Table[StationYear] = Table(
    "Stations of the seasons",
    (
        Column("station", "Station", Kind.NAME, 18.0, lambda p: p.name),
        Column("season", "Season", Kind.TEXT, 13.0, lambda p: p.label),
        Column("runs", "Believable runs", Kind.COUNT, 11.0, _of(lambda s: s.runs)),
        Column("rate_m_per_day", "Rate ({unit})", Kind.RATE, 10.0, _of(lambda s: s.rate),
               "m/day", style="rate"),
        Column("rate_span", "Span of the rate", Kind.TEXT, 16.0, _of(_span),
               said=lambda p, shown: None if p.now is None else _span(p.now, shown)),
        Column("against", "Against the season before", Kind.TEXT, 25.0, _against, style="wrap"),
        Column("episodes", "Times over", Kind.COUNT, 9.0, _of(lambda s: s.episodes)),
        Column("days_over", "Days over", Kind.COUNT, 9.0, _of(lambda s: s.days_over)),
        Column("by_flush", "Flushes gave back", Kind.SHARE, 10.0, _of(lambda s: s.by_flush)),
        Column("by_cleaning", "Cleanings gave back", Kind.SHARE, 11.0,
               _of(lambda s: s.by_cleaning)),
        Column("clean_level_m", "Clean drop now ({unit})", Kind.PRESSURE, 11.0,
               _of(lambda s: s.clean_level), "m"),
        Column("energy_kwh", "Dirt ({unit})", Kind.ENERGY, 10.0, _of(lambda s: s.energy_kwh),
               "kWh", style="whole"),
        Column("energy_cost", "Dirt (money)", Kind.MONEY, 11.0, _of(lambda s: s.energy_cost)),
    ),
)  # fmt: skip


def _pairs(ordered: Sequence[Year], names: Sequence[str]) -> Iterator[StationYear]:
    """One row for every season and station, season by season."""
    before: dict[str, StationSeason] = {}
    for year in ordered:
        now = {name_key(s.result.station.name): s for s in year.stations}
        for name in names:
            key = name_key(name)
            yield StationYear(name, year.label, now.get(key), before.get(key))
        before = now


def _chart(
    kit: k.Kit, sheet: Any, row: int, first: int, ordered: Sequence[Year], count: int
) -> None:
    """The fouling rates, a cluster of columns for every station."""
    chart = kit.workbook.add_chart({"type": "column"})
    at = STATION_SEASONS.places["rate_m_per_day"]
    fills = (look.BAR_FILL, look.DROP_LINE, look.CLEAN_LINE, look.LIMIT_LINE)
    for i, year in enumerate(ordered):
        top = first + i * count
        chart.add_series({
            "name": k.one_line(year.label),
            "categories": [NAME, top, 0, top + count - 1, 0],
            "values": [NAME, top, at, top + count - 1, at],
            "fill": {"color": fills[i % len(fills)]},
            "gap": 60,
        })  # fmt: skip
    font = {"name": look.FONT, "size": 10}
    unit = kit.shown.unit
    title = {"name": f"Median fouling rate ({unit}/day)", "name_font": {**font, "size": 11}}
    chart.set_title({**title, "overlay": False})
    chart.set_legend({"position": "bottom", "font": font})
    chart.set_x_axis({"num_font": font})
    grid = {"visible": True, "line": {"color": look.RULE}}
    digits = kit.shown.cells("weekly")
    chart.set_y_axis({"num_font": font, "num_format": digits, "min": 0, "major_gridlines": grid})
    chart.set_size({"width": 1080, "height": 330})
    unit = "metres of water" if kit.shown.metres else unit
    said = f"Median fouling rate of each station, in {unit} a day, season beside season."
    sheet.insert_chart(row, 0, chart, {"object_position": 1, "description": said})
