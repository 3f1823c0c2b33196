"""What a gauge can show and how much a series moves, by hand; faults planted in such series."""

from __future__ import annotations

import datetime as dt
import math
import random
from dataclasses import replace

import numpy as np
import pytest

from siltbook.batch.audit.chance import chi_square_over, stays_within
from siltbook.batch.audit.power import (
    CASES,
    FAULTS,
    _filled_down,
    _of_another,
    _rounded,
    _stretch,
    _stuck,
    power,
)
from siltbook.batch.audit.repeats import copied_block, runs_of_equal
from siltbook.batch.audit.tracks import (
    _decimal_step,
    _slope,
    in_unit,
    joint_repeat_chance,
    longest_true,
    repeat_chance,
    spread,
    tracks,
)
from siltbook.batch.numbers.history import histories
from tests.audit.series import NAN, empty, station, track, zigzag
from tests.checks.builders import book, job, reading

ALL = np.ones(40, dtype=bool)


def everything(count: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return ALL[:count]


# From the book to series.


def test_work_between_two_readings_is_marked_at_the_second_one() -> None:
    one = book(
        [
            reading(1),
            reading(2, inlet=None),
            reading(3),
            reading(5, occasion="after flush", flow=20),
        ],
        work=[job(2), job(4, "hand cleaning"), job(9)],
    )
    (found,) = tracks(one, histories(one, dt.date(2026, 5, 31)))
    assert found.rows == [2, 4, 5]
    assert found.worked.tolist() == [False, True, True]
    assert found.routine.tolist() == [True, True, False]
    assert [dt.date.fromordinal(d).day for d in found.days] == [1, 3, 5]
    assert np.isnan(found.flow).tolist() == [True, True, False]
    assert found.drop.tolist() == pytest.approx([2.0394] * 3, abs=1e-3)
    assert len(found) == 3
    lone = book([reading(1, outlet=None)])
    assert tracks(lone, histories(lone, None)) == ()


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([3.0, 4.0], 1.0), ([3.0, 4.5], 0.1), ([3.0, 4.52], 0.01), ([3.0, 4.525], 0.001),
        ([3.0, 4.5255], 0.001), ([NAN, 4.5], 0.1), ([3.0, 4.00005], 1.0), ([3.0, 4.0002], 0.001),
    ],
)  # fmt: skip
def test_the_decimal_step_in_which_numbers_were_written(values: list[float], step: float) -> None:
    assert _decimal_step(np.array(values)) == step


def test_without_a_division_the_decimals_that_were_typed_stand_for_it() -> None:
    one = book([reading(1, inlet=3.0, outlet=2.8, flow=20.5)])
    (found,) = tracks(one, histories(one, None))
    assert found.division == pytest.approx(1.0197, abs=1e-4)  # 0.1 bar
    assert found.flow_division == pytest.approx(0.1)
    assert math.isnan(_decimal_step(np.array([NAN])))
    assert in_unit(station(unit="bar"), 30.0) == "2.942 bar"


def test_equal_rows_are_equal_in_every_column_and_an_empty_cell_is_not_zero() -> None:
    one = track([30.0, 30.0 + 1e-9, 30.0], flow=[NAN, NAN, 0.0])
    first, second, third = one.vectors()
    assert first == second == (30.0, 28.0, -1.0, -1.0)
    assert third == (30.0, 28.0, 0.0, -1.0)


# How much a series moves.


def test_the_spread_is_from_what_a_quarter_of_the_steps_exceed() -> None:
    """Nine steps of 0.1 to 0.9 m on a division of 0.1 m: the first counts as none."""
    values = np.cumsum([0.0, *(0.1 * n for n in range(1, 10))])
    assert spread(values, 0.1) == pytest.approx((0.7 - 0.05) / 1.1503)
    assert spread(values, 0.2) == pytest.approx((0.7 - 0.1) / 1.1503)
    assert spread(values, 0.0) == 0.0
    assert spread(values, NAN) == 0.0
    assert spread(np.full(12, 3.0), 0.1) == 0.0


