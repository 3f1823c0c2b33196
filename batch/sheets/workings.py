"""The Workings sheet: one row per reading, from the practitioner's own cells to over or not.

Every figure is a live formula with its value, so that an auditor can follow it to the cell
that somebody filled, and a corrected cell shows its effect at once. A book may hold 100,000
readings: the loop looks up nothing that can be prepared before it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from batch.model import Assessment, Reading, Station
from batch.sheets import kit as k
from templates.book import Table, column_letters
from templates.units import metres_per

HEADER = 3
NOISE = 1e-6  # [m]; more than this above the limit is over
COLUMNS = (
    ("Station", 15.0),
    ("Date", 11.0),
    ("Time", 7.0),
    ("Inlet as read", 9.0),
    ("Outlet as read", 9.0),
    ("Unit", 8.0),
    ("Metres per unit", 10.0),
    ("Inlet (m)", 9.0),
    ("Outlet (m)", 9.0),
    ("Drop (m)", 8.0),
    ("Limit (m)", 8.0),
    ("Margin to limit (m)", 9.0),
    ("Over or not", 10.0),
    ("Standard uncertainty (m)", 12.0),
    ("Probability of over", 11.0),
    ("Used by the ladder", 9.0),
    ("Why not", 34.0),
    ("Row in Readings", 9.0),
    ("Note", 30.0),
)
LAST = len(COLUMNS) - 1
MOST = 1_048_000  # rows that a sheet can hold below the header and a closing line
# A formula with a sheet name such as 'LET(2)' would be taken for a function of that name.
_LIKE_A_CALL = re.compile(r"[A-Za-z.]\(")


@dataclass(frozen=True)
class Source:
    """Where the pressures of one side stand: the start of their address and what was read."""

    address: str  # with sheet and column letters, the row follows; '' where no link is possible
    raw: dict[int, object]


@dataclass(frozen=True)
class Ways:
    """The sheet's writing methods and formats, looked up once."""

    formula: Callable[..., Any]
    number: Callable[..., Any]
    string: Callable[..., Any]
    formats: dict[str, Any]


