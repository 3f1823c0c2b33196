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

    def read(self, place: Listed, column: str, row: int) -> str:
        """One cell as a person typed it, with its unit."""
        value = place.table.frame.at[row, column]
        unit = place.units.get(row)
        return shown(
            place.table, place.sheet.column(column), row, value, self.book.settings, unit
        )


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
    typed = list(place.table.raw.get(column, {}))
    return place.frame[column].isna() & ~place.frame.index.isin(typed)


def station_key(name: object) -> str | None:
    """A station's name as it is compared: case and spacing do not count."""
    return name_key(name) if isinstance(name, str) else None


def _typed(sheet: Sheet, table: Table) -> pd.DataFrame:
    import pandas as pd

    frame = table.frame.copy()
    for column in sheet.columns:
        if column.kind in NUMERIC:
            frame[column.key] = pd.to_numeric(frame[column.key], errors="coerce").astype("float64")
    if "station" in frame:
        frame["key"] = frame["station"].map(station_key).astype("object")
    if "date" in frame:
        frame["day"] = pd.to_datetime(frame["date"], errors="coerce")
    return frame


def _second(time: object) -> float:
    if not isinstance(time, dt.time):
        return float("nan")
    return time.hour * 3600.0 + time.minute * 60.0 + time.second


def _register(book: Book) -> pd.DataFrame:
    frame = set_aside(STATIONS, _typed(STATIONS, book.stations))
    frame["name"] = frame["station"]
    frame["known"] = frame["key"].notna()
    frame["unit"] = frame["unit"].where(frame["unit"].notna(), book.settings.pressure_unit)
    return frame


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


def _joined(sheet: Sheet, table: Table, register: pd.DataFrame, book: Book) -> Listed:
    pressure_unit = book.settings.pressure_unit
    frame = _typed(sheet, table)
    # The first of a repeated station counts; the repetition has its own finding.
    first = register[register["key"].notna()].drop_duplicates("key").set_index("key")
    frame["known"] = frame["key"].isin(first.index)
    frame["name"] = frame["key"].map(first["name"]).where(frame["known"], frame["station"])
    for column in _FROM_REGISTER:
        # An empty register would turn a column of texts into one of numbers.
        frame[column] = frame["key"].map(first[column]).astype(register[column].dtype)
    frame["unit"] = frame["unit"].where(frame["known"], pressure_unit)
    if "date" in frame or sheet is CHANGED_GAUGES:
        _change_gauges(frame, book, "date" if "date" in frame else "since")
    if "date" in frame:
        frame["second"] = frame["time"].map(_second).astype("float64")
    return Listed(sheet, table, frame)


def _of_the_farm(sheet: Sheet, table: Table) -> Listed:
    """A list without stations: its rows belong to the whole farm."""
    frame = _typed(sheet, table)
    frame["name"], frame["unit"] = None, ""
    return Listed(sheet, table, frame)


def _latest(*lists: Listed) -> dt.date | None:
    days = [place.frame["day"].max() for place in lists if place.frame["day"].notna().any()]
    return max(days).date() if days else None


def join_lists(book: Book, as_of: dt.date | None) -> JoinedBook:
    """Join the lists with the register; no `as_of` means the latest entry in the book."""
    register = _register(book)
    readings = _joined(READINGS, book.readings, register, book)
    work = _joined(WORK, book.work, register, book)
    return JoinedBook(
        book=book,
        as_of=as_of or _latest(readings, work),
        stations=Listed(STATIONS, book.stations, register),
        readings=readings,
        work=work,
        agreed=_joined(AGREED, book.agreed, register, book),
        water=_of_the_farm(WATER, book.water),
        gauges=_joined(CHANGED_GAUGES, book.gauges, register, book),
        carried=_joined(CARRIED, book.carried, register, book),
    )
