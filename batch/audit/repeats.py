"""Readings that repeat more than the station's own gauge and spread can explain."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.audit.chance import FALSE_ALARMS, beta_binomial_at_least, stays_within
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.tracks import (
    ENOUGH_STEPS,
    Floats,
    Track,
    at,
    in_unit,
    joint_repeat_chance,
    longest_true,
    repeat_chance,
    spread,
)
from siltbook.checks.wording import rows_named
from siltbook.templates.book import Book

NEAR = 50  # neighbours of a block, the first on the register, that one gauge is held against
LEAST_RUN = 5  # equal readings of one column
LEAST_BLOCK = 3  # equal rows
ENOUGH = 12  # readings of a station
ROUND_STATIONS = 4
ROUNDS = 10
FARTHEST = 60  # rounds apart that two rounds are compared
COMMON_DAYS = 10
PAIR_RUN = 6  # consecutive common days on which two stations read the same
LONGEST_TRACK = 1_000  # readings of one station that are compared with each other
MOST_STATIONS = 200  # compared pair by pair


@dataclass(frozen=True)
class RowBlock:
    """Readings start..end (end left out) of a track, and where they stood before, if they did."""

    start: int
    end: int
    copy_of: int | None = None

    def __len__(self) -> int:
        return self.end - self.start


def runs_of_equal(values: Sequence[object]) -> list[RowBlock]:
    """The stretches of two or more equal neighbours."""
    found, start = [], 0
    for i in range(1, len(values) + 1):
        if i == len(values) or values[i] != values[start]:
            if i - start > 1:
                found.append(RowBlock(start, i))
            start = i
    return found


def copied_block(book: Book, every: Sequence[Track]) -> RuleResult:
    """Whole rows of a station repeated: neighbours filled down, or an earlier block again."""
    rule = RULES["copied-block"]
    asked = [t for t in every if len(t) >= ENOUGH]
    places: list[Place] = []
    lowest, told = 1.0, 0
    for track in asked:
        everything = np.ones(len(track), dtype=bool)
        chance = joint_repeat_chance(track, everything)
        told += chance < 1.0
        for stretch in _blocks(track):
            outside = everything.copy()
            outside[stretch.start : stretch.end] = False
            chance = joint_repeat_chance(track, outside)
            p = min(1.0, _block_chance(track, stretch, chance) * len(asked))
            lowest = min(lowest, p)
            if p <= FALSE_ALARMS:
                places.append(_block_place(book, track, stretch, p))
    if not told:
        return RuleResult(rule, State.CANNOT, "No station's readings spread enough to tell.")
    quiet = "No block of readings is repeated beyond what steady readings give."
    return looked(rule, places, quiet, p=lowest, many="blocks")


def _block_chance(track: Track, stretch: RowBlock, chance: float) -> float:
    """At most this likely somewhere in the track, if a reading repeats with this chance."""
    n, length = len(track), len(stretch)
    if stretch.copy_of is None:
        return n * chance ** (length - 1)
    return n * (n - 1) / 2 * chance**length


def _blocks(track: Track) -> list[RowBlock]:
    """Equal neighbours, and the longest block that stands again later without overlapping."""
    vectors = track.vectors()
    found = [s for s in runs_of_equal(vectors) if len(s) >= LEAST_BLOCK]
    again = _longest_again(vectors[-LONGEST_TRACK:])
    if again is not None and len(again) >= LEAST_BLOCK:
        skipped = max(0, len(vectors) - LONGEST_TRACK)
        first = (again.copy_of or 0) + skipped
        found.append(RowBlock(again.start + skipped, again.end + skipped, first))
    return found


def _longest_again(vectors: Sequence[tuple[float, ...]]) -> RowBlock | None:
    """The longest block that varies in itself and stands again, apart from itself."""
    numbers: dict[tuple[float, ...], int] = {}
    codes = np.array([numbers.setdefault(v, len(numbers)) for v in vectors])
    best: RowBlock | None = None
    for lag in range(1, len(codes)):
        same = codes[lag:] == codes[:-lag]
        if same.sum() < max(LEAST_BLOCK, len(best) + 1 if best else 0):
            continue
        for start, end in _true_stretches(same):
            end = min(end, start + lag)
            block = codes[start:end]
            if (best is None or end - start > len(best)) and len(set(block.tolist())) > 1:
                best = RowBlock(start + lag, end + lag, start)
    return best


def _true_stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2) if b - a >= LEAST_BLOCK]


def _block_place(book: Book, track: Track, stretch: RowBlock, p: float) -> Place:
    name = track.station.name
    rows = rows_named(track.rows[stretch.start : stretch.end])
    if stretch.copy_of is None:
        said = f"{name}: {len(stretch)} readings the same in every column, {rows}"
    else:
        first = stretch.copy_of
        before = rows_named(track.rows[first : first + len(stretch)])
        said = f"{name}: {rows} repeat {before}, {len(stretch)} readings in a row"
    return at(book, track.rows[stretch.start], said, name, p)


def stuck_gauge(book: Book, every: Sequence[Track]) -> RuleResult:
    """One pressure that stays on one value for longer than its spread allows."""
    rule = RULES["stuck-gauge"]
    places: list[Place] = []
    lowest, told, tests = 1.0, 0, 2 * len(every)
    blocks: dict[str, list[Track]] = {}
    seen: _Rerounded = {}
    for track in every:
        blocks.setdefault(track.station.block, []).append(track)
    for track in every:
        block = blocks[track.station.block] if track.station.block else []
        near = [t for t in block[: NEAR + 1] if t is not track][:NEAR]
        for side, values in (("inlet", track.inlet), ("outlet", track.outlet)):
            runs = runs_of_equal(np.round(values, 6).tolist())
            longest = max(runs, key=len, default=RowBlock(0, 1))
            if told and len(longest) < LEAST_RUN:
                continue  # too short to be a finding, and that this book can tell is known
            chance = _moving_chance(track, values, longest, near, seen)
            told += chance < 1.0
            if len(longest) < LEAST_RUN:
                continue
            p = min(1.0, len(track) * chance ** (len(longest) - 1) * tests)
            lowest = min(lowest, p)
            if p <= FALSE_ALARMS:
                places.append(_stuck_place(book, track, side, longest, p))
    if not told:
        return RuleResult(rule, State.CANNOT, "No gauge moves enough against its division to tell.")
    quiet = "Every gauge that can tell moves as its other readings, or its neighbours, do."
    return looked(rule, places, quiet, p=lowest, many="gauges")


# Neighbour, first and last day, division -> how often it would stay: stations of one block are
# mostly read on the same days, so that each neighbour is looked at once and not once for each.
_Rerounded = dict[tuple[str, int, int, float], float]


def _moving_chance(
    track: Track, values: Floats, longest: RowBlock, near: Sequence[Track], seen: _Rerounded
) -> float:
    """Bound of the chance that this pressure is read again as it was; 1 where nothing tells.

    `near` are neighbours of its block, by which one that never moves is judged.
    """
    outside = np.ones(len(track), dtype=bool)
    outside[longest.start : longest.end + 1] = False
    if (outside & ~track.worked)[1:].sum() >= ENOUGH_STEPS:
        return repeat_chance(track, values, track.division, outside)
    span = int(track.days[0]), int(track.days[-1])
    for one in near:
        key = (one.station.name, *span, track.division)
        if key not in seen:
            seen[key] = _rerounded(one, track)
    chances = [seen[one.station.name, *span, track.division] for one in near]
    known = [c for c in chances if c < 1.0]
    return max(known) if len(known) >= 2 else 1.0


def _rerounded(neighbour: Track, track: Track) -> float:
    """How often a neighbour's inlet would stay on one value of this station's division."""
    wide = np.abs(neighbour.days - track.days[0]) <= (track.days[-1] - track.days[0])
    values, division = neighbour.inlet[wide], track.division
    steps = np.diff(values)
    if len(steps) < ENOUGH_STEPS or not division > 0:
        return 1.0
    whole = np.diff(np.round(values / division))
    stayed = float((whole == 0).sum() + 1) / (len(whole) + 2)
    fine = neighbour.division if neighbour.division > 0 else division
    return max(stays_within(division, spread(values, fine)), stayed)


def _stuck_place(book: Book, track: Track, side: str, run: RowBlock, p: float) -> Place:
    values = track.inlet if side == "inlet" else track.outlet
    name, first, last = track.station.name, run.start, run.end - 1
    days = int(track.days[last] - track.days[first])
    said = f"{name}: {side} {in_unit(track.station, float(values[first]))} in {len(run)} readings"
    said += f" running ({days} days, rows {track.rows[first]} to {track.rows[last]})"
    cell = book.readings.cell(side, track.rows[first])
    return Place(book.readings.sheet, cell, said, name, p)


@dataclass(frozen=True)
class Rounds:
    """Days by stations: a number for everything that was read, equal where it is; -1 for none."""

    days: list[int]
    codes: NDArray[np.int64]


def rounds_of(every: Sequence[Track]) -> Rounds:
    """Each station's first routine reading of a day, on days with four stations or more."""
    seen: dict[tuple[float, ...], int] = {}
    days = np.unique(np.concatenate([t.days for t in every])) if every else np.array([], dtype=int)
    codes = np.full((len(days), len(every)), -1, dtype=np.int64)
    for number, track in enumerate(every):
        found = np.array([seen.setdefault(v, len(seen)) for v in track.vectors()])
        use = np.flatnonzero(track.routine)[::-1]  # the first of a day is written last
        codes[np.searchsorted(days, track.days[use]), number] = found[use]
    full = (codes >= 0).sum(axis=1) >= ROUND_STATIONS
    return Rounds(days[full].tolist(), codes[full])


