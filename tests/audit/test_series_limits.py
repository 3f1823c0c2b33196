"""Series of readings at the limits that hold for long seasons, large farms and odd gauges."""

from __future__ import annotations

import math
import random
import statistics
from dataclasses import replace

import numpy as np
import pytest
import scipy

from siltbook.batch.audit import power, repeats
from siltbook.batch.audit.contradictions import neighbours, swapped
from siltbook.batch.audit.digits import Digits, last_digits, round_digits
from siltbook.batch.audit.model import Place, RuleResult, State
from siltbook.batch.audit.power import FAULTS, _is_found, _names, _rounded
from siltbook.batch.audit.repeats import (
    RowBlock,
    _block_chance,
    _others,
    _rerounded,
    _together,
    copied_block,
    copied_round,
    same_series,
    stuck_gauge,
)
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.tracks import Track, repeat_chance
from siltbook.batch.model import Station
from tests.audit.farm import open_places
from tests.audit.series import NAN, empty, station, track, zigzag
from tests.audit.test_limits import block, ends, only, repeated, restless, rounds, turned

BOOK = empty()
ALL = np.ones(20, dtype=bool)


# How often a gauge stays where it is.


@pytest.mark.parametrize(("by", "stays"), [(0.04, True), (0.06, False)])
def test_less_than_half_a_division_is_no_move(by: float, stays: bool) -> None:
    one = track([30.0, 30.0 + by, 32.0, 32.0 + by] * 5)
    spread = math.erf(0.1 / ((2.0 - by - 0.05) / 1.1503) / math.sqrt(2.0))
    chance = repeat_chance(one, one.inlet, 0.1, ALL)
    if stays:
        assert chance == pytest.approx(11 / 21)  # ten of 19 steps; rule of succession
    else:
        assert chance == pytest.approx(max(spread, 1 / 21), rel=0.1)
        assert chance < 0.2


@pytest.mark.parametrize(("behind", "told"), [(6, False), (7, True)])
def test_a_stuck_stretch_and_the_step_that_ends_it_do_not_judge_themselves(
    behind: int, told: bool
) -> None:
    """Before it two steps count, behind it all but the first."""
    values = [*zigzag(3), *[33.0] * 5, *zigzag(behind)]
    found = stuck_gauge(BOOK, [track(values, [NAN] * len(values))])
    assert (found.state is not State.CANNOT) is told
    if told:
        assert found.p == pytest.approx(min(1.0, len(values) * 0.1**4 * 2))


def test_a_stuck_gauge_is_held_against_the_first_neighbours_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def near(*movers: bool) -> list[Track]:
        made = [track([33.0] * 20, [NAN] * 20, of=station("S0", "East"))]
        for n, moves in enumerate(movers, 1):
            inlet = zigzag(20, 30.0 + n) if moves else [30.0 + n] * 20
            made.append(track(inlet, [NAN] * 20, of=station(f"S{n}", "East")))
        return made

    def stuck(every: list[Track], name: str) -> bool:
        return name in [place.station for place in open_places(stuck_gauge(BOOK, every))]

    monkeypatch.setattr(repeats, "NEAR", 2)
    assert stuck(near(True, True), "S0")
    assert not stuck(near(True, False, True), "S0")
    # One that stands behind the first two has both of them.
    assert stuck(near(True, True, False)[1:], "S3")
    monkeypatch.setattr(repeats, "NEAR", 3)
    assert stuck(near(True, False, True), "S0")


def test_a_neighbour_speaks_of_the_same_time_alone() -> None:
    stuck = track([33.0] * 20, [NAN] * 20, of=station("Elm", "East"))
    same = track(zigzag(20), [NAN] * 20)
    later = track([*zigzag(20), *[30.0] * 40], [NAN] * 60)
    assert _rerounded(later, stuck) == _rerounded(same, stuck) < 1.0
    assert _rerounded(track(zigzag(8), [NAN] * 8), stuck) == 1.0
    assert _rerounded(track(zigzag(9), [NAN] * 9), stuck) < 1.0
    # On the stuck gauge's own division of 5 m a neighbour's two metres are no move.
    coarse = replace(stuck, division=5.0)
    assert _rerounded(same, coarse) == pytest.approx(
        max(math.erf(5.0 / (1.95 / 1.1503) / math.sqrt(2.0)), 20 / 21)
    )
    assert _rerounded(same, replace(stuck, division=NAN)) == 1.0
    # One that stays every other day does so in ten steps of 19; rule of succession.
    halting = track([30.0, 30.0, 34.0, 34.0] * 5, [NAN] * 20)
    assert _rerounded(halting, stuck) == pytest.approx(11 / 21)
    # A neighbour without a division of its own is taken to be read as finely.
    assert _rerounded(replace(same, division=NAN), stuck) == _rerounded(same, stuck)


