"""One cell of a number column: the value, the unit typed in it, and what is odd about it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from siltbook.batch.reading.amounts import MESH, mesh_code, one_sided, units_of
from siltbook.batch.reading.cells import Covered, ErrorText, IsoDate, NoValue, Style, Value
from siltbook.batch.reading.parsing import number_text, tidy
from siltbook.templates.contract import Column
from siltbook.templates.units import amount_factor, known_unit

# Words that may follow a plain number in its own column, with the factor they bring.
_SUFFIXES: dict[str, dict[str, float]] = {
    "interval": {"d": 1, "day": 1, "days": 1, "week": 7, "weeks": 7},
    "hours": {"h": 1, "hour": 1, "hours": 1},
    "cycles": {"x": 1, "cycle": 1, "cycles": 1},
    "flush_cycles": {"x": 1, "cycle": 1, "cycles": 1},
    "gauge_class": {"%": 1},
    "watch_share": {"%": 0.01},
    "efficiency": {"%": 0.01},
}
_READ = ("cell-text-number", "cell-other-unit")
LARGEST = 1e12  # no measured or counted value comes near it; beyond it conversions overflow


@dataclass(frozen=True)
class Number:
    """One number cell: the value, the unit typed in it, and a finding's code where there is one."""

    value: float | None
    unit: str = ""
    code: str = ""


def one_number(column: Column, value: Value, style: int, mark: str = "") -> Number:
    """One cell of a number column; `style` is the cell format's Style, `mark` the decimal mark."""
    if type(value) is float:
        if style == Style.DATE:
            return Number(None, code="cell-looks-like-date")
        if abs(value) > LARGEST:
            return Number(None, code="cell-not-number")
        share = style == Style.PERCENT and column.key == "gauge_class"
        return Number(value * 100 if share else value)
    if type(value) is not str:
        return Number(None, code=odd_code(value, "cell-not-number"))
    sided = one_sided(column, tidy(value))
    parsed = number_text(tidy(value)[1:] if sided else value, mark)
    if parsed.ambiguous:
        return Number(None, code="cell-ambiguous-number")
    if parsed.value is None or abs(parsed.value) > LARGEST:
        return Number(None, code="cell-not-number")
    number = _with_rest(column, parsed.value, parsed.rest)
    return replace(number, code="cell-one-sided") if sided and number.code in _READ else number


def _with_rest(column: Column, value: float, rest: str) -> Number:
    """A number with what was typed behind it: nothing, a unit, a word."""
    if not rest:
        return Number(value, code="cell-text-number")
    unit = known_unit(rest)
    if unit is not None and unit in units_of(column.kind):
        return Number(value, unit, "cell-other-unit")
    amount = amount_factor(column.amount, rest)
    if amount is not None:
        return Number(value, rest, "cell-text-number" if amount == 1 else "cell-other-unit")
    if column.key == "grade" and rest.casefold() == MESH:
        return Number(value, MESH, mesh_code(value))
    factor = _SUFFIXES.get(column.key, {}).get(rest.casefold())
    if factor is None:
        return Number(None, code="cell-not-number")
    return Number(value * factor, code="cell-text-number")


def odd_code(value: Value, otherwise: str) -> str:
    """The finding's code of a cell that holds no ordinary value."""
    if isinstance(value, ErrorText):
        return "cell-error"
    if isinstance(value, NoValue):
        return "cell-no-value"
    if isinstance(value, Covered):
        return "cell-merged"
    if isinstance(value, IsoDate) and otherwise == "cell-not-number":
        return "cell-looks-like-date"
    return otherwise
