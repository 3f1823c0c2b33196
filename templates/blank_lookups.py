"""The lookups that the blank's formulas share, as formula text and in Python."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from siltbook.templates import contract
from siltbook.templates.book import column_letters
from siltbook.templates.units import metres_per, pressure_spellings

Row = Mapping[str, object]

UNKNOWN = "?"
# Lookups reach this far down, so that stations typed below the table are found as well.
REACH = 5000
UNITS_SHEET = "Units"
_ROW = "{row}"  # stands in a formula for its own row


def unit_rows() -> list[tuple[str, float]]:
    """Every accepted spelling of a pressure unit with its metres of water [m]."""
    return [(spelling, metres_per(unit)) for spelling, unit in pressure_spellings()]


@cache
def factors() -> dict[str, float]:
    """The same by spelling."""
    return dict(unit_rows())


def unit_factor(unit: str) -> str:
    """Formula text: metres of water in one of the unit that the expression `unit` names."""
    last = len(unit_rows()) + 1
    names, factors = (f"{UNITS_SHEET}!${c}$1:${c}${last}" for c in "AB")
    return f"INDEX({factors},MATCH(TRIM({unit}),{names},0))"


def this(sheet: str, header: str) -> str:
    """Formula text: the cell under a header in the formula's own row."""
    lists = {one.name: one for one in contract.LISTS}
    return f"${letters(lists[sheet], header)}{_ROW}"


def at_row(formula: str, row: int) -> str:
    """A calculated column's formula as it stands in a row of the sheet (1-based)."""
    return formula.replace(_ROW, str(row))


def letters(sheet: contract.Sheet, header: str) -> str:
    """The letters of a list sheet's column, typed or calculated, by its header."""
    return column_letters([*(c.header for c in sheet.columns), *sheet.computed].index(header))


def station_column(header: str) -> str:
    """A column of the sheet Stations from its header down; the header keeps the range whole
    when the first station is deleted."""
    column = letters(contract.STATIONS, header)
    return f"Stations!${column}$1:${column}${REACH}"


def of_station(header: str) -> str:
    """Formula text: the reading's station's value in one column of the sheet Stations."""
    return f"INDEX({station_column(header)},{match(this('Readings', 'Station'))})"


def match(station: str) -> str:
    """Formula text: the place of a station's name in the register, an error where it has none."""
    name = f"TRIM({station})"
    # MATCH takes ~ * ? for wildcards; a station's name means itself.
    for sign in "~*?":
        name = f'SUBSTITUTE({name},"{sign}","~{sign}")'
    return f"MATCH({name},{station_column('Station')},0)"


def squeezed(value: object) -> str:
    """What TRIM gives: no outer spaces, single inner ones; '' for an empty cell."""
    return " ".join(part for part in str("" if value is None else value).split(" ") if part)
