"""Whole columns of one list sheet: cells to arrays in canonical units, odd cells to findings."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from siltbook.batch.reading.amounts import (
    MESH,
    UNREADABLE,
    canonical,
    factor_of,
    mesh_code,
    mesh_words,
)
from siltbook.batch.reading.cells import Cells, Covered, ErrorText, IsoDate, NoValue, Style, Value
from siltbook.batch.reading.numerals import LARGEST, Number, odd_code, one_number
from siltbook.batch.reading.otherwords import flush_count, other_word
from siltbook.batch.reading.parsing import (
    A_DAY_AND_MORE,
    choice,
    date_text,
    decimal_mark,
    hours,
    number_time,
    serial_date,
    tidy,
    time_text,
)
from siltbook.checks.findings import CATALOGUE, UNLISTED, Finding, Severity, find
from siltbook.templates.book import column_letters
from siltbook.templates.contract import Column, Kind

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]

_PLAIN = (float, bool)
NOTES = 100  # a whole column typed as text would otherwise drown every other finding
FLAGS = 2_000  # a column with more errors of one kind is not mended cell by cell


def shown(value: Value) -> str:
    """A cell's value as a message quotes it."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return plain(value)
    if isinstance(value, ErrorText | Covered):
        return str(value)
    if isinstance(value, NoValue):
        return "a formula without a value"
    text = tidy(value)
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


def plain(number: float) -> str:
    """A number without a needless decimal part: 7.0 -> 7."""
    return str(int(number)) if number == int(number) and abs(number) < 1e15 else repr(number)


MAX_NAME = 500  # characters of a name, which stands in many rows and on many sheets
ESSAYS = ("remark", "action")  # texts that may be as long as a cell


@dataclass
class Block:
    """The filled rows of one list sheet, below its header, and what was found wrong in them."""

    sheet: str  # the sheet's name in the book
    rows: NDArray[np.int64]  # spreadsheet rows, ascending
    cells: dict[str, Cells]  # key -> its cells in these rows, ascending, each row once
    places: dict[str, int]
    styles: list[int]
    date1904: bool
    struck: frozenset[int] = frozenset()  # formats of cells that are struck through
    findings: list[Finding] = field(default_factory=list)
    stations: Objects | None = None
    raw: dict[str, dict[int, object]] = field(default_factory=dict)
    flagged: Counter[tuple[str, str]] = field(default_factory=Counter)
    lost: dict[int, list[tuple[str, str]]] = field(default_factory=dict)  # row -> key, what stands

    def positions(self, key: str) -> NDArray[np.int64]:
        """Where each cell of the column stands among the rows."""
        return np.searchsorted(self.rows, np.asarray(self.cells[key].rows, dtype=np.int64))

    def style(self, index: int) -> int:
        """The Style of a cell format; plain where the book does not list it."""
        return self.styles[index] if index < len(self.styles) else Style.PLAIN

    def flag(self, code: str, column: Column, position: int, read: str, accepted: str) -> None:
        """Record one finding at a cell of this block; only so many per column and rule."""
        self.flagged[code, column.key] += 1
        most = NOTES if CATALOGUE[code].severity is Severity.NOTE else FLAGS
        if self.flagged[code, column.key] > most:
            return
        if self.flagged[code, column.key] == most:
            accepted += f" ({UNLISTED})"
        cell = f"{column_letters(self.places.get(column.key, 0))}{self.rows[position]}"
        station = self.stations[position] if self.stations is not None else None
        self.findings.append(
            find(
                code,
                sheet=self.sheet,
                cell=cell,
                read=read,
                accepted=accepted,
                station=station or "",
            )
        )

    def has_dates(self, cells: Cells) -> bool:
        """Whether any cell of the column is formatted as a date, or as a percentage."""
        return any(self.style(index) != Style.PLAIN for index in set(cells.styles))


def accepted_text(column: Column, unit: str = "") -> str:
    """What a column accepts, for a message."""
    if column.kind is Kind.DATE:
        return "a date such as 2026-05-31"
    if column.kind is Kind.TIME:
        return "a time such as 07:30"
    if column.kind is Kind.CHOICE:
        return ", ".join(column.choices)
    if column.kind is Kind.TEXT:
        return "text"
    return f"a number in {unit}" if unit else "a number"


