"""Steps that the ladder asked for: taken in time, late, not taken, or not to be told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from siltbook.batch.audit.model import Taken
from siltbook.batch.ladder.replay import Gear, Standing, Step
from siltbook.batch.model import CLEANINGS, CLEARS, Reading, Work
from siltbook.checks.gauges import NOISE
from siltbook.templates.shown import Shown

# Days from the entry that asks to the step; common practice, no published source.
FLUSH_WITHIN = READ_WITHIN = 1
CLEAN_WITHIN = GEAR_WITHIN = CALL_WITHIN = 3
AS_GOOD = 1.2  # divisions that two drops read on one gauge may differ: 2 sd of four readings
Entry = Reading | Work
Scan = Sequence[tuple[Entry, Standing, Standing]]
_Day = Callable[[dt.date], str]
PARTS = ("solenoid replaced", "controller replaced")


@dataclass(frozen=True)
class Asked:
    """One step: the rule, the entry that asked for it, what became of it, and who took it.

    `days` from the asking entry to the step, or up to the as-of date where it still waits.
    """

    code: str
    entry: Entry
    taken: Taken
    said: str
    by: Entry
    days: int


@dataclass(frozen=True)
class _Need:
    """What a step is: `done` says whether an entry is it, `words` what it is called."""

    code: str
    within: int
    words: str
    why: str
    done: Callable[[Entry], bool]


def asked_of(scan: Scan, as_of: dt.date, division: float | None, shown: Shown) -> Iterator[Asked]:
    """Every step that one station's scan asks for, in its order. `division` [m], if known.

    `shown` has the unit and the dates of what is said.
    """
    for place, (entry, before, after) in enumerate(scan):
        for need in _needs(entry, before, after, shown.drop):
            if (found := _answer(scan, place, need, as_of, division, shown.day)) is not None:
                yield found
        if before.step is not Step.CLEAR and after.step is Step.CLEAR:
            yield _recovery(scan, place, division, shown)


def _needs(
    entry: Entry, before: Standing, after: Standing, say: Callable[[float], str]
) -> Iterator[_Need]:
    drop = f"drop {say(entry.drop)}" if isinstance(entry, Reading) and entry.drop else ""
    if isinstance(entry, Reading) and after.opened is entry and before.opened is not entry:
        yield _Need("flush-in-a-day", FLUSH_WITHIN, "flush", f"{drop} over the limit", _is_flush)
    if isinstance(entry, Work):
        acted = entry.work == "flush" or entry.work in CLEANINGS
        if acted and before.step is not Step.CLEAR and not entry.missing_signs:
            yield _Need("read-after", READ_WITHIN, "reading", entry.work, _is_reading)
    if after.step is Step.NEEDS_CLEANING and before.step is not after.step:
        why = f"{drop} after a proven flush"
        yield _Need("cleaned-in-time", CLEAN_WITHIN, "hand cleaning", why, _is_cleaning)
    if after.gear is Gear.SOLENOID_SUSPECT and before.gear is not after.gear:
        why = "a flush without its signs"
        yield _Need("gear-in-time", GEAR_WITHIN, "work on the flush gear", why, _sees_to_gear)
    called = after.called is not None
    if called:
        return
    if after.step is Step.NEEDS_ESCALATION and before.step is not after.step:
        why = f"{drop} after hand cleaning"
        yield _Need("called-in-time", CALL_WITHIN, "call for help", why, _is_call)
    elif after.gear is Gear.CONTROLLER_SUSPECT and before.gear is not after.gear:
        why = "no signs after a new solenoid"
        yield _Need("called-in-time", CALL_WITHIN, "call for help", why, _is_call)


def _is_flush(entry: Entry) -> bool:
    return isinstance(entry, Work) and entry.work == "flush"


def _is_reading(entry: Entry) -> bool:
    return isinstance(entry, Reading) and entry.usable


def _is_cleaning(entry: Entry) -> bool:
    return isinstance(entry, Work) and entry.work in CLEANINGS


def _is_call(entry: Entry) -> bool:
    return isinstance(entry, Work) and entry.work == "called out"


def _sees_to_gear(entry: Entry) -> bool:
    if not isinstance(entry, Work):
        return False
    return entry.work in PARTS or (entry.work == "flush" and bool(entry.click and entry.water))


def _answer(
    scan: Scan, place: int, need: _Need, as_of: dt.date, division: float | None, day: _Day
) -> Asked | None:
    """What became of one step; None where it is not due yet, or the need went away in time."""
    asking = scan[place][0]
    ended: Reading | None = None
    for entry, before, after in scan[place + 1 :]:
        days = (entry.date - asking.date).days
        if need.done(entry):
            taken = Taken.IN_TIME if days <= need.within else Taken.LATE
            verb = "" if taken is Taken.IN_TIME else f", {days} days later"
            said = f"{need.why}, {need.words} on {day(entry.date)}{verb}"
            return Asked(need.code, asking, taken, said, entry, days)
        if need.code == "read-after" and isinstance(entry, Work) and entry.work != "other":
            on = day(entry.date)
            said = f"{need.why}, no reading before the next step ({entry.work}, {on})"
            return Asked(need.code, asking, Taken.NOT_TAKEN, said, asking, days)
        closed = before.step is not Step.CLEAR and after.step is Step.CLEAR
        if closed and need.code != "gear-in-time" and isinstance(entry, Reading):
            ended = entry
            break
    if ended is not None:
        return _ended(asking, ended, need, division, day)
    waits = (as_of - asking.date).days
    if waits <= need.within:
        return None
    said = f"{need.why}, no {need.words} since, for {waits} days"
    return Asked(need.code, asking, Taken.NOT_TAKEN, said, asking, waits)


def _ended(
    asking: Entry, ended: Reading, need: _Need, division: float | None, day: _Day
) -> Asked | None:
    """A need that ended with a reading in range before the step was taken."""
    days = (ended.date - asking.date).days
    if days <= need.within:
        if need.code != "flush-in-a-day" or _taken_back(asking, ended, division):
            return None
        said = f"{need.why}, in range again on {day(ended.date)} with no flush in the log"
        return Asked(need.code, asking, Taken.CANNOT, said, asking, days)
    said = f"{need.why}, no {need.words} until {day(ended.date)}, when it was in range again"
    return Asked(need.code, asking, Taken.NOT_TAKEN, said, asking, days)


def _taken_back(one: Entry, other: Reading, division: float | None) -> bool:
    """Whether a second routine reading differs by no more than the gauge's reading error."""
    if not isinstance(one, Reading) or one.drop is None or other.drop is None or not division:
        return False
    near = one.drop - other.drop <= AS_GOOD * division + NOISE
    return near and other.occasion == "routine"


