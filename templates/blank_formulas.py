"""The calculated columns of the blank workbook: their formulas, and the same sums in Python.

A spreadsheet program recalculates the formulas while a person types; the Python side gives
each pre-filled formula its stored value, so that viewers that do not recalculate are right too.
Formulas name cells and not a table's columns, and hold no array but as a SUMPRODUCT's own: so
every program calculates them that opens a workbook. A number with an exponent stands in none.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from functools import cache

from siltbook.templates import contract
from siltbook.templates.book import column_letters
from siltbook.templates.own_unit import DROP_NOW
from siltbook.templates.shown import METRE
from siltbook.templates.units import metres_per, pressure_spellings

Row = Mapping[str, object]

NOISE = 1e-6  # [m] a drop is over only beyond arithmetic noise
UNKNOWN = "?"
OVER = "OVER"
IN_RANGE = "in range"
# Lookups reach this far down, so that stations typed below the table are found as well.
REACH = 5000
GAUGES_REACH = 200  # changed gauges are few, and each reading looks at all of them
TABLES = {
    "Stations": "StationsTable",
    "Readings": "ReadingsTable",
    "Work done": "WorkTable",
    "Agreed": "AgreedTable",
    "Water tests": "WaterTable",
    "Gauges": "GaugesTable",
    "Carried over": "CarriedTable",
}
UNITS_SHEET = "Units"
_ROW = "{row}"  # stands in a formula for its own row


def farm_cell(key: str) -> str:
    """Absolute address of one Farm setting's value, for example Farm!$B$4."""
    keys = [column.key for column in contract.FARM.columns]
    return f"Farm!$B${keys.index(key) + 2}"


def unit_rows() -> list[tuple[str, float]]:
    """Every accepted spelling of a pressure unit with its metres of water [m]."""
    return [(spelling, metres_per(unit)) for spelling, unit in pressure_spellings()]


@cache
def _factors() -> dict[str, float]:
    return dict(unit_rows())


def unit_factor(unit: str) -> str:
    """Formula text: metres of water in one of the unit that the expression `unit` names."""
    last = len(unit_rows()) + 1
    names, factors = (f"{UNITS_SHEET}!${c}$1:${c}${last}" for c in "AB")
    return f"INDEX({factors},MATCH(TRIM({unit}),{names},0))"


def _this(sheet: str, header: str) -> str:
    """Formula text: the cell under a header in the formula's own row."""
    lists = {one.name: one for one in contract.LISTS}
    return f"${_letters(lists[sheet], header)}{_ROW}"


def at_row(formula: str, row: int) -> str:
    """A calculated column's formula as it stands in a row of the sheet (1-based)."""
    return formula.replace(_ROW, str(row))


def _letters(sheet: contract.Sheet, header: str) -> str:
    return column_letters([*(c.header for c in sheet.columns), *sheet.computed].index(header))


def _station_column(header: str) -> str:
    """A column of the sheet Stations from its header down; the header keeps the range whole
    when the first station is deleted."""
    letters = _letters(contract.STATIONS, header)
    return f"Stations!${letters}$1:${letters}${REACH}"


def _of_station(header: str) -> str:
    """Formula text: the reading's station's value in one column of the sheet Stations."""
    return f"INDEX({_station_column(header)},{_match(_this('Readings', 'Station'))})"


def _match(station: str) -> str:
    """Formula text: the place of a station's name in the register, an error where it has none."""
    name = f"TRIM({station})"
    # MATCH takes ~ * ? for wildcards; a station's name means itself.
    for sign in "~*?":
        name = f'SUBSTITUTE({name},"{sign}","~{sign}")'
    return f"MATCH({name},{_station_column('Station')},0)"


def _metres_per_unit() -> str:
    station, unit = _this("Stations", "Station"), _this("Stations", "Pressure unit")
    farm = farm_cell("pressure_unit")
    used = f'IF(TRIM({unit})<>"",{unit},IF(TRIM({farm})<>"",{farm},"bar"))'
    return f'=IFERROR(IF(TRIM({station})="","",{unit_factor(used)}),"?")'


def _limit_used(unit: str) -> str:
    """The limit in `unit`, in which the station's own stands; the farm's has a unit beside it."""
    station, own = _this("Stations", "Station"), _this("Stations", "Drop limit (m)")
    if unit == METRE:
        used = _limit_or(
            own, contract.STATIONS, _limit_or(farm_cell("drop_limit"), contract.FARM, "5")
        )
    else:
        per, cell = repr(metres_per(unit)), farm_cell("drop_limit")
        beside = cell.replace("$B$", "$C$")
        metres = f'{cell}*IF(TRIM({beside})="",1,{unit_factor(beside)})'
        farm = _limit_or(cell, contract.FARM, "5", metres)
        used = _limit_or(own, contract.STATIONS, f"({farm})/{per}", f"{own}*{per}", own)
    return f'=IFERROR(IF(TRIM({station})="","",{used}),"?")'


