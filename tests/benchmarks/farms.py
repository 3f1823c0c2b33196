"""Invented farms with a known truth, for judging the forecast.

Each farm has its own law of fouling, each station its own pace, each run its own luck. The truth
is drawn on a grid of 0.1 day without noise; people then read it on irregular days through a
gauge that errs and is read to a division. None of the laws is the forecast's own family except
the two blocking laws of the scenario 'accelerating', which is said there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from siltbook.batch.model import History, Reading, Station, Work
from siltbook.batch.numbers.robust import Floats

SEASON = dt.date(2026, 3, 1)
LIMIT = 5.0  # [m]
BAR = 10.19716  # [m]
STEP = 0.1  # [days]
LONGEST = 400.0  # [days] a run is followed


@dataclass(frozen=True)
class Scenario:
    """What sets one kind of farm apart."""

    name: str
    law: str  # 'linear', 'accelerating', 'stepwise' or 'mixed'
    division: float = 0.02  # [bar]
    noise: float = 0.08  # [m] of one drop, before rounding
    flush_share: float = 0.2  # of resets that are flushes
    recovery: tuple[float, float] = (0.85, 1.0)  # of a flush
    regularity: float = 6.0  # shape of the gamma law of visit gaps; 1 is wholly random
    earlier: tuple[int, int] = (2, 7)  # completed runs of the station


SCENARIOS = (
    Scenario("linear", "linear"),
    Scenario("accelerating", "accelerating"),
    Scenario("stepwise", "stepwise"),
    Scenario("coarse gauge", "mixed", division=0.05, noise=0.2),
    Scenario("irregular visits", "mixed", regularity=1.0),
    Scenario("incomplete flushes", "mixed", flush_share=0.8, recovery=(0.3, 0.95)),
    Scenario("first season", "mixed", earlier=(0, 1)),
)


@dataclass(frozen=True)
class Case:
    """One station at one moment: what is known, and the day [days from as-of] of the truth."""

    history: History
    farm: tuple[History, ...]
    as_of: dt.date
    truth: float


# A path of the drop [m] from a pace [days from 1 m to the limit] and a start [m].
Path = Callable[[float, float, np.random.Generator], Floats]


def _grid() -> Floats:
    return np.arange(0.0, LONGEST, STEP)


def _linear(pace: float, start: float) -> Floats:
    return start + (LIMIT - 1.0) * _grid() / pace


def _power(pace: float, start: float, power: float) -> Floats:
    # Goes on from the age that its start level has, as an incompletely flushed element does.
    age = pace * (max(start - 1.0, 0.0) / (LIMIT - 1.0)) ** (1 / power)
    low = min(start - 1.0, 0.0)
    out: Floats = 1.0 + low + (LIMIT - 1.0 - low) * ((_grid() + age) / pace) ** power
    return out


def _exponential(pace: float, start: float) -> Floats:
    out: Floats = start * np.exp(np.minimum(np.log(LIMIT) * _grid() / pace, 5.0))
    return out


def _two_slopes(pace: float, start: float, knee: float, share: float) -> Floats:
    # Creeps up to the knee (a level), then climbs; the knee stands at `share` of the clean run.
    slow, fast = (knee - 1.0) / (share * pace), (LIMIT - knee) / ((1 - share) * pace)
    bend = max((knee - start) / slow, 0.0)
    t = _grid()
    return np.where(t < bend, start + slow * t, max(start, knee) + fast * (t - bend))


def _stepwise(pace: float, start: float, steps: float, rng: np.random.Generator) -> Floats:
    # Dirt arrives in bursts: exponential steps at random times over a slow creep.
    t = _grid()
    creep = 0.3 * (LIMIT - 1.0) / pace
    size = 0.7 * (LIMIT - 1.0) / steps
    hits = rng.poisson(steps * STEP / pace, len(t))
    return start + creep * t + np.cumsum(rng.gamma(np.maximum(hits, 1e-9), size))


def _law(kind: str, rng: np.random.Generator) -> Path:
    """The farm's law of fouling."""
    if kind == "mixed":
        kind = str(rng.choice(["linear", "accelerating", "stepwise"]))
    if kind == "linear":
        return lambda pace, start, gen: _linear(pace, start)
    if kind == "stepwise":
        steps = float(rng.uniform(8, 20))
        return lambda pace, start, gen: _stepwise(pace, start, steps, gen)
    power, knee, share = (float(v) for v in rng.uniform((1.4, 1.8, 0.55), (3.0, 3.0, 0.8)))
    laws: tuple[Path, ...] = (
        lambda pace, start, gen: _power(pace, start, power),
        lambda pace, start, gen: _exponential(pace, start),
        lambda pace, start, gen: _two_slopes(pace, start, knee, share),
    )
    return laws[int(rng.integers(len(laws)))]


