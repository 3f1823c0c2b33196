"""The cut-down table of units says exactly what pint's whole table says."""

from __future__ import annotations

import pint
import pytest

from siltbook.templates import units


@pytest.fixture(scope="module")
def whole() -> pint.UnitRegistry[float]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define(f"metre_of_water = {units.PASCAL_PER_METRE} * pascal")
    return registry


@pytest.mark.parametrize("unit", units.PRESSURE_UNITS)
def test_pressures_have_the_factor_of_the_whole_table(
    whole: pint.UnitRegistry[float], unit: str
) -> None:
    wanted = whole.Quantity(1.0, units.UNITS[unit].pint).m_as("metre_of_water")
    assert units.metres_per(unit) == wanted


@pytest.mark.parametrize("unit", units.FLOW_UNITS)
def test_flows_have_the_factor_of_the_whole_table(
    whole: pint.UnitRegistry[float], unit: str
) -> None:
    wanted = whole.Quantity(1.0, units.UNITS[unit].pint).m_as("meter ** 3 / hour")
    assert units.cubic_metres_per_hour_per(unit) == wanted
