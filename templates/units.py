"""Units at the workbook's edge: a closed table of spellings, and pint for the factors.

A person's unit text never reaches pint's parser (it reads 'mca' as microyears); it is looked
up here first. Inside, pressures are metres of water and flows m3/h.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

# Conventional metre of water: 1000 kg/m3 x 9.80665 m/s2, exact (NIST SP 811 (2008), App. B.8).
PASCAL_PER_METRE = 9806.65


@dataclass(frozen=True)
class Unit:
    """A unit that is read: what pint calls it, how its cells are shown, and its spellings."""

    name: str
    of: str  # 'pressure' or 'flow'
    pint: str
    cells: str  # number format; nothing that was typed is rounded away in sight
    spellings: tuple[str, ...]  # in lower case


# A new unit is one line here, and its spelling taken out of `_OTHERS`; choices, blanks, parsing,
# check values and lists of what is accepted follow. MPa is left out on purpose: 1 MPa is 10 bar,
# so that it could not be told from a slipped decimal.
_UNITS = (
    Unit("bar", "pressure", "bar", "0.00##", ("bar", "bars")),
    Unit("kPa", "pressure", "kilopascal", "General", ("kpa", "kilopascal", "kilopascals")),
    Unit("psi", "pressure", "psi", "0.0##", ("psi", "psig", "lb/in2", "lbf/in2")),
    Unit("m", "pressure", "metre_of_water", "0.0##", ("m", "mh2o", "m h2o", "mca", "mwc", "m water", "metres", "meters", "metre", "meter", "mce")),
    Unit("kgf/cm2", "pressure", "kilogram_force / centimeter ** 2", "0.00##", ("kgf/cm2", "kgf/cm²", "kg/cm2", "kg/cm²", "at")),
    Unit("m3/h", "flow", "meter ** 3 / hour", "General", ("m3/h", "m³/h", "m3/hr", "m³/hr", "cmh")),
    Unit("L/s", "flow", "liter / second", "General", ("l/s", "lps")),
    Unit("L/min", "flow", "liter / minute", "General", ("l/min", "lpm")),
    Unit("gpm", "flow", "gallon / minute", "General", ("gpm", "usgpm", "gal/min")),  # the US one
)  # fmt: skip
UNITS = {unit.name: unit for unit in _UNITS}
PRESSURE_UNITS = tuple(unit.name for unit in _UNITS if unit.of == "pressure")
FLOW_UNITS = tuple(unit.name for unit in _UNITS if unit.of == "flow")
# Units that people use and that are not read: a header that names one is not the farm's unit.
_OTHERS = frozenset((
    "pa", "hpa", "mpa", "mbar", "millibar", "atm", "torr", "mmhg", "cmhg", "inhg", "cmh2o", "mmh2o",
    "inh2o", "fth2o", "ft", "feet", "ft h2o", "cm", "mm", "kn/m2", "n/m2", "n/cm2", "n/mm2", "ksi",
    "kgf/m2", "m3/s", "m³/s", "m3/min", "m³/min", "m3/d", "m³/d", "m3/day", "m³/day", "l/h", "l/hr",
    "lph", "l/d", "l/day", "ml/min", "ml/s", "gph", "gpd", "mgd", "igpm", "imp gpm", "cfs", "cfm",
    "ft3/s", "ft3/min", "acre-in/h",
))  # fmt: skip
_BY_SPELLING = {spelling: unit.name for unit in _UNITS for spelling in unit.spellings}

# Those lines of pint's own table that these units need: its whole table takes a quarter of a
# second to read. A test compares every factor with the whole table's.
_DEFINITIONS = """\
milli- = 1e-3 = m-
centi- = 1e-2 = c-
deci- = 1e-1 = d-
kilo- = 1e3 = k-
mega- = 1e6 = M-
meter = [length] = m = metre
second = [time] = s = sec
gram = [mass] = g
minute = 60 * second = min
hour = 60 * minute = h = hr
liter = decimeter ** 3 = l = L = litre
standard_gravity = 9.80665 * meter / second ** 2 = g_0
newton = kilogram * meter / second ** 2 = N
force_kilogram = g_0 * kilogram = kgf = kilogram_force
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal
grain = 64.79891 * milligram = gr
pound = 7e3 * grain = lb
force_pound = g_0 * pound = lbf = pound_force
yard = 0.9144 * meter = yd
inch = yard / 36 = in
pound_force_per_square_inch = force_pound / inch ** 2 = psi
cubic_inch = in ** 3 = cu_in
gallon = 231 * cubic_inch = gal
"""


# Amounts that stand in a number column's bracket: unit -> spelling -> factor to that unit.
_AMOUNTS: dict[str, dict[str, float]] = {
    "mg/L": {
        "mg/l": 1, "mg/dm3": 1, "mg/dm³": 1, "g/m3": 1, "g/m³": 1, "ppm": 1, "ug/l": 1e-3,
        "μg/l": 1e-3, "mg/m3": 1e-3, "mg/m³": 1e-3, "ppb": 1e-3, "g/l": 1e3, "kg/m3": 1e3,
    },
    "per mL": {
        "per ml": 1, "/ml": 1, "cfu/ml": 1, "no./ml": 1, "per 100 ml": 0.01, "/100 ml": 0.01,
        "/100ml": 0.01, "cfu/100 ml": 0.01, "cfu/100ml": 0.01, "mpn/100 ml": 0.01,
        "mpn/100ml": 0.01, "per l": 1e-3, "per litre": 1e-3, "cfu/l": 1e-3,
    },
    "µm": {
        "um": 1, "μm": 1, "micron": 1, "microns": 1, "micrometre": 1, "micrometres": 1,
        "micrometer": 1, "micrometers": 1, "mm": 1e3, "mil": 25.4, "mils": 25.4, "thou": 25.4,
        "in": 25.4e3, "inch": 25.4e3, "inches": 25.4e3,
    },
    "mm": {"mm": 1, "um": 1e-3, "μm": 1e-3, "micron": 1e-3, "microns": 1e-3, "cm": 10.0,
           "mil": 0.0254, "mils": 0.0254, "thou": 0.0254, "in": 25.4, "inch": 25.4, "inches": 25.4},
}  # fmt: skip


def amount_factor(unit: str, text: str) -> float | None:
    """How many `unit` one of the amount spelt `text` is, or None where that is not known.

    `unit` is what a column's bracket says: mg/L, per mL, µm or mm. 1 ppm is taken as 1 mg/L,
    as for water.
    """
    plain = text.replace("\u00a0", " ").strip().casefold()  # folds the micro sign as well
    return _AMOUNTS.get(unit, {}).get(plain)


def amount_spellings(unit: str) -> tuple[str, ...]:
    """The spellings that `amount_factor` knows for a unit."""
    return tuple(_AMOUNTS.get(unit, {}))


def known_unit(text: str) -> str | None:
    """The unit that a person's spelling means, or None: never a guess."""
    return _BY_SPELLING.get(text.replace("\u00a0", " ").strip().casefold())


