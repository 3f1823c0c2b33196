"""Witnesses of a season: earlier copies of its book, archives of it, and packs of its reviews."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.audit.agreements import Sighting, Source, of_book, once, text_of_cell
from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.merging.sides import Entry, Side, Value, key_of, read_side
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import Workbook
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.parsing import date_text, serial_date
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review import agenda
from siltbook.batch.review.minutes import Minutes, read_pack
from siltbook.batch.review.month import Month
from siltbook.templates.contract import WORK
from siltbook.templates.names import name_key
from siltbook.templates.units import metres_per

_TOP = 12  # rows in which a pack's header row is looked for
_FLUSH = {
    "Cycles": "cycles", "Lowest inlet": "flush_inlet", "Click": "click",
    "Water heard": "water_heard", "Water": "water",
}  # fmt: skip
_IN_UNIT = re.compile(r"(?P<title>.+) \((?P<unit>[^()]+)\)")


@dataclass(frozen=True)
class Limit:
    """A station's limit [m] as a pack shows it, and where."""

    station: str
    limit: float
    place: str


@dataclass(frozen=True)
class Witness:
    """What one file says of the season: a book's rows, or what a pack shows of them.

    `side` is the whole book, None for a pack, which shows the flushes of its month and the limits
    of stations that went over. `why_not` says why it is no witness of this book.
    """

    name: str
    side: Side | None = None
    flushes: tuple[Entry, ...] = ()
    places: Mapping[int, str] | None = None  # of a pack's flushes: row -> sheet and row
    limits: tuple[Limit, ...] = ()
    shows: frozenset[str] = frozenset()  # the columns of a flush that a pack shows
    agreed: Source | None = None  # None where it is no witness
    why_not: str = ""


def witness_file(path: Path) -> list[tuple[str, bytes]]:
    """Name and bytes of a witness: a file, or the book in each archive of a folder.

    BookError where there is none, or where an archived book is not as its manifest lists it.
    """
    from siltbook.batch.files import open_file

    if not os.path.isdir(path):
        return [(path.name, open_file(path).data)]
    return [_archived(folder) for folder in _archives(path)]


def _archives(path: Path) -> Iterator[Path]:
    from siltbook.batch.archive.locate import find_archives

    found = find_archives(path)
    for _, said in found.refused:
        raise BookError(said)
    yield from found.archives


def _archived(folder: Path) -> tuple[str, bytes]:
    from siltbook.batch.archive import inventory, manifest
    from siltbook.batch.files import open_file
    from siltbook.batch.fingerprint import digest

    at = folder / manifest.NAME
    check = f"check the archive with 'siltbook verify {folder}'."
    try:
        listed = manifest.read(inventory.read(at, at.stat().st_size))
    except (OSError, ValueError) as error:
        raise BookError(f"{at}: cannot be read, so this is no witness; {check}") from error
    data = open_file(folder / listed.book).data
    if digest(data) != listed.files[listed.book]:
        said = "is not the file that the archive lists, so it is no witness"
        raise BookError(f"{folder / listed.book}: {said}; {check}")
    return f"{folder.name}/{listed.book}", data


def read_witness(data: bytes, name: str, home: Side) -> Witness:
    """What a file says, in the units of the book; BookError where it cannot be read."""
    pack = _pack(data, name, home)
    if pack is not None:
        return pack
    side = read_side(data, name, home)
    mine = {entry.key for entry in home.entries["Stations"]}
    theirs = {entry.key for entry in side.entries["Stations"]}
    if not mine & theirs:
        return Witness(name, why_not="it has no station in common with the book")
    one, other = home.book.settings.season, side.book.settings.season
    if one and other and one != other:
        return Witness(name, why_not=f"it is of season {other}, the book of {one}")
    return Witness(name, side, agreed=source_of(side, data, name))


def _pack(data: bytes, name: str, home: Side) -> Witness | None:
    """A review pack as a witness; None for any other file."""
    try:
        minutes = read_pack(data, name)
    except SiltbookError:
        return None
    farm = home.book.settings.farm
    if name_key(farm) not in {name_key(book.farm) for book in minutes.books}:
        return Witness(name, why_not=f"it is a pack without the farm {farm or '(no name)'}")
    workbook = open_workbook(open_package(as_xlsx(data, name)[0], name), name)
    flushes, places, limits, shows = [], {}, [], set[str]()
    for sheet, row, cells in _rows(workbook, "Flushes"):
        if _of(cells, farm) and (entry := _flush(home, cells, row, workbook.date1904)):
            flushes.append(entry)
            places[row] = f"{sheet}!{row}:{row}"
            shows |= {key for head, key in _FLUSH.items() if head in cells}
    for sheet, row, cells in _rows(workbook, "Episodes"):
        limit = cells.get("Limit")
        if _of(cells, farm) and isinstance(limit, float):
            limits.append(Limit(_station(home, cells), limit, f"{sheet}!{row}:{row}"))
    agreed = _agreed(workbook, minutes, home, name)
    return Witness(name, None, tuple(flushes), places, tuple(limits), frozenset(shows), agreed)


