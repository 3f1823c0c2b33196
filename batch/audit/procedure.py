"""The second question: was the procedure followed? Every step against the ladder's own states."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from siltbook.batch.audit.model import Place, Question, RuleResult, State
from siltbook.batch.audit.rules import RULES
from siltbook.batch.ladder.replay import Gear, Standing, Step, missing_cycles, steps
from siltbook.batch.model import CLEANINGS, History, Reading, Work
from siltbook.templates.book import Book, Settings

DAY = dt.timedelta(days=1)
CALL = "called-after-cleaning"
CALLS_STAND = "A call for help is never held against anyone, also one made before opening."
CODES = tuple(code for code, rule in RULES.items() if rule.question is Question.PROCEDURE)


@dataclass(frozen=True)
class Checked:
    """One rule on one step: kept or not, and where it stands."""

    code: str
    station: str
    entry: Reading | Work
    kept: bool
    said: str
    column: str


def procedure(book: Book, histories: Sequence[History], as_of: dt.date | None) -> list[RuleResult]:
    """Every rule on the procedure, with the share kept and the rows; not applicable left out."""
    if as_of is None or not any(history.entries for history in histories):
        return []
    found = [c for h in histories for c in _station(h, book.settings, as_of)]
    return [_result(book, code, [c for c in found if c.code == code]) for code in CODES]


def _result(book: Book, code: str, found: list[Checked]) -> RuleResult:
    rule = RULES[code]
    if not found:
        return RuleResult(rule, State.CANNOT, "Nothing in this book calls for it.", None, 0, 0)
    places = tuple(_place(book, one) for one in sorted(found, key=lambda one: one.kept))
    kept = sum(one.kept for one in found)
    said = "Kept every time." if kept == len(found) else f"First not kept: {places[0].said}"
    said = CALLS_STAND if code == CALL else said
    state = State.QUIET if kept == len(found) else State.LOOK
    return RuleResult(rule, state, said, None, kept, len(found), places)


def _place(book: Book, one: Checked) -> Place:
    table = book.readings if isinstance(one.entry, Reading) else book.work
    said = f"{one.station}, {one.entry.date}: {one.said}"
    cell = table.cell(one.column, one.entry.row)
    return Place(table.sheet, cell, said, one.station, holds=one.kept)


@dataclass(frozen=True)
class _Context:
    """One station's history as the rules look at it."""

    name: str
    entries: tuple[Reading | Work, ...]
    settings: Settings
    as_of: dt.date

    def after(self, place: int) -> tuple[Reading | Work, ...]:
        """The entries behind this place, up to the next day."""
        day = self.entries[place].date
        rest = self.entries[place + 1 :]
        end = next((i for i, e in enumerate(rest) if e.date > day + DAY), len(rest))
        return rest[:end]


def _station(history: History, settings: Settings, as_of: dt.date) -> Iterator[Checked]:
    context = _Context(history.station.name, history.entries, settings, as_of)
    scanned = steps(history, flush_cycles=settings.flush_cycles, flush_inlet=settings.flush_inlet)
    for place, (entry, before, after) in enumerate(scanned):
        if isinstance(entry, Reading):
            if after.opened is entry and before.opened is not entry:
                yield from _opened(context, place, entry)
            continue
        if entry.work in CLEANINGS:
            yield from _opening(context, place, entry, before)
        if before.step is Step.CLEAR:
            continue
        if entry.work == "flush":
            yield from _flush(context, entry)
        if entry.work == "flush" or entry.work in CLEANINGS:
            yield from _read_after(context, place, entry)
        if entry.work == "called out":
            yield _called(context, entry, before)


