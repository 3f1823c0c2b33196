"""Invented farms with a known truth, for judging the forecast.

Each farm has its own law of fouling, each station its own pace, each run its own luck. The truth
is drawn on a grid of 0.1 day without noise; people then read it on irregular days through a
gauge that errs and is read to a division. The laws of 'accelerating' and 'powers' are, or come
near, members of the forecast's own family; the others are outside it.

'creep, then climb', 'powers' and 'years' are shaped like runs of dust-loaded filters to their
pressure limit: most of the life passes with little to see, then the drop climbs.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from siltbook.batch.model import History, Reading, Station, Work
from siltbook.batch.numbers.robust import Floats

SEASON = dt.date(2026, 3, 1)
LIMIT = 5.0  # [m]
BAR = 10.19716  # [m]
STEP = 0.1  # [days]
LONGEST = 400.0  # [days] a run is followed, or 2.5 times its pace
MOST_VISITS = 60


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
    others: int = 3  # other stations of the farm
    pace: tuple[float, float] = (20.0, 90.0)  # [days] of a clean run to the limit
    clean: tuple[float, float] = (1.0, 0.15)  # [m] mean and spread of the clean drop
    visits: tuple[float, float] = (11.0, 16.0)  # in a typical run
    turn: tuple[float, float] | None = None  # the water changes: factor of every later pace


SCENARIOS = (
    Scenario("linear", "linear"),
    Scenario("accelerating", "accelerating"),
    Scenario("stepwise", "stepwise"),
    Scenario("coarse gauge", "mixed", division=0.05, noise=0.2),
    Scenario("irregular visits", "mixed", regularity=1.0),
    Scenario("incomplete flushes", "mixed", flush_share=0.8, recovery=(0.3, 0.95)),
    Scenario("first season", "mixed", earlier=(0, 1), others=0),
    Scenario("creep, then climb", "late climb"),
    Scenario("powers", "power"),
    Scenario("storms", "storms"),
    Scenario("change of water", "any", turn=(0.5, 2.0)),
    Scenario("one past run", "any", earlier=(1, 1), others=0),
    Scenario("only the farm's runs", "any", earlier=(0, 0)),
    Scenario("clean near zero", "any", clean=(0.15, 0.05)),
    Scenario("years", "late climb", pace=(250.0, 900.0), visits=(24.0, 60.0), earlier=(1, 4)),
)


@dataclass(frozen=True)
class Stop:
    """Where the run to be forecast is broken off: after so many readings, or a share of it."""

    readings: int = 0
    share: float | None = None


@dataclass(frozen=True)
class Case:
    """One station at one moment: what is known, and the day [days from as-of] of the truth."""

    history: History
    farm: tuple[History, ...]
    as_of: dt.date
    truth: float


# A path of the drop [m] from a pace [days from 1 m to the limit] and a start [m].
Path = Callable[[float, float, np.random.Generator], Floats]


def _grid(pace: float = 0.0) -> Floats:
    return np.arange(0.0, max(LONGEST, 2.5 * pace), STEP)


def _linear(pace: float, start: float) -> Floats:
    return start + (LIMIT - 1.0) * _grid(pace) / pace


def _power(pace: float, start: float, power: float) -> Floats:
    # Goes on from the age that its start level has, as an incompletely flushed element does.
    age = pace * (max(start - 1.0, 0.0) / (LIMIT - 1.0)) ** (1 / power)
    low = min(start - 1.0, 0.0)
    out: Floats = 1.0 + low + (LIMIT - 1.0 - low) * ((_grid(pace) + age) / pace) ** power
    return out


def _exponential(pace: float, start: float) -> Floats:
    out: Floats = start * np.exp(np.minimum(np.log(LIMIT) * _grid(pace) / pace, 5.0))
    return out


def _two_slopes(pace: float, start: float, knee: float, share: float) -> Floats:
    # Creeps up to the knee (a level), then climbs; the knee stands at `share` of the clean run.
    slow, fast = (knee - 1.0) / (share * pace), (LIMIT - knee) / ((1 - share) * pace)
    bend = max((knee - start) / slow, 0.0)
    t = _grid(pace)
    return np.where(t < bend, start + slow * t, max(start, knee) + fast * (t - bend))


def _stepwise(pace: float, start: float, steps: float, rng: np.random.Generator) -> Floats:
    # Dirt arrives in bursts: exponential steps at random times over a slow creep.
    t = _grid(pace)
    creep = 0.3 * (LIMIT - 1.0) / pace
    size = 0.7 * (LIMIT - 1.0) / steps
    hits = rng.poisson(steps * STEP / pace, len(t))
    return start + creep * t + np.cumsum(rng.gamma(np.maximum(hits, 1e-9), size))


def _loads(pace: float, rng: np.random.Generator, storms: float) -> Floats:
    """Dirt that has come by each moment of the grid, as a share of what fills a clean filter.

    It comes in small uneven portions (a gamma process), and in storms where there are any: each
    brings a tenth to three tenths of a life at once.
    """
    count = len(_grid(pace))
    portions = 120.0  # in a life: an unevenness of a tenth or so at its end
    step = STEP / pace
    dirt = rng.gamma(step * portions, 1 / portions, count)
    hits = rng.random(count) < storms * step
    dirt[hits] += rng.uniform(0.1, 0.3, int(hits.sum()))
    return np.cumsum(dirt)


def _loaded(
    pace: float, start: float, rng: np.random.Generator, shape: Callable[[Floats], Floats],
    storms: float = 0.0,
) -> Floats:  # fmt: skip
    """A run whose dirt comes unevenly; `shape` brings a load [0 to 1] to a share of the way up.

    A filter that was not cleaned to its usual level goes on from the load of that level.
    """
    marks = np.linspace(0.0, 1.0, 2001)
    begun = float(np.interp((start - 1.0) / (LIMIT - 1.0), shape(marks), marks))
    loads = begun + _loads(pace, rng, storms)
    way = np.where(loads <= 1.0, shape(np.minimum(loads, 1.0)), 1.0 + 5.0 * (loads - 1.0))
    low = min(start - 1.0, 0.0)
    out: Floats = 1.0 + low + (LIMIT - 1.0 - low) * way
    return out


def _late_climb(knee: float, share: float, power: float) -> Callable[[Floats], Floats]:
    """Creeps to `share` of the way by about the load `knee`, then climbs as a power."""

    def shape(load: Floats) -> Floats:
        after = np.maximum(load - knee, 0.0) / (1 - knee)
        out: Floats = share * load + (1 - share) * after**power
        return out

    return shape


def _loaded_law(kind: str, rng: np.random.Generator) -> Path:
    if kind == "power":
        power = float(rng.uniform(3.0, 8.0))
        return lambda pace, start, gen: _loaded(pace, start, gen, lambda x: x**power)
    knee, share, steep = (float(v) for v in rng.uniform((0.55, 0.08, 1.2), (0.8, 0.3, 2.2)))
    shape = _late_climb(knee, share, steep)
    if kind == "storms":
        bend = float(rng.uniform(1.0, 2.5))
        often = float(rng.uniform(1.0, 3.0))
        return lambda pace, start, gen: _loaded(pace, start, gen, lambda x: x**bend, often)
    return lambda pace, start, gen: _loaded(pace, start, gen, shape)


def _law(kind: str, rng: np.random.Generator) -> Path:
    """The farm's law of fouling."""
    if kind == "any":
        kind = str(rng.choice(["linear", "accelerating", "stepwise", "late climb", "power"]))
    if kind == "mixed":
        kind = str(rng.choice(["linear", "accelerating", "stepwise"]))
    if kind in ("power", "storms", "late climb"):
        return _loaded_law(kind, rng)
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
    turn_day: float = math.inf  # [days] from which the water is another
    factor: float = 1.0  # of the pace from then on
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
        pace = self.pace * (self.factor if self.day >= self.turn_day else 1.0)
        path = self.law(pace * float(self.rng.lognormal(0, 0.25)), start, self.rng)
        over = np.flatnonzero(path > LIMIT)
        return path, float(over[0] * STEP) if len(over) else math.inf

    def _visits(self) -> Floats:
        shape = self.scenario.regularity
        gaps = self.rng.gamma(shape, self.gap / shape, 240)
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
        return max(left, 0.3 if self.clean > 0.5 else 0.02)

    def last_run(self, start: float, stop: Stop) -> float | None:
        """The run to be forecast up to its stop, then the days left; None if the limit was first.

        Also None where fewer than two readings would have been taken.
        """
        path, crossing = self._path(start)
        visits = self._visits()
        if stop.share is not None and math.isfinite(crossing):
            visits = visits[visits <= stop.share * crossing][-MOST_VISITS:]
        else:
            visits = visits[: stop.readings]
        if len(visits) < 2 or visits[-1] >= crossing or not math.isfinite(crossing):
            return None
        taken = [self._read(self.day + v, float(path[int(v / STEP)])) for v in visits]
        if any(r.drop is None or r.drop > LIMIT for r in taken):
            return None
        self.entries.extend(taken)
        return float(crossing - visits[-1])


