"""The ladder against a second one that was written apart from it, on 2,000 random logs."""

from __future__ import annotations

import ast
import datetime as dt
import random
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import History, Station
from siltbook.batch.numbers.history import histories
from siltbook.templates.book import Settings
from tests.amount import examples
from tests.checks.builders import book
from tests.ladder import plain

LOGS = examples(2_000)
AT_ONCE = 100  # stations of one book: its frames are made once for all of them
TODAY = dt.date(2026, 6, 10)
BAR = 10.197162129779283  # [m]
SETTINGS = Settings(flush_inlet=plain.FLUSH_INLET)
FLUSH_LOW = (None, 2.4, 2.1, 1.9, 1.5)
WORKS = (
    *("flush",) * 9, *("hand cleaning",) * 4, *("solenoid replaced",) * 3, "controller replaced",
    "screen replaced", "called out", "other",
)  # fmt: skip


def test_the_plain_ladder_stands_on_its_own() -> None:
    tree = ast.parse(Path(plain.__file__).read_text(encoding="utf-8"))
    names = {n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    names |= {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    assert names == {"__future__", "math", "typing"}


UNITS = {"bar": 1.0, "kPa": 0.01}  # [bar]


def gauge_of(draw: random.Random, since: int) -> dict[str, Any]:
    """The register's gauge (from day 0 on), or one that was changed later [bar, %]."""
    two = draw.choice((False, True, None) if since else (False, True))
    data = draw.choice(((None, None, None), (0.1, 6.0, 1.6), (0.05, 4.0, 2.5), (0.02, 6.0, 0.6)))
    if not since:
        data = draw.choice(((None, None, None), (0.1, 6.0, 1.6), (0.1, 6.0, 1.6)))
    unit = draw.choice(("bar", "bar", "kPa")) if since else "bar"
    return {"since": since, "two": two, "typed": data, "unit": unit, **dict(zip(
        ("division", "scale", "class"),
        (data[0] and data[0] * BAR, data[1] and data[1] * BAR, data[2]), strict=True,
    ))}  # fmt: skip


def farm_of(draw: random.Random) -> dict[str, Any]:
    changes = sorted(draw.sample(range(2, 28), draw.choice((0, 0, 1, 2))))
    return {
        "gauges": [gauge_of(draw, since) for since in (0, *changes)],
        "reference": draw.choice((None, 40.0)),
        "working": draw.choice((0.0, 2.4 * BAR)),
    }


def pressures(draw: random.Random) -> tuple[float | None, float | None]:
    """Inlet and outlet [bar]: ordinary, low, alike, zero, turned about, or one missing."""
    inlet = draw.choice((3.2, 3.2, 3.0, 2.2, 1.8, 4.3))
    kind = draw.random()
    if kind < 0.07:
        return 0.0, 0.0
    if kind < 0.10:
        return draw.choice(((None, 2.0), (3.0, None), (3.0, 3.5)))
    if kind < 0.22:
        return inlet, inlet
    if kind < 0.28:
        return inlet, round(inlet + draw.choice((0.05, 0.1, 0.15, 0.25)), 2)
    return inlet, round(inlet - draw.choice((0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8)), 2)


def log_of(draw: random.Random) -> list[dict[str, Any]]:
    """One random log, an entry or none a day, so that its order is beyond doubt."""
    log: list[dict[str, Any]] = []
    for day in range(1, draw.randint(3, 28)):
        if draw.random() < 0.5:
            inlet, outlet = pressures(draw)
            flow = draw.choice((None, None, 40.0, 30.0, 22.0, 6.0, 0.0))
            log.append({"kind": "read", "day": day, "bar": (inlet, outlet), "flow": flow})
        elif draw.random() < 0.7:
            yes = (True, True, True, None, False)
            log.append({
                "kind": "work", "day": day, "work": draw.choice(WORKS),
                "cycles": draw.choice((3, 3, 3, 4, 1, None)), "low_bar": draw.choice(FLUSH_LOW),
                "click": draw.choice(yes), "heard": draw.choice(yes), "water": draw.choice(yes),
            })  # fmt: skip
    for entry in log:
        if entry["kind"] == "read":
            entry["inlet"], entry["outlet"] = (v and v * BAR for v in entry["bar"])
        else:
            entry["low"] = entry["low_bar"] and entry["low_bar"] * BAR
    return log


def typed(farm: dict[str, Any], day: int, *bars: float | None) -> list[float | None]:
    """Pressures [bar] as they stand on the gauge of a day, to four places."""
    unit = unit_on(farm, day)
    return [None if bar is None else round(bar / UNITS[unit], 4) for bar in bars]


def unit_on(farm: dict[str, Any], day: int) -> str:
    return [str(g["unit"]) for g in farm["gauges"] if g["since"] <= day][-1]


def gauge_row(name: str, gauge: dict[str, Any], first: dt.date) -> dict[str, Any]:
    """A gauge as the register or the sheet Gauges names it; days count from `first` on."""
    words = {None: None, False: "one gauge", True: "two gauges"}
    division, scale, gauge_class = gauge["typed"]
    factor = UNITS[gauge["unit"]]
    return {
        "station": name, "gauges": words[gauge["two"]], "gauge_class": gauge_class,
        "full_scale": scale and round(scale / factor, 6),
        "since": first + dt.timedelta(gauge["since"]),
        "division": division and round(division / factor, 6),
        "unit": gauge["unit"], "typed_in": gauge["unit"],
    }  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One random log of one station, and the day that it is judged on."""

    seed: int
    farm: dict[str, Any]
    log: list[dict[str, Any]]
    as_of: int

    @property
    def name(self) -> str:
        return f"North {self.seed}"


def case_of(seed: int) -> Case:
    draw = random.Random(f"plain ladder {seed}")
    farm, log = farm_of(draw), log_of(draw)
    return Case(seed, farm, log, (log[-1]["day"] if log else 1) + draw.choice((0, 0, 0, 9)))


def histories_of(cases: list[Case]) -> list[History]:
    """The logs through the product's own frames, each pressure in the unit of its gauge.

    Every log is laid so that the day it is judged on is TODAY.
    """
    word = {True: "yes", False: "no", None: None}
    register, changed, readings, work = [], [], [], []
    for case in cases:
        farm, begin = case.farm, TODAY - dt.timedelta(case.as_of)
        first, *changes = (gauge_row(case.name, gauge, begin) for gauge in farm["gauges"])
        register.append(first | {"reference_flow": farm["reference"]})
        changed += changes
        for e in case.log:
            row = {"station": case.name, "date": begin + dt.timedelta(e["day"])}
            row["typed_in"] = unit_on(farm, e["day"])
            if e["kind"] == "read":
                inlet, outlet = typed(farm, e["day"], *e["bar"])
                readings.append(row | {"inlet": inlet, "outlet": outlet, "flow": e["flow"]})
            else:
                (low,) = typed(farm, e["day"], e["low_bar"])
                work.append(row | {
                    "work": e["work"], "cycles": e["cycles"], "flush_inlet": low,
                    "click": word[e["click"]], "water_heard": word[e["heard"]],
                    "water": word[e["water"]],
                })  # fmt: skip
    made = book(
        readings, stations=register, work=work, gauges=changed, flush_inlet=plain.FLUSH_INLET
    )
    found = {one.station.name: one for one in histories(made, TODAY)}
    return [with_working_inlet(found[case.name], case) for case in cases]


def with_working_inlet(history: History, case: Case) -> History:
    station: Station = replace(history.station, working_inlet=case.farm["working"] or None)
    return replace(history, station=station)


def test_both_ladders_agree_on_random_logs() -> None:
    seen: Counter[str] = Counter()
    for start in range(0, LOGS, AT_ONCE):
        cases = [case_of(seed) for seed in range(start, start + AT_ONCE)]
        for case, history in zip(cases, histories_of(cases), strict=True):
            expected = plain.judge_plainly(case.log, case.farm, case.as_of)
            found = judge(history, SETTINGS, TODAY)
            assert [str(found.verdict), *map(str, found.also)] == expected, case
            seen[expected[0]] += 1
    assert set(seen) == {
        "escalate", "hand-clean", "check-flush-gear", "check-supply", "flush", "re-read",
        "no-reading", "watch", "in-range",
    }  # fmt: skip
    assert min(seen.values()) >= LOGS // 200, seen
