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
from statistics import median

import numpy as np

from siltbook.batch.numbers import curves
from siltbook.batch.numbers.curves import FIXED, LIFE, Family, Index
from siltbook.batch.numbers.fouling import MODES, latest, track
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import CLEANED, LONGEST_GAP, Run, longest_gap

LIVES: Floats = np.geomspace(3.0, 3000.0, 42)  # [days]
LOG_LIVES: Floats = np.log(LIVES)
_STEP = float(LOG_LIVES[1] - LOG_LIVES[0])
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
_EARLIER_ERRORS: Floats = np.array([0.02, 0.05])  # sigma of earlier runs, whatever the gauge
_LOOKED_AT: Floats = np.linspace(-2.2, 2.2, 9)  # lives about a run's likely one, in widths
# Start over the clean level [share of limit] from which a flush left dirt behind, and from which
# even a cleaning did.
_LEFT_BY_FLUSH, _LEFT_BY_CLEANING = 0.08, 0.2
_HEARD_FULLY, _HEARD_LEAST = 0.5, 0.1  # way at a run's end from which it is heard; share of others
_COURSE_READINGS, _COURSE_WAY = 4, 0.7  # least of a run whose course is averaged
_MOST_KEPT = 4096  # lessons; a season's book has fewer runs


@dataclass(frozen=True)
class Lesson:
    """One ended run: likelihood, axes (life, curve, mode), its scale, and its own course."""

    likelihood: Floats
    scale: float  # log
    course: Floats | None  # ways at LIFE; None where it saw too little of its curve


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


@dataclass(frozen=True)
class _Batch:
    """Ended runs side by side, the shorter ones filled up; ways, not drops."""

    days: Floats  # axes (run, reading)
    ways: Floats
    seen: Floats  # 1 where a reading is one
    begun: Floats  # way at the start of a run that resumed, else 0
    end: Floats  # last day
    way: Floats  # last way


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


def start_and_base(run: Run, y: Floats, limit: float) -> tuple[float, float]:
    """Way at a run's start, and the base [share of limit] from which ways count.

    `y` are its drops over the limit. After a cleaning the run starts at way 0 from its own first
    level; after a reset that left dirt behind it goes on, from the station's clean level.
    """
    first = min(float(y[0]), 0.9)
    clean = None if run.clean_level is None else min(max(run.clean_level / limit, 0.0), 0.9)
    left = _LEFT_BY_CLEANING if run.opened_by in CLEANED else _LEFT_BY_FLUSH
    if clean is not None and run.opened_by and first - clean > left:
        return (first - clean) / (1 - clean), clean
    base = max(min(first, median(y[:3].tolist())), 0.0)
    if clean is not None and run.days[0] > 0:
        base = 0.5 * (base + min(clean, base + 0.1))
    return 0.0, base


def _side_by_side(runs: Sequence[Run], limit: float) -> _Batch:
    tracks = [latest(np.asarray(r.days), np.asarray(r.drops) / limit) for r in runs]
    most = max(len(days) for days, _ in tracks)
    days, ways, seen = (np.zeros((len(runs), most)) for _ in range(3))
    begun, end, way = (np.zeros(len(runs)) for _ in range(3))
    for i, (run, (d, y)) in enumerate(zip(runs, tracks, strict=True)):
        begun[i], base = start_and_base(run, y, limit)
        n, risen = len(d), (y - base) / (1 - base)
        days[i], ways[i, :n], seen[i, :n] = d[-1], risen, 1.0
        days[i, :n] = d
        end[i], way[i] = max(float(d[-1]), 0.5), min(float(risen[-1]), 1.3)
    return _Batch(days, ways, seen, begun, end, way)


