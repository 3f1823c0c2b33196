"""An OpenDocument spreadsheet (.ods) to an .xlsx of plain values, in one pass over its XML.

It is a zip of XML, as an .xlsx is, and goes through the same limits and the same parser, which
refuses a DOCTYPE and with it every entity. Numbers of repeated rows and cells are bounded by the
sheet and by the number of filled cells, never by what the file claims.
"""

from __future__ import annotations

import datetime as dt
import math
import re

from siltbook.batch.errors import BookError
from siltbook.batch.package.opened import Package, elements
from siltbook.batch.reading.cells import (
    MAX_CELL,
    MAX_COLUMN,
    MAX_ROW,
    ErrorText,
    NoValue,
    Value,
    clean_text,
)
from siltbook.batch.reading.parsing import FROM_1904
from siltbook.batch.reading.plainbook import (
    CLOCK,
    DATE,
    GENERAL,
    HOURS,
    MAX_CELLS,
    MOMENT,
    PERCENT,
    STRUCK,
    Cell,
    PlainBook,
)
from siltbook.batch.reading.sheetxml import feed
from siltbook.templates.book import column_letters

_EPOCH = dt.date(1899, 12, 30)
# Before this day spreadsheet programs disagree on what number a date has.
_FIRST_DAY = dt.date(1900, 3, 1)
_MOMENT = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:T([0-9]{2}):([0-9]{2})(?::([0-9.,]{1,15}))?)?Z?\Z"
)
_SPAN = re.compile(
    r"(-?)P(?:([0-9]{1,6})D)?T?(?:([0-9]{1,6})H)?(?:([0-9]{1,8})M)?(?:([0-9]{1,9}[.,]?[0-9]*)S)?\Z"
)
_ERROR = re.compile(r"Err:[0-9]{3}|#(?:NULL!|DIV/0!|VALUE!|REF!|NAME\?|NUM!|N/A)")
# How a truth value of an .xlsx is kept where its cell has no format of its own.
_TRUTH = re.compile(r"(?:[a-z]+:)?=(TRUE|FALSE)\(\)")
_CELLS = ("table-cell", "covered-table-cell")
# What may stand in a cell or before the rows and is no value of it.
_ASIDE = {
    "annotation", "shapes", "tracked-changes", "frame", "custom-shape", "control", "g", "rect",
    "line", "ellipse", "polygon", "path", "forms", "ruby-text", "note",
}  # fmt: skip
_NO_LINE = (None, "", "none")
_MOST_MERGED = 100_000


def plain_from_ods(package: Package, name: str) -> tuple[bytes, int]:
    """The .xlsx, and how many texts were cut to fit a cell; BookError where it has a password.

    ValueError and others of `siltbook.batch.package.opened.DAMAGE` on damage.
    """
    _refuse_password(package, name)
    made, cut, some = _made(package, name, calculated=False)
    return _made(package.anew(), name, calculated=True)[:2] if some else (made, cut)


def _made(package: Package, name: str, *, calculated: bool) -> tuple[bytes, int, bool]:
    """The .xlsx, the texts cut, and whether some of its formulas alone have no stored result.

    Such a formula gave an empty text, of which programs store nothing at all: of a book that was
    `calculated` they are blank. Where no formula has a result, none was ever calculated.
    """
    with PlainBook(name) as book:
        reader = _Reader(book, calculated)
        feed(package.counted("content.xml"), reader.start, reader.end, reader.data)
        some = reader.stored and reader.without and not calculated
        return (b"" if some else book.finish()), book.cut, some


def _refuse_password(package: Package, name: str) -> None:
    locked = package.has("encrypted-package")
    if not locked and package.has("META-INF/manifest.xml"):
        manifest = elements(package.read("META-INF/manifest.xml"))
        locked = any(tag == "encryption-data" for tag, _ in manifest)
    if locked:
        raise BookError(f"{name} is protected by a password: save it without one.")


