"""The shaded span of a forecast in a scatter chart, from the latest reading to the limit.

The surface is one line: around its edges, then level strokes close enough together to look like
a surface. A filled area beside a scatter would need a second kind of chart, whose points
programs place by other rules. Programs also differ in which series they draw on top, so the
line is half transparent.

Points are (day number, level [m]).
"""

from __future__ import annotations

import math

STROKES, LEAST_STROKES = 60, 20  # of a surface as high as the limit; of any

Point = tuple[float, float | None]


def tip(
    start: tuple[float, float], day: float, limit: float, end: float, most: float = 1.0
) -> Point:
    """Where the straight way from `start` to the limit on `day` stops.

    At the part `most` of the way, or at `end`, the last day of the axis, where that is sooner.
    `day` is `start`'s or later, and may be infinite.
    """
    now, drop = start
    part = min(most, (end - now) / (day - now)) if day > now else most
    at = min(now + part * (day - now), end) if math.isfinite(day) else end
    return at, drop + part * (limit - drop)


def surface(
    start: tuple[float, float], days: tuple[float, float], limit: float, end: float
) -> list[Point]:
    """The surface between the straight ways to the early and the late one of `days`."""
    (now, drop), (early, late) = start, days
    strokes = max(LEAST_STROKES, math.ceil(STROKES * min(1.0, (limit - drop) / limit)))
    top = 1 - 0.5 / strokes  # off the limit's own line
    # Around the edges first, so that the strokes have no ragged ends; then from the top down.
    points: list[Point] = [tip(start, late, limit, end, top), start]
    points.append(tip(start, early, limit, end, top))
    for stroke in range(strokes):
        part = top - stroke / strokes
        left = now + part * (early - now)
        right = min(now + part * (late - now), end)
        if left < end:
            sides = (right, left) if stroke % 2 else (left, right)
            points += [(day, drop + part * (limit - drop)) for day in sides]
    return points
