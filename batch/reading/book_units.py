"""In which unit each number of a book is read, for whoever adds rows to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from siltbook.batch.reading.amounts import UNREADABLE
from siltbook.batch.reading.parsing import choice
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, STATIONS, Column, Kind
from siltbook.templates.names import name_key
from siltbook.templates.shown import METRE

ISO = len("2026-05-01")  # characters of a day


@dataclass(frozen=True)
class Units:
    """In which units a book has its numbers: the farm's, a station's, its gauge's of a day.

    Stations by their names as `name_key` folds them; `gauges` in order of time, days in ISO form.
    """

    pressure: str
    flow: str
    stations: Mapping[str, str]
    gauges: Mapping[str, tuple[tuple[str, str], ...]]

    def at(self, station: str, day: str) -> str:
        """The unit of a station's pressures on a day; of the register for ''."""
        found = self.stations.get(station) or self.pressure
        for since, unit in self.gauges.get(station, ()):
            found = unit if since <= day else found
        return found

    def of(self, column: Column, stated: Mapping[str, str], station: str, day: str) -> str:
        """The unit of a cell; `stated` are those that headers state. '' for what has none."""
        if column.key in stated:
            return stated[column.key]
        if column.kind is Kind.METRES:
            return METRE
        if column.kind is Kind.FLOW:
            return self.flow
        return self.at(station, day) if column.kind is Kind.PRESSURE else ""

    def with_units(self, more: Mapping[tuple[str, tuple[str, ...]], str]) -> Units:
        """These units with those of further rows of *Stations* and *Gauges*, by sheet and key."""
        stations, gauges = dict(self.stations), {k: list(v) for k, v in self.gauges.items()}
        for (sheet, key), unit in more.items():
            if sheet == STATIONS.name:
                stations[key[0]] = unit
            else:
                gauges.setdefault(key[0], []).append((key[1][:ISO], unit))
        return replace(
            self, stations=stations, gauges={k: tuple(sorted(v)) for k, v in gauges.items()}
        )


def units_in(book: Book, names: Mapping[str, str]) -> Units:
    """The units of a book as they are read; of rows that say it twice the first counts.

    `names`: folded names of stations and what each is called, as `Book.names`. A farm's unit that
    is not known is UNREADABLE: nothing may be made of its numbers. A station's or gauge's is not
    seen here, since a book holds none then.
    """
    stations: dict[str, str] = {}
    for name, _, unit in _said(book.stations, names):
        stations.setdefault(name, unit)
    changes: dict[str, dict[str, str]] = {}
    for name, day, unit in _said(book.gauges, names):
        changes.setdefault(name, {}).setdefault(day, unit)
    gauges = {
        name: tuple((day, unit) for day, unit in sorted(own.items()) if day and unit)
        for name, own in changes.items()
    }
    pressure = _of_farm(book, "pressure_unit", PRESSURE_UNITS)
    return Units(pressure, _of_farm(book, "flow_unit", FLOW_UNITS), stations, gauges)


def _said(table: Table, names: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Folded station, day and unit of each row that names a station; '' for what is left out."""
    found = []
    for record in table.records():
        name = record["station"]
        if isinstance(name, str):
            day, unit = (str(record.get(key) or "") for key in ("since", "unit"))
            found.append((name_key(names.get(name_key(name), name)), day[:ISO], unit))
    return found


def _of_farm(book: Book, key: str, known: tuple[str, ...]) -> str:
    typed = str(book.setting_raw.get(key) or "").strip()
    return (
        UNREADABLE if typed and choice(typed, known) is None else str(getattr(book.settings, key))
    )
