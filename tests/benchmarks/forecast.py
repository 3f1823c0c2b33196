"""Judges the forecast on invented farms and open records beside two simple habits.

`python -m tests.benchmarks.forecast` runs the reporting seeds (1000 and up), prints the table and
writes it to docs/forecast-benchmark.md, and in short into docs/method.md. `--tune` runs seeds
under 1000 and writes nothing: every choice in the forecast was made on those. `--first SEED` runs
other seeds and writes nothing either.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy.stats import linregress

from siltbook.batch.numbers import training
from siltbook.batch.numbers.forecast import HORIZON, QUANTILES, forecast
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import Run, cut_runs
from tests.benchmarks import records
from tests.benchmarks.farms import LIMIT, SCENARIOS, Case, Scenario, Stop, draw

READINGS = (3, 5, 10)
SHARES = (0.3, 0.5, 0.7, 0.85)  # of the run that has gone
OVERALL, IN_CELL = (0.75, 0.85), (0.7, 0.9)  # coverage that is asked for
MOST_LOSS = 0.35  # of the better habit's
MOST_OVER_SCALED = 1.1  # of the loss of the scaled average
FIRST_REPORTING_SEED = 1000
# Student's t at 0.9 for 1, 2, ... degrees of freedom; beyond, the normal value.
_T90 = (3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397)


@dataclass(frozen=True)
class Score:
    """One case: quantiles [days from as-of] of the forecast and of both habits."""

    scenario: str
    stop: str  # '3' readings, or '30%' of the run
    truth: float
    ours: Floats | None
    ols: Floats
    again: Floats | None
    scaled: Floats | None
    seconds: float


def _cap(days: Floats) -> Floats:
    return np.clip(np.nan_to_num(days, nan=HORIZON, posinf=HORIZON), 0.0, HORIZON)


def _ols(run: Run) -> Floats:
    """Straight line through the run, and what its slope's 80 % interval gives."""
    line = linregress(run.days, run.drops)
    free = len(run.days) - 2
    width = (_T90[free - 1] if free <= len(_T90) else 1.2816) * float(line.stderr)
    middle = float(np.mean(run.days))
    rise = LIMIT - (line.intercept + line.slope * middle)
    slopes = np.array([line.slope + width, line.slope, line.slope - width])
    with np.errstate(divide="ignore", invalid="ignore"):
        days = np.where(slopes > 0, middle + rise / slopes, np.inf)
    return _cap(days - run.days[-1])


def _again(runs: tuple[Run, ...]) -> Floats | None:
    """The last run's length again, from this run's start; one day, so all quantiles alike."""
    if len(runs) < 2:
        return None
    last, now = runs[-2], runs[-1]
    length = float((last.ends - last.begins).days) - now.days[-1]
    return _cap(np.full(3, length))


def _ways(run: Run) -> tuple[Floats, Floats]:
    """Days and the share of the way from the run's start to the limit."""
    drops = np.asarray(run.drops)
    foot = min(float(drops[0]), LIMIT - 0.5)
    return np.asarray(run.days), np.maximum.accumulate((drops - foot) / (LIMIT - foot))


def _scaled(runs: tuple[Run, ...], farm: list[Run]) -> Floats | None:
    """The mean course of the ended runs, scaled in time to the readings of this one.

    The station's own runs where there are any, else the farm's. Each is drawn over the share of
    its life; the life of this one is that of least squares between half the shortest and twice
    the longest, and its interval the scatter of the lives over what is left.
    """
    ended = [r for r in runs[:-1] if len(r.days) > 1] or [r for r in farm if not r.open]
    marks, courses, lives = np.linspace(0.0, 1.0, 101), [], []
    for run in ended:
        days, way = _ways(run)
        if len(days) > 2 and way[-1] > 0.6 and days[-1] > 0:
            life = float(np.interp(1.0, way, days)) if way[-1] >= 1 else days[-1] / way[-1] ** 0.7
            courses.append(np.interp(marks * life, days, way, right=1.0))
            lives.append(life)
    if not courses:
        return None
    mean = np.mean(courses, axis=0)
    days, way = _ways(runs[-1])
    tried = np.geomspace(0.5 * min(lives), 2 * max(lives), 200)
    miss = [float(((np.interp(days / life, marks, mean) - way) ** 2).sum()) for life in tried]
    # Readings that say nothing yet leave the life where it mostly is.
    usual = (np.log(tried / np.exp(np.mean(np.log(lives)))) / 0.35) ** 2 * 0.02**2
    life = float(tried[int(np.argmin(np.asarray(miss) + usual))])
    spread = max(float(np.std(np.log(lives))), 0.15)
    left = max(life - float(days[-1]), 0.0)
    return _cap(left * np.exp(spread * np.array([-1.2816, 0.0, 1.2816])))