def _opened(context: _Context, place: int, entry: Reading) -> Iterator[Checked]:
    following = context.after(place)
    flushed = next((e for e in following if isinstance(e, Work) and e.work == "flush"), None)
    settled = next((e for e in following if isinstance(e, Reading) and e.usable), None)
    drop = 0.0 if entry.drop is None else entry.drop
    if flushed is not None:
        said = f"drop {drop:.2f} m, flushed on {flushed.date}"
        yield Checked("flush-in-a-day", context.name, entry, True, said, "inlet")
    elif context.as_of - entry.date >= DAY * 2 and not _in_range_again(settled, drop):
        said = f"drop {drop:.2f} m over the limit, no flush on that day or the next"
        yield Checked("flush-in-a-day", context.name, entry, False, said, "inlet")


def _in_range_again(reading: Reading | None, drop: float) -> bool:
    """Whether a second reading within a day took the first one back."""
    return reading is not None and reading.drop is not None and reading.drop < drop


def _flush(context: _Context, work: Work) -> Iterator[Checked]:
    asked, name = context.settings.flush_cycles, context.name
    lacking = missing_cycles(work, asked)
    kept = work.cycles is not None and lacking == 0
    run = "not recorded" if work.cycles is None else f"{work.cycles:g} of {asked}"
    yield Checked("all-cycles", name, work, kept, f"cycles {run}", "cycles")
    least = context.settings.flush_inlet
    held = work.flush_inlet is not None and work.flush_inlet >= least - 1e-6
    low = "not recorded" if work.flush_inlet is None else f"{work.flush_inlet:.2f} m"
    said = f"lowest inlet {low} (at least {least:.2f} m)"
    yield Checked("inlet-held", name, work, held, said, "flush_inlet")
    blank = [w for w, v in (("click", work.click), ("water", work.water)) if v is None]
    said = f"{' and '.join(blank)} not recorded" if blank else "click and water answered"
    yield Checked("signs-recorded", name, work, not blank, said, blank[0] if blank else "click")


def _read_after(context: _Context, place: int, work: Work) -> Iterator[Checked]:
    if work.missing_signs:
        return  # nothing was flushed; the gear is seen to first
    following = context.after(place)
    read = next((e for e in following if isinstance(e, Reading) and e.usable), None)
    again = next((e for e in following if isinstance(e, Work) and e.work != "other"), None)
    if again is not None and read is not None and following.index(again) < following.index(read):
        read = None
    if read is None and context.as_of - work.date < DAY * 2:
        return
    said = f"{work.work}, read again on {read.date}" if read else f"{work.work}, no reading after"
    yield Checked("read-after", context.name, work, read is not None, said, "work")


def _opening(context: _Context, place: int, work: Work, before: Standing) -> Iterator[Checked]:
    name = context.name
    if before.step is not Step.CLEAR:
        proven = before.step in (
            Step.NEEDS_CLEANING, Step.AWAITS_CLEANING_READING, Step.NEEDS_ESCALATION,
        )  # fmt: skip
        where = "a proven flush and a reading over" if proven else f"the station '{before.step}'"
        said = f"{work.work} after {where}"
        yield Checked("cleaned-after-flush", name, work, proven, said, "work")
    zero = {True: "yes", False: "no", None: "not recorded"}[work.gauge_zero]
    said = f"{work.work}, gauge at zero: {zero}"
    yield Checked("zero-before-opening", name, work, work.gauge_zero is True, said, "gauge_zero")
    earlier = (e for e in context.entries[:place] if isinstance(e, Reading))
    seen = any(e.date == work.date and (e.inlet or 0.0) > 0 for e in earlier)
    said = f"{work.work}, {'a' if seen else 'no'} reading above zero earlier that day"
    yield Checked("above-zero-before", name, work, seen, said, "gauge_zero")


def _called(context: _Context, work: Work, before: Standing) -> Checked:
    """A call for help; in order whenever it was made, also before anything was opened."""
    due = before.step is Step.NEEDS_ESCALATION or before.gear is Gear.CONTROLLER_SUSPECT
    where = "cleaning and a reading over" if due else f"'{before.step}', before cleaning was tried"
    said = f"called out after {where}" if due else f"called out at {where}: in order, as any call"
    return Checked(CALL, context.name, work, True, said, "work")
