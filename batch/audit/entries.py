"""The order of steps, their times, and the order in which rows were entered."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from siltbook.batch.audit.chance import FALSE_ALARMS, binomial_at_least
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.model import CLEANINGS, History, Reading, Work
from siltbook.checks.wording import clock
from siltbook.templates.book import Book, Table

ENOUGH_ROUNDS = 10  # days on which at least three stations were read and timed
SHARED = 3  # stations at one minute
HABIT = 0.1  # share of rounds from which one time for many stations is taken for a habit
LATER_ROWS = 3  # later entries above, from which a row stands far below
INTERVALS_BACK, DAYS_BACK = 3.0, 14.0  # a slip of paper that is found a week late is ordinary
DISORDER = 0.15  # share of steps back, from which the rows are in no order of entry


def step_order(book: Book, histories: Sequence[History]) -> RuleResult:
    """Readings that say 'after flush' or 'after cleaning' without such a step before them."""
    places = [place for h in histories for place in _misplaced(book, h)]
    return looked(RULES["step-order"], places, "Every step comes before the reading after it.")


def _misplaced(book: Book, history: History) -> Iterator[Place]:
    wanted = {"after flush": ("flush",), "after cleaning": CLEANINGS}
    work: dict[tuple[dt.date, str], list[Work]] = defaultdict(list)
    for job in history.work:
        work[job.date, job.work].append(job)
    for reading in history.readings:
        kinds = wanted.get(reading.occasion)
        if kinds is None:
            continue
        days = (reading.date, reading.date - dt.timedelta(days=1))
        found = [job for day in days for kind in kinds for job in work[day, kind]]
        said = _why_misplaced(reading, found, kinds[0])
        if said:
            name, on = history.station.name, book.settings.shown.day(reading.date)
            cell = book.readings.cell("occasion", reading.row)
            yield Place(book.readings.sheet, cell, f"{name}, {on}: {said}", name)


def _why_misplaced(reading: Reading, found: list[Work], kind: str) -> str:
    if not found:
        return f"a reading '{reading.occasion}', but no {kind} on that day or the day before"
    time = reading.time
    times = [job.time for job in found if job.date == reading.date]
    if time is None or len(times) < len(found) or any(t is None for t in times):
        return ""
    first = min(t for t in times if t is not None)
    if time >= first:
        return ""
    return f"a reading '{reading.occasion}' at {clock(time)}, before the {kind} at {clock(first)}"


def same_time(book: Book, histories: Sequence[History]) -> RuleResult:
    """Rounds on which many stations carry one minute, where that is not the farm's habit."""
    rule = RULES["same-time"]
    rounds = _rounds(histories)
    if len(rounds) < ENOUGH_ROUNDS:
        return RuleResult(rule, State.CANNOT, "Too few rounds with times.")
    shared = {day: max(Counter(t.values()).values()) - 1 for day, t in rounds.items()}
    heavy = [d for d, n in shared.items() if n >= SHARED - 1 and n >= 0.5 * (len(rounds[d]) - 1)]
    if len(heavy) > HABIT * len(rounds):
        said = f"One time for many stations on {len(heavy)} of {len(rounds)} rounds: a habit, so"
        return RuleResult(rule, State.CANNOT, f"{said} times cannot tell the order of a round.")
    places, lowest = [], 1.0
    for day in heavy:
        ties = sum(n for d, n in shared.items() if d not in heavy)
        chances = sum(len(t) - 1 for d, t in rounds.items() if d not in heavy)
        rate = (ties + 1) / (chances + 2)
        p = min(1.0, binomial_at_least(shared[day], len(rounds[day]) - 1, rate) * len(rounds))
        lowest = min(lowest, p)
        if p <= FALSE_ALARMS:
            places.append(_same_minute(book, day, rounds[day], p))
    return looked(rule, places, "Times differ as a round would have them.", p=lowest, many="rounds")