def write(kit: k.Kit, sheet: Any) -> None:
    """Write the Workings sheet."""
    k.heading(kit, sheet, "Workings")
    line = (
        "Drop = inlet - outlet, in metres of water. Over: drop > limit by more than 0.000001 m."
        " Formulas lead to the cells that were filled in."
    )
    sheet.write_string(2, 0, line, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    row = _rows(kit, sheet)
    if row > HEADER:
        sheet.autofilter(HEADER, 0, row, LAST)
        over = {"type": "cell", "criteria": "==", "value": '"OVER"', "format": kit.format("over")}
        sheet.conditional_format(HEADER + 1, 12, row, 12, over)
    else:
        row += 1
        sheet.write_string(row, 0, "No reading in this book.", kit.format("mark"))
    k.page(kit, sheet, header=HEADER)
    sheet.print_area(0, 0, row, LAST)


def _rows(kit: k.Kit, sheet: Any) -> int:
    """Write every station's readings; the last row written."""
    names = ("text", "date", "time", "general", "factor", "metres", "chance", "whole")
    ways = Ways(
        sheet.write_formula, sheet.write_number, sheet.write_string,
        {name: kit.format(name) for name in names},
    )  # fmt: skip
    readings = kit.assessment.book.readings
    sides = (_source(readings, "inlet"), _source(readings, "outlet"))
    row = HEADER
    for result in kit.assessment.stations:
        found = result.history.readings[: MOST - row]
        row = _station(kit.assessment, ways, sides, result.station, found, row)
    return row


def _source(table: Table, key: str) -> Source:
    place = table.places.get(key)
    linked = place is not None and not _LIKE_A_CALL.search(table.sheet)
    address = f"={k.quoted(table.sheet)}{column_letters(place or 0)}" if linked else ""
    return Source(address, table.raw.get(key, {}))


def is_number(value: object) -> bool:
    """Whether a cell held a number (a truth value is none)."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def limit_formula(assessment: Assessment, station: Station) -> str:
    """The formula for a station's limit: its own cell, else the farm's; '' for a constant."""
    book = assessment.book
    table = book.stations
    raw = table.raw.get("drop_limit", {}).get(station.row)
    if raw is not None:
        linked = is_number(raw) and abs(float(str(raw)) - station.limit) <= 1e-9
        if not linked or _LIKE_A_CALL.search(table.sheet):
            return ""
        return f"={k.quoted(table.sheet)}{table.cell('drop_limit', station.row)}"
    cell = book.setting_cells.get("drop_limit")
    same = abs(book.settings.drop_limit - station.limit) <= 1e-9
    if not cell or not same or _LIKE_A_CALL.search(book.farm_sheet):
        return ""
    address = f"{k.quoted(book.farm_sheet)}{cell}"
    # The cell may be empty or hold words: then the limit that was used stands.
    return f"=IF(ISNUMBER({address}),{address},{station.limit!r})"


def _station(
    assessment: Assessment,
    ways: Ways,
    sides: tuple[Source, Source],
    station: Station,
    readings: tuple[Reading, ...],
    row: int,
) -> int:
    """Write one station's readings below `row`; the last row written."""
    name, unit = k.one_line(station.name), station.unit
    factor, limit = metres_per(unit), station.limit
    limit_link = limit_formula(assessment, station)
    for reading in readings:
        row += 1
        _identity(ways, row, name, unit, factor, reading)
        inlet, note = _side(ways, row, 3, sides[0], factor, reading.inlet, reading.row)
        outlet, more = _side(ways, row, 4, sides[1], factor, reading.outlet, reading.row)
        _limit(ways, row, limit_link, limit)
        if inlet is not None and outlet is not None:
            _drop(ways, row, inlet - outlet, limit)
        if note or more:
            both = [f"{side}: {n}" for side, n in (("inlet", note), ("outlet", more)) if n]
            ways.string(row, 18, k.one_line("; ".join(both)), ways.formats["text"])
    return row


def _identity(
    ways: Ways, row: int, name: str, unit: str, factor: float, reading: Reading
) -> None:
    """Write what a reading is, and what the ladder made of it."""
    formats, number, string = ways.formats, ways.number, ways.string
    string(row, 0, name, formats["text"])
    number(row, 1, k.serial(reading.date), formats["date"])
    if reading.time is not None:
        number(row, 2, k.serial(reading.date, reading.time) % 1, formats["time"])
    string(row, 5, unit, formats["text"])
    number(row, 6, factor, formats["factor"])
    if reading.u_drop is not None and reading.u_drop == reading.u_drop:
        number(row, 13, reading.u_drop, formats["metres"])
    if reading.p_over is not None and reading.p_over == reading.p_over:
        number(row, 14, reading.p_over, formats["chance"])
    if reading.why_unusable:
        string(row, 15, "no", formats["text"])
        string(row, 16, k.one_line(reading.why_unusable), formats["text"])
    else:
        string(row, 15, "yes", formats["text"])
    number(row, 17, reading.row, formats["whole"])


def _side(
    ways: Ways,
    row: int,
    col: int,
    source: Source,
    factor: float,
    metres: float | None,
    source_row: int,
) -> tuple[float | None, str]:
    """Write one pressure as read and in metres; its metres [m] and a note where not linked."""
    if metres is None or metres != metres:
        return None, ""
    raw = source.raw.get(source_row)
    typed, note = metres / factor, ""
    if is_number(raw):
        number = float(raw)  # type: ignore[arg-type]
        if source.address and abs(number * factor - metres) <= 1e-9 * max(1.0, abs(metres)):
            typed = number
            ways.formula(
                row, col, f"{source.address}{source_row}", ways.formats["general"], typed
            )
        else:
            note = f"not linked; the cell reads {number:g}"
    else:
        note = "not linked" if raw is None else f'not linked; the cell reads "{raw}"'
    if note:
        ways.number(row, col, typed, ways.formats["general"])
    letter = "D" if col == 3 else "E"
    value = typed * factor
    ways.formula(row, col + 4, f"={letter}{row + 1}*G{row + 1}", ways.formats["metres"], value)
    return value, note


def _limit(ways: Ways, row: int, link: str, limit: float) -> None:
    if link:
        ways.formula(row, 10, link, ways.formats["metres"], limit)
    else:
        ways.number(row, 10, limit, ways.formats["metres"])


def _drop(ways: Ways, row: int, drop: float, limit: float) -> None:
    """Write the drop, its margin and whether it is over."""
    formula, metres, n = ways.formula, ways.formats["metres"], row + 1
    formula(row, 9, f"=H{n}-I{n}", metres, drop)
    formula(row, 11, f"=K{n}-J{n}", metres, limit - drop)
    shown = "OVER" if drop > limit + NOISE else "in range"
    formula(row, 12, f'=IF(J{n}>K{n}+1E-6,"OVER","in range")', ways.formats["text"], shown)
