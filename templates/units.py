"""Units at the workbook's edge: a closed table of spellings, and pint for the factors.

A person's unit text never reaches pint's parser (it reads 'mca' as microyears); it is looked
up here first. Inside, pressures are metres of water and flows m3/h.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

# Conventional metre of water: 1000 kg/m3 x 9.80665 m/s2, exact (NIST SP 811 (2008), App. B.8).
PASCAL_PER_METRE = 9806.65

_SPELLINGS = {
    "bar": ("bar", "bars"),
    "kPa": ("kpa", "kilopascal", "kilopascals"),
    "psi": ("psi", "psig", "lb/in2", "lbf/in2"),
    "m": ("m", "mh2o", "m h2o", "mca", "mwc", "m water", "metres", "meters", "metre", "meter", "mce"),
    "kgf/cm2": ("kgf/cm2", "kgf/cm²", "kg/cm2", "kg/cm²", "at"),
    "m3/h": ("m3/h", "m³/h", "m3/hr", "m³/hr", "cmh"),
    "L/s": ("l/s", "lps"),
    "L/min": ("l/min", "lpm"),
    "gpm": ("gpm", "usgpm", "gal/min"),
}  # fmt: skip
_BY_SPELLING = {spelling: unit for unit, all_ in _SPELLINGS.items() for spelling in all_}

# What each unit is to pint; the gallon is the US one.
_PINT = {
    "bar": "bar",
    "kPa": "kilopascal",
    "psi": "psi",
    "m": "metre_of_water",
    "kgf/cm2": "kilogram_force / centimeter ** 2",
    "m3/h": "meter ** 3 / hour",
    "L/s": "liter / second",
    "L/min": "liter / minute",
    "gpm": "gallon / minute",
}


def known_unit(text: str) -> str | None:
    """The unit that a person's spelling means, or None: never a guess."""
    return _BY_SPELLING.get(text.replace("\u00a0", " ").strip().casefold())


def pressure_spellings() -> tuple[tuple[str, str], ...]:
    """Every accepted spelling of a pressure unit with its unit, in the order of the table."""
    units = ("bar", "kPa", "psi", "m", "kgf/cm2")
    return tuple((spelling, unit) for unit in units for spelling in _SPELLINGS[unit])


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define(f"metre_of_water = {PASCAL_PER_METRE} * pascal")
    return registry


@cache
def metres_per(unit: str) -> float:
    """Metres of water in one `unit` of pressure [m]; KeyError for an unknown unit."""
    return float(_registry().Quantity(1.0, _PINT[unit]).m_as("metre_of_water"))


@cache
def cubic_metres_per_hour_per(unit: str) -> float:
    """Cubic metres per hour in one `unit` of flow [m3/h]; KeyError for an unknown unit."""
    return float(_registry().Quantity(1.0, _PINT[unit]).m_as("meter ** 3 / hour"))
