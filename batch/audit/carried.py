"""The third question: the result sheets that a book carries against those it gives today."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass, replace

from batch import __version__
from batch.audit.model import Place, RuleResult, State, looked
from batch.audit.rules import RULES
from batch.fingerprint import fingerprint
from batch.job import review_bytes
from batch.reading.cells import NoValue, SheetPart, Value, Workbook
from batch.reading.opc import open_package
from batch.reading.sheetxml import read_sheet
from batch.reading.workbook import open_workbook
from templates.book import Book, column_letters
from templates.contract import RESULT_MARK, RESULT_SHEETS

SAME = 1e-9  # relative, and [m] or whatever a cell holds near zero: another program's last digits
_MARK = re.compile(
    rf"{re.escape(RESULT_MARK)} (?P<version>\S+) · (?P<book>.*) · as of (?P<day>\d{{4}}-\d\d-\d\d"
    r"|no date \([^)]*\))(?: · inputs (?P<inputs>[0-9a-f]+))? · replaced at every run\s*"
)
Grid = dict[tuple[int, int], Value]  # (1-based row, 0-based column) -> value


@dataclass(frozen=True)
class Mark:
    """What a result sheet says of itself."""

    version: str
    book_name: str
    as_of: dt.date | None
    inputs: str


@dataclass(frozen=True)
class Carried:
    """The result sheets that a book carries: name -> its cells, with its own mark line."""

    sheets: dict[str, Grid]
    marks: dict[str, Mark]

    @property
    def mark(self) -> Mark | None:
        """The mark of the first sheet, for which the book is judged again."""
        return next(iter(self.marks.values()), None)


def read_mark(text: object) -> Mark | None:
    """A mark line taken apart; None for any other text."""
    found = _MARK.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        return None
    day = None if found["day"].startswith("no date") else dt.date.fromisoformat(found["day"])
    return Mark(found["version"], found["book"], day, found["inputs"] or "")


def carried(data: bytes, name: str) -> Carried:
    """The result sheets in a package, in the contract's order."""
    workbook = open_workbook(open_package(data, name), name)
    wanted = [n for base in RESULT_SHEETS for n in (base, f"{base} (Siltbook)")]
    parts = {p.name.casefold(): p for p in workbook.sheets}
    sheets: dict[str, Grid] = {}
    marks: dict[str, Mark] = {}
    for part in (parts[n.casefold()] for n in wanted if n.casefold() in parts):
        mark = _first_mark(workbook, part)
        if mark is not None:
            sheets[part.name], marks[part.name] = _grid(workbook, part), mark
    return Carried(sheets, marks)


def _first_mark(workbook: Workbook, part: SheetPart) -> Mark | None:
    top = read_sheet(workbook, part, 3).columns.get(0)
    return next((m for v in top.values if (m := read_mark(v))), None) if top else None


def _grid(workbook: Workbook, part: SheetPart) -> Grid:
    cells = read_sheet(workbook, part)
    return {
        (row, column): value
        for column, filled in cells.columns.items()
        for row, value in zip(filled.rows, filled.values, strict=True)
        if value != ""
    }


def compare(book: Book, data: bytes, as_of: dt.date | None) -> list[RuleResult]:
    """The four rules on the result sheets that the book carries."""
    codes = ("same-version", "same-date", "same-inputs", "same-numbers")
    stored = carried(data, book.path)
    mark = stored.mark
    if mark is None:
        said = "The book carries no result sheets; there is nothing to compare."
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
    places = differences(stored, again)
    count = sum(len(grid) for grid in stored.sheets.values())
    if mark.version != __version__ and places:
        said = f"{len(places)} of {count:,} cells differ; they come from another version."
        quiet = tuple(replace(place, holds=True) for place in places)
        return RuleResult(rule, State.CANNOT, said, places=quiet)
    result = looked(rule, places, f"All {count:,} cells are as this book gives them today.",
                    many="cells differ")  # fmt: skip
    return replace(result, kept=count - len(places), of=count)


def differences(stored: Carried, again: Carried) -> list[Place]:
    """Every cell of a stored sheet that is not what the book gives today."""
    found = []
    for name, new in again.sheets.items():
        old = stored.sheets.get(name)
        if old is None:
            found.append(Place(name, "", f"{name} is not in the book"))
            continue
        for row, column in sorted(old.keys() | new.keys()):
            before, after = old.get((row, column)), new.get((row, column))
            if row == 2 and column == 0:
                continue  # the mark line has rules of its own
            if not alike(before, after):
                cell = f"{column_letters(column)}{row}"
                said = f"{name}!{cell} holds {_shown(before)}; recomputed {_shown(after)}"
                found.append(Place(name, cell, said))
    return found


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
