"""Cells of a written table by what their header says: no test names an address."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.tables.describe import Table


def header_row(sheet: Worksheet, table: Table[Any]) -> int:
    """The row (1-based) in which this table's headers stand; AssertionError where none has them."""
    titles = [column.title for column in table.columns]
    for row in sheet.iter_rows(max_col=len(titles)):
        if [cell.value for cell in row] == titles:
            return int(row[0].row)
    raise AssertionError(f"no row of {sheet.title} has the headers of {table.name}: {titles}")


def cells(sheet: Worksheet, table: Table[Any]) -> list[Mapping[str, Cell]]:
    """Every row below the headers as cells by key, down to the first row without a first cell."""
    found = []
    for row in sheet.iter_rows(min_row=header_row(sheet, table) + 1, max_col=table.last + 1):
        if row[0].value is None:
            break
        found.append(dict(zip(table.places, row, strict=True)))
    return found


def by(sheet: Worksheet, table: Table[Any], key: str = "station") -> dict[str, Mapping[str, Cell]]:
    """The rows by what one of their columns holds."""
    return {str(row[key].value): row for row in cells(sheet, table)}
