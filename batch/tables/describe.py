"""One description of a table, from which result sheet, printed page, CSV and tests follow.

A column says what it holds (its physical kind), where the value comes from and how wide it
stands; how a kind is written and formatted is decided once, by the writer of each medium.
Values are handed on in the unit that the column names; a writer that shows another unit
converts there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Any, Generic, TypeVar

from siltbook.templates.book import column_letters
from siltbook.templates.shown import IN_METRES, Shown

Row = TypeVar("Row")  # what a table has one row for: a judged station, a run, a finding


class Kind(StrEnum):
    """What a column holds; decides how every medium writes, formats and aligns it."""

    TEXT = "text"
    NAME = "name"  # of a station, block, person: stands on one line
    VERDICT = "verdict"
    VERDICTS = "verdicts"
    DATE = "date"
    TIME = "time"
    YES_NO = "yes or no"
    COUNT = "count"  # a whole number
    PRESSURE = "pressure"  # a pressure or a drop [m of water]
    RATE = "rate"  # a drop per time [m of water per day, week or month: the unit says]
    FLOW = "flow"  # [m3/h]
    VOLUME = "volume"  # [m3]
    ENERGY = "energy"  # [kWh]
    MONEY = "money"  # in the farm's currency
    SHARE = "share"  # 0 to 1, or a little beyond
    CHANCE = "chance"  # a probability, or a share that is looked at closely, 0 to 1
    DAYS = "days"  # with a fraction
    NUMBER = "number"  # any other amount


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column.

    `key` is its name in files and in formulas; `header` what people see, where '{unit}' stands
    for the unit; `width` [characters of a sheet, points of a page]; `source` gives the value of
    one row, None where there is none; `note` says what it is. `style` names a format of the look
    where the kind's own does not fit; `shade` the format of a single cell; `said` gives a text
    that names pressures or dates, as they are shown. `formula` (sheets
    only) is written in keys of the same row: '{drop_m}/{limit_m}'. `required`, `choices`, `low`
    and `high` are what a description of the data promises.
    """

    key: str
    header: str
    kind: Kind
    width: float
    source: Callable[[Row], object]
    unit: str = ""
    note: str = ""
    style: str = ""
    shade: Callable[[Row], str] | None = None
    said: Callable[[Row, Shown], object] | None = None
    formula: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def title(self) -> str:
        """The header with its unit."""
        return self.header.replace("{unit}", self.unit)

    def but(self, **changes: Any) -> Column[Row]:
        """The same column with another header, width, style or source, as another table has it."""
        return replace(self, **changes)


@dataclass(frozen=True)
class Table(Generic[Row]):
    """A table: its columns from left to right. `name` is a sheet's or a file's."""

    name: str
    columns: tuple[Column[Row], ...]

    @cached_property
    def places(self) -> Mapping[str, int]:
        """Where each column stands, by key (0-based)."""
        return {column.key: at for at, column in enumerate(self.columns)}

    @property
    def last(self) -> int:
        """Place of the last column (0-based)."""
        return len(self.columns) - 1

    @property
    def width(self) -> float:
        """All columns together [characters]."""
        return sum(column.width for column in self.columns)

    @property
    def widths(self) -> list[float]:
        """Each column's [characters]."""
        return [column.width for column in self.columns]

    def letter(self, key: str) -> str:
        """The letters of a column of the sheet; KeyError for an unknown key."""
        return column_letters(self.places[key])

    def column(self, key: str) -> Column[Row]:
        """The column with this key; KeyError where there is none."""
        return self.columns[self.places[key]]

    def values(self, row: Row) -> list[object]:
        """One row, as the sources give it."""
        return [column.source(row) for column in self.columns]

    @cached_property
    def formulas(self) -> Mapping[int, str]:
        """Formulas by place, with only '{n}', the row's number, still to be filled in."""
        cells = {key: f"{column_letters(at)}{{n}}" for key, at in self.places.items()}
        return {
            at: column.formula.format(**cells)
            for at, column in enumerate(self.columns)
            if column.formula
        }


def pick(known: Mapping[str, Column[Row]], *keys: str) -> tuple[Column[Row], ...]:
    """The columns with these keys, in this order; KeyError for an unknown one."""
    return tuple(known[key] for key in keys)


def in_unit(table: Table[Row], unit: Shown) -> Table[Row]:
    """The table with its pressures and rates in the unit that is shown, and its words as they are
    shown; twice would be once."""
    if unit == IN_METRES:
        return table
    return replace(table, columns=tuple(_in_unit(column, unit) for column in table.columns))


def _in_unit(column: Column[Row], unit: Shown) -> Column[Row]:
    named, said = unit.header(column.unit), column.said
    if said is not None:
        return column.but(said=None, source=lambda row: said(row, unit))
    if column.kind not in (Kind.PRESSURE, Kind.RATE) or named == column.unit:
        return column
    source = column.source

    def converted(row: Row) -> object:
        value = source(row)
        return unit.value(value) if isinstance(value, float) else value

    return column.but(unit=named, source=converted)
