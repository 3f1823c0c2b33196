"""Rows of Workings that differ in figures and row numbers alone, made from whole columns.

Most readings are linked to their cells, used, and of few kinds: each kind of a station has one
pattern, and its readings give the pattern's figures column by column. What is odd in any way
has no kind, and the sheet makes its row value by value.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from siltbook.batch.model import Reading
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.links import Fixed, Source
from siltbook.checks.gauges import NOISE
from siltbook.templates.shown import Shown

# Whether it lacks a time, gauge data and a flow, and whether it is over the limit.
Kind = tuple[bool, bool, bool, bool]


class Linked(NamedTuple):
    """A reading with the numbers in its cells (None where one is not linked) and its drops [m]."""

    reading: Reading
    inlet: float | None
    outlet: float | None
    flow: float | None
    drop: float
    corrected: float  # at the reference flow


def linked(
    fixed: Fixed, sources: Sequence[Source], readings: Sequence[Reading]
) -> Iterator[Linked]:
    """Readings of one gauge with what their cells hold; drops are NaN without two pressures."""
    rows, factor, per_flow = [r.row for r in readings], fixed.factor, fixed.flow_factor
    (_, reference), exponent = fixed.reference, fixed.exponent
    inlets = sources[0].numbers(rows, factor, [r.inlet for r in readings])
    outlets = sources[1].numbers(rows, factor, [r.outlet for r in readings])
    flows = sources[2].numbers(rows, per_flow, [r.flow for r in readings])
    for reading, inlet, outlet, flow in zip(readings, inlets, outlets, flows, strict=True):
        drop = math.nan
        if inlet is not None and outlet is not None:
            drop = inlet * factor - outlet * factor
        shown = flow * per_flow / per_flow if flow is not None else None
        corrected = corrected_drop(drop, shown, reference, exponent)
        yield Linked(reading, inlet, outlet, flow, drop, corrected)


def kind_of(fixed: Fixed, one: Linked) -> Kind | None:
    """The kind of a reading; None where it is not used, not linked, or lacks a pressure."""
    reading, u, p = one.reading, one.reading.u_drop, one.reading.p_over
    if reading.why_unusable or not reading.inlet or not reading.outlet:
        return None
    if not math.isfinite(one.corrected):
        return None
    sure = u is None and p is None
    if not sure and (not fixed.u or u is None or p is None or not (u > 0 and p == p)):
        return None
    if reading.flow is not None and (one.flow is None or not reading.flow > 0):
        return None
    return reading.time is None, sure, reading.flow is None, one.drop > fixed.limit[1] + NOISE


def columns(
    fixed: Fixed, kind: Kind, alike: Sequence[Linked], unit: Shown
) -> list[Sequence[float]]:
    """The figures of readings of one kind, in the order of the sheet's columns with slots."""
    timeless, sure, flowless, _ = kind
    readings, inlets, outlets, flows, drops, corrected = zip(*alike, strict=True)
    factor, limit, (_, clean) = fixed.factor, fixed.limit[1], fixed.clean
    made: list[Sequence[float]] = [[k.serial(r.date, date1904=fixed.date1904) for r in readings]]
    if not timeless:
        made.append([k.fraction(r.time) for r in readings])
    margins = [limit - drop for drop in drops]
    made += inlets, outlets, [x * factor for x in inlets], [x * factor for x in outlets]
    made += drops, margins
    uncertain = [] if sure else [r.u_drop for r in readings]
    if not sure:
        made += uncertain, [r.p_over for r in readings]
    made.append([r.row for r in readings])
    made += [corrected] if flowless else [flows, corrected]
    rises = [] if clean is None else [drop - clean for drop in drops]
    if clean is not None:
        made.append(rises)
    if not unit.metres:
        again = (drops, margins, uncertain, rises)
        made += [[*map(unit.value, column)] for column in again if column]
    return made
