"""Writes a described table into a sheet: header, rows, formats and heights, whatever the table.

Two ways lead to the same cells: `short` writes them one by one with XlsxWriter, `long` leaves the
rows to be made while the sheet is placed (see `rows`).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from functools import lru_cache, partial
from typing import Any

from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import SHORT, LongTable, Value, line, swatch
from siltbook.batch.tables.describe import Column, Kind, Row, Table, in_unit
from siltbook.templates import look
from siltbook.templates.book import column_letters

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


def shown(column: Column[Row], value: object, *, date1904: bool = False) -> Value:
    """A source's value as a cell of this column holds it; None for a blank cell."""
    if value is None or isinstance(value, float):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column.kind is Kind.VERDICT and isinstance(value, str):
        return look.VERDICTS[value].label
    if isinstance(value, str):
        if wrapped(column):
            return k.clean(value)
        return _one_line(value) if len(value) < SHORT else k.one_line(value)
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


def wrapped(column: Column[Row]) -> bool:
    """Whether a column's text keeps its line breaks: prose does, a name stands on one line."""
    return column.kind is Kind.TEXT and "text_wrap" in look.FORMATS[style_of(column)]


def _wrapping(table: Table[Row]) -> list[tuple[int, float]]:
    """Place and width of the columns whose text is wrapped."""
    columns = enumerate(table.columns)
    return [(at, c.width) for at, c in columns if "text_wrap" in look.FORMATS[style_of(c)]]


def height(wrapping: Iterable[tuple[int, float]], values: Sequence[Value]) -> float:
    """The height of a row [pt]: that of its longest wrapped text."""
    texts = ((values[at], width) for at, width in wrapping)
    most = (k.lines(value, width) for value, width in texts if isinstance(value, str))
    return k.row_height(max(most, default=1))


def height_of(table: Table[Row], row: Row) -> float:
    """The height that a row will have [pt]."""
    return height(_wrapping(table), _values(table, row, date1904=False))


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


def _values(table: Table[Row], row: Row, date1904: bool) -> list[Value]:
    found = (column.source(row) for column in table.columns)
    pairs = zip(table.columns, found, strict=True)
    return [shown(column, value, date1904=date1904) for column, value in pairs]


def _live(formulas: Mapping[int, str], values: list[Value], n: int) -> list[Value]:
    """The values of sheet row `n` with the formulas that give them; a blank stays blank."""
    for at, formula in formulas.items():
        value = values[at]
        if isinstance(value, str) or (isinstance(value, float) and math.isfinite(value)):
            values[at] = (formula.format(n=n), value)
    return values


def _shades(table: Table[Row], row: Row) -> dict[int, str]:
    """The formats of a row's single cells, by place: a verdict's colours, or a column's own."""
    found = {}
    for at, column in enumerate(table.columns):
        if column.kind is Kind.VERDICT:
            verdict = column.source(row)
            name = f"verdict:{verdict}" if isinstance(verdict, StrEnum) else ""
        else:
            name = column.shade(row) if column.shade else ""
        if name:
            found[at] = name
    return found


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
    shades = list(dict.fromkeys(name for row in rows for name in _shades(table, row).values()))
    styles = [*map(style_of, table.columns)]
    styles += styles[-1:] * more
    swatch(sheet, top + 1, map(kit.format, (*styles, *shades)))
    date1904 = kit.assessment.book.date1904
    make = partial(_lines, table, rows, top + 2, shades, date1904, more)
    merged = (column_letters(table.last), column_letters(upto)) if upto is not None else None
    return [LongTable(top + 2, len(rows), make, merged)]


def _lines(
    table: Table[Row],
    rows: Iterable[Row],
    first: int,
    shades: Sequence[str],
    date1904: bool,
    more: int,
    styles: Sequence[str],
) -> Iterator[str]:
    """The rows of a long table, with `more` blank cells behind; `styles` as its swatch has them."""
    count, wrapping = len(table.columns) + more, _wrapping(table)
    index = dict(zip(shades, styles[count:], strict=True))
    for n, row in enumerate(rows, first):
        values = _values(table, row, date1904)
        tall = height(wrapping, values)
        own = list(styles[:count])
        for at, name in _shades(table, row).items():
            own[at] = index[name]
        yield line(n, own, [*_live(table.formulas, values, n), *[None] * more], tall)


def short(kit: k.Kit, sheet: Any, top: int, table: Table[Row], rows: Iterable[Row]) -> int:
    """Write header and rows from `top` on, cell by cell; the last row used."""
    header(kit, sheet, top, table)
    at = top
    for at, row in enumerate(rows, top + 1):
        one(kit, sheet, at, table, row)
    return at


def one(kit: k.Kit, sheet: Any, at: int, table: Table[Row], row: Row) -> None:
    """Write one row of a table, where others stand between its rows."""
    table = in_unit(table, kit.shown)
    values = _values(table, row, kit.assessment.book.date1904)
    sheet.set_row(at, height(_wrapping(table), values))
    shades, live = _shades(table, row), _live(table.formulas, values, at + 1)
    for col, (column, value) in enumerate(zip(table.columns, live, strict=True)):
        cell(sheet, at, col, value, kit.format(shades.get(col, style_of(column))))


def cell(sheet: Any, row: int, col: int, value: Value, style: Any) -> None:
    """Write one value of a table: text stays text, a live one becomes a formula."""
    if isinstance(value, tuple):
        sheet.write_formula(row, col, f"={value[0]}", style, value[1])
    elif isinstance(value, str):
        k.text(sheet, row, col, value, style)
    else:
        k.number(sheet, row, col, value, style)
