"""The rules on the data at their limits: one less is quiet or cannot be told, and chances by hand.

Each chance is worked out here a second way, by scipy's laws or by hand.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import scipy

from siltbook.batch.audit.contradictions import neighbours, resting, swapped
from siltbook.batch.audit.digits import round_digits
from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.repeats import copied_block, copied_round, same_series, stuck_gauge
from siltbook.batch.audit.tracks import Track
from siltbook.batch.model import ChangedGauge
from tests.audit.farm import open_places
from tests.audit.series import FIRST, NAN, empty, station, track, zigzag

BOOK = empty()


def only(result: RuleResult) -> str:
    (place,) = open_places(result)
    return place.said


def restless(count: int, top: int = 30, turn: int = 23) -> list[float]:
    """Whole metres that move by their own law and never stay."""
    return [float(top + (n * n * 7) % turn) for n in range(count)]


# One gauge that stays on a value.


@pytest.mark.parametrize("length", [4, 5])
def test_five_equal_readings_are_looked_at_and_four_are_not(length: int) -> None:
    values = zigzag(30) + [33.0] * length
    found = stuck_gauge(BOOK, [track(values, restless(len(values), 5))])
    assert (found.state is State.LOOK) is (length == 5)
    if length == 5:
        assert only(found) == "Alder: inlet 33 m in 5 readings running (4 days, rows 32 to 36)"
        # Steps of 2 m, of which half a division may be chance, against a division of 0.1 m.
        spread = 1.95 / 1.1503
        stays = math.erf(0.1 / spread / math.sqrt(2.0))
        assert found.p == pytest.approx(35 * stays**4 * 2)


@pytest.mark.parametrize("before", [8, 9])
def test_a_gauge_is_judged_by_eight_steps_of_its_own(before: int) -> None:
    found = stuck_gauge(BOOK, [track(zigzag(before) + [33.0] * 5, [NAN] * (before + 5))])
    if before == 8:
        assert found.state is State.CANNOT
        assert found.said == "No gauge moves enough against its division to tell."
    else:
        # It never stayed in 8 steps: at most 1 in 10; 14 readings, two sides.
        assert found.p == pytest.approx(14 * 0.1**4 * 2)
        assert found.state is State.LOOK


def test_steps_over_work_say_nothing_of_a_gauge() -> None:
    one = track(zigzag(9) + [33.0] * 5, [NAN] * 14, worked=[4])
    assert stuck_gauge(BOOK, [one]).state is State.CANNOT


def test_the_outlet_s_gauge_is_named_with_its_own_cell() -> None:
    values = zigzag(30)
    outlet = [float(20 + n % 2 * 3) for n in range(24)] + [25.0] * 6
    (place,) = open_places(stuck_gauge(BOOK, [track(values, outlet)]))
    assert place.said == "Alder: outlet 25 m in 6 readings running (5 days, rows 26 to 31)"
    assert place.cell == BOOK.readings.cell("outlet", 26)


@pytest.mark.parametrize(("near", "told"), [(1, False), (2, True)])
def test_a_gauge_that_never_moves_is_judged_by_two_neighbours(near: int, told: bool) -> None:
    stuck = track([33.0] * 20, [NAN] * 20, of=station("Elm", "East"))
    others = [
        track(zigzag(20, 30.0 + n), [NAN] * 20, of=station(name, "East"))
        for n, name in enumerate(("Alder", "Birch")[:near])
    ]
    found = stuck_gauge(BOOK, [*others, stuck])
    named = [place.station for place in open_places(found)]
    assert named == (["Elm"] if told else [])
    elsewhere = [replace(one, station=station(one.station.name, "West")) for one in others]
    assert open_places(stuck_gauge(BOOK, [*elsewhere, stuck])) == []
    if told:
        # A neighbour's inlet of these steps stays on 0.1 m as rarely as its own spread says.
        stays = max(math.erf(0.1 / (1.95 / 1.1503) / math.sqrt(2.0)), 1 / 21)
        assert found.p == pytest.approx(min(1.0, 20 * stays**19 * 6))


# Whole rows that stand there again.


@pytest.mark.parametrize("length", [2, 3])
def test_three_rows_filled_down_are_a_block_and_two_are_not(length: int) -> None:
    inlet = [30.0 + (n * 7 % 11) for n in range(30)]
    outlet = [25.0 - (n * 5 % 7) for n in range(30)]
    for n in range(1, length):
        inlet[10 + n], outlet[10 + n] = inlet[10], outlet[10]
    found = copied_block(BOOK, [track(inlet, outlet)])
    assert (found.state is State.LOOK) is (length == 3)
    if length == 3:
        assert only(found) == "Alder: 3 readings the same in every column, rows 12, 13 and 14"


@pytest.mark.parametrize("length", [2, 3])
def test_three_rows_that_stand_again_are_a_block_and_two_are_not(length: int) -> None:
    inlet, outlet = restless(30), [25.0 - (n * n * 5) % 17 for n in range(30)]
    for n in range(length):
        inlet[20 + n], outlet[20 + n] = inlet[4 + n], outlet[4 + n]
    found = copied_block(BOOK, [track(inlet, outlet)])
    assert (found.state is State.LOOK) is (length == 3)
    if length == 3:
        said = "Alder: rows 22, 23 and 24 repeat rows 6, 7 and 8, 3 readings in a row"
        assert only(found) == said


def spread_of(steps: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """What a quarter of the steps exceed, half a division of 0.1 m taken off, as a deviation."""
    sizes = np.where(np.abs(steps) < 0.15, 0.0, np.abs(steps) - 0.05)
    return float(np.quantile(sizes, 0.75)) / 1.1503


def stays(spread: float) -> float:
    return math.erf(0.1 / spread / math.sqrt(2.0))


def test_the_chance_of_a_block_is_that_of_inlet_and_drop_together() -> None:
    inlet, outlet = restless(30), [5.0 - (n * n * 5) % 17 for n in range(30)]
    inlet[11:14], outlet[11:14] = [31.0] * 3, [20.0] * 3
    found = copied_block(BOOK, [track(inlet, outlet)])
    chance = 1.0
    for values in (np.array(inlet), np.array(inlet) - np.array(outlet)):
        steps = np.delete(np.diff(values), [10, 11, 12])  # those that end in the block
        stayed = (int((np.abs(steps) < 0.05).sum()) + 1) / (len(steps) + 2)
        chance *= max(stays(spread_of(steps)), stayed)
    assert found.p == pytest.approx(30 * chance**2)
    assert found.state is State.LOOK


@pytest.mark.parametrize("count", [11, 12])
def test_a_block_is_looked_for_among_twelve_readings(count: int) -> None:
    found = copied_block(BOOK, [track(restless(count), restless(count, 5))])
    if count == 12:
        assert found.state is State.QUIET
    else:
        assert found.said == "No station's readings spread enough to tell."


# One day as another.


def rounds(days: int, count: int = 6) -> list[Track]:
    """Stations read on the same days, each of whose readings is one of its own."""
    made = []
    for n in range(count):
        inlet = [float(1010 * n + (d * (n + 3)) % 97) for d in range(days)]
        outlet = [one - 2.0 - (d * (n + 2)) % 5 for d, one in enumerate(inlet)]
        made.append(track(inlet, outlet, of=station(f"S{n}", "East")))
    return made


def repeated(every: Sequence[Track], day: int, before: int, count: int) -> list[Track]:
    """The same with so many stations read on one day as on another."""
    found = []
    for n, one in enumerate(every):
        inlet, outlet = one.inlet.copy(), one.outlet.copy()
        if n < count:
            inlet[day], outlet[day] = inlet[before], outlet[before]
        found.append(replace(one, inlet=inlet, outlet=outlet))
    return found


@pytest.mark.parametrize(("count", "found"), [(6, True), (5, True), (4, False)])
def test_a_round_is_a_copy_where_eight_in_ten_stations_repeat(count: int, found: bool) -> None:
    result = copied_round(BOOK, repeated(rounds(20), 12, 11, count))
    assert (result.state is State.LOOK) is found
    if found:
        said = f"Round of 2026-05-13: {count} of 6 stations read exactly as on 2026-05-12"
        assert only(result) == said
        # Of 18 other pairs of neighbouring rounds none repeats anything: 0.5 of 19, and the
        # least correlation that is taken for granted.
        mean, rho = 0.5 / 19, 0.02
        both = 1 / rho - 1
        law = scipy.stats.betabinom(6, mean * both, (1 - mean) * both)
        assert result.p == pytest.approx(law.sf(count - 1) * 20 * 19 / 2)
    else:
        assert result.p == 1.0


@pytest.mark.parametrize(
    ("days", "count", "told"), [(10, 6, True), (9, 6, False), (20, 4, True), (20, 3, False)]
)
def test_copied_rounds_need_ten_rounds_of_four_stations(days: int, count: int, told: bool) -> None:
    result = copied_round(BOOK, rounds(days, count))
    assert result.state is (State.QUIET if told else State.CANNOT)
    if not told:
        assert result.said == "Too few rounds with four stations or more."


def test_a_copy_is_found_up_to_sixty_rounds_apart() -> None:
    far = rounds(80)
    assert copied_round(BOOK, repeated(far, 60, 1, 6)).state is State.LOOK
    assert copied_round(BOOK, repeated(far, 61, 1, 6)).state is State.QUIET


def test_the_first_routine_reading_of_a_day_counts_and_no_other() -> None:
    """A second visit that repeats, or one after a flush, makes no copied round."""
    every = repeated(rounds(20), 12, 11, 6)
    after = [replace(one, routine=np.arange(20) != 12) for one in every]
    assert copied_round(BOOK, after).state is State.QUIET


def test_rounds_that_always_repeat_vouch_for_each_other_and_two_copies_do_not() -> None:
    """A habit shows at twice the distance, too; rounds copied one after the other do not."""
    every = rounds(20)
    for day in range(2, 20):
        every = repeated(every, day, day - 2, 6)
    said = [place.said for place in open_places(copied_round(BOOK, every))]
    assert not [one for one in said if "Round of 2026-05-13" in one and "2026-05-11" in one]
    twice = repeated(repeated(rounds(20), 12, 10, 6), 13, 11, 6)
    assert [place.said for place in open_places(copied_round(BOOK, twice))] == [
        "Round of 2026-05-13: 6 of 6 stations read exactly as on 2026-05-11",
        "Round of 2026-05-14: 6 of 6 stations read exactly as on 2026-05-12",
    ]


# One station as another.


@pytest.mark.parametrize("days", [9, 10])
def test_two_stations_are_compared_on_ten_common_days(days: int) -> None:
    found = same_series(BOOK, rounds(days, 5))
    assert found.state is (State.QUIET if days == 10 else State.CANNOT)
    if days == 9:
        assert found.said == "No two stations have enough common days."


def test_three_stations_say_nothing_of_what_is_common() -> None:
    assert same_series(BOOK, rounds(20, 3)).said == (
        "Too few stations to know what is common here."
    )
    assert same_series(BOOK, rounds(20, 4)).state is State.QUIET


@pytest.mark.parametrize("running", [5, 6])
def test_six_common_days_running_are_looked_at_and_five_are_not(running: int) -> None:
    every = rounds(20)
    other = every[1]
    inlet, outlet = other.inlet.copy(), other.outlet.copy()
    inlet[7 : 7 + running] = every[0].inlet[7 : 7 + running]
    outlet[7 : 7 + running] = every[0].outlet[7 : 7 + running]
    every[1] = replace(other, inlet=inlet, outlet=outlet)
    found = same_series(BOOK, every)
    assert (found.state is State.LOOK) is (running == 6)
    if running == 6:
        assert only(found) == "S1 reads as S0 on 6 common days running (6 of 20 in all)"
        # No other pair agrees on any of 20 days; their own drops may agree by chance as well.
        both = math.hypot(*(spread_of(np.diff(t.drop)) for t in every[:2]))
        assert found.p == pytest.approx(20 * max(stays(both), 1 / 22) ** 6 * 15)


# Inlet against the neighbours.


def block(days: int, far: int, by: float = 5.0, count: int = 4) -> list[Track]:
    """Stations that move together; the last one is off on so many days."""
    level = [30.0 + (d * d) % 7 for d in range(days)]
    every = [
        track([v + 0.1 * ((d + n) % 3) for d, v in enumerate(level)], of=station(f"S{n}", "East"))
        for n in range(count)
    ]
    inlet = every[-1].inlet.copy()
    inlet[1 : 1 + 2 * far : 2] += by
    every[-1] = replace(every[-1], inlet=inlet)
    return every


@pytest.mark.parametrize(("far", "found"), [(3, True), (2, False)])
def test_three_days_far_off_speak_against_an_inlet(far: int, found: bool) -> None:
    result = neighbours(BOOK, block(10, far, count=12))
    assert (result.state is State.LOOK) is found
    if found:
        assert only(result) == "S11: inlet far from its neighbours' on 3 of 10 common days"
        # No other of 110 readings is far off, but 1 in 100 is taken for granted.
        assert result.p == pytest.approx(scipy.stats.binom.sf(2, 10, 0.01) * 12)
        assert result.places[0].cell == BOOK.readings.cell("inlet", 3)
    else:
        assert result.p == 1.0
        assert result.said == "Inlets of one block move together."


@pytest.mark.parametrize(("days", "count", "told"), [(10, 4, True), (9, 4, False), (20, 3, False)])
def test_neighbours_need_four_stations_and_ten_common_days(
    days: int, count: int, told: bool
) -> None:
    result = neighbours(BOOK, block(days, 0, count=count))
    assert result.state is (State.QUIET if told else State.CANNOT)
    if not told:
        assert result.said == "No block has four stations and ten common days."


def test_a_station_s_own_offset_and_half_a_metre_are_nobody_s_fault() -> None:
    higher = block(20, 0)
    higher[-1] = replace(higher[-1], inlet=higher[-1].inlet + 12.0)
    assert neighbours(BOOK, higher).state is State.QUIET
    steady = [replace(t, inlet=np.round(t.inlet)) for t in block(20, 0)]
    for by, state in ((0.45, State.QUIET), (0.55, State.LOOK)):
        inlet = steady[-1].inlet.copy()
        inlet[1:11:2] += by
        off = [*steady[:-1], replace(steady[-1], inlet=inlet)]
        assert neighbours(BOOK, off).state is state, by


def test_a_station_that_is_seldom_there_is_left_out() -> None:
    every = block(20, 5)
    late = every[0]
    every.append(replace(late, station=station("S9", "East"), rows=late.rows[:4],
                         days=late.days[:4], inlet=late.inlet[:4] + 50, outlet=late.outlet[:4],
                         flow=late.flow[:4], field=late.field[:4], worked=late.worked[:4],
                         routine=late.routine[:4]))  # fmt: skip
    assert only(neighbours(BOOK, every)).startswith("S3: ")


# Outlet above inlet.


def turned(count: int, n: int = 20, **more: object) -> Track:
    inlet, outlet = [30.0] * n, [28.0] * n
    for at in range(3, 3 + count):
        inlet[at], outlet[at] = outlet[at], inlet[at]
    return track(inlet, outlet, of=station(**more))


@pytest.mark.parametrize(("count", "found"), [(1, False), (2, True)])
def test_a_hand_slips_once_and_two_running_are_looked_at(count: int, found: bool) -> None:
    result = swapped(BOOK, [turned(count)])
    assert (result.state is State.LOOK) is found
    # Two of 20 anywhere, or two running at one of 20 places: the smaller chance counts.
    by_count = float(scipy.stats.binom.sf(count - 1, 20, 0.02))
    assert result.p == pytest.approx(min(by_count, 20 * 0.02**count))
    if found:
        said = "Alder: outlet above inlet in 2 of 20 readings (first: 28 m and 30 m)"
        assert only(result) == said


@pytest.mark.parametrize(
    ("gauge", "by", "found"),
    [
        # Two gauges of class 1 on 60 m: 2 x 0.6 m, and the reading of 0.1 m.
        ({}, 1.29, False), ({}, 1.31, True),
        # One gauge errs alike at both: the reading alone.
        ({"gauges": "one gauge"}, 0.09, False), ({"gauges": "one gauge"}, 0.11, True),
        # Nothing known: a metre.
        ({"gauge_class": None}, 0.99, False), ({"gauge_class": None}, 1.01, True),
        ({"full_scale": None}, 0.99, False), ({"full_scale": None}, 1.01, True),
    ],
)  # fmt: skip
def test_sides_are_exchanged_only_beyond_what_gauges_can_err(
    gauge: dict[str, object], by: float, found: bool
) -> None:
    inlet, outlet = [30.0] * 20, [28.0] * 20
    for at in range(3, 9):
        outlet[at] = 30.0 + by
    result = swapped(BOOK, [track(inlet, outlet, of=station(**gauge))])
    assert (result.state is State.LOOK) is found


def test_the_coarsest_gauge_of_the_season_says_what_can_be_an_error() -> None:
    coarse = ChangedGauge(3, dt.date(2026, 5, 5), "two gauges", 100.0, 2.5, 0.1, "m")
    inlet, outlet = [30.0] * 20, [28.0] * 20
    for at in range(3, 9):
        outlet[at] = 34.0
    plain, changed = (track(inlet, outlet, of=station(changed=c)) for c in ((), (coarse,)))
    assert swapped(BOOK, [plain]).state is State.LOOK
    assert swapped(BOOK, [changed]).state is State.QUIET  # 2 x 2.5 % of 100 m


# At rest.


@pytest.mark.parametrize(("drop", "found"), [(1.0, False), (1.1, True)])
def test_a_drop_of_more_than_a_metre_at_no_flow_is_looked_at(drop: float, found: bool) -> None:
    one = track([30.0, 30.0], [28.0, 30.0 - drop], flow=[20.0, 0.0])
    result = resting(BOOK, [one])
    assert (result.state is State.LOOK) is found
    if found:
        assert only(result) == "Alder, 2026-05-02: a drop of 1.10 m at a flow of 0"


def test_two_divisions_of_a_coarse_gauge_may_stand_at_no_flow() -> None:
    for drop, state in ((4.0, State.QUIET), (4.1, State.LOOK)):
        one = track([30.0] * 2, [28.0, 30.0 - drop], flow=[20.0, 0.0], division=2.0)
        assert resting(BOOK, [one]).state is state


def test_without_a_flow_or_a_dated_remark_the_rest_cannot_be_told() -> None:
    assert resting(BOOK, [track([30.0] * 3)]).said == (
        "The register knows only today's state; without flows or dated remarks no more."
    )
    assert resting(BOOK, [track([30.0] * 3, flow=[9.0, NAN, 9.0])]).state is State.QUIET


@pytest.mark.parametrize(
    ("remark", "said"),
    [
        ("resting since 2026-05-03", "2026-05-04: read, though resting since 2026-05-03"),
        ("Shut down on 2026-05-02.", "2026-05-03: read, though resting since 2026-05-02"),
        ("rested 2026-02-30", ""),
        ("new lamp 2026-05-02", ""),
    ],
)
def test_a_dated_remark_says_from_which_day_it_rests(remark: str, said: str) -> None:
    register = empty()
    frame = register.stations.frame.assign(remark=[remark])
    frame["station"] = ["Alder"]
    dated = replace(register, stations=replace(register.stations, frame=frame))
    off = track([30.0] * 6, of=station(in_service=False))
    places = open_places(resting(dated, [off]))
    assert [place.said for place in places[:1]] == ([f"Alder, {said}"] if said else [])
    assert open_places(resting(dated, [replace(off, station=station())])) == []


# Round last digits.


def ends(round_ones: int, count: int) -> list[float]:
    """Pressures on 0.1 m over many turns, so many of which end in 0 or 5."""
    digits = [0] * round_ones + [1 + n % 4 for n in range(count - round_ones)]
    return [20.0 + (n * 7 % 30) + 0.1 * (digits[n] + 5 * (n % 2)) for n in range(count)]


@pytest.mark.parametrize("count", [24, 25])
def test_last_digits_need_twenty_five_readings_that_differ(count: int) -> None:
    found = round_digits(BOOK, [track(ends(5, count), [NAN] * count)])
    assert found.state is (State.QUIET if count == 25 else State.CANNOT)
    if count == 24:
        assert found.said == "No station has enough readings that differ enough."
    else:
        assert found.said == (
            "Last digits of 1 series are no rounder than their divisions make them."
        )
        assert found.p == pytest.approx(scipy.stats.binom.sf(4, 25, 0.2))


def test_too_round_digits_are_said_with_both_chances() -> None:
    (place,) = open_places(round_digits(BOOK, [track(ends(14, 25), [NAN] * 25)]))
    assert place.said == (
        "Alder: 14 of 25 inlet readings are round where 20 % would be on a division of 0.1 m"
        f" (all digits even: p = {scipy.stats.chisquare([14, 3, 3, 3, 2]).pvalue:.2g})"
    )
    assert place.p == pytest.approx(scipy.stats.binom.sf(13, 25, 0.2))


def test_readings_of_a_gauge_that_was_changed_are_not_mixed() -> None:
    new = ChangedGauge(3, dt.date.fromordinal(FIRST + 9), "two gauges", 60.0, 1.0, 0.2, "m")
    one = track(ends(14, 25), [NAN] * 25, of=station(changed=(new,)))
    assert round_digits(BOOK, [one]).state is State.CANNOT
