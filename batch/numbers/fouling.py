"""How a filter fouls: families of curves, and how well each explains a run's readings.

The first family are the blocking laws at constant flow, dh/dt = k h^m: m = 0 is a cake (a
straight line), m = 1 intermediate blocking, m = 2 complete blocking; higher m creeps longer and
climbs harder, m < 0 flattens. Then h^(1 - m) is straight in time, and a run that starts higher
up, after a flush that gave back only part, goes on from there along the same curve. (Hermia 1982
gives the laws at constant pressure; these are their constant-flow counterparts.)

The second family counts from the reset: h = start + c t^p with p > 1, dirt that first fills the
element without showing.

Dirt does not come evenly, so the drop wanders about its curve as a random walk; the gauge adds
an error of its own to each reading.

Nomenclature: y = h / limit [-]; `full` F [days], the time from y = 0.2 to y = 1; s = position on
the curve, growing by 1/F a day, 1 at y = 1 where the run starts at 0.2; q = variance of the
random walk from one end of the curve to the other as a share of (0.8)^2 [-]; sigma = standard
error of a reading over the limit [-].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.numbers.robust import Floats

FOOT = 0.2  # y at s = 0 of a blocking law
LOWEST, HIGHEST = 0.02, 4.0  # y is kept within these
LAWS: Floats = np.array([-1.0, 0.0, 1.0, 2.0, 3.0])  # m of the blocking laws
POWERS: Floats = np.array([1.5, 2.2, 3.2])  # p of the curves that count from the reset
SHAPES = len(LAWS) + len(POWERS)
WANDER: Floats = np.array([0.0005, 0.008, 0.05, 0.2])
MOST_READINGS = 16  # of one run; the walk forgets, so the latest ones carry nearly everything


@dataclass(frozen=True)
class Grid:
    """The nodes at which a run is tried: full time [days], first level y, reading error."""

    full: Floats
    level: Floats
    sigma: Floats


@dataclass(frozen=True)
class Fit:
    """How well each curve explains a run: axes (full, level, shape, wander x sigma).

    `mean` is each curve's y at the last reading, axes (full, level, shape); `errors` the readings
    less the curve in a basis that makes the walk's steps independent, axes (full, level x shape,
    step); `walk` and `whole` the variances of the steps from the walk alone and with the gauge,
    axes (full, wander x sigma, step); `last` brings the basis to the last reading.
    """

    log_likelihood: Floats
    mean: Floats
    errors: Floats
    walk: Floats
    whole: Floats
    last: Floats


# 1 - m, kept off zero: there the law is an exponential, its limit.
_LAMBDA: Floats = np.where(np.abs(1 - LAWS) < 1e-6, 1e-6, 1 - LAWS)
_FOOT: Floats = FOOT**_LAMBDA
# Position as (base ^ power - offset) scale, shape by shape; its base is y or the rise of y.
_POWER: Floats = np.concatenate([_LAMBDA, 1 / POWERS])
_OFFSET: Floats = np.concatenate([_FOOT, np.zeros(len(POWERS))])
_SCALE: Floats = np.concatenate([1 / (1 - _FOOT), (1 / (1 - FOOT)) ** (1 / POWERS)])
_ENDS: Floats = np.sort(np.stack([LOWEST**_LAMBDA, HIGHEST**_LAMBDA]), axis=0)


def position(y: Floats, start: Floats) -> Floats:
    """Position s at level `y` of a run from level `start`: their shape, and an axis of shapes.

    `y` may already have that axis.
    """
    y, start = np.broadcast_arrays(y, start[..., None])
    out = np.empty((*y.shape[:-1], SHAPES))
    blocking, counting = np.split(np.broadcast_to(y, out.shape), [len(LAWS)], axis=-1)
    out[..., : len(LAWS)] = (np.clip(blocking, LOWEST, HIGHEST) ** _LAMBDA - _FOOT) / (1 - _FOOT)
    rise = np.maximum(counting - start[..., :1], 0.0) / (1 - FOOT)
    out[..., len(LAWS) :] = rise ** (1 / POWERS)
    return out


def way_left(y: Floats, start: Floats, shape: NDArray[np.int_]) -> Floats:
    """How much of its curve a run at level `y` has before it, as shares of `full`; never below 0.

    `y`, `start` (its first level) and `shape` (index) go together.
    """
    blocking = shape < len(LAWS)
    base = np.where(blocking, np.clip(y, LOWEST, HIGHEST), np.maximum(y - start, 1e-30))
    whole = np.where(blocking, 1.0, np.maximum(1 - start, 1e-30))
    power, scale, foot = _POWER[shape], _SCALE[shape], _OFFSET[shape]
    reached = np.exp(power * np.log(base)) - foot
    end = np.exp(power * np.log(whole)) - foot
    left: Floats = np.maximum((end - reached) * scale, 0.0)
    return left


def level(s: Floats, start: Floats) -> Floats:
    """Level y at position `s` (last axis: shapes) of a run from level `start`; at most 4."""
    base = np.clip(_FOOT + s[..., : len(LAWS)] * (1 - _FOOT), _ENDS[0], _ENDS[1])
    out = np.empty(s.shape)
    out[..., : len(LAWS)] = np.exp(np.log(base) / _LAMBDA)
    # Powers by way of logarithms, here and above: a power of arrays costs several times as much.
    passed = np.log(np.maximum(s[..., len(LAWS) :], 1e-9))
    rise = (1 - FOOT) * np.exp(passed * POWERS)
    out[..., len(LAWS) :] = np.minimum(start[..., None] + rise, HIGHEST)
    return out


def latest(days: Floats, y: Floats) -> tuple[Floats, Floats]:
    """The first reading and the latest ones, at most 16 in all."""
    if len(days) <= MOST_READINGS:
        return days, y
    keep = np.r_[0, len(days) - MOST_READINGS + 1 : len(days)]
    return days[keep], y[keep]


def walk_rate(full: Floats, wander: Floats) -> Floats:
    """Variance that the walk gains per day, axes (full, wander)."""
    rate: Floats = wander[None, :] * (1 - FOOT) ** 2 / full[:, None]
    return rate


def fit(days: Floats, y: Floats, grid: Grid) -> Fit:
    """How well every curve of the grid explains readings `y` at `days` (at least one)."""
    start = position(grid.level[:, None], grid.level)
    passed = days[:, None] / grid.full[:, None, None, None]
    # Axes here (full, level, day, shape); afterwards the days stand last.
    curve = level(start[:, None, :] + passed, grid.level[:, None]).swapaxes(2, 3)
    # In the basis of these vectors the steps of the walk are independent.
    values, vectors = np.linalg.eigh(np.minimum(days[:, None], days[None, :]))
    values = np.maximum(values, 0.0)
    t, a, m = curve.shape[:3]
    errors = ((y - curve) @ vectors).reshape(t, a * m, -1)
    rate = np.repeat(walk_rate(grid.full, WANDER), len(grid.sigma), axis=1)
    walk = rate[:, :, None] * values
    whole = walk + np.tile(grid.sigma**2, len(WANDER))[:, None]
    # In place: fresh memory for arrays of this size costs as much as the arithmetic.
    likelihood = errors**2 @ (1 / whole).swapaxes(1, 2)
    likelihood += np.log(whole).sum(-1)[:, None, :]
    likelihood *= -0.5
    shaped = likelihood.reshape(t, a, m, -1)
    return Fit(shaped, curve[..., -1], errors, walk, whole, vectors[-1])


def state(fitted: Fit) -> tuple[Floats, Floats]:
    """The true level at the last reading: its mean, axes as in the likelihood, and variance.

    The variance has axes (full, wander x sigma).
    """
    gain = fitted.walk * fitted.last
    now = fitted.errors @ (gain / fitted.whole).swapaxes(1, 2)
    now += fitted.mean.reshape(*now.shape[:2], 1)
    unseen = (fitted.walk * fitted.last**2).sum(-1)
    variance = np.maximum(unseen - (gain**2 / fitted.whole).sum(-1), 0.0)
    return now.reshape(fitted.log_likelihood.shape), variance