@pytest.mark.parametrize(("count", "known"), [(8, False), (9, True)])
def test_eight_steps_are_needed(count: int, known: bool) -> None:
    values = np.array(zigzag(count))
    assert (spread(values, 0.1) > 0) is known
    one = track(zigzag(count))
    assert (repeat_chance(one, values, 0.1, everything(count)) < 1.0) is known
    left_out = everything(count).copy()
    left_out[3] = False
    assert spread(values, 0.1, left_out) == 0.0
    gap = values.copy()
    gap[3] = NAN
    assert spread(gap, 0.1) == 0.0


def test_a_step_of_one_division_may_be_a_hair_s_breadth() -> None:
    for by, moves in ((0.1, False), (0.14, False), (0.16, True)):
        assert (spread(np.array(zigzag(12, by=by)), 0.1) > 0) is moves, by


def test_the_chance_to_repeat_is_the_larger_of_spread_and_what_it_did() -> None:
    moving = zigzag(20)
    one = track(moving)
    by_spread = math.erf(0.1 / (1.95 / 1.1503) / math.sqrt(2.0))
    assert repeat_chance(one, one.inlet, 0.1, everything(20)) == pytest.approx(
        max(by_spread, 1 / 21)
    )
    stays = track([30.0, 30.0, 32.0, 32.0] * 5)
    # Ten of 19 steps stayed; rule of succession.
    assert repeat_chance(stays, stays.inlet, 0.1, everything(20)) == pytest.approx(11 / 21)
    worked = track([30.0, 30.0, 32.0, 32.0] * 5, worked=range(1, 20, 2))
    assert repeat_chance(worked, worked.inlet, 0.1, everything(20)) == pytest.approx(
        max(by_spread, 1 / 11)
    )
    assert repeat_chance(one, one.inlet, NAN, everything(20)) == 1.0
    assert stays_within(0.1, 0.0) == 1.0


def test_flow_that_follows_the_inlet_is_no_news_and_what_remains_is() -> None:
    inlet = [30.0 + (n * 7) % 5 for n in range(20)]
    outlet = [20.0 + (n * 3) % 7 for n in range(20)]
    plain = joint_repeat_chance(track(inlet, outlet), everything(20))
    follows = [10.0 + 2 * v for v in inlet]
    same = joint_repeat_chance(track(inlet, outlet, flow=follows), everything(20))
    assert same == pytest.approx(plain)
    moves = [v + 9 * (n % 3) for n, v in enumerate(follows)]
    less = joint_repeat_chance(track(inlet, outlet, flow=moves), everything(20))
    assert less < plain / 2
    slope = _slope(np.diff(inlet), np.diff(moves))
    rest = np.array(moves) - slope * np.array(inlet)
    assert less == pytest.approx(plain * stays_within(1.0, spread(rest, 1.0, everything(20))))
    gap = [*moves[:5], NAN, *moves[6:]]
    assert joint_repeat_chance(track(inlet, outlet, flow=gap), everything(20)) == plain


def test_slopes_and_stretches() -> None:
    assert _slope(np.array([1.0, 2.0]), np.array([2.0, 4.0])) == 2.0
    assert _slope(np.zeros(2), np.ones(2)) == 0.0
    assert longest_true(np.array([True, True, False, True])) == 2
    assert longest_true(np.array([False])) == 0
    assert longest_true(np.array([False, True, True, True])) == 3
    assert [(r.start, r.end) for r in runs_of_equal([1, 1, 2, 3, 3, 3])] == [(0, 2), (3, 6)]
    assert runs_of_equal([1]) == runs_of_equal([]) == []


def test_readings_that_stand_again_are_told_from_the_block_itself() -> None:
    """A block of six that stands again behind itself, and one row that only repeats."""
    inlet = [float(30 + (n * n * 7) % 23) for n in range(40)]
    outlet = [float(5 - (n * n * 5) % 17) for n in range(40)]
    inlet[26:32], outlet[26:32] = inlet[20:26], outlet[20:26]
    (place,) = copied_block(empty(), [track(inlet, outlet)]).places
    assert place.said == (
        "Alder: rows 28, 29, 30, 31, 32 and 33 repeat rows 22, 23, 24, 25, 26 and 27, 6 readings in"
        " a row"
    )


# Planted faults.


def drawn() -> random.Random:
    return random.Random("a fixed one")


