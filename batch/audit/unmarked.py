"""Result sheets whose mark line somebody removed: known by their name and title all the same.

Without its mark a result sheet looks like a person's own of the same name, and the one that the
book gives today would be called otherwise, which reads as if other sheets had been edited.
"""

from __future__ import annotations

from dataclasses import replace

from siltbook.batch.audit.carried import MARK_CELL, Carried
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review.append import change_cells
from siltbook.templates.book import Book
from siltbook.templates.contract import RESULT_SHEETS

_ROW, _COLUMN = MARK_CELL


def marked_again(data: bytes, stored: Carried, book: Book) -> tuple[bytes, tuple[str, ...]]:
    """The book with the mark on every result sheet that lacks its own, and which these are.

    Nothing is done where no other result sheet has a mark, or ours is there under another name.
    """
    text = next((v for g in stored.sheets.values() if (v := g.get(_COLUMN, {}).get(_ROW))), None)
    lacking = _lacking(data, stored, book) if isinstance(text, str) else []
    styles = open_workbook(open_package(data, book.path), book.path).styles if lacking else []
    try:
        for name in lacking:
            place = replace(book.stations, sheet=name, header_row=0, places={"mark": _COLUMN})
            data = change_cells(data, place, {_ROW: {"mark": str(text)}}, styles)
    except GraftError:
        return data, ()
    return data, tuple(lacking)


def _lacking(data: bytes, stored: Carried, book: Book) -> list[str]:
    """Sheets with the name and the title of one of ours, and without a mark."""
    workbook = open_workbook(open_package(data, book.path), book.path)
    found = []
    for part in workbook.sheets:
        twin = f"{part.name} (Siltbook)" in stored.sheets
        if part.name not in RESULT_SHEETS or part.name in stored.sheets or twin:
            continue
        if part.name in stored.unreadable:
            continue
        title = read_sheet(workbook, part, 1).columns.get(0)
        if title and title.rows[:1] == [1] and str(title.values[0]).startswith(part.name):
            found.append(part.name)
    return found
