"""The Runs sheet: one row per run, the readings between two resets of a filter."""

from __future__ import annotations

from typing import Any

from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.runs import RUNS, station_runs

HEADER = 3
REST = "opened_by"  # with it begins the second printed page
_SAYS = (
    "Drops at the reference flow where the flow is known, with the exponent on Station review. "
    "Rate: median of all slopes between two readings of the run. Given back: share of the rise "
    "over the clean drop that the reset undid. Curve ahead: how the running one should go on."
)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Runs sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Runs", apart=1)
    tables.says(kit, sheet, 2, RUNS, _SAYS, ("begins", "given_back"))
    runs = station_runs(kit.assessment.stations)
    row = HEADER + max(1, len(runs))
    made = tables.long(kit, sheet, HEADER, RUNS, runs)
    if made:
        tables.filters(sheet, HEADER, row, RUNS)
    else:
        k.text(sheet, row, 0, "No run in this book.", kit.format("mark"))
    tables.page(kit, sheet, RUNS, HEADER, keep=1, parts=(REST,))
    sheet.print_area(0, 0, row, RUNS.last)
    return made
