"""Statistics that bear an outlier: the Theil-Sen line, and the interval of a median.

Nomenclature: x is time [days], y a drop [m], a slope is y per x [m/day]. All functions take
sequences of equal length without missing values and raise ValueError otherwise.

References: Theil 1950; Sen 1968 (J. Am. Stat. Assoc. 63, 1379-1389) for the interval of the
slope; Kendall 1975 for the correction of its variance for ties.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, takewhile
from statistics import NormalDist, median

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Index = NDArray[np.int64]
_NORMAL = NormalDist()
FEW = 60  # points, up to which the pairs are kept
_NO_SLOPE = "all x are equal, so there is no slope"
MOST = 1_500  # points of a line; all pairs of 40,000 would take 13 GB


@dataclass(frozen=True)
class RobustLine:
    """The Theil-Sen line. `low` and `high` bound the slope; None with fewer than 3 points."""

    slope: float
    intercept: float
    low: float | None
    high: float | None


def _pair(x: Sequence[float], y: Sequence[float], least: int) -> tuple[Floats, Floats]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape:
        raise ValueError(f"x and y must be as long as each other, not {xs.shape} and {ys.shape}")
    if len(xs) < least:
        raise ValueError(f"at least {least} points are needed, not {len(xs)}")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("every x and y must be a finite number")
    return xs, ys


def pair_slopes(x: Sequence[float], y: Sequence[float]) -> Floats:
    """The sorted slopes [m/day] of all pairs of points with different `x`; may be empty.

    `x` [days] and `y` [m]: finite, as long as each other, at least one; else ValueError.
    """
    return _slopes(*_pair(x, y, 1))


def _slopes(xs: Floats, ys: Floats) -> Floats:
    """`pair_slopes` of arrays that were looked at."""
    i, j = _pairs(len(xs)) if len(xs) <= FEW else np.triu_indices(len(xs), 1)
    dx = xs[j] - xs[i]
    apart = dx != 0
    slopes: Floats = np.sort((ys[j] - ys[i])[apart] / dx[apart])
    return slopes


@lru_cache(maxsize=FEW + 1)
def _pairs(count: int) -> tuple[Index, Index]:
    """Every pair of so many points; kept for runs as short as most are."""
    return np.triu_indices(count, 1)


def tie_term(values: Sequence[float] | Floats) -> float:
    """The sum of t (t - 1) (2 t + 5) [-] over groups of t equal `values`; 0 without ties."""
    counts = Counter(np.asarray(values, dtype=float).tolist()).values()
    return float(sum(t * (t - 1) * (2 * t + 5) for t in counts))


def _thinned(values: Floats) -> Floats:
    """The values, or `MOST` of them, evenly spaced from the first to the last."""
    if len(values) <= MOST:
        return values
    spaced: Floats = values[np.linspace(0, len(values) - 1, MOST).round().astype(int)]
    return spaced


def median_slope(x: Sequence[float], y: Sequence[float]) -> float:
    """The slope [m/day] of `theil_sen` alone, at a third of its time; `x` [days] and `y` [m].

    ValueError as there.
    """
    slopes = _slopes(*(_thinned(values) for values in _pair(x, y, 2)))
    if not len(slopes):
        raise ValueError(_NO_SLOPE)
    half, odd = divmod(len(slopes), 2)
    return float(slopes[half] if odd else (slopes[half - 1] + slopes[half]) / 2)


def theil_sen(x: Sequence[float], y: Sequence[float], confidence: float = 0.8) -> RobustLine:
    """The median of all pairwise slopes, and Sen's interval for it at `confidence` [-] (0 to 1).

    Intercept = median(y) - slope median(x). With few points the ranks run out and the interval
    is then the whole range of pair slopes, which is narrower than it ought to be. Fewer than 3
    points: no interval. Of more than 1,500 points so many are taken, evenly spaced in their order:
    the interval is then that of those. ValueError where all x are equal.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
    xs, ys = (_thinned(values).tolist() for values in _pair(x, y, 2))
    n = len(xs)
    slopes = pair_slopes(xs, ys).tolist()
    if not slopes:
        raise ValueError(_NO_SLOPE)
    slope = median(slopes)
    intercept = median(ys) - slope * median(xs)
    if n < 3:
        return RobustLine(slope, intercept, None, None)
    variance = (n * (n - 1) * (2 * n + 5) - tie_term(xs) - tie_term(ys)) / 18
    width = _NORMAL.inv_cdf((1 + confidence) / 2) * math.sqrt(max(variance, 0.0))
    upper = min(round((len(slopes) + width) / 2), len(slopes) - 1)
    lower = max(round((len(slopes) - width) / 2) - 1, 0)
    return RobustLine(slope, intercept, slopes[lower], slopes[upper])


def median_coverage(count: int, k: int) -> float:
    """Probability [-] that the median lies between the k-th smallest and k-th largest of `count`.

    `count` [-]: 1 or more. `k` [-]: from 1 to half of `count`.
    """
    return next(islice(_coverages(count), k - 1, None))


def _coverages(count: int) -> Iterator[float]:
    """`median_coverage` for k = 1, 2, ...; each from the one before, in whole numbers."""
    ways, below = 1, 0  # ways to draw k - 1 of `count`; ways to draw fewer than k
    for k in range(1, count + 1):
        below += ways
        # A ratio of whole numbers: from 1,024 values on neither of them fits a float.
        yield 1.0 - 2.0 * (below / 2**count)
        ways = ways * (count - k + 1) // k


def median_interval(
    values: Sequence[float], confidence: float = 0.8
) -> tuple[float, float, float] | None:
    """(low, high, true confidence) of the median of a population; None with too few values.

    By order statistics, which asks nothing of how the values are spread: between the k-th
    smallest and the k-th largest of n the median lies with probability 1 - 2 P(B < k), B binomial
    (n, 1/2). The narrowest such interval that holds it with at least `confidence` [-] (0 to 1).
    Source: W. J. Conover, Practical Nonparametric Statistics, 3rd ed. 1999, section 3.2 (from
    memory).
    """
    ordered = sorted(values)
    count = len(ordered)
    held = islice(_coverages(count), count // 2)
    fitting = list(takewhile(lambda share: share >= confidence, held))
    if not fitting:
        return None
    k = len(fitting)
    return ordered[k - 1], ordered[count - k], fitting[-1]
