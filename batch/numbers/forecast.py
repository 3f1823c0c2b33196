"""The day on which the drop is expected to reach the limit, with an 80 % interval.

Every curve of the family (module `curves`), the lives that a run may have and the ways in which
dirt comes unevenly are weighed by how well they explain the current run, and by what ended runs
teach (module `training`): the station's own and those of the farm's other stations. The quantiles
come from all of them together, so a short run leans on the past and a long one on itself.
Calibration: docs/forecast-benchmark.md.

Edges: a station that was just reset and not read since is forecast from earlier runs alone. A
first run has no known cleaning day and counts from its first reading. A drop equal to the limit
is in range. The forecast is never before the latest reading.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from siltbook.batch.numbers import curves
from siltbook.batch.numbers.curves import Family, Index
from siltbook.batch.numbers.fouling import EVERY_MODE, IN_LOAD, WALK, Track, latest, track
from siltbook.batch.numbers.lessons import LIVES, LOG_LIVES, start_and_base
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import Run
from siltbook.batch.numbers.training import Learnt, learn, teaches, training_runs

QUANTILES = (0.1, 0.5, 0.9)
HORIZON = 365.0  # [days] after the as-of date; beyond, 'not within a year'
STALE = 90  # [days] since the last reading or reset, over which a forecast is idle
MOST_OWN, MOST_FARM = 12, 16  # earlier runs to learn from, the latest ones
NOTHING_LEARNT = "no run of this farm has ended"
_SIGMA_UNKNOWN: Floats = np.array([0.01, 0.03, 0.07])
_SIGMA_FACTOR: Floats = np.array([0.8, 1.3, 2.5])
_LOG_SIGMA_PRIOR: Floats = np.log([0.45, 0.4, 0.15])
# Lognormal quantiles that stand for one cell's scatter, equally likely; wider where dirt comes
# in bursts, which are no random walk. Set on the tuning farms.
_SPOKES: Floats = np.array([-1.4, -0.532, 0.0, 0.532, 1.4])
_WIDEN: Floats = np.array([0.9, 1.0, 1.15, 1.35, 1.0, 1.25])  # by mode
_LEAST_LEFT = 0.004  # of the load; a run that is nearly there is there within days
_FINER = 26  # lives about those that hold the weight
_ROUGH, _FAINT = 6.0, 7.0  # logs below the best at which curves, then cells are left out
_FRESH = 0.35  # that a flushed filter is as clean as it can be, for its level looks dirty
_COURSE_POINTS = 9


@dataclass(frozen=True)
class Course:
    """How the drop is expected to climb from the latest reading to the limit: one curve's points.

    `days` from the first day of the run, `drops` [m]; both as long, the last drop is the limit.
    """

    days: tuple[float, ...]
    drops: tuple[float, ...]


@dataclass(frozen=True)
class Forecast:
    """The expected day and its 80 % interval; all None where `silent` says why there is none.

    `high` is None beside a date where the limit may well not be reached within a year. `passed`
    is the expected day where it lies before the as-of date: that is no forecast any more. `curve`
    says how the drop climbs (flattening, straight, bent, steep end), `basis` whose runs say so.
    `courses`: the early, the expected and the late way to the limit, from `begun`.
    """

    date: dt.date | None
    low: dt.date | None
    high: dt.date | None
    silent: str
    passed: dt.date | None = None
    curve: str = ""
    basis: str = ""
    begun: dt.date | None = None
    courses: tuple[Course, ...] = ()


@dataclass(frozen=True)
class _Now:
    """The current run: days and drops over the limit, the error of a reading, possible starts."""

    days: Floats
    y: Floats
    sigma: Floats
    base: Floats  # axis start: level that ways count from
    begun: Floats  # axis start: way at the start
    weight: Floats  # axis start


@dataclass(frozen=True)
class _Cells:
    """The cells of a grid that hold the weight, on one axis."""

    weight: Floats
    left: Floats  # load until the limit
    variance: Floats  # of that load: of where the run stands, and of its way on
    life: Floats
    mode: Index
    curve: Index  # of the learnt family


@dataclass(frozen=True)
class _Outcome:
    """Days from the run's first day to the limit at each quantile, and the curve that leads."""

    days: Floats
    curve: int


