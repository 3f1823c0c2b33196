"""An old binary workbook (.xls) to an .xlsx of plain values, in a process of its own.

The parser, xlrd, is Python throughout: it can raise, but it cannot abort a process as a native
one can. It knows no limits either, and a broken file may keep it busy or let it grow, so it runs
in a child with a limit of time and of memory (`siltbook.batch.child`).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from siltbook.batch import child
from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import damaged
from siltbook.batch.reading.cells import ErrorText, Value, clean_text
from siltbook.batch.reading.oldodd import TWICE, passing_over
from siltbook.batch.reading.plainbook import (
    CLOCK,
    DATE,
    GENERAL,
    MOMENT,
    PERCENT,
    STRUCK,
    Cell,
    PlainBook,
)
from siltbook.templates.book import column_letters

if TYPE_CHECKING:
    from collections.abc import Iterator

LARGEST = 64 * 2**20  # [bytes]; a full sheet of 65,536 rows takes some 20 MiB
MAX_GRID = 20_000_000  # cells, filled or not, of all sheets
LIMITS = child.Limits(seconds=10, memory=900 * 2**20)
_EMPTY = (0, 6)  # xlrd's types of cells without a value
_TEXT, _NUMBER, _DATE, _TRUTH, _ERROR = 1, 2, 3, 4, 5
UNICODE_PASSWORD = "EncryptedPackage".encode("utf-16-le")


def plain_from_xls(data: bytes, name: str) -> tuple[bytes, str]:
    """The .xlsx, and what is odd about the .xls ('' for most); BookError, one sentence."""
    if UNICODE_PASSWORD in data:
        raise BookError(f"{name} is protected by a password: save it as .xlsx without a password.")
    if len(data) > LARGEST:
        raise BookError(
            f"{name} is an .xls of {len(data) // 2**20} MiB; accepted: up to {LARGEST // 2**20}"
            " MiB. Save it as .xlsx in a spreadsheet program and give me that file."
        )
    try:
        made, odd = child.call(f"{__name__}:convert", data, name, limits=LIMITS).value
    except child.EndlessError:
        raise _endless(name) from None
    return bytes(made), str(odd)


def _endless(name: str) -> BookError:
    return BookError(
        f"{name} takes more time or memory than any ordinary .xls: it was not read. Save it as"
        " .xlsx in a spreadsheet program and give me that file."
    )


def convert(data: bytes, name: str) -> tuple[bytes, str]:
    """The .xlsx of an .xls, in this process, and what is odd about the .xls.

    BookError for a password, and on damage. A file in which formats, or what no value depends on,
    are broken is read without them.
    """
    for formats in (True, False):
        try:
            return _converted(data, name, formats, odd=False), ""
        except (BookError, MemoryError, RecursionError):
            raise
        except Exception:  # the parser's errors share no class
            continue
    with passing_over() as told:
        try:
            made = _converted(data, name, formats=False, odd=True)
        except (BookError, MemoryError, RecursionError):
            raise
        except _InSheetError as error:
            raise damaged(name, where=f"in its sheet {error.title!r}") from None
        except Exception:
            raise damaged(name, where="in what says where its sheets stand") from None
    return made, " and ".join(dict.fromkeys(told)) or TWICE


class _InSheetError(Exception):
    """Damage in a sheet."""

    def __init__(self, title: str) -> None:
        super().__init__(title)
        self.title = title


def _converted(data: bytes, name: str, formats: bool, odd: bool) -> bytes:
    source = opened(data, name, formats, odd)
    with PlainBook(name, date1904=source.datemode == 1) as book:
        grid = 0
        for number in range(source.nsheets):
            sheet = _sheet(source, number)
            grid += sum(sheet.row_len(row) for row in range(sheet.nrows))
            if grid > MAX_GRID:
                raise BookError(f"{name} holds sheets beyond all use in size: it was not read.")
            _write_sheet(book, source, sheet)
            source.unload_sheet(number)
        return book.finish()


def _sheet(source: Any, number: int) -> Any:
    try:
        return source.sheet_by_index(number)
    except (MemoryError, RecursionError):
        raise
    except Exception:  # the parser's errors share no class
        raise _InSheetError(clean_text(source.sheet_names()[number])[:31]) from None


def _write_sheet(book: PlainBook, source: Any, sheet: Any) -> None:
    book.begin(sheet.name, bool(sheet.visibility))
    for column, shown in sorted(sheet.colinfo_map.items()):
        if shown.hidden:
            book.hide_columns(column, column)
    for row, cells in _rows(source, sheet):
        info = sheet.rowinfo_map.get(row)
        book.row(row + 1, cells, bool(info and info.hidden))
    book.end(_merged(sheet))


class _Silent:
    """Where the parser's chatter goes: nowhere."""

    def write(self, text: str) -> int:
        return len(text)

    def flush(self) -> None:
        return None


