"""The Actions sheet: what the meeting decides from, most urgent first, on one page."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

from batch.model import CALM, Judgement, Verdict
from batch.results import StationResult
from batch.sheets import kit as k
from templates import look

COLUMNS = (
    ("Verdict", 20.0),
    ("Station", 15.0),
    ("Block", 12.0),
    ("Why", 48.0),
    ("What to do next", 56.0),
    ("Days over limit", 9.0),
    ("Expected at limit", 12.0),
    ("Read again by", 12.0),
    ("Who", 14.0),
    ("By when", 12.0),
)
LAST = len(COLUMNS) - 1
WIDTH = sum(width for _, width in COLUMNS)
# Usable height of a landscape A4 page at the scale that fits the columns [pt], and how much
# more may be squeezed onto it before the print becomes too small for a table of people.
PAGE_POINTS = 500 * WIDTH / 146
SQUEEZE = 1.5

OPENING = (
    "Before a filter is opened: close both valves, let the pressure off by a flush cycle, and"
    " see the gauge above zero and then at zero."
)
WIRING = "Before the controller's wiring is touched: disconnect its battery."
_OPENS = re.compile(r"\bopen|\bby hand|\bhand clean|\bclean the|\belement|\bscreen", re.I)
_WIRES = re.compile(r"\bwir|\bsolenoid|\bcontroller|\bbatter", re.I)


def write(kit: k.Kit, sheet: Any) -> None:
    """Write the Actions sheet."""
    results = kit.assessment.stations
    urgent = [result for result in results if result.verdict not in CALM]
    k.heading(kit, sheet, "Actions")
    height = 40.0 + k.spread(sheet, 2, LAST, summary(results), kit.format("strong"), WIDTH)
    row = 3
    for caution in cautions(urgent):
        height += k.spread(sheet, row, LAST, caution, kit.format("caution"), WIDTH)
        row += 1
    header = row
    k.header_row(kit, sheet, header, COLUMNS)
    height += 32
    for result in urgent:
        row += 1
        height += _station(kit, sheet, row, result)
    if not urgent and results:
        row += 1
        said = "No station needs anything."
        height += k.spread(sheet, row, LAST, said, kit.format("line"), WIDTH)
    for line in calm_lines(results):
        row += 1
        height += k.spread(sheet, row, LAST, line, kit.format("line"), WIDTH)
    k.page(kit, sheet, header=header, tall=1 if height <= PAGE_POINTS * SQUEEZE else 0)
    sheet.print_area(0, 0, row, LAST)


def summary(results: tuple[StationResult, ...]) -> str:
    """How many stations have each verdict, most urgent first, in one line."""
    if not results:
        return "No station in this book."
    counts = Counter(result.verdict for result in results)
    parts = [f"{look.VERDICTS[v].label} {counts[v]}" for v in Verdict if counts[v]]
    word = "station" if len(results) == 1 else "stations"
    return f"{len(results)} {word}:   " + "   ".join(parts)


def cautions(urgent: list[StationResult]) -> list[str]:
    """The safety lines that the listed steps call for."""
    steps = [step for result in urgent for step in result.judgement.steps]
    verdicts = {result.verdict for result in urgent}
    found = []
    if verdicts & {Verdict.HAND_CLEAN, Verdict.INSPECT_SCREEN} or any(map(_OPENS.search, steps)):
        found.append(OPENING)
    if Verdict.CHECK_FLUSH_GEAR in verdicts or any(map(_WIRES.search, steps)):
        found.append(WIRING)
    return found


def calm_lines(results: tuple[StationResult, ...]) -> list[str]:
    """One line each for the stations in range and those resting, by name."""
    found = []
    for verdict in CALM:
        names = [k.one_line(r.station.name) for r in results if r.verdict is verdict]
        if names:
            label = look.VERDICTS[verdict].label
            found.append(k.clean(f"{label} ({len(names)}): {', '.join(names)}"))
    return found


def steps_text(judgement: Judgement) -> str:
    """The judgement's next steps as numbered lines."""
    steps = [k.one_line(step) for step in judgement.steps]
    if len(steps) < 2:
        return "".join(steps)
    return "\n".join(f"{n}. {step}" for n, step in enumerate(steps, 1))


def why_text(result: StationResult) -> str:
    """The reason, and below it where flushing stopped helping or the element stays dirty."""
    notes = result.outlook.worth.notes if result.outlook else ()
    return "\n".join(k.one_line(said) for said in (result.judgement.reason, *notes))


def _station(kit: k.Kit, sheet: Any, row: int, result: StationResult) -> float:
    """Write one station's row and return its height [pt]."""
    judgement, station = result.judgement, result.station
    cells = (
        (look.VERDICTS[result.verdict].label, f"verdict:{result.verdict}"),
        (k.one_line(station.name), "name"),
        (k.one_line(station.block), "wrap"),
        (k.clean(why_text(result)), "wrap"),
        (k.clean(steps_text(judgement)), "wrap"),
    )
    most = 1
    for col, (value, style) in enumerate(cells):
        k.text(sheet, row, col, value, kit.format(style))
        most = max(most, k.lines(value, COLUMNS[col][1]))
    days = result.days_over
    k.number(sheet, row, 5, None if days is None else float(days), kit.format("whole"))
    ahead = result.outlook
    date = kit.format("date")
    if ahead and ahead.forecast.passed:
        k.text(sheet, row, 6, "passed", date)
    else:
        k.date(kit, sheet, row, 6, ahead.forecast.date if ahead else None, date)
    k.date(kit, sheet, row, 7, judgement.read_by, date)
    for col in (8, 9):
        sheet.write_blank(row, col, None, kit.format("fill-in"))
    height = min(409.0, most * k.LINE_POINTS + 4)
    sheet.set_row(row, height)
    return height
