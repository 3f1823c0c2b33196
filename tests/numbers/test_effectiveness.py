"""What flushes and cleanings give back, and the creep of the clean drop."""

from __future__ import annotations

from dataclasses import replace

import pytest

from siltbook.batch.model import Reading, Station, Work
from siltbook.batch.numbers.effectiveness import Effectiveness, clean_creep, cleaning_effectiveness
from siltbook.batch.numbers.runs import cut_runs
from tests.numbers.logs import STATION, log, read, work

Entries = list[Reading | Work]


def season(*steps: tuple[str, float], every: int = 14, top: float = 5.0) -> Entries:
    """Dirt up to `top`, then the work, then a reading at the level given; and again."""
    entries: Entries = [read(0, 1.0)]
    for i, (kind, level) in enumerate(steps, 1):
        day = every * i
        entries += [
            read(day - 7, (top + level) / 2),
            read(day, top, at="08:00"),
            work(day, kind, at="09:00", cycles=3),
            read(day, level, at="10:00"),
        ]
    return entries


def value(
    *entries: Reading | Work, at: Station = STATION, clean: float | None = 1.0
) -> Effectiveness:
    runs = cut_runs(log(*entries, clean=clean), 3)
    return cleaning_effectiveness(replace(at, clean_drop=clean), runs, 7.0)


def test_shares_are_those_of_the_rise_over_clean() -> None:
    """5 m over a clean drop of 1 m: 4 m could be given back."""
    found = value(*season(("flush", 2.0), ("flush", 3.0), ("hand cleaning", 1.2)))
    assert (found.flush.count, found.cleaning.count) == (2, 1)
    assert found.flush.median == pytest.approx((0.75 + 0.5) / 2)
    assert (found.flush.low, found.flush.high) == pytest.approx((0.5, 0.75))
    assert found.cleaning.median == pytest.approx(0.95)
    assert found.notes == ()


def test_a_reading_that_came_late_says_nothing() -> None:
    before = (read(0, 1.0), read(7, 5.0), work(7, "flush", cycles=3))
    assert value(*before, read(10, 2.0)).flush.count == 1
    late = value(*before, read(11, 2.0)).flush
    assert (late.count, late.median, late.silent) == (0, None, "none read soon before and after")
    stale = value(read(0, 1.0), read(7, 5.0), work(15, "flush", cycles=3), read(15, 2.0))
    assert stale.flush.count == 0


def test_without_a_clean_drop_there_is_no_share() -> None:
    found = value(*season(("flush", 2.0)), clean=None).flush
    assert (found.count, found.silent) == (0, "no clean drop")


def test_a_rise_too_small_for_the_gauge_is_left_out() -> None:
    small = season(("flush", 1.1), top=1.4)
    assert value(*small).flush.count == 0
    coarse = [
        replace(e, u_drop=0.82) if isinstance(e, Reading) else e
        for e in season(("flush", 1.1), top=3.0)
    ]
    assert value(*coarse).flush.count == 0
    assert value(*season(("flush", 1.1), top=3.0)).flush.count == 1


def test_a_reset_concluded_from_the_drop_is_no_complete_flush() -> None:
    found = value(read(0, 1.0), read(7, 5.0), work(7, "flush", cycles=1), read(7, 1.5))
    assert found.flush.count == 0


def test_flushing_that_stopped_helping_is_said() -> None:
    good, bad = ("flush", 1.8), ("flush", 4.4)
    found = value(*season(good, good, good, bad, bad, bad))
    assert found.notes == (
        "Flushing stopped helping: the latest 3 flushes gave back 15 % of the rise over clean, "
        "the 3 before them 80 %; plan a hand cleaning.",
    )
    assert not found.flushing_helps
    assert value(*season(good, good, good, bad, bad, good)).notes == ()
    assert value(*season(good, good, bad, bad, bad)).notes == ()


def test_flushing_far_below_cleanings_is_said() -> None:
    by_hand, bad = ("hand cleaning", 1.0), ("flush", 4.0)
    found = value(*season(by_hand, bad, by_hand, bad, bad))
    assert found.notes == (
        "Flushing helps little: the latest 3 flushes gave back 25 % of the rise over clean, "
        "2 hand cleanings 100 %; plan a hand cleaning.",
    )
    assert value(*season(by_hand, bad, bad, bad)).notes == ()


def levels(*drops: float, every: int = 14, kind: str = "hand cleaning") -> Entries:
    return season(*((kind, drop) for drop in drops), every=every)


def test_an_element_that_no_longer_comes_clean() -> None:
    found = value(*levels(1.0, 1.2, 1.4, 1.6, 1.8))
    assert found.creep.m_per_day == pytest.approx(0.2 / 14)
    assert (found.creep.levels, found.creep.span, found.creep.silent) == (5, 56.0, "")
    (note,) = found.notes
    assert found.flushing_helps
    assert note.startswith(
        "The element no longer comes clean: over 56 days the drop after 5 cleanings crept up by "
        "about 0.8 m (8 in 10: 0.8 to 0.8 m)"
    )


def test_a_level_that_stays_or_wavers_is_no_creep() -> None:
    steady = value(*levels(1.0, 1.1, 1.0, 1.1, 1.0))
    assert steady.creep.m_per_day == pytest.approx(0.0)
    assert steady.notes == ()
    wild = value(*levels(1.0, 2.4, 0.9, 1.2, 2.0))
    assert wild.creep.low is not None
    assert wild.creep.low < 0
    assert wild.notes == ()


def test_too_few_or_too_close_cleanings_are_said() -> None:
    few = clean_creep(cut_runs(log(*levels(1.0, 1.2, 1.4)), 3))
    assert (few.m_per_day, few.silent) == (None, "3 cleanings read soon after, 4 are needed")
    close = clean_creep(cut_runs(log(*levels(1.0, 1.2, 1.4, 1.6, every=9)), 3))
    assert close.silent == "4 cleanings within 27 days, 30 are needed"
    enough = clean_creep(cut_runs(log(*levels(1.0, 1.2, 1.4, 1.6, every=10)), 3))
    assert (enough.span, enough.silent) == (30.0, "")
    coarse = [replace(run, u_start=0.3) for run in cut_runs(log(*levels(1, 1, 1, 1)), 3)]
    assert clean_creep(coarse).u == 0.3, "a creep is held against what the gauge can tell"
    flushes = clean_creep(cut_runs(log(*levels(1, 1.2, 1.4, 1.6, 1.8, kind="flush")), 3))
    assert flushes.silent == "0 cleanings read soon after, 4 are needed"


def test_a_new_element_is_no_hand_cleaning() -> None:
    assert value(*season(("screen replaced", 1.0))).cleaning.count == 0


def test_a_new_element_starts_the_creep_anew() -> None:
    hand = ("hand cleaning", 2.0)
    steps = [hand, hand, hand, ("screen replaced", 1.0), hand]
    assert clean_creep(cut_runs(log(*season(*steps)), 3)).levels == 2


def test_a_cleaning_before_the_first_reading_counts() -> None:
    """Also where a flush followed before anything was read."""
    entries = [work(0), work(0, "flush", cycles=3), read(1, 1.0), *levels(1, 1, 1)[1:]]
    assert clean_creep(cut_runs(log(*entries), 3)).levels == 4