def source_of(side: Side, data: bytes, name: str) -> Source:
    """What was agreed by a copy of the book, up to its latest entry."""
    from siltbook.batch.typed.boxes import read_boxes
    from siltbook.checks.lastday import latest_day

    until = latest_day(side.book)
    boxes = read_boxes(data, name)
    return of_book(side.book, name, until, boxes.boxes, boxes.sheet, side.names)


def _agreed(workbook: Workbook, minutes: Minutes, home: Side, name: str) -> Source:
    """What a pack's sheet Agreed shows of the book's farm, and what its agenda was filled in with.

    A row of the agenda without an action asks for nothing and is passed over.
    """
    farm, found = home.book.settings.farm, []
    for sheet, row, cells in _rows(workbook, "Agreed"):
        if _of(cells, farm) and cells.get("Action"):
            due, done = (_date(cells.get(head), workbook.date1904) for head in ("Due", "Done"))
            action, who = (text_of_cell(cells.get(head)) for head in ("Action", "Who"))
            station, place = _station(home, cells), f"{sheet}!A{row}"
            found.append(Sighting(station, action, who, due, done, place))
    own = {book.number for book in minutes.books if name_key(book.farm) == name_key(farm)}
    for one in minutes.rows:
        number, of = one.text(agenda.BOOK), one.text(agenda.FARM)
        mine = number in own if number else name_key(of) == name_key(farm) or not of
        if mine and one.text(agenda.STATION) and one.text(agenda.ACTION):
            due = _date(one.cells.get(agenda.DUE), minutes.date1904)
            station = _station(home, {"Station": one.text(agenda.STATION)})
            place = one.place(agenda.ACTION)
            found.append(Sighting(station, one.text(agenda.ACTION), one.text(agenda.WHO), due,
                                  None, place, listed=False))  # fmt: skip
    month = None if minutes.since is None else Month(minutes.since.year, minutes.since.month)
    return Source(name, month.last if month else None, tuple(once(found)), month)


def _date(value: object, date1904: bool) -> dt.date | None:
    """A pack's day, counted or typed; None where it cannot be told."""
    if isinstance(value, float) and not isinstance(value, bool):
        return serial_date(value, date1904)
    found = date_text(value) if isinstance(value, str) else None
    return None if found is None or found.ambiguous else found.date


def _rows(workbook: Workbook, title: str) -> Iterator[tuple[str, int, dict[str, object]]]:
    """The rows of a pack's table: sheet, row, header -> value, pressures [m]; None for blank.

    A column whose unit is not known is left out.
    """
    part = next((p for p in workbook.sheets if p.name == title), None)
    if part is None:
        return
    grid: dict[int, dict[int, object]] = {}
    for column, cells in read_sheet(workbook, part).columns.items():
        for row, value in zip(cells.rows, cells.values, strict=True):
            grid.setdefault(row, {})[column] = value
    heads = next((r for r in sorted(grid) if r <= _TOP and {"Farm", "Station"} <= {
        v for v in grid[r].values() if isinstance(v, str)}), None)  # fmt: skip
    if heads is None:
        return
    titles = {c: t for c, v in grid[heads].items() if (t := _title(str(v))) is not None}
    for row in sorted(grid):
        if row > heads:
            yield (
                part.name,
                row,
                {head: _metres(grid[row].get(c), factor) for c, (head, factor) in titles.items()},
            )


def _title(header: str) -> tuple[str, float] | None:
    """A header without its unit, and metres in that unit, 1 without; None for an unknown unit."""
    found = _IN_UNIT.fullmatch(header)
    if found is None:
        return header, 1.0
    try:
        return found["title"], metres_per(found["unit"])
    except KeyError:
        return None


def _metres(value: object, factor: float) -> object:
    return value * factor if isinstance(value, float) else value


def _of(cells: Mapping[str, object], farm: str) -> bool:
    own = name_key(cells.get("Farm") or "") == name_key(farm)
    return own and bool(cells.get("Station"))


def _station(home: Side, cells: Mapping[str, object]) -> str:
    name = " ".join(str(cells["Station"]).split())
    return home.names.get(name_key(name), name)


def _flush(home: Side, cells: Mapping[str, object], row: int, date1904: bool) -> Entry | None:
    """A flush as a pack shows it, as the book's list would have it; its lowest inlet [m]."""
    number = cells.get("Date")
    day = serial_date(number, date1904) if isinstance(number, float) else None
    if day is None:
        return None
    name = _station(home, cells)
    found: dict[str, Value] = {"work": "flush"}
    for head, key in _FLUSH.items():
        value = cells.get(head)
        if isinstance(value, (float, str)) and not isinstance(value, bool) and value != "":
            found[key] = value
    found |= {"station": name, "date": day}
    return Entry(WORK.name, row, found, key_of(WORK, found))
