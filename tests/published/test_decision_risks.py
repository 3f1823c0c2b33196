"""Worked examples of decisions near a limit that need more than one call of P(over).

JCGM 106:2012; 9.5.4 is quoted by the test-suite of an open-source library [S2], the other section
numbers are [M]. C01, C02 and C08 to C11 stand in test_conformity.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
import scipy

from siltbook.checks.gauges import probability_over


# JCGM 106 9.5.4: the process, a gamma distribution (a = 4, rate 4 per µm); the limit [µm].
@cache
def process() -> Any:
    return scipy.stats.gamma(4, scale=1 / 4)


LIMIT, U = 2.0, 0.25


def test_c03_a_two_sided_limit_is_two_one_sided_ones() -> None:
    """Oil viscosity 12.5 to 16.3, y = 13.6, u = 1.8: 0.662630 [M] + [C], printed 0.66."""
    inside = probability_over(13.6, 12.5, 1.8) - probability_over(13.6, 16.3, 1.8)
    assert inside == pytest.approx(0.662630, abs=1e-6)
    assert round(inside, 2) == 0.66


def test_c04_the_speed_that_is_surely_over() -> None:
    """Limit 100 km/h, u = 2 % of the reading, 99.9 %: 106.588 km/h [M] + [C], printed 107."""

    def miss(speed: float) -> float:
        return probability_over(speed, 100.0, 0.02 * speed) - 0.999

    assert scipy.optimize.brentq(miss, 100.0, 120.0) == pytest.approx(106.588, abs=1e-3)


def false_acceptance(acceptance_limit: float) -> float:
    """Share that is over the limit although it was measured under `acceptance_limit`."""
    share, _ = scipy.integrate.quad(
        lambda true: process().pdf(true) * (1.0 - probability_over(true, acceptance_limit, U)),
        LIMIT, 12.0, epsabs=1e-13,
    )  # fmt: skip
    return float(share)


def test_c05_share_of_balls_over_the_limit() -> None:
    """0.04238011 [S2] + [C]: the share over the limit, told by a gauge without error."""
    sharp = [
        scipy.integrate.quad(
            lambda true: process().pdf(true) * probability_over(true, LIMIT, 1e-9), low, high
        )[0]
        for low, high in ((0.0, LIMIT), (LIMIT, 20.0))
    ]
    assert sum(sharp) == pytest.approx(0.04238011, abs=1e-8)


def test_c06_balls_accepted_although_over() -> None:
    """u = 0.25 µm, accepted up to the limit itself: 0.0080191 [S2]."""
    assert false_acceptance(LIMIT) == pytest.approx(0.0080191, abs=1e-7)


def test_c07_the_acceptance_limit_for_one_in_a_thousand() -> None:
    """1.671829 µm, a guard band of 0.328171 µm [S2]."""
    found = scipy.optimize.brentq(
        lambda limit: false_acceptance(limit) - 1e-3, 1.0, 2.0, xtol=1e-12
    )
    assert found == pytest.approx(1.671829, abs=1e-6)
