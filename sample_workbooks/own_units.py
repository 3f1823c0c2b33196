"""Two farms that type and read one unit throughout: one in psi, one in kPa. No metre in either."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from sample_workbooks import rows, twelve
from sample_workbooks.season import Gauge, Season, run
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.own_unit import defaults
from siltbook.templates.units import metres_per


@dataclass(frozen=True)
class Farm:
    """One farm: its units, its gauge, and which of the twelve histories its stations have."""

    name: str
    flow_unit: str
    gauge: Gauge
    verdicts: tuple[str, ...]
    letter: str


FARMS = {
    "all-in-psi.xlsx": Farm(
        "Sample Farm in psi (invented)", "gpm", Gauge("psi", 0.5, 90.0, 1.6),
        ("escalate", "check-supply", "check-field", "flush", "inspect-screen", "watch"), "Q",
    ),
    "all-in-kpa.xlsx": Farm(
        "Sample Farm in kPa (invented)", "m3/h", Gauge("kPa", 2.0, 600.0, 1.6),
        ("hand-clean", "check-flush-gear", "re-read", "watch", "in-range"), "K",
    ),
}  # fmt: skip


def seasons(name: str) -> tuple[Season, ...]:
    """The season of every station of a farm; KeyError for an unknown one."""
    farm = FARMS[name]
    plans = [
        replace(plan, name=f"{farm.letter}{n} {plan.name.split(' ', 1)[1]}", own_inlet=True)
        for n, plan in enumerate((p for p in twelve.PLANS if p.verdict in farm.verdicts), 1)
    ]
    people, weeks = ("Reader E", "Reader F"), twelve.WEEKS
    begin = twelve.START + dt.timedelta(minutes=30)
    return tuple(
        run(plan, farm.gauge, people, begin, weeks, f"{name}, 2026 a {plan.name}") for plan in plans
    )


def book(name: str) -> bytes:
    """The workbook of one farm."""
    farm, unit = FARMS[name], FARMS[name].gauge.unit
    made = seasons(name)
    lists = rows.sheets(made, (farm.gauge,) * len(made), unit)
    for row in lists["Stations"]:
        row["clean_drop"] = round(float(str(row["clean_drop"])) / metres_per(unit), 1)
    asked = rows.settings(farm.name, unit, farm.flow_unit, twelve.REVIEW)
    settings = {**asked, **rows.COSTS, **defaults(unit)}
    return build(BlankOptions(unit, farm.flow_unit, farm.name, limits_in=unit), lists, settings)
