"""The filled rows of one list under its header, and what was done to them: merged, hidden."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Container, Iterable, Mapping

import numpy as np

from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import MAX_BOOK_TEXT
from siltbook.batch.reading.cells import (
    Cells,
    Covered,
    SheetCells,
    Value,
    Workbook,
    address,
)
from siltbook.batch.reading.columns import NOTES, Block, shown
from siltbook.batch.reading.headers import Header
from siltbook.batch.reading.unread import USED
from siltbook.checks.findings import find
from siltbook.checks.wording import rows_named
from siltbook.templates.book import column_letters
from siltbook.templates.contract import READINGS, WORK, Kind, Sheet, bare

MAX_ROWS = 200_000  # of one list
_DECISIVE = {
    READINGS.name: ("inlet", "outlet", "drop", "date", "station"),
    WORK.name: ("work", "date", "station"),
}
_SAY_LITTLE = ("remark", "read_by", "done_by", "contact", "order")  # nothing rests on them


def filled_rows(
    cells: SheetCells, header: Header, sheet: Sheet, title: str, workbook: Workbook, name: str
) -> Block:
    """The list's filled rows; BookError where there are more than any season has."""
    kept = {}
    for key, column in header.places.items():
        kept[key] = _below(cells.columns[column], header.row)
    repeated = _repeated_headers(kept, sheet)
    if repeated:
        kept = {key: _without(content, repeated) for key, content in kept.items()}
    filled = [np.asarray(content.rows, dtype=np.int64) for content in kept.values()]
    rows = filled[0] if filled else np.zeros(0, dtype=np.int64)
    if not all(np.array_equal(rows, other) for other in filled):
        rows = np.unique(np.concatenate(filled))
    if len(rows) > MAX_ROWS:
        raise BookError(
            f"{name}, sheet {title}: {len(rows):,} filled rows; accepted: up to {MAX_ROWS:,}."
            " Split the book by season."
        )
    _refuse_text(kept, name, title)
    styles = workbook.styles
    return Block(title, rows, kept, header.places, styles, workbook.date1904, workbook.struck)


def _refuse_text(kept: dict[str, Cells], name: str, title: str) -> None:
    """BookError where the list's texts, each as often as it is used, go beyond all measure."""
    texts = (v for content in kept.values() for v in content.values if isinstance(v, str))
    total = sum(map(len, texts))
    if total > MAX_BOOK_TEXT:
        raise BookError(
            f"{name}, sheet {title}: {total:,} characters of text; accepted: up to"
            f" {MAX_BOOK_TEXT:,}. Shorten the remarks, or split the book by season."
        )


def _below(content: Cells, row: int) -> Cells:
    """The cells under a row, ascending, the last one where a row was written twice."""
    rows = np.asarray(content.rows, dtype=np.int64)
    if len(rows) > 1 and not (np.diff(rows) > 0).all():
        latest = {r: i for i, r in enumerate(content.rows)}
        picked: Iterable[int] = [latest[r] for r in sorted(latest)]
        content = _pick(content, picked)
    start = bisect_right(content.rows, row)
    return Cells(content.rows[start:], content.values[start:], content.styles[start:])


def _pick(content: Cells, indices: Iterable[int]) -> Cells:
    picked = Cells()
    for index in indices:
        picked.rows.append(content.rows[index])
        picked.values.append(content.values[index])
        picked.styles.append(content.styles[index])
    return picked


def _repeated_headers(kept: dict[str, Cells], sheet: Sheet) -> set[int]:
    """Rows that repeat the header, as a list printed on several pages does."""
    rows: set[int] | None = None
    for column in sheet.columns:
        if not column.required:
            continue
        name = bare(column.header)
        if column.key not in kept:  # another column stands in
            continue
        content = kept[column.key]
        texts = {value for value in content.values if type(value) is str and len(value) < 60}
        heads = {text for text in texts if bare(text) == name}
        pairs = zip(content.rows, content.values, strict=True) if heads else ()
        same = {row for row, value in pairs if value in heads}
        rows = same if rows is None else rows & same
        if not rows:
            return set()
    return rows or set()


def _without(content: Cells, rows: set[int]) -> Cells:
    return _pick(content, [i for i, row in enumerate(content.rows) if row not in rows])


def note_all(cells: SheetCells, header: Header, sheet: Sheet, block: Block) -> None:
    """Note what was done to the rows: merged, hidden."""
    note_merged(cells, header, block)
    cover_merged(cells, sheet, block)
    note_hidden(cells, block)


