"""How findings show values: what was really typed, with its unit, in plain words."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Iterable, Sequence

from siltbook.templates.book import Settings, Table
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, Column, Kind
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

AS_EMPTY = "until then the cell counts as empty"
ROWS_NAMED = 6  # more row numbers than this make a sentence unreadable


def number(value: float, decimals: int = 10) -> str:
    """A number without padding: 300.0 -> 300, 0.1 + 0.2 -> 0.3."""
    text = f"{round(value, decimals):.10f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def listed(parts: Sequence[str]) -> str:
    """Parts joined as in a sentence: a, b and c."""
    return " and ".join(filter(None, (", ".join(parts[:-1]), *parts[-1:])))


def rows_named(rows: Iterable[int]) -> str:
    """Row numbers for a sentence: 'row 7', 'rows 4, 5 and 9', 'rows 4, 5, ... and 31 more'."""
    numbers = [str(row) for row in rows]
    rest = len(numbers) - ROWS_NAMED
    if rest > 1:
        numbers = [*numbers[:ROWS_NAMED], f"{rest} more"]
    return f"{'row' if len(numbers) == 1 else 'rows'} {listed(numbers)}"


def clock(value: object) -> str:
    """A time of day as hh:mm, or an empty text where there is none."""
    return f"{value:%H:%M}" if isinstance(value, dt.time) else ""


def label(column: Column) -> str:
    """A column's header inside a sentence: without its bracket, first letter small."""
    bare = re.sub(r"\s*\(.*\)$", "", column.header)
    return bare[0].lower() + bare[1:]


def unit_for(column: Column, pressure_unit: str, flow_unit: str) -> str:
    """The unit in which people type this column; empty where it has none."""
    if column.kind is Kind.PRESSURE:
        return pressure_unit
    if column.kind is Kind.METRES:
        return "m"
    if column.kind is Kind.FLOW:
        return flow_unit
    bracket = re.search(r"\((.*)\)$", column.header)
    return bracket.group(1) if bracket else column.unit


def shown(
    table: Table, column: Column, row: int, value: object, settings: Settings, unit: object = None
) -> str:
    """One cell as a person typed it, with its unit.

    A number is shown in the unit of its cell: `unit` of pressure where the station has its
    own, else the farm's, or another where only that fits the canonical `value` (a header may
    name its own). Text stands in quotation marks. Where the reader kept nothing, the canonical
    `value` is shown in [m] or [m3/h].
    """
    raw = table.raw.get(column.key, {}).get(row)
    if isinstance(raw, str) or (raw is None and isinstance(value, str)):
        return f'"{raw or value}"'
    pressure_unit = unit if isinstance(unit, str) else settings.pressure_unit
    flow_unit = settings.flow_unit
    if not isinstance(raw, (int, float)) or isinstance(raw, bool):
        raw, pressure_unit, flow_unit = value, "m", "m3/h"
    if isinstance(raw, dt.date):
        return settings.shown.day(raw)
    if not isinstance(raw, (int, float)):
        return "nothing" if raw is None else str(raw)
    if raw != raw:
        return "nothing"
    named = unit_for(column, pressure_unit, flow_unit)
    if raw is value:
        return with_unit(number(float(raw), 3), named)
    return with_unit(number(float(raw)), _unit_typed(column.kind, float(raw), value, named))


def _unit_typed(kind: Kind, raw: float, value: object, named: str) -> str:
    """The unit that turns what was typed into its canonical value; `named` where it does."""
    units = FLOW_UNITS if kind is Kind.FLOW else PRESSURE_UNITS
    factor: Callable[[str], float] = cubic_metres_per_hour_per if kind is Kind.FLOW else metres_per
    if kind not in (Kind.PRESSURE, Kind.METRES, Kind.FLOW) or not isinstance(value, (int, float)):
        return named
    candidates: tuple[str, ...] = (named, *units)
    for unit in candidates:
        if unit in units and math.isclose(raw * factor(unit), value, rel_tol=1e-6):
            return unit
    return named


def with_unit(text: str, unit: str) -> str:
    """A number's text with its unit behind it, where it has one."""
    return f"{text} {unit}" if unit else text
