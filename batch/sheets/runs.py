"""The Runs sheet: one row per run, the readings between two resets of a filter."""

from __future__ import annotations

from typing import Any

from batch.numbers.runs import Run
from batch.sheets import kit as k

HEADER = 3
COLUMNS = (
    ("Station", 15.0),
    ("Start", 12.0),
    ("End", 12.0),
    ("Readings", 9.0),
    ("Start level (m)", 9.0),
    ("Rate (m per week)", 10.0),
    ("Low (80 %)", 9.0),
    ("High (80 %)", 9.0),
    ("Valid", 7.0),
    ("Why not", 30.0),
    ("Ended by", 34.0),
    ("Given back", 10.0),
    ("Started by", 26.0),
    ("Rows of Readings", 34.0),
)
DAYS_PER_WEEK = 7.0
_SAYS = (
    "Drops at the reference flow where the flow is known, with the exponent on Station review. "
    "Rate: median of all slopes between two readings of the run. Given back: share of the rise "
    "over the clean drop that the reset undid."
)


def write(kit: k.Kit, sheet: Any) -> None:
    """Write the Runs sheet."""
    k.heading(kit, sheet, "Runs")
    sheet.write_string(2, 0, _SAYS, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    row = HEADER
    for result in kit.assessment.stations:
        for run in result.outlook.runs if result.outlook else ():
            row += 1
            _run(kit, sheet, row, result.station.name, run)
    if row == HEADER:
        row += 1
        k.text(sheet, row, 0, "No run in this book.", kit.format("mark"))
    else:
        sheet.autofilter(HEADER, 0, row, len(COLUMNS) - 1)
    k.page(kit, sheet, header=HEADER)
    sheet.print_area(0, 0, row, len(COLUMNS) - 1)


def _run(kit: k.Kit, sheet: Any, row: int, station: str, run: Run) -> None:
    metres, text = kit.format("metres"), kit.format("text")
    k.text(sheet, row, 0, k.one_line(station), kit.format("name"))
    k.date(kit, sheet, row, 1, run.start, kit.format("date"))
    k.date(kit, sheet, row, 2, run.end, kit.format("date"))
    k.number(sheet, row, 3, float(len(run.days)), kit.format("whole"))
    k.number(sheet, row, 4, run.start_level, metres)
    for col, rate in enumerate((run.rate, run.rate_low, run.rate_high), 5):
        k.number(sheet, row, col, None if rate is None else rate * DAYS_PER_WEEK, metres)
    k.text(sheet, row, 8, "yes" if run.valid else "no", text)
    k.text(sheet, row, 9, run.why, text)
    ended = run.ended_by or "still running"
    k.text(sheet, row, 10, f"{ended} (inferred)" if run.inferred else ended, text)
    k.number(sheet, row, 11, run.recovered, kit.format("share"))
    k.text(sheet, row, 12, run.opened_by or "first reading", text)
    k.text(sheet, row, 13, ", ".join(map(str, run.rows)), text)
