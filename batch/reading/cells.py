"""Cells as read: sparse columns of values with their rows; addresses; what sheets share."""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass, field

from siltbook.batch.package.opened import Package

MAX_ROW = 1_048_576
MAX_COLUMN = 16_384
MAX_CELL = 32_767  # characters of a text, the most that a cell of an .xlsx holds
_RAW = 7 * MAX_CELL  # the same with every character escaped

_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff\u200b\ufeff]")
_ADDRESS = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})\Z")


class ErrorText(str):
    """An error cell's text, for example #DIV/0!."""

    __slots__ = ()


class NoValue(str):
    """A formula without a stored value."""

    __slots__ = ()


class Covered(str):
    """A cell that is merged with one above it, which holds the value for both."""

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
    """One sheet: 0-based column -> its filled cells, the merged ranges, what is hidden.

    `hidden_columns`: first and last 0-based column of each hidden stretch.
    """

    columns: dict[int, Cells] = field(default_factory=dict)
    merged: list[str] = field(default_factory=list)
    hidden: list[int] = field(default_factory=list)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)


@dataclass(frozen=True)
class SheetPart:
    """A worksheet's name in the book, its part, and whether people see it."""

    name: str
    part: str
    hidden: bool = False


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
    struck: frozenset[int] = frozenset()  # cell formats whose text is struck through


def raw_room(kept: int) -> bool:
    """Whether a cell's text of `kept` characters can still use more of them."""
    return kept < _RAW


def clean_text(text: str) -> str:
    """Text as stored to text as read: escapes undone, control characters removed, blank -> ''.

    What no cell can hold is cut first: no work is done on more than a cell's text.
    """
    if len(text) > MAX_CELL:
        text = text[:_RAW]
    if "_x" in text:
        text = _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text)
    text = _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))
    # Twice as much is handed on, so that whoever cuts it or refuses it can say so.
    return "" if text.isspace() else text[: 2 * MAX_CELL]


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
