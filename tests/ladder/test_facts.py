"""What the conditions of a verdict look at: where each begins, and where it ends."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from siltbook.batch.ladder import facts as ask
from siltbook.batch.ladder.facts import Facts, facts_of
from siltbook.batch.model import (
    CarriedOver,
    History,
    Reading,
    Station,
    Work,
)
from siltbook.checks.slipped import EXCHANGED, Slipped
from siltbook.templates.book import Elsewhere
from tests.ladder.histories import DAY0, SETTINGS, read, station, work

OVER, FINE = 6.0, 2.0
DAY = dt.timedelta(days=1)
FLOW = station(reference_flow=40.0)


def facts(
    *entries: Reading | Work,
    at: Station | None = None,
    as_of: dt.date | None = DAY0 + 40 * DAY,
    **history: Any,
) -> Facts:
    return facts_of(History(at or station(), entries, **history), SETTINGS, as_of)


def test_the_latest_counts_and_the_newest_may_not() -> None:
    first, bad = read(0, FINE), read(1, OVER, why_unusable="no flow")
    found = facts(first, bad)
    assert (found.latest, found.newest) == (first, bad)
    assert not found.over
    assert found.drop == FINE
    assert facts(read(0, OVER)).over
    none = facts()
    assert (none.latest, none.newest, none.over, none.days_since) == (None, None, False, None)
    assert none.drop != none.drop
    assert facts(first, as_of=None).days_since is None
    assert facts(first, as_of=DAY0 + 3 * DAY).days_since == 3
    assert (found.on(bad), found.on(None)) == ("2026-06-02", "")


def slip(typed: int, likely: int, row: int = 7) -> Slipped:
    return Slipped(row, DAY0 + typed * DAY, DAY0 + likely * DAY, EXCHANGED)


@pytest.mark.parametrize(
    ("typed", "likely", "counts"),
    [
        (2, -80, True), (1, -80, False), (-80, 2, True), (-80, 1, False),
        (40, 90, True), (90, 40, True), (41, 90, False), (90, 41, False),
    ],
)  # fmt: skip
def test_a_mistyped_date_counts_where_either_day_may_be_the_latest(
    typed: int, likely: int, counts: bool
) -> None:
    found = facts(read(2, FINE), slipped=(slip(typed, likely),))
    assert (found.misplaced is not None) is counts


def test_of_several_mistyped_dates_the_likely_latest_is_named() -> None:
    late, early = slip(5, 20, row=8), slip(30, 10, row=9)
    for slips in ((late, early), (early, late)):
        assert facts(read(2, FINE), slipped=slips).misplaced == late
    assert facts(slipped=(slip(1, 2),)).misplaced is not None
    assert facts(slipped=(slip(90, 91),), as_of=None).misplaced is not None
    assert facts(read(0, FINE)).misplaced is None


@pytest.mark.parametrize(("day", "counts"), [(2, False), (3, True), (20, True), (None, True)])
def test_lost_work_counts_from_an_interval_before_the_latest_reading(
    day: int | None, counts: bool
) -> None:
    row = (9, None if day is None else DAY0 + day * DAY)
    assert facts(read(10, FINE), unplaced_work=(row,)).lost_work == ((row,) if counts else ())
    assert facts(unplaced_work=(row,)).lost_work == (row,)


@pytest.mark.parametrize(("day", "counts"), [(0, False), (1, True)])
def test_lost_work_counts_from_the_opening_of_an_open_episode(day: int, counts: bool) -> None:
    row = (9, DAY0 + day * DAY)
    found = facts(read(1, OVER), read(30, OVER), unplaced_work=(row,))
    assert found.lost_work == ((row,) if counts else ())
    closed = (read(1, OVER), work(2), read(30, FINE))
    assert facts(*closed, unplaced_work=(row,)).lost_work == ()
    again = facts(*closed, read(35, OVER), unplaced_work=(row, (9, DAY0 + 34 * DAY)))
    assert again.lost_work == ()


def test_what_was_not_read_counts_after_the_latest_or_where_no_work_is_logged() -> None:
    def places(*days: int, sheet: str = "June", like: str = "Readings") -> list[str]:
        place = Elsewhere(sheet, like, tuple(DAY0 + d * DAY for d in days))
        found = facts(read(10, FINE), work(9), elsewhere=(place,)).not_read
        return [f"{sheet} {like} {(day - DAY0).days}" for sheet, like, day in found]

    assert places(9, 10) == []
    assert places(9, 12, 11) == ["June Readings 12"]
    assert places(9, 10, sheet="") == [" Readings 10"]
    assert places(9, sheet="") == []
    assert places(2, 9, like="Work done") == []
    assert places(3, 4, 9, like="Work done") == ["June Work done 4"]
    nothing = facts(elsewhere=(Elsewhere("June", "Readings", (DAY0,)),)).not_read
    assert nothing == (("June", "Readings", DAY0),)


def test_an_inlet_is_low_under_the_working_one_and_only_beyond_noise() -> None:
    at = station(working_inlet=22.0)
    for inlet, low in ((21.9, True), (22.0, False), (22.0 - 1e-9, False)):
        assert ask.inlet_low(facts(read(0, FINE, inlet=inlet), at=at)) is low
    assert not ask.inlet_low(facts(at=at))
    assert not ask.inlet_low(facts(read(0, FINE, inlet=None), at=at))


def test_an_inlet_has_fallen_far_under_half_of_the_usual_and_of_what_a_flush_needs() -> None:
    def usual(*inlets: float, latest: float) -> float | None:
        entries = [read(day, 1.0, inlet=inlet) for day, inlet in enumerate(inlets)]
        return ask.fallen_from(facts(*entries, read(30, 1.0, inlet=latest)))

    # What a flush needs here is 2 bar, 20.4 m: half of it is 10.2 m.
    assert usual(30.0, 30.0, 30.0, latest=10.1) == 30.0
    assert usual(30.0, 30.0, 30.0, latest=10.3) is None
    assert usual(20.0, 20.0, 20.0, latest=10.0) is None
    assert usual(20.1, 20.1, 20.1, latest=10.0) == 20.1
    # Of fewer the lowest: at such an inlet no flush works, and 45 psi in a book of kPa looks so.
    assert usual(30.0, latest=10.1) == 30.0
    assert usual(30.0, latest=10.3) is None
    assert usual(90.0, 30.0, latest=5.0) == 30.0
    assert usual(30.0, 9.0, latest=5.0) is None
    # The middle of three on end, so that one odd reading tells nothing, and the highest of them.
    assert usual(90.0, 30.0, 28.0, latest=5.0) == 30.0
    assert usual(30.0, 31.0, 32.0, 12.0, 11.0, 10.5, latest=5.0) == 31.0
    assert usual(12.0, 11.0, 10.5, 30.0, 31.0, 32.0, latest=5.0) == 31.0
    assert ask.fallen_from(facts()) is None
    bad = [read(day, 1.0, why_unusable="no flow") for day in range(3)]
    assert ask.fallen_from(facts(*bad, read(3, 1.0, inlet=5.0))) is None
    entries = [read(day, 1.0, inlet=30.0) for day in range(3)]
    known = station(working_inlet=4.0)
    assert not ask.inlet_low(facts(*entries, read(3, 1.0, inlet=5.0), at=known))
    assert ask.inlet_low(facts(*entries, read(3, 1.0, inlet=5.0)))


def test_too_low_to_flush_is_asked_over_the_limit_alone() -> None:
    assert ask.too_low_to_flush(facts(read(0, OVER, inlet=20.3)))
    assert not ask.too_low_to_flush(facts(read(0, OVER, inlet=20.4)))
    assert not ask.too_low_to_flush(facts(read(0, FINE, inlet=15.0)))
    assert not ask.too_low_to_flush(facts())


def test_drops_are_taken_to_the_reference_flow_else_to_the_usual_one() -> None:
    half = facts(read(0, 1.5, flow=20.0), at=FLOW)
    assert ask.at_reference(half) == ask.at_known_flow(half) == 6.0
    assert ask.over_at_reference(half)
    exact = facts(read(0, 1.25, flow=20.0), at=FLOW)
    assert not ask.over_at_reference(exact)
    assert not ask.over_at_reference(facts(read(0, OVER, flow=40.0), at=FLOW))
    days = [read(day, 1.0, flow=40.0) for day in range(3)]
    usual = facts(*days, read(3, 1.5, flow=20.0))
    assert (ask.known_flow(usual), ask.at_known_flow(usual)) == (40.0, 6.0)
    assert ask.at_reference(usual) == 1.5
    few = facts(*days[1:], read(3, 1.5, flow=20.0))
    assert (ask.known_flow(few), ask.at_known_flow(few)) == (None, 1.5)
    unread = facts(*days, read(3, 1.5), at=FLOW)
    assert ask.at_known_flow(unread) == 1.5


def test_a_return_by_one_reading_alone_needs_no_work_and_no_flow() -> None:
    over, back = read(0, OVER), read(1, FINE)

    def alone(*entries: Reading | Work, **at: Any) -> bool:
        return ask.back_by_one_reading(facts(*entries, at=station(**at)))

    assert alone(over, back)
    assert not alone()
    assert not alone(back)
    assert not alone(over)
    assert not alone(over, back, read(2, FINE))
    assert not alone(over, work(1), back)
    for day, is_alone in ((1, False), (2, False)):
        assert alone(over, back, work(day, "hand cleaning")) is is_alone
    assert alone(over, back, work(2, "other"))
    assert alone(over, read(1, FINE, flow=40.0))
    assert not alone(over, read(1, FINE, flow=40.0), reference_flow=40.0)
    assert alone(over, back, reference_flow=40.0)
    before = (read(-9, OVER), work(-8), read(-7, FINE))
    assert alone(*before, over, back)
    assert not alone(read(-9, OVER), read(-7, FINE), over, work(1), back)


@pytest.mark.parametrize(
    ("day", "what", "alone"),
    [(1, "flush", False), (5, "flush", False), (0, "other", True), (5, "other", True)],
)
def test_a_return_that_the_gauge_cannot_tell_is_none_once_work_is_logged(
    day: int, what: str, alone: bool
) -> None:
    entries = (read(0, OVER), read(1, 4.9, p_over=0.4), work(day, what))
    assert ask.came_back_alone(facts(*entries)) is alone


def test_no_return_without_an_episode_that_ended() -> None:
    assert not ask.came_back_alone(facts())
    assert not ask.came_back_alone(facts(read(0, 4.9, p_over=0.4)))
    assert not ask.came_back_alone(facts(read(0, OVER, p_over=0.9)))
    before = (work(-1), read(0, OVER), read(1, 4.9, p_over=0.4))
    assert ask.came_back_alone(facts(*before))


@pytest.mark.parametrize("sign", ["click", "water", "water_heard"])
def test_a_flush_is_unseen_where_no_sign_was_written_down(sign: str) -> None:
    blank = {"click": None, "water": None, "water_heard": None}
    after = read(2, OVER)
    assert ask.flush_unseen(facts(read(0, OVER), work(1, **blank), after))
    assert not ask.flush_unseen(facts(read(0, OVER), work(1, **{**blank, sign: True}), after))
    assert not ask.flush_unseen(facts(read(0, OVER)))
    carried = CarriedOver(2, "needs hand cleaning", opened=DAY0 - DAY, flushed=DAY0 - DAY)
    assert not ask.flush_unseen(facts(after, carried=carried))


def test_an_outlet_of_zero_is_told_from_one_that_was_not_read() -> None:
    assert ask.outlet_zero(facts(read(0, OVER, outlet=0.0)))
    assert not ask.outlet_zero(facts(read(0, OVER)))
    assert not ask.outlet_zero(facts(read(0, OVER, inlet=None, outlet=None)))
    assert not ask.outlet_zero(facts())


def test_cells_beside_an_unusable_reading_are_not_asked() -> None:
    unread = ("Flow 'low'",)
    assert ask.unread_beside(facts(read(0, FINE, unread=unread))) == unread
    assert ask.unread_beside(facts(read(0, FINE, unread=unread), read(1, FINE))) == ()
    assert ask.unread_beside(facts(read(0, FINE, unread=unread, why_unusable="no flow"))) == ()
    assert ask.unread_beside(facts()) == ()


def test_a_limit_is_too_high_beyond_fifteen_metres() -> None:
    assert not ask.limit_too_high(facts(at=station(limit=15.0)))
    assert ask.limit_too_high(facts(at=station(limit=15.1)))


@pytest.mark.parametrize(
    ("change", "leak"),
    [
        ({}, True),
        ({"flow": 46.0}, False),
        ({"flow": None}, False),
        ({"inlet": 22.0}, False),
        ({"inlet": 22.0, "field": 14.0}, True),
    ],
)
def test_a_leak_needs_a_high_flow_and_a_low_pressure(change: dict[str, Any], leak: bool) -> None:
    at = station(working_inlet=22.0, wanted_field=15.0, reference_flow=40.0)
    values = {"inlet": 21.0, "field": 15.0, "flow": 46.1, **change}
    assert ask.leak_suspected(facts(read(0, FINE, **values), at=at)) is leak
    assert not ask.leak_suspected(
        facts(read(0, FINE, **values), at=replace(at, reference_flow=None))
    )