def score(case: Case, scenario: str, stop: str) -> Score:
    """One case through the product: runs cut from the log, then the forecast.

    The forecast starts with nothing kept from the case before, so its time is the whole one.
    """
    runs = cut_runs(case.history, 3)
    farm = [run for history in case.farm for run in cut_runs(history, 3)]
    u = next(r.u_drop for r in case.history.readings)
    training.forget()
    begun = time.process_time()
    found = forecast(runs, farm, LIMIT, case.as_of, u)
    spent = time.process_time() - begun
    ours = None
    if found.date is not None and found.low is not None:
        high = math.inf if found.high is None else float((found.high - case.as_of).days)
        near = [float((day - case.as_of).days) for day in (found.low, found.date)]
        ours = _cap(np.array([*near, high]))
    if found.silent.endswith("within a year"):
        ours = np.full(3, HORIZON)
    habits = _ols(runs[-1]), _again(runs), _scaled(runs, farm)
    return Score(scenario, stop, min(case.truth, HORIZON), ours, *habits, spent)


def pinball(quantiles: Floats, truth: float) -> float:
    """Mean pinball loss [days] of the 10, 50 and 90 % quantiles against the truth [days]."""
    miss = truth - quantiles
    share = np.asarray(QUANTILES)
    return float(np.maximum(share * miss, (share - 1) * miss).mean())


def stops(scenario: Scenario) -> Iterator[tuple[str, Stop]]:
    """Where runs of a scenario are broken off; a few readings say nothing of a run of years."""
    if scenario.name != "years":
        yield from ((str(k), Stop(readings=k)) for k in READINGS)
    yield from ((f"{share:.0%}", Stop(share=share)) for share in SHARES)


def collect(first: int, count: int) -> list[Score]:
    """Scores of `count` cases for every scenario and stop, from seed `first` on."""
    scores = []
    for scenario in SCENARIOS:
        for name, stop in stops(scenario):
            drawn = (draw(scenario, stop, seed) for seed in range(first, first + 30 * count))
            cases = (case for case in drawn if case is not None and is_whole(case, stop))
            scores += [score(case, scenario.name, name) for case in islice(cases, count)]
    return scores


def replayed() -> list[Score]:
    """Scores of the open records; empty where the files are absent."""
    every = ((k, group, case) for k in READINGS for group, case in records.cases(k))
    return [
        score(case, group, str(k)) for k, group, case in every if is_whole(case, Stop(readings=k))
    ]


def is_whole(case: Case, stop: Stop) -> bool:
    """Whether the run to be forecast was cut as it was drawn.

    A gauge that errs can look like a fall inside it; then it has fewer readings.
    """
    runs = cut_runs(case.history, 3)
    if not runs or not runs[-1].open:
        return False
    return stop.share is not None or len(runs[-1].days) == stop.readings