def _limit_or(
    cell: str, sheet: contract.Sheet, instead: str, metres: str = "", shown: str = ""
) -> str:
    """A cell's limit where it can be one, `instead` of a number beyond its bounds or of nothing.

    `metres` is the limit [m] where the cell is in another unit, `shown` what is then given.
    """
    column, metres = sheet.column("drop_limit"), metres or cell
    within = f"AND({metres}>={column.low:g},{metres}<={column.high:g})"
    possible = f"IF({within},{shown or metres},{instead})"
    return f'IF(ISNUMBER({cell}),{possible},IF(TRIM({cell})<>"","?",{instead}))'


def _gauge_factor() -> str:
    """Metres of water in one of a changed gauge's unit; empty where the unit stays as before."""
    station, since, unit = (_this("Gauges", h) for h in ("Station", "From", "Pressure unit"))
    known = f"AND(ISNUMBER({since}),ISNUMBER({_match(station)}))"
    told = f'IF(TRIM({unit})="","",IF({known},{unit_factor(unit)},"?"))'
    return f'=IFERROR(IF(TRIM({station})="","",{told}),"?")'


def _gauges_column(header: str) -> str:
    letters = _letters(contract.CHANGED_GAUGES, header)
    return f"Gauges!${letters}$2:${letters}${GAUGES_REACH}"


def _factor_on_its_day() -> str:
    """Formula text: the factor of a reading's unit, the register's or a changed gauge's.

    A change that cannot be placed makes every reading '?': it may be about any of them.
    """
    names, days, factors = map(_gauges_column, ("Station", "From", "Metres per unit"))
    date, register = _this("Readings", "Date"), _of_station("Metres per unit")
    own = f"(TRIM({names})=TRIM({_this('Readings', 'Station')}))*ISNUMBER({factors})"
    since = f"SUMPRODUCT(MAX({own}*({days}<={date})*{days}))"
    here = f"{own}*({days}={since})"
    changed = f'IF(SUMPRODUCT({here})=1,SUMPRODUCT({here},{factors}),"?")'
    dated = f'IF(ISNUMBER({date}),IF({since}=0,{register},{changed}),"?")'
    placed = f"IF(SUMPRODUCT({own})=0,{register},{dated})"
    apart = f'IF(SUMPRODUCT(--({factors}="?"))>0,"?",{placed})'
    return f"IF(COUNTA({names})=0,{register},{apart})"


def _drop(unit: str) -> str:
    inlet, outlet = _this("Readings", "Inlet pressure"), _this("Readings", "Outlet pressure")
    station = _this("Readings", "Station")
    both = f"AND(ISNUMBER({inlet}),ISNUMBER({outlet}))"
    alone = _this("Readings", "Drop")
    words = ",".join(f'AND(NOT(ISNUMBER({c})),TRIM({c})<>"")' for c in (inlet, outlet, alone))
    # The drop as read counts only where neither pressure is typed.
    neither = f'AND(TRIM({inlet})="",TRIM({outlet})="",ISNUMBER({alone}))'
    typed = f"IF({both},{inlet}-{outlet},{alone})*{_factor_on_its_day()}{_per(unit)}"
    told = f'IF(TRIM({station})="","?",{typed})'
    return f'=IFERROR(IF(OR({both},{neither}),{told},IF(OR({words}),"?","")),"?")'


def _per(unit: str) -> str:
    """Formula text that turns metres into `unit`; nothing for metres."""
    return "" if unit == METRE else f"/{metres_per(unit)!r}"


def _against_limit(unit: str) -> str:
    drop = _this("Readings", "Drop (m)")
    limit = _of_station("Limit used (m)")
    noise = f"0.000001{_per(unit)}"
    answer = f'IF({drop}<-{noise},"?",IF({drop}>{noise}+{limit},"OVER","in range"))'
    return f'=IFERROR(IF(ISNUMBER({drop}),{answer},IF({drop}="","","?")),"?")'


def formulas(sheet: str, unit: str = METRE) -> dict[str, str]:
    """Calculated columns of one list sheet: header -> formula, in their order on the sheet.

    The row that a formula stands in is left open: `at_row` fills it in. `unit` is that of limits
    and drops.
    """
    if sheet == "Stations":
        return {"Metres per unit": _metres_per_unit(), f"Limit used ({unit})": _limit_used(unit)}
    if sheet == "Readings":
        drop = "Drop (m)" if unit == METRE else f"{DROP_NOW} ({unit})"
        return {drop: _drop(unit), "Against limit": _against_limit(unit)}
    if sheet == "Gauges":
        return {"Metres per unit": _gauge_factor()}
    return {}


def _squeezed(value: object) -> str:
    """What TRIM gives: no outer spaces, single inner ones; '' for an empty cell."""
    return " ".join(part for part in str("" if value is None else value).split(" ") if part)


def _number(value: object) -> float | None:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    return None


