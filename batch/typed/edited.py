"""Whether a result file was edited since Siltbook wrote it, and on which sheets.

A file whose stamp fits was saved by nobody. One that was saved by another program is compared
cell by cell: what people fill in with the fingerprints in its mark line, and with the book where
these do not reach; the result sheets with those that its own inputs give. So a mere save counts
as no edit, whatever it did to formulas and formats.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from siltbook import __version__
from siltbook.batch.errors import SiltbookError
from siltbook.batch.fingerprint import fingerprint, typed_print
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import NoValue, SheetPart, Value, Workbook, address
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook, sheets_without_cells
from siltbook.batch.typed.beside import NOTHING, Beside, beside, gone, margins
from siltbook.batch.typed.boxes import OF_FARM, SHEETS, Filled, farm_of, read_boxes
from siltbook.batch.typed.mark import Mark, read_mark
from siltbook.batch.typed.stamp import untouched
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import AUDIT_SHEETS
from siltbook.templates.names import name_key

Place = tuple[int, int]  # 1-based row, 0-based column
_FORMULA = re.compile(rb"<(?:\w+:)?c\b([^<>]*)>\s*<(?:\w+:)?f\b")
_REF = re.compile(rb'\br="([A-Z]{1,3}[0-9]{1,7})"')
MARK_CELL = (2, 0)


@dataclass(frozen=True)
class Leaf:
    """One sheet: its filled cells, where formulas stand, its mark where it is ours, the rest."""

    cells: Mapping[Place, Value]
    formulas: frozenset[Place]
    mark: Mark | None
    beside: Beside = NOTHING
    source: tuple[Workbook, SheetPart] | None = None  # where the formulas say what they say


def what_differs(old: bytes, new: bytes, book_name: str, elsewhere: bool = False) -> str:
    """Why a result file is to be kept, as a clause with its sheets; '' where nothing is lost.

    `old` is the file that is there, `new` the result that takes its place, made from the book
    `book_name`; `elsewhere`: not in the folder of that book, where another farm's may lie.
    """
    if untouched(old, book_name):
        return ""
    try:
        was, now = leaves(old), leaves(new)
    except (SiltbookError, *DAMAGE):
        return "it cannot be read as a workbook"
    mark = next((leaf.mark for leaf in was.values() if leaf.mark), None)
    if mark is None:
        return "it carries no result sheets"
    try:
        filled = read_boxes(old, "old.xlsx")
        covered = _covered(old, mark, book_name, filled)
        said = [*_own(was, now, covered), *_boxes(filled, covered)]
        # Result sheets would differ with the inputs that they come from.
        said = said or list(_results(old, was, mark))
    except (SiltbookError, *DAMAGE):
        return "its inputs can no longer be read"
    if said and elsewhere and (farm := _other_farm(was, now)):
        said.insert(0, f"{OF_FARM} '{farm}'")
    return "; ".join(said)


def _other_farm(was: Mapping[str, Leaf], now: Mapping[str, Leaf]) -> str:
    """The farm of the file that is there, where its result sheets and the new ones name two."""
    there, here = (
        next((farm_of(of[name].cells.get((1, 0))) for name in SHEETS if name in of), "")
        for of in (was, now)
    )
    return there if here and name_key(there) != name_key(here) else ""


def leaves(data: bytes) -> dict[str, Leaf]:
    """Every worksheet of a package, by name. Raises what reading raises."""
    package = open_package(data, "old.xlsx")
    workbook = open_workbook(package, "old.xlsx")
    found = {}
    for part in workbook.sheets:
        cells = {
            (row, col): value
            for col, column in read_sheet(workbook, part).columns.items()
            for row, value in zip(column.rows, column.values, strict=True)
            if value != "" or isinstance(value, NoValue)
        }
        sheet = bytes(package.whole(part.part))
        formulas = frozenset(_formulas(sheet))
        mark = read_mark(cells.get(MARK_CELL))
        there = beside(package, part.part)
        there = replace(there, typed=(*there.typed, *margins(sheet)))
        found[part.name] = Leaf(cells, formulas, mark, there, (workbook, part))
    for name in sheets_without_cells(package, "old.xlsx"):
        found[name] = Leaf({}, frozenset(), None)
    return found


def _formulas(sheet: bytes) -> Iterator[Place]:
    for attributes in _FORMULA.findall(sheet):
        if ref := _REF.search(attributes):
            yield address(ref[1].decode())


@dataclass(frozen=True)
class _Covered:
    """The cells of people's sheets whose content is as the mark line says."""

    lists: Mapping[str, Mapping[int, frozenset[int]]]  # sheet -> row -> columns
    farm: tuple[str, frozenset[Place]]

    def __contains__(self, cell: tuple[str, Place]) -> bool:
        sheet, place = cell
        if sheet == self.farm[0]:
            return place in self.farm[1]
        return place[1] in self.lists.get(sheet, {}).get(place[0], ())


