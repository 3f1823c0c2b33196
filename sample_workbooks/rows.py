"""Turns planned seasons into the rows of a workbook, keyed as the contract keys them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from sample_workbooks.season import Gauge, Plan, Season
from siltbook.templates.units import metres_per

Row = Mapping[str, object]


def station_row(plan: Plan, gauge: Gauge, farm_unit: str) -> dict[str, object]:
    """One row of the register; pressures in the gauge's unit, named where it is not the farm's."""
    bar = metres_per("bar")
    row: dict[str, object] = {
        "station": plan.name, "block": plan.block, "filter_type": plan.filter_type,
        "grade": plan.grade, "reference_flow": plan.dirt.reference_flow,
        "clean_drop": plan.dirt.clean, "working_inlet": gauge.read(plan.working_inlet * bar),
        "wanted_field": gauge.read(plan.wanted_field * bar), "gauges": "one gauge",
        "full_scale": gauge.full_scale, "gauge_class": gauge.gauge_class,
        "division": gauge.division, "in_service": "yes" if plan.in_service else "no",
        "remark": plan.remark,
    }  # fmt: skip
    if plan.flush_flow is not None:
        row["flush_flow"] = plan.flush_flow
    if plan.emitter is not None:
        row["emitter_exponent"], row["emitter_passage"] = plan.emitter
    if gauge.unit != farm_unit:
        row["unit"] = gauge.unit
    return filled(row)


def filled(row: Row) -> dict[str, object]:
    """The row without its empty texts, so that empty cells stay empty."""
    return {key: value for key, value in row.items() if value != ""}


def in_order(rows: Sequence[Row]) -> list[dict[str, object]]:
    """Rows as a farm writes them down: by day, then by time, then as given."""
    return [filled(r) for r in sorted(rows, key=lambda r: (str(r["date"]), str(r["time"])))]


def sheets(
    seasons: Sequence[Season],
    gauges: Sequence[Gauge],
    farm_unit: str,
    agreed: Sequence[Row] = (),
) -> dict[str, list[dict[str, object]]]:
    """All four lists of a book: register, readings, work and what was agreed."""
    stations = [station_row(s.plan, g, farm_unit) for s, g in zip(seasons, gauges, strict=True)]
    return {
        "Stations": stations,
        "Readings": in_order([r for s in seasons for r in s.readings]),
        "Work done": in_order([r for s in seasons for r in s.work]),
        "Agreed": [filled(row) for row in agreed],
    }


def settings(farm: str, unit: str, flow_unit: str, review: dt.date) -> dict[str, object]:
    """A complete Farm sheet; the money is an invented currency."""
    lowest = {"bar": 2.0, "psi": 29.0, "kPa": 200.0}[unit]
    return {
        "farm": farm, "season": str(review.year), "pressure_unit": unit, "flow_unit": flow_unit,
        "drop_limit": 5.0, "watch_share": 0.8, "flush_inlet": lowest, "flush_cycles": 3,
        "interval": 7, "review_date": review, "hours": 6.0, "efficiency": 0.65, "price": 0.2,
        "currency": "units",
    }  # fmt: skip


# What cleaning and flushing take; some sample farms have filled it in, some have not.
COSTS: Row = {"cleaning_hours": 1.5, "labour_price": 12.0, "cycle_minutes": 1.0}
