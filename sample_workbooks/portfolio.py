"""Five invented farms over two seasons: ten small books for the monthly review of a portfolio.

Stations keep their names from one season to the next. What differs is planted, so that tests can
hold the program against it:

- North: disc filters foul twice as fast as the screens beside them, in both seasons.
- South: flushes a week late, in both seasons.
- East: the element of E3 no longer comes clean in the second season, whatever is done.
- West: read every 14 days in the first season, every 7 days in the second, and better for it.
- Hill: nobody read for four weeks of the second season; no energy price is known.

The water behaves as `dirt.py` says, the people as `season.py` says, unless a visit says otherwise.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sample_workbooks import rows
from sample_workbooks.dirt import Dirt
from sample_workbooks.season import LIMIT, Gauge, Plan, Season, Visit, run
from siltbook.templates.blank import BlankOptions, build

FOLDER = "portfolio"
YEARS = (2025, 2026)
WEEKS = 26
START = {2025: dt.datetime(2025, 4, 7, 7, 0), 2026: dt.datetime(2026, 4, 6, 7, 0)}  # Mondays
_MISSED = Visit(missed=True)
_GAP = dict.fromkeys(range(9, 13), _MISSED)  # 2026-06-08 to 2026-06-29
_FORTNIGHT = dict.fromkeys(range(1, WEEKS, 2), _MISSED)


@dataclass(frozen=True)
class Farm:
    """One farm: its units, its stations, and what a season changes at a station.

    `visits` maps (year, station) to visits by week; '*' stands for every station. `dirt` maps
    (year, station) to other true parameters. `agreed` are the second season's agreed actions.
    """

    key: str
    name: str
    gauge: Gauge
    flow_unit: str
    people: tuple[str, ...]
    plans: tuple[Plan, ...]
    visits: Mapping[tuple[int, str], Mapping[int, Visit]] = field(default_factory=dict)
    dirt: Mapping[tuple[int, str], Dirt] = field(default_factory=dict)
    settings: Mapping[int, Mapping[str, object]] = field(default_factory=dict)
    agreed: tuple[Mapping[str, object], ...] = ()
    late: bool = False  # flushes at the next visit after the one that was over


def _plan(name: str, block: str, kind: str, grade: float, dirt: Dirt) -> Plan:
    return Plan(name, block, "", dirt, filter_type=kind, grade=grade, base=0.3)


def _agree(
    station: str, action: str, who: str, due: str, done: str = "", remark: str = ""
) -> dict[str, object]:
    row: dict[str, object] = {
        "station": station, "action": action, "who": who, "due": dt.date.fromisoformat(due),
        "remark": remark,
    }  # fmt: skip
    return {**row, "done": dt.date.fromisoformat(done)} if done else row


_SCREEN = (0.050, 0.0004)  # steady [m/day], rising [m/day2]
_DISC_FAST = (0.100, 0.0016)  # the same curve run through twice as fast

NORTH = Farm(
    "north", "North Farm (invented)", Gauge("bar", 0.02, 6.0, 1.0), "m3/h", ("Reader A",),
    (
        _plan("N1 Screen", "Upper", "screen", 130.0, Dirt(1.5, *_SCREEN, 40.0)),
        _plan("N2 Screen", "Upper", "screen", 130.0, Dirt(1.4, *_SCREEN, 36.0)),
        _plan("N3 Screen", "Lower", "screen", 130.0, Dirt(1.6, *_SCREEN, 44.0)),
        _plan("N4 Disc", "Lower", "disc", 120.0, Dirt(1.5, *_DISC_FAST, 38.0)),
        _plan("N5 Disc", "Lower", "disc", 120.0, Dirt(1.6, *_DISC_FAST, 42.0)),
        _plan("N6 Disc", "Upper", "disc", 120.0, Dirt(1.4, *_DISC_FAST, 40.0)),
    ),
    visits={
        (2026, "N2 Screen"): {
            **dict.fromkeys((14, 15, 16), Visit(signs=False)),
            17: Visit(signs=False, new_solenoid=True),
        }
    },
    agreed=(
        _agree("N4 Disc", "Flush at the next visit over the limit", "Reader A", "2026-07-10",
               "2026-07-06"),
        _agree("N6 Disc", "Flush", "Reader A", "2026-07-10", "2026-07-13"),
        _agree("N2 Screen", "Check the solenoid", "Reader A", "2026-07-24"),
        _agree("N1 Screen", "Decide on a finer reading plan", "Reader A", "2026-08-20"),
    ),
)  # fmt: skip

SOUTH = Farm(
    "south", "South Farm (invented)", Gauge("kPa", 2.0, 600.0, 1.0), "L/s",
    ("Reader B", "Reader C"),
    (
        _plan("S1 Well", "River side", "screen", 130.0, Dirt(1.4, 0.070, 0.0005, 10.0)),
        _plan("S2 Well", "River side", "screen", 130.0, Dirt(1.5, 0.065, 0.0005, 11.0)),
        _plan("S3 Canal", "Road side", "disc", 120.0, Dirt(1.6, 0.060, 0.0004, 12.0)),
        _plan("S4 Canal", "Road side", "disc", 120.0, Dirt(1.5, 0.065, 0.0004, 9.0)),
    ),
    visits={(2026, "S1 Well"): {16: Visit(flow=1.1)}},
    agreed=(
        _agree("S3 Canal", "Flush", "Reader B", "2026-07-03", "2026-07-06"),
        _agree("S1 Well", "Flush within a day of a reading over the limit", "Reader C",
               "2026-07-30"),
    ),
    late=True,
)  # fmt: skip

EAST = Farm(
    "east", "East Farm (invented)", Gauge("psi", 0.5, 90.0, 1.0), "gpm", ("Reader D",),
    (
        _plan("E1", "Block 1", "screen", 130.0, Dirt(1.5, 0.050, 0.0003, 160.0)),
        _plan("E2", "Block 1", "screen", 130.0, Dirt(1.6, 0.045, 0.0003, 150.0)),
        _plan("E3", "Block 2", "disc", 100.0, Dirt(1.5, 0.060, 0.0004, 170.0)),
        _plan("E4", "Block 2", "disc", 100.0, Dirt(1.4, 0.055, 0.0004, 165.0)),
        _plan("E5", "Block 3", "media", 80.0, Dirt(1.8, 0.025, 0.0002, 180.0)),
    ),
    visits={(2026, "E3"): dict.fromkeys((14, 15, 16), Visit(flow=1.02))},
    dirt={(2026, "E3"): Dirt(1.5, 0.060, 0.0004, 170.0, 0.05, 0.08)},
    agreed=(
        _agree("E3", "Clean by hand", "Reader D", "2026-07-10", "2026-07-06"),
        _agree("E3", "Have the element looked at", "Reader D", "2026-07-31", "2026-07-30"),
    ),
)  # fmt: skip

WEST = Farm(
    "west", "West Farm (invented)", Gauge("m", 0.2, 60.0, 1.0), "L/min", ("Reader E",),
    (
        _plan("W1", "Terrace", "screen", 130.0, Dirt(1.5, 0.080, 0.0006, 600.0)),
        _plan("W2", "Terrace", "screen", 130.0, Dirt(1.4, 0.085, 0.0006, 620.0)),
        _plan("W3", "Slope", "disc", 120.0, Dirt(1.6, 0.075, 0.0006, 580.0)),
        _plan("W4", "Slope", "disc", 120.0, Dirt(1.5, 0.080, 0.0006, 610.0)),
        _plan("W5", "Slope", "media", 80.0, Dirt(1.7, 0.040, 0.0003, 640.0)),
    ),
    visits={(2025, "*"): _FORTNIGHT},
    settings={2025: {"interval": 14}},
    agreed=(_agree("W1", "Read every 7 days", "Reader E", "2026-04-15", "2026-04-06"),),
)  # fmt: skip

HILL = Farm(
    "hill", "Hill Farm (invented)", Gauge("kgf/cm2", 0.02, 6.0, 1.0), "m3/h", ("Reader F",),
    (
        _plan("H1", "Orchard", "screen", 130.0, Dirt(1.5, 0.045, 0.0003, 30.0)),
        _plan("H2", "Orchard", "screen", 130.0, Dirt(1.4, 0.050, 0.0003, 32.0)),
        _plan("H3", "Vines", "screen", 130.0, Dirt(1.6, 0.055, 0.0003, 28.0)),
        _plan("H4", "Vines", "disc", 120.0, Dirt(1.5, 0.050, 0.0003, 31.0)),
    ),
    visits={(2026, "*"): _GAP, (2026, "H4"): {15: _MISSED, 16: _MISSED}},
    settings={2025: {"price": None}, 2026: {"price": None}},
    agreed=(_agree("H4", "Read again", "Reader F", "2026-07-24"),),
)  # fmt: skip

FARMS = (NORTH, SOUTH, EAST, WEST, HILL)


def _planned(farm: Farm, plan: Plan, year: int) -> Plan:
    """The station's plan with what the season changes."""
    every = farm.visits.get((year, "*"), {})
    own = farm.visits.get((year, plan.name), {})
    dirt = farm.dirt.get((year, plan.name), plan.dirt)
    return replace(plan, dirt=dirt, visits={**every, **own})