def opened(data: bytes, name: str, formats: bool = True, odd: bool = False) -> Any:
    """The book as the parser opens it, with its formats, merged ranges and hidden rows or without.

    `odd`: also where a piece of the file is used twice.
    """
    import xlrd

    try:
        return xlrd.open_workbook(
            file_contents=data, logfile=_Silent(), on_demand=True, ragged_rows=True,
            formatting_info=formats, ignore_workbook_corruption=odd,
        )  # fmt: skip
    except xlrd.XLRDError as error:
        said = str(error)
        if "encrypt" in said or "password" in said.casefold():
            raise BookError(
                f"{name} is protected by a password: save it as .xlsx without a password."
            ) from None
        raise


def _rows(source: Any, sheet: Any) -> Iterator[tuple[int, list[Cell]]]:
    """Each row with filled cells: 0-based number and cells."""
    from xlrd.biffh import error_text_from_code

    styles: dict[int, int] = {}
    for row in range(sheet.nrows):
        types, values = sheet.row_types(row), sheet.row_values(row)
        cells: list[Cell] = []
        for column, kind in enumerate(types):
            if kind in _EMPTY:
                continue
            raw = values[column]
            style = GENERAL
            value: Value | None
            if kind == _TEXT:
                value = clean_text(str(raw)) or None
            elif kind == _ERROR:
                value = ErrorText(error_text_from_code.get(raw, "#VALUE!"))
            elif kind == _TRUTH:
                value = bool(raw)
            else:
                value = _finite(raw)
                style = _style(source, sheet, row, column, kind, float(raw), styles)
            if value is not None:
                struck = STRUCK if _struck(source, sheet, row, column) else 0
                cells.append((column, value, style + struck))
        if cells:
            yield row, cells


def _finite(raw: Any) -> Value:
    number = float(raw)
    return number if math.isfinite(number) else ErrorText("#NUM!")


def _style(
    source: Any, sheet: Any, row: int, column: int, kind: int, value: float, known: dict[int, int]
) -> int:
    """The format under which a number is carried over."""
    if kind == _DATE:
        if 0 <= value < 1:
            return CLOCK
        return DATE if value == int(value) else MOMENT
    if not source.formatting_info:
        return GENERAL
    index = sheet.cell_xf_index(row, column)
    if index not in known:
        shown = source.format_map.get(source.xf_list[index].format_key)
        text = shown.format_str if shown is not None else ""
        known[index] = PERCENT if "%" in text else GENERAL
    return known[index]


def _struck(source: Any, sheet: Any, row: int, column: int) -> bool:
    """Whether a cell's text is struck through; not known where the formats were not read."""
    if not source.formatting_info:
        return False
    font = source.xf_list[sheet.cell_xf_index(row, column)].font_index
    return 0 <= font < len(source.font_list) and bool(source.font_list[font].struck_out)


def _merged(sheet: Any) -> list[str]:
    return [
        f"{column_letters(left)}{top + 1}:{column_letters(right - 1)}{bottom}"
        for top, bottom, left, right in sheet.merged_cells
        if (bottom - top > 1 or right - left > 1) and right > left and bottom > top
    ]
