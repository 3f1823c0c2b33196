"""The boxes on the sheet Actions that people fill in: which action, who, by when.

A box belongs to a station and its episode, the stretch over the limit: it comes back on the next
run as long as that goes on. The sheet says when the episode began by its days over the limit,
counted back from the day for which it was made.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.package.opened import Package, open_package
from siltbook.batch.reading.cells import Cells, NoValue, SheetPart, Value, Workbook
from siltbook.batch.reading.parsing import date_text, serial_date
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import list_sheets, open_workbook
from siltbook.batch.typed.mark import Mark, read_mark
from siltbook.templates.names import name_key

if TYPE_CHECKING:
    from siltbook.batch.results import StationResult

SHEETS = ("Actions", "Actions (Siltbook)")
STATION, VERDICT, DAYS = "Station", "Verdict", "Days over limit"
ACTION, WHO, DUE = "Action agreed", "Who", "By when"
_HEADS = (STATION, VERDICT, DAYS, ACTION, WHO, DUE)
_TITLE = re.compile(r"Actions(?: \(Siltbook\))? – (?P<farm>.+)", re.DOTALL)
OF_FARM = "it is of the farm"  # begins why a result of another farm is kept
_TOP = 30  # rows in which the header row is looked for


@dataclass(frozen=True)
class Box:
    """What somebody filled in for a station. `opened` is its episode's day, None without one.

    `due` is a date, or the text that stands there. `row` is the sheet's row, `verdict` as shown.
    `farm` is of the sheet's title, '' where that has none or does not matter; `elsewhere`: it is
    not the farm of the book. `second`: a line before it is of the same station.
    """

    station: str
    opened: dt.date | None
    action: str
    who: str
    due: dt.date | str
    verdict: str = ""
    row: int = 0
    farm: str = ""
    elsewhere: bool = False
    second: bool = False

    @property
    def content(self) -> tuple[str, str, str]:
        """The three boxes as text."""
        return self.action, self.who, str(self.due)

    @property
    def words(self) -> str:
        """The filled boxes in one clause, for a message."""
        return words_of(*self.content)


def words_of(action: str, who: str, due: str) -> str:
    """Filled boxes in one clause."""
    said = zip((ACTION, WHO, DUE), (action, who, due), strict=True)
    return ", ".join(f"{head} '{text}'" for head, text in said if text)


@dataclass(frozen=True)
class Filled:
    """The boxes of a book's sheet Actions, that sheet's name, and the places of its columns."""

    sheet: str
    mark: Mark | None
    boxes: tuple[Box, ...]
    places: Mapping[str, int]


NONE = Filled("", None, (), {})


def read_boxes(book: bytes | Package, name: str) -> Filled:
    """The filled boxes of a book's own sheet Actions; none where it has none or is broken."""
    from siltbook.batch.errors import SiltbookError

    try:
        package = book.anew() if isinstance(book, Package) else open_package(book, name)
        if not any(sheet.name in SHEETS for sheet in list_sheets(package, name)):
            return NONE
        workbook = open_workbook(package, name)
        for part in workbook.sheets:
            if part.name in SHEETS and (mark := _mark(workbook, part)) is not None:
                return _read(workbook, part, mark)
    except (SiltbookError, *DAMAGE):
        return NONE
    return NONE


def _mark(workbook: Workbook, part: SheetPart) -> Mark | None:
    top = read_sheet(workbook, part, 3).columns.get(0)
    return next((m for v in top.values if (m := read_mark(v))), None) if top else None


def farm_of(title: object) -> str:
    """The farm in the title of the sheet Actions; '' where it names none."""
    found = _TITLE.fullmatch(title) if isinstance(title, str) else None
    return found["farm"].strip() if found else ""


def not_of(farm: str, boxes: Iterable[Box]) -> tuple[tuple[Box, ...], tuple[Box, ...]]:
    """The boxes that may be of this farm, and those of another one.

    Books of two farms may have one name, and their results one folder.
    """
    mine, others = [], []
    for box in boxes:
        if box.farm and farm and name_key(box.farm) != name_key(farm):
            others.append(replace(box, elsewhere=True))
        else:
            mine.append(box)
    return tuple(mine), tuple(others)