def _likelihoods(batch: _Batch, family: Family) -> tuple[Floats, Floats]:
    """Likelihood of each run, axes (run, life, curve, mode), and the log of its scale.

    Each run is tried at a few lives about the one that its last reading says, curve by curve, and
    each step of the common grid takes its share of them. `family` is one for all runs, or has the
    run as its first axis.
    """
    count, of_each = len(batch.end), family.way.ndim == 3
    index: Index = np.arange(family.count)[None, :]
    if of_each:
        index = index + family.count * np.arange(count)[:, None]
    begun = curves.load_at(family, index, batch.begun[:, None])
    used = np.maximum(curves.load_at(family, index, batch.way[:, None]) - begun, 0.05)
    end_slope = family.end_slope.ravel()[index]
    early = np.maximum(0.0, 0.8 - used)
    width = np.clip(0.05 + 0.05 / (end_slope * np.maximum(used, 0.2)) + 0.35 * early, 0.06, 0.8)
    log_life = np.log(batch.end[:, None] / used)[:, None] + _LOOKED_AT[:, None] * width[:, None]
    life = np.clip(np.exp(log_life), 1.5, 8000.0)  # axes (run, life, curve)
    load = begun[:, None, :, None] + batch.days[:, None, None, :] / life[..., None]
    way, slope = curves.way_and_slope(family, index[:, None, :, None], load)
    passed = np.diff(batch.days, prepend=0.0, axis=1)[:, None, None, :] / life[..., None]
    seen = np.broadcast_to(batch.seen[:, None, None, :], load.shape)
    told = track(batch.ways[:, None, None, :] - way, slope, passed, _EARLIER_ERRORS, seen)
    log = np.logaddexp.reduce(told.log_likelihood, axis=-1)
    top = log.max(axis=(1, 2, 3), keepdims=True)
    # A run that was cleaned long before the limit tells its life by a long way of guessing.
    heard = np.clip(batch.way / _HEARD_FULLY, _HEARD_LEAST, 1.0)[:, None, None, None]
    weight = np.exp(heard * (log - top)) * width[:, None, :, None]
    share = np.maximum(1 - np.abs(LOG_LIVES[:, None, None] - np.log(life)[:, None]) / _STEP, 0.0)
    return np.einsum("rgtk,rtkc->rgkc", share, weight), top[:, 0, 0, 0]


def _course(days: Floats, ways: Floats) -> Floats | None:
    """A run's ways at LIFE, rising from 0 to 1; None where it saw too little of its curve."""
    risen = np.maximum.accumulate(np.maximum(ways, 0.0))
    if len(days) < _COURSE_READINGS or risen[-1] < _COURSE_WAY:
        return None
    life = _crossing(days, risen)
    before = days < life
    if not life > 0 or not before.any():
        return None
    x, u = np.r_[0.0, days[before] / life, 1.0], np.r_[0.0, np.minimum(risen[before], 1.0), 1.0]
    return np.interp(LIFE, x, u)


def _crossing(days: Floats, risen: Floats) -> float:
    """The day on which a run crosses the limit, or would at the pace of its second half."""
    if risen[-1] >= 1.0:
        at = int(np.argmax(risen >= 1.0))
        if at == 0:
            return float(days[0])
        share = (1 - risen[at - 1]) / (risen[at] - risen[at - 1])
        return float(days[at - 1] + share * (days[at] - days[at - 1]))
    half = min(int(np.argmax(risen >= 0.5 * risen[-1])), len(days) - 2)
    pace = (risen[-1] - risen[half]) / max(float(days[-1] - days[half]), 1e-6)
    return float(min(days[-1] + (1 - risen[-1]) / max(pace, 1e-6), 1.6 * days[-1]))


_KEPT: OrderedDict[tuple[Run, float], Lesson] = OrderedDict()


def _lessons(runs: Sequence[Run], limit: float) -> list[Lesson]:
    """What each run says by the fixed curves; kept, since the stations of a farm share them."""
    missing = [r for r in dict.fromkeys(runs) if (r, limit) not in _KEPT]
    if missing:
        batch = _side_by_side(missing, limit)
        likelihoods, scales = _likelihoods(batch, FIXED)
        for i, run in enumerate(missing):
            there = batch.seen[i] > 0
            resumed = batch.begun[i] > 0
            course = None if resumed else _course(batch.days[i, there], batch.ways[i, there])
            _KEPT[run, limit] = Lesson(likelihoods[i], float(scales[i]), course)
    found = [_KEPT[run, limit] for run in runs]
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return found


def forget() -> None:
    """Drop what was kept of earlier books, for measuring."""
    _KEPT.clear()
    _by_the_rest.cache_clear()
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