def _keeper(scenario: Scenario, law: Path, pace: float, rng: np.random.Generator) -> _Keeper:
    own = pace * float(rng.lognormal(0, 0.35))
    gap = own / float(rng.uniform(*scenario.visits))
    mean, spread = scenario.clean
    clean = float(np.clip(rng.normal(mean, spread), mean - 2.5 * spread, mean + 3.5 * spread))
    return _Keeper(scenario, law, own, gap, rng, clean)


def _history(name: str, keeper: _Keeper) -> History:
    station = Station(
        name, 2, "", "disc", None, None, keeper.clean, LIMIT, None, None, "one gauge", None, None,
        None, "bar", True,
    )  # fmt: skip
    return History(station, tuple(keeper.entries))


def draw(scenario: Scenario, stop: Stop, seed: int) -> Case | None:
    """One case, or None where this seed's run reached the limit before its stop."""
    part = stop.readings if stop.share is None else round(100 * stop.share)
    rng = np.random.default_rng([seed, part, SCENARIOS.index(scenario)])
    law, pace = _law(scenario.law, rng), float(np.exp(rng.uniform(*np.log(scenario.pace))))
    farm = []
    for number in range(scenario.others):
        keeper = _keeper(scenario, law, pace, rng)
        level = keeper.clean
        for _ in range(int(rng.integers(1, 6))):
            level = keeper.run(level)
        farm.append(_history(f"Station {number + 2}", keeper))
    keeper = _keeper(scenario, law, pace, rng)
    level = keeper.clean
    earlier = int(rng.integers(scenario.earlier[0], scenario.earlier[1] + 1))
    for number in range(earlier):
        if scenario.turn is not None and number == earlier // 2:
            low, high = np.log(scenario.turn)
            keeper.turn_day, keeper.factor = keeper.day, float(np.exp(rng.uniform(low, high)))
        level = keeper.run(level)
    left = keeper.last_run(level, stop)
    if left is None:
        return None
    return Case(_history("Station 1", keeper), tuple(farm), keeper.entries[-1].date, left)
