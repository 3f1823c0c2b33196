"""Steady service in a logger's records: windows that hold still, dips that may be flushes."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WINDOW = 600  # [s] for which pressures must hold still
FEWEST = 5  # records in a window
MOST_WINDOW = 12  # records of a window where they are far apart
STILL = 0.03  # share of the usual inlet within which it holds still
STILL_DROP = 0.15  # share of the usual drop
RUNNING = 0.3  # share of the usual running inlet above which the pump runs
NOISE = 7.0  # standard deviations of a record's noise that many records in a row span
RUNNING_DROP = 0.05  # the same where only the drop was recorded: a clean filter's is small
DIP = 0.85  # of the inlet before
LONGEST_DIP = 300  # [s]
APART = 900  # [s] between the dips of one flush
FALL = 0.85  # drop after a flush over the drop before it
STUCK = 10  # records at the very top that make a sensor stuck
DAY = 86_400  # [s]

OFF, TOP, TWICE, BACK, EMPTY = (
    "pump off, or the sensor at zero", "sensor at full scale",
    "the same time twice", "the clock was set back, so the hour stands twice", "no number",
)  # fmt: skip
RESTLESS, SPARE = "pressure or flow not steady", "steady, but another window of that day was taken"


@dataclass(frozen=True)
class Records:
    """One station's records. `by`: role -> numbers; `counted`: whether they count as rows."""

    seconds: NDArray[np.int64]  # wall clock [s since 1970]
    by: dict[str, Floats]
    unit: str
    flow_unit: str
    counted: bool = True


@dataclass(frozen=True)
class Window:
    """One reading: medians of a steady window; `scatter` is that of the drop [unit]."""

    start: int
    end: int
    count: int
    scatter: float
    inlet: float | None
    outlet: float | None
    drop: float | None
    flow: float | None
    field: float | None


@dataclass(frozen=True)
class Dip:
    """One flush as it seems: first second, dips of the inlet, the lowest, the drop around it."""

    start: int
    cycles: int
    lowest: float
    before: float
    after: float
    rows: int


@dataclass
class Seen:
    """What the records of one station gave; used + proposed + left out = all of them."""

    windows: list[Window] = field(default_factory=list)
    dips: list[Dip] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)
    used: int = 0
    proposed: int = 0
    resolution: float = 0.0


def examine(records: Records, every: int) -> Seen:
    """Readings and flushes in one station's records; `every` readings a day at most."""
    seen = Seen()
    order, dropped = _ordered(records.seconds)
    by = {role: values[order] for role, values in records.by.items()}
    seconds = records.seconds[order]
    inlet, drop = by.get("inlet"), _drop(by)
    level = inlet if inlet is not None else drop
    if level is None:
        level = next(iter(by.values()))
    empty = np.isnan(level) | (np.isnan(drop) if drop is not None else False)
    top = _stuck(level) & ~empty
    share = RUNNING if inlet is not None else RUNNING_DROP
    off = ~_running(np.where(top, np.nan, level), by.get("flow"), share) & ~empty & ~top
    good = ~(empty | top | off)
    seen.resolution = _resolution(level[good])
    interval = _interval(seconds)
    dips: list[Dip] = []
    in_dips: Bools = np.zeros(len(level), dtype=bool)
    if inlet is not None and drop is not None and 0 < interval <= 120:
        dips, in_dips = find_dips(seconds, inlet, drop, good, interval)
    # Around a flush the pressures are those of the flush; the drop falls within the window.
    steady = _steady(
        seconds, level, drop, by.get("flow"), good & ~in_dips, interval, seen.resolution
    )
    room = np.inf if drop is None or not good.any() else _room(level, drop, good, seen.resolution)
    taken = _windows(seconds, by, drop, steady, every, seen, room)
    seen.dips = dips
    seen.used, seen.proposed = int(taken.sum()), int((in_dips & ~taken).sum())
    rest = ~taken & ~in_dips
    seen.left_out = {
        **dropped, EMPTY: int((empty & rest).sum()), TOP: int((top & rest).sum()),
        OFF: int((off & rest).sum()), RESTLESS: int((good & ~steady & rest).sum()),
        SPARE: int((good & steady & rest).sum()),
    }  # fmt: skip
    if not records.counted:
        seen.used = seen.proposed = 0
        seen.left_out = {}
    return seen


def _drop(by: dict[str, Floats]) -> Floats | None:
    if "inlet" in by and "outlet" in by:
        return by["inlet"] - by["outlet"]
    return by.get("drop")


def _ordered(seconds: NDArray[np.int64]) -> tuple[NDArray[np.int64], dict[str, int]]:
    """The records in order of time, each time once; how many were dropped, and why.

    Where the clock is set back (the end of summer time) an hour stands twice, and nobody can
    tell which record is which: those of the second pass are dropped.
    """
    order = np.arange(len(seconds))
    steps = np.diff(seconds)
    back = float((steps < 0).mean()) if len(steps) else 0.0
    if back > 0.5:
        order = order[::-1]
    elif back > 0.01:
        order = np.argsort(seconds, kind="stable")
    ordered = seconds[order]
    highest = np.maximum.accumulate(ordered)
    before = np.concatenate(([-(2**62)], highest[:-1]))
    twice, set_back = ordered == before, ordered < before
    return order[~(twice | set_back)], {TWICE: int(twice.sum()), BACK: int(set_back.sum())}


