"""The interval of a fouling rate: honest where dirt walks."""

from __future__ import annotations

import numpy as np
import pytest

from siltbook.batch.numbers.rates import MOST, rate_interval

TRUE = 0.05  # [m/day]


def coverage(readings: int, walk: float, error: float, cases: int = 250) -> float:
    """Share of simulated runs whose interval holds the true rate.

    `walk`: variance that the drop's walk gains in a week [m2]; `error` of a reading [m].
    """
    rng = np.random.default_rng([readings, round(1000 * walk), round(1000 * error)])
    held = 0
    for _ in range(cases):
        gaps = rng.uniform(4, 9, readings).round()
        days = np.cumsum(gaps) - gaps[0]
        wander = np.cumsum(rng.normal(0, np.sqrt(walk * gaps / 7)))
        drops = 1 + TRUE * days + wander - wander[0] + rng.normal(0, error, readings)
        bounds = rate_interval(tuple(days), tuple(drops))
        assert bounds is not None
        held += bounds[0] <= TRUE <= bounds[1]
    return held / cases


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("readings", [5, 8, 12, 20])
@pytest.mark.parametrize("walk", [0.1, 0.3])
def test_eighty_per_cent_means_eighty_on_walks(readings: int, walk: float) -> None:
    """250 cases wander by 2.5 %; the aim is 75 to 85 %."""
    assert 0.72 <= coverage(readings, walk, 0.08) <= 0.88


def test_without_a_walk_it_is_wide_rather_than_narrow() -> None:
    assert coverage(8, 0.0, 0.08) >= 0.85


def test_a_straight_line_gives_its_slope_and_little_else() -> None:
    days = tuple(7.0 * i for i in range(8))
    low, high = rate_interval(days, tuple(1 + TRUE * d for d in days)) or (0.0, 0.0)
    assert low == pytest.approx(TRUE, abs=1e-3)
    assert high == pytest.approx(TRUE, abs=1e-3)


def test_a_run_read_first_days_after_its_cleaning_has_the_same_rate() -> None:
    drops = (1.0, 1.4, 1.5, 2.1, 2.2)
    at_once, later = (rate_interval(tuple(7.0 * i + d for i in range(5)), drops) for d in (0, 5))
    assert at_once is not None
    assert later == pytest.approx(at_once)


def test_nothing_is_said_of_two_readings_or_of_one_moment() -> None:
    assert rate_interval((0.0, 7.0), (1.0, 2.0)) is None
    assert rate_interval((3.0, 3.0, 3.0), (1.0, 2.0, 1.5)) is None


def test_a_long_run_is_thinned() -> None:
    rng = np.random.default_rng(1)
    days = tuple(float(d) for d in range(10 * MOST))
    drops = tuple((1 + TRUE * np.asarray(days) + rng.normal(0, 0.1, len(days))).tolist())
    low, high = rate_interval(days, drops) or (0.0, 0.0)
    assert low < TRUE < high
