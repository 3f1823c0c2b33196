"""The Workings sheet: one row per reading, from the practitioner's own cells to over or not.

Every figure is a live formula with its value, so that an auditor can follow it to the cell
that somebody filled, and a corrected cell shows its effect at once. A book may hold 100,000
readings: the loop looks up nothing that can be prepared before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Any

from batch.model import Assessment, Reading, Station
from batch.sheets import kit as k
from batch.sheets.rows import formula_cell, formula_text_cell, number_cell, text_cell
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
    ("Why not", 28.0),
    ("Row in Readings", 9.0),
    ("Note", 24.0),
)
LAST = len(COLUMNS) - 1
MOST = 1_048_000  # rows that a sheet can hold below the header and a closing line
_STYLES = (
    "text", "date", "time", "general", "general", "text", "factor", "metres", "metres",
    "metres", "metres", "metres", "text", "metres", "chance", "text", "text", "whole", "text",
)  # fmt: skip


@dataclass(frozen=True)
class Source:
    """Where the pressures of one side stand: the start of their address and what was read."""

    address: str  # with sheet and column letters, the row follows; '' where no link is possible
    raw: dict[int, object]


def write(kit: k.Kit, sheet: Any) -> int:
    """Write the sheet with one blank row for `rows` to replace; how many rows will follow."""
    k.heading(kit, sheet, "Workings")
    line = (
        "Drop = inlet - outlet, in metres of water. Over: drop > limit by more than 0.000001 m."
        " Formulas lead to the cells that were filled in."
    )
    sheet.write_string(2, 0, line, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    count = min(MOST, sum(len(r.history.readings) for r in kit.assessment.stations))
    row = HEADER + max(1, count)
    if count:
        for col, style in enumerate(_STYLES):
            sheet.write_blank(HEADER + 1, col, None, kit.format(style))
        sheet.autofilter(HEADER, 0, row, LAST)
        over = {"type": "cell", "criteria": "==", "value": '"OVER"', "format": kit.format("over")}
        sheet.conditional_format(HEADER + 1, 12, row, 12, over)
    else:
        sheet.write_string(row, 0, "No reading in this book.", kit.format("mark"))
    k.page(kit, sheet, header=HEADER)
    sheet.print_area(0, 0, row, LAST)
    return count


def rows(assessment: Assessment, styles: list[str]) -> Iterator[str]:
    """Every station's readings as rows of the sheet's part; `styles` as the blank row has them."""
    readings = assessment.book.readings
    sides = (_source(readings, "inlet"), _source(readings, "outlet"))
    n = HEADER + 2
    for result in assessment.stations:
        station = result.station
        factor, limit = metres_per(station.unit), station.limit
        link = escape(limit_formula(assessment, station), quote=False)
        fixed = (k.one_line(station.name), station.unit, factor, assessment.book.date1904)
        for reading in result.history.readings[: MOST + HEADER + 2 - n]:
            yield _row(n, styles, fixed, sides, (link, limit), reading)
            n += 1


def _source(table: Table, key: str) -> Source:
    place = table.places.get(key)
    address = "" if place is None else f"{k.quoted(table.sheet)}{column_letters(place)}"
    return Source(escape(address, quote=False), table.raw.get(key, {}))


def is_number(value: object) -> bool:
    """Whether a cell held a number (a truth value is none)."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def limit_formula(assessment: Assessment, station: Station) -> str:
    """The formula (without '=') for a station's limit: its own cell, else the farm's; else ''."""
    book = assessment.book
    table = book.stations
    raw = table.raw.get("drop_limit", {}).get(station.row)
    if raw is not None and raw != "":
        if not is_number(raw) or abs(float(str(raw)) - station.limit) > 1e-9:
            return ""
        return f"{k.quoted(table.sheet)}{table.cell('drop_limit', station.row)}"
    cell = book.setting_cells.get("drop_limit")
    if not cell or abs(book.settings.drop_limit - station.limit) > 1e-9:
        return ""
    address = f"{k.quoted(book.farm_sheet)}{cell}"
    # The cell may be empty or hold words: then the limit that was used stands.
    return f"IF(ISNUMBER({address}),{address},{float(station.limit)!r})"


