"""The sheets Conflicts and Merged rows: written for people, and read again by the next merge."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import Any

from siltbook import __version__
from siltbook.batch.merging.points import (
    GONE,
    KEEP,
    TAKE,
    WHAT,
    Point,
    coded,
    decoded,
    row_said,
    said,
    which,
)
from siltbook.batch.merging.rows import Origin
from siltbook.batch.reading.cells import Workbook
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.sheets import kit as k
from siltbook.templates import look, printing
from siltbook.templates.contract import MERGE_SHEETS, RESULT_MARK
from siltbook.templates.shown import IN_METRES, Shown

CHOOSE, NOTE = "Choose", "For Siltbook"
# Without the note, which is hidden, as wide as a page across takes in type that can be read.
_CONFLICTS = (
    (CHOOSE, 11.0), ("What", 15.0), ("Sheet", 11.0), ("Which row", 23.0), ("Column", 12.0),
    ("In this book", 17.0), ("Cell", 13.0), ("By", 9.0), ("In the copy", 17.0), ("Copy", 14.0),
    ("Cell there", 13.0), ("By (copy)", 9.0), (NOTE, 12.0),
)  # fmt: skip
_ORIGINS = (
    ("Sheet", 14.0), ("Row", 8.0), ("Which row", 40.0), ("What", 26.0), ("From", 34.0),
    ("By", 14.0), (NOTE, 12.0),
)  # fmt: skip
_HEADER = 3  # 0-based


def merge_book(
    points: Sequence[Point],
    origins: Sequence[Origin],
    names: Sequence[str],
    book_name: str,
    shown: Shown = IN_METRES,
) -> bytes:
    """A workbook with the two sheets, called `names`; `shown`: how dates are shown."""
    target = BytesIO()
    with k.new_workbook(target, "Siltbook merge") as workbook:
        styles = _Styles(workbook)
        conflicts, merged = (workbook.add_worksheet(name) for name in names)
        _conflicts(conflicts, styles, points, book_name, shown)
        _merged(merged, styles, origins, book_name, shown)
    return target.getvalue()


class _Styles:
    """The look's formats, made once."""

    def __init__(self, workbook: Any) -> None:
        self.workbook, self.made = workbook, dict[str, Any]()

    def __call__(self, name: str) -> Any:
        if name not in self.made:
            self.made[name] = self.workbook.add_format(look.FORMATS[name])
        return self.made[name]


def _top(sheet: Any, styles: _Styles, title: str, line: str, book_name: str, last: int) -> None:
    sheet.write_string(0, 0, title, styles("title"))
    sheet.set_row(0, 22)
    mark = f"{RESULT_MARK} {__version__} · merged into {k.one_line(book_name)}"
    sheet.write_string(1, 0, k.clean(mark), styles("mark"))
    k.spread(sheet, 2, last, line, styles("line"), 130.0)


def _table(sheet: Any, styles: _Styles, columns: Sequence[tuple[str, float]], last: int) -> None:
    """The header, and how the table is printed that ends in row `last` (0-based)."""
    for col, (header, width) in enumerate(columns):
        hidden = {"hidden": True} if header == NOTE else {}
        sheet.set_column(col, col, width, None, hidden)
        sheet.write_string(_HEADER, col, header, styles("head"))
    widths = [width for header, width in columns if header != NOTE]
    printing.across(sheet, widths, look.TYPE_SIZE)
    sheet.set_margins(left=printing.SIDE, right=printing.SIDE, top=0.45, bottom=0.6)
    sheet.set_footer("&L&F, &A&RPage &P of &N", {"scale_with_doc": False})
    most = max(k.lines(header, width) for header, width in columns)
    sheet.set_row(_HEADER, k.row_height(most))
    sheet.print_area(0, 0, max(last, _HEADER), len(widths) - 1)
    sheet.repeat_rows(_HEADER)
    sheet.freeze_panes(_HEADER + 1, 0)
    sheet.hide_gridlines(2)


def _conflicts(
    sheet: Any, styles: _Styles, points: Sequence[Point], book_name: str, shown: Shown
) -> None:
    waiting = sum(p.can_be_taken and not p.state for p in points)
    line = (
        f"{waiting} to choose. The book keeps what it says until you choose here; "
        "'siltbook merge' with this book then carries it out."
    )
    line += f" {shown.order}" if shown.order else ""
    last = len(_CONFLICTS) - 2
    _top(sheet, styles, MERGE_SHEETS[0], line, book_name, last)
    _table(sheet, styles, _CONFLICTS, _HEADER + len(points))
    for row, point in enumerate(points, _HEADER + 1):
        texts = list(_line(point, shown))
        for col, value in enumerate(texts):
            style = "fill-in" if col == 0 and point.can_be_taken and not point.state else "wrap"
            k.text(sheet, row, col, value, styles(style))
        _in_pieces(sheet, row, len(texts), coded(point), styles("text"))
        pairs = zip(texts, _CONFLICTS, strict=False)
        sheet.set_row(row, k.row_height(max(k.lines(v, w) for v, (_, w) in pairs)))
        if point.can_be_taken and not point.state:
            sheet.data_validation(row, 0, row, 0, {"validate": "list", "source": [KEEP, TAKE]})


