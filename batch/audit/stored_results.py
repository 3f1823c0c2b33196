"""The third question: the result sheets that a book carries against those it gives today."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import nsmallest

from siltbook import __version__
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.job import review_bytes
from siltbook.batch.reading.cells import NoValue, SheetPart, Value, Workbook
from siltbook.batch.reading.opc import DAMAGE, open_package
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.typed.mark import Mark, read_mark
from siltbook.templates.book import Book, column_letters
from siltbook.templates.contract import RESULT_SHEETS

SAME = 1e-9  # relative, and [m] or whatever a cell holds near zero: another program's last digits
_MARK_CELL = (2, 0)  # row and column of the mark line, which has rules of its own
MOST_NAMED = 1_000  # cells of one sheet that differ and are named; the others are counted
Grid = dict[int, dict[int, Value]]  # 0-based column -> 1-based row -> value


@dataclass(frozen=True)
class Carried:
    """The result sheets that a book carries: name -> its cells, with its own mark line.

    `unreadable` names the sheets that are called as ours are and are broken.
    """

    sheets: dict[str, Grid]
    marks: dict[str, Mark]
    unreadable: tuple[str, ...] = ()

    @property
    def mark(self) -> Mark | None:
        """The mark of the first sheet, for which the book is judged again."""
        return next(iter(self.marks.values()), None)

    @property
    def cells(self) -> int:
        """How many cells its sheets hold."""
        return sum(len(column) for grid in self.sheets.values() for column in grid.values())

    @property
    def uncalculated(self) -> int:
        """How many of them are formulas without a stored value."""
        return sum(map(_uncalculated, self.sheets.values()))


def _uncalculated(grid: Grid) -> int:
    return sum(isinstance(v, NoValue) for column in grid.values() for v in column.values())


def carried(data: bytes, name: str) -> Carried:
    """The result sheets in a package, in the contract's order."""
    workbook = open_workbook(open_package(data, name), name)
    wanted = [n for base in RESULT_SHEETS for n in (base, f"{base} (Siltbook)")]
    parts = {p.name.casefold(): p for p in workbook.sheets}
    sheets: dict[str, Grid] = {}
    marks: dict[str, Mark] = {}
    unreadable = []
    for part in (parts[n.casefold()] for n in wanted if n.casefold() in parts):
        try:
            mark = _first_mark(workbook, part)
            if mark is not None:
                sheets[part.name], marks[part.name] = _grid(workbook, part), mark
        except DAMAGE:
            unreadable.append(part.name)
    return Carried(sheets, marks, tuple(unreadable))


def _first_mark(workbook: Workbook, part: SheetPart) -> Mark | None:
    top = read_sheet(workbook, part, 3).columns.get(0)
    return next((m for v in top.values if (m := read_mark(v))), None) if top else None


def _grid(workbook: Workbook, part: SheetPart) -> Grid:
    cells = read_sheet(workbook, part)
    return {
        column: {
            r: v
            for r, v in zip(filled.rows, filled.values, strict=True)
            if v != "" or isinstance(v, NoValue)
        }
        for column, filled in cells.columns.items()
    }


def compare(book: Book, data: bytes, as_of: dt.date | None) -> list[RuleResult]:
    """The four rules on the result sheets that the book carries."""
    codes = ("same-version", "same-date", "same-inputs", "same-numbers")
    stored = carried(data, book.path)
    mark = stored.mark
    if mark is None:
        said = "The book carries no result sheets; there is nothing to compare."
        if stored.unreadable:
            said = f"{broken(stored.unreadable)} There is nothing to compare."
        return [RuleResult(RULES[code], State.CANNOT, said) for code in codes]
    sheet = next(iter(stored.sheets))
    return [
        _version(mark, sheet),
        _date(mark, sheet, as_of),
        _inputs(stored, book),
        _numbers(stored, mark, data, book.path),
    ]


def _version(mark: Mark, sheet: str) -> RuleResult:
    """Another version is for the record: what counts is whether it gives other numbers."""
    same = mark.version == __version__
    said = f"Written by version {mark.version}; this is {__version__}."
    place = Place(sheet, "A2", said, holds=True)
    return RuleResult(RULES["same-version"], State.QUIET if same else State.CANNOT, said,
                      places=(place,))  # fmt: skip