def _factor_value(row: Row, settings: Row) -> float | str:
    unit = _squeezed(row.get("unit")) or _squeezed(settings.get("pressure_unit")) or "bar"
    return _factors().get(unit.casefold(), UNKNOWN)


def _limit_value(row: Row, settings: Row, per: float) -> float | str:
    for sheet, typed in ((contract.STATIONS, row), (contract.FARM, settings)):
        value = typed.get("drop_limit")
        number = _number(value)
        if number is not None and sheet.column("drop_limit").allows(number * per):
            return number
        if number is None and _squeezed(value):
            return UNKNOWN
    return 5.0 / per


def station_values(
    rows: Sequence[Row], settings: Row, unit: str = METRE
) -> list[tuple[float | str, float | str]]:
    """Stored values of 'Metres per unit' [m] and the limit used [`unit`], one pair per row."""
    per = metres_per(unit)
    return [
        (_factor_value(row, settings), _limit_value(row, settings, per))
        if _squeezed(row.get("station"))
        else ("", "")
        for row in rows
    ]


def _drop_value(row: Row, factor: float | str | None) -> float | str:
    inlet, outlet = _number(row.get("inlet")), _number(row.get("outlet"))
    alone = _number(row.get("drop"))
    if inlet is None or outlet is None:
        pairs = ((inlet, row.get("inlet")), (outlet, row.get("outlet")), (alone, row.get("drop")))
        if _squeezed(row.get("inlet")) or _squeezed(row.get("outlet")) or alone is None:
            return UNKNOWN if any(n is None and _squeezed(v) for n, v in pairs) else ""
    if factor is None or isinstance(factor, str):
        return UNKNOWN
    drop = alone if inlet is None or outlet is None else inlet - outlet
    return UNKNOWN if drop is None else drop * factor


def _verdict(drop: float | str, limit: float | str | None, noise: float) -> str:
    if isinstance(drop, str):
        return drop
    if drop < -noise or limit is None or isinstance(limit, str):
        return UNKNOWN
    return OVER if drop > limit + noise else IN_RANGE


def gauge_values(rows: Sequence[Row], stations: Sequence[Row]) -> list[tuple[float | str]]:
    """Stored values of 'Metres per unit' [m] on *Gauges*, one per row."""
    known = {_squeezed(row.get("station")).casefold() for row in stations}
    values: list[tuple[float | str]] = []
    for row in rows:
        name, unit = _squeezed(row.get("station")).casefold(), _squeezed(row.get("unit"))
        placed = name in known and isinstance(row.get("since"), dt.date)
        told = _factors().get(unit.casefold(), UNKNOWN) if placed else UNKNOWN
        values.append((told if name and unit else "",))
    return values


Changes = Mapping[str, Sequence[tuple[dt.date, float | str]]]


def _changes(gauges: Sequence[Row], stations: Sequence[Row]) -> Changes | None:
    """Station -> day and factor [m] of each changed unit; None where one cannot be placed."""
    found: dict[str, list[tuple[dt.date, float | str]]] = {}
    for gauge, (factor,) in zip(gauges, gauge_values(gauges, stations), strict=True):
        if factor == UNKNOWN:
            return None
        if factor != "" and isinstance(since := gauge["since"], dt.date):
            found.setdefault(_squeezed(gauge["station"]).casefold(), []).append((since, factor))
    return found


def _changed_factor(row: Row, changes: Changes | None) -> float | str | None:
    """The factor [m] of the gauge that a reading was taken on, None where it is the register's."""
    if changes is None:
        return UNKNOWN
    own, date = changes.get(_squeezed(row.get("station")).casefold(), ()), row.get("date")
    if own and not isinstance(date, dt.date):
        return UNKNOWN
    past = [(since, factor) for since, factor in own if since <= date]  # type: ignore[operator]
    last = [factor for since, factor in past if since == max(past)[0]]
    return (last[0] if len(last) == 1 else UNKNOWN) if past else None


def reading_values(
    rows: Sequence[Row],
    stations: Sequence[Row],
    settings: Row,
    gauges: Sequence[Row] = (),
    unit: str = METRE,
) -> list[tuple[float | str, str]]:
    """Stored values of the drop [`unit`] and 'Against limit', one pair per row.

    The first of two stations with the same name counts, as in the formula's lookup.
    """
    register: dict[str, tuple[float | str, float | str]] = {}
    for row, pair in zip(stations, station_values(stations, settings, unit), strict=True):
        if isinstance(row.get("station"), str):
            register.setdefault(str(row["station"]).casefold(), pair)
    values, per = [], metres_per(unit)
    changes = _changes(gauges, stations)
    for row in rows:
        factor, limit = register.get(_squeezed(row.get("station")).casefold(), (None, None))
        if factor is not None and (changed := _changed_factor(row, changes)) is not None:
            factor = changed
        drop = _drop_value(row, factor)
        drop = drop if isinstance(drop, str) else drop / per
        values.append((drop, _verdict(drop, limit, NOISE / per)))
    return values
