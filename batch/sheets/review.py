"""The Station review sheet: one row for every station."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from siltbook.batch.model import FlowFit, Verdict
from siltbook.batch.numbers.effectiveness import Creep, GiveBack
from siltbook.batch.numbers.history import station_gauge
from siltbook.batch.results import StationResult
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import LongTable, Value, line, swatch
from siltbook.templates import look

HEADER = 2
COLUMNS = (
    ("Verdict", 20.0),
    ("Station", 15.0),
    ("Block", 12.0),
    ("Filter type", 9.0),
    ("Latest drop (m)", 8.0),
    ("Limit (m)", 8.0),
    ("Share of limit", 13.0),
    ("Clean drop (m)", 8.0),
    ("Read on", 12.0),
    ("Last flush", 12.0),
    ("Last hand cleaning", 12.0),
    ("Episodes this season", 10.0),
    ("Days over limit", 8.0),
    ("Borderline", 11.0),
    ("Also", 20.0),
    ("Expected at limit", 12.0),
    ("8 in 10 between", 24.0),
    ("Read again by", 12.0),
    ("Dirt so far (kWh)", 9.0),
    ("Dirt so far (money)", 9.0),
    # from here on the second printed page: what the numbers rest on
    ("Flow exponent", 9.0),
    ("Exponent rests on", 32.0),
    ("Flushes give back", 8.0),
    ("Flushes: count, range", 16.0),
    ("Cleanings give back", 9.0),
    ("Cleanings: count, range", 16.0),
    ("Clean drop creeps (m per month)", 10.0),
    ("8 in 10 between, or why not", 22.0),
    ("Smallest excess told (m)", 9.0),
    ("With half the division (m)", 9.0),
    ("With one gauge and selector (m)", 10.0),
    ("Forecast rests on", 34.0),
    ("Worth knowing", 62.0),
)
_STYLES = (
    "name", "name", "wrap", "text", "metres", "metres", "share", "metres", "date", "date",
    "date", "whole", "whole", "text", "wrap", "date", "wrap", "date", "metres", "metres",
    "metres", "wrap", "share", "wrap", "share", "wrap", "metres", "wrap", "metres", "metres",
    "metres", "wrap", "wrap",
)  # fmt: skip
SHARE = 6
EVIDENCE = 20  # first column of the second printed page
DAYS_PER_MONTH = 30.0
_SAYS = (
    "Give back: share of the rise over the clean drop that the work undid (median). Creep: of the"
    " drop read after cleanings. Smallest excess: over the limit, told with 95 % confidence."
)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Station review sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Station review", apart=2)
    sheet.write_string(0, EVIDENCE + 1, "What the numbers rest on", kit.format("title"))
    sheet.write_string(1, EVIDENCE + 1, _SAYS, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    results = kit.assessment.stations
    shown = [v for v in Verdict if any(result.verdict is v for result in results)]
    last = HEADER + len(results)
    if results:
        formats = (*_STYLES, *(f"verdict:{verdict}" for verdict in shown))
        swatch(sheet, HEADER + 1, map(kit.format, formats))
        sheet.autofilter(HEADER, 0, last, len(COLUMNS) - 1)
        sheet.conditional_format(HEADER + 1, SHARE, last, SHARE, _bar())
    else:
        k.text(sheet, HEADER + 1, 0, "No station in this book.", kit.format("mark"))
    k.page(kit, sheet, header=HEADER)
    # Two pages wide, each with the verdict and the station: one would be too small to read.
    sheet.fit_to_pages(2, 0)
    sheet.repeat_columns(0, 1)
    sheet.freeze_panes(HEADER + 1, 2)
    sheet.print_area(0, 0, max(last, HEADER + 1), len(COLUMNS) - 1)
    date1904 = kit.assessment.book.date1904
    rows = partial(_rows, results, shown, date1904=date1904)
    return [LongTable(HEADER + 2, len(results), rows)] if results else []


def _bar() -> dict[str, object]:
    """A bar from nothing to the limit; a drop over the limit fills the cell."""
    return {
        "type": "data_bar",
        "bar_color": look.BAR_FILL,
        "bar_solid": True,
        "min_type": "num",
        "min_value": 0,
        "max_type": "num",
        "max_value": 1,
    }


def _rows(
    results: tuple[StationResult, ...], shown: list[Verdict], styles: list[str], *, date1904: bool
) -> Iterator[str]:
    """A row for every station; `styles` of the columns, then of the verdicts that are `shown`."""
    coloured = dict(zip(shown, styles[len(_STYLES) :], strict=True))
    day = partial(k.date_value, date1904=date1904)
    for n, result in enumerate(results, HEADER + 2):
        values = [*_now(result, n, day), *_ahead(result, day), *_evidence(result)]
        most = max(
            k.lines(value, column[1])
            for value, column, style in zip(values, COLUMNS, _STYLES, strict=True)
            if style in ("wrap", "name") and isinstance(value, str)
        )
        own = [coloured[result.verdict], *styles[1:]]
        yield line(n, own, values, k.row_height(most))


Day = Callable[[dt.date | None], float | str | None]


def _now(result: StationResult, n: int, day: Day) -> list[Value]:
    """What was found: verdict, station, drop against limit, work, episodes."""
    station, latest, judgement = result.station, result.latest, result.judgement
    drop = latest.drop if latest else None
    share: Value = None
    if drop is not None and drop == drop and station.limit > 0:
        share = (f"E{n}/F{n}", drop / station.limit)
    return [
        look.VERDICTS[result.verdict].label,
        k.one_line(station.name),
        k.one_line(station.block),
        station.filter_type,
        drop,
        station.limit,
        share,
        station.clean_drop,
        day(latest.date if latest else None),
        day(result.last_flush),
        day(result.last_cleaning),
        float(len(judgement.episodes)),
        result.days_over,
        "borderline" if judgement.borderline else "",
        ", ".join(look.VERDICTS[v].shown for v in judgement.also),
    ]


def _ahead(result: StationResult, day: Day) -> list[Value]:
    """Forecast, next reading and cost; where the first is silent, its cell says why."""
    if result.outlook is None:
        return [None] * 5
    expected, cost = result.outlook.forecast, result.outlook.cost
    between = expected.silent
    if expected.low is not None:
        between = f"{expected.low} and {expected.high or 'later than can be told'}"
    due = day(result.judgement.read_by)
    return [day(expected.date), k.clean(between), due, cost.energy_kwh, cost.energy_cost]


def exponent_text(fit: FlowFit) -> str:
    """What a station's exponent rests on: why 2 was kept, or the readings that fixed it."""
    span = "" if fit.low is None or fit.high is None else f"{fit.low:.2f} to {fit.high:.2f}"
    flows = ""
    if fit.flow_low is not None and fit.flow_high is not None:
        flows = f" at {fit.flow_low:.1f} to {fit.flow_high:.1f} m³/h"
    if not fit.why_default:
        return f"8 in 10: {span}; {fit.readings} clean readings{flows}"
    found = f" ({fit.estimate:.2f}, 8 in 10: {span})" if fit.estimate is not None else ""
    return f"2 kept: {fit.why_default}{found}"


