"""Writes a described table into a sheet: header, rows, formats and heights, whatever the table.

Two ways lead to the same cells: `short` writes them one by one with XlsxWriter, `long` leaves the
rows to be made while the sheet is placed (see `rows`).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum
from functools import lru_cache, partial
from itertools import count, repeat
from typing import Any

from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import SHORT, LongTable, Value, lines, swatch
from siltbook.batch.tables.describe import Column, Kind, Row, Table, in_unit
from siltbook.templates import look
from siltbook.templates.book import column_letters

_PIECE = 1_000  # rows of a long table that are made at once

# The one place that says how a kind of value looks in a sheet.
STYLES: dict[Kind, str] = {
    Kind.TEXT: "text",
    Kind.NAME: "name",
    Kind.VERDICT: "name",
    Kind.VERDICTS: "wrap",
    Kind.DATE: "date",
    Kind.TIME: "time",
    Kind.YES_NO: "text",
    Kind.COUNT: "whole",
    Kind.PRESSURE: "metres",
    Kind.RATE: "weekly",
    Kind.FLOW: "general",
    Kind.VOLUME: "amount",
    Kind.ENERGY: "amount",
    Kind.MONEY: "money",
    Kind.SHARE: "share",
    Kind.CHANCE: "chance",
    Kind.DAYS: "days",
    Kind.NUMBER: "general",
}


def style_of(column: Column[Row]) -> str:
    """The look's format of a column's cells."""
    return column.style or STYLES[column.kind]


def _shown_all(column: Column[Row], found: list[Any], date1904: bool) -> list[Value]:
    """`shown` of each of a column's values; what it does with all of one kind is asked once."""
    kinds = {*map(type, found)}
    if kinds <= {float, type(None)}:
        return found
    if kinds == {str} and column.kind is not Kind.VERDICT:
        return [*map(k.clean if wrapped(column) else _on_one_line, found)]
    return [shown(column, value, date1904=date1904) for value in found]


def shown(column: Column[Row], value: object, *, date1904: bool = False) -> Value:
    """A source's value as a cell of this column holds it; None for a blank cell."""
    if value is None or isinstance(value, float):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column.kind is Kind.VERDICT and isinstance(value, str):
        return look.VERDICTS[value].label
    if isinstance(value, str):
        return k.clean(value) if wrapped(column) else _on_one_line(value)
    if isinstance(value, int):
        return float(value)
    if isinstance(value, tuple):
        return ", ".join(look.VERDICTS[one].shown for one in value)
    if isinstance(value, dt.time):
        return k.fraction(value)
    if isinstance(value, dt.date):
        return k.date_value(value, date1904=date1904)
    raise TypeError(f"{column.key}: a cell cannot hold {type(value).__name__}")


# Names, units and words stand in many rows; long texts would fill the memory.
_one_line = lru_cache(maxsize=8192)(k.one_line)


def _on_one_line(value: str) -> str:
    return _one_line(value) if len(value) < SHORT else k.one_line(value)


def wrapped(column: Column[Row]) -> bool:
    """Whether a column's text keeps its line breaks: prose does, a name stands on one line."""
    return column.kind is Kind.TEXT and "text_wrap" in look.FORMATS[style_of(column)]


def _wrapping(table: Table[Row]) -> list[tuple[int, float]]:
    """Place and width of the columns whose text is wrapped."""
    columns = enumerate(table.columns)
    return [(at, c.width) for at, c in columns if "text_wrap" in look.FORMATS[style_of(c)]]


def height_of(table: Table[Row], row: Row) -> float:
    """The height that a row will have [pt]: that of its longest wrapped text."""
    return _columns(table, [row], 1, date1904=False)[1][0]


def header(kit: k.Kit, sheet: Any, row: int, table: Table[Row], *, upto: int | None = None) -> None:
    """The header row, and the widths of the columns.

    With `upto`, a place beyond the last column, the sheet's widths stay as they are and the last
    header stands over all columns up to there.
    """
    columns = [(c.title, c.width) for c in in_unit(table, kit.shown).columns]
    if upto is None:
        k.header_row(kit, sheet, row, columns)
        return
    style = kit.format("head")
    for col, (title, _) in enumerate(columns[:-1]):
        sheet.write_string(row, col, title, style)
    sheet.merge_range(row, table.last, row, upto, columns[-1][0], style)
    most = max(k.lines(title, width) for title, width in columns)
    sheet.set_row(row, most * k.LINE_POINTS + 4)


def page(
    kit: k.Kit,
    sheet: Any,
    table: Table[Row],
    header: int,
    *,
    keep: int = 0,
    parts: Sequence[str] = (),
) -> None:
    """Page set-up of a sheet that is one table with its header in row `header` (0-based).

    The first `keep` columns stay in view and on every page; `parts` are the keys of the columns
    with which a further page begins.
    """
    widths, starts = [c.width for c in table.columns], [table.places[key] for key in parts]
    k.page(kit, sheet, header=header, widths=widths, columns=keep, starts=starts)


def says(
    kit: k.Kit, sheet: Any, row: int, table: Table[Row], said: str, part: tuple[str, str] | None
) -> None:
    """One wrapped line in `row` over the columns from key to key of `part`, or over them all.

    It stands on the one printed page of these columns: a longer one would be cut there.
    """
    first, last = (table.places[key] for key in part) if part else (0, table.last)
    width = sum(column.width for column in table.columns[first : last + 1])
    k.spread(sheet, row, last, said, kit.format("says"), width, first)


