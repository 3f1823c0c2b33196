"""What keeps a drop in range from reassuring: how it came there, and what the gauge does.

Each is a condition on a history, and the words that say it. The numbers are choices of this
program.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, partial
from itertools import pairwise, takewhile

from siltbook.batch.ladder.facts import Facts, inlet_weak, outlet_zero
from siltbook.batch.model import CLEANINGS, CLEARS, History, Reading, Verdict, Work, is_over
from siltbook.batch.numbers.readings import ALIKE, latest_alike, usual_flow
from siltbook.batch.numbers.runs import fall_between
from siltbook.checks.gauges import NOISE
from siltbook.checks.register import MOST_LIMIT
from siltbook.templates.book import USUAL_LIMIT, Settings
from siltbook.templates.shown import Shown

STILL = 6  # latest readings at which an outlet that stands still is questioned
MOVED = 2.0  # steps of the scale by which the inlet must have risen, and fallen, meanwhile
ALIKE_COARSE = 5  # readings alike on end, in place of ALIKE where a clean drop may read so
LITTLE, COARSE = 0.5, 0.6  # [m] clean drop where none is registered; step that is still fine
SAME = 5  # latest readings, each of another day, from which identical ones are said
AFTER_WORK = 4  # latest readings, all right after a flush or a cleaning, from which it is said
USUAL_SHARE = Settings().watch_share
OTHER_FLOW = 2.0  # times over or under the reference flow
TWICE = 3  # days on which both over and in range was read, from which it is said
TOGETHER = 30  # [days] within which these lie
OLD = 14  # [days] from which a reading's age is said beside its date


@dataclass(frozen=True)
class Still:
    """An outlet that stands still: its pressure [m], since when, and in how many readings."""

    pressure: float
    since: dt.date
    readings: int


def outlet_still(history: History) -> Still | None:
    """The outlet of the latest STILL or more readings where the inlet rose and fell behind it.

    Only what the inlet did with no work on the element between two readings counts. None where
    the outlet moves as well: the water behind a filter follows that before it.
    """
    last: Reading | None = None
    least = cache(partial(_least_step, history))  # of all readings: not once for each
    count, rose, fell = 0, False, False
    for after, before, worked in _pairs_back(history):
        if not after.outlet or abs((before.outlet or 0.0) - after.outlet) > NOISE:
            break
        last, count = before, count + 1
        step = history.station.on(after.date).division or least()
        change = (after.inlet or 0.0) - (before.inlet or 0.0)
        if step and not worked:
            rose |= change >= MOVED * step - NOISE
            fell |= -change >= MOVED * step - NOISE
    if last is None or not last.outlet or not (rose and fell and count + 1 >= STILL):
        return None
    return Still(last.outlet, last.date, count + 1)


@dataclass(frozen=True)
class Alike:
    """Inlet and outlet that read alike on end: since when, and in how many readings."""

    since: dt.date
    readings: int


def alike_on_end(history: History) -> Alike | None:
    """Both sides alike in so many latest readings, each of another day, that no filter explains it.

    How many depends on the scale: a drop under a step of it reads as none now and then. None on a
    scale so coarse that a clean filter may always read so.
    """
    found = latest_alike(history)
    if len(found) < ALIKE:
        return None
    station = history.station
    step = station.on(found[0].date).division or _least_step(history)
    clean = station.clean_drop or LITTLE
    if not step:
        return None
    needed = ALIKE if step <= clean / 2 else ALIKE_COARSE
    if step > max(clean, COARSE) or len({r.date for r in found}) < needed:
        return None
    return Alike(found[-1].date, len(found))


def over_and_in_range(history: History) -> int:
    """On how many days one station was read over its limit and then in range, with no work logged
    between; 0 below TWICE days in TOGETHER, or where the latest is none of them.

    A reading that is said to be taken after work is none of these.
    """
    latest, over, days = history.latest, None, set[dt.date]()
    if latest is None or not _over_on(latest.date, history):  # as a rule: one day is looked at
        return 0
    for entry in history.entries:
        if isinstance(entry, Work):
            over = None
        elif entry.usable and entry.drop is not None:
            if is_over(entry.drop, history.station.limit):
                over = entry.date
            elif over == entry.date and entry.occasion == "routine":
                days.add(entry.date)
    if latest.date not in days:
        return 0
    near = [day for day in days if (latest.date - day).days <= TOGETHER]
    return len(near) if len(near) >= TWICE else 0


def _over_on(day: dt.date, history: History) -> bool:
    """Whether the station was read over its limit on a day, up to which the entries are asked."""
    till = takewhile(lambda entry: entry.date >= day, reversed(history.entries))
    read = (e for e in till if isinstance(e, Reading) and e.usable and e.date == day)
    return any(is_over(reading.drop or 0.0, history.station.limit) for reading in read)


def over_and_in_range_words(days: int) -> str:
    """The same as a clause; `days` [days] of which it is so."""
    return (
        f"on {days} days it read over the limit and then in range with no work logged between:"
        " a flush that nobody logged, or two filters under one name"
    )


def alike_words(alike: Alike, shown: Shown) -> str:
    """What readings alike on end say, as a clause."""
    return (
        f"inlet and outlet have read alike {alike.readings} times on end, since"
        f" {shown.day(alike.since)}: a shut valve, an unturned selector or standing water look so"
    )


def _pairs_back(history: History) -> Iterator[tuple[Reading, Reading, bool]]:
    """Readings with both pressures, the later and the one before it, from the latest back, and
    whether work on the element lies between."""
    after: Reading | None = None
    worked = False
    for entry in reversed(history.entries):
        if isinstance(entry, Work):
            worked |= entry.work in CLEARS
        elif entry.usable and entry.inlet is not None and entry.outlet is not None:
            if after is not None:
                yield after, entry, worked
            after, worked = entry, False


def _least_step(history: History) -> float:
    """The smallest step [m] between two inlets of the station: what its people read to."""
    inlets = sorted({round(r.inlet, 6) for r in history.readings if r.inlet})
    return min((b - a for a, b in pairwise(inlets)), default=0.0)


def still_words(still: Still, shown: Shown) -> str:
    """What an outlet that stands still did, and what looks so, as a clause.

    Behind a pump that is governed by the pressure there it stands still for good.
    """
    return (
        f"the outlet has read {shown.level(still.pressure)} {still.readings} times on end, since"
        f" {shown.day(still.since)}, while the inlet rose and fell: a stuck gauge looks so, or the"
        " pump holds this pressure"
    )


def zero_outlet(facts: Facts) -> str:
    """A sentence where the drop stands on an outlet that reads zero."""
    if not outlet_zero(facts):
        return ""
    return " The outlet reads zero: a dead gauge or a shut valve looks the same."


def still_outlet(facts: Facts) -> str:
    """A sentence where the drop is over the limit on an outlet that does not move."""
    still = outlet_still(facts.history) if facts.over else None
    if still is None:
        return ""
    said = still_words(still, facts.shown)
    return f" {said[0].upper()}{said[1:]}; try the gauge first."


def beside_in_range(verdict: Verdict, facts: Facts) -> str:
    """Sentences that a drop in range must not go without, each with a space in front."""
    if verdict not in (Verdict.IN_RANGE, Verdict.WATCH) or facts.over or facts.latest is None:
        return ""
    said = (
        _near_all_the_same, _over_usual, _other_flow, _age, _opened, _fell, _was_over, _same,
        _weak,
    )  # fmt: skip
    return "".join(say(facts, facts.latest) for say in (*said, _only_after_work))


def _near_all_the_same(facts: Facts, _: Reading) -> str:
    """Near the limit, and only by a watch share that somebody raised not watched."""
    share = facts.drop / facts.history.station.limit
    if not USUAL_SHARE - NOISE <= share < facts.settings.watch_share - NOISE:
        return ""
    return f" That is {100.0 * share:.0f} % of the limit."


def _other_flow(facts: Facts, _: Reading) -> str:
    """A reference flow that the station never comes near: nothing taken to it can be believed."""
    known, usual = facts.history.station.reference_flow, usual_flow(facts.history.readings)
    if not known or not usual or 1 / OTHER_FLOW <= usual / known <= OTHER_FLOW:
        return ""
    say = facts.shown.flow
    return (
        f" The usual flow is {say(usual)} and the reference flow {say(known)}: no forecast can be"
        " trusted before one of them is corrected."
    )


def _weak(facts: Facts, latest: Reading) -> str:
    """An inlet at which no flush works, and nobody said that the station works at it."""
    if not inlet_weak(facts) or latest.inlet is None:
        return ""
    say = facts.shown.level
    return (
        f" The inlet was {say(latest.inlet)}, under half of the {say(facts.settings.flush_inlet)}"
        " that a flush needs: look whether its unit is right, or fill in the lowest working inlet."
    )


def _over_usual(facts: Facts, _: Reading) -> str:
    """In range by a limit of its own alone; of one far too high another sentence speaks."""
    limit = facts.history.station.limit
    if limit > MOST_LIMIT or not is_over(facts.drop, USUAL_LIMIT):
        return ""
    return (
        f" A filter usually counts as clogged at {facts.shown.limit(USUAL_LIMIT)}:"
        " in range by this higher limit only."
    )


def _age(facts: Facts, _: Reading) -> str:
    days = facts.days_since
    return f" That was {days} days ago." if days is not None and days > OLD else ""


def _opened(facts: Facts, latest: Reading) -> str:
    """That the filter was opened, or help called, and nobody has read since."""
    latest_first = takewhile(lambda entry: entry is not latest, reversed(facts.history.entries))
    work = (entry for entry in latest_first if isinstance(entry, Work))
    done = next((w for w in work if w.work in (*CLEANINGS, "called out")), None)
    if done is None:
        return ""
    what = "Help was called" if done.work == "called out" else done.work.capitalize()
    return f" {what} on {facts.on(done)}, and no usable reading since."


def _fell(facts: Facts, latest: Reading) -> str:
    """That the drop fell to where it is with no work logged."""
    before = next(
        (r for r in reversed(facts.history.readings) if r.usable and r is not latest), None
    )
    if before is None or any(before.date <= w.date <= latest.date for w in facts.history.work):
        return ""
    station = facts.history.station
    if fall_between(before, latest, station.reference_flow, facts.history.exponent) is None:
        return ""
    was = f"{facts.shown.drop(before.drop or 0.0)} on {facts.on(before)}"
    return f" It was {was}; no work is logged since."


def _was_over(facts: Facts, latest: Reading) -> str:
    """That the drop came back from over the limit some readings ago, and nobody knows why."""
    latest_first = (e for e in reversed(facts.history.entries) if isinstance(e, Work) or e.usable)
    unworked = takewhile(lambda e: not isinstance(e, Work) or e.work not in CLEARS, latest_first)
    readings = [e for e in unworked if isinstance(e, Reading)]
    limit = facts.history.station.limit
    over = next((r for r in readings if is_over(r.drop or 0.0, limit)), None)
    if over is None or over in readings[:2]:  # of one reading alone other sentences speak
        return ""
    was = f"{facts.shown.drop(over.drop or 0.0)} on {facts.on(over)}"
    return (
        f" It was {was}, over the limit, and came back with no work logged: a gauge that was"
        " changed looks so, too (sheet Gauges)."
    )


def _same(facts: Facts, latest: Reading) -> str:
    """That the same pressures were written down again and again."""
    usable = [r for r in reversed(facts.history.readings) if r.usable and r.inlet is not None]
    typed = latest.inlet, latest.outlet, latest.flow
    alike = list(takewhile(lambda r: (r.inlet, r.outlet, r.flow) == typed, usable))
    if len({r.date for r in alike}) < SAME:
        return ""
    since = facts.on(alike[-1])
    return f" The same pressures were written down {len(alike)} times on end, since {since}."


def _only_after_work(facts: Facts, _: Reading) -> str:
    """That nobody read before the latest flushes and cleanings, only after them."""
    entries = facts.history.entries
    after = [
        (entry, isinstance(before, Work) and before.work in CLEARS and before.date == entry.date)
        for before, entry in pairwise((None, *entries))
        if isinstance(entry, Reading) and entry.usable
    ]
    told = list(takewhile(lambda one: one[1], reversed(after)))
    if len(told) < AFTER_WORK:
        return ""
    return (
        f" The latest {len(told)} readings were all taken right after a flush or a cleaning: how"
        " high the drop stands before that, nobody knows."
    )
