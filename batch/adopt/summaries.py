"""Rows at the end of a table that nobody labelled: means, least and most values, totals."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence

from siltbook.batch.adopt.context import Context
from siltbook.batch.adopt.model import MEASURED
from siltbook.batch.adopt.recognise import parse_number

_FIGURES: tuple[Callable[[Sequence[float]], float], ...] = (
    statistics.fmean, min, max, sum, statistics.median,
)  # fmt: skip
_NEAR = 0.01  # relative difference within which a figure was rounded
_LEAST = 2  # columns whose figure it is


def is_summary(context: Context, dated: Sequence[int]) -> bool:
    """Whether every number of a row is the same figure (mean, least, most, sum, median) of the
    dated rows above it, in two columns or more that vary."""
    found, pairs = context.found, []
    for column in found.of(*MEASURED):
        if column.index not in context.cells:
            continue
        here = parse_number(context.cells[column.index], found.decimal)[0]
        cells = (found.grid.rows[row].get(column.index) for row in dated if row < context.row)
        read = [parse_number(v, found.decimal)[0] for v in cells if v is not None]
        above = [v for v in read if v is not None]
        if here is None or not above:
            return False
        if min(above) < max(above):
            pairs.append((here, above))
    return len(pairs) >= _LEAST and any(
        all(abs(here - figure(above)) <= _NEAR * abs(figure(above)) for here, above in pairs)
        for figure in _FIGURES
    )