def copied_round(book: Book, every: Sequence[Track]) -> RuleResult:
    """A day on which (nearly) all stations read what they read on an earlier day.

    Measured against how often stations repeat between rounds as far apart, and how much they
    do so together, as stations on one pump will.
    """
    rule = RULES["copied-round"]
    rounds = rounds_of(every)
    if len(rounds.days) < ROUNDS:
        return RuleResult(rule, State.CANNOT, "Too few rounds with four stations or more.")
    days, codes = rounds.days[-LONGEST_TRACK:], rounds.codes[-LONGEST_TRACK:]
    places: list[Place] = []
    lowest = 1.0
    far = min(len(days) - ROUNDS + 2, FARTHEST)
    pairs = {lag: _alike(codes, lag) for lag in range(1, far)}
    for lag, (equal, common) in pairs.items():
        # So many equal ones are of as many common ones at least.
        suspects = np.flatnonzero(equal >= np.maximum(ROUND_STATIONS, 0.8 * common))
        if not len(suspects):
            continue
        usual = _together(*_others(pairs, lag, suspects))
        for i in suspects:
            counts = (int(equal[i]), int(common[i]))
            p = beta_binomial_at_least(*counts, *usual)
            p = min(1.0, p * len(days) * (len(days) - 1) / 2)
            lowest = min(lowest, p)
            if p <= FALSE_ALARMS:
                places.append(_round_place(book, every, (days[i + lag], days[i]), counts, p))
    quiet = "No round repeats another beyond what steady stations give."
    return looked(rule, places, quiet, p=lowest, many="pairs of rounds")


