"""False alarms of the audit's rules on honest seasons, invented.

`python -m tests.benchmarks.audit` simulates 200 farms that nobody bent and counts, rule by rule,
on how many the audit found something to look at; then it plants one fault at a time in each of
them and counts how many are found. It prints the tables that stand in docs/audit.md.

What the farms have: one to four pumps (blocks) of unlike steadiness, some held by a regulator;
gauges read to 0.01 to 0.2 bar, one with a selector or two with offsets of their own; stations
that hardly foul beside some that foul in two weeks; weekly visits or two to seven a week; missed
and shifted visits; times to the minute, to five minutes, one for the round, or none; flows or
none; slips of one paper entered a visit late; single swapped readings; hot spells in which a
pump works harder.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.tracks import tracks
from siltbook.batch.audit.trust import trust
from siltbook.batch.numbers.history import histories
from siltbook.templates.book import Book
from tests.checks.builders import Row, book

START = dt.date(2026, 3, 2)
BAR = 10.19716  # [m]
SEASONS = 200


@dataclass(frozen=True)
class Pump:
    """One pump: its usual pressure [bar] and how it moves."""

    level: float
    daily: float  # [bar], from day to day
    slow: float  # [bar] over the season
    hot: float  # [bar], lost in a hot spell


@dataclass(frozen=True)
class Habits:
    """How the farm's people read and write."""

    every: int  # days between visits
    missed: float
    shifted: float
    clock: str  # 'minute', 'five', 'round' or 'none'
    flows: bool
    late: float  # share of rounds entered one or two rounds later
    slip: float  # share of readings with the sides swapped


def _habits(rng: np.random.Generator) -> Habits:
    return Habits(
        every=int(rng.choice([7, 7, 7, 4, 2, 1])),
        missed=float(rng.uniform(0.0, 0.08)),
        shifted=float(rng.uniform(0.0, 0.15)),
        clock=str(rng.choice(["minute", "five", "five", "round", "none"])),
        flows=bool(rng.random() < 0.5),
        late=float(rng.choice([0.0, 0.02, 0.05])),
        slip=float(rng.choice([0.0, 0.002, 0.005])),
    )


def _pump(rng: np.random.Generator) -> Pump:
    steady = rng.random() < 0.3
    daily = rng.uniform(0.0, 0.02) if steady else rng.uniform(0.03, 0.15)
    return Pump(
        float(rng.choice([2.5, 2.8, 3.0, 3.2, 3.5, 4.0]) + rng.normal(0, 0.05)),
        float(daily),
        float(rng.uniform(0.0, 0.05 if steady else 0.3)),
        float(0.0 if steady else rng.uniform(0.0, 0.3)),
    )


def _station(name: str, block: str, rng: np.random.Generator) -> dict[str, Any]:
    division = float(rng.choice([0.01, 0.02, 0.02, 0.05, 0.05, 0.1, 0.1, 0.2]))
    return {
        "station": name, "block": block, "reference_flow": float(round(rng.uniform(15, 60), 1)),
        "clean_drop": round(float(rng.uniform(0.8, 2.0)), 1),
        "gauges": str(rng.choice(["one gauge", "two gauges"])), "full_scale": 6.0,
        "gauge_class": 1.6, "division": division, "in_service": "yes",
    }  # fmt: skip


def _days(habits: Habits, days: int, rng: np.random.Generator) -> list[int]:
    planned = range(0, days, habits.every)
    found = []
    for day in planned:
        if rng.random() < habits.missed:
            continue
        shift = int(rng.integers(-1, 2)) if rng.random() < habits.shifted else 0
        found.append(max(day + shift, 0))
    return sorted(set(found))


