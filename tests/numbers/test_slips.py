"""A unit in which no reading of a station can be right."""

from __future__ import annotations

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment
from tests.checks.builders import book, reading


def _judged(unit: str, inlet: float, outlet: float, days: int, **register: object) -> Assessment:
    rows = [reading(day + 1, inlet * (1 + 0.01 * day), outlet) for day in range(days)]
    return assess(book(rows, stations=[{"station": "North 1", "unit": unit, **register}]))


@pytest.mark.parametrize("days", [1, 3, 6])
@pytest.mark.parametrize(
    ("unit", "inlet", "outlet", "likely"),
    [
        ("psi", 2.8, 2.6, "bar"),
        ("kPa", 3.5, 3.4, "bar"),
        ("m", 2.8, 2.7, "bar"),
        ("kPa", 35.0, 34.0, "psi"),
        ("bar", 280.0, 270.0, "kPa"),
        ("bar", 40.0, 38.0, "psi"),
        ("psi", 280.0, 260.0, "kPa"),
    ],
)
def test_all_readings_in_another_unit(
    unit: str, inlet: float, outlet: float, likely: str, days: int
) -> None:
    judged = _judged(unit, inlet, outlet, days)
    (result,) = judged.stations
    assert result.verdict is Verdict.RE_READ
    assert f" {unit} looks like " in result.judgement.reason
    assert f" {likely})" in result.judgement.reason
    (said,) = [f.message for f in judged.findings if f.rule == "unit-doubtful"]
    count = f"all {days} readings look" if days > 1 else "its one reading looks"
    assert f"read {unit}, while {count} typed in {likely}; not used; accepted:" in said
    assert said.endswith(
        "Correct the unit of the station, or of the farm; if the pressures are right, fill in the"
        " station's 'Lowest working inlet'."
    )


@pytest.mark.parametrize(("inlet", "meant"), [(0.28, "2.8"), (0.028, "2.8")])
def test_megapascals_and_cells_in_per_cent(inlet: float, meant: str) -> None:
    judged = _judged("bar", inlet, 0.9 * inlet, 1)
    (result,) = judged.stations
    assert result.verdict is Verdict.RE_READ
    assert f"(inlet {inlet:g} bar looks like {meant} bar)" in result.judgement.reason
    (said,) = [f.message for f in judged.findings if f.rule == "unit-doubtful"]
    assert "its one reading looks too low by a decimal place, or typed in MPa; not used" in said


@pytest.mark.parametrize(
    ("unit", "inlet", "outlet", "register"),
    [
        ("bar", 2.8, 2.6, {}),
        ("psi", 28.0, 26.0, {}),
        ("kPa", 280.0, 260.0, {}),
        ("m", 5.0, 4.0, {}),  # a low one, and no other unit's
        ("m", 3.0, 2.5, {"working_inlet": 2.0}),  # said to be so
        ("bar", 0.3, 0.25, {"working_inlet": 0.2}),
        ("bar", 0.0009, 0.0008, {}),  # nothing makes it ordinary
        ("psi", 40.0, 38.0, {"working_inlet": 3000.0}),  # that one is out, not the readings
    ],
)
def test_readings_that_may_be_right(
    unit: str, inlet: float, outlet: float, register: dict[str, object]
) -> None:
    judged = _judged(unit, inlet, outlet, 5, **register)
    assert all("looks like" not in result.judgement.reason for result in judged.stations)
    assert not [f for f in judged.findings if f.rule == "unit-doubtful"]
