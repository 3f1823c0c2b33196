"""The second question: was the procedure followed? Every step against the ladder's own states."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from siltbook.batch.audit.model import AuditRule, Place, Question, RuleResult, State, Taken
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.steps_taken import asked_of
from siltbook.batch.ladder.replay import Gear, Standing, Step, missing_cycles, steps
from siltbook.batch.model import CLEANINGS, History, Reading, Work
from siltbook.templates.book import Book, Settings

CALL = "called-after-cleaning"
CALLS_STAND = "A call for help is never held against anyone, also one made before opening."
# Not of one station's steps.
OF_THE_BOOK = ("agreed-done", "rules-of-book", "witness-rules", "witness-agreed")
CODES = tuple(
    code
    for code, rule in RULES.items()
    if rule.question is Question.PROCEDURE and code not in OF_THE_BOOK
)
_WORST = {Taken.NOT_TAKEN: 0, Taken.LATE: 1, Taken.CANNOT: 2, Taken.IN_TIME: 3}


@dataclass(frozen=True)
class Checked:
    """One rule on one step: what became of it, and where it stands; `by`: the entry that did it."""

    code: str
    station: str
    entry: Reading | Work
    taken: Taken
    said: str
    column: str
    by: Reading | Work
    days: int = 0


def _kept(
    code: str, name: str, entry: Reading | Work, kept: bool, said: str, column: str
) -> Checked:
    """A rule that is kept or not, on the entry itself."""
    taken = Taken.IN_TIME if kept else Taken.NOT_TAKEN
    return Checked(code, name, entry, taken, said, column, entry)


def procedure(book: Book, histories: Sequence[History], as_of: dt.date | None) -> list[RuleResult]:
    """Every rule on the procedure, with what was kept and the rows; not applicable left out."""
    if as_of is None or not any(history.entries for history in histories):
        return []
    found = [c for h in histories for c in _station(h, book.settings, as_of)]
    people = _people(book)
    return [_result(book, code, [c for c in found if c.code == code], people) for code in CODES]


_People = dict[tuple[bool, int], str]


def _people(book: Book) -> _People:
    """Whether a reading, and row -> who wrote it."""
    found: _People = {}
    for reading, table, key in ((True, book.readings, "read_by"), (False, book.work, "done_by")):
        for row, name in zip(table.frame.index, table.frame[key], strict=True):
            if isinstance(name, str):
                found[reading, int(row)] = " ".join(name.split())
    return found


def _result(book: Book, code: str, found: list[Checked], people: _People) -> RuleResult:
    if not found:
        said = "Nothing in this book calls for it."
        return RuleResult(RULES[code], State.CANNOT, said, None, 0, 0)
    order = sorted(found, key=lambda one: (_WORST[one.taken], -one.days))
    result = counted(RULES[code], [_place(book, one, people) for one in order])
    return replace(result, said=CALLS_STAND) if code == CALL else result


def counted(rule: AuditRule, places: Sequence[Place]) -> RuleResult:
    """A rule's result from what became of each of its steps, the worst first."""
    many = Counter(place.taken for place in places)
    kept, late, untold = (many[t] for t in (Taken.IN_TIME, Taken.LATE, Taken.CANNOT))
    bad = len(places) - kept - untold
    state = State.LOOK if bad else State.CANNOT if untold else State.QUIET
    said = f"Worst: {places[0].said}" if bad else f"Cannot be told: {places[0].said}"
    said = "Kept every time." if kept == len(places) else said
    return RuleResult(rule, state, said, None, kept, len(places), tuple(places), late, untold)


def _place(book: Book, one: Checked, people: _People) -> Place:
    table = book.readings if isinstance(one.entry, Reading) else book.work
    said = f"{one.station}, {book.settings.shown.day(one.entry.date)}: {one.said}"
    cell = table.cell(one.column, one.entry.row)
    person = people.get((isinstance(one.by, Reading), one.by.row), "")
    holds = one.taken is Taken.IN_TIME
    return Place(table.sheet, cell, said, one.station, None, holds, one.taken, person, one.days)


