"""Data validation of the blank workbook: lists, input messages, warnings that never block.

People must always be able to write down what they saw; the program asks questions later.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from siltbook.templates import contract
from siltbook.templates.blank_lookups import REACH, UNITS_SHEET, unit_factor
from siltbook.templates.contract import Column, Kind
from siltbook.templates.shown import METRE
from siltbook.templates.units import metres_per

Options = dict[str, object]

# Where the hidden sheet counts the rows of the register, for the station drop-down. Its last filled
# row is found by a plain formula for each row: an array formula gave 1 in some programs. A ROW()
# that names no cell stands a deleted or inserted row of the register.
STATION_COUNT = f"{UNITS_SHEET}!$E$2"
REGISTER = 500  # rows that are looked at one by one
_OFFERED = REACH - 1  # where the register is longer: all that are looked up, empty rows behind
_MANY = REGISTER - 100  # before the rows looked at end, as inserted ones push others out
_REGISTER_CELL = f"INDEX(Stations!$A$1:$A${REGISTER + 1},ROW())"
REGISTER_FORMULA = f'=IFERROR(IF({_REGISTER_CELL}<>"",ROW()-1,0),0)'
STATION_COUNT_FORMULA = (
    f"=IF(COUNTA(Stations!$A${_MANY + 2}:$A${REACH})>0,{_OFFERED},"
    f"MAX(1,{UNITS_SHEET}!$D$2:$D${REGISTER + 1}))"
)
_STATION_LIST = f"=OFFSET(Stations!$A$1,1,0,{STATION_COUNT},1)"


def station_count(named: Collection[int]) -> int:
    """What the hidden sheet counts where these rows of the register (from 1) hold a name."""
    last = max([1, *named])
    return _OFFERED if last > _MANY else last


def _range_words(column: Column, low: float | None, high: float | None) -> str:
    if column.positive:
        return "a number above 0"
    if low is not None and high is not None:
        return f"a number from {low:g} to {high:g}"
    return f"a number of {low:g} or more" if low is not None else "a number"


def _number_check(column: Column) -> Options:
    # Pressures and flows stand in people's units, where only a bound of zero means the same.
    canonical = column.kind in (Kind.METRES, Kind.NUMBER)
    low = column.low if canonical or column.low == 0 else None
    high = column.high if canonical else None
    options: Options = {"validate": "decimal", "error_title": "Is this right?"}
    if column.positive:
        options |= {"criteria": ">", "value": 0}
    elif low is not None and high is not None:
        options |= {"criteria": "between", "minimum": low, "maximum": high}
    else:
        options |= {"criteria": ">=", "value": low if low is not None else -1e9}
    options["error_message"] = f"{column.header}: expected {_range_words(column, low, high)}."
    return options


def _date_check(column: Column) -> Options:
    return {
        "validate": "date",
        "criteria": "between",
        "minimum": dt.date(2000, 1, 1),
        "maximum": dt.date(2099, 12, 31),
        "error_title": "Is this a date?",
        "error_message": f"{column.header}: expected a date, for example 2026-05-31.",
    }


def _time_check(column: Column) -> Options:
    return {
        "validate": "time",
        "criteria": "between",
        "minimum": dt.time(0, 0),
        "maximum": dt.time(23, 59, 59),
        "error_title": "Is this a time?",
        "error_message": f"{column.header}: expected a time of day, for example 07:30.",
    }


def _choice_check(column: Column) -> Options:
    return {
        "validate": "list",
        "source": list(column.choices),
        "error_title": "Not one of the choices",
        "error_message": f"{column.header}: expected one of {', '.join(column.choices)}.",
    }


def _station_check() -> Options:
    return {
        "validate": "list",
        "source": _STATION_LIST,
        "error_title": "Station not in the register",
        "error_message": "This name is not on the sheet Stations. Pick from the list, or add the"
        " station there.",
    }


def _outlet_check(inlet: str, outlet: str) -> Options:
    return {
        "validate": "custom",
        "value": f"=AND(ISNUMBER({outlet}),{outlet}>=0,OR(NOT(ISNUMBER({inlet})),"
        f"{outlet}<={inlet}))",
        "error_title": "Outlet above inlet?",
        "error_message": "Outlet is above inlet: selector swapped? (Expected: a number of 0 or"
        " more, not above the inlet pressure.)",
    }


def _flush_inlet_check(column: Column, value: str, unit: str) -> Options:
    """The Farm sheet's one pressure, which carries its own unit beside it."""
    usual = contract.FARM.column("flush_inlet")
    high = usual.high or 0
    own = column.unit if column != usual else METRE
    most = f"{high / metres_per(own):.4g} {own}" if column != usual else f"{high:g} m of water"
    return {
        "validate": "custom",
        "value": f"=AND(ISNUMBER({value}),{value}>=0,{value}*{unit_factor(unit)}<={high:g})",
        "error_title": "Is this right?",
        "error_message": "Lowest flush inlet: expected a number of 0 or more, in the unit that"
        f" stands beside it, up to {most}.",
    }


def _message(column: Column, sheet: str, pressure_unit: str, flow_unit: str) -> str:
    parts = ["Required." if column.required else "", column.help]
    if column.kind is Kind.PRESSURE and sheet != "Farm":
        parts.append(f"In {pressure_unit}, unless the station has a unit of its own.")
    if column.kind is Kind.FLOW:
        parts.append(f"In {flow_unit}.")
    return " ".join(part for part in parts if part)[:255]


def _check_by_kind(column: Column) -> Options:
    if column.kind is Kind.CHOICE:
        return _choice_check(column)
    if column.kind is Kind.DATE:
        return _date_check(column)
    if column.kind is Kind.TIME:
        return _time_check(column)
    if column.kind is Kind.TEXT:
        return {"validate": "any"}
    return _number_check(column)


def check_for(sheet: str, column: Column, pressure_unit: str, flow_unit: str) -> Options:
    """XlsxWriter's data validation options for one column of a sheet (first data row 2)."""
    if sheet not in ("Stations", "Farm") and column.key == "station":
        options = _station_check()
    elif sheet == "Readings" and column.key == "outlet":
        options = _outlet_check("$D2", "$E2")
    elif sheet == "Farm" and column.key == "flush_inlet":
        options = _flush_inlet_check(column, "$B$8", "$C$8")
    else:
        options = _check_by_kind(column)
    return options | {
        "input_title": column.header[:32],
        "input_message": _message(column, sheet, pressure_unit, flow_unit),
        "error_type": "warning",
        "ignore_blank": True,
    }
