"""The audit's two sheets: the summary on one page, and every place behind it."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from siltbook import __version__
from siltbook.batch.audit.model import Audit, Place, Question, RuleResult, State
from siltbook.batch.audit.report import answer, percent
from siltbook.batch.audit.sensitivity import CASES, Sensitivity
from siltbook.batch.cautions import touched_at
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.ladder.next_steps import touches_of
from siltbook.batch.model import Verdict
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.findings import link_to
from siltbook.templates import look
from siltbook.templates.safety import Touch

# The same audit must give the same bytes, so the file carries no clock.
SUMMARY = (
    ("Rule", 34.0),
    ("Result", 16.0),
    ("Kept", 15.0),
    ("Chance", 18.0),
    ("What the book shows", 74.0),
    ("What may explain it", 46.0),
)
DETAIL = (
    ("Question", 11.0),
    ("Rule", 34.0),
    ("Station", 16.0),
    ("Result", 16.0),
    ("Sheet", 16.0),
    ("Cell", 16.0),
    ("Chance", 18.0),
    ("What the book shows", 78.0),
)
SENSITIVITY = ("Station", "Verdict now", *CASES)
_FINE = {
    (Question.PROCEDURE, State.QUIET): "✓ Kept",
    (Question.PROCEDURE, State.CANNOT): "– Not called for",
    (Question.VERDICT, State.QUIET): "✓ Same",
}
_SHORT = {Question.TRUST: "Data", Question.PROCEDURE: "Procedure", Question.VERDICT: "Verdict"}
LONGEST = 300  # characters of one rule on the summary: it must stay a page
MOST = 5_000  # rows of the detail
NOTE = (
    "Chance: at most how likely such a thing, or a stranger one, is at an honest station somewhere"
    " in this book; looked at from 1 % down. A small chance is a reason to ask, never an answer."
)


def audit_book(audit: Audit, names: Sequence[str], book_name: str) -> bytes:
    """The two sheets, called `names`, as a workbook of their own; the same input, same bytes."""
    target = BytesIO()
    with k.new_workbook(target, "Siltbook audit") as workbook:
        inputs = fingerprint(audit.assessment.book)
        kit = k.Kit(workbook, audit.assessment, book_name, __version__, inputs)
        summary, detail = (workbook.add_worksheet(name) for name in names)
        _summary(kit, summary, audit)
        _detail(kit, detail, audit)
    return target.getvalue()


def _state(kit: k.Kit, sheet: Any, row: int, col: int, state: State, shown: str = "") -> None:
    name = f"audit:{state}"
    if name not in kit.formats:
        kit.formats[name] = kit.workbook.add_format(look.audit_format(state))
    k.text(sheet, row, col, shown or look.AUDIT_STATES[state][0], kit.format(name))


def _summary(kit: k.Kit, sheet: Any, audit: Audit) -> None:
    width, last = sum(w for _, w in SUMMARY), len(SUMMARY) - 1
    k.heading(kit, sheet, "Audit summary")
    k.header_row(kit, sheet, 2, SUMMARY)
    row = 3
    for question in Question:
        sheet.write_string(row, 0, str(question), kit.format("question"))
        sheet.set_row(row, 26)
        row += 1
        said = answer(audit, question)
        height = k.spread(sheet, row, last, said, kit.format("line"), width)
        sheet.set_row(row, height + 4)
        for result in audit.of(question):
            row += 1
            _rule(kit, sheet, row, result)
        row += 1
    k.spread(sheet, row, last, NOTE, kit.format("mark"), width)
    touches = touched_at(audit.assessment.stations)
    end, _ = k.caution_lines(kit, sheet, row + 1, (0, last), touches, width)
    row = end - 1
    k.page(kit, sheet, header=2, tall=1)
    sheet.print_area(0, 0, row, last)


def _rule(kit: k.Kit, sheet: Any, row: int, result: RuleResult) -> None:
    """One rule; what may explain it is said only where something has to be explained."""
    asked = result.state is State.LOOK
    said = k.one_line(result.said)
    said = said if len(said) <= LONGEST else f"{said[: LONGEST - 2]} …"
    innocent = result.rule.innocent if asked else ""
    if result.state is State.CANNOT and result.rule.question is Question.TRUST:
        innocent = f"Needs {result.rule.needs}."
    wrap = kit.format("wrap")
    k.text(sheet, row, 0, result.rule.title, kit.format("name"))
    fine = _FINE.get((result.rule.question, result.state), "")
    _state(kit, sheet, row, 1, result.state, fine)
    kept = f"{result.kept:,} of {result.of:,}" if result.of else ""
    k.text(sheet, row, 2, kept, kit.format("text"))
    k.text(sheet, row, 3, chance(result.p), kit.format("text"))
    k.text(sheet, row, 4, said, wrap)
    k.text(sheet, row, 5, innocent, wrap)
    cells = ((0, result.rule.title), (4, said), (5, innocent))
    most = max(k.lines(text, SUMMARY[col][1]) for col, text in cells)
    sheet.set_row(row, most * k.LINE_POINTS + 5)


def chance(p: float | None) -> str:
    """A chance as a person reads it: '0.3 %', 'over 50 %', '1 in 40,000'."""
    if p is None:
        return ""
    if p > 0.5:
        return "over 50 %"
    if p >= 0.001:
        return percent(p, 1)
    return f"1 in {float(f'{1 / p:.2g}'):,.0f}" if p > 1e-6 else "under 1 in a million"


def _detail(kit: k.Kit, sheet: Any, audit: Audit) -> None:
    width, last = sum(w for _, w in DETAIL), len(DETAIL) - 1
    k.heading(kit, sheet, "Audit detail")
    line = "Every place behind the summary, what to look at first; the cells are links."
    sheet.write_string(2, 0, line, kit.format("mark"))
    k.header_row(kit, sheet, 3, DETAIL)
    found = [(r, p) for q in Question for r in audit.of(q) for p in r.places]
    found.sort(key=lambda pair: pair[1].holds)
    row = 3
    for result, place in found[:MOST]:
        row += 1
        _place(kit, sheet, row, result, place)
    if found:
        sheet.autofilter(3, 0, row, last)
    if len(found) > MOST:
        row += 1
        said = f"{len(found) - MOST:,} more places are not listed here; --json has them."
        k.spread(sheet, row, last, said, kit.format("strong"), width)
    said = "Verdicts at other limits, and if every gauge were off by its class; bold: another one."
    k.spread(sheet, row + 2, last, said, kit.format("strong"), width)
    row = _sensitivity(kit, sheet, row + 3, audit.sensitivity)
    touches = _named(audit.sensitivity) | touched_at(audit.assessment.stations)
    end, _ = k.caution_lines(kit, sheet, row + 1, (0, last), touches, width)
    row = end - 1
    k.page(kit, sheet, header=3)
    sheet.print_area(0, 0, row, last)


def _named(rows: Sequence[Sensitivity]) -> frozenset[Touch]:
    """What the work may touch that the verdicts of this table name."""
    named = {v for one in rows for v in (one.now, *one.then) if v is not None}
    return frozenset(touch for verdict in named for touch in touches_of(verdict))


def _place(kit: k.Kit, sheet: Any, row: int, result: RuleResult, place: Place) -> None:
    wrap = kit.format("wrap")
    k.text(sheet, row, 0, _SHORT[result.rule.question], wrap)
    k.text(sheet, row, 1, result.rule.title, wrap)
    k.text(sheet, row, 2, k.one_line(place.station), wrap)
    if place.holds:
        shown = "kept" if result.rule.question is Question.PROCEDURE else "for the record"
        k.text(sheet, row, 3, shown, kit.format("text"))
    else:
        _state(kit, sheet, row, 3, State.LOOK)
    k.text(sheet, row, 4, k.one_line(place.sheet), wrap)
    names = {name.casefold() for name in kit.assessment.book.sheet_names}
    if place.sheet.casefold() in names:
        link_to(kit, sheet, (row, 5), place.sheet, place.cell)
    else:
        k.text(sheet, row, 5, place.cell, wrap)
    k.text(sheet, row, 6, chance(place.p), wrap)
    said = k.one_line(place.said)
    k.text(sheet, row, 7, said, wrap)
    cells = ((1, result.rule.title), (2, place.station), (7, said))
    most = max(k.lines(text, DETAIL[col][1]) for col, text in cells)
    sheet.set_row(row, k.row_height(most))


def _sensitivity(kit: k.Kit, sheet: Any, row: int, rows: Sequence[Sensitivity]) -> int:
    """The table of verdicts at other limits and with gauges off; the last row used."""
    for col, title in enumerate(SENSITIVITY, 1):
        k.text(sheet, row, col, title, kit.format("head"))
    for one in rows:
        row += 1
        k.text(sheet, row, 1, k.one_line(one.station), kit.format("name"))
        k.text(sheet, row, 2, look.VERDICTS[one.now].label, kit.format("wrap"))
        for col, verdict in enumerate(one.then, 3):
            _verdict(kit, sheet, (row, col), verdict, one.now)
        shown = [look.VERDICTS[v].label for v in (one.now, *one.then) if v is not None]
        most = max(k.lines(label, DETAIL[2][1]) for label in shown)
        most = max(most, k.lines(one.station, DETAIL[1][1]))
        sheet.set_row(row, most * k.LINE_POINTS + 4)
    return row


def _verdict(
    kit: k.Kit, sheet: Any, place: tuple[int, int], verdict: Verdict | None, now: Verdict
) -> None:
    row, col = place
    if verdict is None:
        k.text(sheet, row, col, "class not known", kit.format("wrap"))
    elif verdict is now:
        k.text(sheet, row, col, "same", kit.format("wrap"))
    else:
        k.text(sheet, row, col, look.VERDICTS[verdict].label, kit.format("name"))