class _Reader:
    """Handlers for content.xml."""

    def __init__(self, book: PlainBook, calculated: bool = False) -> None:
        self.book = book
        self.calculated = calculated
        self.stored = self.without = False  # formulas with a result, and without
        self.hidden_styles: set[str] = set()
        self.struck_styles: set[str] = set()
        self.row_style = ""  # of cells that have none of their own
        self.struck_columns: list[tuple[int, int]] = []  # first, and the one after the last
        self.style = ""
        self.aside = 0  # depth inside of something that is no cell's value
        self.tables = 0  # a table inside of a cell is passed over
        self.row_number = 1
        self.row_repeat = 1
        self.row_hidden = False
        self.described = 0  # columns of the sheet that were described so far
        self.column = 0
        self.cells: list[Cell] = []
        self.merged: list[str] = []
        self.cell: dict[str, str] | None = None
        self.text: list[str] = []
        self.length = 0
        self.paragraphs = 0
        self.collect = 0  # depth of paragraphs

    def start(self, name: str, attrs: dict[str, str]) -> None:
        tag = name.rpartition("|")[2]
        if self.aside or tag in _ASIDE:
            self.aside += 1
        elif tag in _CELLS:
            if self.tables == 1:
                self._start_cell({key.rpartition("|")[2]: v for key, v in _ranked(attrs)})
        elif tag in ("p", "h"):
            self._start_paragraph()
        elif tag == "null-date":  # it stands before all tables
            said = next((v for k, v in attrs.items() if k.endswith("|date-value")), "")
            self.book.date1904 = said.startswith("1904")
        elif tag in ("s", "tab", "line-break"):
            self._space(tag, attrs)
        elif tag == "table-row":
            self._start_row({key.rpartition("|")[2]: v for key, v in attrs.items()})
        elif tag == "table-column":
            self._start_column({key.rpartition("|")[2]: v for key, v in attrs.items()})
        elif tag == "table":
            self._start_table({key.rpartition("|")[2]: v for key, v in attrs.items()})
        elif tag == "style":
            self.style = next((v for k, v in attrs.items() if k.endswith("|name")), "")
        elif tag == "table-properties":
            shown = next((v for k, v in attrs.items() if k.endswith("|display")), "true")
            if shown == "false":
                self.hidden_styles.add(self.style)
        elif tag == "text-properties" and is_lined(
            {key.rpartition("|")[2]: v for key, v in attrs.items()}
        ):
            self.struck_styles.add(self.style)

    def end(self, name: str) -> None:
        if self.aside:
            self.aside -= 1
            return
        tag = name.rpartition("|")[2]
        if tag in _CELLS:
            if self.tables == 1:
                self._end_cell()
        elif tag in ("p", "h"):
            self.collect = max(0, self.collect - 1)
        elif tag == "table-row":
            if self.tables == 1:
                self._end_row()
        elif tag == "table":
            if self.tables == 1:
                self.book.end(self.merged)
            self.tables -= 1

    def data(self, text: str) -> None:
        if self.collect and not self.aside and self.tables == 1:
            self._add(text)

    def _add(self, text: str) -> None:
        if self.length <= MAX_CELL:
            self.text.append(text)
            self.length += len(text)

    def _start_table(self, attrs: dict[str, str]) -> None:
        self.tables += 1
        if self.tables == 1:
            hidden = attrs.get("style-name", "") in self.hidden_styles
            self.book.begin(attrs.get("name", ""), hidden)
            self.row_number = 1
            self.described = 0
            self.struck_columns = []
            self.merged = []

    def _start_column(self, attrs: dict[str, str]) -> None:
        if self.tables != 1:
            return
        first = self.described
        self.described += _count(attrs.get("number-columns-repeated"))
        struck = attrs.get("default-cell-style-name") in self.struck_styles
        if struck and len(self.struck_columns) < _MOST_MERGED:
            self.struck_columns.append((first, self.described))
        if attrs.get("visibility", "visible") != "visible":
            self.book.hide_columns(first, min(self.described, MAX_COLUMN) - 1)

    def _start_row(self, attrs: dict[str, str]) -> None:
        if self.tables != 1:
            return
        self.row_repeat = _count(attrs.get("number-rows-repeated"))
        self.row_hidden = attrs.get("visibility", "visible") != "visible"
        self.row_style = attrs.get("default-cell-style-name", "")
        self.column = 0
        self.cells = []

    def _end_row(self) -> None:
        if self.cells:
            if self.row_number + self.row_repeat - 1 > MAX_ROW:
                raise ValueError("a row lies beyond the last row")
            for _ in range(self.row_repeat):
                self.book.row(self.row_number, self.cells, self.row_hidden)
                self.row_number += 1
        else:
            self.row_number += self.row_repeat
        self.cells = []

    def _start_cell(self, attrs: dict[str, str]) -> None:
        self.cell = attrs
        self.text = []
        self.length = self.paragraphs = self.collect = 0

    def _start_paragraph(self) -> None:
        if self.cell is not None and self.tables == 1:
            self.collect += 1
            self.paragraphs += 1
            if self.paragraphs > 1:
                self._add("\n")

    def _space(self, tag: str, attrs: dict[str, str]) -> None:
        if not self.collect or self.tables != 1:
            return
        if tag == "s":
            given = next((v for k, v in attrs.items() if k.endswith("|c")), "1")
            self._add(" " * min(_count(given), MAX_CELL))
        else:
            self._add("\n" if tag == "line-break" else " ")

    def _end_cell(self) -> None:
        attrs, self.cell, self.collect = self.cell or {}, None, 0
        repeat = _count(attrs.get("number-columns-repeated"))
        self._note_merged(attrs)
        value, style = _value(attrs, "".join(self.text))
        if self.book.date1904 and style in (DATE, MOMENT) and isinstance(value, float):
            value -= FROM_1904
        if "formula" in attrs:
            without = isinstance(value, NoValue)
            self.without |= without
            self.stored |= not isinstance(value, NoValue | ErrorText)
            value = None if without and self.calculated else value
        if value is not None:
            if self.column + repeat > MAX_COLUMN:
                raise ValueError("a cell lies beyond the last column")
            columns = range(self.column, self.column + repeat)
            style += STRUCK if self._struck(attrs.get("style-name", "") or self.row_style) else 0
            self.cells.extend((column, value, style) for column in columns)
            if len(self.cells) > MAX_CELLS:
                raise ValueError("a row holds too many cells")
        self.column += repeat

    def _struck(self, style: str) -> bool:
        """Whether a cell of this style is struck through; without one its column's counts."""
        if style:
            return style in self.struck_styles
        return any(first <= self.column < after for first, after in self.struck_columns)

    def _note_merged(self, attrs: dict[str, str]) -> None:
        if "number-columns-spanned" not in attrs and "number-rows-spanned" not in attrs:
            return
        right = self.column + _count(attrs.get("number-columns-spanned"))
        bottom = self.row_number + _count(attrs.get("number-rows-spanned")) - 1
        single = right == self.column + 1 and bottom == self.row_number
        if not single and right <= MAX_COLUMN and bottom <= MAX_ROW:
            first = f"{column_letters(self.column)}{self.row_number}"
            if len(self.merged) < _MOST_MERGED:
                self.merged.append(f"{first}:{column_letters(right - 1)}{bottom}")


