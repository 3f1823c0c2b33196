"""One workbook as the program holds it: typed frames in canonical units, with addresses."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from functools import cache, cached_property, partial
from typing import TYPE_CHECKING, TypeVar

from siltbook.templates.contract import CARRIED, CHANGED_GAUGES, NUMERIC, WATER, Column, Sheet
from siltbook.templates.days import ISO
from siltbook.templates.shown import METRE, Shown, shown_in

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from typing import Any, TypeAlias

    import numpy.typing as npt
    import pandas as pd

    Array: TypeAlias = npt.NDArray[Any]


def column_letters(index: int) -> str:
    """Spreadsheet letters of a 0-based column index: 0 -> A, 26 -> AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@dataclass(frozen=True)
class Table:
    """One list sheet as read.

    `frame` has one row per used row and its index is the spreadsheet row number; its columns
    are all keys of the contract's sheet (absent ones hold missing values): text and choices
    as str or None (object), dates and times as datetime.date / datetime.time or None
    (object), everything else float64 with NaN. Pressures [m of water], flows [m3/h].
    `places` maps each key that the sheet really has to its 0-based column index.
    `raw` maps key -> {spreadsheet row: what was read}, for messages and live formulas:
    float where the cell is a number, str where it is text.
    `unread` has cells that say something which was not read, where a blank one would reassure:
    row -> key and text.
    `aside` has rows of readings, work and changed gauges that could not be placed: row -> station,
    day or None; `named_units` the unit that stands in a row of gauges, '' for one not known.
    `struck` has the rows of readings and work that somebody struck through, `struck_remarks` those
    in which the remark is. `loose` has the remarks of rows that are not in the frame: row ->
    station or '', day or None, remark.
    """

    sheet: str  # the sheet's name in the book
    header_row: int
    places: dict[str, int]
    frame: pd.DataFrame
    raw: dict[str, dict[int, object]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)  # key -> unit that its header states
    aside: dict[int, tuple[str, dt.date | None]] = field(default_factory=dict)
    struck: frozenset[int] = frozenset()
    unread: dict[int, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    loose: dict[int, tuple[str, dt.date | None, str]] = field(default_factory=dict)
    struck_remarks: frozenset[int] = frozenset()
    named_units: dict[int, str] = field(default_factory=dict)

    @cached_property
    def values(self) -> dict[str, Array]:
        """The columns of the frame as arrays: a frame gives each out anew, and slowly."""
        return {str(key): column.to_numpy() for key, column in self.frame.items()}

    @cached_property
    def rows(self) -> list[int]:
        """The spreadsheet rows of the frame."""
        return [int(row) for row in self.frame.index.tolist()]

    def records(self, values: Mapping[str, Array] | None = None) -> Iterator[dict[str, Any]]:
        """Key -> value of each row, its number under `row`; of `values`, where they are given."""
        columns = self.values if values is None else values
        keys = ("row", *columns)
        listed = (column.tolist() for column in columns.values())
        for cells in zip(self.rows, *listed, strict=True):
            yield dict(zip(keys, cells, strict=True))

    def cell(self, key: str, row: int) -> str:
        """Address of one cell, for example D7; of the row's first cell where the key is absent."""
        return f"{column_letters(self.places.get(key, 0))}{row}"


Values = TypeVar("Values", "pd.Series", "Array")


def outside(column: Column, values: Values) -> Values:
    """Where a column's numbers [canonical units] lie beyond its bounds; missing ones do not."""
    found = values <= 0.0 if column.positive else values < (
        -math.inf if column.low is None else column.low
    )  # fmt: skip
    return found if column.high is None else found | (values > column.high)


def beyond(sheet: Sheet, values: Mapping[str, Array]) -> dict[str, Array]:
    """Where numbers of a list lie beyond their column's bounds, by the columns that have such."""
    numbers = (c for c in sheet.columns if c.kind in NUMERIC and c.key in values)
    found = ((c.key, outside(c, values[c.key])) for c in numbers)
    return {key: mask for key, mask in found if mask.any()}


def set_aside(sheet: Sheet, values: Mapping[str, Array]) -> dict[str, Array]:
    """The values of a list without the numbers that lie beyond their column's bounds.

    The checks have a finding for each; as if they had not been typed, they decide nothing.
    """
    import numpy as np

    wrong = beyond(sheet, values)
    return {**values, **{key: np.where(at, math.nan, values[key]) for key, at in wrong.items()}}


def frame_of(sheet: Sheet, rows: Array, values: Mapping[str, Array]) -> pd.DataFrame:
    """The frame of a list: the columns of the contract's sheet, by spreadsheet row."""
    import pandas as pd

    if not len(rows):
        return _without_rows(sheet).copy(deep=False)
    index = pd.Index(rows, dtype="int64")
    keys = [column.key for column in sheet.columns]
    made = {key: pd.Series(values[key], index=index, dtype=values[key].dtype) for key in keys}
    return pd.DataFrame(made, index=index)


@cache
def _without_rows(sheet: Sheet) -> pd.DataFrame:
    """Most books have some lists without a row."""
    import pandas as pd

    types = {c.key: "float64" if c.kind in NUMERIC else "object" for c in sheet.columns}
    made = {key: pd.Series(dtype=of) for key, of in types.items()}
    return pd.DataFrame(made, index=pd.Index([], dtype="int64"))


def no_rows(sheet: Sheet) -> Table:
    """An optional list of a book that has none."""
    return Table(sheet.name, 1, {}, _without_rows(sheet).copy(deep=False))


USUAL_LIMIT = 5.0  # [m] common practice, no published source


@dataclass(frozen=True)
class Settings:
    """The Farm sheet with defaults filled in; pressures [m], hours [h/day], interval [days]."""

    farm: str = ""
    season: str = ""
    pressure_unit: str = "bar"
    flow_unit: str = "m3/h"
    drop_limit: float = USUAL_LIMIT
    watch_share: float = 0.8
    flush_inlet: float = 2.0e5 / 9806.65
    flush_cycles: int = 3
    interval: float = 7.0
    review_date: dt.date | None = None
    hours: float | None = None
    efficiency: float | None = None
    price: float | None = None
    currency: str = ""
    cleaning_hours: float | None = None  # [h]
    labour_price: float | None = None  # [per h]
    cycle_minutes: float | None = None  # [min]
    clogging_table: str = "Haman 2017"
    passage_rule: str = "one tenth"
    show_pressures: str = ""
    show_dates: str = ""
    unit_said: bool = False  # whether the farm says its pressure unit
    not_read: tuple[str, ...] = ()  # keys of rules that were typed and cannot be read

    @property
    def shown(self) -> Shown:
        """Units and dates of all results: pressures as asked, else in the farm's own unit (metres
        where it says none), flows in its own, dates as asked, else as 2026-08-30."""
        own = self.pressure_unit if self.unit_said else METRE
        return shown_in(self.show_pressures or own, self.show_dates or ISO, self.flow_unit)


@dataclass(frozen=True)
class Counts:
    """Rows of one list sheet: read = used + set aside."""

    read: int
    used: int
    set_aside: int


@dataclass(frozen=True)
class Elsewhere:
    """Days of one station's rows on a sheet that was not read and looks like the list `like`."""

    sheet: str
    like: str
    days: tuple[dt.date, ...]


@dataclass(frozen=True)
class Book:
    """A workbook in canonical units. `places` of settings: key -> cell address on `farm_sheet`."""

    path: str
    settings: Settings
    stations: Table
    readings: Table
    work: Table
    agreed: Table
    farm_sheet: str = "Farm"
    setting_cells: dict[str, str] = field(default_factory=dict)
    setting_raw: dict[str, object] = field(default_factory=dict)  # what those cells hold
    counts: dict[str, Counts] = field(default_factory=dict)
    sheet_names: tuple[str, ...] = ()
    water: Table = field(default_factory=partial(no_rows, WATER))
    gauges: Table = field(default_factory=partial(no_rows, CHANGED_GAUGES))
    carried: Table = field(default_factory=partial(no_rows, CARRIED))
    date1904: bool = False  # days are counted from 1904, as some older books do
    # Station -> entries that no list has: on a sheet that looks like Readings or Work done and was
    # not read, with that list's name and the days.
    elsewhere: dict[str, tuple[Elsewhere, ...]] = field(default_factory=dict)
    # Every name that a station goes by, as `names.name_key` compares it -> the register's name.
    names: dict[str, str] = field(default_factory=dict)

    def lists(self) -> dict[str, Table]:
        """The list sheets by the contract's names, in its order."""
        return {
            "Stations": self.stations,
            "Readings": self.readings,
            "Work done": self.work,
            "Agreed": self.agreed,
            "Water tests": self.water,
            "Gauges": self.gauges,
            "Carried over": self.carried,
        }
