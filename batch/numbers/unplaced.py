"""Readings that may be a station's latest, and work, that cannot be counted as such.

A row without a date that can be read, or with one far after all others, without a station, or
under a name that only looks like one of the register's is used for no station. Where it may be the
latest reading of one, nothing that was read before it speaks for today.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

from siltbook.checks.lastday import far_ahead, latest_day
from siltbook.checks.register import near_name
from siltbook.templates.book import Book, Elsewhere, Table

_Placed = tuple[int, dt.date]  # spreadsheet row and day
LostRow = tuple[int, dt.date | None]
_DITTO = frozenset((
        '"', "\u2033", "\u201c", "\u201d", "\u201e", "\u3003", "''", "\u00b4\u00b4", ",,",
        "ditto", "dito", "do", "dto", "idem", "id",
))  # fmt: skip


def unplaced(book: Book, as_of: dt.date | None) -> dict[str, tuple[int, ...]]:
    """Station -> rows of the sheet Readings that may hold its latest reading."""
    likely, used = _likely(book, book.readings, as_of)
    found: dict[str, list[int]] = defaultdict(list)
    for row, (name, on) in sorted(likely.items()):
        if _up_to(on, as_of) and _may_be_latest(row, on, used[name]):
            found[name].append(row)
    return {name: tuple(rows) for name, rows in found.items()}


def unplaced_work(book: Book, as_of: dt.date | None) -> dict[str, tuple[LostRow, ...]]:
    """Station -> rows of the sheet Work done that may be work at it, with their days."""
    likely, _ = _likely(book, book.work, as_of)
    found: dict[str, list[LostRow]] = defaultdict(list)
    for row, (name, on) in sorted(likely.items()):
        if _up_to(on, as_of) and row not in book.work.struck:
            found[name].append((row, on))
    return {name: tuple(rows) for name, rows in found.items()}


def unplaced_gauges(book: Book, as_of: dt.date | None) -> dict[str, tuple[int, ...]]:
    """Station -> rows of the sheet Gauges that name a unit and may be of it, as of that day.

    Nobody knows then in which unit its latest pressures were read; unless it is the one unit that
    the station has had throughout.
    """
    likely, _ = _likely(book, book.gauges, as_of)
    if not likely and not book.gauges.rows:
        return {}
    named, own = book.gauges.named_units, _units_of(book)
    found: dict[str, list[int]] = defaultdict(list)
    for row, (name, on) in sorted(likely.items()):
        unit = named.get(row)
        if unit is not None and own[name] != {unit} and _up_to(on, as_of):
            found[name].append(row)
    for name, row, on in _second_units(book):
        if _up_to(on, as_of):
            found[name].append(row)
    return {name: tuple(rows) for name, rows in found.items()}


def _units_of(book: Book) -> dict[str, set[object]]:
    """Station -> every unit in which it was read: the register's, or the farm's, and those of its
    gauges that could be placed."""
    found: dict[str, set[object]] = {}
    for row in book.stations.records():
        name, unit = row["station"], row["unit"]
        if isinstance(name, str):
            own = unit if isinstance(unit, str) else book.settings.pressure_unit
            found.setdefault(name, {own})
    for row in book.gauges.records():
        if row["station"] in found and isinstance(row["unit"], str):
            found[row["station"]].add(row["unit"])
    return found


def _second_units(book: Book) -> Iterator[tuple[str, int, dt.date]]:
    """Rows of the sheet Gauges that give a station another unit from the same day on."""
    first: dict[tuple[str, dt.date], object] = {}
    for row in book.gauges.records():
        name, on, unit = row["station"], row["since"], row["unit"]
        if isinstance(unit, str) and unit != first.setdefault((name, on), unit):
            yield name, row["row"], on


def likely_stations(book: Book, table: Table, as_of: dt.date | None) -> dict[int, str]:
    """Row -> the station that is likely meant, of rows of a list that could not be placed."""
    return {row: name for row, (name, _) in _likely(book, table, as_of)[0].items()}


def elsewhere(book: Book, as_of: dt.date | None) -> dict[str, tuple[Elsewhere, ...]]:
    """Station -> what a sheet that was not read holds of it up to the as-of date.

    Where that is the book's latest entry, later days count too: read, they would have set it.
    """
    if not book.elsewhere:
        return {}
    if as_of is None or as_of == latest_day(book):
        return book.elsewhere
    return {
        name: tuple(
            replace(place, days=tuple(day for day in place.days if day <= as_of))
            for place in places
        )
        for name, places in book.elsewhere.items()
    }


def _up_to(day: dt.date | None, as_of: dt.date | None) -> bool:
    return day is None or as_of is None or day <= as_of


def _likely(
    book: Book, table: Table, as_of: dt.date | None
) -> tuple[dict[int, tuple[str, dt.date | None]], dict[str, list[_Placed]]]:
    """Row -> the station that is likely meant and the day, of rows that could not be placed; and
    station -> the rows that could."""
    known = {name for name in book.stations.values["station"].tolist() if isinstance(name, str)}
    values, ahead = table.values, _ahead(book, table, as_of)
    likely = {row: (name, None if row in ahead else on) for row, (name, on) in table.aside.items()}
    names, days = values["station"].tolist(), values[_day(table)].tolist()
    used: dict[str, list[_Placed]] = defaultdict(list)
    strange = {name for name in names if isinstance(name, str)} - known
    if not strange and not likely and not ahead:
        return {}, used
    register = tuple(sorted(known))
    meant = {name: near_name(name, register) for name in strange}
    above = ""
    for row, name, day in zip(table.rows, names, days, strict=True):
        if name in known:
            above = name
        if name in known and row not in ahead:
            used[name].append((row, day))
        else:
            who = name if name in known else above if is_ditto(name) else meant.get(name, "")
            likely[row] = (who, None if row in ahead else day)
    return {row: at for row, at in likely.items() if at[0] in known}, used


def _day(table: Table) -> str:
    """The key of a list's days; the changed gauges have the first one of each."""
    return "date" if "date" in table.values else "since"


def _ahead(book: Book, table: Table, as_of: dt.date | None) -> set[int]:
    """The rows that are dated far after all others, and after the as-of date."""
    rows = {row: day for (sheet, row), (day, _) in far_ahead(book).items() if sheet == table.sheet}
    return {row for row, day in rows.items() if not _up_to(day, as_of)}


def is_ditto(name: object) -> bool:
    """Whether a name is a mark that repeats the one above it."""
    return isinstance(name, str) and name.strip(" -–.").casefold() in _DITTO


def _may_be_latest(row: int, day: dt.date | None, used: list[_Placed]) -> bool:
    """By its date; without one, by where it stands: below the last, or above it in a list that
    has the newest on top."""
    if not used:
        return True
    if day is not None:
        return day >= max(other for _, other in used)
    first, last = used[0], used[-1]
    return row < first[0] if first[1] > last[1] else row > last[0]
