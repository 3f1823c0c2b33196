"""The calculated columns of the blank workbook: their formulas, and the same sums in Python.

A spreadsheet program recalculates the formulas while a person types; the Python side gives
each pre-filled formula its stored value, so that viewers that do not recalculate are right too.
Formulas name cells and not a table's columns, and hold no array but as a SUMPRODUCT's own: so
every program calculates them that opens a workbook. A number with an exponent stands in none.
"""

from __future__ import annotations

from collections.abc import Sequence

from siltbook.templates import contract
from siltbook.templates.blank_gauges import factor_on_its_day, gauge_factor, laid_out
from siltbook.templates.blank_lookups import (
    UNKNOWN,
    Row,
    factors,
    of_station,
    squeezed,
    this,
    unit_factor,
)
from siltbook.templates.own_unit import DROP_NOW
from siltbook.templates.shown import METRE
from siltbook.templates.units import metres_per

NOISE = 1e-6  # [m] a drop is over only beyond arithmetic noise
OVER = "OVER"
IN_RANGE = "in range"
TABLES = {
    "Stations": "StationsTable",
    "Readings": "ReadingsTable",
    "Work done": "WorkTable",
    "Agreed": "AgreedTable",
    "Water tests": "WaterTable",
    "Gauges": "GaugesTable",
    "Carried over": "CarriedTable",
}


def farm_cell(key: str) -> str:
    """Absolute address of one Farm setting's value, for example Farm!$B$4."""
    keys = [column.key for column in contract.FARM.columns]
    return f"Farm!$B${keys.index(key) + 2}"


def _metres_per_unit() -> str:
    station, unit = this("Stations", "Station"), this("Stations", "Pressure unit")
    farm = farm_cell("pressure_unit")
    used = f'IF(TRIM({unit})<>"",{unit},IF(TRIM({farm})<>"",{farm},"bar"))'
    return f'=IFERROR(IF(TRIM({station})="","",{unit_factor(used)}),"?")'


def _limit_used(unit: str) -> str:
    """The limit in `unit`, in which the station's own stands; the farm's has a unit beside it."""
    station, own = this("Stations", "Station"), this("Stations", "Drop limit (m)")
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


def _drop(unit: str) -> str:
    inlet, outlet, alone, station = (
        this("Readings", header)
        for header in ("Inlet pressure", "Outlet pressure", "Drop", "Station")
    )
    both = f"COUNT({inlet},{outlet})=2"
    # The drop as read counts only where neither pressure is typed.
    neither = f'AND(TRIM({inlet}&{outlet})="",ISNUMBER({alone}))'
    typed = f"IF({both},{inlet}-{outlet},{alone})*{factor_on_its_day()}{_per(unit)}"
    told = f'IF(TRIM({station})="","?",{typed})'
    filled = "+".join(f'(TRIM({cell})<>"")' for cell in (inlet, outlet, alone))
    words = f"{filled}>COUNT({inlet},{outlet},{alone})"
    return f'=IFERROR(IF(OR({both},{neither}),{told},IF({words},"?","")),"?")'


def _per(unit: str) -> str:
    """Formula text that turns metres into `unit`; nothing for metres."""
    return "" if unit == METRE else f"/{metres_per(unit)!r}"


def _against_limit(unit: str) -> str:
    drop = this("Readings", "Drop (m)")
    limit = of_station("Limit used (m)")
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
        return {"Metres per unit": gauge_factor()}
    return {}


def _number(value: object) -> float | None:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    return None


def _factor_value(row: Row, settings: Row) -> float | str:
    unit = squeezed(row.get("unit")) or squeezed(settings.get("pressure_unit")) or "bar"
    return factors().get(unit.casefold(), UNKNOWN)


def _limit_value(row: Row, settings: Row, per: float) -> float | str:
    for sheet, typed in ((contract.STATIONS, row), (contract.FARM, settings)):
        value = typed.get("drop_limit")
        number = _number(value)
        if number is not None and sheet.column("drop_limit").allows(number * per):
            return number
        if number is None and squeezed(value):
            return UNKNOWN
    return 5.0 / per


def station_values(
    rows: Sequence[Row], settings: Row, unit: str = METRE
) -> list[tuple[float | str, float | str]]:
    """Stored values of 'Metres per unit' [m] and the limit used [`unit`], one pair per row."""
    per = metres_per(unit)
    return [
        (_factor_value(row, settings), _limit_value(row, settings, per))
        if squeezed(row.get("station"))
        else ("", "")
        for row in rows
    ]


def _drop_value(row: Row, factor: float | str | None) -> float | str:
    inlet, outlet = _number(row.get("inlet")), _number(row.get("outlet"))
    alone = _number(row.get("drop"))
    if inlet is None or outlet is None:
        pairs = ((inlet, row.get("inlet")), (outlet, row.get("outlet")), (alone, row.get("drop")))
        if squeezed(row.get("inlet")) or squeezed(row.get("outlet")) or alone is None:
            return UNKNOWN if any(n is None and squeezed(v) for n, v in pairs) else ""
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
    changed = laid_out(gauges, stations)
    for row in rows:
        factor, limit = register.get(squeezed(row.get("station")).casefold(), (None, None))
        if factor is not None and (told := changed.factor(row)) is not None:
            factor = told
        drop = _drop_value(row, factor)
        drop = drop if isinstance(drop, str) else drop / per
        values.append((drop, _verdict(drop, limit, NOISE / per)))
    return values
