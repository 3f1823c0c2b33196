"""What adopting works with: a grid of cells, tables found on it, columns with their meaning."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from siltbook.templates.book import column_letters

Cell = float | bool | str | dt.datetime  # a date cell is a datetime, a time of day alone a fraction
Row = Mapping[str, object]

# What a column can be taken for; the mapping's drop-down.
PRESSURES = ("inlet", "outlet", "drop", "field")
MEASURED = (*PRESSURES, "flow")
ROLES = (
    "station", "date", "time", "date and time", *MEASURED, "occasion", "read by", "note",
    "work", "cycles", "click", "water", "water heard", "unit", "leave out",
)  # fmt: skip
ASK = "?"  # in the mapping: not yet known, a question asks
NO_VALUE = "a formula without a value"  # in place of one; an error value is its own text
STRUCK = " (struck through)"  # behind what was typed, wherever it is shown


@dataclass(frozen=True)
class Amount:
    """A number with the unit in which it was written down."""

    value: float
    unit: str


@dataclass
class Grid:
    """One sheet or text table: 1-based row -> 0-based column -> filled cell.

    `hidden` rows, `hidden_columns` and `sheet_hidden`: what people do not see; it is read all the
    same. `struck`: (row, column) of cells with a line through them; a number's is a text then that
    says so. `notes`: what people put at cells.
    """

    file: str
    sheet: str
    rows: dict[int, dict[int, Cell]]
    merged: tuple[str, ...] = ()
    hidden: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    sheet_hidden: bool = False
    struck: frozenset[tuple[int, int]] = frozenset()
    notes: Mapping[tuple[int, int], str] = field(default_factory=dict)  # at cells
    date1904: bool = False  # plain numbers that are days count from 1904
    text: str = ""  # a long text table whole, of which `rows` has the first only
    delimiter: str = ""
    read_as: str = ""  # a sentence, where its encoding was told by what the letters look like

    @property
    def place(self) -> str:
        """File and sheet as messages name them."""
        return f"{self.file}, sheet {self.sheet}" if self.sheet else self.file


@dataclass(frozen=True)
class Parsed:
    """A header taken apart: what it names, its unit, what is left of it, and how it was known.

    `sure`: 'sure' by the table's words, 'fairly' by a near spelling, '' where nothing is known.
    """

    role: str
    unit: str = ""
    rest: str = ""
    sure: str = ""
    why: str = ""


@dataclass
class Column:
    """One column of a table: its header as found and what it is taken for."""

    index: int
    header: str
    role: str
    unit: str = ""
    station: str = ""
    sure: str = ""
    why: str = ""
    samples: tuple[str, ...] = ()

    @property
    def letters(self) -> str:
        return column_letters(self.index)


@dataclass
class Found:
    """One table on a sheet: header rows, data rows, columns, and what holds for all of them.

    `sections`: data row -> station, where rows stand under a station's name. `turned`: dates ran
    across and the table was turned. `left_out`: row -> why, of rows that are no data.
    """

    grid: Grid
    header_rows: tuple[int, ...]
    first: int
    last: int
    columns: list[Column]
    layout: str = "list"
    station: str = ""
    station_from: str = ""
    title: str = ""
    year: int | None = None
    month: int | None = None
    date_order: str = ""
    decimal: str = ""
    sections: dict[int, str] = field(default_factory=dict)
    left_out: dict[int, str] = field(default_factory=dict)
    turned: bool = False
    logger: bool = False
    origin: dict[int, int] = field(default_factory=dict)  # turned row -> column in the source

    def of(self, *roles: str) -> list[Column]:
        """The columns taken for one of these roles."""
        return [c for c in self.columns if c.role in roles]

    @property
    def signature(self) -> tuple[tuple[str, ...], ...]:
        """What a later file must show to be read by the same mapping."""
        from siltbook.batch.adopt.words import plain

        return tuple((plain(c.header),) for c in self.columns)

    def cell(self, row: int, column: int) -> str:
        """The address of a cell as people find it in the source."""
        if self.turned:
            return f"{column_letters(self.origin[row])}{column}"
        return f"{column_letters(column)}{row}"

    def where(self, row: int) -> str:
        """A data row as people find it in the source."""
        at = f"column {column_letters(self.origin[row])}" if self.turned else f"row {row}"
        hidden = " (hidden)" if row in self.grid.hidden else ""
        return f"{self.grid.place}, {at}{hidden}"


@dataclass(frozen=True)
class Question:
    """One thing that only a person knows. `about` is the key under which the answer is used."""

    about: str
    where: str
    text: str
    choices: tuple[str, ...]
    columns: int = 1  # columns that wait for the answer
    answer: str = ""


@dataclass(frozen=True)
class LeftOut:
    """Rows, or a column, that enter nowhere, and why. `matters`: they hold pressures, or work."""

    where: str
    what: str
    why: str
    rows: int = 0  # rows of the count; 0 for a column or a single cell
    matters: bool = False


@dataclass
class Harvest:
    """What the tables gave: rows keyed as the contract keys them, in the units of their source.

    Pressures are (value, unit) pairs until a book takes them.
    """

    readings: list[dict[str, object]] = field(default_factory=list)
    work: list[dict[str, object]] = field(default_factory=list)  # with 'words' and 'where'
    left_out: list[LeftOut] = field(default_factory=list)
    read: int = 0
    used: int = 0
    proposed: int = 0
    notes: list[str] = field(default_factory=list)
    precision: dict[str, tuple[float, str]] = field(
        default_factory=dict
    )  # logger: station -> division

    @property
    def not_used(self) -> int:
        """Rows left out; read = used + proposed + not_used."""
        return sum(one.rows for one in self.left_out)