def filters(sheet: Any, top: int, last: int, table: Table[Row]) -> None:
    """Filter buttons on a table's header row, each on a line of its own below the words."""
    sheet.autofilter(top, 0, last, table.last)
    most = max(k.lines(c.title, c.width) for c in table.columns)
    sheet.set_row(top, (most + 1) * k.LINE_POINTS + 4)


def _live(formula: str, value: Value, n: int) -> Value:
    """The value of a cell in sheet row `n` with the formula that gives it; a blank stays blank."""
    if isinstance(value, str) or (isinstance(value, float) and math.isfinite(value)):
        return formula.format(n=n), value
    return value


def _is_shaded(column: Column[Row]) -> bool:
    return column.shade is not None or column.kind is Kind.VERDICT


def _shade(column: Column[Row], row: Row) -> str:
    """The format of a single cell, a verdict's colours or the column's own; '' without one."""
    if column.kind is Kind.VERDICT:
        verdict = column.source(row)
        return f"verdict:{verdict}" if isinstance(verdict, StrEnum) else ""
    return column.shade(row) if column.shade else ""


def long(
    kit: k.Kit,
    sheet: Any,
    top: int,
    table: Table[Row],
    rows: Sequence[Row],
    *,
    upto: int | None = None,
) -> list[LongTable]:
    """Write the header into `top` (0-based) and leave the rows to be made; none, no table.

    With `upto` the last column is one cell up to that place in every row.
    """
    table = in_unit(table, kit.shown)
    header(kit, sheet, top, table, upto=upto)
    if not rows:
        return []
    more = 0 if upto is None else upto - table.last
    shaded = [column for column in table.columns if _is_shaded(column)]
    found = dict.fromkeys(_shade(column, row) for row in rows for column in shaded)
    names = [*dict.fromkeys([*map(style_of, table.columns), *filter(None, found)])]
    swatch(sheet, top + 1, map(kit.format, names))
    date1904 = kit.assessment.book.date1904
    make = partial(_lines, table, rows, top + 2, names, date1904, more)
    merged = (column_letters(table.last), column_letters(upto)) if upto is not None else None
    return [LongTable(top + 2, len(rows), make, merged)]


def _lines(
    table: Table[Row],
    rows: Sequence[Row],
    first: int,
    names: Sequence[str],
    date1904: bool,
    more: int,
    styles: Sequence[str],
) -> Iterator[str]:
    """The rows of a long table, with `more` blank cells behind; `styles` are those of `names`."""
    index = dict(zip(names, styles, strict=True))
    behind = index[style_of(table.columns[-1])]
    for at in range(0, len(rows), _PIECE):
        some = rows[at : at + _PIECE]
        own = [[index[name] for name in _named(column, some)] for column in table.columns]
        values, heights = _columns(table, some, first + at, date1904)
        own += [[behind] * len(some)] * more
        yield from lines(first + at, own, [*values, *[[None] * len(some)] * more], heights)


def _columns(
    table: Table[Row], rows: Sequence[Row], first: int, date1904: bool
) -> tuple[list[list[Value]], list[float]]:
    """The cells of rows from sheet row `first` on, column by column, and the rows' heights."""
    made = [_shown_all(c, [*map(c.source, rows)], date1904) for c in table.columns]
    counts = [[1] * len(rows)]
    for at, width in _wrapping(table):
        texts = made[at]
        counts.append([k.lines(text, width) if isinstance(text, str) else 1 for text in texts])
    for at, formula in table.formulas.items():
        made[at] = [*map(_live, repeat(formula), made[at], count(first))]
    return made, [k.row_height(max(of_row)) for of_row in zip(*counts, strict=True)]


def short(kit: k.Kit, sheet: Any, top: int, table: Table[Row], rows: Iterable[Row]) -> int:
    """Write header and rows from `top` on, cell by cell; the last row used."""
    header(kit, sheet, top, table)
    listed = [*rows]
    _write(kit, sheet, top + 1, table, listed)
    return top + len(listed)


def one(kit: k.Kit, sheet: Any, at: int, table: Table[Row], row: Row) -> None:
    """Write one row of a table, where others stand between its rows."""
    _write(kit, sheet, at, table, [row])


def _write(kit: k.Kit, sheet: Any, first: int, table: Table[Row], rows: Sequence[Row]) -> None:
    table = in_unit(table, kit.shown)
    columns, heights = _columns(table, rows, first + 1, kit.assessment.book.date1904)
    named = (_named(column, rows) for column in table.columns)
    formats = [map(kit.format, names) for names in named]
    for at, (height, values, styles) in enumerate(
        zip(heights, zip(*columns, strict=True), zip(*formats, strict=True), strict=True), first
    ):
        sheet.set_row(at, height)
        for col, (value, style) in enumerate(zip(values, styles, strict=True)):
            cell(sheet, at, col, value, style)


def _named(column: Column[Row], rows: Sequence[Row]) -> Iterator[str]:
    """The name of the format of each row's cell."""
    style = style_of(column)
    if _is_shaded(column):
        return (_shade(column, row) or style for row in rows)
    return repeat(style, len(rows))


def cell(sheet: Any, row: int, col: int, value: Value, style: Any) -> None:
    """Write one value of a table: text stays text, a live one becomes a formula."""
    if isinstance(value, tuple):
        sheet.write_formula(row, col, f"={value[0]}", style, value[1])
    elif isinstance(value, str):
        k.text(sheet, row, col, value, style)
    else:
        k.number(sheet, row, col, value, style)
