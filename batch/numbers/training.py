"""What runs that have ended teach a forecast: curve, unevenness and life.

The curve and how uneven the dirt comes are learnt first for the farm, then for the station, with
the farm as a prior worth FARM_WORTH runs. The curves are the fixed family and two that are
averaged from ended runs: the station's own, and those of the farm's other stations. An averaged
curve is judged on each run with that run left out, since a curve that has seen a run explains it
too well. The life is read where ended runs cross the limit, or would have; what a station's runs
differ in is shrunk towards TYPICAL_SPREAD.

Runs whose reset gave back only part (a flush) start at the load of the level where they start.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from siltbook.batch.numbers import curves
from siltbook.batch.numbers.curves import Family
from siltbook.batch.numbers.fouling import MODES
from siltbook.batch.numbers.lessons import (
    LIVES,
    LOG_LIVES,
    Lesson,
    lessons_of,
    likelihoods,
    side_by_side,
)
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import LONGEST_GAP, Run, longest_gap

# Of the powers, then the blocking laws.
_CURVE_PRIOR: Floats = np.array([0.05, 0.24, 0.15, 0.12, 0.10, 0.07, 0.05, 0.10, 0.05, 0.03])
_MODE_PRIOR: Floats = np.array([0.3, 0.15, 0.15, 0.1, 0.15, 0.15])
LEARNT_SHARE = 0.25  # of the weight that an averaged curve of very many runs begins with
_OWN_DOUBT, _FARM_DOUBT = 1.0, 2.0  # runs that halve that share
PRIOR_WORTH, FARM_WORTH = 2.0, 2.0  # earlier runs that the priors weigh as much as
TYPICAL_LIFE, _LIFE_SPREAD = math.log(45.0), 1.0  # [log days] where nothing is known
SPREADS: Floats = np.array([0.08, 0.14, 0.2, 0.3, 0.45, 0.7])  # of log life between runs
TYPICAL_SPREAD, _SPREAD_DOUBT = 0.22, 0.55  # the latter in logs
STATION_SPREAD = 0.35  # of log life between the stations of a farm
_FARM_TRUST = 1.5  # farm runs that say half of where a station's life may lie
_STRANGE = 0.04  # share of runs that are like no earlier one
_MOST_KEPT = 4096  # lessons; a season's book has fewer runs


@dataclass(frozen=True)
class Learnt:
    """What a forecast begins with. The last curves of `family` are the learnt ones."""

    family: Family
    log_weight: Floats  # axes (curve, mode)
    log_life: Floats  # at LIVES, axes (life, curve)
    taught_by: tuple[str, ...]  # whose runs the learnt curves are averaged from
    own: int  # ended runs of the station
    farm: int  # and of others
    crossed: int  # of the station's, that came to the limit


def teaches(run: Run) -> bool:
    """Whether others can learn from a run.

    Two readings make no believable rate by themselves, but many such runs do teach. A run that
    has not ended teaches nothing about ends; those of one farm also share one weather.
    """
    if run.open or len(run.days) < 2 or run.days[-1] <= 0 or max(run.drops) <= 0:
        return False
    falls = run.fastest is not None and run.fastest < 0
    return not falls and longest_gap(run.days) <= LONGEST_GAP


def training_runs(runs: Iterable[Run]) -> list[Run]:
    """The runs that others can learn from, in order of their end, however they were given."""
    taught = (r for r in runs if teaches(r))
    return sorted(taught, key=lambda r: (r.ends, r.begins, r.days, r.drops))


def _normal(x: Floats, mean: Floats | float, spread: Floats | float) -> Floats:
    w = np.exp(-0.5 * ((x - mean) / spread) ** 2)
    out: Floats = w / w.sum(axis=-1, keepdims=True)
    return out


def _heavy(x: Floats, mean: Floats | float, spread: Floats | float, share: float = 0.1) -> Floats:
    """A normal law with heavy tails: a share of it is two and a half times as wide."""
    wide = _normal(x, mean, np.multiply(spread, 2.5))
    return (1 - share) * _normal(x, mean, spread) + share * wide


_ANY: Floats = _heavy(LOG_LIVES, TYPICAL_LIFE, _LIFE_SPREAD, 0.2)[:, None]
_BROAD: Floats = _normal(LOG_LIVES, TYPICAL_LIFE, 2.0)
# Where a run's life may lie about a typical one: rows are every typical life at one spread after
# the other; and the same with the spread between stations.
_RUNS: Floats = _heavy(
    LOG_LIVES, np.tile(LOG_LIVES, len(SPREADS))[:, None], np.repeat(SPREADS, len(LIVES))[:, None]
)
_STATIONS: Floats = _heavy(LOG_LIVES, LOG_LIVES[:, None], STATION_SPREAD)
_SPREAD_PRIOR: Floats = _normal(np.log(SPREADS), math.log(TYPICAL_SPREAD), _SPREAD_DOUBT)


_KEPT: OrderedDict[tuple[Run, float], Lesson] = OrderedDict()


def _lessons(runs: Sequence[Run], limit: float) -> list[Lesson]:
    """What each run says by the fixed curves; kept, since the stations of a farm share them."""
    missing = [r for r in dict.fromkeys(runs) if (r, limit) not in _KEPT]
    if missing:
        told = lessons_of(missing, limit)
        _KEPT.update(((run, limit), lesson) for run, lesson in zip(missing, told, strict=True))
    found = [_KEPT[run, limit] for run in runs]
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return found


def forget() -> None:
    """Drop what was kept of earlier books, for measuring."""
    _KEPT.clear()
    _of_farm.cache_clear()
    learn.cache_clear()


def _left_out(courses: Sequence[Floats | None]) -> list[Floats | None]:
    """For each run the average of the others' courses; None where no other has one."""
    others = ([*courses[:i], *courses[i + 1 :]] for i in range(len(courses)))
    seen = ([c for c in rest if c is not None] for rest in others)
    return [curves.averaged(rest) if rest else None for rest in seen]