# Blocks and rounds that stand again.


def test_the_chance_of_a_block_by_its_length() -> None:
    one = track(zigzag(30))
    assert _block_chance(one, RowBlock(5, 8), 0.1) == pytest.approx(30 * 0.01)
    assert _block_chance(one, RowBlock(5, 8, 0), 0.1) == pytest.approx(30 * 29 / 2 * 0.001)


def test_each_station_that_can_be_asked_makes_a_block_less_strange() -> None:
    inlet, outlet = restless(30), [5.0 - (n * n * 5) % 17 for n in range(30)]
    inlet[11:14], outlet[11:14] = [31.0] * 3, [20.0] * 3
    alone = copied_block(BOOK, [track(inlet, outlet)])
    other = track(restless(30), [5.0 - (n * n * 5) % 17 for n in range(30)], of=station("Birch"))
    short = track(restless(11), of=station("Cedar"))
    two = copied_block(BOOK, [track(inlet, outlet), other, short])
    assert alone.p is not None
    assert two.p == pytest.approx(2 * alone.p)


def test_of_a_long_season_the_last_readings_are_looked_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(repeats, "LONGEST_TRACK", 24)
    inlet = [30.0 + (n * n * 7) % 101 for n in range(40)]
    outlet = [5.0 - (n * n * 5) % 97 for n in range(40)]

    def again(first: int, second: int) -> list[str]:
        up, down = [*inlet], [*outlet]
        up[second : second + 4], down[second : second + 4] = up[first:][:4], down[first:][:4]
        return [p.said for p in open_places(copied_block(BOOK, [track(up, down)]))]

    said = "Alder: rows 32, 33, 34 and 35 repeat rows 18, 19, 20 and 21, 4 readings in a row"
    assert again(16, 30) == [said]
    assert again(11, 30) == []


@pytest.mark.parametrize(("before", "found"), [(1, True), (0, False)])
def test_rounds_are_compared_where_nine_pairs_are_as_far_apart(before: int, found: bool) -> None:
    """Of twenty rounds nine pairs are eleven rounds apart, and eight are twelve."""
    result = copied_round(BOOK, repeated(rounds(20), 12, before, 6))
    assert (result.state is State.LOOK) is found
    assert (result.p == 1.0) is not found


def test_four_of_five_stations_are_eight_in_ten() -> None:
    chance = copied_round(BOOK, repeated(rounds(20, 5), 12, 11, 4)).p
    assert chance is not None
    both = 1 / 0.02 - 1
    mean = 0.5 / 19
    law = scipy.stats.betabinom(5, mean * both, (1 - mean) * both)
    assert chance == pytest.approx(min(1.0, law.sf(3) * 190))


def test_the_second_reading_of_a_day_is_no_part_of_its_round() -> None:
    """A station that is read again the same day, as on the day before, repeats nothing."""
    twice = []
    for one in rounds(20):
        at = [*range(13), 12, *range(13, 20)]
        inlet, outlet = one.inlet[at], one.outlet[at]
        inlet[13], outlet[13] = one.inlet[11], one.outlet[11]
        twice.append(track(inlet.tolist(), outlet.tolist(), of=one.station, days=at))
    assert copied_round(BOOK, twice).p == 1.0
    assert neighbours(BOOK, twice).p == neighbours(BOOK, rounds(20)).p