def _recovery(scan: Scan, place: int, division: float | None, shown: Shown) -> Asked:
    """A return to range: something in the log since it opened, or that day, must explain it."""
    entry = scan[place][0]
    begin = place
    while begin > 0 and scan[begin - 1][1].step is not Step.CLEAR:
        begin -= 1
    own = [e for e, _, _ in scan[max(begin - 1, 0) :] if e.date <= entry.date]
    before = scan[0][1] if begin == 0 else Standing()  # an episode carried over from last season
    works = [e for e in (before.flushed, before.cleaned) if e is not None]
    works += [e for e in own if isinstance(e, Work)]
    last = next((e for e, _, _ in reversed(scan[:place]) if isinstance(e, Reading)), None)
    explained = next((w for w in works if w.work in CLEARS and not w.missing_signs), None)
    code = "recovery-shown"
    assert isinstance(entry, Reading)
    drop = f"in range again at {shown.drop(entry.drop or 0.0)}"
    if explained is not None:
        said = f"{drop} after {explained.work} on {shown.day(explained.date)}"
        return Asked(code, entry, Taken.IN_TIME, said, entry, 0)
    if last is not None and _taken_back(last, entry, division):
        said = f"{drop}, by no more than the gauge's reading error"
        return Asked(code, entry, Taken.IN_TIME, said, entry, 0)
    if works:
        said = f"{drop}; the log has '{works[0].work}', which does not say whether it explains it"
        return Asked(code, entry, Taken.CANNOT, said, entry, 0)
    said = f"{drop} with nothing in the log that explains it: recovery not shown"
    return Asked(code, entry, Taken.NOT_TAKEN, said, entry, 0)
