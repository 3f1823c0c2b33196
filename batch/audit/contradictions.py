"""Readings that contradict something else in the book: rest, neighbours, or the filter itself."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from siltbook.batch.audit.chance import FALSE_ALARMS, binomial_at_least
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.tracks import MAD_TO_SIGMA, Floats, Track, at, in_unit, longest_true
from siltbook.batch.model import Station
from siltbook.templates.book import Book

NEIGHBOURS = 3
COMMON_DAYS = 10
FAR = 4.0  # robust standard deviations
OWN = 0.5  # [m]; pipes and valves of a station's own move its inlet so much
LEAST_FAR = 3  # days, before a station is said to contradict its neighbours
SLIP = 0.02  # share of readings in which an honest hand swaps the two sides
STANDING = 1.0  # [m] of drop at no flow that is no reading slip
_REST = re.compile(
    r"\b(?:rest(?:s|ed|ing)?|out of service|not in service|shut (?:down|off))\b[^0-9]{0,20}"
    r"(\d{4}-\d{2}-\d{2})",
    re.IGNORECASE,
)


def resting(book: Book, every: Sequence[Track]) -> RuleResult:
    """A drop at no flow, and readings after a day from which a remark says the station rested."""
    rule = RULES["resting"]
    frame = book.stations.frame
    since: dict[str, dt.date | None] = {t.station.name: None for t in every}
    for name, remark in zip(frame["station"], frame["remark"], strict=True):
        since[name] = since.get(name) or _rests_since(remark)
    places = [p for t in every for p in _while_resting(book, t, since[t.station.name])]
    if places:
        return looked(rule, places, "", many="readings")
    metered = any(not np.isnan(t.flow).all() for t in every)
    if not metered and not any(since.values()):
        said = "The register knows only today's state; without flows or dated remarks no more."
        return RuleResult(rule, State.CANNOT, said)
    off = sum(not t.station.in_service for t in every)
    said = "No reading contradicts a flow of 0 or a dated remark."
    if off:
        said += f" {off} not in service today; since when, the register does not say."
    return RuleResult(rule, State.QUIET, said)


def _rests_since(remark: object) -> dt.date | None:
    """The day that a remark in the register gives for a station's rest."""
    found = _REST.search(remark) if isinstance(remark, str) else None
    try:
        return dt.date.fromisoformat(found[1]) if found else None
    except ValueError:
        return None


def _while_resting(book: Book, track: Track, since: dt.date | None) -> Iterator[Place]:
    name, shown = track.station.name, book.settings.shown
    slack = max(STANDING, 2 * track.division if track.division > 0 else 0.0)
    for i, row in enumerate(track.rows):
        day = dt.date.fromordinal(int(track.days[i]))
        drop, on = float(track.drop[i]), shown.day(day)
        if track.flow[i] == 0 and drop > slack:
            said = f"{name}, {on}: a drop of {shown.drop(drop)} at a flow of 0"
            yield at(book, row, said, name)
        elif since is not None and day > since and not track.station.in_service:
            said = f"{name}, {on}: read, though resting since {shown.day(since)}"
            yield at(book, row, said, name)


def neighbours(book: Book, every: Sequence[Track]) -> RuleResult:
    """Inlets of one block on one day should move together, up to each station's own offset."""
    rule = RULES["neighbours"]
    blocks: dict[str, list[Track]] = {}
    for track in every:
        if track.station.block:
            blocks.setdefault(track.station.block, []).append(track)
    found = [r for own in blocks.values() if len(own) > NEIGHBOURS for r in _apart(own)]
    if not found:
        return RuleResult(rule, State.CANNOT, "No block has four stations and ten common days.")
    places: list[Place] = []
    lowest = 1.0
    for track, far, of, rate, row in found:
        p = min(1.0, binomial_at_least(far, of, rate) * len(found))
        if far >= LEAST_FAR:
            lowest = min(lowest, p)
        if far >= LEAST_FAR and p <= FALSE_ALARMS:
            name = track.station.name
            said = f"{name}: inlet far from its neighbours' on {far} of {of} common days"
            places.append(at(book, row, said, name, p))
    quiet = "Inlets of one block move together."
    return looked(rule, places, quiet, p=lowest, many="stations")


_Apart = tuple[Track, int, int, float, int]  # track, days far off, days, others' rate, first row


