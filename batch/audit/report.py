"""What the audit says in words: one sentence per question, the terminal's lines, the JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from siltbook.batch.audit.agreed_sheet import agreed_json
from siltbook.batch.audit.model import Audit, Place, Power, Question, RuleResult, State, Taken
from siltbook.batch.audit.sensitivity import (
    AT_LIMITS,
    CASES,
    CLASS,
    READING,
    Sensitivity,
    limits_shown,
)
from siltbook.batch.audit.steps_by import STEPS, StepCount, by_person, by_station
from siltbook.batch.report.book import printable
from siltbook.batch.unjudged import judged_nowhere
from siltbook.checks.wording import rows_named
from siltbook.templates.shown import Shown

# Asked for by an option: said also where they are quiet.
ON_WITNESSES = ("witness-rows", "witness-rules", "witness-agreed", "nobody-there")
MOSTLY = 0.7  # of the planted cases; our own choice
NAMED = 5  # stations in the answer
MOST_PLACES = 200  # of one rule in the JSON document


def counted(results: list[RuleResult], state: State) -> int:
    """How many results are in this state."""
    return sum(r.state is state for r in results)


def answer(audit: Audit, question: Question) -> str:
    """The answer to one question in a sentence or two."""
    results = audit.of(question)
    if not results:
        return "The book holds no entry up to the as-of date; there is nothing to audit."
    if question is Question.TRUST:
        return f"{_trusted(results, audit.power)} {seeable(audit.power)}".rstrip()
    if question is Question.PROCEDURE:
        return _followed(results, judged_nowhere(audit.assessment))
    shown = audit.assessment.book.settings.shown
    return f"{_same(results)} {sensitive(audit.sensitivity, shown)}"


def _trusted(results: list[RuleResult], power: tuple[Power, ...]) -> str:
    looks, cannot = counted(results, State.LOOK), counted(results, State.CANNOT)
    own = next(r for r in results if r.rule.code == "book-findings")
    tail = f" {cannot} of {len(results)} rules cannot be asked of this book." if cannot else ""
    if not looks:
        if 2 * cannot > len(results):
            return f"It cannot be told.{tail} What could be asked found nothing."
        return f"Nothing that was asked speaks against the data, {_how_much(power)}.{tail}"
    rules = f"{looks} of {len(results)} rules found"
    said = f"Look first, then trust: {rules} something that has to be explained."
    if own.state is State.LOOK:
        said += f" The book's own findings: {own.said}"
    return f"{said}{tail}"


def _how_much(power: tuple[Power, ...]) -> str:
    """Whether finding nothing says much: only where each fault is found in most cases."""
    if power and all(one.found >= MOSTLY * one.of for one in power):
        return "and much would have been seen"
    return "but little could have been seen"


def seeable(power: tuple[Power, ...]) -> str:
    """In how many cases each planted fault is found, in one sentence."""
    if not power:
        return ""
    cases = ", ".join(f"{p.fault} in {p.found} of {p.of} cases" for p in power)
    return f"Planted in this book's own readings, the rules find {cases}."


def _followed(results: list[RuleResult], nowhere: Sequence[str] = ()) -> str:
    """Counts of the steps that the ladder asked for, the worst of them, and what was not kept.

    `nowhere`: what is judged nowhere, where steps may stand that nobody was asked for.
    """
    steps = [r for r in results if r.rule.code in STEPS]
    others = [r for r in results if r.rule.code not in STEPS]
    of = sum(r.of or 0 for r in steps)
    looks = [r for r in others if r.state is State.LOOK]
    told = [_besides(r) for r in others if r.state is State.LOOK or r.untold]
    if not of and not told:
        none = "No step of the procedure was called for"
        return " ".join([f"{none} by what was read.", *nowhere]) if nowhere else f"{none}."
    told += nowhere
    kept, late = sum(r.kept or 0 for r in steps), sum(r.late for r in steps)
    untold = sum(r.untold for r in steps)
    if kept == of and not told and of:
        return f"Yes: all {of:,} steps that the ladder asked for were taken in time, and recorded."
    missing = of - kept - late - untold
    opening = "Not in all: of" if missing or late or looks else "It cannot be told in full: of"
    said = f"{opening} {of:,} steps that the ladder asked for {kept:,} were taken in time, "
    said += f"{late:,} late, {missing:,} not, and {untold:,} cannot be told."
    if (worst := _worst(steps)) is not None:
        said += f" The longest: {worst.said}."
    return " ".join([said, *told])


def _worst(steps: list[RuleResult]) -> Place | None:
    """The step that was not taken for longest, else the latest one."""
    places = [p for r in steps for p in r.places if p.taken in (Taken.NOT_TAKEN, Taken.LATE)]
    return max(places, key=lambda p: (p.taken is Taken.NOT_TAKEN, p.days), default=None)


def _besides(result: RuleResult) -> str:
    """One rule that is not of the steps, where it was not kept."""
    if not result.of:
        return f"{result.rule.title}: {result.said.rstrip('.')}."
    return f"{result.rule.title}: {result.kept} of {result.of}."


def percent(share: float, decimals: int = 0) -> str:
    """A share as people read it: 0.98 -> '98 %'."""
    return f"{100 * share:.{decimals}f} %"


def _same(results: list[RuleResult]) -> str:
    by_code = {r.rule.code: r for r in results}
    numbers, formulas = by_code["same-numbers"], by_code["same-formulas"]
    if State.LOOK not in (numbers.state, formulas.state):
        if numbers.state is State.CANNOT:
            return numbers.said
        return "Yes: the result sheets in the book are what the book gives today."
    if numbers.state is not State.LOOK:
        return f"Not as it stands. {formulas.said[0].upper()}{formulas.said[1:].rstrip('.')}."
    causes, _, _ = numbers.said.partition(" The first: ")
    causes = causes if causes.endswith(".") else f"{causes}."
    return f"Not as it stands. {causes}"


def sensitive(rows: tuple[Sensitivity, ...], shown: Shown) -> str:
    """How many verdicts would change in each case, and which are borderline now."""
    if not rows:
        return ""
    at = ", ".join(
        f"{sum(case in row.changes for row in rows)} at {limit}"
        for case, limit in zip(AT_LIMITS, limits_shown(shown), strict=True)
    )
    said = f"Of {len(rows)} verdicts would change at another limit: {at}; "
    said += f"{_off(rows, CLASS, 'by its class')}; {_off(rows, READING, 'by its reading')}."
    near = [row.station for row in rows if row.borderline]
    if near:
        more = f" and {len(near) - NAMED} more" if len(near) > NAMED else ""
        said += f" Borderline now: {', '.join(near[:NAMED])}{more}."
    return said


def _off(rows: tuple[Sensitivity, ...], cases: tuple[str, ...], words: str) -> str:
    """How many verdicts would change if every gauge were off, either way."""
    known = sum(row.at(cases[0]) is not None for row in rows)
    if not known:
        return f"if every gauge were off {words}, it cannot be told"
    unknown = f" ({len(rows) - known} cannot be told)" if known < len(rows) else ""
    changed = sum(bool(set(cases) & set(row.changes)) for row in rows)
    return f"{changed}{unknown} if every gauge were off {words}"


def lines(audit: Audit, path: str) -> list[str]:
    """The terminal's lines: the three answers and what to look at."""
    farm, shown = audit.assessment.book.settings.farm, audit.assessment.book.settings.shown
    on = shown.as_of(audit.assessment.as_of, "no entries")
    said = [f"{path}{f' · {farm}' if farm else ''} · as of {on}"]
    for question in Question:
        said.append(f"  {question} {answer(audit, question)}")
        for result in audit.of(question):
            if result.state is State.LOOK:
                said.append(f"    ? {result.rule.title}: {result.said}")
                said.append(f"      May be innocent: {result.rule.innocent}")
            elif result.rule.code in ON_WITNESSES:
                said.append(f"    {result.rule.title}: {result.said}")
    said += [f"  {line}" for line in _origins(audit)]
    return [printable(line) for line in said]