def test_a_fault_needs_twice_its_length() -> None:
    one = track(zigzag(16))
    where = _stretch(one, 8, drawn())
    assert where is not None
    assert where.stop - where.start == 8
    assert _stretch(track(zigzag(15)), 8, drawn()) is None
    starts = {_stretch(one, 8, random.Random(n)).start for n in range(200)}  # type: ignore[union-attr]
    assert starts == set(range(9))


def test_a_stuck_pointer_stays_on_its_first_value_on_one_side() -> None:
    one = track(zigzag(30), zigzag(30, 20.0))
    planted = _stuck(one, [], drawn())
    assert planted is not None
    changed = [side for side in ("inlet", "outlet")
               if (getattr(planted, side) != getattr(one, side)).any()]  # fmt: skip
    assert len(changed) == 1
    values = getattr(planted, changed[0])
    longest = max(runs_of_equal(values.tolist()), key=len)
    assert len(longest) in (8, 9)  # the reading behind it may be the same
    assert (values[longest.start] == getattr(one, changed[0])[longest.start]).all()
    assert (planted.flow is one.flow) or np.isnan(planted.flow).all()


def test_rows_filled_down_repeat_in_every_column() -> None:
    values = [float(n) for n in range(30)]
    one = track(values, [v - 2 for v in values], flow=values)
    planted = _filled_down(one, [], drawn())
    assert planted is not None
    (run,) = runs_of_equal(planted.vectors())
    assert len(run) == 6
    assert planted.vectors()[run.start] == one.vectors()[run.start]
    assert one.inlet.tolist() == values  # the parent's own stay


@pytest.mark.parametrize("count", [11, 12])
def test_guessed_pressures_stand_on_ten_divisions(count: int) -> None:
    values = [30.0 + 0.3 * n for n in range(count)]
    planted = _rounded(track(values), [], drawn())
    if count == 11:
        assert planted is None
    else:
        assert planted is not None
        assert planted.inlet.tolist() == [float(round(v)) for v in values]
        assert planted.outlet.tolist() == [float(round(v - 2)) for v in values]
    assert _rounded(track(values, division=NAN), [], drawn()) is None


def test_another_station_s_readings_are_taken_on_common_days_where_there_are_twelve() -> None:
    mine = track(zigzag(20), days=range(20))
    theirs = track([50.0 + n for n in range(20)], of=station("Birch"), days=range(8, 28))
    planted = _of_another(mine, [mine, theirs], drawn())
    assert planted is not None
    assert planted.inlet.tolist() == [*zigzag(20)[:8], *(50.0 + n for n in range(12))]
    later = replace(theirs, days=theirs.days + 1)
    assert _of_another(mine, [mine, later], drawn()) is None
    assert _of_another(mine, [mine], drawn()) is None
    short = track([50.0] * 11, of=station("Birch"))
    assert _of_another(mine, [mine, short], drawn()) is None
    visits = replace(theirs, routine=np.arange(20) >= 3)
    assert _of_another(mine, [mine, visits], drawn()) is None


def test_ten_cases_of_each_fault_are_planted_and_what_does_not_fit_is_not_found() -> None:
    steady = [track(zigzag(30, 30.0 + n), [20.0 + (d * (n + 3)) % 7 for d in range(30)],
                    of=station(f"S{n}", "East")) for n in range(4)]  # fmt: skip
    found = {p.fault: (p.found, p.of) for p in power(empty(), steady)}
    assert found["a gauge stuck for 8 readings"] == (10, 10)
    assert found["6 rows filled down"] == (10, 10)
    assert set(found) == {fault.words for fault in FAULTS}
    short = [track(zigzag(11), of=station(f"S{n}")) for n in range(4)]
    assert {(p.found, p.of) for p in power(empty(), short)} == {(0, CASES)}
    assert {(p.found, p.of) for p in power(empty(), ())} == {(0, CASES)}


@pytest.mark.parametrize("degrees", [1, 2, 5])
def test_nothing_is_stranger_than_an_even_count(degrees: int) -> None:
    assert chi_square_over(0.0, degrees) == 1.0
    assert chi_square_over(-1.0, degrees) == 1.0
