"""Sheets under another name: which of the book's sheets looks like a list that is read.

By its headers where they are spelt as in the template, else by what its columns hold, so that a
translated sheet is recognised too. Such a sheet is named, never read: that would be a guess.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from siltbook.batch.errors import BookError, PackError
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.reading.aside import FILLED
from siltbook.batch.reading.cells import (
    Cells,
    IsoDate,
    SheetCells,
    SheetPart,
    Style,
    Value,
    Workbook,
)
from siltbook.batch.reading.headers import Header, find_header, header_rows
from siltbook.batch.reading.otherheaders import is_planned, readings_places
from siltbook.batch.reading.parsing import date_text, number_text, serial_date, tidy
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.checks.findings import Finding, find
from siltbook.templates.book import Elsewhere
from siltbook.templates.contract import (
    FARM,
    LISTS,
    READINGS,
    RESULT_SHEETS,
    WORK,
    Sheet,
    bare,
)
from siltbook.templates.names import name_key

_PACK = ("Agenda", "About this pack")  # sheets of a review pack, which no book has both
_SHEETS = 60  # sheets that are looked at
_ROWS = 200  # rows of each whose content is weighed
_SHARE = 0.7  # of a column's cells that must be of one kind
_FEWEST = 3  # cells that tell a column's kind
_KINDS_OF_WORK = 12  # different words in a column that says what was done

Parts = Mapping[str, SheetPart | None]
Names = Callable[[], set[str]]


def plain_name(name: str) -> str:
    """A sheet's name as it is compared: case and spaces do not count."""
    return "".join(name.replace("\u00a0", " ").split()).casefold()


def missing_sheet(workbook: Workbook, sheet: Sheet, name: str) -> BookError:
    """The refusal of a book without a sheet that it needs: says which sheet looks like it."""
    if {one.name for one in workbook.sheets}.issuperset(_PACK):
        return PackError(
            f"{name} is a review pack that 'siltbook review' made, not a farm's book: give the"
            " book it was made from."
        )
    names = ", ".join(part.name for part in workbook.sheets[:12])
    more = len(workbook.sheets) - 12
    names += f" and {more} more" if more > 0 else ""
    text = f"{name} has no sheet {sheet.name} (its sheets: {names}): "
    others = list(_others(workbook, set()))
    taken = {plain_name(one.name) for one in (FARM, *LISTS)}
    best, score = "", 1
    for part, cells in others:
        header = None if plain_name(part.name) in taken else find_header(cells, sheet)
        if header and len(header.places) > score:
            best, score = part.name, len(header.places)
    if best:
        return BookError(
            f"{text}the sheet {best} looks like it by its headers, rename it to {sheet.name}."
        )
    best, holds = _by_content(workbook, sheet, others)
    if best:
        return BookError(
            f"{text}the sheet {best} looks like it by what it holds ({holds}), rename it to"
            f" {sheet.name} and give it the headers of the template, or run"
            f" 'siltbook adopt {name}', which reads books kept in other forms."
        )
    return BookError(
        f"{text}copy the sheet {sheet.name} from a blank template. Where readings are kept in"
        f" another form, run 'siltbook adopt {name}', which makes a book of them."
    )


@dataclass(frozen=True)
class Missed:
    """Rows that are not read: on the sheet `name`, or '' for a second table beside the first.

    They look like the list `like`; `days`: station as it was typed and day of each row.
    """

    name: str
    like: Sheet
    days: tuple[tuple[str, dt.date], ...]


def unread_sheets(
    workbook: Workbook, parts: Parts, register: SheetCells
) -> Iterator[tuple[Finding, Missed]]:
    """Every sheet that looks like a list and is not read as one, and what it holds.

    `register`: the cells of the sheet Stations.
    """
    known = cache(lambda: _names(register))  # once, and only where a sheet asks for them
    read = {part.part for part in parts.values() if part is not None}
    for part, cells in _others(workbook, read):
        sheet, how = _like_a_list(workbook, parts, cells, known)
        if sheet is None:
            continue
        there = parts[sheet.name]
        found = find(
            "sheet-not-read",
            sheet=part.name,
            cell="",
            read=f"a sheet that looks like {sheet.name} by its {how}",
            accepted=f"rows on the sheet {there.name}" if there else f"the name {sheet.name}",
        )
        # What is planned was not done; what was done is not on it, or would be read.
        counts = sheet in (READINGS, WORK) and not is_planned(part.name)
        days = _of_sheet(workbook, part, sheet, known) if counts else ()
        yield found, Missed(part.name, sheet, tuple(days))