def _row(
    n: int,
    styles: list[str],
    fixed: tuple[str, str, float, bool],
    sides: tuple[Source, Source],
    limit: tuple[str, float],
    reading: Reading,
) -> str:
    """Row `n` of the sheet: one reading."""
    name, unit, factor, old = fixed
    typed_in, inlet, note = _side(n, 0, styles, sides[0], factor, reading.inlet, reading.row)
    typed_out, outlet, more = _side(n, 1, styles, sides[1], factor, reading.outlet, reading.row)
    notes = "; ".join(f"{s}: {t}" for s, t in (("inlet", note), ("outlet", more)) if t)
    drop = None
    if inlet is not None and outlet is not None:
        drop = inlet - outlet
    why = k.one_line(reading.why_unusable) if reading.why_unusable else ""
    moment = None if reading.time is None else k.serial(reading.date, reading.time) % 1
    return "".join((
        f'<row r="{n}">',
        text_cell(f"A{n}", styles[0], name),
        number_cell(f"B{n}", styles[1], k.serial(reading.date, date1904=old)),
        _number_or_blank(f"C{n}", styles[2], moment),
        typed_in,
        typed_out,
        text_cell(f"F{n}", styles[5], unit),
        number_cell(f"G{n}", styles[6], factor),
        _metres(f"H{n}", styles[7], f"D{n}*G{n}", inlet),
        _metres(f"I{n}", styles[8], f"E{n}*G{n}", outlet),
        _against_limit(n, styles, drop, limit),
        _number_or_blank(f"N{n}", styles[13], reading.u_drop),
        _number_or_blank(f"O{n}", styles[14], reading.p_over),
        text_cell(f"P{n}", styles[15], "no" if why else "yes"),
        text_cell(f"Q{n}", styles[16], why),
        number_cell(f"R{n}", styles[17], reading.row),
        text_cell(f"S{n}", styles[18], notes),
        "</row>",
    ))  # fmt: skip


def _side(
    n: int,
    side: int,
    styles: list[str],
    source: Source,
    factor: float,
    metres: float | None,
    row: int,
) -> tuple[str, float | None, str]:
    """One pressure as read: its cell, its metres [m], and a note where it is not linked."""
    place, style = f"{'DE'[side]}{n}", styles[3 + side]
    if metres is None or metres != metres:
        return text_cell(place, style, ""), None, ""
    raw = source.raw.get(row)
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        if source.address and abs(raw * factor - metres) <= 1e-9 * max(1.0, abs(metres)):
            return formula_cell(place, style, f"{source.address}{row}", raw), raw * factor, ""
        note = f"not linked; the cell reads {raw:g}"
    else:
        note = "not linked" if raw is None else f'not linked; the cell reads "{raw}"'
    typed = metres / factor
    return number_cell(place, style, typed), typed * factor, k.one_line(note)


def _number_or_blank(place: str, style: str, value: float | None) -> str:
    if value is None or not math.isfinite(value):
        return text_cell(place, style, "")
    return number_cell(place, style, value)


def _metres(place: str, style: str, formula: str, value: float | None) -> str:
    if value is None:
        return text_cell(place, style, "")
    return formula_cell(place, style, formula, value)


def _against_limit(n: int, styles: list[str], drop: float | None, limit: tuple[str, float]) -> str:
    """Drop, limit, margin, and over or not; the limit alone where there is no drop."""
    link, metres = limit
    place, style = f"K{n}", styles[10]
    cell = formula_cell(place, style, link, metres) if link else number_cell(place, style, metres)
    if drop is None:
        blank = [text_cell(f"{c}{n}", styles[s], "") for c, s in (("J", 9), ("L", 11), ("M", 12))]
        return blank[0] + cell + blank[1] + blank[2]
    shown = "OVER" if drop > metres + NOISE else "in range"
    rule = f'IF(J{n}&gt;K{n}+1E-6,"OVER","in range")'
    return (
        formula_cell(f"J{n}", styles[9], f"H{n}-I{n}", drop)
        + cell
        + formula_cell(f"L{n}", styles[11], f"K{n}-J{n}", metres - drop)
        + formula_text_cell(f"M{n}", styles[12], rule, shown)
    )
