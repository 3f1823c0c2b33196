"""The Station review sheet: one row for every station."""

from __future__ import annotations

from typing import Any

from batch.model import FlowFit
from batch.numbers.history import station_gauge
from batch.numbers.worth import Creep, GiveBack
from batch.results import StationResult
from batch.sheets import kit as k
from templates import look

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
    ("Worth knowing", 62.0),
)
SHARE = 6
EVIDENCE = 20  # first column of the second printed page
DAYS_PER_MONTH = 30.0
_SAYS = (
    "Give back: share of the rise over the clean drop that the work undid (median). Creep: of the"
    " drop read after cleanings. Smallest excess: over the limit, told with 95 % confidence."
)


def write(kit: k.Kit, sheet: Any) -> None:
    """Write the Station review sheet."""
    k.heading(kit, sheet, "Station review")
    sheet.write_string(0, EVIDENCE + 1, "What the numbers rest on", kit.format("title"))
    sheet.write_string(1, EVIDENCE + 1, _SAYS, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    results = kit.assessment.stations
    for row, result in enumerate(results, HEADER + 1):
        _station(kit, sheet, row, result)
    last = HEADER + len(results)
    if results:
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


def _station(kit: k.Kit, sheet: Any, row: int, result: StationResult) -> None:
    station, latest = result.station, result.latest
    drop = latest.drop if latest else None
    also = ", ".join(look.VERDICTS[v].shown for v in result.judgement.also)
    label, name, block = (
        look.VERDICTS[result.verdict].label,
        k.one_line(station.name),
        k.one_line(station.block),
    )
    k.text(sheet, row, 0, label, kit.format(f"verdict:{result.verdict}"))
    k.text(sheet, row, 1, name, kit.format("name"))
    k.text(sheet, row, 2, block, kit.format("wrap"))
    k.text(sheet, row, 3, station.filter_type, kit.format("text"))
    metres = kit.format("metres")
    k.number(sheet, row, 4, drop, metres)
    k.number(sheet, row, 5, station.limit, metres)
    _share(kit, sheet, row, drop, station.limit)
    k.number(sheet, row, 7, station.clean_drop, metres)
    days = (latest.date if latest else None, result.last_flush, result.last_cleaning)
    for col, day in enumerate(days, 8):
        k.date(kit, sheet, row, col, day, kit.format("date"))
    whole = kit.format("whole")
    k.number(sheet, row, 11, float(len(result.judgement.episodes)), whole)
    k.number(sheet, row, 12, result.days_over, whole)
    k.text(sheet, row, 13, "borderline" if result.judgement.borderline else "", kit.format("text"))
    k.text(sheet, row, 14, also, kit.format("wrap"))
    between = _ahead(kit, sheet, row, result)
    evidence = _evidence(kit, sheet, row, result)
    wrapped = ((0, label), (1, name), (2, block), (14, also), (16, between), *evidence)
    most = max(k.lines(value, COLUMNS[col][1]) for col, value in wrapped)
    sheet.set_row(row, min(409.0, most * k.LINE_POINTS + 4))


def _ahead(kit: k.Kit, sheet: Any, row: int, result: StationResult) -> str:
    """Forecast, next reading and cost; where the first is silent, its cell says why.

    Returns the text of the span, which may wrap.
    """
    if result.outlook is None:
        return ""
    expected, cost = result.outlook.forecast, result.outlook.cost
    between = expected.silent
    if expected.low is not None:
        between = f"{expected.low} and {expected.high or 'later than can be told'}"
    k.date(kit, sheet, row, 15, expected.date, kit.format("date"))
    k.text(sheet, row, 16, between, kit.format("wrap"))
    k.date(kit, sheet, row, 17, result.judgement.read_by, kit.format("date"))
    k.number(sheet, row, 18, cost.energy_kwh, kit.format("metres"))
    k.number(sheet, row, 19, cost.energy_cost, kit.format("metres"))
    return between


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


def _evidence(kit: k.Kit, sheet: Any, row: int, result: StationResult) -> list[tuple[int, str]]:
    """The second page's columns; returns those that may wrap, with their text."""
    fit, fitness = result.history.flow_fit, station_gauge(result.station)
    metres, wrap = kit.format("metres"), kit.format("wrap")
    texts = [(EVIDENCE + 1, exponent_text(fit))]
    k.number(sheet, row, EVIDENCE, fit.n, metres)
    worth = result.outlook.worth if result.outlook else None
    if worth is not None:
        creep = worth.creep
        per_month = None if creep.m_per_day is None else creep.m_per_day * DAYS_PER_MONTH
        k.number(sheet, row, EVIDENCE + 2, worth.flush.median, kit.format("share"))
        k.number(sheet, row, EVIDENCE + 4, worth.cleaning.median, kit.format("share"))
        k.number(sheet, row, EVIDENCE + 6, per_month, metres)
        texts += [
            (EVIDENCE + 3, shares_text(worth.flush)),
            (EVIDENCE + 5, shares_text(worth.cleaning)),
            (EVIDENCE + 7, creep_text(creep)),
            (EVIDENCE + 11, "\n".join(k.one_line(note) for note in worth.notes)),
        ]
    for col, excess in enumerate((fitness.now, fitness.finer, fitness.selector), EVIDENCE + 8):
        k.number(sheet, row, col, excess, metres)
    for col, said in texts:
        k.text(sheet, row, col, said, wrap)
    return texts


def _share(kit: k.Kit, sheet: Any, row: int, drop: float | None, limit: float) -> None:
    if drop is None or drop != drop or not limit > 0:
        sheet.write_blank(row, SHARE, None, kit.format("share"))
        return
    formula = f"=E{row + 1}/F{row + 1}"
    sheet.write_formula(row, SHARE, formula, kit.format("share"), drop / limit)
