"""What came of agreed actions: states by dates, and what the drop says afterwards."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.review.agreed import Agreed, Kept, agreed_rows
from siltbook.batch.review.month import Month
from tests.checks.builders import book, job, reading
from tests.review.farms import JULY, month

LAST = dt.date(2026, 5, 31)
OVER, WELL, HIGH = {"outlet": 2.4}, {"outlet": 2.8}, {"outlet": 2.3}  # 6.1 m, 2.0 m, 7.1 m


def may(day: int) -> dt.date:
    return dt.date(2026, 5, day)


def kept(
    readings: list[dict[str, Any]], work: list[dict[str, Any]] | None = None, **row: Any
) -> Agreed:
    """One agreed row of North 1, judged at the end of May."""
    agreed = {"station": "North 1", "action": "Do it", "who": "A", **row}
    made = book(readings, work=work or [], agreed=[agreed])
    return agreed_rows(assess(made, as_of=LAST))[0]


@pytest.mark.parametrize(
    ("due", "done", "state"),
    [
        (may(20), None, Kept.NOT_DONE),
        (LAST, None, Kept.NOT_DONE),
        (dt.date(2026, 6, 1), None, Kept.NOT_DUE),
        (None, None, Kept.NO_DATE),
        (may(20), may(20), Kept.IN_TIME),
        (may(20), may(21), Kept.LATE),
        (None, may(21), Kept.DONE),
        (may(20), dt.date(2026, 6, 3), Kept.NOT_DONE),
    ],
)
def test_the_state_by_dates(due: dt.date | None, done: dt.date | None, state: Kept) -> None:
    row = kept([reading(day, **WELL) for day in (1, 8, 15, 22)], due=due, done=done)
    assert row.kept is state
    assert row.timing is state


def test_still_over_at_the_next_reading_is_without_effect() -> None:
    row = kept([reading(4, **OVER), reading(11, **OVER)], due=may(10), done=may(5))
    assert row.kept is Kept.WITHOUT_EFFECT
    assert row.timing is Kept.IN_TIME
    assert row.effect == (
        "drop 6.12 m before, 6.12 m on 2026-05-11: still over the limit of 5.00 m"
    )


def test_in_range_at_the_next_reading_had_an_effect() -> None:
    row = kept([reading(4, **OVER), reading(11, **WELL)], due=may(10), done=may(5))
    assert row.kept is Kept.IN_TIME
    assert row.effect == "drop 6.12 m before, 2.04 m on 2026-05-11"


def test_cleaning_that_does_not_lower_the_drop_is_without_effect_though_in_range() -> None:
    readings = [reading(4, outlet=2.6), reading(4, outlet=2.6, occasion="after cleaning")]
    row = kept(readings, [job(4, "hand cleaning")], due=may(10), done=may(4))
    assert row.kept is Kept.WITHOUT_EFFECT
    assert row.effect.endswith("not below the one before")


def test_an_action_without_cleaning_at_a_station_in_range_is_not_judged_by_the_drop() -> None:
    readings = [reading(4, outlet=2.8), reading(11, outlet=2.4)]
    row = kept(readings, due=may(10), done=may(5))
    assert row.kept is Kept.IN_TIME
    assert row.effect == "the drop was in range before; it has nothing to say here"


def test_no_reading_since_cannot_be_told() -> None:
    row = kept([reading(4, **OVER)], [job(4)], due=may(10), done=may(4))
    assert row.kept is Kept.IN_TIME
    assert row.effect == "cannot be told: no usable reading since"


def test_no_reading_before_cannot_be_told() -> None:
    row = kept([reading(11, **OVER)], due=may(10), done=may(5))
    assert row.kept is Kept.IN_TIME
    assert row.effect == "cannot be told: no usable reading before it"


def test_an_unusable_reading_tells_nothing() -> None:
    swapped = reading(6, inlet=1.0, outlet=3.0)
    row = kept([reading(4, **OVER), swapped], due=may(10), done=may(5))
    assert row.effect == "cannot be told: no usable reading since"


def test_the_days_own_routine_reading_stands_before_the_action() -> None:
    row = kept([reading(5, **OVER), reading(12, **WELL)], due=may(10), done=may(5))
    assert row.before is not None
    assert row.before.date == may(5)
    assert row.kept is Kept.IN_TIME


def test_the_portfolio_holds_every_state() -> None:
    found = {
        (row.station, row.action): row
        for farm in ("east", "hill", "north", "south", "west")
        for row in agreed_rows(month(farm).now)
    }
    states = {key: row.kept for key, row in found.items()}
    assert states == {
        ("E3", "Clean by hand"): Kept.WITHOUT_EFFECT,
        ("E3", "Have the element looked at"): Kept.IN_TIME,
        ("H4", "Read again"): Kept.NOT_DONE,
        ("N4 Disc", "Flush at the next visit over the limit"): Kept.IN_TIME,
        ("N6 Disc", "Flush"): Kept.LATE,
        ("N2 Screen", "Check the solenoid"): Kept.NOT_DONE,
        ("N1 Screen", "Decide on a finer reading plan"): Kept.NOT_DUE,
        ("S3 Canal", "Flush"): Kept.LATE,
        ("S1 Well", "Flush within a day of a reading over the limit"): Kept.NOT_DONE,
        ("W1", "Read every 7 days"): Kept.IN_TIME,
    }
    looked = found["E3", "Have the element looked at"]
    assert looked.effect == "cannot be told: no usable reading since"


def test_a_month_shows_what_is_open_or_falls_into_it() -> None:
    rows = {row.action: row for farm in ("north", "west") for row in agreed_rows(month(farm).now)}
    assert rows["Decide on a finer reading plan"].concerns(JULY)
    assert rows["Flush"].concerns(JULY)
    assert not rows["Read every 7 days"].concerns(JULY)
    assert rows["Read every 7 days"].concerns(Month(2026, 4))


def test_a_done_date_that_cannot_be_read_is_said_and_not_called_undone() -> None:
    from tests.whole.verdicts import assessed, day, filled, reading

    agreed = [
        {"Station": "North 1", "Action": "Clean it", "Due date": day(3), "Done date": "3.6."},
        {"Station": "North 1", "Action": "Buy a gauge", "Due date": day(29), "Done date": "soon"},
        {"Station": "North 1", "Action": "Look at the pump", "Due date": day(3)},
    ]
    book = assessed(filled(Readings=[reading(day(9), 3.2, 3.0)], Agreed=agreed))
    assert [row.came for row in agreed_rows(book)] == [
        'not done as far as can be read: the Done date "3.6." is not a date',
        'not due yet: the Done date "soon" is not a date',
        "not done",
    ]
