"""A bed of grains lies between laminar (1) and turbulent (2): Ergun, by an independent library.

Ergun 1952, Fluid flow through packed columns, Chem. Eng. Prog. 48, 89-94, as `fluids` computes
it. Sand of 0.8 mm, voidage 0.4, bed 0.5 m, water at 20 C (998.2072 kg/m3, 1.0016e-3 Pa s).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from fluids.packed_bed import Ergun

from siltbook.batch.model import Reading, Work
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.numbers.flowfit import HIGHEST, LOWEST, fit_exponent
from siltbook.templates.units import PASCAL_PER_METRE
from tests.numbers.logs import STATION, read, work

DENSITY, VISCOSITY = 998.2072, 1.0016e-3


def ergun(flow: float, size: float = 8e-4) -> float:
    """Drop [m of water] of the bed at a filtration velocity of `flow` [m/h]."""
    pascal = Ergun(dp=size, voidage=0.4, vs=flow / 3600.0, rho=DENSITY, mu=VISCOSITY, L=0.5)
    return float(pascal) / PASCAL_PER_METRE


def exponent(size: float, slow: float, fast: float) -> float:
    return math.log(ergun(fast, size) / ergun(slow, size)) / math.log(fast / slow)


def test_h01_the_librarys_own_example() -> None:
    assert Ergun(dp=8e-4, voidage=0.4, vs=1e-3, rho=1e3, mu=1e-3) == pytest.approx(1338.8671875)


def test_h02_and_h04_sand_of_eight_tenths() -> None:
    """0.13847 bar at 60 m/h; 30 to 60 m/h rises with the power 1.156."""
    assert ergun(60.0) * PASCAL_PER_METRE / 1e5 == pytest.approx(0.138471, rel=1e-5)
    assert exponent(8e-4, 30.0, 60.0) == pytest.approx(1.156, abs=1e-3)


@pytest.mark.parametrize("size", [2e-4, 8e-4, 3e-3, 2e-2])
@pytest.mark.parametrize(("slow", "fast"), [(10.0, 30.0), (30.0, 60.0), (60.0, 120.0)])
def test_any_bed_lies_between_the_bounds(size: float, slow: float, fast: float) -> None:
    assert LOWEST < exponent(size, slow, fast) < 2.0 < HIGHEST


def test_a_bed_read_at_many_flows_shows_its_exponent() -> None:
    entries: list[Reading | Work] = []
    flows = (30.0, 48.0, 36.0, 60.0, 42.0, 54.0, 33.0, 57.0, 39.0, 45.0)
    for i, flow in enumerate(flows):
        entries += [work(10 * i), read(10 * i + 1, ergun(flow), flow=flow)]
    fit = fit_exponent(replace(STATION, division=0.05), entries, 3, 0.0)
    assert fit.why_default == ""
    assert fit.n == pytest.approx(1.156, abs=0.02)
    # With 2 the drop at 60 m/h, taken to 30 m/h, comes out little more than half of the true one.
    own = corrected_drop(ergun(60.0), 60.0, 30.0, fit.n)
    assert own == pytest.approx(ergun(30.0), rel=0.02)
    assert corrected_drop(ergun(60.0), 60.0, 30.0) < 0.6 * ergun(30.0)


def test_power_law_values() -> None:
    """0.2 bar at 40 m3/h is 0.3125 bar at 50 with n = 2, and 0.2589 bar with n = 1.156."""
    assert corrected_drop(0.2, 40.0, 50.0) == pytest.approx(0.3125)
    assert corrected_drop(0.2, 40.0, 50.0, 1.156) == pytest.approx(0.2589, abs=5e-5)