def second_table(
    workbook: Workbook, cells: SheetCells, header: Header, sheet: Sheet
) -> Missed | None:
    """A table beside the one that is read, or second columns of pressures or work; None without.

    Station and date are those of the first table where the second has none.
    """
    keys = {bare(column.header): column.key for column in sheet.columns}
    second = {keys.get(bare(text), ""): column for text, column in reversed(header.twice)}
    filled = {
        row for key in FILLED.get(sheet.name, ()) if key in second
        for row in cells.columns[second[key]].rows
    }  # fmt: skip
    every = _days(workbook, cells, header.row, {**header.places, **second})
    days = tuple((station, day) for row, station, day in every if row in filled)
    return Missed("", sheet, days) if days else None


def elsewhere(
    missed: Iterable[Missed], register: Mapping[str, str]
) -> dict[str, tuple[Elsewhere, ...]]:
    """Station of the register -> the days that these rows hold of it.

    `register`: every name that a station goes by, as `name_key` compares it -> the station.
    """
    found: dict[str, list[Elsewhere]] = {}
    for rows in missed:
        days: dict[str, set[dt.date]] = {}
        for typed, day in rows.days:
            if name := register.get(name_key(typed)):
                days.setdefault(name, set()).add(day)
        for name, own in days.items():
            place = Elsewhere(rows.name, rows.like.name, tuple(sorted(own)))
            found.setdefault(name, []).append(place)
    return {name: tuple(places) for name, places in found.items()}


def _of_sheet(
    workbook: Workbook, part: SheetPart, sheet: Sheet, known: Names
) -> Iterator[tuple[str, dt.date]]:
    """Station and day of each row of a whole sheet that holds a pressure, or work; none without
    its header, or where it is damaged or beyond measure: it is named all the same."""
    cells = SheetCells()
    with contextlib.suppress(*DAMAGE, BookError):
        cells = read_sheet(workbook, part)
    header = find_header(cells, sheet)
    found = (header.row, header.places) if header is not None else None
    if sheet is READINGS and (found is None or not {"station", "date"} <= found[1].keys()):
        found = readings_places(cells, known())
    if found is None:
        return
    row, places = found
    keys = [key for key in FILLED[sheet.name] if key in places]
    filled = {row for key in keys for row in cells.columns[places[key]].rows}
    every = _days(workbook, cells, row, places)
    yield from ((station, day) for at, station, day in every if at in filled)


def _days(
    workbook: Workbook, cells: SheetCells, header: int, places: Mapping[str, int]
) -> Iterator[tuple[int, str, dt.date]]:
    """Row, station and day of each row below the header that has them; `places`: key -> column."""
    if not {"station", "date"} <= places.keys():
        return
    names, dates = (cells.columns[places[key]] for key in ("station", "date"))
    stations = dict(zip(names.rows, names.values, strict=True))
    for row, value, style in zip(dates.rows, dates.values, dates.styles, strict=True):
        day, station = _day(value, _style(workbook, style), workbook), stations.get(row)
        if row > header and day is not None and type(station) is str:
            yield row, station, day


def _day(value: Value, style: int, workbook: Workbook) -> dt.date | None:
    """The day of a cell; None where it is not a date, or can be read two ways."""
    if type(value) is float:
        return serial_date(value, workbook.date1904) if style == Style.DATE else None
    return date_text(value).date if isinstance(value, str) else None


def _others(workbook: Workbook, read: set[str]) -> Iterator[tuple[SheetPart, SheetCells]]:
    """The upper rows of every sheet that is no result sheet and whose part is not in `read`.

    A damaged one is passed over: a sheet that is not needed cannot spoil the book.
    """
    ours = {plain_name(name) for name in RESULT_SHEETS}
    ours |= {plain_name(f"{name} (Siltbook)") for name in RESULT_SHEETS}
    for part in workbook.sheets[:_SHEETS]:
        if plain_name(part.name) not in ours and part.part not in read:
            with contextlib.suppress(*DAMAGE):
                yield part, read_sheet(workbook, part, _ROWS)


def _like_a_list(
    workbook: Workbook, parts: Parts, cells: SheetCells, known: Names
) -> tuple[Sheet | None, str]:
    best: Sheet | None = None
    score, rows = 0, header_rows(cells)
    for sheet in LISTS:
        header = find_header(cells, sheet, rows)
        needed = [column.key for column in sheet.columns if column.required]
        if header is None or not all(key in header.places for key in needed):
            continue
        if len(header.places) > max(score, 2):
            best, score = sheet, len(header.places)
    if best is not None:
        return best, "headers"
    if parts[FARM.name] is None and _labels(cells) >= 2:
        return FARM, "labels"
    if readings_places(cells, known()) is not None:
        return READINGS, "headers, in other words"
    names = known()
    if parts[WORK.name] is None and names and _looks_like_work(_shape(workbook, cells), names):
        return WORK, "content (dates, stations and a few words for what was done)"
    return None, ""


