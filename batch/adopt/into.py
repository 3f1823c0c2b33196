"""Adopted rows into a book: a new one, or an existing one whose other bytes do not change."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from siltbook.batch.adopt.harvest import Amount
from siltbook.batch.adopt.model import Harvest
from siltbook.batch.adopt.study import TURNED_UNITS
from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import GraftError
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, READINGS, STATIONS, WORK
from siltbook.templates.names import name_key, other_names
from siltbook.templates.shown import IN_METRES, Shown
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

Row = dict[str, object]
_PRESSURES = ("inlet", "outlet", "drop", "field", "flush_inlet")
_DIGITS = 9  # significant digits of a number that was turned into another unit
_SAME = 1e-6  # relative difference below which two numbers are one
_DONE = "nothing was changed"


@dataclass
class Filled:
    """What became of the rows. `conflicts`: rows that the book has with other values."""

    data: bytes | None
    readings: int = 0
    work: int = 0
    stations: list[str] = field(default_factory=list)
    already: int = 0
    conflicts: list[str] = field(default_factory=list)
    shown: Shown = IN_METRES  # how the book has dates shown


def new_book(rows: Harvest, work: Sequence[Row], farm: str) -> Filled:
    """A new book in the units of the source, with a register of every station that was named."""
    from siltbook.templates.blank import BlankOptions, build

    units = _units_by_station(rows, work)
    unit = _commonest(units.values(), PRESSURE_UNITS, "bar")
    flow = _commonest(
        (v.unit for r in rows.readings if isinstance(v := r.get("flow"), Amount)),
        FLOW_UNITS,
        "m3/h",
    )
    names = _names(rows.readings, work)
    register = [_station_row(name, units.get(name, unit), unit, rows) for name in names]
    own = {name: units.get(name, unit) for name in names}
    lists = {
        "Stations": register,
        "Readings": _sorted([_typed(r, own, unit, flow, READINGS.columns) for r in rows.readings]),
        "Work done": _sorted([_typed(r, own, unit, flow, WORK.columns) for r in work]),
    }
    data = build(BlankOptions(unit, flow, farm, limits_in=unit), lists)
    return Filled(data, len(lists["Readings"]), len(lists["Work done"]), names)


def fill(book: bytes, name: str, rows: Harvest, work: Sequence[Row]) -> Filled:
    """The rows that a book lacks, added behind the last ones of its lists."""
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.reading.foreign import FORMATS, kind_of

    if kind := kind_of(book):
        raise BookError(
            f"{name} is {FORMATS[kind]}, which cannot take rows: save it as .xlsx in a spreadsheet "
            f"program and give that file; {_DONE}."
        )
    there = read_book(book, name).book
    farm_unit, flow_unit = there.settings.pressure_unit, there.settings.flow_unit
    own = {
        str(s): (u if isinstance(u, str) else farm_unit)
        for s, u in zip(there.stations.frame["station"], there.stations.frame["unit"], strict=True)
        if s
    }
    readings = [_renamed(r, there.names) for r in rows.readings]
    jobs = [_renamed(r, there.names) for r in work]
    new_names = [n for n in _names(readings, jobs) if n not in own]
    units = _units_by_station(Harvest(readings=readings), jobs)
    register = [_station_row(n, units.get(n, farm_unit), farm_unit, rows) for n in new_names]
    own |= {n: units.get(n, farm_unit) for n in new_names}
    made = Filled(None, stations=new_names, shown=there.settings.shown)
    typed = [_typed(r, own, farm_unit, flow_unit, READINGS.columns) for r in readings]
    done = [_typed(r, own, farm_unit, flow_unit, WORK.columns) for r in jobs]
    add = _lacking(typed, readings, there.readings, own, farm_unit, flow_unit, made, _READING)
    add_work = _lacking(done, jobs, there.work, own, farm_unit, flow_unit, made, _WORK)
    made.readings, made.work = len(add), len(add_work)
    made.data = _placed(book, name, there, (register, _sorted(add), _sorted(add_work)))
    return made


def spelt_names(book: Book) -> dict[str, str]:
    """Every name by which the register knows a station, as it is spelt there -> its own name."""
    frame = book.stations.frame
    found = {str(name): str(name) for name in frame["station"] if name}
    for name, also in zip(frame["station"], frame["also"], strict=True):
        for other in other_names(also) if name else ():
            found.setdefault(other, book.names.get(name_key(other), str(name)))
    return found


def missing_stations(there: Book) -> list[str]:
    """Stations that have rows in Readings or Work done and none in the register, in their order."""
    found: dict[str, str] = {}
    for table in (there.readings, there.work):
        for name in table.frame["station"]:
            if isinstance(name, str) and name_key(name) not in there.names:
                found.setdefault(name_key(name), name)
    return list(found.values())


def fill_register(book: bytes, name: str) -> Filled:
    """The book with a register row for every station that only its other lists name."""
    from siltbook.batch.reading.book import read_book

    there = read_book(book, name).book
    names = missing_stations(there)
    made = Filled(None, stations=names)
    made.data = _placed(book, name, there, ([{"station": n} for n in names], [], []))
    return made


def _placed(
    book: bytes, name: str, there: Book, rows: tuple[Sequence[Row], Sequence[Row], Sequence[Row]]
) -> bytes | None:
    """The book with these rows behind the last ones of its lists; None where there are none."""
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.reading.workbook import open_workbook
    from siltbook.batch.review.append import append_rows

    data = book
    tables = (("stations", there.stations), ("readings", there.readings), ("work", there.work))
    for (key, table), add in zip(tables, rows, strict=True):
        if not add:
            continue
        _ask_for_columns(name, table, add)
        styles = open_workbook(open_package(data, name), name).styles
        try:
            data, numbers = append_rows(data, table, add, styles)  # type: ignore[arg-type]
        except GraftError as error:
            raise BookError(f"{name}: {error}") from error
        # Read again before anything is replaced: the rows must be there, and mean the same.
        seen = getattr(read_book(data, name).book, key).frame.index
        if not set(seen).issuperset(numbers):
            raise BookError(
                f"{name}: the rows cannot be added to its sheet {table.sheet}; {_DONE}."
            )
    return data if any(rows) else None


def _ask_for_columns(name: str, table: Table, rows: Sequence[Row]) -> None:
    needed = dict.fromkeys(k for row in rows for k in row)
    headers = {c.key: c.header for s in (STATIONS, READINGS, WORK) for c in s.columns}
    lacking = [headers[k] for k in needed if k not in table.places]
    if lacking:
        raise BookError(
            f"{name}, sheet {table.sheet}: no column {', '.join(lacking)}, which adopted rows"
            f" need: add the header, spelt so, at the end of its header row and run again; {_DONE}."
        )


def _renamed(row: Row, known: Mapping[str, str]) -> Row:
    """The row under the register's name, where it names the station by another of its names."""
    name = str(row["station"])
    return {**row, "station": known.get(name_key(name), name)}


