"""Sheet parts to cells: columns of values with their rows, sparse, in one pass over the XML."""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from batch.errors import BookError
from batch.opc import Package, Relationship, elements, parser, save_as_xlsx

MAX_ROW = 1_048_576
MAX_COLUMN = 16_384

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main|",
    "http://purl.oclc.org/ooxml/spreadsheetml/main|",
    "",
)
_ROW, _CELL, _VALUE, _FORMULA, _TEXT, _PHONETIC, _MERGE, _ITEM = range(1, 9)
_LOCAL = {
    "row": _ROW,
    "c": _CELL,
    "v": _VALUE,
    "f": _FORMULA,
    "t": _TEXT,
    "rPh": _PHONETIC,
    "mergeCell": _MERGE,
    "si": _ITEM,
}
_CODES = {space + local: code for space in _MAIN for local, code in _LOCAL.items()}

_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff\u200b\ufeff]")
_ADDRESS = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})\Z")


class ErrorText(str):
    """An error cell's text, for example #DIV/0!."""

    __slots__ = ()


class NoValue(str):
    """A formula without a stored value."""

    __slots__ = ()


class IsoDate(str):
    """A date cell that stores its date as ISO text."""

    __slots__ = ()


Value = float | bool | str


@dataclass
class Cells:
    """The filled cells of one column: 1-based rows, values and style indices side by side."""

    rows: list[int] = field(default_factory=list)
    values: list[Value] = field(default_factory=list)
    styles: array[int] = field(default_factory=lambda: array("L"))


@dataclass
class SheetCells:
    """One sheet: 0-based column -> its filled cells, and the merged ranges."""

    columns: dict[int, Cells] = field(default_factory=dict)
    merged: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class SheetPart:
    """A worksheet's name in the book and its part."""

    name: str
    part: str


class Style:
    """How a cell format shows its number."""

    PLAIN, DATE, PERCENT = 0, 1, 2


@dataclass(frozen=True)
class Workbook:
    """What a package says about its sheets; strings and styles are shared by all sheets."""

    package: Package
    sheets: tuple[SheetPart, ...]
    strings: list[str]
    styles: list[int]  # Style of each cell format
    date1904: bool


def clean_text(text: str) -> str:
    """Text as stored to text as read: escapes undone, control characters removed, blank -> ''."""
    if "_x" in text:
        text = _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text)
    text = _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))
    return "" if text.isspace() else text


def open_workbook(package: Package, name: str) -> Workbook:
    """Sheets, strings and styles of a package; BookError for another format."""
    main = _main_part(package, name)
    rels = package.relationships(main)
    by_id = {rel.rel_id: rel for rel in rels}
    sheets = []
    date1904 = False
    for tag, attrs in elements(package.read(main)):
        if tag == "sheet":
            rel = by_id.get(attrs.get("id", ""))
            if rel is not None and rel.kind == "worksheet":
                sheets.append(SheetPart(attrs.get("name", ""), rel.target))
        elif tag == "workbookPr":
            date1904 = attrs.get("date1904", "").casefold() in ("1", "true")
    if not sheets:
        raise BookError(f"{name} has no worksheet: give a workbook made from the template.")
    return Workbook(
        package, tuple(sheets), _shared_strings(package, rels), _styles(package, rels), date1904
    )


def _main_part(package: Package, name: str) -> str:
    for rel in package.relationships(""):
        if rel.kind == "officeDocument" and package.has(rel.target):
            if rel.target.casefold().endswith(".bin"):
                raise save_as_xlsx(name, "a binary workbook (.xlsb)")
            return rel.target
    if package.has("xl/workbook.xml"):
        return "xl/workbook.xml"
    if package.has("content.xml"):
        raise save_as_xlsx(name, "an OpenDocument file (.ods)")
    raise save_as_xlsx(name, "another kind of file")


def _part_of(package: Package, rels: list[Relationship], kind: str) -> str | None:
    return next((r.target for r in rels if r.kind == kind and package.has(r.target)), None)


def _shared_strings(package: Package, rels: list[Relationship]) -> list[str]:
    part = _part_of(package, rels, "sharedStrings")
    if part is None:
        return []
    strings: list[str] = []
    state = {"text": False, "phonetic": False}
    pieces: list[str] = []

    def start(name: str, attrs: dict[str, str]) -> None:
        code = _CODES.get(name)
        if code == _TEXT:
            state["text"] = not state["phonetic"]
        elif code == _PHONETIC:
            state["phonetic"] = True
        elif code == _ITEM:
            pieces.clear()

    def end(name: str) -> None:
        code = _CODES.get(name)
        if code == _TEXT:
            state["text"] = False
        elif code == _PHONETIC:
            state["phonetic"] = False
        elif code == _ITEM:
            strings.append(clean_text("".join(pieces)))

    def data(text: str) -> None:
        if state["text"]:
            pieces.append(text)

    _feed(package.chunks(part), start, end, data)
    return strings


def _feed(
    chunks: Iterable[bytes],
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None],
    data: Callable[[str], None],
) -> None:
    made = parser()
    made.StartElementHandler = start
    made.EndElementHandler = end
    made.CharacterDataHandler = data
    for chunk in chunks:
        made.Parse(chunk, False)
    made.Parse(b"", True)


