"""Adopted rows into a book: a new one, or an existing one whose other bytes do not change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from siltbook.batch.adopt.held import Row
from siltbook.batch.adopt.inunits import TURNED_UNITS
from siltbook.batch.adopt.model import Amount, Harvest
from siltbook.batch.adopt.rows import (
    READING_ROWS,
    WORK_ROWS,
    Meant,
    in_order,
    lacking,
    near,
    placed,
    turned,
    typed_row,
)
from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import GraftError
from siltbook.batch.reading.book_units import Units, units_in
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import (
    FLOW_UNITS,
    PRESSURE_UNITS,
    READINGS,
    STATIONS,
    WORK,
)
from siltbook.templates.names import name_key, other_names
from siltbook.templates.shown import IN_METRES, Shown

_PRESSURES = ("inlet", "outlet", "drop", "field", "flush_inlet")
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
    own = Units(unit, flow, {name_key(name): units.get(name, unit) for name in names}, {})
    lists = {
        "Stations": register,
        "Readings": in_order([typed_row(r, own, {}, READINGS) for r in rows.readings]),
        "Work done": in_order([typed_row(r, own, {}, WORK) for r in work]),
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
    known = {name_key(str(s)) for s in there.stations.frame["station"] if s}
    readings = [_renamed(r, there.names) for r in rows.readings]
    jobs = [_renamed(r, there.names) for r in work]
    new_names = [n for n in _names(readings, jobs) if name_key(n) not in known]
    units = _with_new(units_in(there, there.names), there, new_names, (readings, jobs))
    farm, stated = units.pressure, there.stations.units
    register = [
        _station_row(n, units.at(name_key(n), ""), farm, rows, stated.get("division", ""))
        for n in new_names
    ]
    made = Filled(None, stations=new_names, shown=there.settings.shown)
    try:
        fresh = lacking(readings, there.readings, units, READING_ROWS, made.shown)
        done = lacking(jobs, there.work, units, WORK_ROWS, made.shown)
    except KeyError as error:
        raise BookError(
            f"{name}: a unit of pressure or flow on its sheets {there.farm_sheet}, "
            f"{there.stations.sheet} or {there.gauges.sheet} is not known, so nothing can be "
            f"entered in it: correct it there ('siltbook check' names the cell); {_DONE}."
        ) from error
    made.readings, made.work = len(fresh.add), len(done.add)
    made.already, made.conflicts = fresh.already + done.already, fresh.conflicts + done.conflicts
    made.data = _placed(book, name, there, ([(r, {}) for r in register], fresh.add, done.add))
    return made


def _with_new(
    units: Units, there: Book, names: Sequence[str], rows: tuple[Sequence[Row], Sequence[Row]]
) -> Units:
    """The units with those of new stations: the one in which each was read most often.

    A station of which the book has rows already is read in the farm's unit, and stays so.
    """
    said, listed = _units_by_station(Harvest(readings=[*rows[0]]), rows[1]), set()
    for table in (there.readings, there.work):
        listed |= {name_key(n) for n in table.frame["station"] if isinstance(n, str)}
    fresh = {name_key(n): said.get(n, units.pressure) for n in names}
    return units.with_units({(STATIONS.name, (n,)): u for n, u in fresh.items() if n not in listed})


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
    made.data = _placed(book, name, there, ([({"station": n}, {}) for n in names], [], []))
    return made


def _placed(
    book: bytes,
    name: str,
    there: Book,
    rows: tuple[Sequence[Meant], Sequence[Meant], Sequence[Meant]],
) -> bytes | None:
    """The book with these rows behind the last ones of its lists; None where there are none."""
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.reading.workbook import open_workbook
    from siltbook.batch.review.append import append_rows

    data = book
    tables = (("stations", there.stations), ("readings", there.readings), ("work", there.work))
    for (key, table), meant in zip(tables, rows, strict=True):
        add = [row for row, _ in meant]
        if not add:
            continue
        _ask_for_columns(name, table, add)
        opened = open_workbook(open_package(data, name), name)
        try:
            looks = opened.styles, opened.struck
            data, numbers = append_rows(data, table, add, *looks)  # type: ignore[arg-type]
        except GraftError as error:
            raise BookError(f"{name}: {error}") from error
        # Read again before anything is replaced: the rows must be there, and mean the same.
        seen = getattr(read_book(data, name).book, key).frame
        sure = [
            (n, values) for n, (row, values) in zip(numbers, meant, strict=True)
            if key == "stations" or placed(row)
        ]  # fmt: skip
        if not set(seen.index).issuperset(n for n, _ in sure) or not all(
            near(seen.at[number, column], value)
            for number, values in sure
            for column, value in values.items()
        ):
            raise BookError(
                f"{name}: the rows cannot be added to its sheet {table.sheet}, since they would not"
                " be read there as the source has them, for example because a unit is not known:"
                f" 'siltbook check' names what to correct; {_DONE}."
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
            if row["station"]:
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


def _station_row(name: str, unit: str, farm_unit: str, rows: Harvest, division_in: str = "") -> Row:
    made: Row = {"station": name}
    if unit != farm_unit:
        made["unit"] = unit
    step, of = rows.precision.get(name, (0.0, unit))
    if step > 0:  # records that never scatter say nothing of the sensor
        made |= {"gauges": "two gauges", "division": turned(Amount(step, of), division_in or unit)}
        made["remark"] = "division: from the scatter of the logger's records"
    return made
