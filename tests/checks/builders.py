"""Small books built by hand: rows as dictionaries, pressures typed in the station's unit."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from siltbook.templates.book import Book, Settings, Table
from siltbook.templates.contract import (
    AGREED,
    CHANGED_GAUGES,
    PRESSURE_UNITS,
    READINGS,
    STATIONS,
    WORK,
    Kind,
    Sheet,
)
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

Row = dict[str, Any]
NUMERIC = (Kind.PRESSURE, Kind.METRES, Kind.FLOW, Kind.NUMBER)


def _factor(kind: Kind, unit: str, flow_unit: str) -> float:
    if kind is Kind.PRESSURE:
        return metres_per(unit)
    return cubic_metres_per_hour_per(flow_unit) if kind is Kind.FLOW else 1.0


def _unit(row: Row, units: dict[str, str]) -> str:
    """The unit of a row's pressures: its own `typed_in`, where a gauge was changed, or another."""
    return str(row.get("typed_in") or units.get(str(row.get("station")), units[""]))


def table(sheet: Sheet, rows: list[Row], units: dict[str, str], flow_unit: str = "m3/h") -> Table:
    """A table whose first row is spreadsheet row 2, as the reader would hand it over."""
    index = pd.Index(range(2, 2 + len(rows)), dtype="int64")
    data: dict[str, pd.Series[Any]] = {}
    raw: dict[str, dict[int, object]] = {}
    for column in sheet.columns:
        typed = [row.get(column.key) for row in rows]
        raw[column.key] = {
            number: value for number, value in zip(index, typed, strict=True) if value is not None
        }
        if column.kind in NUMERIC:
            factors = [_factor(column.kind, _unit(row, units), flow_unit) for row in rows]
            values = [
                float("nan") if value is None or isinstance(value, str) else value * factor
                for value, factor in zip(typed, factors, strict=True)
            ]
            data[column.key] = pd.Series(values, index=index, dtype="float64")
        else:
            data[column.key] = pd.Series(typed, index=index, dtype="object")
    places = {column.key: place for place, column in enumerate(sheet.columns)}
    return Table(sheet.name, 1, places, pd.DataFrame(data, index=index), raw)


def book(
    readings: list[Row] | None = None,
    *,
    stations: list[Row] | None = None,
    work: list[Row] | None = None,
    agreed: list[Row] | None = None,
    gauges: list[Row] | None = None,
    **settings: Any,
) -> Book:
    """A book with one plain station 'North 1' in bar unless told otherwise."""
    register = [{"station": "North 1"}] if stations is None else stations
    farm = Settings(farm="Invented farm", **settings)
    units = {"": farm.pressure_unit}
    units |= {row["station"]: row["unit"] for row in register if row.get("unit") in PRESSURE_UNITS}
    parts = [
        table(sheet, rows or [], units, farm.flow_unit)
        for sheet, rows in (
            (STATIONS, register), (READINGS, readings), (WORK, work), (AGREED, agreed)
        )
    ]  # fmt: skip
    changed = table(CHANGED_GAUGES, gauges or [], units)
    return Book("invented.xlsx", farm, *parts, gauges=changed, setting_cells={"drop_limit": "B5"})


def reading(day: int = 1, inlet: Any = 3.0, outlet: Any = 2.8, **more: Any) -> Row:
    """A reading of North 1 on a day of May 2026 [bar]."""
    plain = {"station": "North 1", "date": dt.date(2026, 5, day), "inlet": inlet, "outlet": outlet}
    return plain | more


def job(day: int = 1, work: str = "flush", **more: Any) -> Row:
    """A piece of work on North 1 on a day of May 2026; flushes come complete."""
    plain: Row = {"station": "North 1", "date": dt.date(2026, 5, day), "work": work}
    if work == "flush":
        plain |= {"cycles": 3, "click": "yes", "water": "yes"}
    return plain | more
