"""The Runs sheet: one row per run, the readings between two resets of a filter."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from siltbook.batch.numbers.runs import Run
from siltbook.batch.results import StationResult
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import LongTable, Value, line, swatch

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
    ("Curve ahead", 12.0),
    ("Forecast rests on", 46.0),
)
_STYLES = (
    "name", "date", "date", "whole", "metres", "metres", "metres", "metres", "text", "text",
    "text", "share", "text", "text", "text", "wrap",
)  # fmt: skip
DAYS_PER_WEEK = 7.0
_SAYS = (
    "Drops at the reference flow where the flow is known, with the exponent on Station review. "
    "Rate: median of all slopes between two readings of the run. Given back: share of the rise "
    "over the clean drop that the reset undid. Curve ahead: how the running one should go on."
)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Runs sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Runs")
    sheet.write_string(2, 0, _SAYS, kit.format("mark"))
    k.header_row(kit, sheet, HEADER, COLUMNS)
    results = kit.assessment.stations
    count = sum(len(result.outlook.runs) for result in results if result.outlook)
    row = HEADER + max(1, count)
    if count:
        swatch(sheet, HEADER + 1, map(kit.format, _STYLES))
        sheet.autofilter(HEADER, 0, row, len(COLUMNS) - 1)
    else:
        k.text(sheet, row, 0, "No run in this book.", kit.format("mark"))
    k.page(kit, sheet, header=HEADER)
    sheet.print_area(0, 0, row, len(COLUMNS) - 1)
    rows = partial(_rows, results, date1904=kit.assessment.book.date1904)
    return [LongTable(HEADER + 2, count, rows)] if count else []


def _rows(
    results: tuple[StationResult, ...], styles: list[str], *, date1904: bool
) -> Iterator[str]:
    n = HEADER + 2
    for result in results:
        name = k.one_line(result.station.name)
        for run in result.outlook.runs if result.outlook else ():
            ahead = result.outlook.forecast if result.outlook and run.open else None
            said = [k.clean(ahead.curve), k.clean(ahead.basis)] if ahead else ["", ""]
            yield line(n, styles, [name, *_run(run, date1904), *said])
            n += 1


def _run(run: Run, date1904: bool) -> list[Value]:
    ended = run.ended_by or "still running"
    rates = (run.rate, run.rate_low, run.rate_high)
    return [
        k.date_value(run.start, date1904=date1904),
        k.date_value(run.end, date1904=date1904),
        float(len(run.days)),
        run.start_level,
        *(None if rate is None else rate * DAYS_PER_WEEK for rate in rates),
        "yes" if run.valid else "no",
        k.clean(run.why),
        k.clean(f"{ended} (inferred)" if run.inferred else ended),
        run.recovered,
        k.clean(run.opened_by or "first reading"),
        k.clean(", ".join(map(str, run.rows))),
    ]
