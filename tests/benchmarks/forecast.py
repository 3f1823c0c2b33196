"""Judges the forecast on invented farms beside two simple habits; writes the table.

`python -m tests.benchmarks.forecast` runs the reporting seeds (1000 and up), prints the table and
writes it to docs/forecast-benchmark.md. `--tune` runs seeds under 1000 and writes nothing: every
choice in the forecast was made on those.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from batch.forecast import HORIZON, QUANTILES, forecast
from batch.robust import Floats, least_squares
from batch.runs import Run, cut_runs
from tests.benchmarks.farms import LIMIT, SCENARIOS, Case, Scenario, draw

READINGS = (3, 5, 10)
FIRST_REPORTING_SEED = 1000
DOCUMENT = Path(__file__).parents[2] / "docs" / "forecast-benchmark.md"
# Student's t at 0.9 for 1, 2, ... degrees of freedom; beyond, the normal value.
_T90 = (3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397)


@dataclass(frozen=True)
class Score:
    """One case: quantiles [days from as-of] of the forecast and of both habits."""

    scenario: str
    readings: int
    truth: float
    ours: Floats | None
    ols: Floats
    again: Floats | None
    seconds: float


def _cap(days: Floats) -> Floats:
    return np.clip(np.nan_to_num(days, nan=HORIZON, posinf=HORIZON), 0.0, HORIZON)


def _ols(run: Run) -> Floats:
    """Straight line through the run, and what its slope's 80 % interval gives."""
    line = least_squares(run.days, run.drops)
    free = len(run.days) - 2
    width = (_T90[free - 1] if free <= len(_T90) else 1.2816) * (line.slope_error or 0.0)
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
    length = float((last.end - last.start).days) - now.days[-1]
    return _cap(np.full(3, length))


def score(case: Case, scenario: Scenario, readings: int) -> Score:
    """One case through the product: runs cut from the log, then the forecast."""
    runs = cut_runs(case.history, 3)
    farm = [run for history in case.farm for run in cut_runs(history, 3)]
    u = next(r.u_drop for r in case.history.readings)
    begun = time.process_time()
    found = forecast(runs, farm, LIMIT, case.as_of, u)
    spent = time.process_time() - begun
    ours = None
    if found.date is not None and found.low is not None:
        high = math.inf if found.high is None else float((found.high - case.as_of).days)
        near = [float((day - case.as_of).days) for day in (found.low, found.date)]
        ours = _cap(np.array([*near, high]))
    return Score(scenario.name, readings, case.truth, ours, _ols(runs[-1]), _again(runs), spent)


def pinball(quantiles: Floats, truth: float) -> float:
    """Mean pinball loss [days] of the 10, 50 and 90 % quantiles against the truth [days]."""
    miss = truth - quantiles
    share = np.asarray(QUANTILES)
    return float(np.maximum(share * miss, (share - 1) * miss).mean())


def collect(first: int, count: int) -> list[Score]:
    """Scores of `count` cases for every scenario and number of readings, from seed `first` on."""
    scores = []
    for scenario in SCENARIOS:
        for readings in READINGS:
            seed, had = first, 0
            while had < count:
                case = draw(scenario, readings, seed)
                seed += 1
                if case is not None and _current(case, readings):
                    scores.append(score(case, scenario, readings))
                    had += 1
    return scores


def _current(case: Case, readings: int) -> bool:
    # A gauge that errs can look like a fall inside the last run; then it has fewer readings.
    runs = cut_runs(case.history, 3)
    return bool(runs) and len(runs[-1].days) == readings and runs[-1].open


@dataclass(frozen=True)
class Line:
    """One line of the table."""

    name: str
    readings: str
    cases: int
    silent: int
    coverage: float
    error: tuple[float, float, float]  # median absolute, ours, OLS, again [days]
    loss: tuple[float, float, float]  # pinball [days]

    @property
    def gain(self) -> float:
        """Share by which the loss is under the better habit's."""
        return 1 - self.loss[0] / float(np.nanmin(self.loss[1:]))


def _mean(values: list[float], how: str = "mean") -> float:
    if not values:
        return math.nan
    return float(np.mean(values) if how == "mean" else np.median(values))


def summarise(name: str, readings: str, scores: list[Score]) -> Line:
    """All methods over the same cases: those where each of them has an answer.

    'First season' often has no last run; there that habit is left out.
    """
    spoken = [s for s in scores if s.ours is not None]
    habit = name != "first season"
    same = [s for s in spoken if s.again is not None] if habit else spoken
    ours = [(s.ours, s.truth) for s in same if s.ours is not None]
    ols = [(s.ols, s.truth) for s in same]
    again = [(s.again, s.truth) for s in same if s.again is not None] if habit else []
    sets = (ours, ols, again)
    inside = [float(q[0] - 0.5 <= t <= q[2] + 0.5) for q, t in ours]
    errors = [_mean([abs(float(q[1]) - t) for q, t in one], "median") for one in sets]
    losses = [_mean([pinball(q, t) for q, t in one]) for one in sets]
    return Line(
        name,
        readings,
        len(same),
        len(scores) - len(spoken),
        _mean(inside),
        (errors[0], errors[1], errors[2]),
        (losses[0], losses[1], losses[2]),
    )