def shares_text(shares: GiveBack) -> str:
    """How many works the median rests on, with the lowest and highest share; or why none."""
    if shares.low is None or shares.high is None:
        return shares.silent
    low, high = 100.0 * shares.low, 100.0 * shares.high
    return f"{shares.count}: {low:.0f} %" + (f" to {high:.0f} %" if shares.count > 1 else "")


def creep_text(creep: Creep) -> str:
    """The creep's 80 % interval [m per month], or why there is no creep."""
    if creep.low is None or creep.high is None:
        return creep.silent
    low, high = creep.low * DAYS_PER_MONTH, creep.high * DAYS_PER_MONTH
    return f"{low:.2f} and {high:.2f}; {creep.levels} cleanings"


def _evidence(result: StationResult) -> list[Value]:
    """The second page's columns."""
    fit, fitness = result.history.flow_fit, station_gauge(result.station)
    worth = result.outlook.worth if result.outlook else None
    shown: list[Value] = [None] * 6
    notes = ""
    if worth is not None:
        creep = worth.creep
        per_month = None if creep.m_per_day is None else creep.m_per_day * DAYS_PER_MONTH
        shown = [
            worth.flush.median,
            k.clean(shares_text(worth.flush)),
            worth.cleaning.median,
            k.clean(shares_text(worth.cleaning)),
            per_month,
            k.clean(creep_text(creep)),
        ]
        notes = "\n".join(k.one_line(note) for note in worth.notes)
    told = (fitness.now, fitness.finer, fitness.selector)
    basis = k.clean(result.outlook.forecast.basis) if result.outlook else ""
    return [fit.n, k.clean(exponent_text(fit)), *shown, *told, basis, notes]