def _over(season: Season, gauge: Gauge, day: dt.date) -> bool:
    """Whether the day's first reading is over the limit."""
    first = next((r for r in season.readings if r["date"] == day), None)
    if first is None:
        return False
    fall = round(float(str(first["inlet"])) - float(str(first["outlet"])), 6)
    return gauge.metres(fall) > LIMIT + 1e-6


def _season(farm: Farm, plan: Plan, number: int, year: int) -> Season:
    """One station's season; where the farm is late, each flush waits for the next visit."""
    start = START[year] + dt.timedelta(minutes=12 * number)
    seed = f"portfolio {farm.key} {year} {plan.name}"
    season = run(plan, farm.gauge, farm.people, start, WEEKS, seed)
    waited = False
    for week in range(WEEKS if farm.late else 0):
        over = _over(season, farm.gauge, start.date() + dt.timedelta(days=7 * week))
        waited = over and not waited
        if waited:
            visit = replace(plan.visits.get(week, Visit()), flush=False)
            plan = replace(plan, visits={**plan.visits, week: visit})
            season = run(plan, farm.gauge, farm.people, start, WEEKS, seed)
    return season


def seasons(farm: Farm, year: int) -> tuple[Season, ...]:
    """The season of every station, in the order of the visits; always the same."""
    plans = enumerate(farm.plans)
    return tuple(_season(farm, _planned(farm, plan, year), n, year) for n, plan in plans)


def book(farm: Farm, year: int) -> bytes:
    """One farm's workbook of one season."""
    unit = farm.gauge.unit
    found = seasons(farm, year)
    gauges = (farm.gauge,) * len(found)
    base = rows.settings(farm.name, "bar", farm.flow_unit, dt.date(year, 9, 30))
    settings = {**base, "pressure_unit": unit, **farm.settings.get(year, {})}
    agreed = farm.agreed if year == YEARS[-1] else ()
    lists = rows.sheets(found, gauges, unit, agreed)
    return build(BlankOptions(unit, farm.flow_unit, farm.name), lists, settings)


def files() -> dict[str, bytes]:
    """File name within the folder of samples -> bytes of every book of the portfolio."""
    return {f"{FOLDER}/{f.key}-{y}.xlsx": book(f, y) for f in FARMS for y in YEARS}