def _silent(why: str) -> Forecast:
    return Forecast(None, None, None, why)


def _level_weights(nodes: Floats, own: Sequence[Run], limit: float) -> Floats:
    """Weights of the first levels; flat unless two earlier runs of this station say more."""
    starts = np.asarray([r.start_level for r in own[-MOST_OWN:]]) / limit
    if len(starts) < 2:
        return np.full(len(nodes), 1 / len(nodes))
    spread = max(float(starts.std(ddof=1)), 0.03)
    near = np.exp(-0.5 * ((nodes[:, None] - starts) / spread) ** 2).mean(axis=1) + 0.05
    weights: Floats = near / near.sum()
    return weights


def _sigma(u: float | None, limit: float) -> Floats:
    return _SIGMA_UNKNOWN if u is None else np.hypot(_SIGMA_FACTOR * u / limit, 0.004)


def _unread(own: Sequence[Run], limit: float, u: float | None) -> tuple[Floats, Floats, Floats]:
    """Day, level and error that stand for a run of which nothing was read yet."""
    starts = np.asarray([r.start_level for r in own[-MOST_OWN:]] or [0.25 * limit]) / limit
    level = np.array([float(np.clip(np.median(starts), 0.0, 1.0))])
    return np.zeros(1), level, np.hypot(_sigma(u, limit), max(float(starts.std()), 0.05))


def _first_levels(days: Floats, y: Floats, reach: float) -> Floats:
    """Where the run may have started, from its first reading backwards to day 0."""
    span = max(float(days[-1]), 1e-9)
    back = max(float(y[-1] - y[0]), 0.0) * min(float(days[0]) / span, 1.0)
    low = min(max(float(y[0]) - reach - back, 0.0), 0.94)
    nodes: Floats = np.linspace(low, min(max(float(y[0]) + reach, low + 0.01), 0.95), 5)
    return nodes


def _now(run: Run | None, own: Sequence[Run], limit: float, u: float | None) -> _Now:
    if run is None:
        days, y, sigma = _unread(own, limit, u)
        resumed = 0.0
    else:
        days, y = latest(np.asarray(run.days), np.asarray(run.drops) / limit)
        sigma = _sigma(u, limit)
        resumed, clean = start_and_base(run, y, limit)
    nodes = _first_levels(days, y, 2.0 * float(sigma[0]) + 0.006)
    levels = _level_weights(nodes, own, limit)
    if not resumed:
        return _Now(days, y, sigma, nodes, np.zeros(len(nodes)), levels)
    dirty = nodes[1::2]
    foot = np.minimum(clean, dirty - 0.01)
    begun = np.r_[np.zeros(len(nodes)), (dirty - foot) / (1 - foot)]
    share = levels[1::2] / levels[1::2].sum()
    return _Now(days, y, sigma, np.r_[nodes, foot], begun,
                np.r_[_FRESH * levels, (1 - _FRESH) * share])  # fmt: skip


def _weighed(
    now: _Now, life: Floats, family: Family, learnt: Learnt, starts: Index, errors: Index,
    chosen: Index, modes: Index = EVERY_MODE,
) -> tuple[Floats, Track, Floats]:  # fmt: skip
    """Log weight of every cell, axes (life, start, curve, mode, error); the walk; the even load.

    `chosen`: which curves of the learnt family `family` holds; `modes`: which are asked for.
    """
    base = now.base[starts]
    ways = (now.y - base[:, None]) / (1 - base[:, None])
    sigma = now.sigma[errors] / (1 - base[:, None])
    index: Index = np.arange(family.count)
    begun = curves.load_at(family, index, now.begun[starts][:, None])
    load = begun[None, :, :, None] + (now.days / life[:, None])[:, None, None, :]
    way, slope = curves.way_and_slope(family, index[:, None], load)
    passed = (np.diff(now.days, prepend=0.0) / life[:, None])[:, None, None, :]
    told = track(ways[None, :, None, :] - way, slope, passed, sigma[:, None, None, :], modes=modes)
    full = np.stack([np.interp(np.log(life), LOG_LIVES, learnt.log_life[:, k]) for k in chosen], 1)
    total: Floats = told.log_likelihood + full[:, None, :, None, None]
    total += np.log(now.weight[starts])[:, None, None, None]
    total += learnt.log_weight[np.ix_(chosen, modes)][:, :, None] + _LOG_SIGMA_PRIOR[errors]
    return total, told, load[..., -1]


