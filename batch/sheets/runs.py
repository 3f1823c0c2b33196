"""The Runs sheet: one row per run, the readings between two resets of a filter."""

from __future__ import annotations

from typing import Any

from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.runs import RUNS, station_runs

HEADER = 3
_SAYS = (
    "Drops at the reference flow where the flow is known, with the exponent on Station review. "
    "Rate: median of all slopes between two readings of the run. Given back: share of the rise "
    "over the clean drop that the reset undid. Curve ahead: how the running one should go on."
)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Runs sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Runs")
    sheet.write_string(2, 0, _SAYS, kit.format("mark"))
    runs = station_runs(kit.assessment.stations)
    row = HEADER + max(1, len(runs))
    made = tables.long(kit, sheet, HEADER, RUNS, runs)
    if made:
        tables.filters(sheet, HEADER, row, RUNS)
    else:
        k.text(sheet, row, 0, "No run in this book.", kit.format("mark"))
    k.page(kit, sheet, header=HEADER, columns=1)
    sheet.print_area(0, 0, row, RUNS.last)
    return made
