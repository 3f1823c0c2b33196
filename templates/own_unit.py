"""The contract's columns and defaults as a blank shows them that speaks one pressure unit.

A book's limits and clean drops are in metres of water unless the header or the cell beside them
names another unit, which the reader takes. A blank in bar, kPa or psi names its own there, so
that nobody who fills it has to think in metres.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from siltbook.templates.contract import FARM, PRESSURE_UNITS, Column, Kind, Sheet
from siltbook.templates.shown import METRE
from siltbook.templates.units import known_unit, metres_per

DROP_NOW = "Drop now"  # heads the calculated drop: 'Drop (psi)' would be a drop that was typed


class Rounded(NamedTuple):
    """Defaults in round figures of a unit: the drop limit and the lowest flush inlet."""

    limit: float
    flush_inlet: float


# The limit never above 5 m of water, which is 0.4903 bar or 7.11 psi: a round figure beyond it
# would call a filter clean that is over. 29 psi is 2 bar (1.9995).
_ROUNDED = {
    "bar": Rounded(0.49, 2.0),
    "kPa": Rounded(49.0, 200.0),
    "psi": Rounded(7.0, 29.0),
    "kgf/cm2": Rounded(0.5, 2.04),
    "m": Rounded(5.0, 20.4),
}


def rounded(unit: str) -> Rounded:
    """The defaults of a unit; of one without figures of its own two digits, on the safe side."""
    per = metres_per(unit)
    limit, inlet = 5.0 / per, 2.0 * metres_per("bar") / per
    step = 10.0 ** (math.floor(math.log10(limit)) - 1)
    safe = Rounded(math.floor(limit / step) * step, math.ceil(inlet / step) * step)
    return _ROUNDED.get(unit, Rounded(*(float(f"{value:.6g}") for value in safe)))


def columns(sheet: Sheet, unit: str) -> tuple[Column, ...]:
    """A sheet's columns with headers, help and bounds in `unit`; for metres as they are."""
    return tuple(in_unit(column, unit) for column in sheet.columns)


def in_unit(column: Column, unit: str) -> Column:
    """A column of lengths of water, or the lowest flush inlet, in `unit`; any other as it is."""
    if unit == METRE:
        return column
    if column == FARM.column("flush_inlet"):
        said = "Inlet pressure must not fall below this during a flush."
        return replace(column, unit=unit, help=said)
    if column.kind is not Kind.METRES:
        return column
    per = metres_per(unit)
    low, high = (None if b is None else float(f"{b / per:.4g}") for b in (column.low, column.high))
    said = column.help.replace(", in metres of water", "").replace("; metres of water", "")
    if column == FARM.column("drop_limit"):
        limit = rounded(unit).limit
        said += f" {limit:g} {unit} is {limit * per:.5g} m of water."
    header = column.header.replace(f"({METRE})", f"({unit})")
    stated = unit if column.unit else ""
    return replace(column, header=header, help=said, unit=stated, low=low, high=high)


def defaults(unit: str) -> dict[str, object]:
    """The Farm settings with a default in round figures of `unit`; none for metres."""
    if unit == METRE:
        return {}
    return {"drop_limit": rounded(unit).limit, "flush_inlet": rounded(unit).flush_inlet}


def usual_in(key: str, value: float) -> bool:
    """Whether a limit or a lowest flush inlet [m] is the default of some unit."""
    at = Rounded._fields.index({"drop_limit": "limit"}.get(key, key))
    return any(abs(rounded(u)[at] * metres_per(u) - value) <= 1e-9 * value for u in PRESSURE_UNITS)


def known(unit: str) -> str:
    """The unit of pressure that a spelling means; ValueError, one sentence, for another text."""
    found = known_unit(unit)
    if found not in PRESSURE_UNITS:
        accepted = ", ".join(PRESSURE_UNITS)
        raise ValueError(f"Pressure unit {unit!r} is not known: use one of {accepted}.")
    return found
