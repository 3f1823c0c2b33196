"""One sheet part to cells, in one pass over its XML: a quick way and an exact one.

Most programs write rows in one plain form; those are taken apart by one regular expression that
must account for every character. Anything else goes through the XML parser, cell by cell.
"""

from __future__ import annotations

import contextlib
import re
from array import array
from collections.abc import Callable, Iterable, Iterator
from itertools import islice

from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.package.opened import parser
from siltbook.batch.reading.cells import (
    MAX_COLUMN,
    MAX_ROW,
    Cells,
    ErrorText,
    IsoDate,
    NoValue,
    SheetCells,
    SheetPart,
    Value,
    Workbook,
    address,
    clean_text,
    raw_room,
)
from siltbook.batch.reading.quickcells import FIELDS, by_column, text_index, values_of, with_values

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main|",
    "http://purl.oclc.org/ooxml/spreadsheetml/main|",
    "",
)
ROW, CELL, VALUE, FORMULA, TEXT, PHONETIC, MERGE, ITEM, COLUMN = range(1, 10)
_LOCAL = {
    "row": ROW,
    "c": CELL,
    "v": VALUE,
    "f": FORMULA,
    "t": TEXT,
    "rPh": PHONETIC,
    "mergeCell": MERGE,
    "si": ITEM,
    "col": COLUMN,
}
_CODES = {space + local: code for space in _MAIN for local, code in _LOCAL.items()}

_TRUE = ("1", "true")

code_of = _CODES.get


def feed(
    chunks: Iterable[bytes | bytearray],
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None],
    data: Callable[[str], None],
) -> None:
    """Parse a part piece by piece with these handlers."""
    made = parser()
    made.StartElementHandler = start
    made.EndElementHandler = end
    made.CharacterDataHandler = data
    for chunk in chunks:
        made.Parse(chunk, False)
    made.Parse(b"", True)


class _Enough(Exception):  # noqa: N818 - not an error: the wanted rows have been read
    """Raised to stop once the wanted rows have been read."""


class _SheetParser:
    """Handlers for one sheet part; the hot path is `start`, `end`, `data`."""

    def __init__(self, book: Workbook, last_row: int) -> None:
        self.cells = SheetCells()
        self.strings = book.strings
        self.spend_text = book.package.spend_text
        self.last_row = last_row
        self.row = 0
        self.column = -1
        self.where = 0  # code of the innermost element that collects text
        self.kind = ""
        self.style = 0
        self.formula = False
        self.in_cell = False
        self.phonetic = False
        self.text = ""
        self.by_letters: dict[str, int] = {}

    def start(self, name: str, attrs: dict[str, str]) -> None:
        code = _CODES.get(name)
        if code == CELL:
            self._start_cell(attrs)
        elif code == VALUE:
            if self.in_cell:
                self.where = VALUE
        elif code == ROW:
            self._start_row(attrs)
        elif code == FORMULA:
            self.formula = True
        elif code == TEXT:
            if self.in_cell and not self.phonetic:
                self.where = TEXT
        elif code == PHONETIC:
            self.phonetic = True
        elif code == MERGE and len(self.cells.merged) < 100_000:
            self.cells.merged.append(attrs.get("ref", ""))
        elif code == COLUMN and attrs.get("hidden", "0") in _TRUE:
            self._hide(attrs)

    def _hide(self, attrs: dict[str, str]) -> None:
        """Note a stretch of hidden columns; one that is written in no usual way is passed over."""
        low, high = attrs.get("min", ""), attrs.get("max", "")
        if not (low.isdecimal() and high.isdecimal() and len(low + high) <= 10):
            return
        known = self.cells.hidden_columns
        first, last = int(low) - 1, min(int(high), MAX_COLUMN) - 1
        # They ascend and do not overlap, so that all of them are no more than a sheet's columns.
        if (known[-1][1] if known else -1) < first <= last:
            known.append((first, last))

    def _start_row(self, attrs: dict[str, str]) -> None:
        given = attrs.get("r")
        self.row = int(given) if given else self.row + 1
        self.column = -1
        if not 1 <= self.row <= MAX_ROW:
            raise ValueError(f"row {self.row} lies beyond the last row")
        if self.row > self.last_row:
            raise _Enough
        if attrs.get("hidden", "0") in _TRUE:
            self.cells.hidden.append(self.row)

    def _start_cell(self, attrs: dict[str, str]) -> None:
        ref = attrs.get("r")
        if ref:
            letters = ref.rstrip("0123456789")
            column = self.by_letters.get(letters)
            if column is None:
                column = address(f"{letters}1")[1]
                self.by_letters[letters] = column
            if ref[len(letters) :] != str(self.row):
                self.row, column = address(ref)
            self.column = column
        else:
            self.column += 1
            if self.column >= MAX_COLUMN:
                raise ValueError("a cell lies beyond the last column")
        self.kind = attrs.get("t", "n")
        style = attrs.get("s")
        self.style = int(style) if style else 0
        self.formula = False
        self.in_cell = True
        self.text = ""

    def data(self, text: str) -> None:
        if self.where and raw_room(len(self.text)):
            self.text += text

    def end(self, name: str) -> None:
        code = _CODES.get(name)
        if code in (VALUE, TEXT):
            self.where = 0
        elif code == CELL:
            self.in_cell = False
            if self.text or self.formula:
                value = cell_value(self.kind, self.text, self.formula, self.strings)
                if value is not None:
                    self._store(value)
        elif code == PHONETIC:
            self.phonetic = False

    def _store(self, value: Value) -> None:
        if isinstance(value, str) and self.kind != "s":
            self.spend_text(len(value))
        cells = self.cells.columns.get(self.column)
        if cells is None:
            cells = self.cells.columns[self.column] = Cells()
        cells.rows.append(self.row)
        cells.values.append(value)
        cells.styles.append(self.style)


