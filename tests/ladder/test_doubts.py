"""What is said beside a drop in range, each up to where it begins and no further."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.ladder.doubts import (
    Alike,
    Still,
    alike_on_end,
    alike_words,
    beside_in_range,
    outlet_still,
    over_and_in_range,
    over_and_in_range_words,
    still_words,
)
from siltbook.batch.ladder.facts import facts_of
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import ChangedGauge, History, Reading, Station, Verdict, Work
from siltbook.templates.book import Settings
from siltbook.templates.shown import Shown
from tests.ladder.histories import DAY0, SETTINGS, read, station, work

FINE, OVER = 2.0, 6.0
METRES = Shown("m")
FLOW = station(reference_flow=40.0)


def said(
    *entries: Reading | Work,
    at: Station | None = None,
    verdict: Verdict = Verdict.IN_RANGE,
    late: int = 0,
    settings: Settings = SETTINGS,
) -> str:
    """The sentences beside a verdict, so many days after the last entry."""
    day = entries[-1].date + dt.timedelta(days=late)
    history = History(at or station(), entries)
    return beside_in_range(verdict, facts_of(history, settings, day))


def falling(*inlets: float, outlet: float = 25.0) -> list[Reading]:
    """A reading a day with these inlets [m] before an outlet that stands still."""
    return [
        read(day, inlet - outlet, inlet=inlet, outlet=outlet) for day, inlet in enumerate(inlets)
    ]


def still(*entries: Reading | Work, **changes: object) -> Still | None:
    return outlet_still(History(station(**changes), entries))


def alike(*entries: Reading | Work, **changes: object) -> Alike | None:
    return alike_on_end(History(station(**changes), entries))


def test_an_outlet_that_stands_still_is_told_from_six_readings_on() -> None:
    moving = falling(27.0, 28.0, 27.0, 27.5, 27.0, 27.5)
    assert still(*moving) == Still(25.0, DAY0, 6)
    assert still(*moving[:5]) is None
    assert still(read(0, FINE, outlet=25.5), *falling(27.0, 27.5, 27.0, 27.5, 27.0)) is None
    # Since it began to stand still, not since the book begins.
    before = [read(-day, FINE, outlet=20.0 + day) for day in (3, 2, 1)]
    assert still(*before, *moving) == Still(25.0, DAY0, 6)


def test_only_an_inlet_that_rose_and_fell_makes_a_still_outlet_odd() -> None:
    assert still(*falling(27.0, 27.5, 28.0, 28.5, 29.0, 29.5)) is None
    assert still(*falling(29.5, 29.0, 28.5, 28.0, 27.5, 27.0)) is None
    assert still(*falling(27.0, 27.0, 27.0, 27.0, 27.0, 27.0)) is None


def test_the_inlet_must_have_moved_by_two_steps_of_the_scale() -> None:
    up, down = falling(27.0, 27.2, 27.0, 27.0, 27.0, 27.0), falling(27, 27.2, 27, 27.1, 27, 27)
    assert still(*up, division=0.1) == Still(25.0, DAY0, 6)
    assert still(*down, division=0.1) == Still(25.0, DAY0, 6)
    assert still(*up, division=0.11) is None
    # Fell by two steps and rose by one at a time, and the other way round.
    assert still(*falling(27.2, 27.0, 27.1, 27.2, 27.0, 27.1), division=0.1) is None
    assert still(*falling(27.0, 27.2, 27.1, 27.0, 27.2, 27.1), division=0.1) is None
    # Where no division is known: by two of the smallest steps that were read.
    assert still(*up) is None
    assert still(*falling(27.0, 27.4, 27.0, 27.2, 27.0, 27.0)) == Still(25.0, DAY0, 6)


def test_the_scale_is_that_of_the_gauge_of_the_day() -> None:
    up = falling(27.0, 27.2, 27.0, 27.0, 27.0, 27.0)
    finer = ChangedGauge(since=DAY0 + dt.timedelta(days=1), row=2, division=0.1)
    assert still(*up, division=1.0) is None
    assert still(*up, division=1.0, changed=(finer,)) == Still(25.0, DAY0, 6)
    later = replace(finer, since=DAY0 + dt.timedelta(days=2))
    assert still(*up, division=1.0, changed=(later,)) is None


def test_steps_that_were_read_are_told_to_a_micrometre() -> None:
    """Two inlets that differ by arithmetic alone are one."""
    up = falling(27.0, 27.4, 27.0 + 1e-9, 27.2, 27.0, 27.0)
    assert still(*up) == Still(25.0, DAY0, 6)


def test_what_the_inlet_did_across_work_on_the_element_does_not_count() -> None:
    up = falling(27.0, 27.5, 27.0, 27.0, 27.0, 27.0)
    for what in ("flush", "hand cleaning"):
        assert still(up[0], work(0, what), *up[1:], division=0.1) is None
        assert still(*up[:2], work(1, what), *up[2:], division=0.1) is None
        # Of one pair alone: the others count.
        assert still(*up[:3], work(2, what), *up[3:], division=0.1) is not None
    assert still(up[0], work(0, "called out"), *up[1:], division=0.1) is not None


def test_readings_without_both_pressures_are_no_part_of_a_still_outlet() -> None:
    moving = falling(27.0, 28.0, 27.0, 27.5, 27.0, 27.5)
    unusable = read(6, FINE, outlet=20.0, why_unusable="no flow")
    drop_alone = read(7, FINE, inlet=None, outlet=None)
    assert still(*moving, unusable, drop_alone) == Still(25.0, DAY0, 6)
    assert still(*falling(27.0, 28.0, 27.0, 27.5, 27.0, 27.5, outlet=0.0)) is None
    assert still() is None
    assert still(moving[0]) is None


def test_a_still_outlet_is_said_with_its_pressure_and_since_when() -> None:
    assert still_words(Still(25.0, DAY0, 6), METRES) == (
        "the outlet has read 25.0 m 6 times on end, since 2026-06-01, while the inlet rose and"
        " fell: a stuck gauge looks so, or the pump holds this pressure"
    )


def test_sides_alike_are_told_by_how_coarse_the_scale_is() -> None:
    days = [read(day, 0.0) for day in range(5)]
    fine = {"clean_drop": 1.0, "division": 0.5}
    assert alike(*days[:3], **fine) == Alike(DAY0, 3)
    assert alike(*days[:2], **fine) is None
    coarse = {"clean_drop": 1.0, "division": 0.51}
    assert alike(*days[:4], **coarse) is None
    assert alike(*days, **coarse) == Alike(DAY0, 5)
    # So coarse that a clean filter may always read so.
    assert alike(*days, clean_drop=1.0, division=1.0) == Alike(DAY0, 5)
    assert alike(*days, clean_drop=1.0, division=1.01) is None
    assert alike(*days, clean_drop=0.4, division=0.6) == Alike(DAY0, 5)
    assert alike(*days, clean_drop=0.4, division=0.61) is None


def test_the_scale_of_sides_alike_is_that_of_the_latest_reading() -> None:
    days = [read(day, 0.0) for day in range(3)]
    finer = ChangedGauge(since=DAY0 + dt.timedelta(days=2), row=2, division=0.5)
    assert alike(*days, clean_drop=1.0, division=9.0, changed=(finer,)) == Alike(DAY0, 3)
    coarser = replace(finer, division=9.0)
    assert alike(*days, clean_drop=1.0, division=0.5, changed=(coarser,)) is None


def test_without_a_clean_drop_half_a_metre_stands_for_it() -> None:
    days = [read(day, 0.0) for day in range(5)]
    assert alike(*days[:3], clean_drop=None, division=0.25) == Alike(DAY0, 3)
    assert alike(*days[:3], clean_drop=None, division=0.26) is None


def test_without_a_division_the_steps_that_were_read_stand_for_it() -> None:
    inlets = (30.0, 30.3, 31.0)
    days = [read(day, 0.0, inlet=p, outlet=p) for day, p in enumerate(inlets)]
    assert alike(*days) == Alike(DAY0, 3)
    assert alike(*[read(day, 0.0) for day in range(5)]) is None  # one inlet has no step
    six = [read(day, 0.0, inlet=30.0 + 0.6 * (day % 2)) for day in range(4)]
    assert alike(*six) is None


def test_sides_alike_count_by_days_and_up_to_the_first_that_differ() -> None:
    fine = {"clean_drop": 1.0, "division": 0.5}
    twice = [read(0, 0.0), read(0, 0.0), read(1, 0.0)]
    assert alike(*twice, **fine) is None
    assert alike(*twice, read(2, 0.0), **fine) == Alike(DAY0, 4)
    days = [read(day, 0.0) for day in range(3)]
    assert alike(read(-1, 1.0), *days, **fine) == Alike(DAY0, 3)
    assert alike(*days, read(3, 1.0), **fine) is None
    assert alike_words(Alike(DAY0, 3), METRES) == (
        "inlet and outlet have read alike 3 times on end, since 2026-06-01: a shut valve, an"
        " unturned selector or standing water look so"
    )


def test_only_what_is_in_range_or_watched_has_a_word_beside_it() -> None:
    old = read(0, FINE)
    for verdict in Verdict:
        spoken = verdict in (Verdict.IN_RANGE, Verdict.WATCH)
        assert bool(said(old, late=15, verdict=verdict)) is spoken
    assert said(read(0, OVER), late=15) == ""
    unusable = read(0, FINE, why_unusable="no flow")
    assert said(unusable, late=15) == ""


def test_the_age_of_a_reading_is_said_after_two_weeks() -> None:
    assert said(read(0, FINE), late=14) == ""
    assert said(read(0, FINE), late=15) == " That was 15 days ago."


@pytest.mark.parametrize(
    ("drop", "words"),
    [
        (3.99, ""),
        (4.0, " That is 80 % of the limit."),
        (4.49, " That is 90 % of the limit."),
        (4.5, ""),  # watched, with its share
    ],
)
def test_a_raised_watch_share_does_not_hide_how_near_the_limit_is(drop: float, words: str) -> None:
    raised = replace(SETTINGS, watch_share=0.9)
    assert said(read(0, drop), settings=raised) == words


def test_in_range_by_a_higher_limit_only_is_said_from_the_usual_one_on() -> None:
    words = " A filter usually counts as clogged at 5.00 m: in range by this higher limit only."
    for drop, limit, beside in ((5.1, 7.0, words), (5.0, 7.0, ""), (5.1, 15.0, words)):
        assert said(read(0, drop), at=station(limit=limit)) == beside
    # The unit of such a limit is in doubt, and another sentence says so.
    assert said(read(0, 5.1), at=station(limit=15.1)) == ""


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        (19.9, "19.9 m³/h and the reference flow 40 m³/h"),
        (20.0, ""),
        (80.0, ""),
        (80.4, "80.4 m³/h and the reference flow 40 m³/h"),
    ],
)
def test_a_reference_flow_that_the_station_never_comes_near_is_said(
    flow: float, words: str
) -> None:
    days = [read(day, FINE, flow=flow, inlet=30.0 + day) for day in range(4)]
    assert said(*days[:3], at=FLOW) == ""
    beside = said(*days, at=FLOW)
    assert beside == (words and (
        f" The usual flow is {words}: no forecast can be trusted before one of them is corrected."
    ))  # fmt: skip
    assert said(*days) == ""


def test_a_drop_that_fell_with_no_work_logged_is_said() -> None:
    words = " It was 4.00 m on 2026-06-01; no work is logged since."
    fell = (read(0, 4.0), read(3, FINE))
    assert said(*fell) == words
    assert said(read(0, 3.0), read(3, FINE)) == ""
    unusable = read(2, 1.0, why_unusable="no flow")
    assert said(fell[0], unusable, fell[1]) == words
    for day in (0, 3):
        assert said(fell[0], work(day, "other"), fell[1]) == ""
    assert said(work(-1), *fell) == words
    assert said(*fell, work(4, "other")) == words
    assert said(read(0, FINE)) == ""


def test_a_fall_is_taken_to_the_reference_flow() -> None:
    fell = (read(0, 4.0, flow=40.0), read(3, FINE, flow=28.3))
    assert said(*fell, at=FLOW) == ""
    assert " It was 4.00 m " in said(*fell)


def test_an_old_return_from_over_is_said_once_two_readings_stand_behind_it() -> None:
    words = (
        " It was 6.00 m on 2026-06-01, over the limit, and came back with no work logged: a gauge"
        " that was changed looks so, too (sheet Gauges)."
    )
    came = (read(0, OVER), read(3, 3.0), read(6, 3.0, inlet=31.0))
    assert said(*came) == words
    assert words not in said(*came[:2])
    # The latest time that it was over.
    later = replace(came[0], date=DAY0 - dt.timedelta(days=5), drop=7.0)
    assert said(later, *came) == words
    assert said(read(0, 5.0), *came[1:]) == ""
    for what, beside in (("flush", ""), ("hand cleaning", ""), ("other", words)):
        assert said(came[0], work(1, what), *came[1:]) == beside
    unusable = replace(came[0], why_unusable="no flow")
    assert said(unusable, *came[1:]) == ""


def test_the_same_pressures_again_and_again_are_said_from_five_days_on() -> None:
    days = [read(day, FINE) for day in range(5)]
    words = " The same pressures were written down 5 times on end, since 2026-06-01."
    assert said(*days) == words
    assert said(*days[1:]) == ""
    assert said(read(-1, 2.1), *days) == words
    assert said(*days, read(5, 2.1)) == ""
    twice = [read(day // 2, FINE) for day in range(8)]
    assert said(*twice) == ""
    flows = [replace(one, flow=40.0 + one.row % 2) for one in days]
    assert said(*flows) == ""
    between = read(5, 1.0, why_unusable="no flow")
    assert said(*days, between) == words
    alone = [read(day, FINE, inlet=None, outlet=None) for day in range(5)]
    assert said(*alone) == ""


def test_readings_only_right_after_work_are_said_from_four_on() -> None:
    rounds = [
        entry for day in range(0, 20, 5) for entry in (work(day), read(day, FINE, inlet=30.0 + day))
    ]
    words = (
        " The latest 4 readings were all taken right after a flush or a cleaning: how high the"
        " drop stands before that, nobody knows."
    )
    assert said(*rounds) == words
    assert said(*rounds[2:]) == ""
    assert said(read(-1, FINE), *rounds) == words
    assert said(*rounds, read(20, FINE)) == ""
    more = [work(-5), read(-5, FINE), *rounds]
    assert said(*more) == words.replace("4", "5")
    other = [replace(e, work="other") if isinstance(e, Work) else e for e in rounds]
    assert said(*other) == ""
    next_day = [
        replace(e, date=e.date - dt.timedelta(days=1)) if isinstance(e, Work) else e for e in rounds
    ]
    assert said(*next_day) == ""
    unusable = [*rounds, work(20), read(20, FINE, why_unusable="no flow")]
    assert said(*unusable) == words


def test_what_is_said_stands_in_one_order() -> None:
    beside = said(read(0, 4.0), read(3, FINE), late=15)
    assert beside == (
        " That was 15 days ago. It was 4.00 m on 2026-06-01; no work is logged since."
    )


def test_a_filter_that_was_opened_since_the_reading_is_said() -> None:
    words = " {} on 2026-06-03, and no usable reading since."
    for what, told in (
        ("hand cleaning", "Hand cleaning"), ("screen replaced", "Screen replaced"),
        ("called out", "Help was called"),
    ):  # fmt: skip
        assert said(read(0, FINE), work(2, what)) == words.format(told)
        assert said(read(0, FINE), work(2, what), read(2, FINE)) == ""
        dead = read(3, 0.0, inlet=0.0, outlet=0.0, why_unusable="no inlet pressure")
        assert said(read(0, FINE), work(2, what), dead) == words.format(told)
    assert said(read(0, FINE), work(2)) == said(read(0, FINE), work(2, "other")) == ""


def visits(*days: int, then: str = "routine") -> list[Reading]:
    """A reading over the limit and one in range on each of these days, with a flow."""
    return [
        r for day in days for r in (read(day, OVER, flow=40.0), read(day, FINE, then, flow=40.0))
    ]


def both(*entries: Reading | Work) -> int:
    return over_and_in_range(History(station(), entries))


def test_over_and_in_range_on_the_same_days_is_said_from_three_days_on() -> None:
    """Two filters under one name, one of them clogged, were 'In range' where the flow was read."""
    assert both(*visits(0, 2, 4)) == 3
    assert both(*visits(0, 2)) == 0
    assert both(*visits(0, 2, 32)) == 0
    assert both(*visits(0, 2, 30)) == 3
    assert both(*visits(0, 2, 31)) == 0
    assert both(*visits(0, 2, 4), read(6, FINE)) == 0
    assert both(*visits(0, 2, 4, then="after flush")) == 0
    flushed = [e for r in visits(0, 2, 4) for e in ((r, work(r.date.day, "flush")))]
    assert both(*flushed) == 0
    history = History(FLOW, tuple(visits(0, 2, 4)))
    judgement = judge(history, SETTINGS, history.readings[-1].date)
    assert judgement.verdict is Verdict.WATCH
    assert judgement.reason.startswith(f"Drop 2.00 m on {history.readings[-1].date}, within the")
    assert over_and_in_range_words(3) in judgement.reason
    assert judgement.steps[0].words == (
        "Over and in range on one day: log the flush if there was one; where two filters go by one"
        " name, give each its own."
    )
