"""Tables as long as the book, written straight into a sheet's part.

XlsxWriter takes a minute over the 800,000 formulas of a book with 100,000 readings, because it
looks through every formula for some thirty functions; and half the time of a book with 10,000
stations goes into cells that it takes one by one. It therefore writes a swatch in place of such
a table, one row with a blank cell in each format that the table uses; and the swatch is replaced
by the table's rows while the sheet is placed into the person's book.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from itertools import islice, repeat
from typing import Any

from siltbook.templates.book import column_letters

_PIECE = 1_000  # rows handed on at once: a long sheet never stands in memory whole
SHORT = 200  # characters
_LETTERS = [column_letters(col) for col in range(64)]


# A formula (no leading '=', already escaped) with the number or text that it gives. A plain pair:
# a class of its own would cost a tenth of the time of a long book.
Live = tuple[str, float | str]
Value = str | float | Live | None


# In a pattern: what stands for the number of the row, for that of the reading and for a figure.
# No text holds them, since control characters are no text.
ROW, READ, _FIGURE = "\x00", "\x01", "\x02"
_DIFFERS = re.compile(f"([{ROW}{READ}{_FIGURE}])")
SLOT = float("nan")  # a value that differs from row to row


def line(
    n: int | str, styles: Sequence[str], values: Sequence[Value], height: float | None = None
) -> str:
    """Row `n` of a sheet (1-based): a cell for each value from column A on, each in its style.

    Text is clean already and stays text; None, '' and what is no finite number are blank cells.
    `height` in points; the program's own choice without it.
    """
    places = (f"{letter}{n}" for letter in _LETTERS)
    return f"{_start(n, height)}{''.join(map(_cell, places, styles, values))}</row>"


def lines(
    first: int,
    styles: Sequence[Sequence[str]],
    columns: Sequence[Sequence[Value]],
    heights: Sequence[float],
) -> Iterator[str]:
    """Rows from `first` on, as `line` makes each, from whole columns of styles and values."""
    numbers = [str(n) for n in range(first, first + len(heights))]
    cells = [
        map(_cell, map(letter.__add__, numbers), style, column)
        for letter, style, column in zip(_LETTERS, styles, columns, strict=False)
    ]
    return map("".join, zip(map(_start, numbers, heights), *cells, repeat("</row>"), strict=False))


def _start(n: int | str, height: float | None) -> str:
    # Whole pixels of 0.75 pt, as XlsxWriter has them.
    tall = "" if height is None else f' ht="{int(height * 4 / 3 + 0.5) * 0.75:g}" customHeight="1"'
    return f'<row r="{n}"{tall}>'


def _cell(place: str, style: str, value: Value) -> str:
    if value is None or value == "":
        return f'<c r="{place}" s="{style}"/>'
    if isinstance(value, str):
        shown = _inline(value) if len(value) < SHORT else _spelt(value)
        return f'<c r="{place}" s="{style}" t="inlineStr">{shown}</c>'
    if isinstance(value, tuple):
        formula, found = value
        if isinstance(found, str):
            kind, given = ' t="str"', escape(found, quote=False)
        else:
            kind, given = "", _figure(found)
        return f'<c r="{place}" s="{style}"{kind}><f>{formula}</f><v>{given}</v></c>'
    if value is SLOT or math.isfinite(value):
        return f'<c r="{place}" s="{style}"><v>{_figure(value)}</v></c>'
    return f'<c r="{place}" s="{style}"/>'


def pattern(styles: Sequence[str], values: Sequence[Value]) -> list[str]:
    """A row for `fill`: as `line`, with ROW and READ in its formulas and SLOT for its figures.

    What stays and what differs take turns in it.
    """
    return _DIFFERS.split(line(ROW, styles, values))


def fill(
    made: Sequence[str],
    rows: Sequence[int],
    read: Sequence[int],
    figures: Sequence[Sequence[float]],
) -> Iterator[str]:
    """The rows `rows` by a pattern: a column of figures for each SLOT from left to right."""
    numbers = {ROW: [*map(str, rows)], READ: [*map(str, read)]}
    columns = iter(figures)
    pieces = [
        (numbers.get(piece) or map(_figure, next(columns))) if at % 2 else repeat(piece)
        for at, piece in enumerate(made)
    ]
    return map("".join, zip(*pieces, strict=False))  # the same piece is repeated without end


@lru_cache(maxsize=16_384)
def _figure(value: float) -> str:
    """A number as a cell holds it; gauges are coarse, so that the same ones come again."""
    return _FIGURE if value is SLOT else repr(float(value) + 0.0)


def _spelt(value: str) -> str:
    """A text as a cell holds it."""
    # A spelling such as _x0041_ would be decoded to a character; its underscore is escaped.
    value = re.sub(r"_(?=x[0-9a-fA-F]{4}_)", "_x005F_", value) if "_x" in value else value
    kept = "" if value == value.strip() else ' xml:space="preserve"'
    return f"<is><t{kept}>{escape(value, quote=False)}</t></is>"


# Names and reasons stand in many rows; long remarks stand in one, and would fill the memory.
_inline = lru_cache(maxsize=8192)(_spelt)


@dataclass(frozen=True)
class LongTable:
    """`count` rows that stand in for the swatch in `row` (1-based) of a sheet.

    `make` gets the style index of each of the swatch's cells and gives every row's text.
    `merged` are columns (letters, first and last) that are one cell in each of the rows.
    """

    row: int
    count: int
    make: Callable[[list[str]], Iterable[str]]
    merged: tuple[str, str] | None = None


def swatch(sheet: Any, row: int, formats: Iterable[Any]) -> None:
    """Write a long table's swatch into `row` (0-based): a blank cell in each of the formats."""
    for col, style in enumerate(formats):
        sheet.write_blank(row, col, None, style)