class Keeper:
    """One station's filter and the person who reads and works at it."""

    def __init__(self, row: dict[str, Any], habits: Habits, rng: np.random.Generator):
        self.row, self.habits, self.rng = row, habits, rng
        steady = rng.random() < 0.25
        self.pace = float(rng.uniform(400, 2000) if steady else rng.uniform(14, 90))  # [days]
        self.wobble = float(rng.uniform(0.0, 0.015))  # [bar] of a station's own inlet
        self.offsets = (rng.uniform(-0.08, 0.08, 2) if row["gauges"] == "two gauges"
                        else np.repeat(rng.uniform(-0.08, 0.08), 2))  # fmt: skip
        self.height = float(rng.uniform(-0.2, 0.2))
        self.dirt, self.last = 0.0, 0
        self.readings: list[Row] = []
        self.work: list[Row] = []

    def seen(self, value: float) -> float:
        """A pressure [bar] as read."""
        division = float(self.row["division"])
        return round(round(value / division) * division, 6)

    def read(self, day: int, time: dt.time | None, pump: float, occasion: str) -> float:
        """Log a reading; the drop as read [m]."""
        flow = self.row["reference_flow"] * (max(pump, 0.5) / 3.0) ** 0.5
        flow *= float(self.rng.normal(1.0, 0.015))
        share = (flow / self.row["reference_flow"]) ** 2
        drop = (self.row["clean_drop"] + self.dirt) * share / BAR
        inlet = pump + self.height + float(self.rng.normal(0, self.wobble))
        pair = (self.seen(inlet + self.offsets[0]), self.seen(inlet - drop + self.offsets[1]))
        if self.rng.random() < self.habits.slip:
            pair = pair[::-1]
        row = {
            "station": self.row["station"], "date": START + dt.timedelta(days=day), "time": time,
            "inlet": pair[0], "outlet": pair[1], "occasion": occasion,
        }  # fmt: skip
        if self.habits.flows:
            row["flow"] = round(flow, 1)
        self.readings.append(row)
        return (pair[0] - pair[1]) * BAR

    def visit(self, day: int, time: dt.time | None, pump: float) -> None:
        """Foul since the last visit, read, and do what the drop asks for."""
        grown = float(self.rng.gamma(8.0, max(day - self.last, 0) / self.pace * 4.0 / 8.0))
        self.dirt, self.last = self.dirt + grown, day
        if self.read(day, time, pump, "routine") <= 5.0:
            return
        held = self.seen(max(pump - 0.1, 2.2))
        self.log(day, _later(time, 10), "flush", cycles=3, click="yes", water="yes",
                 flush_inlet=held)  # fmt: skip
        self.dirt *= float(self.rng.uniform(0.0, 0.9))
        if self.read(day, _later(time, 20), pump, "after flush") > 5.0:
            self.log(day, _later(time, 40), "hand cleaning", gauge_zero="yes")
            self.dirt = 0.0
            self.read(day, _later(time, 60), pump, "after cleaning")

    def log(self, day: int, time: dt.time | None, work: str, **cells: Any) -> None:
        """Log a piece of work."""
        date = START + dt.timedelta(days=day)
        self.work.append({"station": self.row["station"], "date": date, "time": time, "work": work,
                          **cells})  # fmt: skip


def _later(time: dt.time | None, minutes: int) -> dt.time | None:
    if time is None:
        return None
    return (dt.datetime.combine(START, time) + dt.timedelta(minutes=minutes)).time()


