"""What dirt takes at the field, and the water that flushing takes.

Both hold only where they are asked of the right farm. The excess head over a dirty filter is lost
at the field where nothing makes up for it; where a pump or a regulator does, the field loses
nothing and the pump's energy (module `costs`) is the loss instead. Never both.

The field pressure behind a clean filter is the median, over the usable readings that bear a field
pressure, of that pressure plus the reading's excess head; where none was read, the station's
wanted field pressure. A median, so that a day with a leak or a tired pump does not move it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from siltbook.batch.model import History, Work
from siltbook.batch.numbers.costs import ExcessSegment, Line, discharge_share_lost, excess_line
from siltbook.templates.book import Settings

_MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True)
class DischargeLost:
    """Share of the emitters' discharge (0 to 1) that dirt took where the field lost the head.

    `mean` over the days that could be counted, `most` at the dirtiest moment among them;
    `pressure` [m]: the field pressure behind a clean filter, and whether it was `read` or is
    the wanted one. `silent` says why there is no share.
    """

    mean: float | None
    most: float | None
    pressure: float | None
    read: bool
    silent: str


@dataclass(frozen=True)
class FlushWater:
    """Water that the logged flushes took.

    `volume` [m3]; `flushes` that it stands for; `left_out`: flushes of which nobody knows how
    long they ran, or whether water left at all. `silent` says why there is no volume.
    """

    volume: float | None
    flushes: int
    left_out: int
    silent: str


def clean_field_pressure(history: History, clean: float) -> tuple[float | None, bool]:
    """Field pressure behind a clean filter [m], and whether it was read; see the module."""
    found = [
        r.field + max(0.0, r.drop - clean)
        for r in history.readings
        if r.usable and r.drop is not None and r.field is not None
    ]
    if found:
        return median(found), True
    return history.station.wanted_field, False


def _mean_share(stretches: Sequence[ExcessSegment], pressure: float, exponent: float) -> float:
    """Mean over time, by Simpson's rule on each straight piece of the excess head."""
    total = 0.0
    for stretch in stretches:
        first, middle, last = (
            discharge_share_lost(excess, pressure, exponent) or 0.0
            for excess in (stretch.first, stretch.mean, stretch.last)
        )
        total += stretch.days * (first + 4 * middle + last) / 6
    return total / math.fsum(s.days for s in stretches)


def discharge_lost(history: History, settings: Settings, line: Line | None = None) -> DischargeLost:
    """What the emitters gave less, had the field lost the whole excess head.

    Uses q = k H^x with the station's emitter exponent (0 to 1) and the settings' reading
    interval [days]. `line` is the station's `excess_line`, where it is at hand. Never raises for
    a value that is missing: `silent` names it.
    """
    station = history.station
    if station.emitter_exponent is None:
        return DischargeLost(None, None, None, False, "no emitter exponent")
    if station.clean_drop is None:
        return DischargeLost(None, None, None, False, "no clean drop")
    pressure, was_read = clean_field_pressure(history, station.clean_drop)
    if pressure is None or pressure <= 0:
        why = "no field pressure read and no wanted field pressure"
        return DischargeLost(None, None, None, False, why)
    line = line or excess_line(history, station.clean_drop, settings.interval)
    stretches = line.stretches
    if not stretches:
        return DischargeLost(None, None, pressure, was_read, "no days could be counted")
    x = station.emitter_exponent
    worst = max(max(s.first, s.last) for s in stretches)
    mean = _mean_share(stretches, pressure, x)
    return DischargeLost(mean, discharge_share_lost(worst, pressure, x), pressure, was_read, "")


def _ran(flush: Work) -> bool | None:
    """Whether water left in a flush; None where another missing sign leaves that open."""
    if flush.water is False:
        return False
    return None if flush.missing_signs and flush.water is None else True


def flush_water(history: History, settings: Settings) -> FlushWater:
    """Water of the logged flushes: flush flow x minutes per cycle x cycles, in [m3].

    A flush with 'water at outlet' = no took none. One without its cycles, or without a click
    and no word on the water, is left out and counted. Flushes that the controller ran on its
    own are in no log and in no number.
    """
    flow, minutes = history.station.flush_flow, settings.cycle_minutes
    flushes = [w for w in history.work if w.work == "flush"]
    if flow is None:
        return FlushWater(None, 0, len(flushes), "no flush flow")
    if minutes is None:
        return FlushWater(None, 0, len(flushes), "no minutes per flush cycle on the Farm sheet")
    cycles = [
        0.0 if _ran(w) is False else w.cycles
        for w in flushes
        if _ran(w) is False or (_ran(w) and w.cycles is not None)
    ]
    left_out = len(flushes) - len(cycles)
    if flushes and not cycles:
        return FlushWater(None, 0, left_out, "no flush with its cycles and signs")
    volume = flow * minutes / _MINUTES_PER_HOUR * math.fsum(c or 0.0 for c in cycles)
    return FlushWater(volume, len(cycles), left_out, "")
