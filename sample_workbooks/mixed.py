"""Four stations side by side with one history of dirt, each read on a gauge in another unit.

The gauges are digital ones with fine divisions, so the same drop must get the same verdict
whichever unit it was read in. Each station stands on a branch of its own, so that its inlet
wavers by itself: four equal series of readings would look like one gauge read for all.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from sample_workbooks.dirt import Dirt
from sample_workbooks.season import Gauge, Plan, Season, Visit, run

FARM = "Sample Farm of Many Units (invented)"
REVIEW = dt.date(2026, 7, 12)
START = dt.datetime(2026, 4, 6, 7, 30)
WEEKS = 14
PEOPLE = ("Reader C",)
SEED = "mixed units, 2026"
GAUGES = (
    Gauge("bar", 0.01, 6.0, 0.5),
    Gauge("kPa", 1.0, 600.0, 0.5),
    Gauge("psi", 0.2, 90.0, 0.5),
    Gauge("kgf/cm2", 0.01, 6.0, 0.5),
)
NAMES = ("U1 in bar", "U2 in kPa", "U3 in psi", "U4 in kgf")

_PLAN = Plan(
    "", "Block M", "hand-clean", Dirt(1.5, 0.034, 0.0006, 10.0),
    {4: Visit(missed=True), 13: Visit(flow=1.08, flush_share=0.02, clean_by_hand=False)},
    base=0.8, filter_type="disc", grade=100.0, flush_flow=2.0, emitter=(0.5, 1.1),
    own_inlet=True,
)  # fmt: skip


def seasons() -> tuple[Season, ...]:
    """The same season four times, once in each unit."""
    plans = (replace(_PLAN, name=name) for name in NAMES)
    return tuple(
        run(plan, gauge, PEOPLE, START, WEEKS, SEED)
        for plan, gauge in zip(plans, GAUGES, strict=True)
    )
