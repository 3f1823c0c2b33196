"""What a number of a copy is in the book that it is merged into.

A unit word says how the numbers beside it are read, so it is no value like another: a book keeps
its own, and numbers of copies are converted to them. A unit comes from a copy only with a station
or a changed gauge that the book lacks, where no number of the book would be read another way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from siltbook.batch.reading.amounts import UNREADABLE
from siltbook.batch.reading.book_units import ISO, Units, units_in
from siltbook.batch.reading.parsing import choice
from siltbook.templates.contract import (
    CHANGED_GAUGES,
    FARM,
    LISTS,
    PRESSURE_UNITS,
    STATIONS,
    Column,
    Kind,
)
from siltbook.templates.shown import METRE
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per, unit_read_in

if TYPE_CHECKING:
    from siltbook.batch.merging.sides import Entry, Key, Side, Value
    from siltbook.templates.book import Book

_SHEETS = {sheet.name: sheet for sheet in LISTS}


def units_of(side: Side) -> Units:
    """The units of a book as they are read, its stations under the names of the home book."""
    lists = (side.entries[sheet.name] for sheet in (STATIONS, CHANGED_GAUGES))
    odd = {(e.sheet, e.key): UNREADABLE for es in lists for e in es if _word(e) == UNREADABLE}
    return units_in(side.book, side.names).with_units(odd)


def _word(entry: Entry) -> str:
    said = entry.cells.get("unit")
    return "" if said is None else (choice(str(said), PRESSURE_UNITS) or UNREADABLE)


def settled(home: Side, copies: Sequence[Side]) -> dict[tuple[str, Key], str]:
    """The units that come from copies: of which row of *Stations* or *Gauges*, and which unit.

    All copies that have the row agree on it, and the book has no pressure that it would touch.
    """
    said: dict[tuple[str, Key], set[str]] = {}
    typed: set[tuple[str, Key]] = set()
    for copy in copies:
        farm = units_of(copy).pressure
        for sheet in (STATIONS.name, CHANGED_GAUGES.name):
            for entry in copy.entries[sheet]:
                unit = _word(entry) or (farm if sheet == STATIONS.name else "")
                if unit:
                    said.setdefault((sheet, entry.key), set()).add(unit)
                if "unit" in entry.cells:
                    typed.add((sheet, entry.key))
    last = _last_pressures(home)
    return {
        row: next(iter(units))
        for row, units in said.items()
        if row in typed and len(units) == 1 and UNREADABLE not in units and _free(home, last, *row)
    }


def _free(home: Side, last: Mapping[str, str], sheet: str, key: Key) -> bool:
    """Whether the book has a place for a row's unit, and nothing that it would change."""
    if "unit" not in home.tables[sheet].places:
        return False
    here = [entry for entry in home.entries[sheet] if entry.key == key]
    if here and (sheet == STATIONS.name or any("unit" in entry.cells for entry in here)):
        return False
    since = key[1][:ISO] if sheet == CHANGED_GAUGES.name else ""
    return key[0] not in last or last[key[0]] < since


def _last_pressures(side: Side) -> dict[str, str]:
    """The last day with a pressure of each station, '' for one that stands in the register."""
    found: dict[str, str] = {}
    for name, sheet in _SHEETS.items():
        pressures = {column.key for column in sheet.columns if column.kind is Kind.PRESSURE}
        for entry in side.entries[name]:
            if not pressures.isdisjoint(entry.cells):
                found[entry.key[0]] = max(found.get(entry.key[0], ""), day_of(entry))
    return found


def day_of(entry: Entry) -> str:
    """The day of a row in ISO form; '' where it has none."""
    cells = entry.cells
    return str(cells.get("date") or cells.get("since") or "")[:ISO]


def converted(side: Side, into: Side, units: Units) -> Side:
    """A copy with every number in the units that the book `into` has there; `units` are its."""
    own = units_of(side)
    entries = dict(side.entries)
    for name, sheet in _SHEETS.items():
        theirs, mine = side.tables[name].units, into.tables[name].units
        if own != units or theirs != mine:
            columns = {c.key: c for c in sheet.columns}
            entries[name] = tuple(
                _row(entry, columns, (own, theirs), (units, mine)) for entry in entries[name]
            )
    entries[FARM.name] = tuple(_setting(e, side.book, into.book) for e in entries[FARM.name])
    return replace(side, entries=entries)


_Said = tuple[Units, Mapping[str, str]]  # a book's units, and those that a list's headers state


def _row(entry: Entry, columns: Mapping[str, Column], theirs: _Said, mine: _Said) -> Entry:
    return replace(entry, cells=dict(_cells(entry, columns, theirs, mine)))


def _cells(
    entry: Entry, columns: Mapping[str, Column], theirs: _Said, mine: _Said
) -> Iterator[tuple[str, Value]]:
    station, day = entry.key[0] if entry.key else "", day_of(entry)
    for key, value in entry.cells.items():
        column = columns.get(key)
        if column is not None and isinstance(value, float) and value:
            one = theirs[0].of(column, theirs[1], station, day)
            other = mine[0].of(column, mine[1], station, day)
            yield key, value if one == other else _in_other(value, column.kind, one, other)
        else:
            yield key, value


def _in_other(value: float, kind: Kind, one: str, other: str) -> Value:
    """A number of unit `one` in unit `other`; with words where either is not known."""
    per = cubic_metres_per_hour_per if kind is Kind.FLOW else metres_per
    try:
        return float(f"{value * per(one) / per(other):.10g}")
    except KeyError:
        return f"{value:.12g} (in the copy's unit)"


def _setting(entry: Entry, book: Book, into: Book) -> Entry:
    """A setting of a copy; a pressure as the book's own cell would have it, else with its unit."""
    column, value = FARM.column(entry.key[0]), entry.cells.get("value")
    pressure = column.kind in (Kind.PRESSURE, Kind.METRES)
    if not pressure or not isinstance(value, float) or not value:
        return entry  # nothing is nothing in every unit
    unit, mine = unit_of_setting(book, column), unit_of_setting(into, column)
    if not unit:
        return replace(entry, cells={"value": f"{value:.12g} (in the copy's unit)"})
    if unit == mine:
        return entry
    if not mine:
        return replace(entry, cells={"value": f"{value:.12g} {unit}"})
    made = float(f"{value * metres_per(unit) / metres_per(mine):.8g}")
    return replace(entry, cells={"value": made})


def unit_of_setting(book: Book, column: Column) -> str:
    """The unit in which a setting's number was read; '' where it has none, or was not used."""
    raw = book.setting_raw.get(column.key)
    if column.kind not in (Kind.PRESSURE, Kind.METRES) or not isinstance(raw, float) or not raw:
        return ""
    metres = getattr(book.settings, column.key)
    return unit_read_in(raw, metres, book.settings.pressure_unit, METRE)


def is_unit(sheet: str, key: Key, column: str) -> bool:
    """Whether a cell is a unit in which other cells are read."""
    if sheet == FARM.name:
        return key[:1] in (("pressure_unit",), ("flow_unit",))
    return sheet in (STATIONS.name, CHANGED_GAUGES.name) and column == "unit"


def unit_stays(entry: Entry, key: str, taken: Mapping[tuple[str, Key], str]) -> bool:
    """Whether a cell of a copy is a unit that the book does not take."""
    return is_unit(entry.sheet, entry.key, key) and (entry.sheet, entry.key) not in taken