def _neutral(likelihood: Floats) -> Floats:
    """What stands for a curve that a run cannot judge: the mean over the fixed ones."""
    mean: Floats = np.tensordot(_CURVE_PRIOR, likelihood, axes=(0, 1))[:, None, :]
    return mean


@dataclass(frozen=True)
class _Taught:
    """Runs of one origin with their lessons and courses."""

    runs: tuple[Run, ...]
    lessons: tuple[Lesson, ...]

    @property
    def courses(self) -> list[Floats | None]:
        return [lesson.course for lesson in self.lessons]

    @property
    def seen(self) -> list[Floats]:
        return [c for c in self.courses if c is not None]


def _extended(own: _Taught, farm: _Taught, limit: float) -> list[Floats]:
    """Likelihoods of the station's runs with the averaged curves beside the fixed ones.

    The station's average is judged by its own runs, the farm's by all; each with the run itself
    left out. Where a run cannot judge a curve, it says nothing of it.
    """
    by_own = [_left_out(own.courses)] if own.seen else []
    if farm.seen:
        by_own.append([curves.averaged(farm.seen)] * len(own.runs))
    return _beside(own, _judged(own, by_own, limit))


@lru_cache(maxsize=64)
def _of_farm(runs: tuple[Run, ...], own_seen: int, limit: float) -> tuple[Floats, Floats]:
    """What the farm's runs say of a station: weights of curve and mode, and of its typical life,
    axes (life, curve).

    `own_seen`: how many courses the station's own average has. Kept, since the stations of a farm
    share its runs.
    """
    farm = _Taught(runs, tuple(_lessons(runs, limit)) if runs else ())
    columns: list[list[Floats | None]] = [[None] * len(runs)] if own_seen else []
    if farm.seen:
        columns.append(_judged(farm, [_left_out(farm.courses)], limit)[0])
    told = _beside(farm, columns)
    prior = _prior(own_seen, len(farm.seen))
    weights = _weights(told, prior, PRIOR_WORTH)
    return weights, _centre(_over_modes(told, weights), len(prior))


def _beside(group: _Taught, columns: Sequence[Sequence[Floats | None]]) -> list[Floats]:
    """The likelihoods of runs, axes (life, curve, mode), with those of further curves behind."""
    out = []
    for i, one in enumerate(group.lessons):
        more = (column[i] for column in columns)
        added = [_neutral(one.likelihood) if c is None else c[:, None] for c in more]
        out.append(np.concatenate([one.likelihood, *added], axis=1))
    return out


def _judged(
    group: _Taught, columns: Sequence[Sequence[Floats | None]], limit: float
) -> list[list[Floats | None]]:
    """Each run's likelihood by its curve of each column, axes (life, mode); None without one."""
    places = ((k, i) for k, column in enumerate(columns) for i in range(len(column)))
    asked = [(k, i) for k, i in places if columns[k][i] is not None]
    out: list[list[Floats | None]] = [[None] * len(group.runs) for _ in columns]
    if asked:
        ways = np.stack([c for column in columns for c in column if c is not None])[:, None, :]
        batch = side_by_side([group.runs[i] for _, i in asked], limit)
        found, scales = likelihoods(batch, curves.family(ways))
        for (k, i), likelihood, scale in zip(asked, found, scales, strict=True):
            factor = math.exp(min(float(scale) - group.lessons[i].scale, 50.0))
            out[k][i] = likelihood[:, 0] * factor
    return out


