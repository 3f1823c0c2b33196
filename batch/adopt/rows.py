"""Adopted rows as a book's cells take them, and which of them it has already."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from siltbook.batch.adopt.held import Held, Row, There, clock_of, identity, word_of
from siltbook.batch.adopt.inunits import TURNED_UNITS
from siltbook.batch.adopt.model import Amount
from siltbook.batch.adopt.readings import UNREAD
from siltbook.batch.reading.amounts import factor_of
from siltbook.batch.reading.book_units import ISO, Units
from siltbook.batch.reading.columns import shown
from siltbook.templates.book import Table
from siltbook.templates.contract import (
    PRESSURE_UNITS,
    READINGS,
    WORK,
    Column,
    Sheet,
)
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

_DIGITS = 9  # significant digits of a number that was turned into another unit
_SAME = 1e-6  # relative difference below which two numbers are one
# A row as it is typed, and what its numbers mean: [m of water], [m3/h].
Meant = tuple[Row, dict[str, float]]


def turned(amount: Amount, unit: str) -> float:
    """An amount's number in a station's unit; as written where the unit is its own."""
    of, factor = TURNED_UNITS.get(amount.unit, (amount.unit, 1.0))
    if of == unit:
        return amount.value if factor == 1.0 else _rounded(amount.value * factor)
    per = metres_per if of in PRESSURE_UNITS else cubic_metres_per_hour_per
    return _rounded(amount.value * factor * per(of) / per(unit))


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def typed_row(row: Row, units: Units, stated: Mapping[str, str], sheet: Sheet) -> Row:
    """A row as the book's cells take it: each number in the unit of its cell, no key it lacks."""
    made: Row = {}
    for column in sheet.columns:
        value = row.get(column.key)
        if isinstance(value, Amount):
            value = turned(value, _unit(row, units, stated, column))
        if value is not None and value != "":
            made[column.key] = value
    return made


def _unit(row: Row, units: Units, stated: Mapping[str, str], column: Column) -> str:
    """The unit in which a cell of this row is read."""
    day = row.get("date")
    said = str(day)[:ISO] if isinstance(day, dt.date) else ""
    return units.of(column, stated, name_key(row["station"]), said)


def in_order(rows: Sequence[Row]) -> list[Row]:
    """Rows as a farm writes them down: by day and time, else as they stood.

    As they stood throughout where one cannot be placed or its date looks mistyped: where it
    belongs is told by its neighbours alone.
    """
    if not all(placed(row) for row in rows) or _slipped(rows):
        return list(rows)
    return sorted(rows, key=_moment)


def _moment(row: Row) -> tuple[str, str]:
    return str(row["date"]), str(row.get("time", ""))


def placed(row: Row) -> bool:
    """Whether a row says its station and a day."""
    return bool(row.get("station")) and isinstance(row.get("date"), dt.date)


def _slipped(rows: Sequence[Row]) -> bool:
    from siltbook.checks.slipped import slipped_dates

    names = [name_key(row["station"]) for row in rows]
    return bool(slipped_dates(names, [row["date"] for row in rows], range(len(rows))))


@dataclass(frozen=True)
class _List:
    """A list that takes rows: what tells them apart beside station and day, and their values."""

    sheet: Sheet
    kind: tuple[str, ...]
    values: tuple[str, ...]


READING_ROWS = _List(READINGS, ("occasion",), ("inlet", "outlet", "drop", "flow", "field"))
WORK_ROWS = _List(WORK, ("work",), ("cycles", "flush_inlet", "click", "water", "water_heard"))


@dataclass(frozen=True)
class Lacking:
    """Rows to add, in order; how many a book has already; and those it has with other values."""

    add: list[Meant]
    already: int
    conflicts: list[str]