@dataclass(frozen=True)
class Line:
    """One line of the table: a scenario's, or a cell of it."""

    name: str
    stop: str  # '3' readings, '30%' of the run, or 'all'
    cases: int
    silent: int
    coverage: float
    early: float  # share of truths before the span
    error: tuple[float, float, float, float]  # median absolute: ours, OLS, again, scaled [days]
    loss: tuple[float, float, float, float]  # pinball [days]

    @property
    def of_better(self) -> float:
        """Our loss as a share of the better of the two simple habits', OLS and again."""
        habits = [loss for loss in self.loss[1:3] if loss == loss]
        return self.loss[0] / min(habits) if habits else math.nan

    @property
    def of_scaled(self) -> float:
        """Our loss as a share of that of the scaled average of ended runs."""
        return self.loss[0] / self.loss[3]

    @property
    def doubt(self) -> float:
        """Two standard errors of the coverage, from the number of cases."""
        return 2 * math.sqrt(self.coverage * (1 - self.coverage) / max(self.cases, 1))


def _mean(values: list[float], how: str = "mean") -> float:
    if not values:
        return math.nan
    return float(np.mean(values) if how == "mean" else np.median(values))


def summarise(name: str, stop: str, scores: Sequence[Score]) -> Line:
    """All methods over the same cases: those where we speak and each habit has an answer.

    A habit that has none in most cases (a first run has no last run to repeat) is left out.
    """
    spoken = [s for s in scores if s.ours is not None]
    same = spoken
    for habit in ("again", "scaled"):
        with_it = [s for s in same if getattr(s, habit) is not None]
        same = with_it if len(with_it) > len(same) / 2 else same
    answers = [
        [(q, s.truth) for s in same if (q := getattr(s, method)) is not None]
        for method in ("ours", "ols", "again", "scaled")
    ]
    answers = [one if len(one) == len(same) else [] for one in answers]
    ours = answers[0]
    errors = [_mean([abs(float(q[1]) - t) for q, t in one], "median") for one in answers]
    losses = [_mean([pinball(q, t) for q, t in one]) for one in answers]
    return Line(
        name, stop, len(same), len(scores) - len(spoken),
        _mean([float(q[0] - 0.5 <= t <= q[2] + 0.5) for q, t in ours]),
        _mean([float(t < q[0] - 0.5) for q, t in ours]),
        (errors[0], errors[1], errors[2], errors[3]),
        (losses[0], losses[1], losses[2], losses[3]),
    )  # fmt: skip


def lines(scores: Sequence[Score]) -> list[Line]:
    """The table: every cell of every scenario, every scenario, and all."""
    out = []
    for scenario in SCENARIOS:
        mine = [s for s in scores if s.scenario == scenario.name]
        out += [*_by_stop(scenario.name, mine), summarise(scenario.name, "all", mine)]
    return [*out, *_by_stop("overall", scores), summarise("overall", "all", scores)]


def _by_stop(name: str, scores: Sequence[Score]) -> list[Line]:
    every = dict.fromkeys(s.stop for s in scores)
    return [summarise(name, stop, [s for s in scores if s.stop == stop]) for stop in every]


def record_lines(scores: Sequence[Score]) -> list[Line]:
    """The open records: each place, and all of them with each number of readings."""
    out = []
    for group in dict.fromkeys(s.scenario for s in scores):
        out += _by_stop(group, [s for s in scores if s.scenario == group])
    every = "all records"
    return [*out, *_by_stop(every, scores), summarise(every, "all", scores)]


def main() -> None:
    """The command line."""
    from tests.benchmarks import forecast_page as page

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tune", action="store_true", help="seeds under 1000; writes nothing")
    parser.add_argument("--first", type=int, help="first seed; writes nothing")
    parser.add_argument("--cases", type=int, default=150, help="cases per scenario and stop")
    chosen = parser.parse_args()
    usual = 0 if chosen.tune else FIRST_REPORTING_SEED
    first = usual if chosen.first is None else chosen.first
    scores, replay = collect(first, chosen.cases), replayed()
    rows = lines(scores)
    print(page.table(rows))
    print(page.verdict(rows))
    if replay:
        print(page.table(record_lines(replay)))
    spent = [s.seconds for s in scores]
    print(
        f"seconds per forecast: median {np.median(spent):.4f}, 90 % {np.quantile(spent, 0.9):.4f}"
    )
    if first == FIRST_REPORTING_SEED:
        page.write_pages(rows, replay, first, chosen.cases)


if __name__ == "__main__":
    main()
