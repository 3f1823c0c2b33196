"""The twelve stations of the first sample: one for every verdict, each with its history."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from sample_workbooks.dirt import Dirt
from sample_workbooks.season import Gauge, Plan, Season, Visit, run

FARM = "Sample Farm (invented)"
REVIEW = dt.date(2026, 8, 30)
START = dt.datetime(2026, 3, 2, 7, 0)
WEEKS = 26
GAUGE = Gauge()
PEOPLE = ("Reader A", "Reader B")
SEED = "twelve stations, 2026"

_MISSED = Visit(missed=True)
_LOW = Visit(flow=0.97)
_PLANNED = Visit(planned_cleaning=True, remark="planned cleaning")

PLANS = (
    Plan(
        "S01 Weir", "Block 1", "escalate", Dirt(1.5, 0.028, 0.0004, 40.0),
        {
            6: _MISSED, 15: _PLANNED, 24: _LOW,
            25: Visit(
                flow=1.02, flush_share=0.05, cleaning_share=0.05,
                remark="hard crust on the element",
            ),
        },
    ),
    Plan(
        "S02 Pond", "Block 1", "hand-clean", Dirt(1.8, 0.024, 0.0004, 45.0),
        {
            9: _MISSED, 15: _PLANNED, 24: _LOW,
            25: Visit(flow=1.02, flush_share=0.1, clean_by_hand=False),
        },
    ),
    Plan(
        "S03 Willow", "Block 2", "check-flush-gear", Dirt(1.6, 0.027, 0.0004, 38.0),
        {4: _MISSED, 15: _PLANNED, 24: _LOW, 25: Visit(flow=1.02, signs=False)},
        filter_type="disc", grade=120.0,
    ),
    Plan(
        "S04 Ridge", "Block 2", "check-supply", Dirt(1.4, 0.020, 0.0003, 32.0),
        {
            11: _MISSED, 12: Visit(flush_share=0.05, remark="slime on the element"),
            20: _PLANNED, 23: Visit(inlet=2.8), 24: Visit(inlet=2.5),
            25: Visit(inlet=2.2, flow=0.9, remark="pump sounds rough"),
        },
    ),
    Plan(
        "S05 Hollow", "Block 3", "check-field", Dirt(1.3, 0.020, 0.0003, 36.0),
        {
            8: _MISSED, 18: _PLANNED,
            25: Visit(flow=1.2, field_loss=13.0, remark="wet patch in row 12"),
        },
    ),
    Plan(
        "S06 Terrace", "Block 3", "flush", Dirt(1.5, 0.026, 0.0004, 42.0),
        {13: _MISSED, 16: _PLANNED, 25: Visit(flush=False, remark="no time to flush")},
    ),
    Plan(
        "S07 Orchard", "Block 4", "inspect-screen", Dirt(2.0, 0.020, 0.0003, 50.0),
        {7: _MISSED, 18: _PLANNED, 25: Visit(torn=0.13, flow=1.0)},
    ),
    Plan(
        "S08 Stone", "Block 4", "re-read", Dirt(1.7, 0.0255, 0.0004, 34.0),
        {
            7: _MISSED, 10: Visit(signs=False, new_solenoid=True), 15: _PLANNED, 24: _LOW,
            25: Visit(flow=1.02, read_after_flush=False),
        },
        filter_type="disc", grade=120.0,
    ),
    Plan(
        "S09 Far End", "Block 5", "no-reading", Dirt(1.5, 0.018, 0.0002, 28.0),
        {5: _MISSED, 17: _PLANNED, 24: _MISSED, 25: _MISSED},
    ),
    Plan(
        "S10 Bridge", "Block 5", "watch", Dirt(1.6, 0.018, 0.0003, 40.0),
        {12: _MISSED, 16: _PLANNED, 25: Visit(flow=1.0)},
    ),
    Plan(
        "S11 Meadow", "Block 6", "in-range", Dirt(1.4, 0.012, 0.0001, 44.0),
        {3: _MISSED, 17: _PLANNED},
    ),
    Plan(
        "S12 Nursery", "Block 6", "resting", Dirt(1.5, 0.008, 0.0, 20.0),
        dict.fromkeys(range(13, WEEKS), _MISSED),
        in_service=False, remark="resting since June; block not planted",
    ),
)  # fmt: skip


# Entered late, at the end of the list: a visit at which nothing ran. A zero says nothing of a drop.
PUMP_OFF: tuple[dict[str, object], ...] = (
    {
        "station": "S11 Meadow", "date": dt.date(2026, 5, 14), "time": dt.time(18, 10),
        "inlet": 0.0, "outlet": 0.0, "flow": None, "field": None, "occasion": "routine",
        "read_by": "Reader B", "remark": "pump not running",
    },
)  # fmt: skip

# The first gauge of the meadow stuck; what was read on it before stays in bar.
NEW_GAUGE: dict[str, object] = {
    "station": "S11 Meadow", "since": dt.date(2026, 6, 15), "gauges": "one gauge",
    "full_scale": 600, "gauge_class": 1.6, "division": 5, "unit": "kPa",
    "remark": "invented; the old one stuck",
}  # fmt: skip
KPA_PER_BAR = 100

# The bridge's filter was flushed on the last day of last season, and nobody read it again.
CARRIED: dict[str, object] = {
    "station": "S10 Bridge", "step": "awaiting reading after flush", "opened": dt.date(2025, 10, 5),
    "flushed": dt.date(2025, 10, 12), "remark": "invented",
}  # fmt: skip


def on_their_gauge(readings: list[dict[str, object]]) -> list[dict[str, object]]:
    """The readings as they stand on the dials: in kPa where the new gauge was read."""
    for row in readings:
        since = NEW_GAUGE["since"]
        if row["station"] == NEW_GAUGE["station"] and row["date"] >= since:  # type: ignore[operator]
            for key in ("inlet", "outlet", "field"):
                value = row.get(key)
                row[key] = round(value * KPA_PER_BAR) if isinstance(value, float) else value
    return readings


# What the meeting wrote on Actions: station -> action, who, by when.
BOXES = {
    "S02 Pond": ("Clean by hand before the next irrigation", "Reader A", dt.date(2026, 9, 2)),
    "S03 Willow": ("Try the spare solenoid", "Reader B", dt.date(2026, 9, 4)),
}


# Block -> emitter exponent and passage [mm]: turbulent ones, compensating ones in block 4, and
# nobody knows which ones in block 5.
EMITTERS = {
    "Block 1": (0.5, 1.4), "Block 2": (0.5, 1.4), "Block 3": (0.42, 1.5), "Block 4": (0.0, 1.1),
    "Block 6": (0.5, 1.4),
}  # fmt: skip


_WELL, _POND = "Well by the weir", "Upper pond"
# Invented. The well's iron and hydrogen sulphide are such as the published tables disagree on;
# the pond was murky in spring, and nobody had its manganese measured.
WATER_TESTS = (
    {
        "date": dt.date(2026, 3, 4), "source": _WELL, "suspended_solids": 8, "ph": 7.1,
        "dissolved_solids": 620, "iron": 0.18, "manganese": "<0.05", "sulphide": 0.4,
        "bacteria": 3000, "remark": "invented",
    },
    {
        "date": dt.date(2026, 3, 4), "source": _POND, "suspended_solids": 124, "ph": 7.8,
        "dissolved_solids": 310, "iron": 0.08, "bacteria": 62_000, "remark": "invented; after rain",
    },
    {
        "date": dt.date(2026, 6, 10), "source": _POND, "suspended_solids": 58, "ph": 8.2,
        "dissolved_solids": 340, "iron": 0.05, "sulphide": 0, "bacteria": 41_000,
        "remark": "invented",
    },
    {
        "date": dt.date(2026, 7, 22), "source": _WELL, "suspended_solids": 6, "ph": 7,
        "dissolved_solids": 640, "iron": 0.15, "sulphide": 0.3, "bacteria": 2500,
        "remark": "invented; manganese not asked for",
    },
)  # fmt: skip


def _equipped(plan: Plan) -> Plan:
    """A fifth of the flow leaves through the flush outlet; nobody measured it at S11."""
    flow = None if plan.name == "S11 Meadow" else round(0.2 * plan.dirt.reference_flow, 1)
    return replace(plan, flush_flow=flow, emitter=EMITTERS.get(plan.block))


def seasons() -> tuple[Season, ...]:
    """The season of every station, in the order of the visits; always the same."""
    plans = [_equipped(plan) for plan in PLANS]
    return tuple(
        run(plan, GAUGE, PEOPLE, START + dt.timedelta(minutes=5 * n), WEEKS, f"{SEED} {plan.name}")
        for n, plan in enumerate(plans)
    )