def lacking(rows: Sequence[Row], table: Table, units: Units, into: _List, shown: Shown) -> Lacking:
    """Which rows a list does not have; KeyError where a unit of the book is not known."""
    typed = [typed_row(row, units, table.units, into.sheet) for row in rows]
    source = Counter(identity(row, into.kind) for row in filter(placed, typed))
    there = There(table, into.kind, source)
    odd = _unplaced_there(table)
    add: list[Meant] = []
    told: list[tuple[object, str]] = []  # day and conflict
    already = 0
    for row, origin in zip(typed, rows, strict=True):
        meant = _meaning(origin)
        if not placed(row):
            if (one := _as_told(row)) in odd:
                odd.remove(one)
                already += 1
            else:
                add.append((row, meant))
            continue
        ours = {key: meant.get(key, row.get(key)) for key in into.values}
        same = there.take(row, partial(_same, ours, origin))
        found = there.at(row)
        if same is not None:
            already += 1
            lost = _lost(row, origin, table, same, into, shown)
            told += [(row["date"], said) for said in lost]
        elif found and (clock_of(row) is not None or source[identity(row, into.kind)] == 1):
            said = _conflict(row, origin, table, found[0], into, units, shown)
            told.append((row["date"], said))
        else:
            add.append((row, meant))
    order = {id(row): n for n, row in enumerate(in_order([row for row, _ in add]))}
    newest_first = sorted(told, key=lambda one: str(one[0]), reverse=True)
    in_book = sorted(add, key=lambda one: order[id(one[0])])
    return Lacking(in_book, already, [said for _, said in newest_first])


def _as_told(row: Row) -> tuple[object, ...]:
    """What makes two rows one of which none has both station and date: the one that it has, and
    what was read."""
    day, read = row.get("date"), [row.get(key) for key in ("inlet", "outlet", "drop")]
    numbers = [f"{v:.{_DIGITS}g}" if isinstance(v, (int, float)) else None for v in read]
    dated = isinstance(day, dt.date)
    return (day if dated else name_key(row.get("station") or ""), *numbers)


def _unplaced_there(table: Table) -> list[tuple[object, ...]]:
    """As `_as_told`, for the rows of a list that could not be placed."""
    raw = {key: table.raw.get(key, {}) for key in ("inlet", "outlet", "drop")}
    return [
        _as_told({
            "station": name, "date": day, **{key: cells.get(row) for key, cells in raw.items()},
        })
        for row, (name, day) in table.aside.items()
    ]  # fmt: skip


def _same(ours: Mapping[str, object], origin: Row, held: Row) -> bool:
    """Whether a row of the book says what the source's says."""
    return _equal(ours, held) and _as_unread(origin, held)


def _meaning(row: Row) -> dict[str, float]:
    """What the amounts of a row mean, whatever unit the book has: [m of water], [m3/h]."""
    found = {}
    for key, value in row.items():
        if isinstance(value, Amount):
            unit, factor = TURNED_UNITS.get(value.unit, (value.unit, 1.0))
            found[key] = value.value * factor * factor_of(unit)
    return found


def near(one: float, other: float) -> bool:
    return abs(one - other) <= _SAME * max(1.0, abs(other))


def _as_unread(origin: Row, there: Row) -> bool:
    """Whether the book's row tells of what the source's cannot be read from, by its remark."""
    said = str(there.get("remark") or "")
    return all(text in said for text in _unread(origin).values())


def _unread(origin: Row) -> Mapping[str, str]:
    """Pressures that were typed and cannot be read, by key."""
    found = origin.get(UNREAD)
    return found if isinstance(found, Mapping) else {}


def _equal(ours: Mapping[str, object], there: Row) -> bool:
    """Whether what a row has says nothing else than the book's row does."""
    for key, mine in ours.items():
        theirs = there.get(key)
        if isinstance(theirs, float) and math.isnan(theirs):
            theirs = None
        if mine is None:
            continue  # what a source leaves out contradicts nothing
        if isinstance(mine, (int, float)) and isinstance(theirs, (int, float)):
            if not near(mine, theirs):
                return False
        elif mine != theirs and (not isinstance(mine, str) or shown(mine) != theirs):
            return False
    return True


