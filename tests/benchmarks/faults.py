"""Faults that are planted into honest seasons, each in three strengths: a word for each, and how.

A fault changes the rows of one season (`tests.benchmarks.audit.Rows`) and returns the stations
that it touched; empty where it does not fit this season, which counts as not found.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from siltbook.templates.units import metres_per
from tests.benchmarks.audit import Rows, copy_typed
from tests.checks.builders import Row

ONE, OTHER = "S01", "S02"
ALL = 10_000  # readings: all that there are
Plant = Callable[[Rows, int], Sequence[str]]


@dataclass(frozen=True)
class Fault:
    """`weak`, `medium` and `strong` are what `plant` is told; `unit` says of what."""

    words: str
    unit: str
    strengths: tuple[int, int, int]
    plant: Plant


def _middle(rows: Rows, count: int, station: str = ONE) -> list[Row]:
    """So many routine readings from the middle of a station's season; all where there are fewer."""
    own = rows.of(station)
    start = max((len(own) - count) // 2, 0)
    return own[start : start + count]


def _each(change: Callable[[Row], None]) -> Plant:
    """A fault that changes readings one by one."""

    def plant(rows: Rows, count: int) -> Sequence[str]:
        for row in _middle(rows, count):
            change(row)
        return (ONE,)

    return plant


def _frozen(*keys: str) -> Plant:
    """Columns stay on the first value."""

    def plant(rows: Rows, count: int) -> Sequence[str]:
        first, *later = _middle(rows, count)
        for row in later:
            row.update({key: first.get(key) for key in keys})
        return (ONE,)

    return plant


def _rounded(*keys: str) -> Plant:
    """Columns in steps of so many hundredths of a bar."""

    def plant(rows: Rows, hundredths: int) -> Sequence[str]:
        step = hundredths / 100
        for row in rows.of(ONE):
            row.update({key: round(round(row[key] / step) * step, 3) for key in keys})
        return (ONE,)

    return plant


def _factor(factor: float) -> Callable[[Row], None]:
    """Both pressures times a factor, as a number of another unit is written."""

    def change(row: Row) -> None:
        row.update({key: round(row[key] * factor, 2) for key in ("inlet", "outlet")})

    return change


def _swap(row: Row) -> None:
    row["inlet"], row["outlet"] = row["outlet"], row["inlet"]


def _turned(row: Row) -> None:
    """The first two digits of the outlet exchanged: 2.3 for 3.2."""
    tenths = round(row["outlet"] * 10)
    row["outlet"] = (tenths % 10 * 10 + tenths // 10) / 10


def _higher(row: Row) -> None:
    row["inlet"] = round(row["inlet"] + 0.5, 3)
    row["outlet"] = round(row["outlet"] + 0.5, 3)


def _at_rest(row: Row) -> None:
    row["flow"] = 0.0


def _rounds(rows: Rows, count: int) -> Sequence[str]:
    days = sorted({r["date"] for r in rows.readings})
    start = max(len(days) // 2 - count, 0)
    for one, two in zip(days[start:], days[start + count : start + 2 * count], strict=False):
        old = {r["station"]: r for r in rows.readings if r["date"] == one}
        for row in rows.readings:
            if row["date"] == two and row["station"] in old:
                copy_typed(old[row["station"]], row)
    return [s["station"] for s in rows.stations]


def _block(rows: Rows, count: int) -> Sequence[str]:
    own = rows.of(ONE)
    count = min(count, len(own) // 2)
    for old, new in zip(own[:count], own[-count:], strict=True):
        copy_typed(old, new)
    return (ONE,)


def _of_another(rows: Rows, count: int, shift: float = 0.0) -> Sequence[str]:
    old = {r["date"]: r for r in rows.of(ONE)}
    for row in [r for r in rows.of(OTHER) if r["date"] in old][:count]:
        copy_typed(old[row["date"]], row)
        row["inlet"], row["outlet"] = (round(row[k] + shift, 3) for k in ("inlet", "outlet"))
    return (ONE, OTHER)


def _of_another_shifted(rows: Rows, count: int) -> Sequence[str]:
    return _of_another(rows, count, 0.2)


def _staircase(rows: Rows, count: int) -> Sequence[str]:
    """An outlet that falls by one step of the gauge at each visit, as somebody invents it."""
    division = float(rows.stations[0]["division"])
    first, *later = _middle(rows, count)
    for n, row in enumerate(later, start=1):
        row["inlet"] = first["inlet"]
        row["outlet"] = round(first["outlet"] - n * division, 3)
    return (ONE,)


def _guessed(rows: Rows, count: int) -> Sequence[str]:
    """Pressures about their own middle, one step up or down, as somebody invents them."""
    rng = np.random.default_rng(5)
    division = float(rows.stations[0]["division"])
    own = rows.of(ONE)
    middles = {k: float(np.median([r[k] for r in own])) for k in ("inlet", "outlet")}
    for row in _middle(rows, count):
        for key, middle in middles.items():
            steps = round(middle / division) + int(rng.integers(-1, 2))
            row[key] = round(steps * division, 3)
    return (ONE,)


def _entered_last(rows: Rows, count: int) -> Sequence[str]:
    for row in rows.of(ONE)[1 : 1 + count]:
        rows.readings.remove(row)
        rows.readings.append(row)
    return (ONE,)


def _entered_first(rows: Rows, count: int) -> Sequence[str]:
    for row in rows.of(ONE)[-count:]:
        rows.readings.remove(row)
        rows.readings.insert(0, row)
    return (ONE,)


def _same_minute(rows: Rows, count: int) -> Sequence[str]:
    """Every station of a round at one minute; nothing where nobody wrote times."""
    days = sorted({r["date"] for r in rows.readings})[2 : 2 + count]
    timed = [r for r in rows.readings if r["date"] in days and r.get("time") is not None]
    for row in timed:
        row["time"] = dt.time(7, 0)
    return sorted({r["station"] for r in timed})


def _weeks_missing(rows: Rows, weeks: int) -> Sequence[str]:
    middle = rows.of(ONE)[len(rows.of(ONE)) // 2]["date"]
    gap = (middle, middle + dt.timedelta(weeks=weeks))
    rows.readings[:] = [
        r for r in rows.readings if r["station"] != ONE or not gap[0] <= r["date"] < gap[1]
    ]
    return (ONE,)


def _week_again(rows: Rows, weeks: int) -> Sequence[str]:
    """Weeks of every station stand again, as new rows of the weeks after."""
    middle = sorted(r["date"] for r in rows.readings)[len(rows.readings) // 2]
    days = dt.timedelta(weeks=weeks)
    old = [r for r in rows.readings if middle <= r["date"] < middle + days]
    kept = [r for r in rows.readings if not middle + days <= r["date"] < middle + 2 * days]
    rows.readings[:] = [*kept, *({**r, "date": r["date"] + days} for r in old)]
    return [s["station"] for s in rows.stations]


def _twice(rows: Rows, count: int) -> Sequence[str]:
    """Rows that stand twice."""
    rows.readings += [dict(row) for row in _middle(rows, count)]
    return (ONE,)


def _dates_later(rows: Rows, days: int) -> Sequence[str]:
    """The station's work is dated so many days late."""
    names = {w["station"] for w in rows.work}
    for work in rows.work:
        work["date"] += dt.timedelta(days=days)
    return sorted(names)


def _without(kind: str) -> Plant:
    """So many entries of a kind of work taken out."""

    def plant(rows: Rows, count: int) -> Sequence[str]:
        gone = [w for w in rows.work if w["work"] == kind][:count]
        rows.work[:] = [w for w in rows.work if not any(w is g for g in gone)]
        return sorted({w["station"] for w in gone})

    return plant


def _worst_gone(rows: Rows, count: int) -> Sequence[str]:
    """The readings over the limit taken out, with the work that answered them."""
    limit = 5.0 / metres_per("bar")
    over = [r for r in rows.readings if r["inlet"] - r["outlet"] > limit][:count]
    days = {(r["station"], r["date"]) for r in over}
    for table in (rows.readings, rows.work):
        table[:] = [r for r in table if (r["station"], r["date"]) not in days]
    return sorted({name for name, _ in days})


def _before_its_flush(rows: Rows, count: int) -> Sequence[str]:
    """Readings after a flush are dated some days before it."""
    after = [r for r in rows.readings if r["occasion"] == "after flush"][:count]
    for row in after:
        row["date"] -= dt.timedelta(days=4)
    return sorted({r["station"] for r in after})


def _unread(rows: Rows, count: int) -> Sequence[str]:
    """Readings after work taken out."""
    after = [r for r in rows.readings if r["occasion"] != "routine"][:count]
    rows.readings[:] = [r for r in rows.readings if not any(r is a for a in after)]
    return sorted({r["station"] for r in after})


def _unseen_signs(rows: Rows, count: int) -> Sequence[str]:
    """Flushes without click and water, on which nothing followed."""
    flushes = [w for w in rows.work if w["work"] == "flush"][:count]
    for work in flushes:
        work |= {"click": None, "water": None}
    return sorted({w["station"] for w in flushes})


READINGS = "readings"
FAULTS = (
    Fault("a round is the one before it", "rounds", (1, 2, 4), _rounds),
    Fault("a station's readings stand again later", READINGS, (3, 6, 10), _block),
    Fault("rows filled down", READINGS, (3, 6, 10), _frozen("inlet", "outlet", "flow")),
    Fault("pressures filled down, flows read", READINGS, (3, 6, 10), _frozen("inlet", "outlet")),
    Fault("inlet stuck", READINGS, (5, 8, 12), _frozen("inlet")),
    Fault("outlet stuck", READINGS, (5, 8, 12), _frozen("outlet")),
    Fault("a station read off another's sheet", READINGS, (6, 12, ALL), _of_another),
    Fault("the same, 0.2 bar added", READINGS, (6, 12, ALL), _of_another_shifted),
    Fault("an invented staircase", READINGS, (5, 8, 12), _staircase),
    Fault("pressures invented about the middle", READINGS, (6, 12, ALL), _guessed),
    Fault("outlet rounded", "hundredths of a bar", (10, 20, 50), _rounded("outlet")),
    Fault("both sides rounded", "hundredths of a bar", (10, 50, 100), _rounded("inlet", "outlet")),
    Fault("sides swapped", READINGS, (2, 6, 12), _each(_swap)),
    Fault("psi under bar", READINGS, (1, 3, 8), _each(_factor(14.5038))),
    Fault("kPa under bar", READINGS, (1, 3, 8), _each(_factor(100.0))),
    Fault("kgf/cm2 under bar", READINGS, (3, 8, ALL), _each(_factor(1.01972))),
    Fault("decimal mark slipped", READINGS, (1, 3, 8), _each(_factor(10.0))),
    Fault("two digits exchanged", READINGS, (1, 3, 6), _each(_turned)),
    Fault("both sides 0.5 bar too high", READINGS, (3, 6, 12), _each(_higher)),
    Fault("readings at a flow of 0", READINGS, (1, 3, 8), _each(_at_rest)),
    Fault("readings entered at the end", READINGS, (1, 3, 6), _entered_last),
    Fault("later readings entered first", READINGS, (1, 3, 6), _entered_first),
    Fault("whole rounds at one minute", "rounds", (1, 3, 8), _same_minute),
    Fault("a station not visited", "weeks", (3, 5, 8), _weeks_missing),
    Fault("weeks of the farm entered again", "weeks", (1, 2, 3), _week_again),
    Fault("rows that stand twice", READINGS, (1, 3, 8), _twice),
    Fault("all work dated late", "days", (1, 3, 7), _dates_later),
    Fault("flushes taken out", "flushes", (1, 2, ALL), _without("flush")),
    Fault("hand cleanings taken out", "cleanings", (1, 2, ALL), _without("hand cleaning")),
    Fault("readings over the limit taken out", READINGS, (1, 2, ALL), _worst_gone),
    Fault("readings dated before their flush", READINGS, (1, 2, 4), _before_its_flush),
    Fault("readings after work taken out", READINGS, (1, 2, 4), _unread),
    Fault("flushes without signs, and nothing done", "flushes", (1, 2, ALL), _unseen_signs),
)  # fmt: skip