def _prior(own: int, farm: int) -> Floats:
    """Weights of curve and mode before any run is asked; so many courses were averaged."""
    shares = []
    if own:
        shares.append(LEARNT_SHARE * own / (own + _OWN_DOUBT))
    if farm:
        second = 0.6 if own else 1.0
        shares.append(second * LEARNT_SHARE * farm / (farm + _FARM_DOUBT))
    fixed = _CURVE_PRIOR / _CURVE_PRIOR.sum() * (1 - sum(shares))
    return np.concatenate([fixed, shares])[:, None] * _MODE_PRIOR


def _weights(likelihoods: Sequence[Floats], prior: Floats, worth: float) -> Floats:
    """Weights of curve and mode, by expectation-maximisation over runs; prior worth so many."""
    if not likelihoods:
        return prior
    evidence = np.tensordot(np.stack(likelihoods), _BROAD, axes=(1, 0))
    weights = prior
    for _ in range(8):
        share = evidence * weights
        share = share / np.maximum(share.sum(axis=(1, 2), keepdims=True), 1e-300)
        weights = (worth * prior + share.sum(axis=0)) / (worth + len(likelihoods))
    return weights


def _centre(farm: Sequence[Floats], count: int) -> Floats:
    """Where a station's typical life may lie by the farm's runs, axes (life, curve); as `farm`."""
    centre: Floats = _ANY * np.ones(count)
    if farm:
        seen = np.stack(farm) * _BROAD[:, None]
        seen = (seen / np.maximum(seen.sum(axis=1, keepdims=True), 1e-300)).mean(axis=0)
        trust = len(farm) / (len(farm) + _FARM_TRUST)
        centre = (1 - trust) * centre + trust * (_STATIONS.T @ seen)
    return centre


def _lives(own: Sequence[Floats], centre: Floats) -> Floats:
    """Weights of the life, axes (life, curve).

    `own` are likelihoods, axes (life, curve). The farm's runs say where a station's typical life
    may lie (`centre`), its own where it does and how much its runs differ.
    """
    weight = np.log(np.maximum(np.tile(centre, (len(SPREADS), 1)), 1e-300))
    weight += np.log(np.repeat(_SPREAD_PRIOR, len(LIVES)))[:, None]
    for likelihood in own:
        weight = weight + np.log(np.maximum(_RUNS @ likelihood, 1e-300))
    weight = np.exp(weight - weight.max(axis=0))
    learnt = _RUNS.T @ (weight / weight.sum(axis=0))
    mixed: Floats = (1 - _STRANGE) * learnt + _STRANGE * _ANY
    return mixed


def _over_modes(likelihoods: Sequence[Floats], weights: Floats) -> list[Floats]:
    unevenness = weights / weights.sum(axis=1, keepdims=True)
    return [(one * unevenness).sum(axis=-1) for one in likelihoods]


@lru_cache(maxsize=64)
def learn(own: tuple[Run, ...], farm: tuple[Run, ...], limit: float) -> Learnt:
    """What ended runs of the station and of others teach a forecast to `limit` [m].

    Both in order of time and only such that `teaches` admits; none at all is allowed.
    """
    taught = _lessons([*own, *farm], limit) if own or farm else []
    mine = _Taught(own, tuple(taught[: len(own)]))
    others = _Taught(farm, tuple(taught[len(own) :]))
    averages = [t for t in (mine, others) if t.seen]
    family = curves.with_learnt([curves.averaged(t.seen) for t in averages])
    of_farm, centre = _of_farm(farm, len(mine.seen), limit)
    told = _extended(mine, others, limit)
    weights = _weights(told, of_farm, FARM_WORTH)
    lives = _lives(_over_modes(told, weights), centre)
    words = {id(mine): "this station's ended runs", id(others): "the farm's other stations"}
    crossed = sum(max(run.drops) >= limit for run in own)
    return Learnt(
        family, np.log(weights + 1e-300), np.log(lives + 1e-300),
        tuple(words[id(t)] for t in averages), len(own), len(farm), crossed,
    )  # fmt: skip


assert len(_MODE_PRIOR) == MODES
