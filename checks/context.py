"""The book's lists joined with its register: what every cross-row rule stands on."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from siltbook.checks.changed import changed_gauges
from siltbook.checks.findings import Finding, find
from siltbook.checks.lastday import latest_day
from siltbook.checks.wording import shown
from siltbook.templates.book import Book, Table, set_aside
from siltbook.templates.contract import (
    AGREED,
    CARRIED,
    CHANGED_GAUGES,
    NUMERIC,
    READINGS,
    STATIONS,
    WATER,
    WORK,
    Sheet,
)
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown

if TYPE_CHECKING:
    import pandas as pd

_FROM_REGISTER = (
    "full_scale", "division", "gauges", "gauge_class", "reference_flow", "in_service", "unit",
)  # fmt: skip


@dataclass(frozen=True)
class Listed:
    """One list sheet with, per row: `key` (the station as it is compared), `name` (as the
    register spells it), `known` (in the register), `unit` of pressure and, on every list but
    the register, the station's gauge and flow data [m, m3/h]. Lists with dates also have
    `day` (datetime64), and with times `second` (of the day, NaN where no time is given). A list
    without stations has no `key` and no `known`, and its names are missing.
    """

    sheet: Sheet
    table: Table
    frame: pd.DataFrame

    # A look-up per finding in a frame of mixed types is slow; these are asked every time.
    @cached_property
    def names(self) -> dict[Hashable, object]:
        """Spreadsheet row -> the station's name."""
        return self.frame["name"].to_dict()

    @cached_property
    def units(self) -> dict[Hashable, object]:
        """Spreadsheet row -> the unit of its pressures."""
        return self.frame["unit"].to_dict()

    @cached_property
    def days(self) -> dict[Hashable, dt.date]:
        """Spreadsheet row -> the entry's day, where it has one."""
        key = "since" if self.sheet is CHANGED_GAUGES else "date"
        dates = self.frame[key].items() if key in self.frame else ()
        return {row: day for row, day in dates if isinstance(day, dt.date)}


@dataclass(frozen=True)
class JoinedBook:
    """The lists, joined. `as_of` is None only where the book holds no entry."""

    book: Book
    as_of: dt.date | None
    stations: Listed
    readings: Listed
    work: Listed
    agreed: Listed
    water: Listed
    gauges: Listed
    carried: Listed

    @property
    def shown(self) -> Shown:
        """The unit and the dates of all findings."""
        return self.book.settings.shown

    def read(self, place: Listed, column: str, row: int) -> str:
        """One cell as a person typed it, with its unit."""
        value = place.table.frame.at[row, column]
        unit = place.units.get(row)
        return shown(place.table, place.sheet.column(column), row, value, self.book.settings, unit)


def finding(place: Listed, code: str, column: str, row: int, read: str, accepted: str) -> Finding:
    """A finding at one cell of a list, carrying the row's station."""
    name = place.names.get(row)
    return find(
        code, sheet=place.table.sheet, cell=place.table.cell(column, row), read=read,
        accepted=accepted, station=name if isinstance(name, str) else "",
        day=place.days.get(row),
    )  # fmt: skip


def hits(mask: pd.Series) -> list[int]:
    """The spreadsheet rows where a mask holds; a missing answer does not count."""
    return [int(row) for row in mask.index[mask.fillna(False).to_numpy(dtype=bool)]]


def blank(place: Listed, column: str) -> pd.Series:
    """Where a cell is really empty: one that was typed but not understood is not."""
    unread = place.table.unread.items()
    typed = [*place.table.raw.get(column, {}), *(r for r, own in unread if column in dict(own))]
    return place.frame[column].isna() & ~place.frame.index.isin(typed)


def station_key(name: object) -> str | None:
    """A station's name as it is compared: case and spacing do not count."""
    return name_key(name) if isinstance(name, str) else None


def _typed(sheet: Sheet, table: Table) -> dict[str, pd.Series]:
    """The list's columns, ready to be compared; a frame is made of them when all are there."""
    import pandas as pd

    made = {str(key): column for key, column in table.frame.items()}
    for column in sheet.columns:
        if column.kind in NUMERIC and made[column.key].dtype != "float64":
            numbers = pd.to_numeric(made[column.key], errors="coerce")
            made[column.key] = numbers.astype("float64")
    if "station" in made:
        keys = [station_key(name) for name in made["station"].tolist()]
        made["key"] = pd.Series(keys, table.frame.index, dtype="object")
    if "date" in made:
        made["day"] = pd.to_datetime(made["date"], errors="coerce")
    return made


