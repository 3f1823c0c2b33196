"""What one ended run says of curve, unevenness and life: its lesson.

Ended runs are looked at side by side. Each is tried at a few lives about the one that its last
reading says, curve by curve, and its own course is kept where it saw enough of one. What follows
from many lessons: module `training`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from siltbook.batch.numbers import curves
from siltbook.batch.numbers.curves import FIXED, LIFE, Family, Index
from siltbook.batch.numbers.fouling import latest, track
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import CLEANED, Run

LIVES: Floats = np.geomspace(3.0, 3000.0, 42)  # [days]
LOG_LIVES: Floats = np.log(LIVES)
_STEP = float(LOG_LIVES[1] - LOG_LIVES[0])
_EARLIER_ERRORS: Floats = np.array([0.02, 0.05])  # sigma of earlier runs, whatever the gauge
_LOOKED_AT: Floats = np.linspace(-2.2, 2.2, 9)  # lives about a run's likely one, in widths
# Start over the clean level [share of limit] from which a flush left dirt behind, and from which
# even a cleaning did.
_LEFT_BY_FLUSH, _LEFT_BY_CLEANING = 0.08, 0.2
_HEARD_FULLY, _HEARD_LEAST = 0.5, 0.1  # way at a run's end from which it is heard; share of others
_NONE, _ALL = np.zeros(1), np.ones(1)  # of a life, and of the way to the limit
_COURSE_READINGS, _COURSE_WAY = 4, 0.7  # least of a run whose course is averaged


@dataclass(frozen=True)
class Lesson:
    """One ended run: likelihood, axes (life, curve, mode), its scale, and its own course."""

    likelihood: Floats
    scale: float  # log
    course: Floats | None  # ways at LIFE; None where it saw too little of its curve


@dataclass(frozen=True)
class Batch:
    """Ended runs side by side, the shorter ones filled up; ways, not drops."""

    days: Floats  # axes (run, reading)
    ways: Floats
    seen: Floats  # 1 where a reading is one
    begun: Floats  # way at the start of a run that resumed, else 0
    end: Floats  # last day
    way: Floats  # last way


def lessons_of(runs: Sequence[Run], limit: float) -> list[Lesson]:
    """What each run says by the fixed curves of its way to `limit` [m]; one run at least."""
    batch = side_by_side(runs, limit)
    found, scales = likelihoods(batch, FIXED)
    return [
        Lesson(found[i], float(scales[i]), None if batch.begun[i] > 0 else _course_of(batch, i))
        for i in range(len(runs))
    ]


def _course_of(batch: Batch, run: int) -> Floats | None:
    there = batch.seen[run] > 0
    return _course(batch.days[run, there], batch.ways[run, there])


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


def side_by_side(runs: Sequence[Run], limit: float) -> Batch:
    """Runs with the ways that they have come to `limit` [m]; one run at least."""
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
    return Batch(days, ways, seen, begun, end, way)


def likelihoods(batch: Batch, family: Family) -> tuple[Floats, Floats]:
    """Likelihood [-] of each run, axes (run, life, curve, mode), and the log of its scale.

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
    return _on_the_grid(life, weight), top[:, 0, 0, 0]


def _on_the_grid(life: Floats, weight: Floats) -> Floats:
    """Weights of lives, axes (run, life, curve, mode), shared between the two steps of LIVES that
    each life lies between."""
    place = ((np.log(life) - LOG_LIVES[0]) / _STEP).transpose(0, 2, 1)
    share = np.arange(float(len(LIVES)))[:, None] - place[:, :, None, :]
    np.abs(share, out=share)
    np.subtract(1.0, share, out=share)
    np.maximum(share, 0.0, out=share)
    shared: Floats = (share @ weight.transpose(0, 2, 1, 3)).transpose(0, 2, 1, 3)
    return shared


def _course(days: Floats, ways: Floats) -> Floats | None:
    """A run's ways at LIFE, rising from 0 to 1; None where it saw too little of its curve."""
    risen = np.maximum.accumulate(np.maximum(ways, 0.0))
    if len(days) < _COURSE_READINGS or risen[-1] < _COURSE_WAY:
        return None
    life = _crossing(days, risen)
    before = days < life
    if not life > 0 or not before.any():
        return None
    x = np.concatenate([_NONE, days[before] / life, _ALL])
    u = np.concatenate([_NONE, np.minimum(risen[before], 1.0), _ALL])
    course: Floats = np.interp(LIFE, x, u)
    return course


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
