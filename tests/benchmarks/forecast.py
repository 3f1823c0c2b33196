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
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from siltbook.batch.numbers.forecast import HORIZON, QUANTILES, forecast
from siltbook.batch.numbers.robust import Floats, least_squares
from siltbook.batch.numbers.runs import Run, cut_runs
from tests.benchmarks import records
from tests.benchmarks.farms import LIMIT, SCENARIOS, Case, draw

READINGS = (3, 5, 10)
FIRST_REPORTING_SEED = 1000
DOCS = Path(__file__).parents[2] / "docs"
DOCUMENT, METHOD = DOCS / "forecast-benchmark.md", DOCS / "method.md"
COVERED = (0.7, 0.9)
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


def score(case: Case, scenario: str, readings: int) -> Score:
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
    return Score(scenario, readings, case.truth, ours, _ols(runs[-1]), _again(runs), spent)


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
                    scores.append(score(case, scenario.name, readings))
                    had += 1
    return scores


def replayed() -> list[Score]:
    """Scores of the open records; empty where the files are absent."""
    every = ((k, group, case) for k in READINGS for group, case in records.cases(k))
    return [score(case, group, k) for k, group, case in every if _current(case, k)]


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

    @property
    def doubt(self) -> float:
        """Two standard errors of the coverage, from the number of cases."""
        return 2 * math.sqrt(self.coverage * (1 - self.coverage) / self.cases)


def _mean(values: list[float], how: str = "mean") -> float:
    if not values:
        return math.nan
    return float(np.mean(values) if how == "mean" else np.median(values))


def summarise(name: str, readings: str, scores: list[Score], habit: bool = True) -> Line:
    """All methods over the same cases: those where each of them has an answer.

    `habit`: whether the last run's length is among them; mostly there is none to repeat in a
    first season and in the open records.
    """
    spoken = [s for s in scores if s.ours is not None]
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
        habit = scenario.name != "first season"
        for readings in READINGS:
            some = [s for s in mine if s.readings == readings]
            out.append(summarise(scenario.name, str(readings), some, habit))
        out.append(summarise(scenario.name, "all", mine, habit))
    with_past = [s for s in scores if s.scenario != "first season"]
    for readings in READINGS:
        some = [s for s in with_past if s.readings == readings]
        out.append(summarise("overall", str(readings), some))
    out.append(summarise("overall", "all", with_past))
    return out


def record_lines(scores: list[Score]) -> list[Line]:
    """The open records: each place, and all of them with each number of readings."""
    out = []
    for group in dict.fromkeys(s.scenario for s in scores):
        mine = [s for s in scores if s.scenario == group]
        for readings in READINGS:
            some = [s for s in mine if s.readings == readings]
            if some:
                out.append(summarise(group, str(readings), some, habit=False))
    for readings in READINGS:
        some = [s for s in scores if s.readings == readings]
        out.append(summarise("all records", str(readings), some, habit=False))
    return [*out, summarise("all records", "all", scores, habit=False)]


def _cell(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.2f}"


def table(rows: list[Line]) -> str:
    """The table in Markdown."""
    head = (
        "| scenario | readings | cases | silent | coverage | error | error OLS | error again "
        "| pinball | pinball OLS | pinball again | gain |\n|" + "---|" * 12
    )
    body = [
        f"| {r.name} | {r.readings} | {r.cases} | {r.silent} | {_percent(r.coverage)} | "
        + " | ".join(_cell(v) for v in (*r.error, *r.loss))
        + f" | {_percent(r.gain, '+')} |"
        for r in rows
    ]
    return "\n".join([head, *body])


def _percent(share: float, sign: str = "") -> str:
    return "–" if math.isnan(share) else f"{share:{sign}.0%}"


def short_table(rows: list[Line]) -> str:
    """One row a scenario, for the method page."""
    head = (
        "| farms | coverage of the 80 % span | 3, 5, 10 readings | median error, days "
        "| line | last run's length | pinball loss below the better |\n|" + "---|" * 7
    )
    body = []
    for r in (r for r in rows if r.readings == "all"):
        parts = [q for q in rows if q.name == r.name and q.readings != "all"]
        three = ", ".join(_percent(q.coverage) for q in parts)
        errors = " | ".join(_cell(v) for v in r.error)
        body.append(f"| {r.name} | {_percent(r.coverage)} | {three} | {errors} | {r.gain:.0%} |")
    return "\n".join([head, *body])


def _good(row: Line) -> bool:
    return COVERED[0] <= row.coverage <= COVERED[1]


def _edges(rows: list[Line]) -> str:
    """Which coverages may as well lie on the other side of the target, by their number of cases."""
    near = [
        f"{r.name} ({r.coverage:.1%} ± {r.doubt:.1%})"
        for r in rows
        if r.coverage - r.doubt < COVERED[0] or r.coverage + r.doubt > COVERED[1]
    ]
    return f"- On an edge, within two standard errors: {', '.join(near) or 'no scenario'}."


def _share(losses: list[bool]) -> str:
    return f"{sum(losses)} of {len(losses)}"