@dataclass(frozen=True)
class _Context:
    """One station's history as the rules look at it."""

    name: str
    entries: tuple[Reading | Work, ...]
    settings: Settings


def _station(history: History, settings: Settings, as_of: dt.date) -> Iterator[Checked]:
    context = _Context(history.station.name, history.entries, settings)
    scanned = tuple(
        steps(history, flush_cycles=settings.flush_cycles, flush_inlet=settings.flush_inlet)
    )
    for asked in asked_of(scanned, as_of, history.station.division, settings.shown):
        column = "inlet" if isinstance(asked.entry, Reading) else "work"
        yield Checked(asked.code, context.name, asked.entry, asked.taken, asked.said, column,
                      asked.by, asked.days)  # fmt: skip
    for place, (entry, before, _) in enumerate(scanned):
        if isinstance(entry, Reading):
            continue
        if entry.work in CLEANINGS:
            yield from _opening(context, place, entry, before)
        if before.step is Step.CLEAR:
            continue
        if entry.work == "flush":
            yield from _flush(context, entry)
        if entry.work == "called out":
            yield _called(context, entry, before)


def _flush(context: _Context, work: Work) -> Iterator[Checked]:
    asked, name = context.settings.flush_cycles, context.name
    lacking = missing_cycles(work, asked)
    kept = work.cycles is not None and lacking == 0
    run = "not recorded" if work.cycles is None else f"{work.cycles:g} of {asked}"
    yield _kept("all-cycles", name, work, kept, f"cycles {run}", "cycles")
    least = context.settings.flush_inlet
    held = work.flush_inlet is not None and work.flush_inlet >= least - 1e-6
    shown = context.settings.shown
    lowest, at_least = shown.under(work.flush_inlet or 0.0, least)
    if work.flush_inlet is None or held:
        lowest = "not recorded" if work.flush_inlet is None else shown.level(work.flush_inlet)
        at_least = shown.at_least(least)
    said = f"lowest inlet {lowest} (at least {at_least})"
    yield _kept("inlet-held", name, work, held, said, "flush_inlet")
    blank = [w for w, v in (("click", work.click), ("water", work.water)) if v is None]
    said = f"{' and '.join(blank)} not recorded" if blank else "click and water answered"
    yield _kept("signs-recorded", name, work, not blank, said, blank[0] if blank else "click")


def _opening(context: _Context, place: int, work: Work, before: Standing) -> Iterator[Checked]:
    name = context.name
    if before.step is not Step.CLEAR:
        proven = before.step in (
            Step.NEEDS_CLEANING, Step.AWAITS_CLEANING_READING, Step.NEEDS_ESCALATION,
        )  # fmt: skip
        where = "a proven flush and a reading over" if proven else f"the station '{before.step}'"
        said = f"{work.work} after {where}"
        yield _kept("cleaned-after-flush", name, work, proven, said, "work")
    zero = {True: "yes", False: "no", None: "not recorded"}[work.gauge_zero]
    said = f"{work.work}, gauge at zero: {zero}"
    yield _kept("zero-before-opening", name, work, work.gauge_zero is True, said, "gauge_zero")
    earlier = (e for e in context.entries[:place] if isinstance(e, Reading))
    seen = any(e.date == work.date and (e.inlet or 0.0) > 0 for e in earlier)
    said = f"{work.work}, {'a' if seen else 'no'} reading above zero earlier that day"
    yield _kept("above-zero-before", name, work, seen, said, "gauge_zero")


def _called(context: _Context, work: Work, before: Standing) -> Checked:
    """A call for help; in order whenever it was made, also before anything was opened."""
    due = before.step is Step.NEEDS_ESCALATION or before.gear is Gear.CONTROLLER_SUSPECT
    where = "cleaning and a reading over" if due else f"'{before.step}', before cleaning was tried"
    said = f"called out after {where}" if due else f"called out at {where}: in order, as any call"
    return _kept(CALL, context.name, work, True, said, "work")
