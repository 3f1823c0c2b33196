"""What of a season's workbook the next one does not have, said so that nobody misses it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from html import unescape

from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import SheetCells, Workbook, address
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.results import Assessment
from siltbook.batch.typed.beside import beside, many
from siltbook.batch.typed.by_hand import is_protected
from siltbook.checks.wording import listed
from siltbook.templates.blank_lookups import UNITS_SHEET
from siltbook.templates.book import Table, column_letters
from siltbook.templates.contract import (
    AGREED,
    AUDIT_SHEETS,
    CARRIED,
    CHANGED_GAUGES,
    MERGE_SHEETS,
    RESULT_SHEETS,
    SHEETS,
    STATIONS,
    Sheet,
    bare,
)

GO_ON = (STATIONS, AGREED, CHANGED_GAUGES, CARRIED)
_NAME = re.compile(r'<(?:\w+:)?definedName\b[^>]*?\bname="([^"]+)"')
_MOST = 12  # rows, headers or sheets that one sentence names
_OURS = {
    name.casefold()
    for name in (
        "Start here", UNITS_SHEET, "Seasons", *(sheet.name for sheet in SHEETS), *RESULT_SHEETS,
        *MERGE_SHEETS, *AUDIT_SHEETS,
    )
}  # fmt: skip


def after_the_day(last: Assessment) -> Iterator[str]:
    """Readings and work after the day of which the season was judged: one sentence, or none.

    The next season begins from that day, so they are in neither book's ladder.
    """
    day, book = last.as_of, last.book
    rows = {t.sheet: _later(t, day) for t in (book.readings, book.work)}
    said = [f"{sheet} {_rows(own)}" for sheet, own in rows.items() if own]
    if said and day is not None:
        on = book.settings.shown.day(day)
        yield (
            f"Bring over by hand what was logged after {on}, the day of which last season was "
            f"judged: {' and '.join(said)} of its workbook. Nothing here counts them."
        )


def left_behind(last: Assessment, data: bytes, name: str) -> tuple[str, ...]:
    """One sentence for each kind of thing that stays in last season's workbook `data` alone."""
    said = list(after_the_day(last))
    for sheet in GO_ON:
        unused = last.book.counts[sheet.name].set_aside
        if sheet in (STATIONS, AGREED):
            unused = last.book.counts[sheet.name].read - len(last.book.lists()[sheet.name].frame)
        if unused:
            many = f"{unused} rows" if unused > 1 else "1 row"
            said.append(f"{sheet.name}: {many} could not be used and stayed behind; see Findings.")
    workbook = open_workbook(open_package(as_xlsx(data, name)[0], name), name)
    columns, cells = _own_cells(last, workbook)
    own = [*columns, *cells, *_own_rows_of_farm(last, workbook)]
    names = last.book.sheet_names
    sheets = [s for s in names if s.casefold().removesuffix(" (siltbook)") not in _OURS]
    if sheets:
        own.append(f"{'sheet' if len(sheets) == 1 else 'sheets'} {_some(sheets)}")
    own += _beside(last, workbook)
    own += _set_by_hand(last, workbook)
    if own:
        said.append(f"Your own {listed(own)} stayed behind; copy what you need by hand.")
    return tuple(said)


def _later(table: Table, day: dt.date | None) -> list[int]:
    dates = table.frame["date"].items()
    return [int(str(row)) for row, on in dates if day is not None and on > day]


def _rows(rows: Sequence[int]) -> str:
    word = "row" if len(rows) == 1 else "rows"
    return f"{word} {_some([str(row) for row in sorted(rows)])}"


def _some(names: Sequence[str]) -> str:
    more = len(names) - _MOST
    return ", ".join(names[:_MOST]) + (f" and {more:,} more" if more > 0 else "")


def _own_cells(last: Assessment, workbook: Workbook) -> tuple[list[str], list[str]]:
    """People's own columns on the lists that go on, by their headers, and what was typed beside
    the lists under none: neither is carried."""
    columns, cells = [], []
    for sheet in GO_ON:
        table = last.book.lists()[sheet.name]
        part = next((p for p in workbook.sheets if p.name == table.sheet), None)
        if part is None or not table.places:
            continue
        heads, beside = _not_of_the_list(sheet, table, read_sheet(workbook, part))
        if heads:
            word = "column" if len(heads) == 1 else "columns"
            columns.append(f"{word} {_some(heads)} of {table.sheet}")
        if beside:
            word = "cell" if len(beside) == 1 else "cells"
            cells.append(f"{word} {_some(beside)} of {table.sheet}")
    return columns, cells


def _not_of_the_list(sheet: Sheet, table: Table, read: SheetCells) -> tuple[list[str], list[str]]:
    """Headers of the columns that the list does not have; addresses of cells under no header."""
    computed = {bare(header) for header in sheet.computed}
    heads, beside = [], []
    for col, cells in sorted(read.columns.items()):
        if col in table.places.values():
            continue
        texts = zip(cells.rows, (str(value).strip() for value in cells.values), strict=True)
        typed = {row: text for row, text in texts if text}
        head = typed.get(table.header_row)
        if head is None:
            beside += [f"{column_letters(col)}{row}" for row in typed]
        elif bare(head) not in computed:
            heads.append(head)
    return heads, beside


def _set_by_hand(last: Assessment, workbook: Workbook) -> Iterator[str]:
    """Macros, names, and the protection of sheets that go on with their rows alone."""
    package = workbook.package
    main = next(r.target for r in package.relations("") if r.kind == "officeDocument")
    if any(relation.kind == "vbaProject" for relation in package.relations(main)):
        yield "macros"
    names = _NAME.findall(package.read(main).decode("utf-8", "replace"))
    own = [unescape(name) for name in names if not name.startswith("_xlnm.")]
    if own:
        yield f"{'name' if len(own) == 1 else 'names'} {_some(own)}"
    lists = last.book.lists()
    going = [last.book.farm_sheet, *(lists[sheet.name].sheet for sheet in GO_ON)]
    shut = [
        part.name
        for part in workbook.sheets
        if part.name in going and is_protected(package.whole(part.part))
    ]
    if shut:
        yield f"protection of {listed(shut)}"


def _own_rows_of_farm(last: Assessment, workbook: Workbook) -> Iterator[str]:
    """Rows of the sheet Farm, below its header, that are no setting."""
    part = next((p for p in workbook.sheets if p.name == last.book.farm_sheet), None)
    if part is None or not last.book.setting_cells:
        return
    known = {address(cell)[0] for cell in last.book.setting_cells.values()}
    rows = {
        row
        for cells in read_sheet(workbook, part).columns.values()
        for row, value in zip(cells.rows, cells.values, strict=True)
        if row > min(known) and row not in known and str(value).strip()
    }
    if rows:
        yield f"{_rows(sorted(rows))} of {part.name}"


def _beside(last: Assessment, workbook: Workbook) -> Iterator[str]:
    """Notes, pictures and charts on the sheets that go on with their rows alone."""
    lists = last.book.lists()
    names = [last.book.farm_sheet, *(lists[sheet.name].sheet for sheet in GO_ON)]
    for part in (p for p in workbook.sheets if p.name in names):
        there = beside(workbook.package, part.part)
        cells = list(dict.fromkeys(note.cell for note in there.notes))
        if cells:
            yield f"{'note' if len(cells) == 1 else 'notes'} at {_some(cells)} of {part.name}"
        for kind, count in sorted(there.drawn.items()):
            yield f"{many(count, kind)} on {part.name}"