def _styles(package: Package, rels: list[Relationship]) -> list[int]:
    part = _part_of(package, rels, "styles")
    if part is None:
        return []
    formats: dict[int, str] = {}
    kinds: list[int] = []
    inside = ""
    for tag, attrs in elements(package.read(part, 4 * 16 * 2**20)):
        if tag in ("cellXfs", "cellStyleXfs", "dxfs", "cellStyles"):
            inside = tag
        elif tag == "numFmt" and inside != "dxfs":
            formats[int(attrs.get("numFmtId", "0"))] = attrs.get("formatCode", "")
        elif tag == "xf" and inside == "cellXfs":
            kinds.append(_style_kind(int(attrs.get("numFmtId", "0")), formats))
    return kinds


def _style_kind(number: int, formats: dict[int, str]) -> int:
    if number in formats:
        return format_kind(formats[number])
    if 14 <= number <= 22 or 27 <= number <= 36 or 45 <= number <= 47 or 50 <= number <= 58:
        return Style.DATE
    return Style.PERCENT if number in (9, 10) else Style.PLAIN


def format_kind(code: str) -> int:
    """Whether a number format shows dates or times, a percentage, or a plain number."""
    code = code.split(";")[0]
    code = re.sub(r'"[^"]*"|\\.|_.|\*.', "", code)
    code = re.sub(r"\[(?!(?:h+|m+|s+)\])[^\]]*\]", "", code, flags=re.IGNORECASE).casefold()
    if "general" in code:
        return Style.PLAIN
    if re.search(r"[dmyhs]", code) and ("s" in code or not re.search(r"[0#?]", code)):
        return Style.DATE
    return Style.PERCENT if "%" in code else Style.PLAIN


def column_index(letters: str) -> int:
    """0-based column of spreadsheet letters: A -> 0, AA -> 26."""
    index = 0
    for letter in letters.upper():
        index = index * 26 + ord(letter) - 64
    return index - 1


def address(text: str) -> tuple[int, int]:
    """(1-based row, 0-based column) of an address such as C7; ValueError beyond XFD1048576."""
    found = _ADDRESS.match(text)
    if not found:
        raise ValueError(f"{text!r} is not a cell address")
    row, column = int(found[2]), column_index(found[1])
    if not 1 <= row <= MAX_ROW or column >= MAX_COLUMN:
        raise ValueError(f"{text} lies beyond the last cell, XFD1048576")
    return row, column


class _Enough(Exception):  # noqa: N818 - not an error: the wanted rows have been read
    """Raised to stop once the wanted rows have been read."""


class _SheetParser:
    """Handlers for one sheet part; the hot path is `start`, `end`, `data`."""

    def __init__(self, book: Workbook, last_row: int) -> None:
        self.cells = SheetCells()
        self.strings = book.strings
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
        if code == _CELL:
            self._start_cell(attrs)
        elif code == _VALUE:
            if self.in_cell:
                self.where = _VALUE
        elif code == _ROW:
            self._start_row(attrs)
        elif code == _FORMULA:
            self.formula = True
        elif code == _TEXT:
            if self.in_cell and not self.phonetic:
                self.where = _TEXT
        elif code == _PHONETIC:
            self.phonetic = True
        elif code == _MERGE and len(self.cells.merged) < 100_000:
            self.cells.merged.append(attrs.get("ref", ""))

    def _start_row(self, attrs: dict[str, str]) -> None:
        given = attrs.get("r")
        self.row = int(given) if given else self.row + 1
        self.column = -1
        if not 1 <= self.row <= MAX_ROW:
            raise ValueError(f"row {self.row} lies beyond the last row")
        if self.row > self.last_row:
            raise _Enough

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
        if self.where:
            self.text += text

    def end(self, name: str) -> None:
        code = _CODES.get(name)
        if code == _VALUE or code == _TEXT:
            self.where = 0
        elif code == _CELL:
            self.in_cell = False
            if self.text or self.formula:
                value = self._value()
                if value is not None:
                    self._store(value)
        elif code == _PHONETIC:
            self.phonetic = False

    def _store(self, value: Value) -> None:
        cells = self.cells.columns.get(self.column)
        if cells is None:
            cells = self.cells.columns[self.column] = Cells()
        cells.rows.append(self.row)
        cells.values.append(value)
        cells.styles.append(self.style)

    def _value(self) -> Value | None:
        text, kind = self.text, self.kind
        if kind == "n" and text:
            number = float(text)
            if number - number != 0.0:
                raise ValueError("a number cell holds no number")
            return number
        if kind == "s" and text:
            return self.strings[_index(text)] or None
        if kind in ("str", "inlineStr"):
            return clean_text(text) or None
        if not text.strip():
            return NoValue("") if self.formula else None
        if kind == "b":
            return text.strip() in ("1", "true")
        if kind == "e":
            return ErrorText(clean_text(text))
        return IsoDate(clean_text(text)) if kind == "d" else clean_text(text)


def _index(text: str) -> int:
    index = int(text)
    if index < 0:
        raise ValueError("a text index is negative")
    return index


def read_sheet(book: Workbook, sheet: SheetPart, last_row: int = MAX_ROW) -> SheetCells:
    """The filled cells of a sheet down to `last_row`; ValueError and others on damage."""
    handlers = _SheetParser(book, last_row)
    try:
        _feed(book.package.chunks(sheet.part), handlers.start, handlers.end, handlers.data)
    except _Enough:
        pass
    return handlers.cells
