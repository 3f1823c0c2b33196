"""Makes the sample workbooks: `python sample_workbooks/make.py` writes them beside this file.

Every farm, name and reading in them is invented. The same script gives the same bytes each
time; `truth` tells what is really so, for tests to hold the program against.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
# Run as a script, or loaded by path, the project's folders are not yet importable.
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

from sample_workbooks import (  # noqa: E402
    as_kept,
    flow,
    mixed,
    own_units,
    portfolio,
    real_life,
    rows,
    twelve,
)
from sample_workbooks.dirt import Dirt, Reset  # noqa: E402
from sample_workbooks.season import Episode, Gauge, Season, TrueReading  # noqa: E402
from siltbook.batch.typed.boxes import Box  # noqa: E402
from siltbook.templates.blank import BlankOptions, build  # noqa: E402

TWELVE, REAL_LIFE, MIXED = "twelve-stations.xlsx", "real-life-psi.xlsx", "mixed-units.xlsx"
FLOWS = "many-flows.xlsx"
IN_USE, REVIEWED = "in-use", "twelve-stations.reviewed.xlsx"

_AGREED = (
    {
        "station": "S04 Ridge", "action": "Have the pump looked at", "who": "Reader A",
        "due": twelve.REVIEW, "remark": "invented",
    },
    {
        "station": "S08 Stone", "action": "Keep a spare solenoid on the farm", "who": "Reader B",
        "due": twelve.START.date().replace(month=5, day=31),
        "done": twelve.START.date().replace(month=5, day=28),
    },
)  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """What is really so at one station: verdict, model parameters, resets, drops, episodes.

    `readings` hold true drops [m] and flows [m3/h; in the farm's flow unit where the sample
    uses another]; `episodes` follow the drops as read on the station's gauge.
    """

    verdict: str
    dirt: Dirt
    gauge: Gauge
    resets: tuple[Reset, ...]
    readings: tuple[TrueReading, ...]
    episodes: tuple[Episode, ...]


def _seasons(name: str) -> tuple[tuple[Season, ...], tuple[Gauge, ...]]:
    if name == TWELVE:
        return twelve.seasons(), (twelve.GAUGE,) * len(twelve.PLANS)
    if name == MIXED:
        return mixed.seasons(), mixed.GAUGES
    if name == FLOWS:
        return flow.seasons(), flow.GAUGES
    if name == REAL_LIFE:
        return real_life.seasons(), (real_life.GAUGE,) * len(real_life.PLANS)
    seasons = own_units.seasons(name)
    return seasons, (own_units.FARMS[name].gauge,) * len(seasons)


def truth(name: str = TWELVE) -> dict[str, Truth]:
    """Station -> what is really so in the sample `name`; KeyError for an unknown sample."""
    return {
        s.plan.name: Truth(s.plan.verdict, s.plan.dirt, g, s.resets, s.truths, s.episodes)
        for s, g in zip(*_seasons(name), strict=True)
    }


def mess() -> dict[str, tuple[str, str]]:
    """Kind of mess -> (sheet, cell) in the real-life sample."""
    return real_life.write()[1]


def _twelve() -> bytes:
    seasons, gauges = _seasons(TWELVE)
    options = BlankOptions("bar", "m3/h", twelve.FARM)
    settings = {**rows.settings(twelve.FARM, "bar", "m3/h", twelve.REVIEW), **rows.COSTS}
    lists = rows.sheets(seasons, gauges, "bar", _AGREED)
    readings = twelve.on_their_gauge(lists["Readings"])
    lists |= {
        "Readings": [*readings, *(dict(row) for row in twelve.PUMP_OFF)],
        "Water tests": list(twelve.WATER_TESTS),
        "Gauges": [twelve.NEW_GAUGE],
        "Carried over": [twelve.CARRIED],
    }
    return build(options, lists, settings)


def _mixed() -> bytes:
    seasons, gauges = _seasons(MIXED)
    options = BlankOptions("bar", "L/s", mixed.FARM)
    settings = {**rows.settings(mixed.FARM, "bar", "L/s", mixed.REVIEW), **rows.COSTS}
    return build(options, rows.sheets(seasons, gauges, "bar"), settings)


def _flows() -> bytes:
    seasons, gauges = _seasons(FLOWS)
    settings = rows.settings(flow.FARM, "bar", "m3/h", flow.REVIEW)
    options = BlankOptions("bar", "m3/h", flow.FARM)
    return build(options, rows.sheets(seasons, gauges, "bar"), settings)


def files() -> dict[str, bytes]:
    """File name -> bytes of every sample workbook."""
    return {
        TWELVE: _twelve(), REAL_LIFE: real_life.write()[0], MIXED: _mixed(), FLOWS: _flows(),
        **{name: own_units.book(name) for name in own_units.FARMS},
    }  # fmt: skip


def in_use() -> dict[str, bytes]:
    """The reviewed book of the twelve stations as the meeting left it: who, by when, and what."""
    from siltbook.batch.job import review_bytes

    return {f"{IN_USE}/{REVIEWED}": review_bytes(_twelve(), TWELVE, TWELVE, boxes=_boxes()).package}


def _boxes() -> Iterator[Box]:
    known = truth()
    for station, (action, who, due) in twelve.BOXES.items():
        episodes = known[station].episodes
        opened = episodes[-1].opened if episodes and not episodes[-1].closed else None
        yield Box(station, opened, action, who, due)


def main() -> None:
    """Write the sample workbooks beside this file."""
    for folder in (portfolio.FOLDER, as_kept.FOLDER, IN_USE):
        (HERE / folder).mkdir(exist_ok=True)
    made = {**files(), **portfolio.files(), **as_kept.files(), **in_use()}
    for name, content in made.items():
        (HERE / name).write_bytes(content)
        print(f"{HERE.name}/{name}: {len(content)} bytes")


if __name__ == "__main__":
    main()
