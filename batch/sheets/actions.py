"""The Actions sheet: what the meeting decides from, most urgent first, at a glance.

Below the table stand the cautions and the whole orders of work; the table says them in short.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import accumulate
from typing import Any

from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM, Verdict
from siltbook.batch.remarks import BRIEF, of_station, on_review
from siltbook.batch.results import StationResult
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.beside import beside_lines, nothing_to_do
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.stations import ACTIONS, steps_text
from siltbook.templates import look, safety
from siltbook.templates.orders import is_long
from siltbook.templates.safety import Touch

LAST, WIDTH = ACTIONS.last, ACTIONS.width
ORDER = ACTIONS.places["reason"]  # from here on an order of work stands below the table
MOST_LISTED = 4_000  # characters of names in one row, which is at most 409 points high
MOST_REMARKS = 8  # stations whose remarks stand beside an order of work
MOST_NAMED = 200  # characters of the stations of one order of work
# Verdict and whole steps -> the stations that they are for.
Orders = dict[tuple[Verdict, str], list[StationResult]]
ZOOM = 77  # [%] at which five stations stand on a small screen (1366 x 768)


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Actions sheet around its table, whose rows follow."""
    results = kit.assessment.stations
    urgent = [result for result in results if result.verdict not in CALM]
    touches = touched_at(urgent)
    k.heading(kit, sheet, "Actions")
    k.spread(sheet, 2, LAST, summary(results), kit.format("strong"), WIDTH)
    header = 3
    if touches:
        said = f"{safety.EMERGENCY} {safety.BELOW}"
        k.spread(sheet, header, LAST, said, kit.format("emergency"), WIDTH)
        header += 1
    made = tables.long(kit, sheet, header, ACTIONS, urgent)
    row = header + len(urgent)
    if not urgent and results:
        row += 1
        nothing = nothing_to_do(kit.assessment)
        k.spread(sheet, row, LAST, nothing, kit.format("line"), WIDTH)
    for calm in (*calm_lines(results), *beside_lines(kit.assessment)):
        row += 1
        k.spread(sheet, row, LAST, calm, kit.format("line"), WIDTH)
    orders = orders_of_work(urgent)
    if touches or orders:
        row = _work(kit, sheet, row + 2, orders, touches)
    tables.page(kit, sheet, ACTIONS, header, keep=2)
    sheet.set_zoom(ZOOM)
    sheet.print_area(0, 0, row, LAST)
    return made


def _work(kit: k.Kit, sheet: Any, row: int, orders: Orders, touches: frozenset[Touch]) -> int:
    """From `row` on a page of their own: the cautions, then each order of work; the last row."""
    sheet.set_h_pagebreaks([row])
    k.text(sheet, row, 0, "Cautions, and the whole order of work", kit.format("section"))
    row, _ = k.caution_lines(kit, sheet, row + 1, (0, LAST), touches, WIDTH)
    for (verdict, steps), those in orders.items():
        names = _listed([k.one_line(r.station.name) for r in those], MOST_NAMED)
        said = "\n".join((steps.replace("\n", "   "), *_remarks(those)))
        _order(kit, sheet, row, verdict, names, said)
        row += 1
    return row - 1


def _remarks(results: list[StationResult]) -> list[str]:
    """What the register remarks on these stations and what was noted last, a line for each
    station: who works there must know."""
    said = []
    for result in results:
        remarks = (of_station(result.station, BRIEF), *on_review(result))
        if any(remarks):
            said.append(k.one_line(f"{result.station.name}: {' · '.join(filter(None, remarks))}"))
    rest = len(said) - MOST_REMARKS
    more = [f"{rest} more stations with a remark, all on Station review."] if rest > 0 else []
    return [*said[:MOST_REMARKS], *more]


def orders_of_work(urgent: Iterable[StationResult]) -> Orders:
    """The orders of work that the table says in short."""
    found: Orders = {}
    for result in urgent:
        if is_long(result.judgement.steps):
            whole = result.verdict, steps_text(result.judgement)
            found.setdefault(whole, []).append(result)
    return found


def _order(kit: k.Kit, sheet: Any, row: int, verdict: Verdict, names: str, said: str) -> None:
    """One order of work: the verdict, the stations that it is for, its steps."""
    k.text(sheet, row, 0, look.VERDICTS[verdict].label, kit.format(f"verdict:{verdict}"))
    width = sum(column.width for column in ACTIONS.columns[1:ORDER])
    wide = sum(column.width for column in ACTIONS.columns[ORDER:])
    high = max(k.lines(names, width), k.lines(said, wide))
    k.spread(sheet, row, ORDER - 1, names, kit.format("name"), width, 1)
    k.spread(sheet, row, LAST, said, kit.format("wrap"), wide, ORDER)
    sheet.set_row(row, k.row_height(high))


def summary(results: tuple[StationResult, ...]) -> str:
    """How many stations have each verdict, most urgent first, in one line."""
    if not results:
        return "No station in this book."
    counts = Counter(result.verdict for result in results)
    parts = [f"{look.VERDICTS[v].label} {counts[v]}" for v in Verdict if counts[v]]
    word = "station" if len(results) == 1 else "stations"
    # A verdict, its symbol and its number stay on one line.
    return f"{len(results)} {word}:   " + "   ".join(p.replace(" ", "\xa0") for p in parts)


def calm_lines(results: tuple[StationResult, ...]) -> list[str]:
    """One line each for the stations in range and those resting, by name as far as it fits."""
    found = []
    for verdict in CALM:
        names = [k.one_line(r.station.name) for r in results if r.verdict is verdict]
        if names:
            label = look.VERDICTS[verdict].label
            found.append(k.clean(f"{label} ({len(names)}): {_listed(names, MOST_LISTED)}"))
    return found


def _listed(names: list[str], most: int) -> str:
    """Names up to what a row can show; of more than that, how many there are and where."""
    ends = accumulate(len(name) + 2 for name in names)
    fit = max(1, sum(end <= most for end in ends))
    rest = len(names) - fit
    more = f" and {rest:,} more, all on Station review" if rest else ""
    return ", ".join(names[:fit]) + more
