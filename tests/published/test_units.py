"""Unit factors against printed values.

Source: NIST Special Publication 811 (2008), Appendix B.8 (factors [M], agreeing with the libraries
pint and scipy [S2]); definitions that are exact are said to be so.
"""

from __future__ import annotations

import pytest
import scipy.constants

from siltbook.batch.model import is_over
from siltbook.templates.units import (
    PASCAL_PER_METRE,
    cubic_metres_per_hour_per,
    known_unit,
    metres_per,
)


@pytest.mark.parametrize(
    ("value", "unit", "metres", "tolerance"),
    [
        (49.03325, "kPa", 5.0, 1e-9),  # exact: conventional metre of water, 9806.65 Pa
        (0.4903325, "bar", 5.0, 1e-9),
        (0.5, "bar", 5.098581065, 1e-8),
        (2.0, "bar", 20.394324260, 1e-8),
        (29.007547546, "psi", 20.394324260, 1e-8),
        (40.0, "kPa", 4.078864852, 1e-8),
        (3.0, "psi", 2.10921, 1e-5),
        (5.0, "psi", 3.51535, 1e-5),
        (1.0, "kgf/cm2", 10.0, 1e-9),  # exact: 98066.5 Pa
        (1.0, "m", 1.0, 0.0),
    ],
)
def test_pressure_in_metres_of_water(
    value: float, unit: str, metres: float, tolerance: float
) -> None:
    assert value * metres_per(unit) == pytest.approx(metres, abs=tolerance or 1e-15)


def test_factors_agree_with_a_reference_library() -> None:
    assert metres_per("psi") * PASCAL_PER_METRE == pytest.approx(scipy.constants.psi, rel=1e-12)
    assert metres_per("bar") * PASCAL_PER_METRE == pytest.approx(scipy.constants.bar, rel=1e-12)
    assert pytest.approx(1000.0 * scipy.constants.g, rel=1e-12) == PASCAL_PER_METRE


def test_half_a_bar_is_over_a_limit_of_five_metres() -> None:
    assert is_over(0.5 * metres_per("bar"), 5.0)
    assert not is_over(0.4903325 * metres_per("bar"), 5.0)


@pytest.mark.parametrize(
    ("unit", "expected"),
    [("gpm", 0.22712470704), ("L/s", 3.6), ("L/min", 0.06), ("m3/h", 1.0)],
)
def test_flow_in_cubic_metres_per_hour(unit: str, expected: float) -> None:
    """US gallon 0.003785411784 m3, exact (231 cubic inches)."""
    assert cubic_metres_per_hour_per(unit) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("PSI", "psi"), (" kPa ", "kPa"), ("mca", "m"), ("kg/cm²", "kgf/cm2"), ("furlong", None)],
)
def test_spellings_are_a_closed_table(text: str, unit: str | None) -> None:
    assert known_unit(text) == unit
