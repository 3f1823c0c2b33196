"""What two copies do not agree on, one line each, with what a person chose."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from siltbook.batch.merging.sides import OWN, Key, Value
from siltbook.batch.merging.units import is_unit
from siltbook.templates.contract import FARM, LISTS, Kind
from siltbook.templates.shown import IN_METRES, METRE, Shown

KEEP, TAKE = "keep this", "take that"
# What a line is about: a cell, a row that one side deleted, a station's name, what the book has
# no place for, another unit, or a formula that came as its result.
CELL, GONE, BACK, ALIAS, PLACELESS, UNIT = "cell", "gone", "back", "alias", "placeless", "unit"
FIXED, FORMULA = "fixed", "formula"
# A row that is struck through in one of the two, and one in the copy of which the book has none.
STRUCK, VOID = "struck", "void"
TWO_WAYS = "two ways"  # a row whose date the book would read by its own, and the copy by none
COUNTS, STRUCK_OUT = "it counts", "struck through"
_DAY = re.compile(r"\d{4}-\d\d-\d\d")  # as keys hold one
CHOICES = (CELL, GONE, BACK, ALIAS)
WHAT = {
    CELL: "differs",
    GONE: "row is not in the copy any more",
    BACK: "row is not in this book any more",
    ALIAS: "the same station under two names?",
    PLACELESS: "this book has no place for it",
    UNIT: "another unit; numbers were converted to this book's",
    FIXED: "a formula of the copy; this book has its result alone",
    FORMULA: "the copy calculates it in another way; this book keeps its own",
    STRUCK: "struck through in one of the two; strike it here, or take the line away",
    TWO_WAYS: "its date can be read two ways, so it was not added: write it year first",
    VOID: "struck through in the copy, so it was not added",
}


@dataclass(frozen=True)
class Point:
    """One line of Conflicts. `row` holds the other side's whole row where it would come back.

    `unit`: in which the book has the column's numbers, and these; '' where they have none.
    """

    op: str
    sheet: str
    key: Key
    column: str = ""
    mine: Value | None = None
    theirs: Value | None = None
    row: tuple[tuple[str, Value], ...] = ()
    cell: str = ""
    there: str = ""
    file: str = ""
    by: str = ""
    their_by: str = ""
    choice: str = ""
    state: str = ""
    unit: str = ""

    @property
    def identity(self) -> tuple[object, ...]:
        """What makes two lines the same, whichever copy they come from."""
        return (self.op, self.sheet, self.key, self.column, said(self.theirs), self.row)

    @property
    def order(self) -> tuple[str, ...]:
        """Where the line stands among the others."""
        parts = (self.sheet, *self.key, self.column, self.op, said(self.theirs), self.file)
        return tuple(map(str, parts))

    @property
    def which(self) -> str:
        """The row in words, a date as the key has it."""
        return which(self.key)

    @property
    def header(self) -> str:
        """The column's header as people see it."""
        return header_of(self.sheet, self.column, self.key)

    @property
    def titled(self) -> str:
        """The column's header with the unit of its numbers."""
        return f"{self.header} ({self.unit})" if self.unit else self.header

    @property
    def can_be_taken(self) -> bool:
        """Whether 'take that' can be carried out."""
        return self.op in CHOICES


def which(key: Key, shown: Shown = IN_METRES) -> str:
    """What identifies a row, in words."""
    name, *more = key or ("",)
    days = (shown.day(dt.date.fromisoformat(p)) if _DAY.fullmatch(p) else p for p in more)
    return " · ".join(part for part in (name, *days) if part)


def header_of(sheet: str, column: str, key: Key = ()) -> str:
    """A column's header as people see it; without '(m)', since a book may have another unit."""
    if column.startswith(OWN):
        return column[len(OWN) :]
    if sheet == FARM.name and key:
        return FARM.column(key[0]).header if FARM.has(key[0]) else key[0]
    found = next((s for s in LISTS if s.name == sheet), None)
    if not found or not found.has(column):
        return column
    known = found.column(column)
    return known.header.removesuffix(f" ({METRE})") if known.kind is Kind.METRES else known.header


def said(value: Value | None, shown: Shown = IN_METRES) -> str:
    """A value as people read it."""
    if isinstance(value, dt.date):
        return shown.day(value)
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    return "" if value is None else str(value)


def row_said(cells: Mapping[str, Value], shown: Shown = IN_METRES) -> str:
    """A whole row in one line."""
    return "; ".join(said(value, shown) for value in cells.values())


def coded(point: Point) -> str:
    """A line as one text that `decoded` reads again."""
    fields = {
        "op": point.op, "sheet": point.sheet, "key": point.key, "column": point.column,
        "mine": _pack(point.mine), "theirs": _pack(point.theirs),
        "row": [(k, _pack(v)) for k, v in point.row], "file": point.file, "by": point.by,
        "their_by": point.their_by, "state": point.state, "there": point.there, "cell": point.cell,
        "unit": point.unit,
    }  # fmt: skip
    return json.dumps(fields, ensure_ascii=False)


def decoded(text: str, choice: str) -> Point | None:
    """A line from its text and what was chosen; None where the text is broken."""
    try:
        f: dict[str, Any] = json.loads(text)
        key, column = tuple(map(str, f["key"])), str(f["column"])
        # Lines of an earlier version offer a unit like any other value.
        unit = f["op"] == CELL and is_unit(str(f["sheet"]), key, column)
        return Point(
            UNIT if unit else str(f["op"]), str(f["sheet"]), key, column,
            _unpack(f["mine"]), _unpack(f["theirs"]),
            tuple((str(k), v) for k, p in f["row"] if (v := _unpack(p)) is not None),
            str(f["cell"]), str(f["there"]), str(f["file"]), str(f["by"]), str(f["their_by"]),
            choice, str(f["state"]), str(f.get("unit", "")),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _pack(value: Value | None) -> Any:
    if isinstance(value, dt.date):
        return {"date": value.isoformat()}
    if isinstance(value, dt.time):
        return {"time": value.isoformat()}
    return value


def _unpack(value: Any) -> Value | None:
    if isinstance(value, dict) and "date" in value:
        return dt.date.fromisoformat(value["date"])
    if isinstance(value, dict):
        return dt.time.fromisoformat(value["time"])
    if value is None or isinstance(value, (str, float)):
        return value
    return float(value)