@dataclass
class _Keeper:
    """Reads and cleans one station, run after run."""

    scenario: Scenario
    law: Path
    pace: float
    gap: float  # [days] between visits
    rng: np.random.Generator
    clean: float  # [m]
    day: float = 0.0
    entries: list[Reading | Work] = field(default_factory=list)

    @property
    def u(self) -> float:
        """Standard uncertainty [m] that the workbook would derive: division and gauge error."""
        division = self.scenario.division * BAR
        return float(np.hypot(division / np.sqrt(6), self.scenario.noise))

    def _read(self, day: float, truth: float) -> Reading:
        division = self.scenario.division * BAR
        inlet = round(float(self.rng.uniform(25, 35)) / division) * division
        seen = truth + float(self.rng.normal(0, self.scenario.noise))
        drop = max(round(seen / division) * division, 0.0)
        date = SEASON + dt.timedelta(days=int(day))
        row = len(self.entries) + 2
        return Reading(
            row, date, None, inlet, inlet - drop, drop, None, None, "routine", self.u, None
        )

    def _path(self, start: float) -> tuple[Floats, float]:
        path = self.law(self.pace * float(self.rng.lognormal(0, 0.25)), start, self.rng)
        over = np.flatnonzero(path > LIMIT)
        return path, float(over[0] * STEP if len(over) else LONGEST)

    def _visits(self) -> Floats:
        shape = self.scenario.regularity
        gaps = self.rng.gamma(shape, self.gap / shape, 120)
        return np.cumsum(np.maximum(np.round(gaps), 1.0))

    def run(self, start: float) -> float:
        """One run from a reset to the next; returns the level [m] that the reset left."""
        path, _ = self._path(start)
        routine = self.rng.random() < 0.25  # cleaned before the limit because it was convenient
        stop = float(self.rng.uniform(0.5, 0.9)) * LIMIT if routine else LIMIT
        level = start
        for visit in self._visits():
            index = int(visit / STEP)
            if index >= len(path):
                break
            level = float(path[index])
            reading = self._read(self.day + visit, level)
            self.entries.append(reading)
            if reading.drop is not None and reading.drop > stop:
                break
        self.day = float((self.entries[-1].date - SEASON).days)
        return self._reset(level)

    def _reset(self, level: float) -> float:
        flush = self.rng.random() < self.scenario.flush_share
        work = Work(
            len(self.entries) + 2,
            SEASON + dt.timedelta(days=int(self.day)),
            None,
            "flush" if flush else "hand cleaning",
            3.0 if flush else None,
        )
        self.entries.append(work)
        share = float(self.rng.uniform(*self.scenario.recovery)) if flush else 1.0
        left = level - share * (level - self.clean) + float(self.rng.normal(0, 0.05))
        return max(left, 0.3)

    def last_run(self, start: float, readings: int) -> float | None:
        """The run to be forecast: so many readings, then the days left; None if it came first."""
        path, crossing = self._path(start)
        visits = self._visits()[:readings]
        if visits[-1] >= crossing or crossing >= LONGEST:
            return None
        taken = [self._read(self.day + v, float(path[int(v / STEP)])) for v in visits]
        if any(r.drop is None or r.drop > LIMIT for r in taken):
            return None
        self.entries.extend(taken)
        return float(crossing - visits[-1])


def _keeper(scenario: Scenario, law: Path, pace: float, rng: np.random.Generator) -> _Keeper:
    own = pace * float(rng.lognormal(0, 0.35))
    gap = own / float(rng.uniform(11, 16))
    return _Keeper(scenario, law, own, gap, rng, float(np.clip(rng.normal(1.0, 0.15), 0.6, 1.5)))


def _history(name: str, keeper: _Keeper) -> History:
    station = Station(
        name, 2, "", "disc", None, None, keeper.clean, LIMIT, None, None, "one gauge", None, None,
        None, "bar", True,
    )  # fmt: skip
    return History(station, tuple(keeper.entries))


def draw(scenario: Scenario, readings: int, seed: int) -> Case | None:
    """One case, or None where this seed's run reached the limit before so many readings."""
    rng = np.random.default_rng([seed, readings, SCENARIOS.index(scenario)])
    law, pace = _law(scenario.law, rng), float(np.exp(rng.uniform(np.log(20), np.log(90))))
    first = scenario.earlier[0] == 0
    farm = []
    for number in range(0 if first else 3):
        keeper = _keeper(scenario, law, pace, rng)
        level = keeper.clean
        for _ in range(int(rng.integers(1, 6))):
            level = keeper.run(level)
        farm.append(_history(f"Station {number + 2}", keeper))
    keeper = _keeper(scenario, law, pace, rng)
    level = keeper.clean
    for _ in range(int(rng.integers(scenario.earlier[0], scenario.earlier[1] + 1))):
        level = keeper.run(level)
    left = keeper.last_run(level, readings)
    if left is None:
        return None
    return Case(_history("Station 1", keeper), tuple(farm), keeper.entries[-1].date, left)
