"""Rules about what was read."""

from __future__ import annotations

import pytest

from siltbook.batch.numbers.history import histories
from tests.checks.builders import book, job, reading
from tests.checks.helpers import messages

INLETS = (3.0, 2.9, 3.1, 3.05, 2.95)


def usual(*more: dict[str, object]) -> list[dict[str, object]]:
    """Five ordinary days and whatever follows."""
    return [*(reading(day, inlet, 2.6) for day, inlet in enumerate(INLETS, 1)), *more]


def test_outlet_over_inlet_names_both_cells_values() -> None:
    assert messages(book([reading(1, 3.0, 3.2)]), "outlet-over-inlet") == [
        "Readings!E2: outlet above inlet: read outlet 3.2 bar, inlet 3 bar in D2; accepted: "
        "outlet at or below inlet. Check the selector: the two may be swapped."
    ]


def test_outlet_within_the_gauges_resolution_is_accepted() -> None:
    register = [{"station": "North 1", "division": 0.1}]
    # Two readings to half of 0.1 bar: u = 0.041 bar, of which 1.645 times are 0.067 bar.
    assert messages(book([reading(1, 3.0, 3.06)], stations=register), "outlet-over-inlet") == []
    (message,) = messages(book([reading(1, 3.0, 3.07)], stations=register), "outlet-over-inlet")
    assert "read outlet 3.07 bar" in message


def test_equal_or_missing_sides_are_accepted() -> None:
    assert messages(book([reading(1, 3.0, 3.0), reading(2, None, 3.0)]), "outlet-over-inlet") == []


def test_pressure_beyond_gauge() -> None:
    register = [{"station": "North 1", "full_scale": 6}]
    rows = [reading(1, 6.5), reading(2, 6.0), reading(3, field=7)]
    assert messages(book(rows, stations=register), "pressure-beyond-gauge") == [
        "Readings!D2: pressure beyond the gauge: read 6.5 bar; accepted: up to the gauge's full "
        "scale, 6 bar. Read again; check the unit and the gauge's full scale.",
        "Readings!G4: pressure beyond the gauge: read 7 bar; accepted: up to the gauge's full "
        "scale, 6 bar; until then the cell counts as empty. Read again; check the unit and the "
        "gauge's full scale.",
    ]


def test_no_full_scale_no_finding() -> None:
    assert messages(book([reading(1, 60)]), "pressure-beyond-gauge") == []
    zero = [{"station": "North 1", "full_scale": 0}]
    assert messages(book([reading(1, 60)], stations=zero), "pressure-beyond-gauge") == []


def test_pressure_in_kilopascal_among_bar() -> None:
    assert messages(book(usual(reading(6, 300, 2.6))), "pressure-other-unit") == [
        "Readings!D7: looks typed in another unit: read 300 bar, which looks like kPa; "
        "accepted: values in bar; the usual inlet pressure here is 3.02 bar. Check the unit of "
        "this reading."
    ]


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize(
    ("unit", "factor", "typed", "looks"),
    [
        ("bar", 1, 43.5, "psi"),
        ("bar", 1, 30.6, "m"),
        ("bar", 1, 300, "kPa"),
        ("kPa", 100, 3, "bar"),
        ("kPa", 100, 43.5, "psi"),
        ("psi", 14.5, 3, "bar"),
        ("psi", 14.5, 300, "kPa"),
        ("m", 10.2, 3, "bar"),
        ("m", 10.2, 300, "kPa"),
    ],
)
def test_each_unit_is_told_from_the_stations_own(
    unit: str, factor: float, typed: float, looks: str
) -> None:
    rows = [reading(day, i * factor, 2.6 * factor) for day, i in enumerate(INLETS, 1)]
    rows.append(reading(6, typed, 2.6 * factor))
    (message,) = messages(book(rows, pressure_unit=unit), "pressure-other-unit")
    assert f"read {typed:g} {unit}, which looks like {looks};" in message


@pytest.mark.parametrize("inlet", [1.0, 0.7, 0.2, 0.0, 6.0, 14.0, 120000.0])
def test_honest_or_inexplicable_values_do_not_look_like_a_unit(inlet: float) -> None:
    assert messages(book(usual(reading(6, inlet, 0.0))), "pressure-other-unit") == []