def read_numbers(block: Block, column: Column, unit: str | Objects = "") -> Floats:
    """A column's numbers in canonical units, NaN where missing or unreadable.

    `unit` is the column's unit, or one unit per row; '' where the column has none, or a number
    column is in its own.
    """
    out: Floats = np.full(len(block.rows), np.nan)
    cells = block.cells.get(column.key)
    if cells is None or not cells.rows:
        return out
    at = block.positions(column.key)
    own: dict[int, str] = {}
    floats = set(map(type, cells.values)) == {float}
    raw: dict[int, object] = dict(zip(cells.rows, cells.values, strict=True))
    if not floats or column.kind is Kind.NUMBER:
        texts = {row: str(value) for row, value in raw.items() if isinstance(value, str)}
        raw = {**({} if column.kind is Kind.NUMBER else raw), **texts}
    block.raw[column.key] = raw
    clean = floats and not block.has_dates(cells)
    if clean:
        out[at] = cells.values
    if not clean or np.nanmax(np.abs(out)) > LARGEST:
        out[:] = np.nan
        own = _odd_numbers(block, column, at, out, unit)
    if not isinstance(unit, str):
        by_unit = {name: factor_of(name) for name in set(unit.tolist())}
        made: Floats = out * np.array([by_unit[name] for name in unit.tolist()], dtype=float)
    elif unit == MESH:
        made = out
        bare = [at_row for at_row in at.tolist() if at_row not in own]
        own |= _meshes(block, column, bare, out)
    else:
        made = out * canonical(column, 1.0, unit) if unit else out.copy()
    for position, name in own.items():
        made[position] = canonical(column, out[position], name)
    return made


def _meshes(block: Block, column: Column, at: list[int], out: Floats) -> dict[int, str]:
    """The positions of plain numbers in a column of mesh numbers, each with its note."""
    for position in at:
        value = float(out[position])
        if value != value:
            continue
        read = f"{plain(value)}, in a column of mesh numbers"
        block.flag(mesh_code(value), column, position, read, mesh_words(value))
    return dict.fromkeys(at, MESH)


def _odd_numbers(
    block: Block, column: Column, at: NDArray[np.int64], out: Floats, unit: str | Objects
) -> dict[int, str]:
    """Fill `out` cell by cell; returns the unit typed in the cell by position."""
    cells = block.cells[column.key]
    mark = decimal_mark(v for v in cells.values if type(v) is str)
    own: dict[int, str] = {}
    for position, value, style in zip(at.tolist(), cells.values, cells.styles, strict=True):
        number = one_number(column, value, block.style(style), mark)
        if number.value is not None:
            out[position] = number.value
        if number.unit:
            own[position] = number.unit
        if number.code:
            here = unit if isinstance(unit, str) else str(unit[position])
            here = "" if here == UNREADABLE else here
            accepted = accepted_number(column, number, here)
            if column.key == "drop_limit" and number.value is None:
                accepted += "; until then the farm's limit is used"
            block.flag(number.code, column, position, shown(value), accepted)
    return own


def accepted_number(column: Column, number: Number, unit: str) -> str:
    """What a number cell accepts, for a message."""
    if number.code == "cell-ambiguous-number":
        return "a number that can be read one way only, for example 1234 or 1.23"
    if number.unit == MESH and number.value is not None:
        return mesh_words(number.value)
    if number.code == "cell-one-sided":
        return "a number; here it is known only on which side of it the value lies"
    return accepted_text(column, unit)


def read_times(block: Block, column: Column, from_dates: dict[int, dt.time]) -> Objects:
    """A column's times; where a cell is blank, the time that stood in the row's date cell."""
    out: Objects = np.full(len(block.rows), None, dtype=object)
    cells = block.cells.get(column.key)
    if cells is not None:
        known: dict[tuple[type, Value, bool], dt.time | None] = {}
        triples = zip(block.positions(column.key).tolist(), cells.values, cells.styles, strict=True)
        for position, value, style in triples:
            styled = block.style(style) == Style.DATE
            key = (type(value), value, styled)
            if key not in known:
                known[key] = _one_time(value, styled)
            out[position] = known[key]
            if known[key] is None:
                code = odd_code(value, "cell-not-time")
                block.flag(code, column, position, _as_typed(value, styled), accepted_text(column))
            from_dates.pop(position, None)
    for position, clock in from_dates.items():
        out[position] = clock
    return out


def _as_typed(value: Value, styled: bool) -> str:
    """A time that is none, as people typed it: 25:30 is stored as a number of days."""
    span = styled and isinstance(value, float) and 1.0 <= value < A_DAY_AND_MORE
    return hours(float(value)) if span else shown(value)