def _covered(old: bytes, mark: Mark, book_name: str, filled: Filled) -> _Covered | None:
    """What the fingerprints vouch for; None where they do not hold, or it is another book's."""
    from siltbook.batch.reading.book import read_book

    book = read_book(old, "old.xlsx").book
    boxes = [box.content for box in filled.boxes]
    prints = (book_name, fingerprint(book), typed_print(book, boxes))
    if prints != (mark.book_name, mark.inputs, mark.typed):
        return None
    lists = {table.sheet: _used(table) for table in book.lists().values()}
    farm = frozenset(address(book.setting_cells[key]) for key in _set(book))
    return _Covered(lists, (book.farm_sheet, farm))


def _set(book: Book) -> Iterator[str]:
    """The settings whose cell was read."""
    for key in book.setting_raw:
        if getattr(book.settings, key, None) not in (None, ""):
            yield key


def _used(table: Table) -> dict[int, frozenset[int]]:
    """Row -> the columns of its cells that were read, of one list."""
    found: dict[int, set[int]] = {}
    for key, column in table.places.items():
        for row in table.frame.index[table.frame[key].notna()]:
            found.setdefault(int(row), set()).add(column)
    return {row: frozenset(columns) for row, columns in found.items()}


def _own(
    was: Mapping[str, Leaf], now: Mapping[str, Leaf], covered: _Covered | None
) -> Iterator[str]:
    """What differs on people's sheets, one clause for each."""
    for name, leaf in was.items():
        if leaf.mark is not None and name not in AUDIT_SHEETS:
            continue
        new = now.get(name)
        if new is None:
            yield f"{name}: a sheet that the book has not"
            continue
        unlike = unlike_cells(leaf, new)
        if covered is not None:
            # What is gone from the book since is no edit of this file.
            unlike = [p for p in unlike if p in leaf.cells and (name, p) not in covered]
        unlike = list(dict.fromkeys([*unlike, *other_formulas(leaf, new)]))
        if said := lost(leaf, new, unlike):
            yield f"{name}: {said}"


def lost(leaf: Leaf, new: Leaf, unlike: list[Place]) -> str:
    """What a sheet holds and the new one does not, as a clause; '' where that is nothing."""
    return ", ".join(filter(None, (_counted(unlike, leaf, new), *gone(leaf.beside, new.beside))))


def unlike_cells(leaf: Leaf, new: Leaf) -> list[Place]:
    """The cells in which two sheets differ; what formulas that both have give does not count."""
    from siltbook.batch.audit.carried import alike

    both = leaf.formulas & new.formulas
    return [
        place
        for place in leaf.cells.keys() | new.cells.keys()
        if place not in both
        and place != MARK_CELL
        and not alike(leaf.cells.get(place), new.cells.get(place))
    ]


def other_formulas(leaf: Leaf, new: Leaf, *, shared_too: bool = True) -> list[Place]:
    """The cells in which both sheets have a formula, and not the same one."""
    from siltbook.batch.audit.formulas import formulas, same_meaning

    both = leaf.formulas & new.formulas
    if not both or leaf.source is None or new.source is None:
        return []
    only: dict[int, set[int]] = {}
    for row, column in both:
        only.setdefault(column, set()).add(row)
    was, now = (
        dict(formulas(*side.source, only, shared_too=shared_too))
        for side in (leaf, new) if side.source
    )  # fmt: skip
    return [p for p, text in was.items() if p in now and not same_meaning(text, now[p])]


def _counted(unlike: list[Place], leaf: Leaf, new: Leaf) -> str:
    """How many rows are added and how many cells changed."""
    rows = {row for row, _ in new.cells}
    typed = {p for p in unlike if p in leaf.cells}
    added = {row for row, _ in typed if row not in rows}
    changed = sum(row in rows for row, _ in typed)
    emptied = len(unlike) - len(typed)
    parts = [_many(len(added), "row", "added"), _many(changed, "cell", "changed")]
    if not typed:
        parts.append(_many(emptied, "cell", "emptied"))
    return ", ".join(filter(None, parts))


def _many(count: int, what: str, how: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'} {how}" if count else ""


def _boxes(filled: Filled, covered: _Covered | None) -> Iterator[str]:
    """Boxes of a file whose fingerprints do not hold may have been filled in since."""
    count = sum(bool(part) for box in filled.boxes for part in box.content)
    if covered is None and count:
        yield f"{filled.sheet}: {count} box{'' if count == 1 else 'es'} filled"


def _results(old: bytes, was: Mapping[str, Leaf], mark: Mark) -> Iterator[str]:
    """What differs on the result sheets from those that the file's own inputs give."""
    from siltbook.batch.job import review_bytes

    if mark.version != __version__:
        yield f"its result sheets are of version {mark.version}, so edits there cannot be told"
        return
    again = leaves(review_bytes(old, "old.xlsx", mark.book_name, mark.as_of).package)
    for name, leaf in was.items():
        if leaf.mark is None or name not in again:
            continue
        new = again[name]
        unlike = [*unlike_cells(leaf, new), *other_formulas(leaf, new, shared_too=False)]
        if said := lost(leaf, new, unlike):
            yield f"{name}: {said}"