def _names(*lists: Iterable[Row]) -> list[str]:
    found: dict[str, str] = {}
    for rows in lists:
        for row in rows:
            found.setdefault(name_key(row["station"]), str(row["station"]))
    return list(found.values())


def _units_by_station(rows: Harvest, work: Sequence[Row]) -> dict[str, str]:
    """The pressure unit in which each station was read most often."""
    counts: dict[str, dict[str, int]] = {}
    for row in [*rows.readings, *work]:
        for key in _PRESSURES:
            value = row.get(key)
            if isinstance(value, Amount):
                unit = TURNED_UNITS.get(value.unit, (value.unit, 1.0))[0]
                by = counts.setdefault(str(row["station"]), {})
                by[unit] = by.get(unit, 0) + 1
    return {name: max(by, key=lambda u: by[u]) for name, by in counts.items()}


def _commonest(units: Iterable[str], accepted: Sequence[str], otherwise: str) -> str:
    found = [u for u in units if u in accepted]
    return max(dict.fromkeys(found), key=found.count) if found else otherwise


def _station_row(name: str, unit: str, farm_unit: str, rows: Harvest) -> Row:
    made: Row = {"station": name}
    if unit != farm_unit:
        made["unit"] = unit
    if name in rows.precision:
        step, of = rows.precision[name]
        made |= {"gauges": "two gauges", "division": _turned(Amount(step, of), unit)}
        made["remark"] = "division: from the scatter of the logger's records"
    return made