def is_lined(properties: dict[str, str]) -> bool:
    """Whether a text's properties draw a line through it; of a part of a text, some programs say
    the type of the line alone."""
    style = properties.get("text-line-through-style")
    return (properties.get("text-line-through-type") if style is None else style) not in _NO_LINE


def _ranked(attrs: dict[str, str]) -> list[tuple[str, str]]:
    """Attributes with the standard's own last, so that they win over an extension's of one name.

    An extension's value type is kept as 'extension-type': it tells an error cell.
    """
    own, other = [], []
    for key, value in attrs.items():
        if ":calcext:" in key or "calc:" in key.casefold().partition("|")[0]:
            other.append(("extension-type" if key.endswith("|value-type") else key, value))
        else:
            own.append((key, value))
    return other + own


def _count(text: str | None) -> int:
    number = int(text) if text else 1
    if number < 1:
        raise ValueError("a count is not positive")
    return number


def _value(attrs: dict[str, str], text: str) -> tuple[Value | None, int]:
    """One cell's value and format; None where blank, ValueError on damage."""
    kind = attrs.get("value-type", "")
    text = clean_text(text)
    if attrs.get("extension-type") == "error" or (
        "formula" in attrs and _ERROR.fullmatch(text.strip())
    ):
        # Older programs store 0 beside the error that they show.
        return ErrorText(text.strip() or "#VALUE!"), GENERAL
    if kind in ("float", "percentage", "currency"):
        number = float(attrs["value"])
        if not math.isfinite(number):
            return ErrorText("#NUM!"), GENERAL
        if number in (0, 1) and (truth := _TRUTH.fullmatch(attrs.get("formula", ""))):
            return truth[1] == "TRUE", GENERAL
        return number, PERCENT if kind == "percentage" else GENERAL
    if kind == "date":
        return _date(attrs.get("date-value", ""))
    if kind == "time":
        return _time(attrs.get("time-value", ""))
    if kind == "boolean":
        return attrs.get("boolean-value", "").strip() == "true", GENERAL
    if kind == "string":
        text = clean_text(attrs.get("string-value", "")) or text
    if not text and "formula" in attrs and not kind:
        return NoValue(""), GENERAL
    return text or None, GENERAL


def _date(text: str) -> tuple[Value | None, int]:
    """A date as its number; as text where it is none, or lies before March 1900."""
    found = _MOMENT.match(text.strip())
    if not found:
        return clean_text(text) or None, GENERAL
    try:
        day = dt.date(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        return text, GENERAL
    if day < _FIRST_DAY:
        return text, GENERAL
    number = float((day - _EPOCH).days)
    if not found[4]:
        return number, DATE
    seconds = float((found[6] or "0").replace(",", "."))
    clock = int(found[4]) * 3600 + int(found[5]) * 60 + seconds
    if not 0 <= clock < 86_400:
        return text, GENERAL
    return number + clock / 86_400, MOMENT if clock else DATE


def _time(text: str) -> tuple[Value | None, int]:
    """A time of day or a longer span as a share of a day; as text where it is none."""
    found = _SPAN.match(text.strip())
    if not found or not any(found.groups()[1:]):
        return clean_text(text) or None, GENERAL
    days, hours, minutes = (int(group or 0) for group in found.groups()[1:4])
    seconds = float((found[5] or "0").replace(",", "."))
    share = days + (hours * 3600 + minutes * 60 + seconds) / 86_400
    if found[1]:
        return -share, GENERAL
    return share, CLOCK if share < 1 else HOURS
