"""The audit's sheets: the summary, what was agreed, and every place behind the answers."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from itertools import zip_longest
from typing import Any, NamedTuple

from siltbook import __version__
from siltbook.batch.audit.agreed_sheet import write_agreed
from siltbook.batch.audit.model import Audit, Place, Question, RuleResult, State, Taken
from siltbook.batch.audit.report import answer, percent
from siltbook.batch.audit.sensitivity import AT_LIMITS, CLASS, READING, Sensitivity, limits_shown
from siltbook.batch.audit.steps_by import by_person, by_station
from siltbook.batch.cautions import touched_at
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.ladder.next_steps import touches_of
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.findings import link_to
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look
from siltbook.templates.safety import Touch, cautions

# The same audit must give the same bytes, so the file carries no clock.
_SHOWN = (*((case,) for case in AT_LIMITS), CLASS, READING)
_FINE = {
    (Question.PROCEDURE, State.QUIET): "✓ Kept",
    (Question.PROCEDURE, State.CANNOT): "– Not called for",
    (Question.VERDICT, State.QUIET): "✓ Same",
}
_SHORT = {Question.TRUST: "Data", Question.PROCEDURE: "Procedure", Question.VERDICT: "Verdict"}
LONGEST = 300  # characters of one rule on the summary: it must stay a summary
MOST = 5_000  # rows of the detail
_QUESTION = 26.0  # height of a question's row [pt]
# A landscape A4 page in the summary's scale, without margins, heading and header [pt]; the
# heights that programs give rows differ by some hundredths.
_ROOM = 555.0
_REST = "The other rules stand on the pages behind, every place on the sheet Audit detail."
NOTE = (
    "Chance: at most how likely such a thing, or a stranger one, is at an honest station somewhere"
    " in this book; looked at from 1 % down. A small chance is a reason to ask, never an answer."
)


def chance(p: float | None) -> str:
    """A chance as a person reads it: '0.3 %', 'over 50 %', '1 in 40,000'."""
    if p is None:
        return ""
    if p > 0.5:
        return "over 50 %"
    if p >= 0.001:
        return percent(p, 1)
    return f"1 in {float(f'{1 / p:.2g}'):,.0f}" if p > 1e-6 else "under 1 in a million"


def _said(result: RuleResult) -> str:
    said = k.one_line(result.said)
    return said if len(said) <= LONGEST else f"{said[: LONGEST - 2]} …"


def _innocent(result: RuleResult) -> str:
    """What may explain it: said only where something has to be explained."""
    if result.state is State.CANNOT and result.rule.question is Question.TRUST:
        return f"Needs {result.rule.needs}."
    return result.rule.innocent if result.state is State.LOOK else ""


def _state(result: RuleResult) -> str:
    fine = _FINE.get((result.rule.question, result.state), "")
    return fine or look.AUDIT_STATES[result.state][0]


SUMMARY: Table[RuleResult] = Table(
    "Audit summary",
    (
        Column("rule", "Rule", Kind.NAME, 26.0, lambda r: r.rule.title),
        Column("state", "Result", Kind.TEXT, 15.0, _state, shade=lambda r: f"audit:{r.state}"),
        Column("kept", "Kept", Kind.TEXT, 14.0,
               lambda r: f"{r.kept:,} of {r.of:,}" if r.of else ""),
        Column("chance", "Chance", Kind.TEXT, 16.0, lambda r: chance(r.p)),
        Column("said", "What the book shows", Kind.TEXT, 55.0, _said, style="wrap"),
        Column("innocent", "What may explain it", Kind.TEXT, 40.0, _innocent, style="wrap"),
    ),
)  # fmt: skip


STEPS_SAY = (
    "Steps that the ladder asked for, for each station and for each person who logged: who took"
    " the step, or where nobody did, who logged the entry that asked for it. That says who knew"
    " first, not whose step it was."
)


class PlaceOf(NamedTuple):
    """One place behind a rule's result."""

    result: RuleResult
    place: Place


def _looked_at(one: PlaceOf) -> str:
    if not one.place.holds:
        return look.AUDIT_STATES[State.LOOK][0]
    return "kept" if one.result.rule.question is Question.PROCEDURE else "for the record"


