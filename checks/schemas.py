"""Pandera schemas built from the contract: one column at a time, every fault at once.

The reader has parsed the cells; what it could not read is missing here and has a finding
already. The schemas ask what is left: is it typed, present, a choice, within its bounds?

Each column's conditions are asked as they stand first. Pandera, which takes a quarter of a second
to import and milliseconds a column, names the faults of the columns in which one does not hold.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from siltbook.checks.context import JoinedBook, Listed, finding, one_of
from siltbook.checks.findings import Finding, find
from siltbook.checks.wording import AS_EMPTY, label, listed, number, unit_for, with_unit
from siltbook.templates.book import Book, Table, outside
from siltbook.templates.contract import (
    FARM,
    NUMERIC,
    PRESSURE_UNITS,
    READINGS,
    STATIONS,
    WATER,
    Column,
    Kind,
    Sheet,
)
from siltbook.templates.shown import METRE
from siltbook.templates.units import metres_per

if TYPE_CHECKING:
    import pandas as pd
    import pandera.pandas as pa

    from siltbook.templates.book import Array

_OBJECTS: dict[Kind, tuple[type, str]] = {
    Kind.DATE: (dt.date, "cell-not-date"),
    Kind.TIME: (dt.time, "cell-not-time"),
}
_NOUNS = {
    Kind.TEXT: "as text",
    Kind.DATE: "as a date, for example 2026-05-31",
    Kind.TIME: "as a time, for example 07:30",
}


def _numbers(values: Array) -> Array:
    import pandas as pd

    if values.dtype == "float64":
        return values
    return pd.to_numeric(values, errors="coerce").astype("float64")


def _is_number(values: Array) -> Array:
    import numpy as np

    return ~np.isnan(_numbers(values))


def _holds(type_: type) -> Callable[[Array], Array]:
    def check(values: Array) -> Array:
        import numpy as np

        return np.array([isinstance(value, type_) for value in values.tolist()], dtype=bool)

    return check


def _within(column: Column) -> Callable[[Array], Array]:
    def check(values: Array) -> Array:
        # What is no number fails its own check; here it would only add a second finding.
        return ~outside(column, _numbers(values))

    return check


@dataclass(frozen=True)
class Condition:
    """What each value of a column must be, asked of a whole column; `code` names its finding."""

    code: str
    holds: Callable[[Array], Array]

    def of_a_column(self, values: pd.Series) -> pd.Series:
        """The same as pandera asks it."""
        import pandas as pd

        return pd.Series(self.holds(values.to_numpy()), values.index, dtype=bool)


@cache
def conditions(sheet: Sheet, column: Column) -> tuple[Condition, ...]:
    """The conditions of a column's values, whether or not one must be there."""
    if column.kind in _OBJECTS:
        type_, code = _OBJECTS[column.kind]
        return (Condition(code, _holds(type_)),)
    if column.choices:
        return (Condition("cell-not-choice", lambda values: one_of(values, column.choices)),)
    if column.kind not in NUMERIC:
        return ()
    number = Condition("cell-not-number", _is_number)
    if sheet is READINGS and column.kind is Kind.FLOW:
        return (number,)  # zero is doubtful too there: the rule flow-not-positive asks
    if column.low is None and column.high is None:
        return (number,)
    negative = sheet is READINGS and column.kind is Kind.PRESSURE
    code = "pressure-negative" if negative else "value-out-of-bounds"
    return (number, Condition(code, _within(column)))


@cache
def schema(sheet: Sheet) -> pa.DataFrameSchema:
    """The schema of one list sheet; each check is named by the code of its finding."""
    import pandera.pandas as pa

    return pa.DataFrameSchema(
        {
            column.key: pa.Column(
                checks=[
                    pa.Check(one.of_a_column, name=one.code, error=one.code)
                    for one in conditions(sheet, column)
                ],
                nullable=not column.required,
                required=False,
            )
            for column in sheet.columns
        }
    )


def _sound(sheet: Sheet, column: Column, values: Array) -> bool:
    """Whether every condition of a column holds, so that its schema could find nothing."""
    import pandas as pd

    missing = pd.isna(values)
    if column.required and missing.any():
        return False
    if missing.all():  # nobody typed into it, as into most columns
        return True
    there = values[~missing] if missing.any() else values
    try:
        return all(one.holds(there).all() for one in conditions(sheet, column))
    except Exception:  # values of a strange type: the schema says which
        return False


def failures(sheet: Sheet, table: Table) -> list[tuple[str, str, int]]:
    """Every failure of a list sheet as (code, column key, spreadsheet row)."""
    columns = {} if table.frame.empty else table.values
    asked = [key for key, own in columns.items() if not _sound(sheet, sheet.column(key), own)]
    if not asked:
        return []
    import pandera.errors
    from pandera.config import config_context

    try:
        # An environment that switches validation off elsewhere must not switch it off here.
        with config_context(validation_enabled=True):
            schema(sheet).validate(table.frame[asked], lazy=True)
    except pandera.errors.SchemaErrors as faults:
        cases = faults.failure_cases
        codes = cases["check"].where(cases["check"] != "not_nullable", "cell-missing")
        return [
            (str(code), str(key), int(row))
            for code, key, row in zip(codes, cases["column"], cases["index"], strict=True)
        ]
    return []


