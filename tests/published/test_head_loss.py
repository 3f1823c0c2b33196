"""Drop against flow: the program's power law against the Ergun equation of a released library.

Marks, as on the reference page: [S2] second-hand (a library that cites its source), [C]
recomputed there. Ergun 1952 through `fluids.packed_bed.Ergun`. No published table of drop
against flow for an irrigation filter could be read, so none is claimed.
"""

from __future__ import annotations

import math

import pytest
from fluids.packed_bed import Ergun

from batch.runs import FLOW_EXPONENT, corrected_drop

WATER_20 = {"rho": 998.2072, "mu": 1.0016e-3}  # [kg/m3], [Pa s] at 20 deg C


def bed_drop(speed: float) -> float:
    """Drop [bar] over 0.5 m of 0.8 mm sand, voidage 0.4, at `speed` [m/h]."""
    return float(Ergun(dp=8e-4, voidage=0.4, vs=speed / 3600, L=0.5, **WATER_20)) / 1e5


def test_h01_the_oracle_gives_its_own_example() -> None:
    """1338.8671875 Pa per metre [S2]: the library is what the reference page measured."""
    found = Ergun(dp=8e-4, voidage=0.4, vs=1e-3, rho=1e3, mu=1e-3)
    assert found == pytest.approx(1338.8671875, abs=1e-6)


def test_h02_h04_a_media_bed_is_between_laminar_and_turbulent() -> None:
    """0.0621275 bar at 30 m/h, 0.138471 at 60; so n = 1.156 [C].

    With that exponent the program's correction takes one drop to the other. With its usual
    n = 2, right for screens, it would overstate a media bed's drop by 79 % at twice the flow.
    """
    slow, fast = bed_drop(30.0), bed_drop(60.0)
    assert slow == pytest.approx(0.0621275, abs=1e-6)
    assert fast == pytest.approx(0.138471, abs=1e-6)
    exponent = math.log(fast / slow) / math.log(2)
    assert exponent == pytest.approx(1.156, abs=1e-3)
    assert corrected_drop(slow, 30.0, 60.0, exponent) == pytest.approx(fast, rel=1e-12)
    assert corrected_drop(slow, 30.0, 60.0, 1.156) == pytest.approx(fast, rel=1e-3)
    assert corrected_drop(slow, 30.0, 60.0, FLOW_EXPONENT) / fast == pytest.approx(1.79, abs=0.01)


def test_h03_power_law() -> None:
    """n = 2: 0.2 bar at 40 m3/h become 0.3125 at 50; n = 1.156: 0.2589 [C]."""
    assert FLOW_EXPONENT == 2.0
    assert corrected_drop(0.2, 40.0, 50.0) == pytest.approx(0.3125, abs=1e-12)
    assert corrected_drop(0.2, 40.0, 50.0, 1.156) == pytest.approx(0.2589, abs=1e-4)