def _origins(audit: Audit) -> Iterator[str]:
    """Which rows came from whom, where copies were merged into the book."""
    groups: dict[tuple[str, str, str, str], list[int]] = {}
    for one in audit.origins:
        groups.setdefault((one.file, one.by, one.sheet, one.what), []).append(one.row)
    for (file, by, sheet, what), numbers in groups.items():
        who = f" ({by})" if by else ""
        rows = rows_named(sorted(filter(None, numbers)))
        yield f"From {file}{who}: {sheet} {rows}: {what}"


def audit_json(audit: Audit, path: str, output: str | None) -> dict[str, Any]:
    """One book of the `--json` document."""
    on = audit.assessment.as_of
    return {
        "path": path,
        "farm": audit.assessment.book.settings.farm,
        "as_of": None if on is None else on.isoformat(),
        "looks": audit.looks,
        "questions": [
            {
                "question": str(question),
                "answer": answer(audit, question),
                "rules": [_rule_json(result) for result in audit.of(question)],
            }
            for question in Question
        ],
        "power": [{"fault": p.fault, "found": p.found, "of": p.of} for p in audit.power],
        "steps": {
            "stations": [_steps_json(count) for count in by_station(audit.results)],
            "people": [_steps_json(count) for count in by_person(audit.results)],
        },
        "agreed": agreed_json(audit.agreed),
        "sensitivity": [_sensitivity_json(row) for row in audit.sensitivity],
        "merged": [
            {"sheet": o.sheet, "row": o.row, "what": o.what, "from": o.file, "by": o.by}
            for o in audit.origins
        ],
        "output": output,
    }


def _steps_json(count: StepCount) -> dict[str, Any]:
    taken = {str(taken).replace(" ", "_"): count.taken[taken] for taken in Taken}
    return {"name": count.name, "asked": count.asked, **taken}


def _rule_json(result: RuleResult) -> dict[str, Any]:
    return {
        "rule": result.rule.code,
        "title": result.rule.title,
        "state": str(result.state),
        "said": result.said,
        "p": result.p,
        "kept": result.kept,
        "of": result.of,
        "late": result.late,
        "not_taken": result.missing if result.of else 0,
        "cannot_be_told": result.untold,
        "needs": result.rule.needs,
        "innocent": result.rule.innocent,
        "places": [_place_json(place) for place in result.places[:MOST_PLACES]],
        "places_left_out": max(0, len(result.places) - MOST_PLACES),
    }


def _place_json(place: Place) -> dict[str, Any]:
    return {
        "sheet": place.sheet,
        "cell": place.cell,
        "station": place.station,
        "said": place.said,
        "p": place.p,
        "to_look_at": not place.holds,
        "taken": None if place.taken is None else str(place.taken),
        "person": place.person,
        "days": place.days,
    }


def _sensitivity_json(row: Sensitivity) -> dict[str, Any]:
    then = {c: None if v is None else str(v) for c, v in zip(CASES, row.then, strict=True)}
    return {
        "station": row.station, "now": str(row.now), "borderline": row.borderline, **then
    }  # fmt: skip