def _alike(codes: NDArray[np.int64], lag: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """How many stations read the same on rounds `lag` apart, and how many were read on both."""
    both = (codes[lag:] >= 0) & (codes[:-lag] >= 0)
    return ((codes[lag:] == codes[:-lag]) & both).sum(axis=1), both.sum(axis=1)


def _others(
    pairs: Mapping[int, tuple[NDArray[np.int64], NDArray[np.int64]]],
    lag: int,
    suspects: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The pairs of rounds that say what is usual: as far apart, and nearly so.

    One suspect is held against all others as far apart. Of several, none may vouch for the rest,
    as rounds copied one after the other would; then the distances beside theirs, and twice
    theirs, speak as well: a habit that repeats shows there, too, a copy does not.
    """
    lags = [lag] if len(suspects) == 1 else [lag, lag - 1, lag + 1, 2 * lag]
    found = []
    for one in (n for n in lags if n in pairs):
        equal, common = pairs[one]
        known = common >= ROUND_STATIONS
        if one == lag:
            known[suspects] = False
        found.append((equal[known], common[known]))
    equal, common = (np.concatenate(side) for side in zip(*found, strict=True))
    return equal, common


def _together(equal: NDArray[np.int64], common: NDArray[np.int64]) -> tuple[float, float]:
    """Mean share that repeats and its correlation within a round, with a little kept in hand."""
    shares = equal / common if len(common) else np.array([0.5])
    size = float(common.mean()) if len(common) else float(ROUND_STATIONS)
    mean = (float(shares.sum()) + 0.5) / (len(shares) + 1)
    variance = float(shares.var(ddof=1)) if len(shares) > 1 else 0.25
    alone = mean * (1 - mean) / size
    rho = (variance - alone) / (mean * (1 - mean) - alone)
    return mean, min(max(rho, 0.02), 0.95)


def _round_place(
    book: Book,
    every: Sequence[Track],
    days: tuple[int, int],
    counts: tuple[int, int],
    p: float,
) -> Place:
    day, before = (book.settings.shown.day(dt.date.fromordinal(d)) for d in days)
    rows = [row for t in every for row, d in zip(t.rows, t.days, strict=True) if d == days[0]]
    said = f"Round of {day}: {counts[0]} of {counts[1]} stations read exactly as on {before}"
    return at(book, min(rows), said, "", p)


@dataclass(frozen=True)
class _Pair:
    """Two stations by number: on how many of their common days they agree, and running."""

    a: int
    b: int
    common: int
    equal: int
    longest: int

    @property
    def share(self) -> float:
        """The share of equal days (rule of succession)."""
        return (self.equal + 1) / (self.common + 2)


def same_series(book: Book, every: Sequence[Track]) -> RuleResult:
    """Two stations that read the same on many days running."""
    rule = RULES["same-series"]
    if len(every) < ROUND_STATIONS:
        return RuleResult(rule, State.CANNOT, "Too few stations to know what is common here.")
    pairs = sorted(_pairs(rounds_of(every[:MOST_STATIONS])), key=lambda p: -p.share)
    if not pairs:
        return RuleResult(rule, State.CANNOT, "No two stations have enough common days.")
    places: list[Place] = []
    lowest = 1.0
    for pair in sorted(pairs, key=lambda p: (p.a, p.b)):
        if pair.longest < PAIR_RUN:
            continue
        chance = _pair_chance(every, pair, pairs)
        p = min(1.0, pair.common * chance**pair.longest * len(pairs))
        lowest = min(lowest, p)
        if p <= FALSE_ALARMS:
            one, other = every[pair.a], every[pair.b]
            said = f"{other.station.name} reads as {one.station.name} on {pair.longest} common"
            said += f" days running ({pair.equal} of {pair.common} in all)"
            places.append(at(book, other.rows[0], said, other.station.name, p))
    quiet = "No two stations agree beyond what their gauges and spread give."
    return looked(rule, places, quiet, p=lowest, many="pairs of stations")


def _pairs(rounds: Rounds) -> Iterator[_Pair]:
    codes = rounds.codes
    for a in range(codes.shape[1]):
        for b in range(a + 1, codes.shape[1]):
            both = (codes[:, a] >= 0) & (codes[:, b] >= 0)
            if both.sum() >= COMMON_DAYS:
                same = codes[both, a] == codes[both, b]
                longest = longest_true(same) if same.sum() >= PAIR_RUN else 0
                yield _Pair(a, b, len(same), int(same.sum()), longest)


def _pair_chance(every: Sequence[Track], pair: _Pair, pairs: Sequence[_Pair]) -> float:
    """Bound of the chance that two stations agree on a day: their own spread, and other pairs.

    `pairs` come with the largest share of equal days first.
    """
    own = 1.0
    two = (every[pair.a], every[pair.b])
    one, other = (spread(t.drop, t.division, ~t.worked) for t in two)
    both = float(np.hypot(one, other))
    division = max(t.division for t in two)
    if both > 0 and division > 0:
        own = stays_within(division, both)
    seen = next((q.share for q in pairs if not {q.a, q.b} & {pair.a, pair.b}), 1.0)
    return max(own, seen)