def _remark_lost(row: Row, origin: Row, table: Table, there: Held, shown: Shown) -> list[str]:
    """A sentence on a remark that the book's row does not have; it was not entered either."""
    mine, theirs = (" ".join(str(r.get("remark") or "").split()) for r in (row, there[1]))
    if mine.casefold() in theirs.casefold():
        return []
    has = f"'{theirs}'" if theirs else "nothing"
    return [
        f"{_which(row, shown)}: {origin.get('where', 'the source')} says Remark '{mine}'; "
        f"{table.sheet} row {there[0]} says {has} there. It was not entered."
    ]


def _lost(row: Row, origin: Row, table: Table, there: Held, into: _List, shown: Shown) -> list[str]:
    """Sentences on what a row says that the book's row, the same in its values, does not."""
    number, record = there
    where = f"{_which(row, shown)}: {origin.get('where', 'the source')}"
    said = _remark_lost(row, origin, table, there, shown)
    if number in table.struck:
        said.append(
            f"{where} has this row, and {table.sheet} row {number} has it struck through, so that"
            " it does not count. It was not entered again."
        )
    clock = clock_of(row)
    lacks = [f"Time {clock:%H:%M}"] if clock is not None and clock_of(record) is None else []
    lacks += [
        f"{into.sheet.column(key).header} {row[key]}"
        for key in into.kind if word_of(row, key) and not word_of(record, key)
    ]  # fmt: skip
    if lacks:
        said.append(
            f"{where} says {', '.join(lacks)}; {table.sheet} row {number} says nothing there. It"
            " was not entered."
        )
    return said


def _which(row: Row, shown: Shown) -> str:
    """Station, day and time of a row."""
    day = row["date"]
    when = shown.day(day) if isinstance(day, dt.date) else str(day)
    when += f" {row['time']:%H:%M}" if isinstance(row.get("time"), dt.time) else ""
    return f"{row['station']}, {when}"


def _conflict(
    row: Row, origin: Row, table: Table, there: Held, into: _List, units: Units,
    shown: Shown,
) -> str:  # fmt: skip
    """One sentence on a row that the book has with other values: each that differs, with units."""
    number, record = there
    struck = " (struck through)" if number in table.struck else ""
    meant = _meaning(origin)
    theirs, ours = [], []
    for key in into.values:
        unread = _unread(origin).get(key)
        if unread is None and _equal({key: meant.get(key, row.get(key))}, record):
            continue
        column = into.sheet.column(key)
        unit = _unit(row, units, table.units, column)
        said = f"'{unread}'" if unread else _as_written(origin.get(key), row.get(key), unit)
        theirs.append(f"{column.header} {said}")
        ours.append(f"{column.header} {_as_held(record.get(key), unit)}")
    return (
        f"{_which(row, shown)}: {origin.get('where', 'the source')} says {', '.join(theirs)}; "
        f"{table.sheet} row {number}{struck} says {', '.join(ours)}. It was not entered."
    )


def _as_written(value: object, typed: object, unit: str) -> str:
    """A value of the source in its own unit, with that of the book behind it where it is another.

    `typed` is the same number in the book's `unit`.
    """
    if not isinstance(value, Amount):
        return _plain(value)
    of = TURNED_UNITS.get(value.unit, (value.unit, 1.0))[0]
    same = value.unit == unit or (of == unit and value.value == typed)
    said = f"{value.value:.6g} {value.unit}"
    return said if same or not isinstance(typed, float) else f"{said} ({typed:.6g} {unit})"


def _as_held(value: object, unit: str) -> str:
    """A value of the book [m of water], [m3/h] in the `unit` of its cell."""
    if isinstance(value, float) and not math.isnan(value) and unit:
        per = metres_per if unit in PRESSURE_UNITS else cubic_metres_per_hour_per
        return f"{value / per(unit):.6g} {unit}"
    return _plain(value)


def _plain(value: object) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "nothing"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
