"""Numbers whose unit stands in their column's own bracket: mg/L, per mL, µm, mm; and mesh."""

from __future__ import annotations

import math

from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, Column, Kind
from siltbook.templates.mesh import opening
from siltbook.templates.units import (
    amount_factor,
    amount_spellings,
    cubic_metres_per_hour_per,
    known_unit,
    metres_per,
)

MESH = "mesh"
UNREADABLE = "?"  # stands for a unit that was typed and is not known
_REPORTED = ("mg/L", "per mL")  # amounts that laboratories report as '<0.05' or '>300'


def units_of(kind: Kind) -> tuple[str, ...]:
    """The units that a column of this kind can be typed in; empty where it has none."""
    if kind in (Kind.PRESSURE, Kind.METRES):
        return PRESSURE_UNITS
    return FLOW_UNITS if kind is Kind.FLOW else ()


def factor_of(unit: str) -> float:
    """Canonical units in one `unit`: metres of water [m] or cubic metres per hour [m3/h].

    NaN where the unit is not known, since nothing may be made of what was typed in it.
    """
    if unit == UNREADABLE:
        return math.nan
    return metres_per(unit) if unit in PRESSURE_UNITS else cubic_metres_per_hour_per(unit)


def canonical(column: Column, value: float, unit: str) -> float:
    """A number typed in `unit`, in the column's own unit; NaN for a mesh that has no opening."""
    if column.kind is not Kind.NUMBER:
        return value * factor_of(unit)
    if unit == MESH:
        found = opening(value)
        return math.nan if found is None else found.micrometres
    return value * (amount_factor(column.amount, unit) or 1.0)


def mesh_code(value: float) -> str:
    """The finding's code of a grade given in mesh: a note, or no number where it has no opening."""
    return "cell-not-number" if opening(value) is None else "grade-in-mesh"


def mesh_words(value: float) -> str:
    """What was made of a mesh number, for a message."""
    found = opening(value)
    return "micrometres, or a mesh number from 4 to 635" + (
        f"; {found.words(value)}" if found else ""
    )


def one_sided(column: Column, text: object) -> str:
    """'<' or '>' where a cell says so, as laboratories do beyond what they can tell; else ''."""
    sign = text.strip()[:1] if isinstance(text, str) else ""
    return sign if column.amount in _REPORTED and sign in ("<", ">") else ""


def header_unit(column: Column, bracket: str) -> str | None:
    """The unit that a header's bracket states for a number column.

    '' where it is the column's own or no unit at all, a spelling that `canonical` knows where
    it is another, None where it is a unit that cannot be turned into the column's.
    """
    own = column.amount
    if not own or not amount_spellings(own):
        return ""
    last = bracket.replace(";", ",").rsplit(",", 1)[-1].strip()
    if column.key == "grade" and last.casefold() == MESH:
        return MESH
    factor = amount_factor(own, last)
    if factor is not None:
        return "" if factor == 1 else last
    states = "/" in last or last.casefold().startswith("per ") or known_unit(last) is not None
    return None if states else ""