def note_merged(cells: SheetCells, header: Header, block: Block) -> None:
    """Merged cells hold one value; whoever merged them may mean one for every row."""
    used = sorted(header.places.values())
    last = int(block.rows[-1]) if len(block.rows) else 0
    noted = 0
    for ref in cells.merged:
        top, left, bottom, right = _corners(ref)
        touches = bisect_right(used, right) > bisect_left(used, left)
        if bottom > header.row and top <= last and touches:
            noted += 1
            if noted > NOTES:
                break
            block.findings.append(
                find("cells-merged", sheet=block.sheet, cell=f"{column_letters(left)}{top}",
                     read=f"{ref} as one cell", accepted="one cell for every row")
            )  # fmt: skip


def cover_merged(cells: SheetCells, sheet: Sheet, block: Block) -> None:
    """Let cells that are merged with a filled one above them say so, in rows that are filled.

    People see its value in every row, and a program in the first alone. Not where a text stands in
    them, nor in columns that every row needs: an empty cell is an error there.
    """
    rows = block.rows.tolist()
    columns = {block.places[c.key]: c for c in sheet.columns if c.key in block.cells}
    wide = {at: c for at, c in columns.items() if not c.required and c.kind is not Kind.TEXT}
    found: dict[str, dict[int, int]] = {}  # row -> the first row of its merged cells
    for ref in cells.merged:
        top, left, bottom, _ = _corners(ref)
        if left in wide and top < bottom:
            under = rows[bisect_right(rows, top) : bisect_right(rows, bottom)]
            found.setdefault(wide[left].key, {}).update(dict.fromkeys(under, top))
    for key, tops in found.items():
        block.cells[key] = _covered(block.cells[key], tops, column_letters(block.places[key]))


def _covered(content: Cells, tops: Mapping[int, int], letters: str) -> Cells:
    """The cells of a column with those that are merged with another, by the row of that one."""
    pairs = zip(content.values, content.styles, strict=True)
    held: dict[int, tuple[Value, int]] = dict(zip(content.rows, pairs, strict=True))
    for row, top in tops.items():
        if top in held:
            held[row] = Covered(f"nothing, merged with {letters}{top}"), held[top][1]
    made = Cells()
    for row in sorted(held):
        made.rows.append(row)
        made.values.append(held[row][0])
        made.styles.append(held[row][1])
    return made


def _corners(ref: str) -> tuple[int, int, int, int]:
    try:
        first, _, last = ref.partition(":")
        (top, left), (bottom, right) = address(first), address(last or first)
    except ValueError:
        return 0, 0, 0, 0
    return top, left, bottom, right


def note_hidden(cells: SheetCells, block: Block) -> None:
    """Hidden and filtered rows count as any other; whoever hid them should know."""
    hidden = sorted(set(block.rows.tolist()) & set(cells.hidden))
    if hidden:
        block.findings.append(
            find("rows-hidden", sheet=block.sheet, cell=f"A{hidden[0]}",
                 read=f"{rows_named(hidden)} hidden or filtered",
                 accepted="any row: hidden ones count as well")
        )  # fmt: skip


def note_struck(sheet: Sheet, block: Block) -> frozenset[int]:
    """The rows in which something that decides is struck through, each with a doubt.

    People strike a reading, or a piece of work, that is not to count. What else is struck, there
    and in other lists, is used all the same, and said.
    """
    if not block.struck:
        return frozenset()
    decisive = _DECISIVE.get(sheet.name, ())
    found = _struck_cells(block, decisive)
    others = [c.key for c in sheet.columns if c.key not in (*decisive, *_SAY_LITTLE)]
    for position, key in sorted((found | _struck_cells(block, others, found)).items()):
        cells = block.cells[key]
        value = cells.values[cells.rows.index(int(block.rows[position]))]
        row = "the row was not used" if position in found else USED
        read = f"{shown(value)} with a line through it; {row}"
        block.flag("cell-struck", sheet.column(key), position, read, "rows that are meant to count")
    return frozenset(int(block.rows[position]) for position in found)


def _struck_cells(
    block: Block, keys: Iterable[str], but: Container[int] = frozenset()
) -> dict[int, str]:
    """Position -> key of the row's first cell, by these keys, that is struck through."""
    found: dict[int, str] = {}
    for key in keys:
        cells = block.cells.get(key)
        if cells is None or block.struck.isdisjoint(cells.styles):
            continue
        for position, style in zip(block.positions(key).tolist(), cells.styles, strict=True):
            if style in block.struck and position not in but:
                found.setdefault(position, key)
    return found
