"""Who was there on which day, by a list of visits that somebody else kept.

The list is a CSV or a workbook with a column of dates and, where it has them, one of people.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.errors import BookError
from siltbook.batch.reading.parsing import date_text
from siltbook.checks.wording import listed
from siltbook.templates.book import Book, Table, column_letters
from siltbook.templates.contract import bare
from siltbook.templates.names import name_key

if TYPE_CHECKING:
    from siltbook.batch.adopt.model import Grid

_DAYS = ("date", "day", "visit", "visit date", "date of visit")
_PEOPLE = ("person", "people", "name", "names", "who", "by", "visitor", "visitors")
_TOP = 20  # rows in which the header row is looked for
_BETWEEN = re.compile(r"\s*(?:[,;/&+]|\band\b)\s*")
_SAMPLE = (
    "accepted: a row with the headers Date and Person, and below it a row for each visit, for"
    " example 2026-05-04 and Reader A"
)


@dataclass(frozen=True)
class Visits:
    """Day -> the people who were there, by folded name; none where the list names nobody."""

    name: str
    days: Mapping[dt.date, frozenset[str]]

    @property
    def people(self) -> frozenset[str]:
        """Everybody whom the list names."""
        return frozenset().union(*self.days.values())


def read_visits(data: bytes, name: str) -> Visits:
    """A list of visits; BookError, one sentence, where it is none or a date cannot be read."""
    from siltbook.batch.adopt.encodings import decode
    from siltbook.batch.adopt.sources import is_text, text_grid, whole_grid, workbook_grids

    if is_text(Path(name)):
        grid = text_grid(decode(data, name), name)
        grids = [whole_grid(grid) if grid.text else grid]
    else:
        grids = workbook_grids(data, name)
    for grid in grids:
        if (found := _headers(grid)) is not None:
            return Visits(name, _days(grid, *found))
    raise BookError(f"{name}: no column of visit dates was found; {_SAMPLE}. Give it a row of"
                    " headers and run again.")  # fmt: skip


def _headers(grid: Grid) -> tuple[int, int, int | None] | None:
    """Header row, column of dates, column of people."""
    for row in sorted(grid.rows)[:_TOP]:
        heads = {bare(str(v)): c for c, v in reversed(grid.rows[row].items())}
        day = next((heads[head] for head in _DAYS if head in heads), None)
        if day is not None:
            return row, day, next((heads[head] for head in _PEOPLE if head in heads), None)
    return None


def _days(grid: Grid, top: int, day: int, people: int | None) -> dict[dt.date, frozenset[str]]:
    below = {row: cells for row, cells in grid.rows.items() if row > top and day in cells}
    order = _order(cells[day] for cells in below.values())
    found: dict[dt.date, frozenset[str]] = {}
    for row, cells in below.items():
        on = _day(cells[day], order, f"{grid.place}, {column_letters(day)}{row}")
        named = cells.get(people) if people is not None else None
        found[on] = found.get(on, frozenset()) | _names(str(named or ""))
    if not found:
        raise BookError(f"{grid.place}: no visit stands below the headers; {_SAMPLE}.")
    return found


def _order(values: Iterator[object]) -> str:
    """Whether day or month comes first, where some date of the list settles it."""
    orders = {date_text(value).order for value in values if isinstance(value, str)} - {""}
    return orders.pop() if len(orders) == 1 else ""


def _day(value: object, order: str, where: str) -> dt.date:
    if isinstance(value, dt.datetime):
        return value.date()
    read = date_text(value, order) if isinstance(value, str) else None
    if read is not None and read.ambiguous:
        raise BookError(f'{where}: read "{value}", in which day and month could change places;'
                        " accepted: a date such as 2026-05-04. Write it so and run"
                        " again.")  # fmt: skip
    if read is None or read.date is None:
        raise BookError(f'{where}: read "{value}"; accepted: a date such as 2026-05-04. Correct it'
                        " and run again.")  # fmt: skip
    return read.date


def _names(text: str) -> frozenset[str]:
    return frozenset(filter(None, (name_key(part) for part in _BETWEEN.split(text))))


def nobody_there(book: Book, visits: Visits, as_of: dt.date | None) -> RuleResult:
    """Readings and work on days without a visit, or by a person who was elsewhere that day.

    Days before the first and after the last visit of the list are not asked. A person is asked
    for only where the list names that person at all, and names the people of that day.
    """
    rule = RULES["nobody-there"]
    first, last = min(visits.days), max(visits.days)
    people, shown = visits.people, book.settings.shown.day
    places: list[Place] = []
    asked = outside = 0
    for table, key, what in ((book.readings, "read_by", "read"), (book.work, "done_by", "done")):
        for row, station, day, person in _entries(table, key):
            if as_of is not None and day > as_of:
                continue
            if not first <= day <= last:
                outside += 1
                continue
            asked += 1
            if said := _why(visits, people, day, person, what):
                cell = table.cell("date", row)
                places.append(Place(table.sheet, cell, f"{station}, {shown(day)}: {said}", station))
    span = f"{visits.name} ({shown(first)} to {shown(last)})"
    if not asked:
        return RuleResult(rule, State.CANNOT, f"No entry lies in the days of {span}.")
    beyond = f"; {outside:,} lie before or after it and were not asked" if outside else ""
    quiet = f"All {asked:,} entries in the days of {span} are on days of a visit{beyond}."
    return looked(rule, places, quiet, many="entries on days without that visit")


def _entries(table: Table, key: str) -> Iterator[tuple[int, str, dt.date, str]]:
    frame = table.frame
    for row, name, day, person in zip(
        frame.index, frame["station"], frame["date"], frame[key], strict=True
    ):
        if isinstance(name, str) and isinstance(day, dt.date):
            yield int(row), name, day, " ".join(person.split()) if isinstance(person, str) else ""


def _why(visits: Visits, people: frozenset[str], day: dt.date, person: str, what: str) -> str:
    there = visits.days.get(day)
    if there is None:
        by = f" by {person}" if person else ""
        return f"{what}{by} on a day on which {visits.name} has no visit"
    name = name_key(person)
    if not there or name not in people or name in there:
        return ""
    others = listed(sorted(other.title() for other in there))
    return f"{what} by {person}, while {visits.name} has {others} there that day"