def _apart(block: list[Track]) -> list[_Apart]:
    block = [t for t in block if t.routine.sum() >= COMMON_DAYS]
    if len(block) <= NEIGHBOURS:
        return []
    table, days = _table(block)
    filled = ~np.isnan(table)
    shared = filled.sum(axis=1) > NEIGHBOURS
    if shared.sum() < COMMON_DAYS:
        return []
    table, days = table[shared], days[shared]
    often = (~np.isnan(table)).sum(axis=0) >= COMMON_DAYS
    if not often.all():  # a station that is hardly ever there with the others says nothing
        return _apart([t for t, here in zip(block, often, strict=True) if here])
    residual = _residuals(table)
    far = np.zeros(table.shape, dtype=bool)
    for i, track in enumerate(block):
        others = np.delete(residual, i, axis=1)
        sigma = MAD_TO_SIGMA * float(np.nanmedian(np.abs(others)))
        steps = [t.division for t in block if t is not track and t.division > 0]
        fine = max(float(np.median(steps)) if steps else 0.0, np.nan_to_num(track.division))
        least = max(FAR * sigma, 2 * fine, OWN)
        far[:, i] = np.abs(np.nan_to_num(residual[:, i])) > least
    found = []
    for i, track in enumerate(block):
        own = ~np.isnan(table[:, i])
        rest = np.delete(far, i, axis=1)
        rate = (float(rest.sum()) + 1) / (float((~np.isnan(np.delete(table, i, axis=1))).sum()) + 2)
        hit = np.flatnonzero(far[:, i])
        row = track.rows[0]
        if len(hit):
            row = track.rows[int(np.searchsorted(track.days, days[hit[0]]))]
        if own.sum() >= COMMON_DAYS:
            found.append((track, len(hit), int(own.sum()), max(rate, 0.01), row))
    return found


def _table(block: list[Track]) -> tuple[Floats, NDArray[np.int64]]:
    """Days by stations: each station's first routine inlet of the day [m]."""
    days = np.unique(np.concatenate([t.days for t in block]))
    table = np.full((len(days), len(block)), np.nan)
    for i, track in enumerate(block):
        use = np.flatnonzero(track.routine)[::-1]  # the first of a day is written last
        table[np.searchsorted(days, track.days[use]), i] = track.inlet[use]
    return table, days


def _residuals(table: Floats) -> Floats:
    """What is left of each inlet after the neighbours' middle and the station's own offset [m]."""
    residual = np.full(table.shape, np.nan)
    level = table - np.nanmedian(table, axis=0)
    for i in range(table.shape[1]):
        residual[:, i] = level[:, i] - np.nanmedian(np.delete(level, i, axis=1), axis=1)
    out: Floats = residual - np.nanmedian(residual, axis=0)
    return out


def swapped(book: Book, every: Sequence[Track]) -> RuleResult:
    """Outlet above inlet, by more than the gauges can err, more often than a hand slips."""
    rule = RULES["swapped"]
    places: list[Place] = []
    lowest = 1.0
    for track in every:
        wrong = -track.drop > _surely(track)
        count, n = int(wrong.sum()), len(track)
        if not count:
            continue
        p = min(binomial_at_least(count, n, SLIP), n * SLIP ** longest_true(wrong))
        p = min(1.0, p * len(every))
        lowest = min(lowest, p)
        if p <= FALSE_ALARMS:
            name, first = track.station.name, int(np.flatnonzero(wrong)[0])
            pair = (float(track.inlet[first]), float(track.outlet[first]))
            shown = " and ".join(in_unit(track.station, v) for v in pair)
            said = f"{name}: outlet above inlet in {count} of {n} readings (first: {shown})"
            places.append(at(book, track.rows[first], said, name, p))
    return looked(rule, places, "No station has them the wrong way round for long.", p=lowest,
                  many="stations")  # fmt: skip


def _surely(track: Track) -> float:
    """By how much an outlet can read above its inlet [m] at most: both gauges at their limit."""
    stations = [track.station.on(gauge.since) for gauge in track.station.changed]
    return max(_surely_on(station, track) for station in (track.station, *stations))


def _surely_on(station: Station, track: Track) -> float:
    division = max(station.division or 0.0, track.division)
    read = division if division > 0 else 0.0
    if station.gauges == "one gauge":
        return read + 1e-6
    if station.gauge_class is None or station.full_scale is None:
        return max(1.0, read)
    return 2 * station.gauge_class * station.full_scale / 100 + read
