"""The audit's tail probabilities against published worked examples and a reference library.

Worked examples:

- Mendel's 556 peas (315, 101, 108, 32, expected as 9:3:3:1): chi-square 0.47 with 3 degrees of
  freedom, probability greater than 0.90. P. McClean, Mendel's First Law, The Chi-Square Test,
  North Dakota State University, www.ndsu.edu/pubweb/~mcclean/plsc431/mendel/mendel4.htm [S].
- Two hundred throws of a loaded die (27, 31, 42, 40, 28, 32, expected evenly): chi-square 5.86,
  p = 0.3201; a textbook exercise with its solution, homeworksource.com/p/1049130 [S].
- Weldon's dice: 26,306 throws of twelve dice, on each of which a 5 or a 6 counted. With the throws
  of ten and more put together chi-square is 35.49 with 10 degrees of freedom, P = 0.0001 (Fisher
  1925, Statistical Methods for Research Workers, section 18; counts and figures [M]).
- Critical values of chi-square: 3.841, 5.991 and 16.919 at 5 % for 1, 2 and 9 degrees of freedom
  (tables since Fisher 1925, Statistical Methods for Research Workers, Table III [M]).
- The lady tasting tea as eight independent cups: 8 of 8 right has a chance of 1/256 [C].
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from siltbook.batch.audit.chance import (
    beta_binomial_at_least,
    binomial_at_least,
    chi_square_over,
    goodness_of_fit,
    stays_within,
)
from siltbook.batch.audit.digits import Digits, classes, last_digits

MENDEL = (315, 101, 108, 32)
NINE_THREE_THREE_ONE = tuple(n / 16 for n in (9, 3, 3, 1))
WELDON = (185, 1149, 3265, 5475, 6114, 5194, 3067, 1331, 403, 105, 14, 4, 0)


def test_mendels_peas() -> None:
    statistic, p = goodness_of_fit(MENDEL, NINE_THREE_THREE_ONE)
    assert statistic == pytest.approx(0.47, abs=5e-3)
    assert p > 0.90
    expected = [sum(MENDEL) * share for share in NINE_THREE_THREE_ONE]
    theirs = scipy.stats.chisquare(MENDEL, expected)
    assert (statistic, p) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-12)


def test_two_hundred_throws_of_a_loaded_die() -> None:
    statistic, p = goodness_of_fit((27, 31, 42, 40, 28, 32), (1 / 6,) * 6)
    assert statistic == pytest.approx(5.86, abs=5e-3)
    assert p == pytest.approx(0.3201, abs=5e-5)


def test_weldons_dice() -> None:
    assert sum(WELDON) == 26_306
    fives_and_sixes = sum(n * count for n, count in enumerate(WELDON))
    assert fives_and_sixes / (12 * sum(WELDON)) == pytest.approx(0.3377, abs=5e-5)
    # Fisher put the rare throws of ten and more fives and sixes together.
    shares = [float(scipy.stats.binom.pmf(n, 12, 1 / 3)) for n in range(10)]
    counts = [*WELDON[:10], sum(WELDON[10:])]
    statistic, p = goodness_of_fit(counts, [*shares, 1 - sum(shares)])
    assert statistic == pytest.approx(35.49, abs=0.01)
    assert p == pytest.approx(0.0001, abs=5e-6)


@pytest.mark.parametrize(
    ("degrees", "critical"), [(1, 3.841), (2, 5.991), (3, 7.815), (4, 9.488), (9, 16.919)]
)
def test_the_five_percent_points_of_the_tables(degrees: int, critical: float) -> None:
    assert chi_square_over(critical, degrees) == pytest.approx(0.05, abs=2e-5)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 9, 40])
@pytest.mark.parametrize("statistic", [1e-6, 0.3, 1.0, 4.4, 11.0, 55.0, 250.0])
def test_chi_square_against_scipy(statistic: float, degrees: int) -> None:
    expected = float(scipy.stats.chi2.sf(statistic, degrees))
    assert chi_square_over(statistic, degrees) == pytest.approx(expected, rel=1e-9, abs=1e-15)


def test_the_lady_tasting_tea() -> None:
    assert binomial_at_least(8, 8, 0.5) == pytest.approx(1 / 256, rel=1e-12)


@pytest.mark.parametrize(
    ("k", "n", "p"),
    [(0, 10, 0.2), (1, 25, 0.2), (12, 25, 0.2), (25, 25, 0.2), (300, 1000, 0.2), (9, 12, 0.02)],
)
def test_binomial_against_scipy(k: int, n: int, p: float) -> None:
    expected = scipy.stats.binomtest(k, n, p, alternative="greater").pvalue
    assert binomial_at_least(k, n, p) == pytest.approx(expected, rel=1e-9)


def test_binomial_at_its_edges() -> None:
    assert binomial_at_least(3, 2, 0.5) == 0.0
    assert binomial_at_least(1, 5, 0.0) == 0.0
    assert binomial_at_least(5, 5, 1.0) == 1.0


@pytest.mark.parametrize(("k", "n", "mean", "rho"), [(6, 12, 0.3, 0.1), (12, 12, 0.4, 0.3)])
def test_beta_binomial_against_scipy(k: int, n: int, mean: float, rho: float) -> None:
    both = 1 / rho - 1
    expected = scipy.stats.betabinom.sf(k - 1, n, mean * both, (1 - mean) * both)
    assert beta_binomial_at_least(k, n, mean, rho) == pytest.approx(float(expected), rel=1e-9)
    assert beta_binomial_at_least(k, n, mean, 0.0) == binomial_at_least(k, n, mean)


def test_a_difference_within_a_step_is_the_normal_law() -> None:
    expected = float(scipy.stats.norm.cdf(0.5) - scipy.stats.norm.cdf(-0.5))
    assert stays_within(0.1, 0.2) == pytest.approx(expected, rel=1e-12)
    assert stays_within(0.1, 0.0) == 1.0


@pytest.mark.parametrize(
    ("division", "count"),
    [(0.01, 5), (0.1, 5), (1.0, 5), (0.02, 5), (2.0, 5), (0.05, 2), (0.5, 2), (0.25, 2), (0.03, 0)],
)
def test_which_digits_a_division_allows(division: float, count: int) -> None:
    assert classes(division) == count


def test_last_digits_of_a_series() -> None:
    rng = np.random.default_rng(7)
    honest = np.round(rng.uniform(2.0, 3.0, 200) / 0.02) * 0.02
    found = last_digits(honest, 0.02)
    assert isinstance(found, Digits)
    assert found.share == 0.2
    assert found.p > 0.01
    assert found.fit is not None
    blunt = np.where(rng.random(200) < 0.4, np.round(honest, 1), honest)
    found = last_digits(blunt, 0.02)
    assert isinstance(found, Digits)
    expected = scipy.stats.binomtest(found.round, found.of, 0.2, alternative="greater").pvalue
    assert found.p == pytest.approx(expected, rel=1e-9)
    assert found.p < 1e-6


def test_what_the_digit_test_needs() -> None:
    rng = np.random.default_rng(8)
    wide = np.round(rng.uniform(2.0, 3.0, 24) / 0.02) * 0.02
    assert "25 needed" in str(last_digits(wide, 0.02))
    steady = np.round(rng.normal(3.0, 0.02, 200) / 0.02) * 0.02
    assert last_digits(steady, 0.02) == "readings too close together for even digits"
    finer = rng.uniform(2.0, 3.0, 200)
    assert last_digits(finer, 0.02) == "read finer than the division in the register"
    assert last_digits(wide, 0.03) == "no division that has round numbers"


def test_under_even_digits_the_test_keeps_its_level() -> None:
    """Of 2,000 honest series of 60 readings, at most 1 % plus counting error falls under 1 %."""
    rng = np.random.default_rng(9)
    alarms = 0
    for _ in range(2_000):
        series = np.round(rng.uniform(2.0, 3.0, 60) / 0.02) * 0.02
        found = last_digits(series, 0.02)
        assert isinstance(found, Digits)
        alarms += found.p <= 0.01
    assert alarms <= 20 + 3 * math.sqrt(20)