def cell_value(kind: str, text: str, formula: bool, strings: list[str]) -> Value | None:
    """One cell's value by its type attribute; None where blank, ValueError on damage."""
    if kind == "n" and text:
        number = float(text)
        if number - number != 0.0:
            raise ValueError("a number cell holds no number")
        return number
    if kind == "s" and text:
        return strings[text_index(text)] or None
    if kind in ("str", "inlineStr"):
        return clean_text(text) or None
    if not text.strip():
        return NoValue("") if formula else None
    if kind == "b":
        return text.strip() in _TRUE
    if kind == "e":
        return ErrorText(clean_text(text))
    return IsoDate(clean_text(text)) if kind == "d" else clean_text(text)


def read_sheet(book: Workbook, sheet: SheetPart, last_row: int = MAX_ROW) -> SheetCells:
    """The filled cells of a sheet down to `last_row`; ValueError and others on damage."""
    handlers = _SheetParser(book, last_row)
    package = book.package
    if last_row < MAX_ROW and package.size(sheet.part) <= _SHORT:
        data = package.whole(sheet.part)
        package.spend(data.count(b"<") / 2)
        with contextlib.suppress(*DAMAGE):  # the parser below may stop before what is wrong
            if (cells := _quick_sheet(data, book, Asked())) is not None:
                return _upper(cells, last_row)
    if last_row == MAX_ROW and package.size(sheet.part) <= _WHOLE:
        asked = Asked()
        data = _without_blank_rows(package.whole(sheet.part), asked)
        tags = data.count(b"<")
        package.spend(tags / 2)
        quick = _quick_sheet(data, book, asked)
        if quick is not None:
            package.note_asked(sheet.part, asked)
            return quick
        package.spend(tags / 2)
        feed([data], handlers.start, handlers.end, handlers.data)
        return handlers.cells
    if last_row == MAX_ROW:
        for _ in package.counted(sheet.part):  # counted whole before a slow reading begins
            pass
    with contextlib.suppress(_Enough):
        chunks = package.chunks(sheet.part)
        if last_row < MAX_ROW:
            chunks = _first(package.counted(sheet.part))
        feed(chunks, handlers.start, handlers.end, handlers.data)
    return handlers.cells


def _upper(cells: SheetCells, last_row: int) -> SheetCells:
    """The cells down to a row."""
    for key, own in cells.columns.items():
        if max(own.rows, default=0) > last_row:
            kept = [place for place, row in enumerate(own.rows) if row <= last_row]
            rows, values = [own.rows[p] for p in kept], [own.values[p] for p in kept]
            cells.columns[key] = Cells(rows, values, array("L", [own.styles[p] for p in kept]))
    return cells


def _first(chunks: Iterator[bytes]) -> Iterator[bytes]:
    """The first pieces of a part: what a few rows take, unless somebody means harm."""
    yield from islice(chunks, _PIECES)
    if next(chunks, None) is not None:
        raise _Enough


