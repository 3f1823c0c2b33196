"""The book's lists joined with its register: what every cross-row rule stands on."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

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

    from siltbook.templates.book import Array

_FROM_REGISTER = (
    "full_scale", "division", "gauges", "gauge_class", "reference_flow", "in_service", "unit",
)  # fmt: skip


@dataclass(frozen=True)
class Listed:
    """One list sheet, its `values` column by column, an array of one value a row: those of the
    sheet, `key` (the station as it is compared), `name` (as the register spells it), `known` (in
    the register), `unit` of pressure and, on every list but the register, the station's gauge and
    flow data [m, m3/h]. Lists with dates also have `day` (datetime64), and with times `second` (of
    the day, NaN where no time is given). A list without stations has no `key` and no `known`, and
    its names are missing.
    """

    sheet: Sheet
    table: Table
    values: dict[str, Array]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The values as a frame by spreadsheet row, for what is put into groups."""
        import pandas as pd

        index = self.table.frame.index
        made = {key: pd.Series(of, index, dtype=of.dtype) for key, of in self.values.items()}
        return pd.DataFrame(made, index=index)

    @cached_property
    def rows(self) -> Array:
        """The spreadsheet rows of the values."""
        return self.table.frame.index.to_numpy()

    @cached_property
    def places(self) -> dict[Hashable, int]:
        """Spreadsheet row -> where its values are."""
        return {row: place for place, row in enumerate(self.rows.tolist())}

    @cached_property
    def stations(self) -> Array:
        """A number for each station, by which rows are compared; -1 where there is none."""
        import pandas as pd

        return pd.factorize(self.values["key"], sort=True)[0]

    # A look-up per finding in an array is slow; these are asked every time.
    @cached_property
    def names(self) -> dict[Hashable, object]:
        """Spreadsheet row -> the station's name."""
        return self._by_row("name")

    @cached_property
    def units(self) -> dict[Hashable, object]:
        """Spreadsheet row -> the unit of its pressures."""
        return self._by_row("unit")

    @cached_property
    def days(self) -> dict[Hashable, dt.date]:
        """Spreadsheet row -> the entry's day, where it has one."""
        key = "since" if self.sheet is CHANGED_GAUGES else "date"
        dates = self._by_row(key) if key in self.values else {}
        return {row: day for row, day in dates.items() if isinstance(day, dt.date)}

    def _by_row(self, key: str) -> dict[Hashable, object]:
        return dict(zip(self.rows.tolist(), self.values[key].tolist(), strict=True))

    def at(self, row: int, key: str) -> Any:
        """One value."""
        return self.values[key][self.places[row]]

    def there(self, *keys: str) -> Array:
        """Where none of these columns lacks its value."""
        import numpy as np
        import pandas as pd

        found = np.ones(len(self.rows), dtype=bool)
        for key in keys:
            found &= pd.notna(self.values[key])
        return found

    def hits(self, mask: Array) -> list[int]:
        """The spreadsheet rows where a mask holds."""
        return [int(row) for row in self.rows[mask]]

    def blank(self, key: str) -> Array:
        """Where a cell is really empty: one that was typed but not understood is not."""
        import numpy as np

        unread = self.table.unread.items()
        typed = [*self.table.raw.get(key, {}), *(r for r, own in unread if key in dict(own))]
        empty = ~self.there(key)
        return empty & ~np.isin(self.rows, typed) if typed else empty


def one_of(values: Array, words: Iterable[str]) -> Array:
    """Where a column has one of these words."""
    import numpy as np

    found = np.zeros(len(values), dtype=bool)
    for word in words:
        found |= values == word
    return found


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
        value = place.table.values[column][place.places[row]]
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


def station_key(name: object) -> str | None:
    """A station's name as it is compared: case and spacing do not count."""
    return name_key(name) if isinstance(name, str) else None