DETAIL: Table[PlaceOf] = Table(
    "Audit detail",
    (
        Column("question", "Question", Kind.TEXT, 11.0,
               lambda p: _SHORT[p.result.rule.question], style="wrap"),
        Column("rule", "Rule", Kind.TEXT, 26.0, lambda p: p.result.rule.title, style="wrap"),
        Column("station", "Station", Kind.NAME, 14.0, lambda p: p.place.station, style="wrap"),
        Column("state", "Result", Kind.TEXT, 16.0, _looked_at,
               shade=lambda p: "" if p.place.holds else f"audit:{State.LOOK}"),
        Column("sheet", "Sheet", Kind.NAME, 13.0, lambda p: p.place.sheet, style="wrap"),
        Column("cell", "Cell", Kind.NAME, 11.0, lambda p: p.place.cell, style="wrap"),
        Column("chance", "Chance", Kind.TEXT, 15.0, lambda p: chance(p.place.p), style="wrap"),
        Column("said", "What the book shows", Kind.NAME, 61.0, lambda p: p.place.said,
               style="wrap"),
    ),
)  # fmt: skip


def audit_book(audit: Audit, names: Sequence[str], book_name: str) -> bytes:
    """The sheets, called `names`, as a workbook of their own; the same input, same bytes."""
    target = BytesIO()
    with k.new_workbook(target, "Siltbook audit") as workbook:
        inputs = fingerprint(audit.assessment.book)
        kit = k.Kit(workbook, audit.assessment, book_name, __version__, inputs)
        summary, agreed, detail = (workbook.add_worksheet(name) for name in names)
        _summary(kit, summary, audit)
        write_agreed(kit, agreed, audit.agreed, audit.beside)
        _detail(kit, detail, audit)
    return target.getvalue()


def _summary(kit: k.Kit, sheet: Any, audit: Audit) -> None:
    """The three answers with what is to be looked at, on one page; behind it the other rules."""
    width, last = SUMMARY.width, SUMMARY.last
    k.heading(kit, sheet, "Audit summary")
    tables.header(kit, sheet, 2, SUMMARY)
    touches = touched_at(audit.assessment.stations)
    first = _on_first_page(audit, touches)
    row = 3
    for question in Question:
        row = _asked(kit, sheet, row, question)
        height = k.spread(sheet, row, last, answer(audit, question), kit.format("line"), width)
        sheet.set_row(row, height + 4)
        row = _rules(kit, sheet, row + 1, [r for r in audit.of(question) if r in first])
    k.spread(sheet, row, last, NOTE, kit.format("mark"), width)
    row, _ = k.caution_lines(kit, sheet, row + 1, (0, last), touches, width)
    k.spread(sheet, row, last, _REST, kit.format("mark"), width)
    row += 1
    sheet.set_h_pagebreaks([row])
    for question in Question:
        rest = [r for r in audit.of(question) if r not in first]
        if rest:
            row = _rules(kit, sheet, _asked(kit, sheet, row, question), rest)
    k.page(kit, sheet, header=2, widths=SUMMARY.widths)
    sheet.print_area(0, 0, row - 1, last)


def _asked(kit: k.Kit, sheet: Any, row: int, question: Question) -> int:
    """A question above its answer or its rules; the row below it."""
    sheet.write_string(row, 0, str(question), kit.format("question"))
    sheet.set_row(row, _QUESTION)
    return row + 1


def _rules(kit: k.Kit, sheet: Any, row: int, results: Sequence[RuleResult]) -> int:
    """A row for each of these rules from `row` on; the row below them."""
    for result in results:
        tables.one(kit, sheet, row, SUMMARY, result)
        row += 1
    return row


def _on_first_page(audit: Audit, touches: frozenset[Touch]) -> list[RuleResult]:
    """What is to be looked at, as much as stands on one page with the answers and cautions.

    A rule of each question in turn, so that none is crowded out.
    """
    said = [answer(audit, question) for question in Question]
    texts = [*said, NOTE, _REST, *cautions(touches)]
    room = _ROOM - len(said) * _QUESTION
    room -= sum(k.row_height(k.lines(text, SUMMARY.width)) for text in texts)
    looks = [[r for r in audit.of(q) if r.state is State.LOOK] for q in Question]
    found: list[RuleResult] = []
    for result in (r for turn in zip_longest(*looks) for r in turn if r is not None):
        room -= tables.height_of(SUMMARY, result)
        if room < 0:
            break
        found.append(result)
    return found