def verdict(rows: list[Line]) -> str:
    """Which targets were met and which were not, in words."""
    whole = [r for r in rows if r.readings == "all" and r.name != "overall"]
    parts = [r for r in rows if r.readings != "all" and r.name != "overall"]
    overall = rows[-1]
    out = [
        f"- Coverage within 70–90 %: {_share([_good(r) for r in whole])} scenarios"
        f", {_share([_good(r) for r in parts])} combinations with a number of "
        "readings.",
        f"- Pinball loss overall {overall.gain:.0%} below the better habit (target 20 %).",
        "- Pinball loss no worse than the better habit: "
        f"{_share([r.gain >= 0 for r in whole])} scenarios, "
        f"{_share([r.gain >= 0 for r in parts])} combinations.",
        _edges(whole),
    ]
    for r in (*whole, *parts):
        if not _good(r):
            how = "too narrow" if r.coverage < COVERED[0] else "wider than need be"
            out.append(
                f"- Missed: {r.name}, {r.readings} readings: coverage {r.coverage:.0%}, "
                f"interval {how}."
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

The targets: coverage between 70 and 90 %, pinball loss at least 20 % below the better habit's
overall and no worse in any scenario. On evenly fouling farms a straight line through ten readings
is the truth itself and cannot be beaten; on stepwise farms bursts of dirt come without notice.
The span is stretched by how uneven the fouling looks (`_STRETCH` in `batch/numbers/forecast.py`,
set on seeds under 1000); before, one stretch served all farms and missed three combinations.

What was missed stands as it is; nothing in the forecast was changed for it. On the tuning seeds,
300 cases a line, stepwise with 10 readings covers 79 %, so widening there could not be set on
them. Linear with 10 readings misses there too (pinball 0.56 days against 0.47, a difference of
0.09 with a standard error of 0.06); three of the 300 cases, slow runs, make up most of it.
Rounding to whole days is not the reason (0.55 without).

## The table

{table}

'overall' leaves 'first season' out, where there is mostly no last run to repeat.

## Open records turned into readings

Dirt on solar panels and mirrors, since no open record of a filter's pressure drop with its
cleanings was at hand (`tests/benchmarks/records.py` says how a loss became a drop; the files lie
outside the repository and this part is left out without them). A loss of the named limit stands
for 5 m, no loss for 1 m; drops are read to 0.02 bar. The program cuts the runs.

- pvlib Greensboro: modelled soiling, read daily at noon, limit 0.02, washed once by hand
- RdTools sawtooth: 75 noisy days with two cleanings, read daily, limit 0.04; the last run ends
  before the limit and its known slope is carried on for the truth
- mirrors Wodonga, Mount Isa: reflectance read twice a day for a week, one day counted as ten,
  limits 6 and 0.8 points; the mirrors of a place are the stations of one farm

{records}

{count} One choice was made after these records were first replayed: only runs that have ended teach
(runs under way on the same farm had taught too, and the sameness of their weather with them).

## What it does not show

Invented farms are kinder than real ones: no season's turn in water quality, no readings noted on
the wrong day, no cleaning forgotten in the log. 'Accelerating' contains an exponential and a power
law, which the forecast's own families contain too; its third law, a knee between two slopes, and
the stepwise farms are outside them. Panels and mirrors are no filters: nothing in the open records
shows the climb at the end of a filter's run.
"""
# The short table stands between these lines of the method page.
_FROM, _TO = "<!-- forecast table: written by tests.benchmarks.forecast -->", "<!-- end -->"


def _counted(scores: list[Score]) -> str:
    if not scores:
        return "The files were absent when this page was written."
    return (
        f"{len(scores)} moments in few runs, those of one place under one weather: too few for any"
        " target, and none is claimed."
    )


def write_pages(rows: list[Line], replay: list[Score], first: int, cases: int) -> None:
    """Write docs/forecast-benchmark.md, and the short table into docs/method.md."""
    page = _PAGE.format(
        first=first,
        cases=cases,
        verdict=verdict(rows),
        table=table(rows),
        records=table(record_lines(replay)) if replay else "",
        count=_counted(replay),
    )
    DOCUMENT.write_text(page, encoding="utf-8")
    text = METHOD.read_text(encoding="utf-8")
    before, rest = text.split(_FROM)
    after = rest.split(_TO, 1)[1]
    METHOD.write_text(f"{before}{_FROM}\n{short_table(rows)}\n{_TO}{after}", encoding="utf-8")


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tune", action="store_true", help="seeds under 1000; writes nothing")
    parser.add_argument("--first", type=int, help="first seed; writes nothing")
    parser.add_argument("--cases", type=int, default=150, help="cases per scenario and length")
    chosen = parser.parse_args()
    usual = 0 if chosen.tune else FIRST_REPORTING_SEED
    first = usual if chosen.first is None else chosen.first
    scores, replay = collect(first, chosen.cases), replayed()
    rows = lines(scores)
    print(table(rows))
    print(verdict(rows))
    if replay:
        print(table(record_lines(replay)))
    spent = [s.seconds for s in scores]
    print(
        f"seconds per forecast: median {np.median(spent):.4f}, 90 % {np.quantile(spent, 0.9):.4f}"
    )
    if first == FIRST_REPORTING_SEED:
        write_pages(rows, replay, first, chosen.cases)


if __name__ == "__main__":
    main()