def _extended(own: _Taught, farm: _Taught, limit: float) -> tuple[list[Floats], list[Floats]]:
    """Likelihoods of all runs with the averaged curves beside the fixed ones.

    The station's average is judged by its own runs, the farm's by all; each with the run itself
    left out. Where a run cannot judge a curve, it says nothing of it.
    """
    by_own = [_left_out(own.courses)] if own.seen else []
    if farm.seen:
        by_own.append([curves.averaged(farm.seen)] * len(own.runs))
    by_farm: list[list[Floats | None]] = [[None] * len(farm.runs)] if own.seen else []
    if farm.seen:
        by_farm.append(_by_the_rest(farm.runs, limit))
    return _beside(own, _judged(own, by_own, limit)), _beside(farm, by_farm)


def _beside(group: _Taught, columns: Sequence[Sequence[Floats | None]]) -> list[Floats]:
    """The likelihoods of runs, axes (life, curve, mode), with those of further curves behind."""
    out = []
    for i, one in enumerate(group.lessons):
        more = (column[i] for column in columns)
        added = [_neutral(one.likelihood) if c is None else c[:, None] for c in more]
        out.append(np.concatenate([one.likelihood, *added], axis=1))
    return out


@lru_cache(maxsize=64)
def _by_the_rest(runs: tuple[Run, ...], limit: float) -> list[Floats | None]:
    """Each run by the average of the others; kept, since the stations of a farm share them."""
    group = _Taught(runs, tuple(_lessons(runs, limit)))
    return _judged(group, [_left_out(group.courses)], limit)[0]


def _judged(
    group: _Taught, columns: Sequence[Sequence[Floats | None]], limit: float
) -> list[list[Floats | None]]:
    """Each run's likelihood by its curve of each column, axes (life, mode); None without one."""
    places = ((k, i) for k, column in enumerate(columns) for i in range(len(column)))
    asked = [(k, i) for k, i in places if columns[k][i] is not None]
    out: list[list[Floats | None]] = [[None] * len(group.runs) for _ in columns]
    if asked:
        ways = np.stack([c for column in columns for c in column if c is not None])[:, None, :]
        batch = _side_by_side([group.runs[i] for _, i in asked], limit)
        found, scales = _likelihoods(batch, curves.family(ways))
        for (k, i), likelihood, scale in zip(asked, found, scales, strict=True):
            factor = math.exp(min(float(scale) - group.lessons[i].scale, 50.0))
            out[k][i] = likelihood[:, 0] * factor
    return out


def _prior(own: _Taught, farm: _Taught) -> Floats:
    """Weights of curve and mode before any run is asked."""
    shares = []
    if own.seen:
        shares.append(LEARNT_SHARE * len(own.seen) / (len(own.seen) + _OWN_DOUBT))
    if farm.seen:
        second = 0.6 if own.seen else 1.0
        shares.append(second * LEARNT_SHARE * len(farm.seen) / (len(farm.seen) + _FARM_DOUBT))
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


def _lives(own: Sequence[Floats], farm: Sequence[Floats], count: int) -> Floats:
    """Weights of the life, axes (life, curve).

    `own` and `farm` are likelihoods, axes (life, curve). The farm's runs say where a station's
    typical life may lie, its own where it does and how much its runs differ.
    """
    centre = _ANY * np.ones(count)
    if farm:
        seen = np.stack(farm) * _BROAD[:, None]
        seen = (seen / np.maximum(seen.sum(axis=1, keepdims=True), 1e-300)).mean(axis=0)
        trust = len(farm) / (len(farm) + _FARM_TRUST)
        centre = (1 - trust) * centre + trust * (_STATIONS.T @ seen)
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
    told_mine, told_others = _extended(mine, others, limit)
    of_farm = _weights(told_others, _prior(mine, others), PRIOR_WORTH)
    weights = _weights(told_mine, of_farm, FARM_WORTH)
    lives = _lives(_over_modes(told_mine, weights), _over_modes(told_others, of_farm), family.count)
    words = {id(mine): "this station's ended runs", id(others): "the farm's other stations"}
    crossed = sum(max(run.drops) >= limit for run in own)
    return Learnt(
        family, np.log(weights + 1e-300), np.log(lives + 1e-300),
        tuple(words[id(t)] for t in averages), len(own), len(farm), crossed,
    )  # fmt: skip


assert len(_MODE_PRIOR) == MODES