def bounds(column: Column, unit: str) -> str:
    """The bounds of a column in words, in the unit typed: 'drop limit from 0.1 to 60 m'."""
    if unit in PRESSURE_UNITS and column.low is not None and column.high is not None:
        low, high = (value / metres_per(unit) for value in (column.low, column.high))
        return f"{label(column)} from {low:.4g} to {high:.4g} {unit}"
    if column.positive:
        return f"{label(column)} above 0"
    if column.low is None or column.high is None:
        edge = f"{number(column.low)} or more" if column.low is not None else "any number"
        return f"{label(column)} {edge}"
    return f"{label(column)} from {number(column.low)} to {with_unit(number(column.high), unit)}"


def _accepted(column: Column, code: str, unit: str, flow_unit: str, typed_in: str) -> str:
    if column.choices:
        return ", ".join(column.choices)
    if code in ("value-out-of-bounds", "pressure-negative"):
        # Bounds are kept in canonical units.
        return bounds(column, typed_in or unit_for(column, METRE, "m3/h"))
    if column.kind in NUMERIC:
        named = unit_for(column, unit, flow_unit)
        return f"{label(column)} as a number" + (f" in {named}" if named else "")
    return f"{label(column)} {_NOUNS[column.kind]}"


def _until_then(joined: JoinedBook, sheet: Sheet, column: Column, code: str) -> str:
    """What stands in for a number beyond its bounds; nothing where the whole reading is unused."""
    if code not in ("value-out-of-bounds", "pressure-negative"):
        return ""
    if sheet is STATIONS and column.key == "drop_limit":
        limit = joined.shown.limit(joined.book.settings.drop_limit)
        return f"; until then the farm's limit of {limit} is used"
    if sheet is WATER:
        return "; until then it is not rated"
    if sheet is READINGS and column.key in ("inlet", "outlet"):
        return ""
    return f"; {AS_EMPTY}"


def _stood_in(place: Listed, key: str, row: int) -> bool:
    """Whether another column's number stands in for a cell that was left blank."""
    instead = place.sheet.column(key).instead
    return bool(instead) and not math.isnan(float(str(place.at(row, instead))))


def check_list(joined: JoinedBook, place: Listed) -> list[Finding]:
    """The schema findings of one list.

    A column that the sheet does not have, or a cell that was typed but not understood, has
    the reader's own finding and is not reported again as empty.
    """
    found, empty = [], defaultdict[int, list[str]](list)
    for code, key, row in failures(place.sheet, place.table):
        if code == "cell-missing":
            typed = key not in place.table.places or row in place.table.raw.get(key, {})
            if not typed and not _stood_in(place, key, row):
                empty[row].append(key)
            continue
        column = place.sheet.column(key)
        accepted = _accepted_at(joined, place, code, key, row)
        accepted += _until_then(joined, place.sheet, column, code)
        found.append(finding(place, code, key, row, joined.read(place, key, row), accepted))
    return [*found, *(_empty(joined, place, row, keys) for row, keys in empty.items())]


def _accepted_at(joined: JoinedBook, place: Listed, code: str, key: str, row: int) -> str:
    unit, stated = str(place.at(row, "unit")), place.table.units.get(key, "")
    flow_unit = joined.book.settings.flow_unit
    return _accepted(place.sheet.column(key), code, unit, flow_unit, stated)


def _empty(joined: JoinedBook, place: Listed, row: int, keys: Sequence[str]) -> Finding:
    """The required cells of a row that are empty, in one sentence."""
    code, cells = "cell-missing", [place.table.cell(key, row) for key in keys]
    read = "nothing" if len(keys) == 1 else f"nothing in {listed(cells)}"
    accepted = listed([_accepted_at(joined, place, code, key, row) for key in keys])
    return finding(place, code, keys[0], row, read, accepted)


def check_settings(book: Book) -> list[Finding]:
    """The bounds of the Farm sheet's settings; a setting left empty is never a fault."""
    found = []
    for column in FARM.columns:
        value = getattr(book.settings, column.key)
        if column.kind not in NUMERIC or value is None:
            continue
        if column.allows(value):
            continue
        unit = unit_for(column, METRE, "m3/h")
        found.append(
            find(
                "value-out-of-bounds", sheet=book.farm_sheet,
                cell=book.setting_cells.get(column.key, ""),
                read=with_unit(number(value, 3), unit), accepted=bounds(column, unit),
            )
        )  # fmt: skip
    return found