def test_what_is_usual_among_other_rounds() -> None:
    """Mean and correlation by hand: half a round more is taken for granted."""
    none = np.array([], dtype=np.int64)
    assert _together(none, none) == (0.5, 0.95)
    four = np.full(4, 4)
    # Shares 2/4, 2/4, 1/4 and 1/4 vary less than by chance: the least correlation.
    assert _together(np.array([2, 2, 1, 1]), four) == pytest.approx((2.0 / 5, 0.02))
    shares = [0.0, 1.0, 0.5, 0.25, 0.0, 0.25]
    mean = 2.5 / 7
    alone = mean * (1 - mean) / 4
    rho = (statistics.variance(shares) - alone) / (mean * (1 - mean) - alone)
    assert 0.1 < rho < 0.9
    equal = np.array([round(4 * share) for share in shares])
    assert _together(equal, np.full(6, 4)) == pytest.approx((mean, rho))
    # One other round tells no spread: then rounds may repeat all together.
    assert _together(np.array([0]), np.array([4])) == pytest.approx((0.25, 0.95))


def test_several_suspects_are_held_against_the_distances_beside_and_twice_theirs() -> None:
    pairs = {n: (np.full(3, n), np.array([9, 9, 3 if n == 4 else 9])) for n in range(1, 8)}
    equal, common = _others(pairs, 3, np.array([0, 2]))
    assert equal.tolist() == [3, 2, 2, 2, 4, 4, 6, 6, 6]
    assert set(common.tolist()) == {9}  # three stations are no round
    assert _others(pairs, 3, np.array([1]))[0].tolist() == [3, 3]
    assert _others(pairs, 7, np.array([0, 1]))[0].tolist() == [7, 6, 6, 6]


def test_days_on_which_both_were_read_are_common() -> None:
    every = rounds(20)
    late = every[1]
    inlet, outlet = late.inlet[:15].copy(), late.outlet[:15].copy()
    inlet[5:11], outlet[5:11] = every[0].inlet[5:11], every[0].outlet[5:11]
    every[1] = track(inlet.tolist(), outlet.tolist(), of=late.station)
    assert only(same_series(BOOK, every)) == (
        "S1 reads as S0 on 6 common days running (6 of 15 in all)"
    )


def test_the_very_first_reading_of_the_farm_counts_as_any_other() -> None:
    every = rounds(20)
    inlet, outlet = every[1].inlet.copy(), every[1].outlet.copy()
    inlet[:6], outlet[:6] = every[0].inlet[:6], every[0].outlet[:6]
    every[1] = replace(every[1], inlet=inlet, outlet=outlet)
    assert only(same_series(BOOK, every)).endswith("on 6 common days running (6 of 20 in all)")
    assert copied_round(BOOK, rounds(10, 4)).state is State.QUIET  # ten rounds of four stations
    # Five of six repeat the first round, the first station among them.
    result = copied_round(BOOK, repeated(rounds(30, 6), 1, 0, 5))
    assert only(result) == "Round of 2026-05-02: 5 of 6 stations read exactly as on 2026-05-01"


def test_stations_beyond_the_most_are_not_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    every = rounds(20, 6)
    every[5] = replace(every[4], station=every[5].station)
    assert only(same_series(BOOK, every)) == (
        "S5 reads as S4 on 20 common days running (20 of 20 in all)"
    )
    monkeypatch.setattr(repeats, "MOST_STATIONS", 5)
    assert same_series(BOOK, every).state is State.QUIET


# Last digits.


@pytest.mark.parametrize(("finer", "told"), [(3, True), (4, False)])
def test_nine_in_ten_readings_stand_on_the_division(finer: int, told: bool) -> None:
    values = np.array([20.0 + (n * 7 % 30) for n in range(40)][:30])
    values[:finer] += 0.5
    found = last_digits(values, 1.0)
    assert isinstance(found, Digits) is told
    if not told:
        assert found == "read finer than the division in the register"
    nearly = last_digits(np.array([20.0 + (n * 7 % 30) + 0.019 for n in range(30)]), 1.0)
    assert isinstance(nearly, Digits)
    beside = last_digits(np.array([20.0 + (n * 7 % 30) + 0.021 for n in range(30)]), 1.0)
    assert not isinstance(beside, Digits)


@pytest.mark.parametrize(("turn", "told"), [(9, False), (10, True)])
def test_readings_span_two_turns_of_the_digit(turn: int, told: bool) -> None:
    """On a division of 1 the digit turns once in five; the outer tenths do not count."""
    found = last_digits(np.array([100.0, 100.0 + turn] * 15), 1.0)
    assert isinstance(found, Digits) is told
    if not told:
        assert found == "readings too close together for even digits"
    tails = np.array([60.0, *[100.0, 100.0 + turn] * 14, 190.0])
    assert isinstance(last_digits(tails, 1.0), Digits) is told


