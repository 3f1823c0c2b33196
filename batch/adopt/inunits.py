"""Units of what a source holds: which fit a column, and which stand in its rows."""

from __future__ import annotations

from siltbook.batch.adopt.model import ASK, MEASURED, Column, Found
from siltbook.batch.adopt.recognise import parse_number, unit_of
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS
from siltbook.templates.units import metres_per

# Units that are read here and turned into one of the contract's: unit, factor.
TURNED_UNITS = {"mbar": ("bar", 0.001), "MPa": ("bar", 10.0)}


def metres(value: float, unit: str) -> float:
    """A pressure in metres of water [m]; KeyError for a unit that is not known."""
    unit, factor = TURNED_UNITS.get(unit, (unit, 1.0))
    return value * factor * metres_per(unit)


def fits(role: str, unit: str) -> bool:
    """Whether what a column holds can be in a unit; '' is one that is still asked for."""
    known = FLOW_UNITS if role == "flow" else (*PRESSURE_UNITS, *TURNED_UNITS)
    return not unit or role not in MEASURED or unit in known


def own_units(table: Found, column: Column) -> bool:
    """Whether every cell says its own unit, or its row does."""
    role = column.role if column.role != ASK else "inlet"
    rows = {
        row: parse_number(cells[column.index], table.decimal)
        for row, cells in table.grid.rows.items()
        if table.first <= row <= table.last and row not in table.left_out and column.index in cells
    }
    return bool(rows) and all(
        unit or row_unit(table, row, role)
        for row, (number, unit) in rows.items() if number is not None
    )  # fmt: skip


def row_unit(table: Found, row: int, role: str) -> str:
    """The unit that a column of units says for what a row holds; '' where it says none."""
    cells = table.grid.rows[row]
    typed = [str(cells[c.index]) for c in table.of("unit") if c.index in cells]
    said = (unit_of(text.strip("()[]")) for text in typed)
    return next((unit for unit in said if unit and fits(role, unit)), "")