def _typed(sheet: Sheet, table: Table) -> dict[str, Array]:
    """The list's columns, ready to be compared."""
    import numpy as np
    import pandas as pd

    made = dict(table.values)
    for column in sheet.columns:
        if column.kind in NUMERIC and made[column.key].dtype != "float64":
            numbers = pd.to_numeric(made[column.key], errors="coerce")
            made[column.key] = numbers.astype("float64")
    if "station" in made:
        made["key"] = np.empty(len(made["station"]), dtype=object)
        made["key"][:] = [station_key(name) for name in made["station"].tolist()]
    if "date" in made:
        made["day"] = pd.to_datetime(made["date"], errors="coerce").to_numpy()
    return made


def _second(time: object) -> float:
    if not isinstance(time, dt.time):
        return math.nan
    return time.hour * 3600.0 + time.minute * 60.0 + time.second


def _register(book: Book) -> Listed:
    import numpy as np

    made = set_aside(STATIONS, _typed(STATIONS, book.stations))
    register = Listed(STATIONS, book.stations, made)
    made["name"] = made["station"]
    made["known"] = register.there("key")
    made["unit"] = np.where(register.there("unit"), made["unit"], book.settings.pressure_unit)
    return register


def _change_gauges(values: dict[str, Array], book: Book, day: str) -> None:
    """Put the gauge in place that a station's row was read on, where the register's was changed."""
    import numpy as np

    for name, gauges in changed_gauges(book).items():
        own = values["key"] == station_key(name)
        for gauge in gauges if own.any() else ():
            since = [d is not None and d >= gauge.since for d in values[day].tolist()]
            rows = own & np.array(since, dtype=bool)
            for column in ("full_scale", "gauge_class", "division"):
                value = getattr(gauge, column)
                values[column][rows] = math.nan if value is None else value
            for column in ("gauges", "unit"):
                if getattr(gauge, column) is not None:
                    values[column][rows] = getattr(gauge, column)


def _joined(sheet: Sheet, table: Table, register: Listed, book: Book) -> Listed:
    import numpy as np

    made = _typed(sheet, table)
    # The first of a repeated station counts; the repetition has its own finding.
    firsts: dict[object, int] = {}
    for at, key in enumerate(register.values["key"].tolist()):
        if key is not None:
            firsts.setdefault(key, at)
    places = np.array([firsts.get(key, -1) for key in made["key"].tolist()], dtype=np.intp)
    known = places >= 0

    def from_register(column: str, other: object) -> Array:
        """The column of each row's station; `other` where it has none."""
        values = register.values[column]
        taken = values[places] if len(values) else np.full(len(places), math.nan, values.dtype)
        taken[~known] = other
        return taken

    made["known"] = known
    made["name"] = np.where(known, from_register("name", None), made["station"])
    for column in _FROM_REGISTER:
        made[column] = from_register(column, math.nan)
    made["unit"] = np.where(known, made["unit"], book.settings.pressure_unit)
    if "date" in made:
        seconds = [_second(time) for time in made["time"].tolist()]
        made["second"] = np.array(seconds, dtype="float64")
    if "date" in made or sheet is CHANGED_GAUGES:
        _change_gauges(made, book, "date" if "date" in made else "since")
    return Listed(sheet, table, made)


def _of_the_farm(sheet: Sheet, table: Table) -> Listed:
    """A list without stations: its rows belong to the whole farm."""
    import numpy as np

    count = len(table.frame)
    more = {"name": np.full(count, None, dtype=object), "unit": np.full(count, "", dtype=object)}
    return Listed(sheet, table, _typed(sheet, table) | more)


def join_lists(book: Book, as_of: dt.date | None) -> JoinedBook:
    """Join the lists with the register; no `as_of` means the latest entry in the book."""
    register = _register(book)
    readings = _joined(READINGS, book.readings, register, book)
    work = _joined(WORK, book.work, register, book)
    return JoinedBook(
        book=book,
        as_of=as_of or latest_day(book),
        stations=register,
        readings=readings,
        work=work,
        agreed=_joined(AGREED, book.agreed, register, book),
        water=_of_the_farm(WATER, book.water),
        gauges=_joined(CHANGED_GAUGES, book.gauges, register, book),
        carried=_joined(CARRIED, book.carried, register, book),
    )