def test_each_series_that_is_tested_makes_round_digits_less_strange() -> None:
    one = round_digits(BOOK, [track(ends(14, 25), ends(5, 25))])
    assert one.p == pytest.approx(2 * scipy.stats.binom.sf(13, 25, 0.2))
    coarse = track(ends(14, 25), [NAN] * 25, of=station(division=None), division=0.1)
    assert round_digits(BOOK, [coarse]).state is State.CANNOT


# Inlets of one block, sides exchanged.


@pytest.mark.parametrize(("by", "found"), [(1.9, False), (2.1, True)])
def test_two_divisions_of_a_coarse_gauge_are_nobody_s_fault(by: float, found: bool) -> None:
    """Read to 1 m: the own gauge or that of the neighbours."""
    every = [replace(t, inlet=np.round(t.inlet)) for t in block(30, 0, count=12)]
    inlet = every[-1].inlet.copy()
    inlet[1:13:2] += by
    own = [*every[:-1], replace(every[-1], inlet=inlet, division=1.0)]
    assert (neighbours(BOOK, own).state is State.LOOK) is found
    theirs = [*(replace(t, division=1.0) for t in every[:-1]), replace(every[-1], inlet=inlet)]
    assert (neighbours(BOOK, theirs).state is State.LOOK) is found
    unknown = [*(replace(t, division=NAN) for t in every[:-1]), replace(every[-1], inlet=inlet)]
    assert neighbours(BOOK, unknown).state is State.LOOK


def test_days_far_off_at_other_stations_make_one_s_own_less_strange() -> None:
    """None of 30 readings of the three others is far off: one in 32 may be."""
    result = neighbours(BOOK, block(10, 3))
    assert result.p == pytest.approx(scipy.stats.binom.sf(2, 10, 1 / 32) * 4)
    assert result.state is State.QUIET


def test_each_station_makes_exchanged_sides_less_strange() -> None:
    alone, other = turned(2), replace(turned(0), station=station("Birch"))
    one, two = swapped(BOOK, [alone]).p, swapped(BOOK, [alone, other]).p
    assert one is not None
    assert two == pytest.approx(2 * one)


# Planted faults.


def test_guessed_pressures_stand_on_ten_divisions_of_any_gauge() -> None:
    values = [30.0 + 0.7 * n for n in range(12)]
    planted = _rounded(track(values, division=0.2), [], random.Random(1))
    assert planted is not None
    assert planted.inlet.tolist() == [2.0 * round(v / 2) for v in values]


def test_faults_are_planted_among_the_first_stations(monkeypatch: pytest.MonkeyPatch) -> None:
    def moving(name: str, count: int) -> Track:
        return track(zigzag(count), [20.0 + (d * 3) % 7 for d in range(count)], of=station(name))

    every = [moving("S0", 11), moving("S1", 30), moving("S2", 30)]
    monkeypatch.setattr(power, "MOST_STATIONS", 1)
    assert {p.found for p in power.power(BOOK, every)} == {0}
    assert power.power(BOOK, every[1:])[0].found == power.CASES


def test_a_fault_is_found_where_its_own_station_is_named() -> None:
    def names(station: str, said: str, *, holds: bool = False) -> bool:
        place = Place("Readings", "D2", said, station, holds=holds)
        return _names(RuleResult(RULES["swapped"], State.LOOK, "", places=(place,)), "Elm")

    assert names("Elm", "odd")
    assert names("Oak", "Oak reads as Elm on 6 common days")
    assert not names("Oak", "odd")
    assert not names("Elm", "odd", holds=True)
    assert not _is_found(BOOK, [track(zigzag(9))], FAULTS[0], random.Random(1))


def test_a_place_says_a_pressure_in_the_station_s_own_unit() -> None:
    bar: Station = station(unit="bar")
    values = [*zigzag(30), *[33.0] * 6]
    found = stuck_gauge(BOOK, [track(values, [NAN] * 36, of=bar)])
    assert only(found) == "Alder: inlet 3.236 bar in 6 readings running (5 days, rows 32 to 37)"