_PIECES = 4  # of a mebibyte
_SHORT = 2**20  # [bytes]; of shorter parts all rows are read, though the upper ones are asked for
_WHOLE = 384 * 2**20  # [bytes]; larger parts are streamed through the XML parser
_BLOCK = 2**20  # [characters] taken apart at once, so that memory stays small
_HEAD = re.compile(
    rb'(?:\xef\xbb\xbf)?(?:<\?xml[^<>]*encoding="(?:UTF|utf)-8"[^<>]*\?>)?\s*'
    rb"<worksheet [^<>]*xmlns=\"http://schemas\.openxmlformats\.org/spreadsheetml/2006/main\""
)
_HEAD_AT_MOST = 8_192  # [bytes]; what is longer is written in no usual way
_CELL = re.compile(
    r'<c r="([A-Z]{1,3})([1-9][0-9]{0,6})"(?: s="([0-9]{1,5})")?(?: t="([a-zA-Z]{1,9})")?'
    r"(?:/>|>(?:(?:(<f>)[^<]*</f>)?<v>([^<&]*)</v>)?</c>)"
)
_HIDDEN = re.compile(r'<row(?=[^<>]* r="([0-9]{1,7})")[^<>]* hidden="(?:1|true)"')
_BETWEEN = re.compile(r'(?:</row>|<row(?: [a-zA-Z0-9:]+="[^<>"&]*")*/?>|\s)*')


def _without_blank_rows(data: bytearray, asked: Asked) -> bytearray:
    """A sheet without the rows below its last value: a million formatted ones cost nothing then.

    `asked` learns the formats of what is left out.
    """
    first, end = data.find(b"<sheetData>"), data.rfind(b"</sheetData>")
    if not 0 <= first < end or not _HEAD.match(data, 0, _HEAD_AT_MOST):
        return data
    last = -1
    for mark in (b"<v", b"<f", b"<is"):
        last = max(last, data.rfind(mark, max(first, last), end))
    cut = data.find(b"</row>", last, end) + len(b"</row>") if last >= 0 else first + 11
    if cut > first and end - cut > _BLOCK:
        asked.look_into(bytes(data[cut:end]))
        del data[cut:end]
    return data


def _quick_sheet(data: bytearray, book: Workbook, asked: Asked) -> SheetCells | None:
    """The cells of a sheet in plain form, or None where anything is written in another way.

    The XML parser still sees everything outside of the rows. `asked` learns every format.
    """
    first, last = data.find(b"<sheetData>"), data.rfind(b"</sheetData>")
    if not 0 <= first < last or not _HEAD.match(data, 0, _HEAD_AT_MOST):
        return None
    # Among the rows nothing but rows and cells is let pass.
    if data.find(b"<!", 0, first) >= 0 or data.find(b"<!", last) >= 0:
        return None
    rest = _SheetParser(book, MAX_ROW)
    feed([data[:first], b"<sheetData>", data[last:]], rest.start, rest.end, rest.data)
    asked.look_into(bytes(data[:first]))
    asked.look_into(bytes(data[last:]))
    begin = first + len(b"<sheetData>")
    while begin < last:
        end = data.find(b"</row>", begin + _BLOCK, last) + 6
        end = end if end > 5 else last
        if not _quick_block(data[begin:end].decode(), rest, book.strings, asked):
            return None
        begin = end
    return rest.cells


def _quick_block(text: str, into: _SheetParser, strings: list[str], asked: Asked) -> bool:
    parts = _CELL.split(text)
    between = list(filter(None, parts[::FIELDS]))
    if not all(map(_BETWEEN.fullmatch, between)):
        return False
    tags = "".join(between)
    if ' s="' in text:
        asked.cells(parts[3::FIELDS])
        asked.look_into(tags.encode())
    if ' hidden="' in tags:
        into.cells.hidden.extend(map(int, _HIDDEN.findall(tags)))
    if ' t="str"' in text:
        kinds, raws = parts[4::FIELDS], parts[6::FIELDS]
        pairs = zip(kinds, raws, strict=True)
        into.spend_text(sum(len(raw) for kind, raw in pairs if kind == "str" and raw))
    before: list[str] = []
    numbers: list[int] = []
    for letters, *fields in by_column(parts):
        if None in fields[-1]:
            fields = with_values(fields)
        rows, styles, kinds, formulas, raws = fields
        values = values_of(kinds, formulas, raws, strings)
        if values is None:
            cells = zip(kinds, raws, formulas, strict=True)
            found = [cell_value(k or "n", r, f is not None, strings) for k, r, f in cells]
            kept = [i for i, value in enumerate(found) if value is not None]
            rows, styles = [rows[i] for i in kept], [styles[i] for i in kept]
            values = [value for value in found if value is not None]
        if rows != before:  # most columns have a cell in every row
            before, numbers = rows, list(map(int, rows))
        if max(numbers, default=0) > MAX_ROW:
            raise ValueError(f"row {max(numbers)} lies beyond the last row")
        if numbers:
            column = into.cells.columns.setdefault(address(f"{letters[0]}1")[1], Cells())
            column.rows.extend(numbers)
            column.values.extend(values)
            known = {style: int(style or 0) for style in set(styles)}
            column.styles.extend([known[style] for style in styles])
    return True