def _stuck(level: Floats) -> Bools:
    """Records at the very highest value, many in a row and far above the usual."""
    known = level[~np.isnan(level)]
    if len(known) < 4 * STUCK:
        return np.zeros(len(level), dtype=bool)
    highest, usual = (
        float(known.max()),
        float(np.median(known[known > 0])) if (known > 0).any() else 0.0,
    )
    at_top: Bools = level == highest
    if highest < 1.5 * usual or int(at_top.sum()) < STUCK:
        return np.zeros(len(level), dtype=bool)
    return at_top


def _running(level: Floats, flow: Floats | None, share: float) -> Bools:
    """Where the pump runs: the inlet well above nothing, and water flowing where that is known."""
    positive = level[level > 0]
    usual = float(np.percentile(positive, 90)) if len(positive) else np.inf
    running: Bools = level > share * usual
    if flow is not None and (flow > 0).any():
        running &= np.isnan(flow) | (flow > 0.2 * float(np.median(flow[flow > 0])))
    return running


def _resolution(values: Floats) -> float:
    """The smallest step between different values, from a few thousand of them; 0 without any."""
    some = np.unique(np.round(values[:: max(1, len(values) // 20_000)], 9))
    steps = np.diff(some)
    steps = steps[steps > 1e-9]
    return float(steps.min()) if len(steps) else 0.0


def _noise(values: Floats) -> float:
    """Standard deviation of a record's noise, from the steps between neighbours."""
    if len(values) < 3:
        return 0.0
    return 1.4826 * float(np.median(np.abs(np.diff(values)))) / math.sqrt(2.0)


def _interval(seconds: NDArray[np.int64]) -> float:
    steps = np.diff(seconds)
    return float(np.median(steps)) if len(steps) else 0.0


def _range(values: Floats, width: int) -> Floats:
    """Highest minus lowest of each `width` records, at the last of them."""
    import pandas as pd

    rolled = pd.Series(values).rolling(width)
    return np.asarray(rolled.max() - rolled.min(), dtype=np.float64)


def _steady(
    seconds: NDArray[np.int64], level: Floats, drop: Floats | None, flow: Floats | None,
    good: Bools, interval: float, resolution: float,
) -> Bools:  # fmt: skip
    """Records inside a window that holds still: inlet, drop and flow, without a gap."""
    if interval <= 0 or not good.any():
        return np.zeros(len(level), dtype=bool)
    width = int(
        min(
            max(FEWEST, round(WINDOW / interval)),
            max(FEWEST, MOST_WINDOW if interval > 60 else 10**6),
        )
    )
    if interval >= 1800:
        width = 3
    if len(level) < width:
        return np.zeros(len(level), dtype=bool)
    usual = float(np.median(level[good]))
    least = max(STILL * usual, 3.0 * resolution, NOISE * _noise(level[good]))
    still = _range(np.where(good, level, np.nan), width) <= least
    if drop is not None:
        room = _room(level, drop, good, resolution)
        still &= _range(np.where(good, drop, np.nan), width) <= room
    if flow is not None and (flow[good] > 0).any():
        usual_flow = float(np.nanmedian(flow[good]))
        spread = _range(np.where(good, flow, np.nan), width)
        still &= np.isnan(spread) | (spread <= max(0.1 * usual_flow, 1e-9))
    span = np.full(len(level), np.inf)
    span[width - 1 :] = seconds[width - 1 :] - seconds[: len(seconds) - width + 1]
    still &= span <= 1.5 * interval * width
    # A window that ends here makes all of its records steady.
    marks = np.concatenate((still.astype(np.int64), np.zeros(width, dtype=np.int64)))
    sums = np.cumsum(marks)
    inside: Bools = (
        sums[width - 1 : width - 1 + len(level)] - np.concatenate(([0], sums[: len(level) - 1]))
    ) > 0
    return inside & good


def _room(level: Floats, drop: Floats, good: Bools, resolution: float) -> float:
    """Within what a drop holds still: a share of the usual one, or what scale and noise span."""
    usual_drop, usual = (float(np.median(np.abs(values[good]))) for values in (drop, level))
    noise = NOISE * _noise(drop[good])
    return max(STILL_DROP * usual_drop, 4.0 * resolution, 0.01 * usual, noise)


def _runs(mask: Bools) -> list[tuple[int, int]]:
    """First and one past the last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _windows(
    seconds: NDArray[np.int64], by: dict[str, Floats], drop: Floats | None, steady: Bools,
    every: int, seen: Seen, room: float,
) -> Bools:  # fmt: skip
    """The longest steady window of each period, and what came last; their records are taken."""
    taken = np.zeros(len(steady), dtype=bool)
    period = seconds // (DAY // max(1, every))
    # A window ends where its period does.
    breaks = np.concatenate(([True], np.diff(period) != 0))
    best: dict[int, tuple[int, int]] = {}
    for first, end in _runs(steady):
        cuts = [first, *(np.flatnonzero(breaks[first + 1 : end]) + first + 1).tolist(), end]
        for low, high in itertools.pairwise(cuts):
            key = int(period[low])
            if high - low >= 3 and (key not in best or high - low > best[key][1] - best[key][0]):
                best[key] = (low, high)
    found = list(best.values())
    if drop is not None and found:
        found[-1:] = _with_last(found[-1], drop, steady & (period == period[found[-1][0]]), room)
    for low, high in found:
        part = slice(low, high)
        taken[part] = True
        seen.windows.append(
            _window(
                seconds[part],
                {k: v[part] for k, v in by.items()},
                None if drop is None else drop[part],
            )
        )
    return taken


def _with_last(
    longest: tuple[int, int], drop: Floats, steady: Bools, room: float
) -> list[tuple[int, int]]:
    """The last period's window, and the stretch that the records end with, where the drop is higher
    there: the median of a whole day says nothing of a filter that clogged in its last hours."""
    low, end = _runs(steady)[-1]
    last = float(np.median(drop[max(low, end - FEWEST) : end]))
    away = np.flatnonzero(np.abs(drop[low:end] - last) > room)
    first = low + int(away[-1]) + 1 if len(away) else low
    start, stop = longest
    stop = min(stop, first)
    if end - first < FEWEST or stop - start < 3:
        return [longest]
    higher = np.median(drop[first:end]) > np.median(drop[start:stop]) + room
    return [(start, stop), (first, end)] if higher else [longest]


def _window(seconds: NDArray[np.int64], by: dict[str, Floats], drop: Floats | None) -> Window:
    def middle(values: Floats | None) -> float | None:
        if values is None or np.isnan(values).all():
            return None
        return float(np.nanmedian(values))

    spread = 0.0
    if drop is not None:
        spread = 1.4826 * float(np.nanmedian(np.abs(drop - np.nanmedian(drop))))
    return Window(
        int(seconds[0]), int(seconds[-1]), len(seconds), spread, middle(by.get("inlet")),
        middle(by.get("outlet")), middle(drop), middle(by.get("flow")), middle(by.get("field")),
    )  # fmt: skip


def find_dips(
    seconds: NDArray[np.int64], inlet: Floats, drop: Floats, good: Bools, interval: float
) -> tuple[list[Dip], Bools]:
    """Short dips of the inlet after which the drop is lower, gathered to flushes; their records."""
    import pandas as pd

    marked = np.zeros(len(inlet), dtype=bool)
    if not good.any():
        return [], marked
    width = int(max(5, 2 * LONGEST_DIP // interval) // 2 * 2 + 1)
    held = pd.Series(np.where(good, inlet, np.nan))
    usual = held.rolling(width, center=True, min_periods=3).median().to_numpy()
    low = (inlet < DIP * usual) & (inlet > 0.05 * usual)
    runs = [(a, b) for a, b in _runs(low) if seconds[b - 1] - seconds[a] <= LONGEST_DIP]
    dips: list[Dip] = []
    for group in _gathered(runs, seconds):
        dip = _one_dip(group, seconds, inlet, drop, good, interval)
        if dip is not None:
            dips.append(dip)
            for a, b in group:
                marked[a:b] = True
    return dips, marked


def _gathered(
    runs: list[tuple[int, int]], seconds: NDArray[np.int64]
) -> list[list[tuple[int, int]]]:
    groups: list[list[tuple[int, int]]] = []
    for run in runs:
        if groups and seconds[run[0]] - seconds[groups[-1][-1][1] - 1] <= APART:
            groups[-1].append(run)
        else:
            groups.append([run])
    return groups


def _one_dip(
    group: list[tuple[int, int]], seconds: NDArray[np.int64], inlet: Floats, drop: Floats,
    good: Bools, interval: float,
) -> Dip | None:  # fmt: skip
    """A flush, where the drop after the dips is lower than before them; else None."""
    width = int(max(5, 600 // interval))
    first, end = group[0][0], group[-1][1]
    guard = int(max(1, 60 // interval))
    low, high = max(0, first - guard - width), max(0, first - guard)
    before = drop[low:high][good[low:high]]
    after = drop[end + guard : end + guard + width][good[end + guard : end + guard + width]]
    if len(before) < 3 or len(after) < 3:
        return None
    was, now = float(np.median(before)), float(np.median(after))
    if not (was > 0 and now < FALL * was):
        return None
    lowest = min(float(np.nanmin(inlet[a:b])) for a, b in group)
    rows = sum(b - a for a, b in group)
    return Dip(int(seconds[first]), len(group), lowest, was, now, rows)