def _line(point: Point, shown: Shown) -> Iterator[str]:
    yield point.state or point.choice
    yield WHAT[point.op]
    yield point.sheet
    yield which(point.key, shown)
    yield point.titled
    whole = row_said(dict(point.row), shown)
    yield whole if point.op == GONE else said(point.mine, shown)
    yield point.cell
    yield point.by
    yield "" if point.op == GONE else (whole or said(point.theirs, shown))
    yield point.file
    yield point.there
    yield point.their_by


def _in_pieces(sheet: Any, row: int, col: int, text: str, style: Any) -> None:
    """A long note goes over several cells: one holds 32,767 characters."""
    for n in range(0, len(text), k.MAX_CELL_TEXT):
        sheet.write_string(row, col + n // k.MAX_CELL_TEXT, text[n : n + k.MAX_CELL_TEXT], style)


def _merged(
    sheet: Any, styles: _Styles, origins: Sequence[Origin], book_name: str, shown: Shown
) -> None:
    line = f"{len(origins)} came from copies. A row's number is that of the day of the merge."
    line += f" {shown.order}" if shown.order else ""
    _top(sheet, styles, MERGE_SHEETS[1], line, book_name, len(_ORIGINS) - 2)
    _table(sheet, styles, _ORIGINS, _HEADER + len(origins))
    for row, origin in enumerate(origins, _HEADER + 1):
        number = str(origin.row or "")
        row_words = which(origin.key, shown)
        texts = (origin.sheet, number, row_words, origin.what, origin.file, origin.by)
        for col, value in enumerate(texts):
            k.text(sheet, row, col, value, styles("wrap"))
        pairs = zip(texts, _ORIGINS, strict=False)
        sheet.set_row(row, k.row_height(max(k.lines(v, w) for v, (_, w) in pairs)))
        note = [origin.sheet, list(origin.key), origin.what, origin.file, origin.by, origin.row]
        _in_pieces(sheet, row, len(texts), json.dumps(note, ensure_ascii=False), styles("text"))


def read_points(workbook: Workbook) -> list[Point]:
    """The lines of a book's sheet Conflicts, with what was chosen."""
    found = []
    for choice, text in _notes(workbook, MERGE_SHEETS[0], len(_CONFLICTS) - 1):
        point = decoded(text, " ".join(choice.split()).casefold())
        if point is not None:
            found.append(point)
    return found


def read_origins(workbook: Workbook) -> list[Origin]:
    """The lines of a book's sheet Merged rows."""
    found = []
    for _, text in _notes(workbook, MERGE_SHEETS[1], len(_ORIGINS) - 1):
        try:
            sheet, key, what, file, by, row = json.loads(text)
            found.append(Origin(str(sheet), tuple(map(str, key)), str(what), str(file), str(by),
                                int(row)))  # fmt: skip
        except (ValueError, TypeError):
            continue
    return found


def _notes(workbook: Workbook, name: str, col: int) -> Iterator[tuple[str, str]]:
    """The first cell and the note of each line of a sheet that carries our mark."""
    part = next((p for p in workbook.sheets if p.name in (name, f"{name} (Siltbook)")), None)
    if part is None:
        return
    columns = read_sheet(workbook, part).columns
    first = dict(zip(columns[0].rows, columns[0].values, strict=True)) if 0 in columns else {}
    if not str(first.get(2, "")).startswith(RESULT_MARK):
        return
    texts: dict[int, str] = {}
    for place in sorted(c for c in columns if c >= col):
        for row, value in zip(columns[place].rows, columns[place].values, strict=True):
            if row > _HEADER + 1:
                texts[row] = texts.get(row, "") + str(value)
    for row, text in sorted(texts.items()):
        yield str(first.get(row, "")), text


def origins_in(data: bytes, name: str) -> tuple[Origin, ...]:
    """What a merge brought into a book, as its sheet Merged rows lists it; none where it broke."""
    from siltbook.batch.errors import SiltbookError
    from siltbook.batch.package.limits import DAMAGE
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.foreign import as_xlsx
    from siltbook.batch.reading.workbook import open_workbook

    try:
        data, _ = as_xlsx(data, name)
        return tuple(read_origins(open_workbook(open_package(data, name), name)))
    except (SiltbookError, *DAMAGE):
        return ()
