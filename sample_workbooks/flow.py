"""Four stations whose flow differs from visit to visit: what a drop says at another flow.

The blocks have several valves, and how many are open changes the flow. For a trial every filter
was cleaned by hand each week, so that its clean drop was read at many flows. The drop follows
h ~ Q^n: n is 1.4 at the bed of sand F1 and 2 at the screen F2, and the readings of both fix it.
At F3 the flow hardly changes; F4 has a coarse gauge. Neither can tell, and 2 is kept.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from sample_workbooks.dirt import Dirt
from sample_workbooks.season import Gauge, Plan, Season, Visit, run

FARM = "Sample Farm of Many Flows (invented)"
REVIEW = dt.date(2026, 7, 27)
START = dt.datetime(2026, 4, 6, 6, 30)
WEEKS = 17
PEOPLE = ("Reader D", "Reader E")
SEED = "many flows, 2026"
_FINE, _COARSE = Gauge("bar", 0.01, 6.0, 1.0), Gauge("bar", 0.1, 6.0, 1.6)
GAUGES = (_FINE, _FINE, _FINE, _COARSE)

# Shares of the reference flow with one to five valves open, visit by visit.
_SHARES = (1.0, 0.6, 0.8, 1.1, 0.7, 0.9, 0.55, 1.05, 0.65, 0.95, 0.75, 1.0, 0.85)
_TRIAL = {
    week: Visit(flow=share, planned_cleaning=True, remark="trial: cleaned every week")
    for week, share in enumerate(_SHARES)
}
_AFTER = {13: Visit(flow=0.6), 14: Visit(flow=0.9), 15: Visit(flow=0.7), 16: Visit(flow=0.6)}
_VARIED = {**_TRIAL, **_AFTER}

PLANS = (
    Plan(
        "F1 Sand", "Block 1", "watch", Dirt(2.0, 0.055, 0.0012, 36.0, exponent=1.4),
        _VARIED, filter_type="media", grade=100.0,
    ),
    Plan("F2 Screen", "Block 2", "in-range", Dirt(1.6, 0.03, 0.001, 40.0), _VARIED),
    Plan(
        "F3 One valve", "Block 3", "in-range", Dirt(1.6, 0.03, 0.001, 24.0),
        {week: replace(visit, flow=None) for week, visit in _VARIED.items()},
    ),
    Plan(
        "F4 Old gauge", "Block 4", "in-range", Dirt(1.5, 0.03, 0.001, 30.0, exponent=1.7),
        _VARIED, filter_type="disc", grade=120.0,
    ),
)  # fmt: skip


def seasons() -> tuple[Season, ...]:
    """The season of every station, in the order of the visits; always the same."""
    return tuple(
        run(plan, gauge, PEOPLE, START + dt.timedelta(minutes=90 * n), WEEKS, f"{SEED} {plan.name}")
        for n, (plan, gauge) in enumerate(zip(PLANS, GAUGES, strict=True))
    )
