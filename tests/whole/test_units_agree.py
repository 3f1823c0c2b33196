"""The same history in four pressure units gives the same drops and verdicts."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.results import Assessment
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.units import metres_per

DROPS = {
    "A": (1.2, 3.4, 5.2),
    "B": (2.0, 4.1, 4.4),
    "C": (1.0, 5.5, 1.1),
    "D": (1.0, 1.1, 1.3),
}


def filled(unit: str) -> Assessment:
    day = dt.date(2026, 5, 4)
    scale = 1.0 / metres_per(unit)
    readings: list[dict[str, object]] = [
        {
            "station": station,
            "date": day + dt.timedelta(weeks=week),
            "inlet": 30.0 * scale,
            "outlet": (30.0 - drop) * scale,
        }
        for station, drops in DROPS.items()
        for week, drop in enumerate(drops)
    ]
    stations: list[dict[str, object]] = [
        {
            "station": s,
            "clean_drop": 1.0,
            "gauges": "one gauge",
            "full_scale": 60 * scale,
            "gauge_class": 1.6,
            "division": 0.5 * scale,
            "working_inlet": 20 * scale,
        }
        for s in DROPS
    ]
    rows = {"Stations": stations, "Readings": readings}
    data = build(BlankOptions(pressure_unit=unit), rows)
    return assess_bytes(data, unit)


@pytest.mark.at_length(keep="psi")
@pytest.mark.parametrize("unit", ["kPa", "psi", "m", "kgf/cm2"])
def test_same_history_same_answer(unit: str) -> None:
    reference, other = filled("bar"), filled(unit)
    for ours, theirs in zip(reference.stations, other.stations, strict=True):
        assert ours.station.name == theirs.station.name
        assert ours.verdict is theirs.verdict
        assert ours.judgement.borderline == theirs.judgement.borderline
        for a, b in zip(ours.history.readings, theirs.history.readings, strict=True):
            assert a.drop == pytest.approx(b.drop, abs=1e-9)
            assert a.u_drop == pytest.approx(b.u_drop, rel=1e-9)
    assert {f.rule for f in reference.findings} == {f.rule for f in other.findings}