def other_unit(text: str) -> bool:
    """Whether a text names a unit of pressure or flow that is known not to be read."""
    return text.replace("\u00a0", " ").strip().casefold() in _OTHERS


def pressure_spellings() -> tuple[tuple[str, str], ...]:
    """Every accepted spelling of a pressure unit with its unit, in the order of the table."""
    return tuple((spelling, unit) for unit in PRESSURE_UNITS for spelling in UNITS[unit].spellings)


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(None, cache_folder=None)
    registry.load_definitions(_DEFINITIONS.splitlines())
    registry.define(f"metre_of_water = {PASCAL_PER_METRE} * pascal")
    return registry


@cache
def metres_per(unit: str) -> float:
    """Metres of water in one `unit` of pressure [m]; KeyError for an unknown unit."""
    return float(_registry().Quantity(1.0, UNITS[unit].pint).m_as("metre_of_water"))


@cache
def cubic_metres_per_hour_per(unit: str) -> float:
    """Cubic metres per hour in one `unit` of flow [m3/h]; KeyError for an unknown unit."""
    return float(_registry().Quantity(1.0, UNITS[unit].pint).m_as("meter ** 3 / hour"))


def unit_read_in(number: float, metres: float, *first: str) -> str:
    """The unit in which a typed number was read as `metres` [m]; '' where none fits.

    Units of `first` are asked before the others, since a number can fit more than one.
    """
    units = (*first, *PRESSURE_UNITS)
    return next((u for u in units if math.isclose(number * metres_per(u), metres)), "")
