"""One station's readings as arrays, with what its gauge can show and how much it moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.audit.chance import stays_within
from siltbook.batch.audit.model import Place
from siltbook.batch.model import History, Reading, Station, Work
from siltbook.templates.book import Book
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

Floats = NDArray[np.float64]
ENOUGH_STEPS = 8  # differences, below which the spread of a series is not known
MAD_TO_SIGMA = 1.4826  # of a normal law
QUARTER_BEYOND = 1.1503  # standard deviations, which a quarter of a normal law's steps exceed


@dataclass(frozen=True)
class Track:
    """Readings with both pressures, in order. Pressures [m], flow [m3/h], days as ordinals.

    `worked[i]` says whether work was logged between reading i-1 and i. Divisions [m], [m3/h];
    NaN where unknown.
    """

    station: Station
    rows: list[int]
    days: NDArray[np.int64]
    inlet: Floats
    outlet: Floats
    flow: Floats
    field: Floats
    worked: NDArray[np.bool_]
    routine: NDArray[np.bool_]
    division: float
    flow_division: float

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def drop(self) -> Floats:
        """Inlet minus outlet [m]."""
        return self.inlet - self.outlet

    def vectors(self) -> list[tuple[float, ...]]:
        """Everything that was read at each visit, comparable for equality."""
        table = np.column_stack([self.inlet, self.outlet, self.flow, self.field])
        # Rounding takes away what a unit's factor leaves behind; -1 stands for an empty cell.
        whole: list[list[float]] = np.round(np.nan_to_num(table, nan=-1.0), 6).tolist()
        return [tuple(row) for row in whole]


def tracks(book: Book, histories: Sequence[History]) -> tuple[Track, ...]:
    """One track per station that has a reading with both pressures."""
    unit = cubic_metres_per_hour_per(book.settings.flow_unit)
    return tuple(t for h in histories if len(t := _track(h, unit)))


def _track(history: History, flow_unit: float) -> Track:
    kept: list[Reading] = []
    worked: list[bool] = []
    work = False
    for entry in history.entries:
        if isinstance(entry, Work):
            work = True
        elif entry.inlet is not None and entry.outlet is not None:
            kept.append(entry)
            worked.append(work)
            work = False
    flow = _floats([r.flow for r in kept])
    division = history.station.division
    return Track(
        station=history.station,
        rows=[r.row for r in kept],
        days=np.array([r.date.toordinal() for r in kept], dtype=np.int64),
        inlet=_floats([r.inlet for r in kept]),
        outlet=_floats([r.outlet for r in kept]),
        flow=flow,
        field=_floats([r.field for r in kept]),
        worked=np.array(worked, dtype=bool),
        routine=np.array([r.occasion == "routine" for r in kept], dtype=bool),
        division=division if division else _step(kept, history.station),
        flow_division=_decimal_step(flow / flow_unit) * flow_unit,
    )


def _floats(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _step(readings: Sequence[Reading], station: Station) -> float:
    """The decimal step in which pressures were written, where no division is known [m]."""
    unit = metres_per(station.unit)
    both = _floats([v for r in readings for v in (r.inlet, r.outlet)])
    return _decimal_step(both / unit) * unit


def _decimal_step(values: Floats) -> float:
    """1, 0.1, 0.01 or 0.001: the largest of which all values are multiples; NaN without any."""
    known = values[~np.isnan(values)]
    if not len(known):
        return float("nan")
    for step in (1.0, 0.1, 0.01):
        if np.all(np.abs(known / step - np.round(known / step)) < 1e-4):
            return step
    return 0.001


def spread(values: Floats, division: float, use: NDArray[np.bool_] | None = None) -> float:
    """A safely small robust standard deviation of the steps of a series; 0 where too few.

    From the size that a quarter of the steps exceed. A step of one division may be a hair's
    breadth across the border between two divisions and counts as none; from longer ones half a
    division is taken off. `use[i]` says whether the step from i-1 to i counts.
    """
    steps = np.diff(values)
    if use is not None:
        steps = steps[use[1:]]
    steps = steps[~np.isnan(steps)]
    if len(steps) < ENOUGH_STEPS or not division > 0:
        return 0.0
    sizes = np.abs(steps)
    sure = np.where(sizes < 1.5 * division, 0.0, sizes - division / 2)
    return float(np.quantile(sure, 0.75)) / QUARTER_BEYOND


def repeat_chance(track: Track, values: Floats, division: float, use: NDArray[np.bool_]) -> float:
    """The most that the chance of reading the same value twice running can be for this series.

    The larger of what its spread allows and how often it did stay where `use` holds.
    """
    known = use & ~track.worked
    steps = np.diff(values)[known[1:]]
    steps = steps[~np.isnan(steps)]
    if len(steps) < ENOUGH_STEPS or not division > 0:
        return 1.0
    stayed = float((np.abs(steps) < division / 2).sum() + 1) / (len(steps) + 2)
    return max(stays_within(division, spread(values, division, known)), stayed)


def joint_repeat_chance(track: Track, use: NDArray[np.bool_]) -> float:
    """As `repeat_chance`, for inlet, drop at a given inlet, and flow at a given inlet together."""
    chance = repeat_chance(track, track.inlet, track.division, use)
    chance *= repeat_chance(track, track.drop, track.division, use)
    if not np.isnan(track.flow).any():
        # Flow follows the inlet pressure; only what remains is news.
        slope = _slope(np.diff(track.inlet), np.diff(track.flow))
        rest = track.flow - slope * track.inlet
        known = use & ~track.worked
        if known[1:].sum() >= ENOUGH_STEPS:
            chance *= stays_within(track.flow_division, spread(rest, track.flow_division, known))
    return chance


def longest_true(mask: NDArray[np.bool_]) -> int:
    """Length of the longest stretch in which the mask holds."""
    longest = now = 0
    for holds in mask.tolist():
        now = now + 1 if holds else 0
        longest = max(longest, now)
    return longest


def _slope(x: Floats, y: Floats) -> float:
    square = float(x @ x)
    return float(x @ y) / square if square > 0 else 0.0


def at(book: Book, row: int, said: str, station: str, p: float | None = None) -> Place:
    """Evidence at a reading's inlet cell."""
    return Place(book.readings.sheet, book.readings.cell("inlet", row), said, station, p)


def in_unit(station: Station, metres: float) -> str:
    """A pressure [m] as it was typed, with the station's unit."""
    return f"{metres / metres_per(station.unit):.4g} {station.unit}"
