"""The result sheets that a book carries, as values and formulas."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field

from siltbook.batch.audit.formulas import Place, formulas, formulas_print
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import NoValue, SheetPart, Value, Workbook
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.typed.mark import Mark, read_mark
from siltbook.templates.contract import RESULT_SHEETS

SAME = 1e-9  # relative, and [m] or whatever a cell holds near zero: another program's last digits
MARK_CELL = (2, 0)  # row and column of the mark line, which has rules of its own
Grid = dict[int, dict[int, Value]]  # 0-based column -> 1-based row -> value


@dataclass(frozen=True)
class Carried:
    """The result sheets that a book carries: name -> its cells, with its own mark line.

    `unreadable` names the sheets that are called as ours are and are broken.
    """

    sheets: dict[str, Grid]
    marks: dict[str, Mark]
    unreadable: tuple[str, ...] = ()
    parts: dict[str, SheetPart] = field(default_factory=dict)
    workbook: Workbook | None = None

    def formulas(
        self, sheet: str, only: Mapping[int, Set[int]] | None = None
    ) -> Iterator[tuple[Place, str]]:
        """The formulas of one sheet, or those at some rows of some columns, by their place."""
        if self.workbook is not None and sheet in self.parts:
            yield from formulas(self.workbook, self.parts[sheet], only)

    def formulas_print(self, sheet: str) -> str:
        """The same for two sheets only where all their formulas are the same to a letter."""
        if self.workbook is None or sheet not in self.parts:
            return ""
        return formulas_print(self.workbook, self.parts[sheet])

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
    kept: dict[str, SheetPart] = {}
    unreadable = []
    for part in (parts[n.casefold()] for n in wanted if n.casefold() in parts):
        try:
            mark = _first_mark(workbook, part)
            if mark is not None:
                sheets[part.name], marks[part.name] = _grid(workbook, part), mark
                kept[part.name] = part
        except DAMAGE:
            unreadable.append(part.name)
    return Carried(sheets, marks, tuple(unreadable), kept, workbook)


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


def alike(one: Value | None, other: Value | None) -> bool:
    """Whether two cells hold the same, up to the last digits that a program may change."""
    if isinstance(one, NoValue) or isinstance(other, NoValue):
        return True  # a formula that some program has not calculated yet stores no number
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    if isinstance(one, str) and isinstance(other, str):
        return one.split() == other.split()
    return one == other
