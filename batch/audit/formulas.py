"""Formulas of result sheets as a package holds them, and whether two of them are the same.

Programs write one formula in many ways: with or without dollar signs and quotation marks, with
fewer digits, shared between cells. Such writing does not count.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cached_property, lru_cache
from html import unescape

from siltbook.batch.reading.cells import SheetPart, Value, Workbook, address
from siltbook.templates.book import column_letters

Place = tuple[int, int]  # 1-based row, 0-based column
_FORMULA = re.compile(
    rb"<(?:\w+:)?c\b([^<>]*)>\s*<(?:\w+:)?f\b([^<>]*?)(?:/>|>([^<]*)</(?:\w+:)?f>)"
)
_REF = re.compile(rb'\br="([A-Z]{1,3}[0-9]{1,7})"')
_SHARED = re.compile(rb'\bsi="([0-9]+)"')
_TOKEN = re.compile(
    r'"(?:[^"]|"")*"'  # text
    r"|(?:'(?:[^']|'')+'|[^\W\d][\w.]*)!"  # a sheet
    r"|\$?[A-Za-z]{1,3}\$?[0-9]{1,7}(?![\w.(])"  # a cell
    r"|(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
    r"|[^\W\d][\w.]*|<=|>=|<>|\S"
)
_DIGITS = 1e-12  # relative; programs keep 15 digits of a number in a formula
# A cell of another sheet alone, or that cell unless it is empty, else a number.
_LINK = re.compile(
    r"(?P<bare>(?P<sheet>'(?:[^']|'')+'|[^\W\d][\w.]*)!\$?(?P<col>[A-Z]{1,3})\$?(?P<row>\d+))"
)
_ELSE = re.compile(rf"IF\(ISNUMBER\({_LINK.pattern}\),(?P=bare),(?P<other>[0-9.eE+-]+)\)")


@dataclass(frozen=True)
class Link:
    """A formula that shows one cell of another sheet, or `other` where that is empty."""

    sheet: str
    cell: str
    other: float | None


def formulas(
    workbook: Workbook,
    part: SheetPart,
    only: Mapping[int, Set[int]] | None = None,
    *,
    shared_too: bool = True,
) -> Iterator[tuple[Place, str]]:
    """The formulas of one sheet with their place, those that cells share written out.

    `only`: 0-based column -> 1-based rows, outside of which none is wanted. Without `shared_too`
    those that only refer to the formula of another cell are left out: writing them out is slow.
    """
    masters: dict[bytes, tuple[str, str]] = {}
    for found in _FORMULA.finditer(workbook.package.whole(part.part)):
        cell, how, text = found.groups()
        if (ref := _REF.search(cell)) is None:
            continue
        shared = _SHARED.search(how)
        row, column = address(name := ref[1].decode())
        wanted = only is None or row in only.get(column, ())
        wanted = wanted and bool(text or shared_too)
        if not wanted and not (shared and text):
            continue
        said = unescape((text or b"").decode("utf-8", "replace"))
        if shared:
            said = _written_out(masters, shared[1], name, said)
        if said and wanted:
            yield (row, column), said


def formulas_print(workbook: Workbook, part: SheetPart) -> str:
    """A hash of all cells and formulas of one sheet, as they are written."""
    running = hashlib.sha256()
    for found in _FORMULA.finditer(workbook.package.whole(part.part)):
        cell, how, text = found.groups()
        ref = _REF.search(cell)
        pieces = (ref[1] if ref else b"", b"".join(_SHARED.findall(how)), text or b"")
        running.update(b"\0".join(pieces) + b"\n")
    return running.hexdigest()


def _written_out(masters: dict[bytes, tuple[str, str]], number: bytes, cell: str, said: str) -> str:
    """A shared formula as its cell alone would have it; '' where its first cell is not there."""
    from openpyxl.formula.translate import Translator

    if said:
        masters[number] = (said, cell)
        return said
    if number not in masters:
        return ""
    text, origin = masters[number]
    moved = Translator(f"={text}", origin=origin).translate_formula(cell)
    return str(moved).removeprefix("=")


def same_formula(one: str, other: str) -> bool:
    """Whether two formulas say the same, however they are written."""
    if one == other:
        return True
    mine, theirs = _tokens(one), _tokens(other)
    return len(mine) == len(theirs) and all(map(_same, mine, theirs))


_REWRITTEN = (
    (re.compile(r"\b(true|false)\(\)"), r"\1"),
    (re.compile(r"\b([a-z]{1,3})1:([a-z]{1,3})1048576\b"), r"\1:\2"),
    (re.compile(r"\ba([0-9]+):xfd([0-9]+)\b"), r"\1:\2"),
    (re.compile(r"\w*\[\[#this ?row\],\[([^\]]*)\]\]"), r"[@\1]"),
    (re.compile(r"\[@\[([^\]]*)\]\]"), r"[@\1]"),
    (re.compile(r"_xl(?:fn|ws|udf)\.|^of:|^=|^\+"), ""),
)


def same_meaning(one: str, other: str) -> bool:
    """As `same_formula`, of two that different programs saved: each rewrites some of them."""
    return same_formula(one, other) or same_formula(_rewritten(one), _rewritten(other))


@lru_cache(maxsize=10_000)
def _rewritten(text: str) -> str:
    pieces = re.split(r'("(?:[^"]|"")*")', text.replace("$", ""))
    for i in range(0, len(pieces), 2):  # texts in quotation marks stay as they are
        pieces[i] = "".join(pieces[i].casefold().split())
        for found, instead in _REWRITTEN:
            pieces[i] = found.sub(instead, pieces[i])
    return "".join(pieces)


def _same(one: str | float, other: str | float) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=_DIGITS)
    return one == other


@lru_cache(maxsize=10_000)
def _tokens(text: str) -> tuple[str | float, ...]:
    return tuple(_plain(token) for token in _TOKEN.findall(text))


def _plain(token: str) -> str | float:
    if token[0] == '"':
        return token
    if token[0].isdigit() or (token[0] == "." and len(token) > 1):
        return float(token)
    if token.endswith("!"):
        return token[:-1].strip("'").replace("''", "'").casefold() + "!"
    return token.replace("$", "").casefold().removeprefix("_xlfn.")


def link_of(text: str) -> Link | None:
    """The cell that a formula shows, where it shows one; None for any other formula."""
    found = _LINK.fullmatch(text) or _ELSE.fullmatch(text)
    if found is None:
        return None
    sheet = found["sheet"].strip("'").replace("''", "'")
    other = found.groupdict().get("other")
    return Link(sheet, f"{found['col']}{found['row']}", None if other is None else float(other))


_CELLS = re.compile(r"(!)?\$?([A-Z]{1,3})\$?([0-9]{1,7})(?::\$?([A-Z]{1,3})\$?([0-9]{1,7}))?")


def leads_to(text: str, places: set[Place]) -> bool:
    """Whether a formula rests on one of these places of its own sheet."""
    for other, col, row, last_col, last_row in _CELLS.findall(text):
        if other:
            continue
        top, left = address(f"{col}{row}")
        bottom, right = address(f"{last_col}{last_row}") if last_col else (top, left)
        if (top, left) in places:
            return True
        if last_col and any(top <= r <= bottom and left <= c <= right for r, c in places):
            return True
    return False


@dataclass(frozen=True)
class Unlike:
    """A formula that is not the one of today: as stored and as made anew, None where none is.

    `kept`: the value that stands there is the one that the book gives.
    """

    sheet: str
    place: Place
    stored: str | None
    new: str | None
    value: Value | None
    kept: bool

    @cached_property
    def at(self) -> str:
        """Sheet and cell."""
        row, column = self.place
        return f"{self.sheet}!{column_letters(column)}{row}"

    @property
    def said(self) -> str:
        """What became of the formula."""
        if self.stored is None:
            kind = "a number" if isinstance(self.value, float) else "text"
            said = f"replaced by {'nothing' if self.value is None else kind}"
        elif self.new is None:
            said = f"typed where a value stood (={self.stored[:60]})"
        else:
            said = f"changed (={self.stored[:60]}; as written: ={self.new[:60]})"
        return f"formula in {self.at} {said}{', its stored value kept' if self.kept else ''}"


def pairs(
    stored: Iterable[tuple[Place, str]], new: Iterable[tuple[Place, str]]
) -> Iterator[tuple[Place, str | None, str | None]]:
    """Every place at which one of two sheets has a formula, with both; None where none is."""
    left = dict(stored)
    for place, text in new:
        yield place, left.pop(place, None), text
    for place, text in left.items():
        yield place, text, None
