"""How well a run's fouling rate is known, when the drop wanders about its line.

The drop of a run is taken as a line, a random walk about it (dirt does not come evenly) and the
error of each reading. Neither the walk nor the error is known; their ratio is tried at a few
values, each weighed by how well it explains the readings, and the interval is that of all of them
together. An interval that took the readings for independent would be far too narrow on a walk:
of 20 readings it held the true rate in 21 % of cases where 80 % were promised.

For each ratio: generalised least squares with a flat prior of line and scale, so that the slope
follows Student's t with n - 2 degrees of freedom (A. Zellner, An Introduction to Bayesian
Inference in Econometrics, 1971, ch. 3; from memory). Simulated coverage: docs/method.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from siltbook.batch.numbers.robust import Floats

# Variance that the walk gains in a mean gap between readings, over the variance of a reading.
# A few readings can hardly tell a walk from errors, and to take a walk for errors is the dangerous
# mistake: so walks begin with most of the weight.
RATIOS = (0.0, 0.3, 3.0, 30.0, 300.0)
PRIOR = (0.03, 0.03, 0.07, 0.25, 0.62)
MOST = 60  # readings of one run that are looked at, evenly spaced
LEAST = 3
_PARTS = 199  # of equal probability, that stand for one Student's t


@lru_cache(maxsize=128)
def _student(freedom: int) -> Floats:
    """Student's t in parts of equal probability: their middles.

    With t = sqrt(freedom) tan(a), the density of a is that of cos(a)^(freedom - 1).
    """
    angle = np.linspace(-math.pi / 2, math.pi / 2, 4001)
    heap = np.cumsum(np.cos(angle) ** (freedom - 1))
    middles = (np.arange(_PARTS) + 0.5) / _PARTS
    at = np.interp(middles * heap[-1], heap, angle)
    found: Floats = math.sqrt(freedom) * np.tan(at)
    return found


@dataclass(frozen=True)
class _Days:
    """What the days of a run alone say, whatever was read on them; all ratios side by side."""

    vectors: Floats  # a row for each direction in which walk and error are independent
    design: Floats  # axes (direction, constant and slope)
    precision: Floats  # axes (ratio, direction)
    line: Floats  # what gives constant and slope; axes (ratio, constant and slope, direction)
    scale: Floats  # of the slope's error, by ratio
    log_weight: Floats  # by ratio, before anything was read


@lru_cache(maxsize=256)
def _of_days(days: tuple[float, ...]) -> _Days:
    """Readings of one moment are allowed; walks in units of the mean gap."""
    t = np.asarray(days) - days[0]
    values, found = np.linalg.eigh(np.minimum(t[:, None], t[None, :]) / (t[-1] / (len(t) - 1)))
    vectors = found.T
    design = vectors @ np.column_stack([np.ones(len(t)), t])
    precision = 1 / (1 + np.array(RATIOS)[:, None] * np.maximum(values, 0.0))
    normal = design.T @ (design * precision[:, :, None])
    volume = np.log(precision).sum(axis=1) - np.linalg.slogdet(normal)[1]
    line = np.linalg.solve(normal, design.T * precision[:, None, :])
    return _Days(
        vectors, design, precision, line, np.linalg.inv(normal)[:, 1, 1],
        np.log(PRIOR) + 0.5 * volume,
    )  # fmt: skip


def _spaced(count: int) -> list[int]:
    return sorted({round(i * (count - 1) / (MOST - 1)) for i in range(MOST)})


def rate_interval(
    days: tuple[float, ...], drops: tuple[float, ...], confidence: float = 0.8
) -> tuple[float, float] | None:
    """Bounds [m/day] that hold the rate of a run with this probability, equally on both sides.

    `days` [days] rising, `drops` [m], `confidence` [-] above 0 and under 1. None with fewer than
    three readings or where all were taken at one time.
    """
    if len(days) > MOST:
        kept = _spaced(len(days))
        days, drops = tuple(days[i] for i in kept), tuple(drops[i] for i in kept)
    n = len(days)
    if n < LEAST or days[-1] <= days[0]:
        return None
    slopes, errors, weights = _fits(_of_days(days), np.asarray(drops))
    weights = np.exp(weights - weights.max())
    points = slopes[:, None] + errors[:, None] * _student(n - 2)
    order = np.argsort(points, axis=None, kind="stable")  # merges rows that are sorted already
    heap = np.cumsum(np.repeat(weights, _PARTS)[order])
    tail = (1 - confidence) / 2
    low, high = np.interp(np.array([tail, 1 - tail]) * heap[-1], heap, points.ravel()[order])
    return float(low), float(high)


def _fits(days: _Days, drops: Floats) -> tuple[Floats, Floats, Floats]:
    """Slope, its scale and the log weight for each ratio."""
    seen, free = days.vectors @ drops, len(drops) - 2
    line: Floats = days.line @ seen
    off = seen - line @ days.design.T
    # Readings that lie on a line to the last digit of the gauge are no proof of one.
    rest = np.maximum((off * off * days.precision).sum(axis=1), 1e-12)
    weight: Floats = days.log_weight - 0.5 * free * np.log(rest)
    errors: Floats = np.sqrt(rest / free * days.scale)
    return line[:, 1], errors, weight