@pytest.mark.parametrize(
    ("unit", "factor", "typed", "looks"),
    [
        ("psi", 14.5, 4.9 * 3.02 * 14.5, ""),
        ("psi", 14.5, 5.2 * 3.02 * 14.5, "kPa"),
        ("kPa", 100, 3.02 * 100 / 4.9, ""),
        ("kPa", 100, 3.02 * 100 / 5.2, "psi"),
    ],
)
def test_what_stays_within_five_times_the_usual_pressure_is_no_other_unit(
    unit: str, factor: float, typed: float, looks: str
) -> None:
    rows = [reading(day, i * factor, 2.6 * factor) for day, i in enumerate(INLETS, 1)]
    rows.append(reading(6, typed, 2.6 * factor))
    found = messages(book(rows, pressure_unit=unit), "pressure-other-unit")
    assert [f"which looks like {looks};" in said for said in found] == [True] * bool(looks)


def test_too_few_readings_give_no_base() -> None:
    assert messages(book([*usual()[:3], reading(6, 300)]), "pressure-other-unit") == []


def test_flow_zero_or_negative() -> None:
    rows = [reading(1, flow=0), reading(2, flow=-2), reading(3), reading(4, flow=0.1)]
    first, second = messages(book(rows, flow_unit="L/s"), "flow-not-positive")
    assert first == (
        "Readings!F2: flow zero or negative: read 0 L/s; accepted: a flow above 0, or an empty "
        "cell. Check the meter; leave the cell empty where there is none."
    )
    assert "Readings!F3: " in second
    assert "read -2 L/s" in second
    assert messages(book(rows), "value-out-of-bounds") == []


def test_flow_too_low_is_told_in_the_farms_unit() -> None:
    register = [{"station": "North 1", "reference_flow": 10}]
    rows = [reading(1, flow=1.9), reading(2, flow=2.0), reading(3, flow=0), reading(4)]
    assert messages(book(rows, stations=register, flow_unit="L/s"), "flow-too-low") == [
        "Readings!F2: flow under a fifth of the reference flow: read 1.9 L/s; accepted: 2 L/s "
        "or more. Read again while the station irrigates."
    ]
    assert messages(book(rows), "flow-too-low") == []


def test_no_drop_while_water_flows() -> None:
    rows = [reading(1, 3.0, 3.0, flow=12), reading(2, 3.0, 3.0), reading(3, 3.0, 3.0, flow=0)]
    assert messages(book(rows), "zero-drop-flowing") == [
        "Readings!E2: inlet and outlet read the same while water flows: read 3 bar on both "
        "sides at a flow of 12 m3/h; accepted: an outlet below the inlet while water flows. "
        "Try the gauge: a dead gauge reads no drop too."
    ]
    assert messages(book([reading(1, 3.0, 2.9, flow=12)]), "zero-drop-flowing") == []


def test_an_outlet_of_zero_is_asked_about_and_used() -> None:
    made = book([reading(1), reading(2, 3.0, 0.0), reading(3, 0.0, 0.0)])
    assert messages(made, "no-outlet-pressure") == [
        "Readings!E3: no pressure at the outlet: read 0 bar behind an inlet of 3 bar: a dead gauge,"
        " a shut valve, or no way through; accepted: an outlet above zero while the station"
        " irrigates. Read again while water flows; try the gauge and look whether the valves are"
        " open."
    ]
    opened = book([reading(2, 3.0, 0.0)], work=[job(2, "hand cleaning")])
    assert messages(opened, "no-outlet-pressure") == []


def test_a_flow_far_over_the_reference_flow_counts_as_empty() -> None:
    register = [{"station": "North 1", "reference_flow": 20.0, "clean_drop": 1.0}]
    made = book([reading(1, flow=100.0), reading(2, flow=200.0)], stations=register)
    assert messages(made, "flow-too-high") == [
        "Readings!F3: flow over five times the reference flow: read 200 m3/h; accepted: up to 100"
        " m3/h; until then the cell counts as empty. Check the meter's number, and the reference"
        " flow in the register."
    ]
    (history,) = histories(made, None)
    assert [r.flow for r in history.readings] == [100.0, None]
