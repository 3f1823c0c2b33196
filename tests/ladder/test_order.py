"""Order of the entries of a day, and recurring episodes."""

from __future__ import annotations

import datetime as dt

from siltbook.batch.ladder.replay import recurring
from siltbook.batch.model import Episode, Reading
from siltbook.batch.numbers.order import in_order
from tests.ladder.histories import DAY0, read, work


def names(*entries: object) -> list[str]:
    return [e.occasion if isinstance(e, Reading) else e.work for e in in_order(entries)]  # type: ignore[arg-type, attr-defined]


def test_dates_come_before_rows() -> None:
    late, early = read(3, 1.0), read(1, 2.0)
    assert in_order([late, early]) == (early, late)


def test_times_rule_where_all_are_given() -> None:
    after = read(0, 1.0, "after flush", time=dt.time(7))
    flush = work(0, time=dt.time(8))
    routine = read(0, 1.0, time=dt.time(9))
    assert in_order([routine, flush, after]) == (after, flush, routine)


def test_custom_rules_where_a_time_is_missing() -> None:
    day = (
        read(0, 1.0, "after cleaning"),
        work(0, "flush"),
        read(0, 1.0, "after flush"),
        work(0, "flush"),
        work(0, "hand cleaning"),
        read(0, 1.0, time=dt.time(23)),
    )
    assert names(*day) == [
        "routine", "flush", "flush", "after flush", "hand cleaning", "after cleaning",
    ]  # fmt: skip


def test_after_flush_reading_of_yesterdays_flush_comes_before_todays_cleaning() -> None:
    day = (work(0, "hand cleaning"), read(0, 1.0, "after flush"))
    assert names(*day) == ["after flush", "hand cleaning"]


def _episode(opened: int, closed: int | None) -> Episode:
    day = dt.timedelta(days=1)
    return Episode(DAY0 + opened * day, None if closed is None else DAY0 + closed * day, "flush")


def test_third_soon_episode_in_thirty_days_recurs() -> None:
    often = (_episode(0, 3), _episode(10, 13), _episode(20, None))
    assert recurring(often) == (often,)
    more = (*often[:2], _episode(20, 21), _episode(25, None))
    assert recurring(more) == (more[:3], more[1:])
    assert recurring((_episode(0, 2), _episode(10, 13), _episode(20, None))) == ()
    assert recurring((_episode(0, 11), _episode(15, 26), _episode(31, None))) == ()
    assert recurring((_episode(0, 3), _episode(10, None))) == ()


def test_the_thirtieth_day_still_counts_and_the_thirty_first_does_not() -> None:
    on = (_episode(0, 11), _episode(15, 26), _episode(30, None))
    assert recurring(on) == (on,)
    assert recurring((*on[:2], _episode(31, None))) == ()


def test_the_seventh_day_after_the_closing_is_still_soon() -> None:
    soon = (_episode(0, 3), _episode(10, 13), _episode(20, None))
    assert recurring(soon) == (soon,)
    assert recurring((*soon[:2], _episode(21, None))) == ()


def test_of_two_readings_of_one_minute_the_worse_one_is_taken_for_the_later() -> None:
    """Whichever stands first: a contradiction ends no episode."""
    eight = dt.time(8)
    first = [read(0, 7.0, time=eight), read(0, 2.0, time=eight)]
    second = [read(0, 2.0, time=eight), read(0, 7.0, time=eight)]
    for day in (first, second):
        assert [e.drop for e in in_order(day, 5.0) if isinstance(e, Reading)] == [2.0, 7.0]
    flush = work(0, time=eight)  # then one is before it and one after, as they stand
    assert in_order([*first, flush], 5.0) == (*first, flush)
