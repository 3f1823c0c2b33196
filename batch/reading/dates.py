"""A list's columns of dates: cells to days and times of day, odd cells to findings."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from siltbook.batch.reading.cells import IsoDate, Style, Value
from siltbook.batch.reading.columns import Block, accepted_text, shown
from siltbook.batch.reading.numerals import odd_code
from siltbook.batch.reading.parsing import (
    FIRST_YEAR,
    LAST_YEAR,
    date_order,
    date_text,
    serial_date,
    serial_day,
    serial_time,
)
from siltbook.templates.contract import Column

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Objects = NDArray[np.object_]

BEYOND = f"a date in the years {FIRST_YEAR} to {LAST_YEAR}, such as 2026-05-31"
_ONE_WAY = "a date that can be read one way only, for example 2026-05-31"


def read_dates(block: Block, column: Column) -> tuple[Objects, dict[int, dt.time]]:
    """A column's dates, None where missing or unreadable, and the times that stood with them."""
    out: Objects = np.full(len(block.rows), None, dtype=object)
    times: dict[int, dt.time] = {}
    cells = block.cells.get(column.key)
    if cells is None:
        return out, times
    order = date_order(v for v in cells.values if type(v) is str)
    days: dict[Value, tuple[dt.date | None, dt.time | None]] = {}
    triples = zip(block.positions(column.key).tolist(), cells.values, cells.styles, strict=True)
    for position, value, style in triples:
        if type(value) is float:
            if value not in days:
                day = _number_date(value, block.date1904)
                days[value] = day, None if day is None else serial_time(value)
            out[position], clock = days[value]
            if out[position] is None:
                _refuse(block, column, position, value, style)
        else:
            out[position], clock = _text_date(block, column, position, value, order)
        if clock is not None:
            times[position] = clock
    return out, times


def _number_date(value: float, date1904: bool) -> dt.date | None:
    date = serial_date(value, date1904)
    if date is None and value == int(value) and 19_000_000 < value < 22_000_000:
        return date_text(str(int(value))).date  # typed as 20260531
    return date


def _refuse(block: Block, column: Column, position: int, value: float, style: int) -> None:
    """Say of a number what it is: a day out of bounds where the cell shows one, else no date."""
    styled = block.style(style) == Style.DATE
    day = serial_day(value, block.date1904) if styled else None
    if day is not None:
        block.flag("date-out-of-bounds", column, position, day.isoformat(), BEYOND)
    else:
        block.flag("cell-not-date", column, position, shown(value), accepted_text(column))


def _text_date(
    block: Block, column: Column, position: int, value: Value, order: str
) -> tuple[dt.date | None, dt.time | None]:
    code, accepted = odd_code(value, "cell-not-date"), accepted_text(column)
    if isinstance(value, str) and type(value) in (str, IsoDate):
        parsed = date_text(value, order)
        if parsed.date is not None:
            return parsed.date, parsed.time if parsed.time != dt.time(0, 0) else None
        code = "cell-not-date"
        if parsed.beyond:
            code, accepted = "date-out-of-bounds", BEYOND
        elif parsed.ambiguous:
            code, accepted = "cell-ambiguous-date", _ONE_WAY
    block.flag(code, column, position, shown(value), accepted)
    return None, None
