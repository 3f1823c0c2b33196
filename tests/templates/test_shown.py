"""Pressures in the unit that a farm reads."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siltbook.templates.book import Settings
from siltbook.templates.contract import PRESSURE_UNITS
from siltbook.templates.shown import IN_METRES, shown_in
from siltbook.templates.units import metres_per


@pytest.mark.parametrize(
    ("unit", "drop", "level", "limit"),
    [
        ("m", "5.10 m", "20.4 m", "5.00 m"),
        ("bar", "0.50 bar", "2.00 bar", "5 m (0.49 bar)"),
        ("kPa", "50 kPa", "200 kPa", "5 m (49 kPa)"),
        ("psi", "7.3 psi", "29.0 psi", "5 m (7.1 psi)"),
        ("kgf/cm2", "0.51 kgf/cm2", "2.04 kgf/cm2", "0.50 kgf/cm2"),
    ],
)
def test_a_pressure_has_the_digits_of_its_unit(
    unit: str, drop: str, level: str, limit: str
) -> None:
    say, bar = shown_in(unit), metres_per("bar")
    assert (say.drop(0.5 * bar), say.level(2 * bar), say.limit(5.0)) == (drop, level, limit)


def test_every_unit_of_the_contract_can_be_shown() -> None:
    for unit in PRESSURE_UNITS:
        assert shown_in(unit).value(metres_per(unit)) == pytest.approx(1.0, rel=1e-12)


def test_a_limit_has_the_digits_that_were_typed() -> None:
    assert shown_in("bar").limit(0.485 * metres_per("bar")) == "0.485 bar"
    assert shown_in("psi").limit(6.25 * metres_per("psi")) == "6.25 psi"
    assert shown_in("kPa").limit(49 * metres_per("kPa")) == "49 kPa"
    # Neither in metres nor in the unit that is shown: it is converted, and nothing else.
    assert shown_in("psi").limit(0.49 * metres_per("bar")) == "7.1 psi"


def test_whoever_reads_the_least_pressure_off_the_scale_has_it() -> None:
    two_bar = 2 * metres_per("bar")  # 29.008 psi: who holds 29.0 psi has less
    said = {unit: shown_in(unit).at_least(two_bar, typed_from=1) for unit in PRESSURE_UNITS}
    assert said == {
        "bar": "2.0 bar", "kPa": "200.0 kPa", "psi": "29.1 psi", "m": "20.4 m",
        "kgf/cm2": "2.04 kgf/cm2",
    }  # fmt: skip
    assert shown_in("bar").at_least(2.245 * metres_per("bar"), typed_from=1) == "2.245 bar"
    assert shown_in("psi").at_least(29 * metres_per("psi")) == "29.0 psi"


def test_a_level_under_the_least_never_prints_like_it() -> None:
    psi, two_bar = metres_per("psi"), 2 * metres_per("bar")
    assert shown_in("psi").under(29 * psi, two_bar) == ("29.0 psi", "29.1 psi")
    assert shown_in("bar").under(29 * psi, two_bar) == ("1.999 bar", "2.000 bar")
    assert shown_in("bar").under(two_bar - 2e-6, two_bar)[1].startswith("2.0000")


def test_a_limit_that_was_typed_in_metres_is_said_so_and_converted_once() -> None:
    assert shown_in("psi").limit(5.0) == "5 m (7.1 psi)"
    assert shown_in("psi").limit(4.75) == "4.75 m (6.8 psi)"
    assert shown_in("kPa").limit(20.0) == "20 m (196 kPa)"  # 196.133 kPa: nobody types that
    assert shown_in("bar").limit(5.0, digits=4) == "5 m (0.4903 bar)"
    assert shown_in("m").limit(5.0) == "5.00 m"


@given(st.sampled_from(PRESSURE_UNITS), st.floats(0.2, 60), st.floats(1e-4, 5))
def test_a_drop_over_its_limit_never_prints_as_the_limit(
    unit: str, limit: float, more: float
) -> None:
    say = shown_in(unit)
    digits = say.apart(limit + more, limit)
    # A thousandth of a metre is told at the latest by the digits that may be added.
    if more > 0.011:
        assert float(say.number(limit + more, digits)) > float(say.number(limit, digits))


@pytest.mark.parametrize(
    ("asked", "own", "said", "unit"),
    [("", "psi", True, "psi"), ("", "bar", False, "m"), ("kPa", "psi", True, "kPa"),
     ("m", "bar", True, "m")],
)  # fmt: skip
def test_the_unit_is_the_asked_one_else_the_farms_else_metres(
    asked: str, own: str, said: bool, unit: str
) -> None:
    settings = Settings(pressure_unit=own, show_pressures=asked, unit_said=said)
    assert settings.shown.unit == unit


def test_headers_follow_and_other_units_stay() -> None:
    say = shown_in("psi")
    named = [say.header(unit) for unit in ("m", "m/day", "m per week", "m3/h", "kWh", "")]
    assert named == ["psi", "psi/day", "psi per week", "m3/h", "kWh", ""]
    assert IN_METRES.header("m per week") == "m per week"
