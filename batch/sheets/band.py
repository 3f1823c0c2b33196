"""The shaded span of a forecast in a scatter chart, from the latest reading to the limit.

The surface is one line: around its edges, then level strokes close enough together to look like
a surface. A filled area beside a scatter would need a second kind of chart, whose points
programs place by other rules. Programs also differ in which series they draw on top, so the
line is half transparent.

A way is a list of (day number, level [m]) from the latest reading to the limit, days rising and
levels not falling. Points of a chart are the same, with None for a break.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

STROKES, LEAST_STROKES = 60, 20  # of a surface as high as the limit; of any

Point = tuple[float, float | None]
Way = Sequence[tuple[float, float]]


def _between(a: tuple[float, float], b: tuple[float, float], share: float) -> tuple[float, float]:
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def day_at(way: Way, level: float) -> float:
    """The day on which a way first stands at a level; its last day where it never does."""
    for a, b in pairwise(way):
        if b[1] >= level:
            rise = b[1] - a[1]
            return _between(a, b, max(level - a[1], 0.0) / rise if rise > 0 else 0.0)[0]
    return way[-1][0]


def up_to(way: Way, end: float) -> list[tuple[float, float]]:
    """A way as far as `end`, the last day of the axis."""
    kept = [point for point in way if point[0] <= end]
    if kept and len(kept) < len(way):
        a, b = way[len(kept) - 1], way[len(kept)]
        kept.append(_between(a, b, (end - a[0]) / (b[0] - a[0])))
    return kept


def _below(way: Way, level: float) -> list[tuple[float, float]]:
    return [*(p for p in way if p[1] < level), (day_at(way, level), level)]


def surface(early: Way, late: Way, limit: float, end: float) -> list[Point]:
    """The surface between an early and a late way that start at the same reading."""
    drop = early[0][1]
    strokes = max(LEAST_STROKES, math.ceil(STROKES * min(1.0, (limit - drop) / limit)))
    top = drop + (1 - 0.5 / strokes) * (limit - drop)  # off the limit's own line
    # Around the edges first, so that the strokes have no ragged ends; then from the top down.
    edges = [*reversed(up_to(_below(late, top), end)), *up_to(_below(early, top), end)[1:]]
    points: list[Point] = list(edges)
    for stroke in range(strokes):
        level = top - stroke / strokes * (limit - drop)
        left, right = day_at(early, level), min(day_at(late, level), end)
        if left < end:
            sides = (right, left) if stroke % 2 else (left, right)
            points += [(day, level) for day in sides]
    return points
