"""What came of agreed actions by the log: when the work is seen there, and what it did.

A date that somebody typed as done is a word; the log has to show the work. Only then is an action
done in time. What no kind of work can show, or no file says when it was agreed, cannot be told.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from siltbook.batch.audit.agreed_words import kinds_of
from siltbook.batch.audit.agreements import NO_DAY, Agreement
from siltbook.batch.audit.model import Taken
from siltbook.batch.ladder.replay import Gear, Standing, steps
from siltbook.batch.model import CLEARS, Reading, Work
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.review.agreed import Effect, around, effect_of
from siltbook.checks.gauges import NOISE
from siltbook.templates.book import Settings
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown

NEAR = 3  # [days] between a typed Done date and the work in the log that it means
BEFORE = 31  # [days] before the due date in which work may be the one agreed; reviews are monthly
NOT_DUE = "not due yet"
NOT_SEEN = "not seen in the log"
NOBODY = "(no name)"
_WORDS = {Taken.IN_TIME: "done in time", Taken.LATE: "done late", Taken.NOT_TAKEN: "not done"}
_Scanned = tuple[Reading | Work, Standing, Standing]
_PARTS = ("solenoid replaced", "controller replaced")


@dataclass(frozen=True)
class Outcome:
    """One agreed action with what came of it.

    `taken` is None where it is not due yet. `seen`: the day on which the log shows it done, None
    where it does not. `late` [days] after the due date, or since it where nothing shows it done.
    `shows` and `effect`: whether readings show that it did something, and which.
    """

    agreement: Agreement
    taken: Taken | None
    seen: dt.date | None
    said: str
    shows: Effect
    effect: str = ""
    late: int = 0

    @property
    def state(self) -> str:
        """What came of it in words."""
        if self.taken is None:
            return NOT_DUE
        return _WORDS.get(self.taken, str(self.taken))


@dataclass(frozen=True)
class PersonCount:
    """The actions agreed for one person, and what became of them; `open`: not due yet."""

    name: str
    taken: Counter[Taken | None]
    shown: int  # with an effect that readings show

    @property
    def agreed(self) -> int:
        """How many were agreed."""
        return self.taken.total()


def outcomes(assessment: Assessment, found: Sequence[Agreement]) -> tuple[Outcome, ...]:
    """What came of each agreement as of the audit's day, by the audited book's log."""
    as_of = assessment.as_of
    by_name = {name_key(r.station.name): r for r in assessment.stations}
    return tuple(
        _outcome(one, by_name.get(name_key(one.last.station)), assessment, as_of)
        for one in found
        if as_of is not None
    )


def by_person(found: Iterable[Outcome]) -> tuple[PersonCount, ...]:
    """Counts for each person, by name as names are compared, who left most undone first."""
    groups: dict[str, list[Outcome]] = {}
    names: dict[str, str] = {}
    for one in found:
        who = one.agreement.last.who or NOBODY
        names.setdefault(name_key(who), who)
        groups.setdefault(name_key(who), []).append(one)
    counts = [
        PersonCount(names[key], Counter(one.taken for one in own),
                    sum(one.shows is Effect.SHOWN for one in own))
        for key, own in groups.items()
    ]  # fmt: skip
    return tuple(sorted(counts, key=lambda c: (-c.taken[Taken.NOT_TAKEN], -c.taken[Taken.LATE],
                                               c.name)))  # fmt: skip


def _outcome(
    one: Agreement, result: StationResult | None, assessment: Assessment, as_of: dt.date
) -> Outcome:
    kinds, shown = kinds_of(one.last.action), assessment.book.settings.shown
    words = one.last.done if one.last.done is None or one.last.done <= as_of else None
    if result is None or not kinds:
        why = "the log has no kind of work for it" if result else "not of one station of the book"
        return _by_word(one, words, as_of, why, shown)
    works = [_work_of(one, result, kind, words) for kind in kinds]
    lacking = [kind for kind, work in zip(kinds, works, strict=True) if work is None]
    if lacking:
        if words is None and (maybe := _before_agreed(one, result, lacking, shown)):
            said = f"{maybe}; whether it was agreed before that, no file says"
            return Outcome(one, _no_day(one, as_of), None, said, Effect.NOT_SHOWN)
        return _by_word(one, words, as_of, f"{' and '.join(lacking)} {NOT_SEEN}", shown)
    done = max((w for w in works if w is not None), key=lambda w: (w.date, w.row))
    taken, late = _in_time(one.first_due, done.date)
    shows, effect = _effect(result, done, assessment)
    return Outcome(one, taken, done.date, _told(one, done, assessment), shows, effect, late)


def _no_day(one: Agreement, as_of: dt.date) -> Taken | None:
    """What to say of an action that may be done: cannot be told, once it is due."""
    due = one.first_due
    return None if due is not None and due >= as_of else Taken.CANNOT


def _by_word(
    one: Agreement, words: dt.date | None, as_of: dt.date, why: str, shown: Shown
) -> Outcome:
    """An action that the log does not show: late or not done by its own dates, never in time."""
    due = one.first_due
    if words is not None:
        said = f"done {shown.day(words)} by its Done date; {why}"
        late = 0 if due is None else max(0, (words - due).days)
        taken = Taken.LATE if late else Taken.CANNOT
        return Outcome(one, taken, None, said, Effect.NOT_SHOWN, late=late)
    if due is None:
        return Outcome(one, Taken.CANNOT, None, f"agreed for {NO_DAY}; {why}", Effect.NOT_SHOWN)
    if due >= as_of:
        return Outcome(one, None, None, why, Effect.NOT_SHOWN)
    late = (as_of - due).days
    said = f"no Done date; {why}"
    return Outcome(one, Taken.NOT_TAKEN, None, said, Effect.NOT_SHOWN, late=late)


def _work_of(
    one: Agreement, result: StationResult, kind: str, words: dt.date | None
) -> Work | None:
    """The row of Work done that an agreed piece of work is; None where the log shows none."""
    works = [w for w in result.history.work if w.work == kind]
    if words is not None:
        near = [w for w in works if abs((w.date - words).days) <= NEAR]
        return min(near, key=lambda w: (abs((w.date - words).days), w.date), default=None)
    since = _surely_since(one)
    return next((w for w in works if since is not None and w.date >= since), None)


def _surely_since(one: Agreement) -> dt.date | None:
    """The first day of which it is sure that the action was agreed before.

    That is the day after the last one that the first file with it knows, or the due date.
    """
    known = None if one.known_by is None else one.known_by + dt.timedelta(days=1)
    return min((day for day in (known, one.first_due) if day is not None), default=None)


def _before_agreed(
    one: Agreement, result: StationResult, kinds: Sequence[str], shown: Shown
) -> str:
    """Work of these kinds in the log that may have been done before it was agreed; '' for none."""
    since, due = _surely_since(one), one.first_due
    if since is None:
        return ""
    first = (due or since) - dt.timedelta(days=BEFORE)
    works = [w for w in result.history.work if w.work in kinds and first <= w.date < since]
    return f"{works[-1].work} on {shown.day(works[-1].date)} is in the log" if works else ""


def _in_time(due: dt.date | None, done: dt.date) -> tuple[Taken, int]:
    if due is None:
        return Taken.CANNOT, 0
    late = (done - due).days
    return (Taken.LATE, late) if late > 0 else (Taken.IN_TIME, 0)


def _told(one: Agreement, done: Work, assessment: Assessment) -> str:
    """The work in the log that it was, and by whom; what the dates typed say otherwise."""
    table, day = assessment.book.work, assessment.book.settings.shown.day
    by = table.frame.at[done.row, "done_by"]
    said = f"{done.work} on {day(done.date)} ({table.sheet}!{table.cell('work', done.row)}"
    said += f", by {' '.join(by.split())})" if isinstance(by, str) else ")"
    words, due = one.last.done, one.last.due
    if words is not None and words != done.date:
        said += f"; its Done date says {day(words)}"
    if due is None:
        said += f"; agreed for {NO_DAY}"
    elif one.first_due is not None and one.first_due < done.date <= due:
        said += f"; late by the day first agreed, {day(one.first_due)}, in time by the later one,"
        said += f" {day(due)}"
    return said


def _effect(result: StationResult, done: Work, assessment: Assessment) -> tuple[Effect, str]:
    settings = assessment.book.settings
    if done.work in _PARTS:
        return _gear(result, done, settings)
    if done.work not in CLEARS:
        return Effect.NOT_SHOWN, "a call changes no reading by itself"
    before, after, cleaned = around(result, done.date)
    shows, said = effect_of(before, after, cleaned, result.station.limit, settings.shown)
    if shows is Effect.SHOWN and before is not None and after is not None:
        return _at_same_flow(result, before, after, said)
    return shows, said


def _at_same_flow(
    result: StationResult, before: Reading, after: Reading, said: str
) -> tuple[Effect, str]:
    """Not shown where the drop fell only because less water flowed."""
    if before.drop is None or after.drop is None:
        return Effect.NOT_SHOWN, said
    then = corrected_drop(after.drop, after.flow, before.flow, result.history.exponent)
    if then < before.drop - NOISE:
        return Effect.SHOWN, said
    return Effect.NOT_SHOWN, f"{said}, but at less flow"


def _gear(result: StationResult, done: Work, settings: Settings) -> tuple[Effect, str]:
    """Whether the flush gear was in doubt before a new part, and flushed with its signs since."""
    scanned = list(
        steps(result.history, flush_cycles=settings.flush_cycles, flush_inlet=settings.flush_inlet)
    )
    at = next((n for n, (entry, _, _) in enumerate(scanned) if entry == done), None)
    if at is None or scanned[at][1].gear is Gear.TRUSTED:
        return Effect.NOT_SHOWN, "the flush gear was not in doubt before"
    before = scanned[at][1].gear
    for entry, gear in _flushes(scanned[at + 1 :]):
        flushed = f"flush on {settings.shown.day(entry.date)}"
        if gear is Gear.TRUSTED:
            return Effect.SHOWN, f"{before} before; {flushed} with its signs"
        if entry.missing_signs:
            return Effect.NONE, f"{flushed}: {', '.join(entry.missing_signs)}"
    return Effect.NOT_SHOWN, "no flush with its signs since"


def _flushes(scanned: Sequence[_Scanned]) -> Iterator[tuple[Work, Gear]]:
    for entry, _, after in scanned:
        if isinstance(entry, Work) and entry.work == "flush":
            yield entry, after.gear
