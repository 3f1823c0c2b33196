"""The Actions sheet: what the meeting decides from, most urgent first, on one page."""

from __future__ import annotations

from collections import Counter
from itertools import accumulate
from typing import Any

from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM, Verdict
from siltbook.batch.results import StationResult
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.stations import ACTIONS
from siltbook.templates import look

LAST, WIDTH = ACTIONS.last, ACTIONS.width
# Usable height of a landscape A4 page at the scale that fits the columns [pt], and how much
# more may be squeezed onto it before the print becomes too small for a table of people.
PAGE_POINTS = 500 * WIDTH / 146
SQUEEZE = 1.5
MOST_LISTED = 4_000  # characters of names in one row, which is at most 409 points high


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Actions sheet around its table, whose rows follow."""
    results = kit.assessment.stations
    urgent = [result for result in results if result.verdict not in CALM]
    k.heading(kit, sheet, "Actions")
    height = 40.0 + k.spread(sheet, 2, LAST, summary(results), kit.format("strong"), WIDTH)
    header, tall = k.caution_lines(kit, sheet, 3, (0, LAST), touched_at(urgent), WIDTH)
    height += tall
    row = header
    made = tables.long(kit, sheet, header, ACTIONS, urgent)
    height += 32
    row += len(urgent)
    for result in urgent:
        if height > PAGE_POINTS * SQUEEZE:
            break  # more than one page, however many rows are still to come
        height += tables.height_of(ACTIONS, result)
    if not urgent and results:
        row += 1
        said = "No station needs anything."
        height += k.spread(sheet, row, LAST, said, kit.format("line"), WIDTH)
    for calm in calm_lines(results):
        row += 1
        height += k.spread(sheet, row, LAST, calm, kit.format("line"), WIDTH)
    k.page(kit, sheet, header=header, columns=2, tall=1 if height <= PAGE_POINTS * SQUEEZE else 0)
    sheet.print_area(0, 0, row, LAST)
    return made


def summary(results: tuple[StationResult, ...]) -> str:
    """How many stations have each verdict, most urgent first, in one line."""
    if not results:
        return "No station in this book."
    counts = Counter(result.verdict for result in results)
    parts = [f"{look.VERDICTS[v].label} {counts[v]}" for v in Verdict if counts[v]]
    word = "station" if len(results) == 1 else "stations"
    return f"{len(results)} {word}:   " + "   ".join(parts)


def calm_lines(results: tuple[StationResult, ...]) -> list[str]:
    """One line each for the stations in range and those resting, by name as far as it fits."""
    found = []
    for verdict in CALM:
        names = [k.one_line(r.station.name) for r in results if r.verdict is verdict]
        if names:
            label = look.VERDICTS[verdict].label
            found.append(k.clean(f"{label} ({len(names)}): {_listed(names)}"))
    return found


def _listed(names: list[str]) -> str:
    """Names up to what a row can show; of more than that, how many there are and where."""
    ends = accumulate(len(name) + 2 for name in names)
    fit = max(1, sum(end <= MOST_LISTED for end in ends))
    rest = len(names) - fit
    more = f" and {rest:,} more, all on Station review" if rest else ""
    return ", ".join(names[:fit]) + more
