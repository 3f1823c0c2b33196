"""The scan: which entries move a station on the ladder, and what it remembers of them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from siltbook.batch.ladder.replay import (
    Gear,
    Standing,
    Step,
    both_sides_alike,
    cycles_short,
    missing_cycles,
    recurring,
    replay_ladder,
    scanned,
    settled,
    steps,
)
from siltbook.batch.model import SAME_BOTH_SIDES, CarriedOver, Episode, History, Reading, Work
from tests.ladder.histories import DAY0, read, station, work

OVER, FINE = 6.0, 2.0
DAY = dt.timedelta(days=1)


def standing(*entries: Reading | Work, carried: CarriedOver | None = None) -> Standing:
    history = History(station(), entries, carried=carried)
    return replay_ladder(history, flush_cycles=3, flush_inlet=20.0)


@pytest.mark.parametrize(
    ("change", "alike"),
    [
        ({}, True),
        ({"why_unusable": SAME_BOTH_SIDES}, True),
        ({"why_unusable": "no flow"}, False),
        ({"why_unusable": "pressure beyond the gauge's full scale"}, False),
        ({"why_unusable": "drop below zero"}, False),
        ({"flow": 40.0}, False),
        ({"inlet": 0.0}, False),
        ({"inlet": None}, False),
        ({"drop": None}, False),
        ({"drop": 1e-5}, False),
        ({"drop": -1e-5}, False),
    ],
)
def test_both_sides_alike_is_asked_of_plain_readings_above_zero(
    change: dict[str, Any], alike: bool
) -> None:
    assert both_sides_alike(replace(read(0, 0.0), **change)) is alike


def test_sides_alike_are_doubted_once_and_counted_on_another_day() -> None:
    alike = read(1, 0.0)
    for before in ((read(0, OVER),), (read(0, FINE), work(0))):
        marked = scanned(History(station(), (*before, alike)), flush_cycles=3, flush_inlet=20.0)[0]
        assert marked[-1] == replace(alike, why_unusable=SAME_BOTH_SIDES)
    for second, step in ((read(1, 0.0), Step.NEEDS_FLUSH), (read(2, 0.0), Step.CLEAR)):
        assert standing(read(0, OVER), alike, second).step is step
    worked = (read(0, OVER), alike, work(1, "other"), read(2, 0.0))
    assert standing(*worked).step is Step.NEEDS_FLUSH
    # Over half of the limit it does not vanish by itself either.
    for drop, doubted in ((2.5, False), (2.51, True)):
        found = settled(History(station(), (read(0, drop), alike)), flush_cycles=3, flush_inlet=20)
        assert (found[-1] != alike) is doubted


def test_every_entry_comes_with_the_standing_before_and_after_it() -> None:
    entries = (read(0, FINE), read(1, FINE), read(2, OVER), work(3), read(4, FINE))
    found = list(steps(History(station(), entries), flush_cycles=3, flush_inlet=20.0))
    assert [entry for entry, _, _ in found] == list(entries)
    assert [(before.step, after.step) for _, before, after in found] == [
        (Step.CLEAR, Step.CLEAR),
        (Step.CLEAR, Step.CLEAR),
        (Step.CLEAR, Step.NEEDS_FLUSH),
        (Step.NEEDS_FLUSH, Step.AWAITS_FLUSH_READING),
        (Step.AWAITS_FLUSH_READING, Step.CLEAR),
    ]
    rows = [("readings", entries[4].row)]
    assert list(found[-1][2].rows) == rows
    assert found[-1][2] == standing(*entries)


def test_the_rows_of_a_standing_are_those_of_its_episode() -> None:
    over, flush, after = read(1, OVER), work(2), read(3, OVER)
    call, other = work(4, "called out"), work(5, "other")
    found = standing(read(0, FINE), over, flush, after, call, other)
    assert found.rows == (
        ("readings", over.row), ("work", flush.row), ("readings", after.row), ("work", call.row),
    )  # fmt: skip
    assert (found.opened, found.flushed, found.called) == (over, flush, call)
    assert found.drop == OVER
    assert found.episodes == (Episode(over.date, None, "", over.row),)


def test_an_open_question_about_the_gear_keeps_its_rows_and_those_of_last_season() -> None:
    failed, solenoid = work(1, click=False), work(2, "solenoid replaced")
    over, fine = read(3, OVER), read(3, FINE)
    for last in (over, fine):
        found = standing(failed, solenoid, last)
        assert found.rows == (
            ("work", failed.row), ("work", solenoid.row), ("readings", last.row),
        )  # fmt: skip
        assert (found.failed, found.new_solenoid, found.replaced) == (failed, solenoid, solenoid)
    carried = CarriedOver(2, "clear", "solenoid suspect", failed=DAY0 - DAY)
    assert standing(over, carried=carried).rows == (("carried", 2), ("readings", over.row))
    trusted = CarriedOver(2, "needs flush", opened=DAY0 - DAY)
    assert standing(fine, carried=trusted).rows == (("readings", fine.row),)


def test_help_for_a_controller_outlives_the_episode_and_no_other_help_does() -> None:
    failed, solenoid, again = (
        work(1, click=False),
        work(2, "solenoid replaced"),
        work(3, water=False),
    )
    call = work(4, "called out")
    assert standing(failed, solenoid, again, call, read(5, FINE)).called == call
    assert standing(failed, call, read(5, FINE)).called is None


def test_what_a_new_part_and_a_missed_sign_make_of_the_gear() -> None:
    failed, water = work(1, click=False), work(5, water=False)
    solenoid, controller = work(2, "solenoid replaced"), work(3, "controller replaced")
    assert standing(failed).gear is Gear.SOLENOID_SUSPECT
    assert standing(failed, solenoid).gear is Gear.AWAITS_PROOF
    assert standing(failed, solenoid, water).gear is Gear.CONTROLLER_SUSPECT
    assert standing(failed, solenoid, water, work(6, click=False)).gear is Gear.CONTROLLER_SUSPECT
    found = standing(failed, solenoid, controller)
    assert (found.new_solenoid, found.replaced) == (solenoid, controller)
    assert standing(failed, controller).new_solenoid is None
    proven = standing(failed, solenoid, work(4))
    assert (proven.gear, proven.failed, proven.new_solenoid) == (Gear.TRUSTED, None, None)


@pytest.mark.parametrize(
    ("change", "low", "gear"),
    [
        ({"flush_inlet": 19.9}, True, Gear.TRUSTED),
        ({"flush_inlet": 20.0}, False, Gear.TRUSTED),
        ({"flush_inlet": 19.9, "click": None}, True, Gear.SOLENOID_SUSPECT),
        ({"flush_inlet": 19.9, "water": None}, True, Gear.SOLENOID_SUSPECT),
        ({"flush_inlet": 19.9, "click": False}, True, Gear.SOLENOID_SUSPECT),
        ({"flush_inlet": 19.9, "cycles": 2.0}, True, Gear.SOLENOID_SUSPECT),
    ],
)
def test_a_flush_at_a_low_inlet_proves_the_gear_by_click_and_water_alone(
    change: dict[str, Any], low: bool, gear: Gear
) -> None:
    flush = work(2, **change)
    found = standing(work(0, click=False), read(1, OVER), flush)
    assert (found.supply_low == flush, found.gear) == (low, gear)


@pytest.mark.parametrize(
    ("change", "low"),
    [({}, False), ({"cycles": 2.0}, True), ({"click": False}, True)],
)
def test_out_of_an_episode_only_a_short_or_signless_flush_tells_of_the_supply(
    change: dict[str, Any], low: bool
) -> None:
    assert (
        standing(read(0, FINE), work(1, flush_inlet=15.0, **change)).supply_low is not None
    ) is (low)


def test_a_short_flush_is_remembered_where_a_flush_is_needed() -> None:
    short = work(1, cycles=2.0)
    assert standing(read(0, OVER), short).partial == short
    assert standing(read(0, FINE), short).partial is None
    low = work(1, cycles=2.0, flush_inlet=15.0)
    assert standing(read(0, OVER), low).partial == low
    assert standing(read(0, OVER), short, work(2)).partial is None
    awaiting = (read(0, OVER), work(1), read(2, OVER), work(3, cycles=1.0))
    assert standing(*awaiting).partial is None
    cleaned = standing(read(0, OVER), short, work(2, "hand cleaning"))
    assert (cleaned.partial, cleaned.step) == (None, Step.AWAITS_CLEANING_READING)
    assert [missing_cycles(replace(short, cycles=c), 3) for c in (None, 2.0, 3.0, 5.0)] == [
        0,
        1,
        0,
        0,
    ]
    assert cycles_short(short, 3) == "1 cycle short"
    assert cycles_short(short, 4) == "2 cycles short"


@pytest.mark.parametrize("what", ["hand cleaning", "screen replaced"])
def test_a_cleaning_clears_the_supply_and_awaits_its_reading(what: str) -> None:
    cleaning = work(2, what)
    found = standing(read(0, OVER), work(1, flush_inlet=15.0), cleaning)
    assert (found.supply_low, found.cleaned, found.last_work) == (None, cleaning, cleaning)
    assert standing(read(0, FINE), cleaning).cleaned is None


def test_what_closed_an_episode_is_its_last_work_else_what_was_done_that_day() -> None:
    def by(*entries: Reading | Work) -> str:
        return str(standing(*entries).episodes[-1].closed_by)

    over, fine = read(0, OVER), read(3, FINE)
    assert by(over, work(1), work(2, "hand cleaning"), fine) == "hand cleaning"
    assert by(over, fine, work(3)) == "flush"
    assert by(over, fine, work(4)) == "no work logged"
    assert by(over, work(1, "called out"), fine) == "no work logged"
    assert by(over, work(1, "solenoid replaced"), fine) == "solenoid replaced"


def test_a_return_closes_the_latest_episode_and_leaves_the_others() -> None:
    entries = [
        entry
        for day in (0, 10, 20)
        for entry in (read(day, OVER), work(day + 1), read(day + 2, FINE))
    ]
    days = [(e.opened, e.closed) for e in standing(*entries).episodes]
    assert days == [(DAY0 + day * DAY, DAY0 + (day + 2) * DAY) for day in (0, 10, 20)]


def test_what_was_carried_over_is_where_the_scan_begins() -> None:
    day = DAY0 - 9 * DAY
    assert standing() == standing(carried=None)
    found = standing(carried=CarriedOver(4, "awaiting reading after cleaning", cleaned=day))
    assert (found.episodes, found.worked) == ((Episode(day, None, ""),), True)
    assert (found.cleaned, found.last_work, found.rows) == (
        found.last_work, found.cleaned, (("carried", 4),),
    )  # fmt: skip
    flushed = standing(carried=CarriedOver(4, "awaiting reading after flush", flushed=day))
    assert (flushed.worked, flushed.episodes[0].opened) == (True, day)
    assert flushed.last_work == Work(0, day, None, "flush")
    needs = standing(carried=CarriedOver(4, "needs flush", opened=DAY0 - DAY, flushed=day))
    assert (needs.worked, needs.episodes[0].opened) == (False, DAY0 - DAY)
    assert standing(carried=CarriedOver(4, "needs flush")).episodes == ()


@pytest.mark.parametrize(
    ("gaps", "found"),
    [((7, 7), 1), ((8, 7), 0), ((7, 8), 0)],
)
def test_an_episode_recurs_soon_after_the_last(gaps: tuple[int, int], found: int) -> None:
    """Each is open for two days."""
    opened = [DAY0, DAY0 + (2 + gaps[0]) * DAY, DAY0 + (4 + sum(gaps)) * DAY]
    episodes = tuple(Episode(day, day + 2 * DAY, "flush") for day in opened)
    assert len(recurring(episodes)) == found


@pytest.mark.parametrize(("last", "found"), [(30, 1), (31, 0)])
def test_three_episodes_recur_within_thirty_days(last: int, found: int) -> None:
    episodes = (
        Episode(DAY0, DAY0 + 12 * DAY, "flush"),
        Episode(DAY0 + 15 * DAY, DAY0 + 28 * DAY, "flush"),
        Episode(DAY0 + last * DAY, None, ""),
    )
    assert recurring(episodes) == (episodes,) * found
    assert recurring((*episodes, Episode(DAY0 + 99 * DAY, None, ""))) == (episodes,) * found
    assert recurring(episodes[1:]) == ()
    unended = (episodes[0], replace(episodes[1], closed=None), episodes[2])
    assert recurring(unended) == ()