def _date(mark: Mark, sheet: str, as_of: dt.date | None) -> RuleResult:
    stored = mark.as_of.isoformat() if mark.as_of else "no date"
    asked = as_of.isoformat() if as_of else "no date"
    same = f"The result sheets stand as of {stored}, as the book does."
    said = f"The result sheets stand as of {stored}; the audit as of {asked}"
    places = [] if mark.as_of == as_of else [Place(sheet, "A2", said)]
    return looked(RULES["same-date"], places, same)


def _inputs(stored: Carried, book: Book) -> RuleResult:
    now = fingerprint(book)
    rule = RULES["same-inputs"]
    if not any(mark.inputs for mark in stored.marks.values()):
        return RuleResult(rule, State.CANNOT, "The result sheets carry no fingerprint of inputs.")
    places = [
        Place(sheet, "A2", f"{sheet} was made from inputs {mark.inputs}; the book's are {now}")
        for sheet, mark in stored.marks.items()
        if mark.inputs and mark.inputs != now
    ]
    return looked(rule, places, f"The inputs are those of the result sheets ({now}).",
                  many="sheets")  # fmt: skip


def _numbers(stored: Carried, mark: Mark, data: bytes, path: str) -> RuleResult:
    rule = RULES["same-numbers"]
    again = carried(review_bytes(data, path, mark.book_name, mark.as_of).package, path)
    places, differ = differences(stored, again)
    count = stored.cells
    if mark.version != __version__ and places:
        said = f"{differ:,} of {count:,} cells differ; they come from another version."
        quiet = tuple(replace(place, holds=True) for place in places)
        return RuleResult(rule, State.CANNOT, said, places=quiet)
    left = stored.uncalculated
    if left and not places:
        said = (
            f"{left:,} of {count:,} cells hold formulas that the program which saved the book did"
            " not calculate, so they cannot be compared; the others are as this book gives them"
            " today. Open it in a spreadsheet program, save it and audit again."
        )
        return RuleResult(rule, State.CANNOT, said)
    result = looked(rule, places, f"All {count:,} cells are as this book gives them today.",
                    many="cells differ", count=differ)  # fmt: skip
    return replace(result, kept=count - differ, of=count)


def broken(sheets: Sequence[str]) -> str:
    """What to say of result sheets that cannot be read, and what to do."""
    names = ", ".join(sheets)
    which = f"The result sheet {names} is" if len(sheets) == 1 else f"The result sheets {names} are"
    return f"{which} damaged and cannot be read: run 'siltbook run' again to replace them."


def differences(stored: Carried, again: Carried) -> tuple[list[Place], int]:
    """Cells of the stored sheets that are not what the book gives today, and how many there are.

    Of each sheet the first MOST_NAMED are named.
    """
    found, count = [], 0
    for name, new in again.sheets.items():
        old = stored.sheets.get(name)
        if old is None:
            gone = "is damaged and cannot be read" if name in stored.unreadable else "is missing"
            found.append(Place(name, "", f"{name} {gone}; run 'siltbook run' again"))
            count += 1
            continue
        unlike, more = _unlike(old, new)
        count += more
        for row, column in unlike:
            cell = f"{column_letters(column)}{row}"
            before, after = (grid.get(column, {}).get(row) for grid in (old, new))
            said = f"{name}!{cell} holds {_shown(before)}; recomputed {_shown(after)}"
            found.append(Place(name, cell, said))
    return found, count


def _unlike(old: Grid, new: Grid) -> tuple[list[tuple[int, int]], int]:
    """The first (row, column) of two sheets that differ, in reading order, and their number."""
    found: list[tuple[int, int]] = []
    count = 0
    for column in sorted(old.keys() | new.keys()):
        one, other = old.get(column, {}), new.get(column, {})
        rows = [
            row
            for row in one.keys() | other.keys()
            if one.get(row) != other.get(row) and not alike(one.get(row), other.get(row))
            and (row, column) != _MARK_CELL
        ]  # fmt: skip
        count += len(rows)
        found += [(row, column) for row in nsmallest(MOST_NAMED, rows)]
    return nsmallest(MOST_NAMED, found), count


def alike(one: Value | None, other: Value | None) -> bool:
    """Whether two cells hold the same, up to the last digits that a program may change."""
    if isinstance(one, NoValue) or isinstance(other, NoValue):
        return True  # a formula that some program has not calculated yet stores no number
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    if isinstance(one, str) and isinstance(other, str):
        return one.split() == other.split()
    return one == other


def _shown(value: Value | None) -> str:
    if value is None:
        return "nothing"
    return f'"{value[:60]}"' if isinstance(value, str) else f"{value:.12g}"