def _detail(kit: k.Kit, sheet: Any, audit: Audit) -> None:
    width, last = DETAIL.width, DETAIL.last
    k.heading(kit, sheet, "Audit detail")
    line = "Every place behind the summary, what to look at first; the cells are links."
    sheet.write_string(2, 0, line, kit.format("mark"))
    found = [PlaceOf(r, p) for q in Question for r in audit.of(q) for p in r.places]
    found.sort(key=lambda pair: pair.place.holds)
    row = tables.short(kit, sheet, 3, DETAIL, found[:MOST])
    names = {name.casefold() for name in kit.assessment.book.sheet_names}
    for at, (_, place) in enumerate(found[:MOST], 4):
        if place.sheet.casefold() in names:
            link_to(kit, sheet, (at, DETAIL.places["cell"]), place.sheet, place.cell)
    if found:
        tables.filters(sheet, 3, row, DETAIL)
    if len(found) > MOST:
        row += 1
        said = f"{len(found) - MOST:,} more places are not listed here; --json has them."
        k.spread(sheet, row, last, said, kit.format("strong"), width)
    said = "Verdicts at these limits, and if every drop were larger or smaller by what its gauge"
    said += " can err, by its class or by half a division at each side; bold: another one."
    k.spread(sheet, row + 2, last, said, kit.format("strong"), width)
    row = _sensitivity(kit, sheet, row + 3, audit.sensitivity)
    row = _steps(kit, sheet, row + 2, audit.results)
    touches = _named(audit.sensitivity) | touched_at(audit.assessment.stations)
    end, _ = k.caution_lines(kit, sheet, row + 1, (0, last), touches, width)
    row = end - 1
    k.page(kit, sheet, header=3, widths=DETAIL.widths)
    sheet.print_area(0, 0, row, last)


def _named(rows: Sequence[Sensitivity]) -> frozenset[Touch]:
    """What the work may touch that the verdicts of this table name."""
    named = {v for one in rows for v in (one.now, *one.then) if v is not None}
    return frozenset(touch for verdict in named for touch in touches_of(verdict))


def _sensitivity(kit: k.Kit, sheet: Any, row: int, rows: Sequence[Sensitivity]) -> int:
    """The table of verdicts at other limits and with gauges off; the last row used."""
    limits = (f"limit {limit}" for limit in limits_shown(kit.shown))
    off = "gauges off by class", "gauges off by reading"
    titles = ("Station", "Verdict now", *limits, *off)
    _heads(kit, sheet, row, titles)
    for one in rows:
        row += 1
        k.text(sheet, row, 1, k.one_line(one.station), kit.format("name"))
        now = _now(one)
        k.text(sheet, row, 2, now, kit.format("wrap"))
        shown = [one.station, now]
        for col, cases in enumerate(_SHOWN, 3):
            said, other = _would_be(one, cases)
            shown.append(said)
            k.text(sheet, row, col, said, kit.format("name" if other else "wrap"))
        sheet.set_row(row, _tallest(shown))
    return row


def _steps(kit: k.Kit, sheet: Any, row: int, results: Sequence[RuleResult]) -> int:
    """The steps asked for at each station, and of each person; the last row used."""
    groups = (("Station", by_station(results)), ("Person", by_person(results)))
    if not groups[0][1]:
        return row - 1
    k.spread(sheet, row, DETAIL.last, STEPS_SAY, kit.format("strong"), DETAIL.width)
    for title, counts in groups:
        row += 1
        _heads(kit, sheet, row, (title, "Steps asked for", *map(_head, Taken)))
        for count in counts:
            row += 1
            k.text(sheet, row, 1, k.one_line(count.name), kit.format("name"))
            for col, number in enumerate((count.asked, *(count.taken[t] for t in Taken)), 2):
                sheet.write_number(row, col, number, kit.format("whole"))
        row += 1
    return row


def _heads(kit: k.Kit, sheet: Any, row: int, titles: Sequence[str]) -> None:
    """The header of a table that stands in this sheet from the second column on."""
    for col, title in enumerate(titles, 1):
        k.text(sheet, row, col, title, kit.format("head"))
    sheet.set_row(row, _tallest(titles))


def _head(taken: Taken) -> str:
    return f"{str(taken)[0].upper()}{str(taken)[1:]}"


def _tallest(texts: Sequence[str]) -> float:
    """The height of a row with these texts from the second column on [pt]."""
    most = max(k.lines(text, width) for text, width in zip(texts, DETAIL.widths[1:], strict=False))
    return k.row_height(most)


def _now(one: Sensitivity) -> str:
    return look.VERDICTS[one.now].label + (" (borderline)" if one.borderline else "")


def _would_be(one: Sensitivity, cases: Sequence[str]) -> tuple[str, bool]:
    """What one cell says of these cases, and whether another verdict stands in it."""
    verdicts = [one.at(case) for case in cases]
    if None in verdicts:
        return ("class not known" if cases is CLASS else "division not known"), False
    labels = ["same" if v is one.now else look.VERDICTS[v].label for v in verdicts if v is not None]
    other = labels != ["same"] * len(labels)
    if len(set(labels)) == 1:
        return labels[0], other
    return f"larger: {labels[0]}; smaller: {labels[1]}", other