def clocks_of(habits: Habits, stations: int, rng: np.random.Generator) -> list[dt.time | None]:
    if habits.clock == "none":
        return [None] * stations
    minutes = 7 * 60 + float(rng.uniform(0, 60)) + np.cumsum(rng.uniform(3, 14, stations))
    if habits.clock == "round":
        minutes = np.full(stations, np.floor(minutes[0] / 30) * 30)
    if habits.clock == "five":
        minutes = np.round(minutes / 5) * 5
    return [dt.time(int(m) // 60 % 24, int(m) % 60) for m in minutes]


def pressures(pump: Pump, days: int, rng: np.random.Generator) -> Any:
    slow = pump.slow * np.sin(np.arange(days) / days * np.pi + rng.uniform(0, 2))
    noise = np.zeros(days)
    for day in range(1, days):
        noise[day] = 0.5 * noise[day - 1] + rng.normal(0, pump.daily)
    begin = int(rng.integers(0, max(days - 30, 1)))
    noise[begin : begin + 30] -= pump.hot
    return np.maximum(pump.level + slow + noise, 1.2)


@dataclass
class Rows:
    """One season as rows of a book; plants change them."""

    stations: list[Row]
    readings: list[Row]
    work: list[Row]
    interval: float

    def book(self) -> Book:
        """The season as the reader would hand it over."""
        return book(self.readings, stations=self.stations, work=self.work, interval=self.interval)

    def of(self, station: str) -> list[Row]:
        """One station's routine readings by day."""
        own = [r for r in self.readings if r["station"] == station and r["occasion"] == "routine"]
        return sorted(own, key=lambda r: r["date"])


def season(
    seed: int,
    *,
    division: float | None = None,
    weeks: int | None = None,
    stations: int = 0,
    slips: bool = True,
) -> Rows:
    """One honest season; the same for the same seed.

    `division` [bar] of every gauge, `weeks` and the number of `stations` are drawn where not given.
    Without `slips` nobody exchanges inlet and outlet; all else is the same.
    """
    rng = np.random.default_rng([20260302, seed])
    habits = _habits(rng) if slips else replace(_habits(rng), slip=0.0)
    days = int(rng.integers(120, 200)) if weeks is None else 7 * weeks
    blocks = [f"Block {n + 1}" for n in range(int(rng.integers(1, 5)))]
    pumps = {name: pressures(_pump(rng), days + 2, rng) for name in blocks}
    count = stations or int(rng.integers(3, 16))
    rows = [_station(f"S{n + 1:02d}", str(rng.choice(blocks)), rng) for n in range(count)]
    for row in rows:
        row["division"] = division or row["division"]
    keepers = [Keeper(row, habits, rng) for row in rows]
    rounds: list[list[Row]] = []
    for day in _days(habits, days, rng):
        clocks = clocks_of(habits, count, rng)
        before = [len(k.readings) for k in keepers]
        for keeper, clock in zip(keepers, clocks, strict=True):
            if rng.random() >= 0.02:
                keeper.visit(day, clock, float(pumps[keeper.row["block"]][day]))
        rounds.append([r for k, n in zip(keepers, before, strict=True) for r in k.readings[n:]])
    # A slip of paper may be found one or two rounds later.
    late = rng.random(len(rounds)) < habits.late
    place = np.arange(len(rounds)) + late * (rng.integers(1, 3, len(rounds)) + 0.5)
    readings = [row for i in np.argsort(place, kind="stable") for row in rounds[int(i)]]
    work = sorted((r for k in keepers for r in k.work), key=lambda r: r["date"])
    return Rows(rows, readings, work, float(habits.every))


_TYPED = ("inlet", "outlet", "flow")


def copy_typed(old: Row, new: Row) -> None:
    """What is read off a gauge, from one row into another."""
    new.update({key: old.get(key) for key in _TYPED})


def plant_round(rows: Rows) -> None:
    """A round in the middle of the season is the one before it."""
    days = sorted({r["date"] for r in rows.readings})
    one, two = days[len(days) // 2 - 1], days[len(days) // 2]
    old = {r["station"]: r for r in rows.readings if r["date"] == one}
    for row in rows.readings:
        if row["date"] == two and row["station"] in old:
            copy_typed(old[row["station"]], row)


def plant_block(rows: Rows) -> None:
    """The first station's readings of six visits stand again later."""
    own = rows.of("S01")
    half = len(own) // 2
    for old, new in zip(own[2:8], own[half : half + 6], strict=True):
        copy_typed(old, new)


def plant_stuck(rows: Rows) -> None:
    """The first station's inlet stays where it was for the second half of the season."""
    own = rows.of("S01")
    for row in own[len(own) // 2 :]:
        row["inlet"] = own[len(own) // 2]["inlet"]


def plant_swapped(rows: Rows) -> None:
    """Six visits of the first station have inlet and outlet the wrong way round."""
    for row in rows.of("S01")[4:10]:
        row["inlet"], row["outlet"] = row["outlet"], row["inlet"]


def plant_back_dated(rows: Rows) -> None:
    """The first station's second visit is entered at the end."""
    row = rows.of("S01")[1]
    rows.readings.remove(row)
    rows.readings.append(row)


def plant_round_digits(rows: Rows) -> None:
    """The first station's outlets are read to 0.1 bar on whatever division it has."""
    for row in rows.readings:
        if row["station"] == "S01":
            row["outlet"] = round(row["outlet"], 1)


def plant_same_series(rows: Rows) -> None:
    """The second station has the first one's readings."""
    old = {r["date"]: r for r in rows.of("S01")}
    for row in rows.of("S02"):
        if row["date"] in old:
            copy_typed(old[row["date"]], row)


PLANTS: dict[str, Callable[[Rows], None]] = {
    "copied-round": plant_round,
    "copied-block": plant_block,
    "stuck-gauge": plant_stuck,
    "swapped": plant_swapped,
    "back-dated": plant_back_dated,
    "round-digits": plant_round_digits,
    "same-series": plant_same_series,
}


def found(code: str, seeds: range) -> Counter[State]:
    """In how many seasons the planted fault ended in each state of its rule."""
    counts: Counter[State] = Counter()
    for seed in seeds:
        rows = season(seed)
        PLANTS[code](rows)
        counts[next(r.state for r in audited(rows) if r.rule.code == code)] += 1
    return counts


def audited(rows: Rows) -> list[RuleResult]:
    """The rules on the data of one season, as of its latest entry."""
    one = rows.book()
    as_of = max(one.readings.frame["date"])
    found = histories(one, as_of)
    return trust(one, found, tracks(one, found), as_of)


def alarms(seeds: range, *, aloud: bool = False) -> dict[str, Counter[State]]:
    """Rule -> how many seasons ended in each state; `aloud` says each alarm."""
    counts: dict[str, Counter[State]] = {}
    for seed in seeds:
        for result in audited(season(seed)):
            counts.setdefault(result.rule.code, Counter())[result.state] += 1
            if aloud and result.state is State.LOOK:
                print(seed, result.rule.code, result.said, result.p, file=sys.stderr)
    return counts


def main() -> None:
    """Print the table."""
    print("| rule | something to look at | quiet | cannot tell |")
    print("|---|---|---|---|")
    for code, counts in alarms(range(SEASONS), aloud=True).items():
        shares = [counts[s] for s in (State.LOOK, State.QUIET, State.CANNOT)]
        print(f"| `{code}` | {shares[0]} of {SEASONS} | {shares[1]} | {shares[2]} |")
    print("\n| planted | found | quiet | cannot tell |")
    print("|---|---|---|---|")
    for code, plant in PLANTS.items():
        counts = found(code, range(SEASONS))
        shares = [counts[s] for s in (State.LOOK, State.QUIET, State.CANNOT)]
        said = " ".join((plant.__doc__ or "").split())
        print(f"| `{code}`: {said} | {shares[0]} of {SEASONS} | {shares[1]} | {shares[2]} |")


if __name__ == "__main__":
    main()