def lines(scores: list[Score]) -> list[Line]:
    """The table: every scenario and number of readings, every scenario, and all."""
    out = []
    for scenario in SCENARIOS:
        mine = [s for s in scores if s.scenario == scenario.name]
        for readings in READINGS:
            some = [s for s in mine if s.readings == readings]
            out.append(summarise(scenario.name, str(readings), some))
        out.append(summarise(scenario.name, "all", mine))
    with_past = [s for s in scores if s.scenario != "first season"]
    for readings in READINGS:
        some = [s for s in with_past if s.readings == readings]
        out.append(summarise("overall", str(readings), some))
    out.append(summarise("overall", "all", with_past))
    return out


def _cell(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.2f}"


def table(rows: list[Line]) -> str:
    """The table in Markdown."""
    head = (
        "| scenario | readings | cases | silent | coverage | error | error OLS | error again "
        "| pinball | pinball OLS | pinball again | gain |\n|" + "---|" * 12
    )
    body = [
        f"| {r.name} | {r.readings} | {r.cases} | {r.silent} | {r.coverage:.0%} | "
        + " | ".join(_cell(v) for v in (*r.error, *r.loss))
        + f" | {r.gain:+.0%} |"
        for r in rows
    ]
    return "\n".join([head, *body])


def _share(losses: list[bool]) -> str:
    return f"{sum(losses)} of {len(losses)}"


def verdict(rows: list[Line]) -> str:
    """Which targets were met and which were not, in words."""
    whole = [r for r in rows if r.readings == "all" and r.name != "overall"]
    parts = [r for r in rows if r.readings != "all" and r.name != "overall"]
    overall = rows[-1]
    out = [
        f"- Coverage within 70–90 %: {_share([0.7 <= r.coverage <= 0.9 for r in whole])} scenarios"
        f", {_share([0.7 <= r.coverage <= 0.9 for r in parts])} combinations with a number of "
        "readings.",
        f"- Pinball loss overall {overall.gain:.0%} below the better habit (target 20 %).",
        "- Pinball loss no worse than the better habit: "
        f"{_share([r.gain >= 0 for r in whole])} scenarios, "
        f"{_share([r.gain >= 0 for r in parts])} combinations.",
    ]
    for r in (*whole, *parts):
        if not 0.7 <= r.coverage <= 0.9:
            out.append(
                f"- Missed: {r.name}, {r.readings} readings: coverage {r.coverage:.0%}, "
                f"{'interval too narrow' if r.coverage < 0.7 else 'interval wider than need be'}."
            )
        if r.gain < 0:
            out.append(
                f"- Missed: {r.name}, {r.readings} readings: pinball loss {r.loss[0]:.2f} days "
                f"against {float(np.nanmin(r.loss[1:])):.2f} of the better habit."
            )
    return "\n".join(out)


_PAGE = """# How good the forecast is

Written by `python -m tests.benchmarks.forecast`; run it from the root of the repository to get
this page again, in about three minutes and to the digit on the same library versions. All farms
are invented (`tests/benchmarks/farms.py`). The forecast was tuned on seeds under 1000 only;
this table is from seeds {first} and up, {cases} cases for each
line with a number of readings.

Each case is one station's log, cut into runs and forecast by the program, with 2 to 7 earlier
runs of its own and those of three other stations ('first season': none or one, and no other
stations). The truth is the day on which the noiseless drop passes the limit. Cases that reach the
limit before so many readings are not drawn; a station is visited 11 to 16 times in a typical run,
so 3 readings are early in the run and 10 are late. Drops are read with a random error and rounded
to the gauge's division. 'Coarse gauge', 'irregular visits', 'incomplete flushes' and 'first
season' mix straight, accelerating and stepwise farms.

- coverage: share of truths inside the 80 % interval, whole days counted to their ends
- error: median absolute error of the middle day [days]
- pinball: mean pinball loss of the 10, 50 and 90 % quantiles [days]; less is better
- OLS: least-squares line through the current run, with its slope's 80 % interval by Student's t
- again: the last run's length again, one day without an interval; the pinball loss punishes that,
  so compare the errors too
- gain: how far our pinball loss lies below the better of the two; OLS and ours end at 365 days,
  and the nearly level lines that OLS sometimes draws weigh on its mean, less on its median error

## Against the targets

{verdict}

With 450 cases a scenario's coverage is known to about 2 %, with 150 to about 3 %: a scenario that
stands on the edge of 70 or 90 % meets the target here and may miss it on other seeds. Two errors
pull against each other: on stepwise farms the interval is somewhat too narrow, on evenly fouling
ones too wide, since few noisy readings cannot tell the two apart and one stretch of the interval
serves both.

## The table

{table}

'overall' leaves 'first season' out, where there is mostly no last run to repeat.

## What it does not show

Invented farms are kinder than real ones: no season's turn in water quality, no readings noted on
the wrong day, no cleaning forgotten in the log. 'Accelerating' contains an exponential and a power
law, which the forecast's own families contain too; its third law, a knee between two slopes, and
the stepwise farms are outside them. No open record of a station's pressure drop with its cleanings
was at hand to replay.
"""


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tune", action="store_true", help="seeds under 1000; writes nothing")
    parser.add_argument("--cases", type=int, default=150, help="cases per scenario and length")
    chosen = parser.parse_args()
    first = 0 if chosen.tune else FIRST_REPORTING_SEED
    scores = collect(first, chosen.cases)
    rows = lines(scores)
    print(table(rows))
    print(verdict(rows))
    spent = [s.seconds for s in scores]
    print(
        f"seconds per forecast: median {np.median(spent):.4f}, 90 % {np.quantile(spent, 0.9):.4f}"
    )
    if not chosen.tune:
        page = _PAGE.format(
            first=first, cases=chosen.cases, verdict=verdict(rows), table=table(rows)
        )
        DOCUMENT.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