def _one_time(value: Value, styled: bool) -> dt.time | None:
    if type(value) is float:
        return number_time(value, styled)
    if not isinstance(value, str) or type(value) not in (str, IsoDate):
        return None
    clock = time_text(value)
    return clock if clock is not None else date_text(value).time


def read_texts(block: Block, column: Column) -> Objects:
    """A column's texts; numbers as typed (7 -> '7'), dates as 2026-05-31, None where missing."""
    out: Objects = np.full(len(block.rows), None, dtype=object)
    cells = block.cells.get(column.key)
    if cells is None:
        return out
    triples = zip(block.positions(column.key).tolist(), cells.values, cells.styles, strict=True)
    known: dict[str, str | None] = {}  # names come again and again
    for position, value, style in triples:
        if type(value) is str and value in known:
            out[position] = known[value]
        elif type(value) is str:
            text = value.replace("\u00a0", " ").strip()
            if len(text) > MAX_NAME and column.key not in ESSAYS:
                block.raw.setdefault(column.key, {})[int(block.rows[position])] = text
                read = f"{len(text):,} characters, {shown(text)}"
                accepted = f"up to {MAX_NAME} characters; until then its first {MAX_NAME} count"
                block.flag("text-too-long", column, position, read, accepted)
                text = text[:MAX_NAME].rstrip()
            else:
                known[value] = text or None
            out[position] = text or None
        elif type(value) is float:
            date = None
            if block.style(style) == Style.DATE:
                date = serial_date(value, block.date1904)
                if column.required:
                    read = date.isoformat() if date else shown(value)
                    accepted = "text; format the cell as text first"
                    block.flag("cell-looks-like-date", column, position, read, accepted)
                    continue
            out[position] = date.isoformat() if date else plain(value)
        elif isinstance(value, ErrorText | NoValue):
            block.flag(odd_code(value, ""), column, position, shown(value), accepted_text(column))
        else:
            out[position] = shown(value) if isinstance(value, bool) else str(value)
    return out


def read_choices(block: Block, column: Column) -> Objects:
    """A column's choices in the contract's spelling, None where missing or not a choice."""
    out: Objects = np.full(len(block.rows), None, dtype=object)
    cells = block.cells.get(column.key)
    if cells is None:
        return out
    known: dict[tuple[type, Value], str | None] = {}
    for position, value in zip(block.positions(column.key).tolist(), cells.values, strict=True):
        key = (type(value), value)
        if key not in known:
            known[key] = one_choice(column, value)
        out[position] = known[key]
        if known[key] is None and (meant := _in_other_words(block, column, position, value)):
            out[position] = meant
        elif known[key] is None:
            code = odd_code(value, "cell-not-choice")
            accepted = accepted_text(column)
            if column.key == "unit":
                # Named because it differs from the farm's, so the farm's cannot stand in.
                accepted += "; until then the station's pressures are not used"
            block.flag(code, column, position, shown(value), accepted)
    return out


def _in_other_words(block: Block, column: Column, position: int, value: Value) -> str | None:
    """The choice that a cell means in other words, with its note; None where it means none."""
    meant = other_word(value, column.choices) if type(value) is str else None
    if meant is None:
        return None
    count = flush_count(str(value)) if meant == "flush" else None
    cycles = f" with {count:g} cycle{'' if count == 1 else 's'}" if count else ""
    accepted = f"{accepted_text(column)}; taken as {meant}{cycles}"
    block.flag("cell-other-word", column, position, shown(value), accepted)
    return meant


def read_counts(block: Block, works: Objects, cycles: Floats) -> Floats:
    """The cycles of flushes, with those that stand in the cell Work where their own is empty."""
    texts = block.cells.get("work")
    if texts is None:
        return cycles
    typed = set(block.positions("cycles").tolist()) if "cycles" in block.cells else set()
    for position, value in zip(block.positions("work").tolist(), texts.values, strict=True):
        if type(value) is str and works[position] == "flush" and position not in typed:
            count = flush_count(value)
            cycles[position] = np.nan if count is None else count
    return cycles


def one_choice(column: Column, value: Value) -> str | None:
    """One cell of a choice column, or None."""
    if isinstance(value, ErrorText | NoValue):
        return None
    if isinstance(value, _PLAIN):
        return choice(shown(value), column.choices)
    return choice(value, column.choices)


def read_column(block: Block, column: Column, unit: str | Objects = "") -> Any:
    """One column by its kind; dates and times go by `read_dates` and `read_times`."""
    if column.kind is Kind.TEXT:
        return read_texts(block, column)
    if column.kind is Kind.CHOICE:
        return read_choices(block, column)
    return read_numbers(block, column, unit)
