"""What was agreed, and what came of it: the rows of the sheet Agreed read against the log.

Each row gets a state from its dates as of the review's as-of date; a Done date after that day
counts as not yet done:

- *not due yet*: no Done date, and the due date lies after the as-of date;
- *not done*: no Done date, and the due date has passed (the as-of date itself is due);
- *no due date*: no Done date and none agreed;
- *done in time*, *done late*: by the two dates; *done* where no due date was agreed.

What is done is then held against the drop at the station. *Before* is the last usable reading
before that day's logged work, *after* the first usable one behind it; where nothing is logged
on that day, the day's own routine readings stand before. *Done without effect*: the drop was
over the limit before and still is after; or cleaning (flush, hand cleaning, screen replaced) is
logged on that day and the drop afterwards is not below the one before. Where the drop was in
range before and no cleaning is logged, the drop has nothing to say about the action. Where no
usable reading follows, it cannot be told.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from siltbook.batch.model import CLEARS, Reading, Work, is_over
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.review.month import Month
from siltbook.checks.gauges import NOISE
from siltbook.templates.shown import Shown


class Kept(StrEnum):
    """What came of an agreed action; the order is the order in which the pack lists them."""

    NOT_DONE = "not done"
    WITHOUT_EFFECT = "done without effect"
    LATE = "done late"
    NO_DATE = "no due date"
    NOT_DUE = "not due yet"
    DONE = "done"
    IN_TIME = "done in time"


class Effect(StrEnum):
    """Whether the drop shows that an action did something."""

    SHOWN = "shown"
    NONE = "none"
    NOT_SHOWN = "not shown"


_NO_DATE = (
    "cell-not-date", "date-out-of-bounds", "cell-ambiguous-date", "cell-error", "cell-no-value",
)  # fmt: skip
OPEN = (Kept.NOT_DONE, Kept.NO_DATE, Kept.NOT_DUE)


@dataclass(frozen=True)
class Agreed:
    """One row of the sheet Agreed with what came of it.

    `effect` says in one clause what the drop did; `timing` is the state by dates alone.
    """

    row: int
    station: str
    action: str
    who: str
    due: dt.date | None
    done: dt.date | None
    kept: Kept
    timing: Kept
    effect: str
    before: Reading | None = None
    after: Reading | None = None
    unread: str = ""  # what stands in the Done date and is no date, quoted

    @property
    def came(self) -> str:
        """What came of it, in words; a Done date that cannot be read is said."""
        if not self.unread or self.done is not None or self.kept not in OPEN:
            return str(self.kept)
        as_read = f"{self.kept} as far as can be read" if self.kept is Kept.NOT_DONE else self.kept
        return f"{as_read}: the Done date {self.unread} is not a date"

    def concerns(self, month: Month) -> bool:
        """Whether the month's review shows it: still open, or due or done in the month."""
        return self.kept in OPEN or self.due in month or self.done in month


def agreed_rows(assessment: Assessment) -> tuple[Agreed, ...]:
    """Every row of the sheet Agreed, judged as of the assessment's date, as the book has them."""
    as_of = assessment.as_of
    if as_of is None:
        return ()
    by_name = {r.station.name: r for r in assessment.stations}
    found, shown = [], assessment.book.settings.shown
    unread = _unread(assessment)
    for record in assessment.book.agreed.records():
        texts = [str(record[key] or "").strip() for key in ("station", "action", "who")]
        done = record["done"] if record["done"] and record["done"] <= as_of else None
        result = by_name.get(texts[0])
        row = record["row"]
        one = _judged(row, texts, record["due"], done, result, as_of, shown)
        found.append(replace(one, unread=unread.get(row, "")))
    return tuple(found)


def _unread(assessment: Assessment) -> dict[int, str]:
    """Row -> what its Done date says, where that is no date that can be read."""
    table = assessment.book.agreed
    cells = {table.cell("done", row): row for row in table.rows}
    return {
        cells[f.cell]: f.read.replace("'", '"')
        for f in assessment.findings
        if f.sheet == table.sheet and f.rule in _NO_DATE and f.cell in cells
    }


def _judged(
    row: int,
    texts: Sequence[str],
    due: dt.date | None,
    done: dt.date | None,
    result: StationResult | None,
    as_of: dt.date,
    shown: Shown,
) -> Agreed:
    station, action, who = texts
    timing = _timing(due, done, as_of)
    if done is None or result is None:
        return Agreed(row, station, action, who, due, done, timing, timing, "")
    before, after, cleaned = around(result, done)
    shows, effect = effect_of(before, after, cleaned, result.station.limit, shown)
    kept = Kept.WITHOUT_EFFECT if shows is Effect.NONE else timing
    return Agreed(row, station, action, who, due, done, kept, timing, effect, before, after)


def _timing(due: dt.date | None, done: dt.date | None, as_of: dt.date) -> Kept:
    if done is not None:
        if due is None:
            return Kept.DONE
        return Kept.IN_TIME if done <= due else Kept.LATE
    if due is None:
        return Kept.NO_DATE
    return Kept.NOT_DUE if due > as_of else Kept.NOT_DONE


def around(result: StationResult, day: dt.date) -> tuple[Reading | None, Reading | None, bool]:
    """The usable readings before and after an action of that day, and whether it cleaned."""
    entries = [
        e for e in result.history.entries
        if isinstance(e, Work) or (e.usable and e.drop is not None)
    ]  # fmt: skip
    own = [i for i, e in enumerate(entries) if isinstance(e, Work) and e.date == day]
    cleaned = any(isinstance(e, Work) and e.work in CLEARS for e in (entries[i] for i in own))
    if own:
        first, last = own[0], own[-1] + 1
    else:
        # Nothing logged that day: a routine reading of the day was taken before the action.
        first = last = sum(
            e.date < day or (e.date == day and isinstance(e, Reading) and e.occasion == "routine")
            for e in entries
        )
    before = [e for e in entries[:first] if isinstance(e, Reading)]
    after = [e for e in entries[last:] if isinstance(e, Reading)]
    return (before[-1] if before else None), (after[0] if after else None), cleaned


def effect_of(
    before: Reading | None, after: Reading | None, cleaned: bool, limit: float, shown: Shown
) -> tuple[Effect, str]:
    """What the drops [m] show against the `limit` [m], and the clause that says why or why not."""
    if before is None or before.drop is None:
        return Effect.NOT_SHOWN, "cannot be told: no usable reading before it"
    was_over = is_over(before.drop, limit)
    if not was_over and not cleaned:
        return Effect.NOT_SHOWN, "the drop was in range before; it has nothing to say here"
    if after is None or after.drop is None:
        return Effect.NOT_SHOWN, "cannot be told: no usable reading since"
    on = shown.day(after.date)
    drops = f"drop {shown.drop(before.drop)} before, {shown.drop(after.drop)} on {on}"
    if was_over and is_over(after.drop, limit):
        return Effect.NONE, f"{drops}: still over the limit of {shown.limit(limit)}"
    if cleaned and after.drop >= before.drop - NOISE:
        return Effect.NONE, f"{drops}: not below the one before"
    return Effect.SHOWN, drops