def _rounds(histories: Sequence[History]) -> dict[dt.date, dict[int, dt.time]]:
    """Day -> row and time of each station's first routine reading; days with three or more."""
    found: dict[dt.date, dict[int, dt.time]] = defaultdict(dict)
    for history in histories:
        seen: set[dt.date] = set()
        for reading in history.readings:
            if reading.occasion == "routine" and reading.time and reading.date not in seen:
                seen.add(reading.date)
                found[reading.date][reading.row] = reading.time
    return {day: times for day, times in found.items() if len(times) >= SHARED}


def _same_minute(book: Book, day: dt.date, times: dict[int, dt.time], p: float) -> Place:
    common = max(set(times.values()), key=list(times.values()).count)
    rows = sorted(row for row, time in times.items() if time == common)
    cell = book.readings.cell("time", rows[0])
    on = book.settings.shown.day(day)
    said = f"{on}: {len(rows)} of {len(times)} stations at {clock(common)} (first row {rows[0]})"
    return Place(book.readings.sheet, cell, said, "", p)


def back_dated(book: Book, histories: Sequence[History], as_of: dt.date) -> RuleResult:
    """Rows that stand below at least three later visits of the same station.

    A reading that no verdict can use, and that fills no gap of the reading plan, is for the record.
    """
    rule = RULES["back-dated"]
    places: list[Place] = []
    sorted_out = False
    idle = {r.row for h in histories for r in h.readings if not r.usable}
    for table in (book.readings, book.work):
        orders = _orders(table, as_of)
        steps = [b - a for _, days in orders for (_, a), (_, b) in pairwise(days) if a != b]
        if not steps:
            continue
        back = sum(step.days < 0 for step in steps)
        turned = back > len(steps) / 2  # the newest row stands on top
        if min(back, len(steps) - back) > DISORDER * len(steps):
            sorted_out = True
            continue
        for name, days in orders:
            rows = idle if table is book.readings else set()
            places += _far_below(table, name, days[::-1] if turned else days, book, rows)
    if sorted_out and not places:
        return RuleResult(rule, State.CANNOT, "The rows are in no order of entry.")
    quiet = "No entry stands far below later days of its station."
    return looked(rule, places, quiet, many="entries")


_Days = list[tuple[int, dt.date]]


def _orders(table: Table, as_of: dt.date) -> list[tuple[str, _Days]]:
    """Each station's rows and dates as they stand in the sheet."""
    found: dict[str, _Days] = defaultdict(list)
    frame = table.frame
    for row, name, day in zip(frame.index, frame["station"], frame["date"], strict=True):
        if isinstance(name, str) and isinstance(day, dt.date) and day <= as_of:
            found[name].append((int(row), day))
    return list(found.items())


def _far_below(table: Table, name: str, days: _Days, book: Book, idle: set[int]) -> Iterator[Place]:
    back = dt.timedelta(days=max(INTERVALS_BACK * book.settings.interval, DAYS_BACK))
    on = book.settings.shown.day
    above: list[dt.date] = []  # the days above, each once, rising
    for row, day in days:
        later = len(above) - bisect_right(above, day)
        if later >= LATER_ROWS and above[-1] - day > back:
            said = f"{name}: the entry of {on(day)} stands below {later} later days"
            said += f", the last {on(above[-1])}"
            nothing = row in idle and _between(above, day, book.settings.interval)
            said += "; no verdict can use it, and it fills no gap" if nothing else ""
            yield Place(table.sheet, table.cell("date", row), said, name, holds=nothing)
        elif not above or day > above[-1]:
            above.append(day)


def _between(days: Sequence[dt.date], day: dt.date, interval: float) -> bool:
    """Whether the station was visited within a reading interval before and after that day."""
    at = bisect_right(days, day)
    near = [abs((day - other).days) <= interval for other in days[max(0, at - 1) : at + 1]]
    return 0 < at < len(days) and all(near)