def _read(workbook: Workbook, part: SheetPart, mark: Mark) -> Filled:
    columns = read_sheet(workbook, part).columns
    header, places = _header(columns)
    rows: dict[int, dict[str, Value]] = {}
    for head, col in places.items():
        filled = columns[col]
        for row, value in zip(filled.rows, filled.values, strict=True):
            if row > header and value != "" and not isinstance(value, NoValue):
                rows.setdefault(row, {})[head] = value
    top = columns.get(0)
    titles = zip(top.rows, top.values, strict=True) if top else ()
    farm = next((farm_of(value) for row, value in titles if row == 1), "")
    found = _boxes(rows, mark, workbook.date1904)
    boxes = tuple(_in_order(replace(box, farm=farm) for box in found))
    return Filled(part.name, mark, boxes, places)


def _header(columns: Mapping[int, Cells]) -> tuple[int, dict[str, int]]:
    """The row with most of the headers, and where they stand."""
    found: dict[int, dict[str, int]] = {}
    for col, cells in sorted(columns.items()):
        for row, value in zip(cells.rows, cells.values, strict=True):
            if row <= _TOP and value in _HEADS:
                found.setdefault(row, {}).setdefault(str(value), col)
    best = max(found, key=lambda row: (len(found[row]), -row), default=0)
    return best, found.get(best, {})


def _boxes(rows: Mapping[int, Mapping[str, Value]], mark: Mark, date1904: bool) -> Iterator[Box]:
    for number, row in sorted(rows.items()):
        action, who = (text(row.get(head, "")) for head in (ACTION, WHO))
        due, station = _due(row.get(DUE, ""), date1904), text(row.get(STATION, ""))
        if action or who or due:
            verdict = text(row.get(VERDICT, ""))
            yield Box(station, _opened(row.get(DAYS), mark), action, who, due, verdict, number)


def _in_order(boxes: Iterable[Box]) -> Iterator[Box]:
    """The boxes with those marked whose station has had a line: a result has one for each."""
    seen = set()
    for box in boxes:
        yield replace(box, second=name_key(box.station) in seen)
        seen.add(name_key(box.station))


def _opened(days: Value | None, mark: Mark) -> dt.date | None:
    if mark.as_of is None or not isinstance(days, float) or not 0 <= days <= 40_000:
        return None
    return mark.as_of - dt.timedelta(days=round(days))


def text(value: Value) -> str:
    """A cell's value as text on one line."""
    return f"{value:.15g}" if isinstance(value, float) else " ".join(str(value).split())


def _due(value: Value, date1904: bool) -> dt.date | str:
    if isinstance(value, float):
        return serial_date(value, date1904) or text(value)
    said = text(value)
    found = date_text(said)
    return said if found.date is None or found.ambiguous else found.date


def together(*given: Iterable[Box]) -> tuple[Box, ...]:
    """Boxes of several files, those of a later one in place of an earlier one's of a station."""
    by_station: dict[str, list[Box]] = {}
    for boxes in given:
        now: dict[str, list[Box]] = {}
        for box in boxes:
            now.setdefault(name_key(box.station), []).append(box)
        by_station |= now
    return tuple(box for boxes in by_station.values() for box in boxes)


def going_on(
    boxes: Iterable[Box], stations: Iterable[StationResult], as_of: dt.date | None
) -> tuple[tuple[StationResult, ...], tuple[Box, ...]]:
    """The stations with their boxes, as far as the episode goes on, and the other boxes.

    A box without an episode goes on while its station stands on the sheet.
    """
    from siltbook.batch.model import CALM

    all_of_them = tuple(boxes)
    by_name = {name_key(box.station): box for box in all_of_them if not box.second}
    second = [box for box in all_of_them if box.second]
    taken = set()
    held = []
    for result in stations:
        key = name_key(result.station.name)
        box = by_name.get(key)
        if box and result.verdict not in CALM and box.opened in (None, _began(result, as_of)):
            taken.add(key)
            held.append(replace(result, box=box))
        else:
            held.append(result)
    ended = [box for key, box in by_name.items() if key not in taken]
    return tuple(held), (*ended, *second)


def _began(result: StationResult, as_of: dt.date | None) -> dt.date | None:
    if as_of is None or result.days_over is None:
        return None
    return as_of - dt.timedelta(days=result.days_over)
