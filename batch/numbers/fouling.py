"""How well a curve explains a run's readings, when dirt does not come evenly.

A run follows y(t) = S(x(t)) with x(t) = begun + t / life + w(t): the load grows by 1/life a day
and walks about that, since dirt comes unevenly. On a flat part of the curve such a walk hardly
shows, so that flat readings say little about the days ahead, and on a steep part it shows fully.
For some filters the drop itself wanders, whatever the slope: those are modes of their own. The
gauge adds an error of its own to each reading.

The walk is followed reading by reading (a scalar Kalman filter, linear about the even course),
for all curves, lives, starts and modes at once: R. E. Kalman, A new approach to linear filtering
and prediction problems, J. Basic Eng. 82 (1960) 35-45.

Nomenclature: way u = (drop - base) / (limit - base) [-]; load x [-]; life T [days]; q = variance
that the walk gains over one life [-]; sigma = standard error of a reading as a way [-].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.numbers.robust import Floats

MOST_READINGS = 16  # of one run; the walk forgets, so the latest ones carry nearly everything
# Modes of unevenness: whether the load walks (else the level does), and q of the walk.
IN_LOAD = np.array([True, True, True, True, False, False])
WALK: Floats = np.array([0.001, 0.01, 0.04, 0.15, 0.004, 0.03])
MODES = len(WALK)
_LOGS_APART = 8  # readings whose variances are multiplied before their logarithm is taken
Index = NDArray[np.int64]
EVERY_MODE: Index = np.arange(MODES)


@dataclass(frozen=True)
class Track:
    """What the readings make of each cell; axes as the readings' without the last, mode, error.

    `mean` and `variance` are those of the walk at the last reading: of the load or of the level,
    by the mode.
    """

    log_likelihood: Floats
    mean: Floats
    variance: Floats


def latest(days: Floats, y: Floats) -> tuple[Floats, Floats]:
    """The first and the latest readings, at most 16: `days` [days] and `y` [-], drop over limit."""
    if len(days) <= MOST_READINGS:
        return days, y
    days, y = (np.concatenate([v[:1], v[1 - MOST_READINGS :]]) for v in (days, y))
    return days, y


def track(
    errors: Floats,
    slopes: Floats,
    passed: Floats,
    sigma: Floats,
    seen: Floats | None = None,
    modes: Index = EVERY_MODE,
) -> Track:
    """Follow the walk through the readings of every cell.

    `errors` [-]: readings less the even course, last axis the readings in order of time. `slopes`:
    dS/dx there. `passed`: load passed since the reading before (the first: since the start);
    both broadcast with `errors`. `sigma` broadcasts with (..., mode, error). `seen`: 1 where a
    reading is one, 0 where it only fills up a shorter run. `modes`: those that are asked for.
    """
    cells = errors.shape[:-1]
    # Mode and error lead and the cells follow on one axis: long rows of numbers side by side.
    offs, shown, gone = (_by_reading(v, errors.shape) for v in (errors, slopes, passed))
    there = None if seen is None or seen.all() else _by_reading(seen, errors.shape)
    noise = _by_mode(sigma**2, cells)
    gain_a_life, in_load = WALK[modes][:, None, None], IN_LOAD[modes][:, None, None]
    shape = (len(modes), sigma.shape[-1], offs.shape[1])
    mean, variance, misfit, logs = (np.zeros(shape) for _ in range(4))
    product = np.ones(shape)
    pull, whole, off, step = (np.empty(shape) for _ in range(4))
    for i, error in enumerate(offs):
        variance += gain_a_life * gone[i]
        shows = np.where(in_load, shown[i], 1.0)
        if there is not None:
            shows *= there[i]
            error = error * there[i]
        np.multiply(shows, variance, out=pull)
        np.multiply(pull, shows, out=whole)
        whole += noise
        np.multiply(shows, mean, out=off)
        np.subtract(error, off, out=off)
        if there is not None:
            np.copyto(whole, 1.0, where=there[i] == 0.0)  # there `off` and `pull` are 0
        product *= whole
        np.divide(off, whole, out=step)
        off *= step
        misfit += off
        step *= pull
        mean += step
        np.divide(pull, whole, out=step)
        step *= pull
        variance -= step
        if i % _LOGS_APART == _LOGS_APART - 1:  # a logarithm costs as much as all the rest
            logs += np.log(product)
            product.fill(1.0)
    logs += np.log(product)
    misfit += logs
    misfit *= -0.5
    return Track(*(_by_cell(found, cells) for found in (misfit, mean, variance)))


def _by_reading(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Values that broadcast to `shape`, axes (cells ..., reading), as axes (reading, cell)."""
    return np.moveaxis(np.broadcast_to(values, shape), -1, 0).reshape(shape[-1], -1)


def _by_mode(values: Floats, cells: tuple[int, ...]) -> Floats:
    """What broadcasts with (cells ..., mode, error) as axes (mode, error, cell)."""
    if values.ndim == 1:
        return values[None, :, None]
    whole = np.broadcast_to(values, (*cells, *values.shape[-2:]))
    return whole.reshape(-1, *values.shape[-2:]).transpose(1, 2, 0)


def _by_cell(found: Floats, cells: tuple[int, ...]) -> Floats:
    """Axes (mode, error, cell) as (cells ..., mode, error)."""
    return found.transpose(2, 0, 1).reshape(*cells, *found.shape[:2])
