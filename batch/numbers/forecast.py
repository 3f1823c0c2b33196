"""The day on which the drop is expected to reach the limit, with an 80 % interval.

Every curve of the fouling family (module `fouling`) is weighed by how well it explains the
current run, and by what earlier runs teach: the station's own about the time it takes, all of
the farm's about the shape and unevenness. The quantiles come from the weighed curves, so a short
run leans on the past and a long one on itself. Calibration: docs/forecast-benchmark.md.

Edges: a station that was just reset and not read since is forecast from earlier runs alone. A
first run has no known cleaning day and counts from its first reading. A drop equal to the limit
is in range. The forecast is never before the latest reading.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from siltbook.batch.numbers.fouling import (
    HIGHEST,
    LOWEST,
    SHAPES,
    WANDER,
    Fit,
    Grid,
    fit,
    latest,
    state,
    walk_rate,
    way_left,
)
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import LONGEST_GAP, Run, longest_gap

QUANTILES = (0.1, 0.5, 0.9)
HORIZON = 365.0  # [days] after the as-of date; beyond, 'not within a year'
STALE = 90  # [days] since the last reading or reset, over which a forecast is idle
MOST_OWN, MOST_FARM = 12, 16  # earlier runs to learn from, the latest ones
_FULL: Floats = np.geomspace(3.0, 1500.0, 36)
_LOG_FULL: Floats = np.log(_FULL)
_SIGMA_UNKNOWN: Floats = np.array([0.01, 0.03, 0.07])
_SIGMA_FACTOR: Floats = np.array([0.8, 1.3, 2.5])
_SIGMA_PRIOR: Floats = np.array([0.45, 0.4, 0.15])
_SIGMA_EARLIER: Floats = np.array([0.015, 0.05])  # of earlier runs, whatever the gauge
# m = -1, 0, 1, 2, 3, then p = 1.5, 2.2, 3.2
_SHAPE_PRIOR: Floats = np.array([0.04, 0.32, 0.22, 0.1, 0.06, 0.12, 0.08, 0.06])
_WANDER_PRIOR: Floats = np.array([0.55, 0.15, 0.17, 0.13])
_PRIOR_RUNS = 2.0  # the priors above weigh as much as this many earlier runs
_TYPICAL, _TYPICAL_SPREAD = math.log(40.0), 1.0  # full time [log days] where nothing is known
_RUN_SPREADS: Floats = np.array([0.12, 0.25, 0.45, 0.8])  # of log full time between runs
# Stretch of the interval about the median, for each step of the mean log unevenness of the
# curves in play; set on the tuning farms. Even fouling is surer than its curves say by
# themselves, uneven fouling less so: bursts of dirt are no random walk.
_STRETCH, _STRETCH_UNEVEN = 1.22, 0.056
# Lognormal quantiles that stand for one curve's scatter, equally likely.
_SPOKES: Floats = np.array([-1.4, -0.532, 0.0, 0.532, 1.4])
_FAINT = math.log(1000.0)  # cells this much below the best are left out
# Quantiles come from a heap of log days in narrow bins, from a quarter of an hour to 10,000 days.
_SOONEST, _BINS = 0.01, 4096
_LOG_SOONEST, _LOG_SPAN = math.log(_SOONEST), math.log(1e6)


@dataclass(frozen=True)
class Forecast:
    """The expected day and its 80 % interval; all None where `silent` says why there is none.

    `high` is None beside a date where the limit may well not be reached within a year. `passed`
    is the expected day where it lies before the as-of date: that is no forecast any more.
    """

    date: dt.date | None
    low: dt.date | None
    high: dt.date | None
    silent: str
    passed: dt.date | None = None


@dataclass(frozen=True)
class _Learnt:
    log_full: Floats  # log weight of each full time, axes (full, shape)
    log_shape: Floats  # axes (shape, wander)


def _silent(why: str) -> Forecast:
    return Forecast(None, None, None, why)


def _teaches(run: Run) -> bool:
    # Two readings make no believable rate by themselves, but many such runs do teach. A run that
    # has not ended teaches nothing about ends; those of one farm also share one weather.
    if run.open or len(run.days) < 2 or run.days[-1] <= 0 or max(run.drops) <= 0:
        return False
    falls = run.rate_high is not None and run.rate_high < 0
    return not falls and longest_gap(run.days) <= LONGEST_GAP


def teachers(runs: Iterable[Run]) -> list[Run]:
    """The runs that others can learn from, in order of their end, however they were given."""
    taught = (r for r in runs if _teaches(r))
    return sorted(taught, key=lambda r: (r.end, r.start, r.days, r.drops))


def _normal(x: Floats, mean: Floats | float, spread: Floats | float) -> Floats:
    w = np.exp(-0.5 * ((x - mean) / spread) ** 2)
    out: Floats = w / w.sum(axis=-1, keepdims=True)
    return out


# Where a run's full time may lie around a typical one: rows are every typical time at one spread
# after the other; and the same with the spread between stations.
_RUNS: Floats = _normal(
    _LOG_FULL,
    np.tile(_LOG_FULL, len(_RUN_SPREADS))[:, None],
    np.repeat(_RUN_SPREADS, len(_FULL))[:, None],
)
_BLUR: Floats = _normal(_LOG_FULL, _LOG_FULL[:, None], 0.35)
_ANY: Floats = _normal(_LOG_FULL, _TYPICAL, _TYPICAL_SPREAD)[:, None]
_STRANGE = 0.02  # share of runs that are like no earlier one


def _first_levels(days: Floats, y: Floats, reach: float, count: int) -> Floats:
    """Where the run may have started, from its first reading backwards to day 0."""
    span = max(float(days[-1]), 1e-9)
    back = 1.5 * max(float(y[-1] - y[0]), 0.0) * min(float(days[0]) / span, 1.0)
    low = max(LOWEST, float(y[0]) - reach - back)
    nodes: Floats = np.linspace(low, min(max(float(y[0]) + reach, low + 0.01), HIGHEST), count)
    return nodes


def _narrow(full: Floats, like: Floats, count: int) -> Floats:
    """A finer grid of `count` full times around those of `full` that hold the weight."""
    best = like.max(axis=(1, 2, 3))
    held = np.flatnonzero(best > best.max() - 12.0)
    low, high = max(held[0] - 1, 0), min(held[-1] + 1, len(full) - 1)
    finer: Floats = np.geomspace(full[low], full[high], count)
    return finer


@lru_cache(maxsize=4096)
def _lesson(run: Run, limit: float) -> Floats:
    """What one earlier run says: likelihood, axes (full, shape, wander), largest 1.

    A straight run pins its full time down to less than a step of the common grid, and a curve
    that misses it for want of a finer grid would pass for unevenness: so it is fitted on a grid
    of its own, and each step of the common grid takes its share.
    """
    days, y = latest(np.asarray(run.days), np.asarray(run.drops) / limit)
    levels = _first_levels(days, y, 0.04, 5)
    rough = fit(days, y, Grid(_FULL, levels[2:3], _SIGMA_EARLIER[1:])).log_likelihood
    full = _narrow(_FULL, rough, 32)
    like = fit(days, y, Grid(full, levels, _SIGMA_EARLIER)).log_likelihood
    like = like.reshape(*like.shape[:3], len(WANDER), -1)
    fine = np.exp(like - like.max()).sum(axis=(1, 4))
    step = _LOG_FULL[1] - _LOG_FULL[0]
    shares = np.maximum(1 - np.abs(_LOG_FULL[:, None] - np.log(full)) / step, 0.0)
    lesson: Floats = np.tensordot(shares, fine, axes=1)
    lesson /= lesson.max()
    return lesson


def _learn_shape(lessons: Floats) -> Floats:
    """Weights of shape and wander, by expectation-maximisation over all earlier runs."""
    prior = _SHAPE_PRIOR[:, None] * _WANDER_PRIOR[None, :]
    typical = _normal(_LOG_FULL, _TYPICAL, 1.5 * _TYPICAL_SPREAD)
    evidence = np.tensordot(lessons, typical, axes=(1, 0)) if len(lessons) else np.empty((0, 1, 1))
    weights = prior
    for _ in range(8):
        share = evidence * weights
        share = share / np.maximum(share.sum(axis=(1, 2), keepdims=True), 1e-300)
        weights = (_PRIOR_RUNS * prior + share.sum(axis=0)) / (_PRIOR_RUNS + len(lessons))
    return weights


def _learn_full(own: Floats, farm: Floats) -> Floats:
    """Weights of the full time, axes (full, shape).

    `own` and `farm` are likelihoods, axes (run, full, shape). The farm's runs say where a
    station's typical time may lie, its own runs where it does and how much its runs differ.
    """
    centre = _ANY * np.ones(SHAPES)
    if len(farm):
        seen = farm * _normal(_LOG_FULL, _TYPICAL, 2 * _TYPICAL_SPREAD)[:, None]
        seen = (seen / np.maximum(seen.sum(axis=1, keepdims=True), 1e-300)).mean(axis=0)
        trust = len(farm) / (len(farm) + 3.0)
        centre = (1 - trust) * centre + trust * (_BLUR.T @ seen)
    weight = np.log(np.maximum(np.tile(centre, (len(_RUN_SPREADS), 1)), 1e-300))
    for lesson in own:
        weight = weight + np.log(np.maximum(_RUNS @ lesson, 1e-300))
    weight = np.exp(weight - weight.max(axis=0))
    learnt = _RUNS.T @ (weight / weight.sum(axis=0))
    mixed: Floats = (1 - _STRANGE) * learnt + _STRANGE * _ANY
    return mixed


@lru_cache(maxsize=64)
def _learn(own: tuple[Run, ...], farm: tuple[Run, ...], limit: float) -> _Learnt:
    none = np.empty((0, len(_FULL), SHAPES, len(WANDER)))
    mine = np.stack([_lesson(r, limit) for r in own]) if own else none
    others = np.stack([_lesson(r, limit) for r in farm]) if farm else none
    shape = _learn_shape(np.concatenate([mine, others]))
    unevenness = shape / shape.sum(axis=1, keepdims=True)
    full = _learn_full((mine * unevenness).sum(-1), (others * unevenness).sum(-1))
    return _Learnt(np.log(full + 1e-300), np.log(shape))


def _level_weights(nodes: Floats, own: Sequence[Run], limit: float) -> Floats:
    """Weights of the first levels; flat unless two earlier runs of this station say more."""
    starts = np.asarray([r.start_level for r in own[-MOST_OWN:]]) / limit
    if len(starts) < 2:
        return np.full(len(nodes), 1 / len(nodes))
    spread = max(float(starts.std(ddof=1)), 0.03)
    near = np.exp(-0.5 * ((nodes[:, None] - starts) / spread) ** 2).mean(axis=1) + 0.05
    weights: Floats = near / near.sum()
    return weights


def _posterior(fitted: Fit, grid: Grid, learnt: _Learnt, levels: Floats) -> Floats:
    """Log weight of every cell, axes as in the fit."""
    at = np.log(grid.full)
    full = np.stack([np.interp(at, _LOG_FULL, w) for w in learnt.log_full.T], axis=1)
    told = (learnt.log_shape[:, :, None] + np.log(_SIGMA_PRIOR)).reshape(SHAPES, -1)
    total: Floats = fitted.log_likelihood + full[:, None, :, None]
    total += np.log(levels)[:, None, None] + told
    return total


def _remaining(fitted: Fit, grid: Grid, log_weight: Floats) -> Floats:
    """Quantiles of the days from the last reading until the limit, stretched."""
    flat = log_weight.ravel()
    kept = np.flatnonzero(flat > flat.max() - _FAINT)
    weight = np.exp(flat[kept] - flat.max())
    t, a, m, c = np.unravel_index(kept, log_weight.shape)
    levels, variance = state(fitted)
    now, full = levels.ravel()[kept], grid.full[t]
    left = way_left(now, grid.level[a], m) * full
    wander = WANDER[c // len(grid.sigma)]
    rate = walk_rate(np.ones(1), wander)[0] / full
    way = np.maximum(1 - now, 1e-3)
    scatter = np.log1p(np.minimum((variance[t, c] + rate * left) / way**2, 4.0))
    middle = np.log(np.maximum(left, _SOONEST)) - 0.5 * scatter
    days = middle + np.sqrt(scatter) * _SPOKES[:, None]
    step = (days - _LOG_SOONEST) * (_BINS / _LOG_SPAN)
    bins = np.clip(step, 0, _BINS - 1).astype(np.int64).ravel()
    heap = np.cumsum(np.bincount(bins, np.tile(weight, len(_SPOKES)), _BINS))
    found = np.interp(np.asarray(QUANTILES) * heap[-1], heap, np.arange(1.0, _BINS + 1))
    log = _LOG_SOONEST + found * (_LOG_SPAN / _BINS)
    uneven = float(weight @ np.log(wander) / weight.sum())
    stretched = log[1] + (_STRETCH + _STRETCH_UNEVEN * uneven) * (log - log[1])
    quantiles: Floats = np.exp(stretched)
    return quantiles


def _current(runs: Sequence[Run]) -> tuple[Run | None, dt.date]:
    """The open run, None after a reset that nobody has read since, and its first day."""
    last = runs[-1]
    return (last, last.start) if last.open else (None, last.end)


def _quantiles(
    now: Run | None, own: Sequence[Run], learnt: _Learnt, limit: float, u: float | None
) -> tuple[Floats, float]:
    """Days from the run's first day to the limit at each quantile, and the last reading's day."""
    sigma = _SIGMA_UNKNOWN if u is None else np.hypot(_SIGMA_FACTOR * u / limit, 0.005)
    if now is None:
        starts = np.asarray([r.start_level for r in own[-MOST_OWN:]] or [0.25 * limit]) / limit
        days, y = np.zeros(1), np.array([float(np.clip(np.median(starts), LOWEST, 1.0))])
        sigma = np.hypot(sigma, max(float(starts.std()), 0.05))
    else:
        days, y = latest(np.asarray(now.days), np.asarray(now.drops) / limit)
    nodes = _first_levels(days, y, 2.5 * float(sigma[0]) + 0.01, 11)
    levels = _level_weights(nodes, own, limit)
    coarse = Grid(_FULL, nodes[::3], sigma)
    rough = _posterior(fit(days, y, coarse), coarse, learnt, levels[::3])
    grid = Grid(_narrow(coarse.full, rough, len(_FULL)), nodes, sigma)
    fitted = fit(days, y, grid)
    left = _remaining(fitted, grid, _posterior(fitted, grid, learnt, levels))
    return float(days[-1]) + left, float(days[-1])


def _why_silent(runs: Sequence[Run], teachers: int, limit: float, as_of: dt.date) -> str:
    if not runs:
        return "no usable reading yet"
    now, begun = _current(runs)
    if now is not None and now.drops[-1] > limit + 1e-6:
        return "already over the limit"
    last = begun if now is None else begun + dt.timedelta(days=round(now.days[-1]))
    if (as_of - last).days > STALE:
        return f"nothing was read or cleaned for {(as_of - last).days} days"
    if teachers:
        return ""
    if now is None or len(now.days) < 2 or now.days[-1] <= 0:
        return "fewer than two readings in this run and no earlier run to learn from"
    if now.rate is None or now.rate <= 0:
        return "the drop is not rising and there is no earlier run to learn from"
    return ""


def forecast(
    runs: Sequence[Run],
    farm_runs: Sequence[Run],
    limit: float,
    as_of: dt.date,
    u: float | None,
) -> Forecast:
    """When the drop of a station is expected to reach its limit.

    `runs`: the station's runs in order of time, the last one being the current one. `farm_runs`:
    runs of the farm's other stations (any of `runs` among them are passed over). `limit` [m],
    over 0. `u`: standard uncertainty of one drop [m], None where the gauge data are missing.
    ValueError where the limit is not positive or `u` is negative.
    """
    if not limit > 0:
        raise ValueError(f"the limit must be above 0 m, not {limit}")
    if u is not None and not u >= 0:
        raise ValueError(f"the uncertainty of a drop cannot be {u} m")
    now = _current(runs)[0] if runs else None
    earlier = [r for r in runs if r is not now]
    own = [r for r in earlier if _teaches(r)][-MOST_OWN:]
    mine = set(runs)
    farm = [r for r in teachers(farm_runs) if r not in mine][-MOST_FARM:]
    why = _why_silent(runs, len(own) + len(farm), limit, as_of)
    if why:
        return _silent(why)
    begun = _current(runs)[1]
    days, last = _quantiles(now, earlier, _learn(tuple(own), tuple(farm), limit), limit, u)
    end = (as_of - begun).days + HORIZON
    if days[1] > max(end, last):
        return _silent("at the present rate the limit is not reached within a year")
    low, middle, high = (begun + dt.timedelta(days=d) for d in _whole(days, end))
    return Forecast(middle, low, None if days[2] > end else high, "")


def _whole(days: Floats, end: float) -> tuple[int, int, int]:
    """Whole days, at most `end`: the interval's ends stand within it, since each counts whole."""
    low, middle, high = (min(float(day), end) for day in days)
    centre = round(middle)
    return min(math.ceil(low), centre), centre, max(math.floor(high), centre)
