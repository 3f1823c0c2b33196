"""The few tail probabilities that the audit needs, from the standard library alone.

Checked against a reference library and published worked examples in tests/published.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

FALSE_ALARMS = 0.01  # per rule and honest season; half of what is promised
ROOT_2 = math.sqrt(2.0)


def binomial_at_least(k: int, n: int, p: float) -> float:
    """P(X >= k) for X binomial with `n` trials of chance `p`; exact, summed from small to large."""
    if k <= 0:
        return 1.0
    if k > n or p <= 0.0:
        return 0.0
    if p >= 1.0:
        return 1.0
    log_p, log_q = math.log(p), math.log1p(-p)
    whole = math.lgamma(n + 1)
    terms = [
        math.exp(whole - math.lgamma(i + 1) - math.lgamma(n - i + 1) + i * log_p + (n - i) * log_q)
        for i in range(k, n + 1)
    ]
    return min(1.0, math.fsum(terms))


def beta_binomial_at_least(k: int, n: int, mean: float, rho: float) -> float:
    """P(X >= k) of a beta-binomial with this mean share and correlation `rho` (0: binomial)."""
    if rho <= 1e-9 or not 0.0 < mean < 1.0:
        return binomial_at_least(k, n, mean)
    both = 1.0 / min(rho, 0.999) - 1.0
    a, b = mean * both, (1.0 - mean) * both
    base = math.lgamma(n + 1) - _log_beta(a, b)
    terms = [
        math.exp(base - math.lgamma(i + 1) - math.lgamma(n - i + 1) + _log_beta(i + a, n - i + b))
        for i in range(max(k, 0), n + 1)
    ]
    return min(1.0, math.fsum(terms))


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def chi_square_over(statistic: float, degrees: int) -> float:
    """P(chi-square with `degrees` of freedom > statistic): Q(degrees/2, statistic/2).

    Series below a+1, continued fraction above (Abramowitz and Stegun 1964, 6.5.29 and 6.5.31;
    numbers from memory).
    """
    a, x = degrees / 2.0, statistic / 2.0
    if x <= 0.0:
        return 1.0
    front = math.exp(-x + a * math.log(x) - math.lgamma(a))
    return 1.0 - front * _series(a, x) if x < a + 1.0 else front * _fraction(a, x)


def _series(a: float, x: float) -> float:
    term = total = 1.0 / a
    n = a
    while abs(term) > abs(total) * 1e-16:
        n += 1.0
        term *= x / n
        total += term
    return total


def _fraction(a: float, x: float) -> float:
    """The continued fraction by Lentz's way, modified so that no divisor is zero."""
    tiny = 1e-300
    b = x + 1.0 - a
    c, d = 1.0 / tiny, 1.0 / b
    value = d
    for i in range(1, 10_000):
        step = -i * (i - a)
        b += 2.0
        d = 1.0 / (step * d + b or tiny)
        c = b + step / c or tiny
        value *= c * d
        if abs(c * d - 1.0) < 1e-16:
            break
    return value


def goodness_of_fit(counts: Sequence[int], shares: Sequence[float]) -> tuple[float, float]:
    """Pearson's statistic of observed counts against expected shares, and its p-value."""
    total = sum(counts)
    statistic = math.fsum(
        (n - total * share) ** 2 / (total * share) for n, share in zip(counts, shares, strict=True)
    )
    return statistic, chi_square_over(statistic, len(counts) - 1)


def stays_within(step: float, spread: float) -> float:
    """Chance that a difference of standard deviation `spread`, mean 0, is smaller than `step`.

    Two readings on one division differ by less than a division, so this bounds the chance that
    a reading is repeated. 1 where there is no spread: then a repetition says nothing.
    """
    return 1.0 if spread <= 0.0 else math.erf(step / (spread * ROOT_2))
