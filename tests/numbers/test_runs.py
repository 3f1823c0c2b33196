"""Where a history is cut, and what each run says."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.numbers.runs import FELL, cut_runs, fall_between
from tests.numbers.logs import log, on, read, work


def rising(first: int, *drops: float) -> list:  # type: ignore[type-arg]
    """Readings every five days."""
    return [read(first + 5 * i, drop) for i, drop in enumerate(drops)]


def test_no_reading_no_run() -> None:
    """Work alone makes no run."""
    assert cut_runs(log(), 3) == ()
    assert cut_runs(log(work(0), work(3)), 3) == ()


def test_the_first_run_starts_at_its_first_reading_and_stays_open() -> None:
    """Nothing says when the element was last clean."""
    (run,) = cut_runs(log(*rising(4, 1.0, 1.5, 2.0)), 3)
    assert (run.begins, run.ends) == (on(4), on(14))
    assert run.days == (0.0, 5.0, 10.0)
    assert run.rate == pytest.approx(0.1)
    assert run.open
    assert run.believable
    assert run.given_back is None


def test_a_later_run_starts_on_the_day_of_its_reset() -> None:
    """Its first reading came four days after the cleaning."""
    first, second = cut_runs(log(*rising(0, 1, 3, 5.5), work(11), *rising(15, 1.45, 2, 2.5)), 3)
    assert (first.ends, first.ended_by, first.concluded) == (on(11), "hand cleaning", False)
    assert first.given_back == pytest.approx((5.5 - 1.45) / 4.5)
    assert (second.begins, second.days) == (on(11), (4.0, 9.0, 14.0))
    assert second.start_level == 1.45


def test_a_reset_after_the_last_reading_closes_the_last_run() -> None:
    """What it gave back is not known yet."""
    (run,) = cut_runs(log(*rising(0, 1, 3, 5), work(12, "screen replaced")), 3)
    assert (run.ends, run.ended_by, run.given_back) == (on(12), "screen replaced", None)


def test_work_before_the_first_reading_starts_the_first_run() -> None:
    """Then the day of the cleaning is known."""
    (run,) = cut_runs(log(work(0), *rising(3, 1, 2, 3)), 3)
    assert (run.begins, run.days) == (on(0), (3.0, 8.0, 13.0))


@pytest.mark.parametrize(("cycles", "runs"), [(3, 2), (5, 2), (2, 1), (None, 2)])
def test_a_flush_counts_with_its_cycles(cycles: float | None, runs: int) -> None:
    """The drop fell only a little, so the log decides; a blank is no short flush."""
    history = log(*rising(0, 3, 4, 5.2), work(10, "flush", cycles=cycles), read(15, 4.4))
    assert len(cut_runs(history, 3)) == runs


def test_a_short_flush_that_helped_cuts_by_the_drop() -> None:
    """It is called a flush, and marked as concluded from the drop."""
    history = log(*rising(0, 3, 4, 5.2), work(10, "flush", cycles=1), read(15, 1.4))
    first, second = cut_runs(history, 3)
    assert (first.ended_by, first.concluded, second.begins) == ("flush", True, on(15))


def test_a_fall_with_no_work_logged_cuts() -> None:
    """More than 40 % and more than three standard uncertainties."""
    first, second = cut_runs(log(*rising(0, 2, 3, 4, 1.2, 1.8)), 3)
    assert (first.ended_by, first.concluded) == (FELL, True)
    assert first.given_back == pytest.approx(2.8 / 3)
    assert second.days == (0.0, 5.0)


@pytest.mark.parametrize(
    ("after", "u", "runs"),
    [(2.41, 0.1, 1), (2.39, 0.1, 2), (2.0, 0.5, 1), (2.0, None, 2)],
    ids=["under 40 %", "over 40 %", "within the gauge's doubt", "no gauge data"],
)
def test_how_far_a_drop_must_fall(after: float, u: float | None, runs: int) -> None:
    """From 4 m."""
    assert len(cut_runs(log(read(0, 4.0, u=u), read(5, after, u=u)), 3)) == runs


@pytest.mark.parametrize("after", [2.4, 2.4 - 1e-9])
def test_a_fall_of_exactly_the_share_is_none(after: float) -> None:
    """From 4 m to 2.4 m, which another unit may turn into a hair less."""
    assert len(cut_runs(log(read(0, 4.0), read(5, after)), 3)) == 1


def test_without_gauge_data_a_small_fall_does_not_cut() -> None:
    """Half a metre is the least that counts."""
    assert len(cut_runs(log(read(0, 0.8, u=None), read(5, 0.4, u=None)), 3)) == 1


def test_two_resets_on_a_day_count_as_one_under_the_stronger_name() -> None:
    """A flush that did not help, then a hand cleaning, nothing read between."""
    flush, clean = work(10, "flush", cycles=3), work(10)
    for pair in ((flush, clean), (clean, flush)):
        first, second = cut_runs(log(*rising(0, 1, 3, 5.2), *pair, *rising(12, 1.0, 1.5)), 3)
        assert first.ended_by == "hand cleaning"
        assert second.begins == on(10)


def test_a_reading_between_two_resets_is_a_run_of_its_own() -> None:
    """It has no rate and says why."""
    history = log(
        *rising(0, 1, 3, 5.4), work(10, "flush", cycles=3), read(10, 5.2), work(10), read(10, 1.0)
    )
    before, between, after = cut_runs(history, 3)
    assert before.given_back == pytest.approx(0.2 / 4.4)
    assert (between.rate, between.believable) == (None, False)
    assert between.why == "fewer than 3 readings in the run"
    assert between.ended_by == "hand cleaning"
    assert between.given_back == pytest.approx(1.0)
    assert after.days == (0.0,)


def test_two_readings_have_a_rate_without_an_interval() -> None:
    """The rate is not to be believed."""
    (run,) = cut_runs(log(*rising(0, 1, 2)), 3)
    assert (run.rate, run.slowest, run.fastest, run.believable) == (0.2, None, None, False)


def test_a_falling_run_says_so() -> None:
    """It falls too gently to be a reset."""
    (run,) = cut_runs(log(*rising(0, 3.0, 2.8, 2.6, 2.4, 2.2)), 3)
    assert run.rate == pytest.approx(-0.04)
    assert run.why == "the drop falls during the run"


def test_a_long_gap_says_so() -> None:
    """The rate over a winter means little."""
    (run,) = cut_runs(log(read(0, 1), read(5, 1.2), read(80, 2.0)), 3)
    assert run.why == "75 days of the run passed without a reading"


def test_a_gap_of_sixty_days_is_not_yet_too_long() -> None:
    (run,) = cut_runs(log(read(0, 1), read(5, 1.2), read(65, 2.0)), 3)
    assert run.believable, run.why
    (run,) = cut_runs(log(read(0, 1), read(5, 1.2), read(66, 2.0)), 3)
    assert run.why == "61 days of the run passed without a reading"


@pytest.mark.parametrize(("first", "second"), [(0.1, 0.5), (0.5, 0.1)])
def test_a_fall_is_held_against_the_uncertainty_of_both_readings(
    first: float, second: float
) -> None:
    """Three times the root of both squares: 1.530 m, whichever of the two is the coarse one."""
    before = read(0, 3.0, u=first)
    assert fall_between(before, read(7, 3.0 - 1.52, u=second), None) is None
    fell = fall_between(before, read(7, 3.0 - 1.54, u=second), None)
    assert fell == pytest.approx((3.0, 1.46))


def test_all_readings_at_one_time_have_no_rate() -> None:
    """Three readings within one unlogged moment."""
    (run,) = cut_runs(log(read(0, 2), read(0, 2.1), read(0, 2.2)), 3)
    assert run.rate is None
    assert run.why == "all readings of the run were taken at the same time"


def test_time_of_day_counts() -> None:
    """An early reading and an untimed reset on one day: the reading stands at the start."""
    history = log(
        work(0), read(0, 1.0, at="06:00"), read(2, 1.5, at="18:00"), read(4, 2.0, at="06:00")
    )
    (run,) = cut_runs(history, 3)
    assert run.days == pytest.approx((0.0, 2.25, 3.75))


def test_unusable_readings_are_left_out() -> None:
    """They cannot look like a fall either."""
    history = log(*rising(0, 2, 3), read(7, 0.2, why="outlet missing"), read(8, None), read(10, 4))
    (run,) = cut_runs(history, 3)
    assert run.drops == (2, 3, 4)


def test_drops_are_brought_to_the_reference_flow() -> None:
    """Half the flow shows a quarter of the drop."""
    assert corrected_drop(1.0, 20.0, 40.0) == pytest.approx(4.0)
    assert corrected_drop(1.0, None, 40.0) == 1.0
    assert corrected_drop(1.0, 0.0, 40.0) == 1.0
    assert math.isnan(corrected_drop(1.0, 1e-200, 40.0))
    (run,) = cut_runs(log(read(0, 1.0, flow=40), read(5, 0.5, flow=20), read(10, 3.0, flow=40)), 3)
    assert run.drops == pytest.approx((1.0, 2.0, 3.0))


def test_a_reading_without_flow_is_not_compared_with_a_corrected_one() -> None:
    """3 m at three quarters of the flow is 5.3 m corrected; 3 m unread flow is no fall."""
    assert len(cut_runs(log(read(0, 3.0, flow=30), read(5, 3.0)), 3)) == 1


def test_cycles_must_make_sense() -> None:
    """No flush has none."""
    with pytest.raises(ValueError, match="at least 1 cycle, not 0"):
        cut_runs(log(read(0, 1)), 0)


def test_a_flush_whose_inlet_fell_too_low_is_no_reset() -> None:
    low = replace(work(11, "flush", cycles=3), flush_inlet=15.0)
    entries = (*rising(0, 1.0, 2.0, 3.0), low, *rising(15, 3.1, 3.3))
    assert len(cut_runs(log(*entries), 3, 20.4)) == 1
    assert len(cut_runs(log(*entries), 3, 14.0)) == 2


def test_a_run_names_the_rows_of_its_readings() -> None:
    history = log(read(0, 1.0), read(7, 3.0), work(7, "hand cleaning"), read(8, 1.0))
    readings = [r.row for r in history.readings]
    assert [run.rows for run in cut_runs(history, 3)] == [tuple(readings[:2]), tuple(readings[2:])]


def test_the_rate_rests_on_the_readings_on_one_gauge() -> None:
    """The new gauge reads half a metre more: no rise of the drop."""
    old, new = rising(0, 1.0, 1.1, 1.2, 1.3), rising(20, 1.9, 2.0, 2.1)
    (run,) = cut_runs(log(*old, *(replace(r, gauge_row=2) for r in new)), 3)
    assert run.rate == pytest.approx(0.02)
    assert run.drops == (1.0, 1.1, 1.2, 1.3, 1.9, 2.0, 2.1)
    (short,) = cut_runs(log(*old[:2], *(replace(r, gauge_row=2) for r in new[:2])), 3)
    assert short.why == "fewer than 3 readings on one gauge: it was changed in the run"
    steeper = (replace(r, gauge_row=2) for r in rising(20, 1.9, 2.1, 2.3))
    (later,) = cut_runs(log(*old[:3], *steeper), 3)
    assert later.rate == pytest.approx(0.04), "of two rows alike, the later one whole"
