"""How the drop climbs as a filter's life is used up: the curves S(x) of the forecast.

x is the load, the share of the life that is used; S(x) the share of the way from the clean drop
to the limit. S(0) = 0 and S(1) = 1 for every curve, so that a run which crosses the limit tells
its life whatever its curve.

The family has powers x^p (p < 1 flattens, p = 1 is a straight line, high p creeps for most of the
life and climbs at its end) and the blocking laws at constant flow, dh/dt = k h^m with m = 1
(intermediate blocking), 2 (complete blocking) and 3, for a clean drop of a fifth of the limit.
Hermia 1982 gives the laws at constant pressure; these are their constant-flow counterparts. To
them come curves learnt from the runs that ended: `averaged`.

Curves are tables over an even grid of loads: a learnt one costs no more than a power.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.numbers.robust import Floats

Index = NDArray[np.int64]

POWERS = (0.6, 1.0, 1.5, 2.2, 3.2, 4.5, 6.5)
LAWS = (1.0, 2.0, 3.0)  # m of the blocking laws
FOOT = 0.2  # clean drop over limit for which the blocking laws are drawn
STEP = 0.01  # of the load between two nodes
_UP_TO_LIMIT = round(1 / STEP) + 1  # nodes from load 0 to load 1
LOADS: Floats = np.arange(2.0 * _UP_TO_LIMIT - 1) * STEP  # to load 2; beyond the limit straight on
LIFE: Floats = LOADS[:_UP_TO_LIMIT]
LEAST_SLOPE, LEAST_END_SLOPE = 1e-3, 0.3
_WAYS: Floats = np.linspace(0.0, 1.0, 201)  # nodes of the inverse tables
# Way at half of the life by which a curve is called: over the first it flattens, and so on.
_KINDS = ((0.56, "flattening"), (0.44, "straight"), (0.18, "bent"), (-np.inf, "steep end"))


@dataclass(frozen=True)
class Family:
    """Curves side by side: axes (curve, node), or (run, curve, node) for curves of each run."""

    way: Floats  # S at LOADS
    slope: Floats  # dS/dx at LOADS
    load: Floats  # x at even ways from 0 to 1

    @property
    def count(self) -> int:
        """How many curves there are."""
        return int(self.way.shape[-2])

    @property
    def end_slope(self) -> Floats:
        """dS/dx at the limit, axes as the curves."""
        found: Floats = self.slope[..., _UP_TO_LIMIT - 1]
        return found

    def pick(self, curves: Index) -> Family:
        """Some of the curves."""
        return Family(self.way[curves], self.slope[curves], self.load[curves])

    def kind(self, curve: int) -> str:
        """What a curve is called: flattening, straight, bent or steep end."""
        half = float(self.way[curve, (_UP_TO_LIMIT - 1) // 2])
        return next(word for least, word in _KINDS if half >= least)


def _straight_on(to_limit: Floats, end_slope: float) -> Floats:
    beyond = 1.0 + end_slope * (LOADS[_UP_TO_LIMIT:] - 1.0)
    return np.concatenate([to_limit, beyond])


def _power(p: float) -> Floats:
    return _straight_on(LIFE**p, p)


def _law(m: float) -> Floats:
    """dh/dt = k h^m: h^(1-m) is straight in time, for m = 1 log h."""
    if m == 1.0:
        return _straight_on((FOOT ** (1 - LIFE) - FOOT) / (1 - FOOT), -math.log(FOOT) / (1 - FOOT))
    bend = 1 - m
    foot = FOOT**bend
    way = ((foot + LIFE * (1 - foot)) ** (1 / bend) - FOOT) / (1 - FOOT)
    return _straight_on(way, (1 - foot) / bend / (1 - FOOT))


def family(ways: Floats) -> Family:
    """The family of curves given as tables; `ways` [-] from 0 to 1 as in `Family`."""
    slope = np.maximum(np.gradient(ways, STEP, axis=-1), LEAST_SLOPE)
    rising = np.maximum.accumulate(ways[..., :_UP_TO_LIMIT], axis=-1) + LIFE * 1e-9
    flat = rising.reshape(-1, _UP_TO_LIMIT)
    load = np.stack([np.interp(_WAYS, curve, LIFE) for curve in flat])
    return Family(ways, slope, load.reshape(*ways.shape[:-1], len(_WAYS)))


FIXED = family(np.stack([*map(_power, POWERS), *map(_law, LAWS)]))


def with_learnt(learnt: Sequence[Floats]) -> Family:
    """The fixed curves, then the `learnt` ones (ways [-] as in `Family`)."""
    return family(np.concatenate([FIXED.way, np.stack(learnt)])) if learnt else FIXED


def _between(tables: Floats, curve: Index, place: Floats) -> Floats:
    """Tables read between their nodes; `curve` counts rows of all tables on end."""
    nodes = tables.shape[-1]
    at = np.clip(place, 0.0, nodes - 1.000001)
    left = at.astype(np.int64)
    share = at - left
    flat, first = tables.ravel(), curve * nodes + left
    low = flat[first]
    found: Floats = low + (flat[first + 1] - low) * share
    return found


def way_and_slope(curves: Family, curve: Index, load: Floats) -> tuple[Floats, Floats]:
    """S [-] and dS/dx [-] at `load` [-].

    `curve` counts rows of all tables on end and broadcasts with it.
    """
    place = load / STEP
    return _between(curves.way, curve, place), _between(curves.slope, curve, place)


def load_at(curves: Family, curve: Index, way: Floats) -> Floats:
    """The load [-] at which a curve has come as far as `way` [-]; beyond the limit straight on."""
    inside = _between(curves.load, curve, np.clip(way, 0.0, 1.0) * (len(_WAYS) - 1))
    end: Floats = curves.end_slope.ravel()[curve]
    return inside + np.maximum(way - 1.0, 0.0) / end


def averaged(courses: Sequence[Floats]) -> Floats:
    """The mean of ended runs' `courses` (ways [-] at LIFE, rising from 0 to 1), as a table."""
    mean = np.mean(np.stack(courses), axis=0)
    back = round(0.1 / STEP)
    end = (mean[-1] - mean[-1 - back]) / (back * STEP)
    return _straight_on(mean, max(float(end), LEAST_END_SLOPE))