def _cells(now: _Now, learnt: Learnt) -> _Cells:
    """The cells that hold the weight: a rough look at everything, then a fine one at the rest."""
    fresh = np.flatnonzero(now.begun == 0)
    some = np.array([fresh[len(fresh) // 2], *np.flatnonzero(now.begun > 0)[1:2]])
    every: Index = np.arange(learnt.family.count)
    rough, *_ = _weighed(now, LIVES, learnt.family, learnt, some, np.array([1]), every)
    by_life, by_curve = rough.max(axis=(1, 2, 3, 4)), rough.max(axis=(0, 1, 3, 4))
    held = np.flatnonzero(by_life > by_life.max() - 10.0)
    low, high = max(held[0] - 1, 0), min(held[-1] + 1, len(LIVES) - 1)
    life = np.geomspace(LIVES[low], LIVES[high], _FINER)
    chosen: Index = np.flatnonzero(by_curve > by_curve.max() - _ROUGH)
    family = learnt.family.pick(chosen)
    by_mode = rough.max(axis=(0, 1, 2, 4))
    modes: Index = np.flatnonzero(by_mode > by_mode.max() - _ROUGH)
    starts, errors = np.arange(len(now.base)), np.arange(len(now.sigma))
    log, told, load = _weighed(now, life, family, learnt, starts, errors, chosen, modes)
    flat = log.ravel()
    kept = np.flatnonzero(flat > flat.max() - _FAINT)
    t, a, k, m, _ = np.unravel_index(kept, log.shape)
    mode = modes[m]
    left, variance = _left(
        load[t, a, k], told.mean.ravel()[kept], told.variance.ravel()[kept], mode, k, family
    )
    return _Cells(np.exp(flat[kept] - flat.max()), left, variance, life[t], mode, chosen[k])


def _left(
    load: Floats, mean: Floats, variance: Floats, mode: Index, curve: Index, family: Family
) -> tuple[Floats, Floats]:
    """Load until the limit and its variance, whether the load walks or the level does."""
    in_load, end = IN_LOAD[mode], family.end_slope[curve]
    reach = curves.load_at(family, curve, 1.0 - mean)  # where the even curve and its offset meet 1
    left = np.maximum(np.where(in_load, 1.0 - load - mean, reach - load), _LEAST_LEFT)
    spread = variance + WALK[mode] * left
    return left, np.where(in_load, spread, spread / np.maximum(end, 0.5) ** 2)


def _outcome(now: _Now, learnt: Learnt) -> _Outcome:
    cells = _cells(now, learnt)
    scatter = np.log1p(np.minimum(cells.variance / cells.left**2, 4.0))
    middle = np.log(np.maximum(cells.left * cells.life, 0.01)) - 0.5 * scatter
    days = (middle + np.sqrt(scatter) * _WIDEN[cells.mode] * _SPOKES[:, None]).ravel()
    order = np.argsort(days, kind="stable")
    heap = np.cumsum(np.tile(cells.weight, len(_SPOKES))[order])
    found = np.interp(np.asarray(QUANTILES) * heap[-1], heap, days[order])
    lead = int(np.argmax(np.bincount(cells.curve, cells.weight, learnt.family.count)))
    return _Outcome(float(now.days[-1]) + np.exp(found), lead)


def _current(runs: Sequence[Run]) -> tuple[Run | None, dt.date]:
    """The open run, None after a reset that nobody has read since, and its first day."""
    last = runs[-1]
    return (last, last.begins) if last.open else (None, last.ends)


def _why_silent(runs: Sequence[Run], training_runs: int, limit: float, as_of: dt.date) -> str:
    if not runs:
        return "no usable reading yet"
    now, begun = _current(runs)
    if now is not None and now.drops[-1] > limit + 1e-6:
        return "already over the limit"
    last = begun if now is None else begun + dt.timedelta(days=round(now.days[-1]))
    if (as_of - last).days > STALE:
        return f"nothing was read or cleaned for {(as_of - last).days} days"
    if training_runs:
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
    run = _current(runs)[0] if runs else None
    earlier = [r for r in runs if r is not run]
    own = [r for r in earlier if teaches(r)][-MOST_OWN:]
    mine = set(runs)
    farm = [r for r in training_runs(farm_runs) if r not in mine][-MOST_FARM:]
    why = _why_silent(runs, len(own) + len(farm), limit, as_of)
    if why:
        return _silent(why)
    learnt = learn(tuple(own), tuple(farm), limit)
    now = _now(run, earlier, limit, u)
    return _dated(_outcome(now, learnt), now, learnt, _current(runs)[1], limit, as_of)


def _dated(
    outcome: _Outcome, now: _Now, learnt: Learnt, begun: dt.date, limit: float, as_of: dt.date
) -> Forecast:
    end, last = (as_of - begun).days + HORIZON, float(now.days[-1])
    days = outcome.days
    if days[1] > max(end, last):
        return _silent("at the present rate the limit is not reached within a year")
    low, middle, high = (begun + dt.timedelta(days=d) for d in _whole(days, end))
    found = Forecast(middle, low, None if days[2] > end else high, "")
    return replace(
        found, curve=learnt.family.kind(outcome.curve), basis=_basis(outcome.curve, learnt),
        begun=begun, courses=tuple(_course(now, learnt, outcome.curve, d, limit) for d in days),
    )  # fmt: skip


def _whole(days: Floats, end: float) -> tuple[int, int, int]:
    """Whole days, at most `end`: the interval's ends stand within it, since each counts whole."""
    low, middle, high = (min(float(day), end) for day in days)
    centre = round(middle)
    return min(math.ceil(low), centre), centre, max(math.floor(high), centre)


def _basis(curve: int, learnt: Learnt) -> str:
    """Whose runs a forecast rests on, and what they have not shown."""
    first = learnt.family.count - len(learnt.taught_by)
    shape = f"curve of {learnt.taught_by[curve - first]}" if curve >= first else "a general curve"
    if not learnt.own and not learnt.farm:
        return f"{shape}; {NOTHING_LEARNT}"
    counted = [(learnt.own, "of this station"), (learnt.farm, "of the farm's other stations")]
    runs = " and ".join(f"{n} {who}" for n, who in counted if n)
    unseen = "" if learnt.crossed else "; none of this station's was seen to the limit"
    return f"{shape}; ended runs: {runs}{unseen}"


def _course(now: _Now, learnt: Learnt, curve: int, end: float, limit: float) -> Course:
    """The leading curve from the latest reading to the limit on day `end`."""
    start = int(np.argmax(now.weight))
    base, level, day = float(now.base[start]), float(now.y[-1]), float(now.days[-1])
    one = learnt.family.pick(np.array([curve]))
    at: Index = np.zeros(1, dtype=np.int64)
    reached = curves.load_at(one, at, np.array([max(level - base, 0.0) / (1 - base)]))[0]
    share = np.linspace(0.0, 1.0, _COURSE_POINTS)
    way = curves.way_and_slope(one, at, min(float(reached), 1.0) * (1 - share) + share)[0]
    drops = limit * (base + way * (1 - base))
    drops += (limit * level - drops[0]) * (1 - share)  # from what was read, not from the curve
    days = day + max(end - day, 0.0) * share
    return Course(tuple(map(float, days)), tuple(map(float, drops)))
