"""The robust line and the interval of a median: against scipy, by brute force, and at the edges."""

from __future__ import annotations

import random
import tracemalloc

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from siltbook.batch.numbers.robust import (
    median_coverage,
    median_interval,
    median_slope,
    pair_slopes,
    theil_sen,
    tie_term,
)
from tests.amount import examples, whole


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_agrees_with_scipy(seed: int, confidence: float) -> None:
    """Slope, intercept and interval, with ties in x and in y."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 70))  # few points and many are reckoned in two ways
    x = np.sort(rng.integers(0, 60, n)).astype(float)
    y = np.round(0.05 * x + rng.normal(0, 0.4, n), 1)
    ours = theil_sen(list(x), list(y), confidence)
    theirs = scipy.stats.theilslopes(y, x, confidence)
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert median_slope(list(x), list(y)) == ours.slope
    assert ours.intercept == pytest.approx(theirs.intercept, abs=1e-12)
    assert ours.low == pytest.approx(theirs.low_slope, abs=1e-12)
    assert ours.high == pytest.approx(theirs.high_slope, abs=1e-12)


def test_two_points_have_a_slope_and_no_interval() -> None:
    """Nothing can be said about the slope's error."""
    line = theil_sen([0, 4], [1.0, 3.0])
    assert (line.slope, line.low, line.high) == (0.5, None, None)


def test_a_line_of_many_points_takes_little_memory() -> None:
    """All pairs of these take 3 GB, and of those of the usual run 0.5 GB."""
    tracemalloc.start()
    x = np.arange(20_000 if whole() else 8_000) / 24
    line = theil_sen(x, 0.01 * x + np.sin(x))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 200 * 2**20
    assert line.slope == pytest.approx(0.01, rel=0.01)
    assert line.low is not None
    assert line.high is not None
    assert line.low < 0.01 < line.high


def test_a_line_of_many_points_reaches_from_the_first_to_the_last() -> None:
    x = np.arange(5_000.0)
    assert theil_sen(x, 3 * x).slope == pytest.approx(3)
    assert theil_sen(x, np.where(x < 2_500, 0.0, x)).slope > 0.5


def test_readings_at_the_same_time_make_no_pair() -> None:
    """Ties in x are passed over."""
    assert list(pair_slopes([0, 0, 2], [1.0, 3.0, 5.0])) == [1.0, 2.0]
    assert tie_term([1, 1, 1, 2]) == 3 * 2 * 11


@pytest.mark.parametrize(
    ("x", "y", "message"),
    [
        ([1, 1], [1, 2], "all x are equal, so there is no slope"),
        ([1], [1], "at least 2 points are needed, not 1"),
        ([1, 2], [1], "x and y must be as long as each other"),
        ([1, 2], [1, float("nan")], "every x and y must be a finite number"),
    ],
)
def test_refusals(x: list[float], y: list[float], message: str) -> None:
    """What cannot be fitted says why."""
    for line in (theil_sen, median_slope):
        with pytest.raises(ValueError, match=message):
            line(x, y)


def test_a_confidence_is_a_share() -> None:
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, not 80"):
        theil_sen([0, 1, 2], [0, 1, 2], 80)


@settings(deadline=None, max_examples=examples(60), derandomize=True)
@given(
    st.lists(st.integers(0, 500), min_size=6, max_size=25, unique=True),
    st.floats(-3, 3),
    st.integers(0, 24),
)
def test_one_wild_reading_does_not_move_the_slope(x: list[int], slope: float, which: int) -> None:
    """From 6 points on, more than half of the pairs are without the wild one."""
    y = [2.0 + slope * v for v in x]
    y[which % len(y)] += 1000.0
    assert theil_sen(x, y).slope == pytest.approx(slope, abs=1e-6)


@pytest.mark.parametrize("count", [4, 5, 10, 17, 40])
def test_the_confidence_is_the_binomials(count: int) -> None:
    for k in range(1, count // 2 + 1):
        wanted = 1 - 2 * scipy.stats.binom.cdf(k - 1, count, 0.5)
        assert median_coverage(count, k) == pytest.approx(wanted)


def test_the_interval_is_the_narrowest_that_reaches_the_confidence() -> None:
    low, high, confidence = median_interval(range(1, 11)) or (0, 0, 0)
    assert (low, high) == (3, 8)
    assert confidence == pytest.approx(0.890625)
    assert median_interval([1.0, 2.0, 3.0]) is None
    assert median_interval([4.0, 1.0, 3.0, 2.0]) == (1.0, 4.0, 0.875)


def test_the_interval_of_more_values_than_a_float_can_count_the_ways_of() -> None:
    low, high, confidence = median_interval(range(5000)) or (0, 0, 0)
    assert (low, high) == (2454, 2545)
    assert confidence == pytest.approx(1 - 2 * scipy.stats.binom.cdf(2454, 5000, 0.5))


def test_the_interval_covers_the_true_median_as_often_as_it_says() -> None:
    chance = random.Random("order statistics")
    tries, held, said = 4000, 0, 0.0
    for _ in range(tries):
        low, high, said = median_interval([chance.expovariate(1.0) for _ in range(9)]) or (0, 0, 0)
        held += low <= 0.6931472 <= high
    assert held / tries == pytest.approx(said, abs=0.02)
    assert said >= 0.8
