"""Small books whose farm, stations and gauges have units of their own, as a person keeps them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import openpyxl

from siltbook.templates.contract import CHANGED_GAUGES, READINGS, STATIONS, WORK, Sheet
from tests.typed.farm import saved

Rows = Sequence[Mapping[str, Any]]
_COLUMNS = {
    STATIONS: ("station", "drop_limit", "full_scale", "unit", "also"),
    READINGS: ("station", "date", "inlet", "outlet", "flow"),
    WORK: ("station", "date", "work", "flush_inlet"),
    CHANGED_GAUGES: ("station", "since", "full_scale", "unit"),
}


def small_book(
    unit: str, stations: Rows, readings: Rows = (), gauges: Rows = (), limits_in: str = ""
) -> bytes:
    """A book whose farm reads `unit`, limits typed in it too unless another is said."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    farm = book.create_sheet("Farm")
    for row in (["Farm name", "Invented"], ["Pressure unit", unit]):
        farm.append(row)
    rows = {STATIONS: stations, READINGS: readings, CHANGED_GAUGES: gauges}
    for sheet, keys in _COLUMNS.items():
        made = book.create_sheet(sheet.name)
        made.append([_header(sheet, key, limits_in or unit) for key in keys])
        for one in rows.get(sheet, ()):
            made.append([one.get(key) for key in keys])
    return saved(book)


def _header(sheet: Sheet, key: str, limits_in: str) -> str:
    return sheet.column(key).header.replace("(m)", f"({limits_in})")
