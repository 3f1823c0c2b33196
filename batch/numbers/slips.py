"""Pressures that another unit or a slipped decimal explains better than the station does.

A pressure is compared with the station's usual one, the median of that column. More than five
times over, or under a fifth of it, is no ordinary day: pumps and clogging move a pressure by less.
Where typing it in another unit, or with the decimal mark in another place, brings it near the
usual one, the reading is not used and the sentence says what it looks like. Where the usual one
itself is that far from what the station needs, and another unit brings it near, all of its readings
are in another unit than the book says. The factor of five and how near is near are choices of this
program.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import dropwhile
from statistics import median

from siltbook.batch.model import Reading
from siltbook.templates.contract import PRESSURE_UNITS
from siltbook.templates.units import metres_per

FAR = 5.0  # times over or under the usual pressure
NEAR, NEAR_BELOW = 0.35, 0.2  # share by which an explanation may miss the usual one, over and under
LEAST = 4  # readings, of which one slip cannot be the middle
LOWEST, HIGHEST = 0.75, 3.5  # times the inlet needed, between which usual inlets lie
TURNED = 3  # latest readings that all look odd: then it is the earlier ones that are
_MOVED = (10.0, 100.0, 1000.0)  # places of the decimal mark
_KEYS = ("inlet", "outlet")


@dataclass(frozen=True)
class Slip:
    """What a pressure looks like: in words, and the unit where it is another one's."""

    words: str
    unit: str
    off: float  # |ln| of what is left between the explanation and the usual pressure


def without_slips(
    readings: Sequence[Reading],
    unit_of: Callable[[Reading], str],
    usual_inlet: float,
    flush_inlet: float | None = None,
) -> list[Reading]:
    """The readings with those marked unusable that look like slips, in the order given.

    `unit_of` gives the unit in which a reading's pressures were typed; `usual_inlet` [m], the
    station's working inlet or what a flush needs, stands in while there are fewer than LEAST
    readings, and then only a pressure far above it is questioned. `flush_inlet` [m], what a flush
    needs, must disagree as well before all readings are taken for another unit's.
    """
    other = _other_unit(readings, unit_of, (usual_inlet, flush_inlet or usual_inlet))
    if other is not None:
        return [_in_other_unit(r, unit_of(r), *other, usual_inlet) for r in readings]
    usual = _usual(readings, LEAST, usual_inlet)
    marked = _all_marked(readings, usual, unit_of)
    if not any(reading.looks_like for reading in marked):
        return marked
    latest = sorted(range(len(readings)), key=lambda i: (readings[i].date, readings[i].row))
    turned = len(latest) - sum(1 for _ in dropwhile(lambda i: marked[i].looks_like, latest[::-1]))
    if TURNED <= turned < len(readings):
        usual = _usual([readings[i] for i in latest[-turned:]], TURNED, usual_inlet)
        marked = _all_marked(readings, usual, unit_of)
    return marked


def _other_unit(
    readings: Sequence[Reading], unit_of: Callable[[Reading], str], needed: tuple[float, ...]
) -> tuple[str, float] | None:
    """The unit in which all of a station's readings must be typed; None where they may be right.

    With it how many times the number must be taken: 1, or 10 or 100 in the own unit (the decimal
    mark, MPa on a farm in bar, cells formatted as per cent). `needed` are inlets [m] that the
    station should have. What counts makes of the usual inlet one between LOWEST and HIGHEST times
    the first of them.
    """
    inlets = [r.inlet for r in readings if r.inlet is not None and r.inlet > 0]
    units = {unit_of(r) for r in readings}
    if not inlets or len(units) != 1 or not min(needed) > 0:
        return None
    if any(_ordinary(median(inlets), n) for n in needed):
        return None
    ratio = median(inlets) / needed[0] / metres_per(own := units.pop())
    likely = {(unit, 1.0): ratio * metres_per(unit) for unit in PRESSURE_UNITS}
    likely = {at: r for at, r in likely.items() if at[0] not in (own, "kgf/cm2")}
    moved = {(own, by): ratio * metres_per(own) * by for by in _MOVED[:2]}
    for found in (likely, moved):
        near = {at: _off(r) for at, r in found.items() if LOWEST <= r <= HIGHEST}
        if near:
            return min(near, key=lambda at: near[at])
    return None


