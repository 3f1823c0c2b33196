"""The Station review sheet: one row for every station."""

from __future__ import annotations

from typing import Any

from siltbook.batch.cautions import touched_at
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.stations import STATION_REVIEW
from siltbook.templates import look

HEADER = 2
SHARE = STATION_REVIEW.places["share_of_limit"]
# Columns with which a printed page begins: what is ahead, then what the numbers rest on.
PARTS = ("also", "flow_exponent", "smallest_excess_m")
AHEAD, EVIDENCE = (STATION_REVIEW.places[key] for key in PARTS[:2])
_SAYS = (
    "Give back: share of the rise over the clean drop that the work undid (median). Creep: of the"
    " drop read after cleanings. Smallest excess: over the limit, told with 95 % confidence."
)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Station review sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Station review", apart=2)
    sheet.write_string(0, AHEAD, "What is ahead", kit.format("title"))
    sheet.write_string(0, EVIDENCE, "What the numbers rest on", kit.format("title"))
    results = kit.assessment.stations
    last = HEADER + len(results)
    made = tables.long(kit, sheet, HEADER, STATION_REVIEW, results)
    if made:
        tables.filters(sheet, HEADER, last, STATION_REVIEW)
        sheet.conditional_format(HEADER + 1, SHARE, last, SHARE, _bar())
    else:
        k.text(sheet, HEADER + 1, 0, "No station in this book.", kit.format("mark"))
    below = max(last, HEADER + 1) + 2
    rest = PARTS[1], "clean_creep_between"
    tables.says(kit, sheet, below - 1, STATION_REVIEW, _SAYS, rest)
    wide = sum(column.width for column in STATION_REVIEW.columns[2:AHEAD])
    end, _ = k.caution_lines(kit, sheet, below, (2, AHEAD - 1), touched_at(results), wide)
    tables.page(kit, sheet, STATION_REVIEW, HEADER, keep=2, parts=PARTS)
    sheet.print_area(0, 0, end - 1 if end > below else below - 1, STATION_REVIEW.last)
    return made


def _bar() -> dict[str, object]:
    """A bar from nothing to the limit; a drop over the limit fills the cell."""
    return {
        "type": "data_bar",
        "bar_color": look.BAR_FILL,
        "bar_solid": True,
        "min_type": "num",
        "min_value": 0,
        "max_type": "num",
        "max_value": 1,
    }