def _second(time: object) -> float:
    if not isinstance(time, dt.time):
        return math.nan
    return time.hour * 3600.0 + time.minute * 60.0 + time.second


def _register(book: Book) -> pd.DataFrame:
    import pandas as pd

    frame = set_aside(STATIONS, pd.DataFrame(_typed(STATIONS, book.stations)))
    unit = frame["unit"].where(frame["unit"].notna(), book.settings.pressure_unit)
    return frame.assign(name=frame["station"], known=frame["key"].notna(), unit=unit)


def _change_gauges(frame: pd.DataFrame, book: Book, day: str) -> None:
    """Put the gauge in place that a station's row was read on, where the register's was changed."""
    for name, gauges in changed_gauges(book).items():
        own = frame["key"] == station_key(name)
        for gauge in gauges if own.any() else ():
            rows = own & frame[day].map(lambda d, since=gauge.since: d is not None and d >= since)
            for column in ("full_scale", "gauge_class", "division"):
                value = getattr(gauge, column)
                frame.loc[rows, column] = math.nan if value is None else value
            for column in ("gauges", "unit"):
                if getattr(gauge, column) is not None:
                    frame.loc[rows, column] = getattr(gauge, column)


# By sheet and kinds of columns: most books have three lists without a row.
_WITHOUT_ROWS: dict[tuple[object, ...], pd.DataFrame] = {}


def _joined(sheet: Sheet, table: Table, register: pd.DataFrame, book: Book) -> Listed:
    if len(table.frame):
        return _joined_rows(sheet, table, register, book)
    kinds = (sheet, *table.frame.dtypes.items(), *register.dtypes.items())
    if kinds not in _WITHOUT_ROWS:
        _WITHOUT_ROWS[kinds] = _joined_rows(sheet, table, register, book).frame
    return Listed(sheet, table, _WITHOUT_ROWS[kinds].copy())


def _joined_rows(sheet: Sheet, table: Table, register: pd.DataFrame, book: Book) -> Listed:
    import numpy as np
    import pandas as pd

    made, index = _typed(sheet, table), table.frame.index
    # The first of a repeated station counts; the repetition has its own finding.
    firsts: dict[object, int] = {}
    for at, key in enumerate(register["key"].tolist()):
        if key is not None:
            firsts.setdefault(key, at)
    places = np.array([firsts.get(key, -1) for key in made["key"].tolist()], dtype=np.intp)
    known = places >= 0

    def from_register(column: str, other: object) -> pd.Series:
        """The column of each row's station; `other` where it has none."""
        values = register[column].to_numpy()
        taken = values[places] if len(values) else np.full(len(places), math.nan, values.dtype)
        taken[~known] = other
        return pd.Series(taken, index, dtype=taken.dtype)

    made["known"] = pd.Series(known, index)
    made["name"] = from_register("name", None).where(made["known"], made["station"])
    for column in _FROM_REGISTER:
        made[column] = from_register(column, math.nan)
    made["unit"] = made["unit"].where(made["known"], book.settings.pressure_unit)
    if "date" in made:
        seconds = [_second(time) for time in made["time"].tolist()]
        made["second"] = pd.Series(seconds, index, dtype="float64")
    frame = pd.DataFrame(made)
    if "date" in made or sheet is CHANGED_GAUGES:
        _change_gauges(frame, book, "date" if "date" in made else "since")
    return Listed(sheet, table, frame)


def _of_the_farm(sheet: Sheet, table: Table) -> Listed:
    """A list without stations: its rows belong to the whole farm."""
    import pandas as pd

    frame = pd.DataFrame(_typed(sheet, table)).assign(name=None, unit="")
    return Listed(sheet, table, frame)


def join_lists(book: Book, as_of: dt.date | None) -> JoinedBook:
    """Join the lists with the register; no `as_of` means the latest entry in the book."""
    register = _register(book)
    readings = _joined(READINGS, book.readings, register, book)
    work = _joined(WORK, book.work, register, book)
    return JoinedBook(
        book=book,
        as_of=as_of or latest_day(book),
        stations=Listed(STATIONS, book.stations, register),
        readings=readings,
        work=work,
        agreed=_joined(AGREED, book.agreed, register, book),
        water=_of_the_farm(WATER, book.water),
        gauges=_joined(CHANGED_GAUGES, book.gauges, register, book),
        carried=_joined(CARRIED, book.carried, register, book),
    )