def _in_other_unit(reading: Reading, own: str, unit: str, by: float, needed: float) -> Reading:
    """A reading marked that is far from the inlet `needed` [m], as its station's usual one is."""
    if reading.inlet is None or not reading.inlet > 0 or _ordinary(reading.inlet, needed):
        return reading
    typed = reading.inlet / metres_per(own)
    why = f"inlet {typed:.4g} {own} looks like {by * typed:.4g} {unit}"
    if reading.why_unusable:
        why = f"{reading.why_unusable}; {why}"
    return replace(reading, why_unusable=why, looks_like=unit, u_drop=None, p_over=None)


def _all_marked(
    readings: Sequence[Reading], usual: dict[str, _Usual], unit_of: Callable[[Reading], str]
) -> list[Reading]:
    inlet, outlet = (usual[key].pressure for key in _KEYS)
    inlets = [r.inlet for r in readings if r.inlet is not None]
    outlets = [r.outlet for r in readings if r.outlet is not None]
    if _all_ordinary(inlets, inlet) and _all_ordinary(outlets, outlet):
        return list(readings)
    return [
        r if _ordinary(r.inlet, inlet) and _ordinary(r.outlet, outlet)
        else _marked(r, usual, unit_of(r))
        for r in readings
    ]  # fmt: skip


def _all_ordinary(values: Sequence[float], usual: float) -> bool:
    """Whether the least and the largest are, and so all between them."""
    return not values or (_ordinary(min(values), usual) and _ordinary(max(values), usual))


def _ordinary(value: float | None, usual: float) -> bool:
    """Whether a pressure is none, or so near the usual one that nothing needs to explain it."""
    return value is None or (usual > 0 and 1 / FAR <= value / usual <= FAR)


@dataclass(frozen=True)
class _Usual:
    pressure: float  # [m]
    known: bool  # from the station's own readings


def _usual(readings: Sequence[Reading], least: int, inlet: float) -> dict[str, _Usual]:
    usual = {}
    for key in _KEYS:
        values = [v for r in readings if (v := getattr(r, key)) is not None and v > 0]
        known = len(values) >= least
        usual[key] = _Usual(float(median(values)) if known else inlet, known)
    return usual


def _marked(reading: Reading, usual: dict[str, _Usual], unit: str) -> Reading:
    said, units = [], set()
    for key in _KEYS:
        value, base = getattr(reading, key), usual[key]
        if value is None or not value > 0 or not (base.known or value > base.pressure > 0):
            continue
        found = _slips(value / base.pressure, value / metres_per(unit), unit)
        if found:
            words = " or ".join(slip.words for slip in found[:2])
            said.append(f"{key} {value / metres_per(unit):.4g} {unit} looks like {words}")
            units.add(found[0].unit)
    if not said:
        return reading
    why = "; ".join(said)
    if reading.why_unusable:
        why = f"{reading.why_unusable}; {why}"
    looks_like = units.pop() if len(units) == 1 else ""
    return replace(reading, why_unusable=why, looks_like=looks_like, u_drop=None, p_over=None)


def _slips(ratio: float, typed: float, unit: str) -> list[Slip]:
    """The explanations of a pressure that is `ratio` times the usual one, the best first."""
    if 1 / FAR <= ratio <= FAR:
        return []
    near = NEAR if ratio > 1 else NEAR_BELOW
    own = metres_per(unit)
    found = [
        Slip(f"{typed:.4g} {other}", other, _off(ratio * metres_per(other) / own))
        for other in PRESSURE_UNITS
        if other not in (unit, "kgf/cm2")  # which nobody can tell from a bar by size
    ]
    for moved in _MOVED:
        by = 1 / moved if ratio > 1 else moved
        found.append(Slip(f"{typed * by:.4g} {unit}", unit, _off(ratio * by)))
    kept = [slip for slip in found if slip.off <= math.log(1 + near)]
    return sorted(kept, key=lambda slip: slip.off)


def _off(ratio: float) -> float:
    """How far a ratio is from 1 [log]; a pressure next to nothing is no slip of anything."""
    if not 0.0 < ratio < math.inf:
        return math.inf
    return round(abs(math.log(ratio)), 9)  # noise decides no tie: a unit comes before a slip