def _labels(cells: SheetCells) -> int:
    """How many settings' labels a sheet holds."""
    names = {bare(column.header) for column in FARM.columns}
    found = {
        bare(tidy(value).rstrip(" :*"))
        for content in cells.columns.values()
        for value in content.values
        if type(value) is str and len(value) < 100
    }
    return len(names & found)


@dataclass(frozen=True)
class Shape:
    """What a sheet's columns hold: how many of each kind, and the texts of its text columns."""

    dates: int
    numbers: int
    texts: tuple[tuple[str, ...], ...]


def _shape(workbook: Workbook, cells: SheetCells) -> Shape:
    kinds = [(_kind(workbook, content), content) for content in cells.columns.values()]
    texts = tuple(
        tuple(name_key(v) for v in content.values[1:] if type(v) is str)
        for kind, content in kinds
        if kind == "text"
    )
    counts = [kind for kind, _ in kinds]
    return Shape(counts.count("date"), counts.count("number"), texts)


def _kind(workbook: Workbook, content: Cells) -> str:
    """'date', 'number', 'text', or '' where a column has too few cells or is mixed.

    Its first cell is left out: in a list it is the header.
    """
    pairs = list(zip(content.values, content.styles, strict=True))[1:]
    kinds = [_kind_of(value, _style(workbook, style)) for value, style in pairs]
    for kind in ("date", "number", "text"):
        if len(kinds) >= _FEWEST and kinds.count(kind) >= _SHARE * len(kinds):
            return kind
    return ""


def _style(workbook: Workbook, index: int) -> int:
    return workbook.styles[index] if index < len(workbook.styles) else Style.PLAIN


def _kind_of(value: Value, style: int) -> str:
    if type(value) is float:
        # A time of day is styled as a date, too; it has no day.
        dated = style == Style.DATE and serial_date(value) is not None
        return "date" if dated else "" if style == Style.DATE else "number"
    if isinstance(value, IsoDate):
        return "date"
    if type(value) is not str:
        return ""
    parsed = date_text(value)
    if parsed.date is not None or parsed.ambiguous:
        return "date"
    number = number_text(value)
    return "number" if number.value is not None or number.ambiguous else "text"


def _names(cells: SheetCells) -> set[str]:
    """Every text of a register, as names are compared."""
    return {
        name_key(value)
        for content in cells.columns.values()
        for value in content.values
        if type(value) is str
    }


def _by_content(
    workbook: Workbook, sheet: Sheet, others: list[tuple[SheetPart, SheetCells]]
) -> tuple[str, str]:
    """The sheet that holds what Readings or Stations would, and what that is; '' where none."""
    taken = {plain_name(one.name) for one in (FARM, *LISTS)}
    free = [
        (part, _shape(workbook, cells))
        for part, cells in others
        if plain_name(part.name) not in taken
    ]
    if sheet is READINGS:
        likely = [(s.numbers, p.name) for p, s in free if _looks_like_readings(s)]
        holds = "a column of dates, one of names and two of numbers"
        return (max(likely)[1], holds) if likely else ("", "")
    shapes = [_shape(workbook, cells) for _, cells in others]
    visits = [column for shape in shapes if _looks_like_readings(shape) for column in shape.texts]
    named = {text for column in visits for text in column}
    for part, shape in free:
        if not shape.dates and any(_is_register(column, named) for column in shape.texts):
            return part.name, "every name of the readings once"
    return "", ""


def _looks_like_readings(shape: Shape) -> bool:
    return shape.dates >= 1 and shape.numbers >= 2 and len(shape.texts) >= 1


def _is_register(column: tuple[str, ...], named: set[str]) -> bool:
    once = len(set(column)) == len(column)
    return once and sum(text in named for text in column) >= _SHARE * len(column)


def _looks_like_work(shape: Shape, known: set[str]) -> bool:
    """Dates, a column of known stations, and another of a few words."""
    stations = [c for c in shape.texts if sum(t in known for t in c) >= _SHARE * len(c)]
    words = [c for c in shape.texts if c not in stations and len(set(c)) <= _KINDS_OF_WORK]
    return shape.dates >= 1 and bool(stations) and bool(words) and shape.numbers < 3