def filled(sheet: bytes, width: str, tables: Sequence[LongTable]) -> Iterator[bytes]:
    """A sheet's part, piece by piece, with the rows of its tables, which stand one below another.

    `width` is the sheet's last column. ValueError where a swatch is not in the sheet.
    """
    xml = _merged(_sized(sheet.decode(), width, tables), tables)
    at = 0
    for table in tables:
        found = re.compile(rf'<row r="{table.row}"[^>]*>(.*?)</row>').search(xml, at)
        if found is None:
            raise ValueError(f"row {table.row} is not in the sheet")
        yield xml[at : found.start()].encode()
        made = iter(table.make(re.findall(r'<c r="[A-Z]+\d+" s="(\d+)"/>', found[1])))
        while piece := "".join(islice(made, _PIECE)):
            yield piece.encode()
        at = found.end()
    yield xml[at:].encode()


def _sized(xml: str, width: str, tables: Sequence[LongTable]) -> str:
    """The sheet with the size that it will have: no swatch is left, and the rows are there."""
    last = max(table.row + table.count - 1 for table in tables)

    def size(found: re.Match[str]) -> str:
        return f'<dimension ref="A1:{width}{max(last, int(found[1]))}"'

    return re.sub(r'<dimension ref="A1:[A-Z]+(\d+)"', size, xml, count=1)


def _merged(xml: str, tables: Sequence[LongTable]) -> str:
    """The sheet with the merged cells of its tables; it has some of its own already."""
    more = [
        f'<mergeCell ref="{table.merged[0]}{row}:{table.merged[1]}{row}"/>'
        for table in tables
        if table.merged
        for row in range(table.row, table.row + table.count)
    ]

    def merge(found: re.Match[str]) -> str:
        return f'<mergeCells count="{int(found[1]) + len(more)}">{"".join(more)}'

    return re.sub(r'<mergeCells count="(\d+)">', merge, xml, count=1) if more else xml
