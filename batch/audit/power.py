"""What the rules on the data could have seen: faults planted in the book's own readings.

A rule that finds nothing reassures only as far as it would have found something. So a few faults
are planted in the book's own series, one at a time, at places that a fixed seed draws, and the
same rules are asked: with these gauges, this many readings and this much movement, in how many of
ten cases is the fault found? Own rule; the idea is the power of a test (Neyman and Pearson, On
the problem of the most efficient tests of statistical hypotheses, 1933; from memory).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from siltbook.batch.audit.digits import round_digits
from siltbook.batch.audit.model import Power, RuleResult
from siltbook.batch.audit.repeats import copied_block, same_series, stuck_gauge
from siltbook.batch.audit.tracks import Track
from siltbook.templates.book import Book

CASES = 10  # of each fault
MOST_STATIONS = 40  # the first of the register: the time it takes stays bounded
STUCK, FILLED, ALIKE = 8, 6, 12  # readings
COARSER = 10  # divisions to which invented pressures are rounded
_COLUMNS = ("inlet", "outlet", "flow", "field")
# Keeps the parent's arrays whole: a plant gives a new track, or None where it does not fit.
Plant = Callable[[Track, Sequence[Track], random.Random], Track | None]
Rule = Callable[[Book, Sequence[Track]], RuleResult]


@dataclass(frozen=True)
class Fault:
    """A fault to plant, the rules that should find it, and its name in a sentence."""

    words: str
    plant: Plant
    rules: tuple[Rule, ...]


def _stretch(track: Track, length: int, draw: random.Random) -> slice | None:
    """Where a fault of so many readings stands; None where the series is shorter than twice it."""
    if len(track) < 2 * length:
        return None
    start = draw.randrange(len(track) - length + 1)
    return slice(start, start + length)


def _stuck(track: Track, _: Sequence[Track], draw: random.Random) -> Track | None:
    """One side stays on its first value: a pointer that sticks."""
    where = _stretch(track, STUCK, draw)
    if where is None:
        return None
    side = draw.choice(("inlet", "outlet"))
    values = getattr(track, side).copy()
    values[where] = values[where.start]
    return replace(track, **{side: values})


def _filled_down(track: Track, _: Sequence[Track], draw: random.Random) -> Track | None:
    """Whole rows repeat the first of them."""
    where = _stretch(track, FILLED, draw)
    if where is None:
        return None
    columns = {key: getattr(track, key).copy() for key in _COLUMNS}
    for values in columns.values():
        values[where] = values[where.start]
    return replace(track, **columns)


def _rounded(track: Track, _: Sequence[Track], draw: random.Random) -> Track | None:
    """Every pressure written in steps of ten divisions, as somebody does who guesses it."""
    if not track.division > 0 or len(track) < ALIKE:
        return None
    step = COARSER * track.division
    inlet, outlet = (np.round(v / step) * step for v in (track.inlet, track.outlet))
    return replace(track, inlet=inlet, outlet=outlet)


def _of_another(track: Track, every: Sequence[Track], draw: random.Random) -> Track | None:
    """The readings of another station, written down again on the days that both were read."""
    others = [t for t in every if t is not track and len(t) >= ALIKE]
    if not others:
        return None
    other = draw.choice(others)
    theirs = _first_of_days(other)
    common = [(at, theirs[day]) for day, at in _first_of_days(track).items() if day in theirs]
    if len(common) < ALIKE:
        return None
    to, of = (list(side) for side in zip(*common, strict=True))
    columns = {key: getattr(track, key).copy() for key in _COLUMNS}
    for key, values in columns.items():
        values[to] = getattr(other, key)[of]
    return replace(track, **columns)


def _first_of_days(track: Track) -> dict[int, int]:
    """Day -> the place of its first routine reading."""
    found: dict[int, int] = {}
    for at in np.flatnonzero(track.routine).tolist():
        found.setdefault(int(track.days[at]), at)
    return found


FAULTS = (
    Fault(f"a gauge stuck for {STUCK} readings", _stuck, (stuck_gauge,)),
    Fault(f"{FILLED} rows filled down", _filled_down, (copied_block, stuck_gauge)),
    Fault(f"pressures guessed to {COARSER} divisions", _rounded, (round_digits, stuck_gauge)),
    Fault("a station's readings taken from another's", _of_another, (same_series,)),
)


def power(book: Book, every: Sequence[Track]) -> tuple[Power, ...]:
    """For each fault in how many of ten cases the rules find it at the station where it stands.

    A case in which the fault does not fit the station's readings counts as not found.
    """
    some = every[:MOST_STATIONS]
    return tuple(Power(fault.words, _found(book, some, fault), CASES) for fault in FAULTS)


def _found(book: Book, every: Sequence[Track], fault: Fault) -> int:
    draw = random.Random(f"power of the audit: {fault.words}")
    return sum(_is_found(book, every, fault, draw) for _ in range(CASES if every else 0))


def _is_found(book: Book, every: Sequence[Track], fault: Fault, draw: random.Random) -> bool:
    place = draw.randrange(len(every))
    planted = fault.plant(every[place], every, draw)
    if planted is None:
        return False
    series = [*every[:place], planted, *every[place + 1 :]]
    name = planted.station.name
    return any(_names(rule(book, series), name) for rule in fault.rules)


def _names(result: RuleResult, station: str) -> bool:
    """Whether a rule found something at this station (a pair of stations names both)."""
    return any(not p.holds and (p.station == station or station in p.said) for p in result.places)
