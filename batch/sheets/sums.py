"""What the tables of the Costs sheet share: their columns, headers, live amounts and sums."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from siltbook.batch.sheets import kit as k
from siltbook.templates.book import column_letters

NAME_WIDTH, WIDTH = 20.0, 10.5  # of the first column, and of every other [characters]
LAST = 13  # the last column, N
ALL = NAME_WIDTH + LAST * WIDTH


def section(kit: k.Kit, sheet: Any, row: int, title: str) -> None:
    """The title of one table."""
    k.text(sheet, row, 0, title, kit.format("section"))
    sheet.set_row(row, 18)


def heads(kit: k.Kit, sheet: Any, row: int, names: Sequence[str], wide: str = "") -> None:
    """A header row; `wide` is one more header, over the remaining columns."""
    style = kit.format("head")
    for col, name in enumerate(names):
        sheet.write_string(row, col, name, style)
    if wide:
        sheet.merge_range(row, len(names), row, LAST, wide, style)
    most = max(k.lines(name, WIDTH if col else NAME_WIDTH) for col, name in enumerate(names))
    sheet.set_row(row, most * k.LINE_POINTS + 4)


def note(kit: k.Kit, sheet: Any, row: int, first: int, text: str, most: int = 1) -> None:
    """Text wrapped over the columns from `first` on; the row is high enough for `most` lines."""
    sheet.merge_range(row, first, row, LAST, "", kit.format("wrap"))
    k.text(sheet, row, first, text, kit.format("wrap"))
    most = max(most, k.lines(text, (LAST - first + 1) * WIDTH))
    sheet.set_row(row, k.row_height(most))


def live(sheet: Any, row: int, col: int, formula: str, value: float | None, style: Any) -> None:
    """A formula (without '=') with its value; the bare value without one; blank without a value."""
    if value is None or not formula:
        k.number(sheet, row, col, value, style)
    else:
        sheet.write_formula(row, col, f"={formula}", style, value)


def total(
    sheet: Any, row: int, col: int, first: int, values: Sequence[float | None], style: Any
) -> None:
    """The sum of a column from row `first` to the row above; blank where nothing is known."""
    known = [value for value in values if value is not None]
    letter = column_letters(col)
    formula = f"SUM({letter}{first + 1}:{letter}{row})"
    live(sheet, row, col, formula, math.fsum(known) if known else None, style)