def _turned(amount: Amount, unit: str) -> float:
    """An amount's number in a station's unit; as written where the unit is its own."""
    of, factor = TURNED_UNITS.get(amount.unit, (amount.unit, 1.0))
    if of == unit:
        return amount.value if factor == 1.0 else _rounded(amount.value * factor)
    per = metres_per if of in PRESSURE_UNITS else cubic_metres_per_hour_per
    return _rounded(amount.value * factor * per(of) / per(unit))


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _typed(
    row: Row, own: Mapping[str, str], farm_unit: str, flow_unit: str, columns: Iterable[object]
) -> Row:
    """A row as the book's cells take it: numbers in the station's unit, no key that it lacks."""
    keys = [getattr(c, "key") for c in columns]  # noqa: B009 - columns of any sheet
    unit = own.get(str(row["station"]), farm_unit)
    made: Row = {}
    for key in keys:
        value = row.get(key)
        if isinstance(value, Amount):
            value = _turned(value, flow_unit if key == "flow" else unit)
        if value is not None and value != "":
            made[key] = value
    return made


def _sorted(rows: Sequence[Row]) -> list[Row]:
    """Rows as a farm writes them down: by day and time, else as they stood."""
    return sorted(rows, key=lambda r: (str(r["date"]), str(r.get("time", ""))))


_READING = (("occasion",), ("inlet", "outlet", "drop", "flow", "field"))
_WORK = (("work",), ("cycles", "flush_inlet", "click", "water"))


def _lacking(
    typed: Sequence[Row], rows: Sequence[Row], table: Table, own: Mapping[str, str],
    farm_unit: str, flow_unit: str, made: Filled, keys: tuple[tuple[str, ...], tuple[str, ...]],
) -> list[Row]:  # fmt: skip
    """The rows that a list does not have; those with other values there are conflicts."""
    kind, values = keys
    there: dict[tuple[object, ...], list[tuple[int, Row]]] = {}
    records = table.frame.reset_index(names="row").to_dict("records")
    for raw in records:
        record: Row = {str(k): v for k, v in raw.items()}
        at = _identity(record, kind)
        there.setdefault(at, []).append((int(str(record["row"])), record))
    add: list[Row] = []
    source: dict[tuple[object, ...], int] = {}
    for row in typed:
        at = _identity(row, kind)
        source[at] = source.get(at, 0) + 1
    for row, origin in zip(typed, rows, strict=True):
        at = _identity(row, kind)
        unit = own.get(str(row["station"]), farm_unit)
        found = there.get(at, [])
        same = next((f for f in found if _equal(row, f[1], values, unit, flow_unit)), None)
        if same is not None:
            made.already += 1
            if row.get("time") is None:
                found.remove(same)  # a second such reading of that day is another one
        elif found and (row.get("time") is not None or source[at] == 1):
            made.conflicts.append(_conflict(row, origin, table, found[0][0], made.shown))
        else:
            add.append(row)
    return add


def _identity(row: Mapping[str, object], kind: Sequence[str]) -> tuple[object, ...]:
    """What makes two rows of a list one: station, date, time and the kind of work or occasion."""
    when = (row["date"], row.get("time"))
    return (name_key(row["station"]), *when, *(_word(row, k) for k in kind))


def _word(row: Mapping[str, object], key: str) -> str:
    value = row.get(key)
    return value if isinstance(value, str) and value != "routine" else ""


def _equal(row: Row, there: Row, keys: Sequence[str], unit: str, flow_unit: str) -> bool:
    for key in keys:
        ours, theirs = row.get(key), there.get(key)
        if isinstance(theirs, float) and math.isnan(theirs):
            theirs = None
        if ours is None:
            continue  # what a source leaves out contradicts nothing
        if isinstance(ours, (int, float)) and isinstance(theirs, (int, float)):
            factor = 1.0
            if key == "flow":
                factor = cubic_metres_per_hour_per(flow_unit)
            elif key in _PRESSURES:
                factor = metres_per(unit)
            if abs(ours * factor - theirs) > _SAME * max(1.0, abs(theirs)):
                return False
        elif ours != theirs:
            return False
    return True


def _conflict(row: Row, origin: Row, table: Table, number: int, shown: Shown) -> str:
    said = ", ".join(
        f"{k} {v:g}" if isinstance(v, float) else f"{k} {v}"
        for k, v in row.items() if k not in ("station", "date", "time", "remark")
    )  # fmt: skip
    day = row["date"]
    when = shown.day(day) if isinstance(day, dt.date) else str(day)
    when += f" {row['time']:%H:%M}" if isinstance(row.get("time"), dt.time) else ""
    return (
        f"{row['station']}, {when}: {origin.get('where', 'the source')} says {said}; "
        f"{table.sheet} row {number} says otherwise. It was not entered."
    )
