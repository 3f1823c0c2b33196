"""Probabilities near a limit, and the uncertainty of a drop, against worked examples.

Sources: JCGM 106:2012, clauses 7 and 8 (worked examples [M] + [C]); ILAC-G8:09/2019 (guard band
w = U gives 97.7 % [S]); JCGM 100:2008 (GUM) 5.2.2 [M]; EN 837-1:1996 Table 11 (meaning of the
class [S2]).
"""

from __future__ import annotations

import math

import pytest
import scipy

from siltbook.checks.gauges import drop_uncertainty, probability_over, smallest_excess
from siltbook.templates.units import metres_per


@pytest.mark.parametrize(
    ("name", "expected", "tolerance", "value", "limit", "u"),
    [
        ("JCGM 106 clause 7, Zener breakdown voltage", 1 - 0.919243, 1e-6, -5.47, -5.40, 0.05),
        ("JCGM 106 clause 7, container burst strength", 0.989010, 1e-6, 509.7, 490.0, 8.6),
        ("ILAC-G8, one-sided guard band of U = 2u", 0.977250, 1e-6, 5.5, 5.0, 0.25),
        ("drop 5.2 m, u 0.25 m", 0.788145, 1e-6, 5.2, 5.0, 0.25),
        ("at the limit, any u", 0.5, 1e-12, 5.0, 5.0, 0.7),
        ("upper edge of the band that wants another reading", 0.95, 1e-6, 5.411213, 5.0, 0.25),
    ],
)
def test_probability_over(
    name: str, expected: float, tolerance: float, value: float, limit: float, u: float
) -> None:
    assert probability_over(value, limit, u) == pytest.approx(expected, abs=tolerance), name


def test_two_sided_example_from_two_one_sided_ones() -> None:
    """JCGM 106 clause 7, viscosity of an oil: 12.5 to 16.3, y = 13.6, u = 1.8 [M]."""
    inside = probability_over(13.6, 12.5, 1.8) - probability_over(13.6, 16.3, 1.8)
    assert inside == pytest.approx(0.662630, abs=1e-6)


def test_probability_agrees_with_a_reference_library() -> None:
    for drop in (3.0, 4.9, 5.0, 5.4, 9.0):
        assert probability_over(drop, 5.0, 0.3) == pytest.approx(
            scipy.stats.norm.sf(5.0, drop, 0.3), rel=1e-12
        )


def test_two_gauges_of_class_1_6() -> None:
    """Two 0-10 bar gauges of class 1.6, independent: u = 0.130639 bar (GUM 5.2, computed)."""
    bar = metres_per("bar")
    u = drop_uncertainty(
        5.0, gauges="two gauges", full_scale=10 * bar, gauge_class=1.6, division=0.0
    )
    assert u is not None
    assert u / bar == pytest.approx(0.130639, abs=1e-6)


def test_one_gauge_resolution_only() -> None:
    """0.1 bar read as an interval of that width, twice: 0.040825 bar (GUM F.2.2.1, computed)."""
    u = drop_uncertainty(0.0, gauges="one gauge", full_scale=None, gauge_class=1.6, division=0.1)
    assert u == pytest.approx(0.040825, abs=1e-6)


def test_gain_error_stays_with_one_gauge() -> None:
    u = drop_uncertainty(5.0, gauges="one gauge", full_scale=None, gauge_class=2.0, division=0.0)
    assert u == pytest.approx(0.1 / math.sqrt(3.0), rel=1e-12)


def test_missing_gauge_data_gives_no_number() -> None:
    gauge = {"gauges": "two gauges", "full_scale": None, "gauge_class": 1.6, "division": 0.1}
    assert drop_uncertainty(5.0, **gauge) is None
    assert smallest_excess(5.0, **gauge) is None
    assert drop_uncertainty(5.0, **{**gauge, "gauges": None}) is None
