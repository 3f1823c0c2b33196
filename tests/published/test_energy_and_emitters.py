"""Pump energy and emitter discharge against worked examples."""

from __future__ import annotations

from dataclasses import replace

import pytest
import scipy

from siltbook.batch.model import History
from siltbook.batch.numbers.costs import discharge_share_lost, pump_energy
from siltbook.batch.numbers.field import discharge_lost
from siltbook.templates.book import Settings
from siltbook.templates.units import PASCAL_PER_METRE, cubic_metres_per_hour_per, metres_per
from tests.numbers.logs import STATION, read


def test_the_divisor_of_the_handbooks() -> None:
    """P = Q H / 367: exactly 3.6e6 / 9806.65 = 367.0978 [C]."""
    assert 1 / pump_energy(1.0, 1.0, 1.0, 1.0) == pytest.approx(367.0978, abs=1e-4)
    exact = 1000 * scipy.constants.g / scipy.constants.kilo / scipy.constants.hour
    assert pump_energy(1.0, 1.0, 1.0, 1.0) == pytest.approx(exact, rel=1e-12)


def test_p01_a_day_of_lifting() -> None:
    """600 m3 a day by 10 m: 16.344417 kWh [C].

    After FAO, "Small-scale pumped irrigation: energy and cost" (Kay & Hatcho 1992), as a web page
    repeats it [S]. That page prints 16.4, which is wrong: it divided by 365, not by 367.
    """
    found = pump_energy(600.0 / 24, 10.0, 24.0, 1.0)
    assert found == pytest.approx(16.344417, abs=1e-6)
    assert found == pytest.approx(600 * 10 / 367, rel=3e-4)
    assert round(found, 1) == 16.3


def test_p02_a_filter_at_the_limit() -> None:
    """50 m3/h by 5 m at 65 %: 1.047719 kW; 1000 h at 0.15 per kWh cost 157.16 [C]."""
    assert pump_energy(50.0, 5.0, 1.0, 0.65) == pytest.approx(1.047719, abs=1e-6)
    assert pump_energy(50.0, 5.0, 1000.0, 0.65) * 0.15 == pytest.approx(157.16, abs=5e-3)


def test_p03_an_audited_pump() -> None:
    """17.5 L/s, 86.6 m, 34.6 kW: 6.34187 kWh per ML and m [C], printed 6.34.

    Irrigation Australia journal (2015) [S]. The pump's efficiency follows: 0.4295 [C].
    """
    flow = 17.5 * cubic_metres_per_hour_per("L/s")
    efficiency = pump_energy(flow, 86.6, 1.0, 1.0) / 34.6
    assert efficiency == pytest.approx(0.4295, abs=5e-5)
    per_megalitre_and_metre = pump_energy(1000.0, 1.0, 1.0, efficiency)
    assert per_megalitre_and_metre == pytest.approx(6.34187, abs=1e-5)
    assert round(per_megalitre_and_metre, 2) == 6.34


def test_p04_water_horsepower() -> None:
    """20 gpm by 20 ft: 0.101010 hp by Q H / 3960 [C], printed 0.101 [S].

    New Mexico State University M-227 and Alabama Extension ANR-0548 give the divisor 3960 [S];
    it is rounded, and Utah State lecture 11 has 3956 [S]. One horsepower is 33 000 ft lbf/min;
    with 1000 kg/m3 a US gallon weighs 8.3454 lb, which makes the divisor 3954.3 [C].
    """
    flow = 20 * cubic_metres_per_hour_per("gpm")
    power = pump_energy(flow, 20 * scipy.constants.foot, 1.0, 1.0) * 1000 / scipy.constants.hp
    pounds_per_gallon = 1000 * scipy.constants.gallon / scipy.constants.lb
    assert power * (33000 / pounds_per_gallon) / 3960 == pytest.approx(0.101010, abs=1e-6)
    assert power == pytest.approx(0.101010, rel=2e-3)
    assert round(power, 3) == 0.101


def test_e01_head_for_more_discharge() -> None:
    """x = 0.42, 4 L/h at 10 m: 4.32 L/h needs 12.011 m [C], printed as 12.

    FAO/SAFR Irrigation Manual, Module 9, Example 8 [S]. Read backwards here: dirt that takes
    that head down to 10 m takes 1 - 4 / 4.32 of the discharge.
    """
    share = 1 - 4 / 4.32

    def miss(head: float) -> float:
        lost = discharge_share_lost(head - 10.0, head, 0.42)
        assert lost is not None
        return lost - share

    assert scipy.optimize.brentq(miss, 10.5, 20.0) == pytest.approx(12.011, abs=1e-3)


@pytest.mark.parametrize(
    ("exponent", "left"),
    [(0.5, 0.816497), (0.42, 0.843416), (0.0, 1.0)],
)
def test_e06_head_from_15_to_10_metres(exponent: float, left: float) -> None:
    """q = k H^x; what is left of the discharge [C]. x by type of emitter: section 9, [S]."""
    lost = discharge_share_lost(5.0, 15.0, exponent)
    assert lost is not None
    assert 1 - lost == pytest.approx(left, abs=1e-6)


@pytest.mark.parametrize("exponent", [0.0, 0.42, 0.5, 1.0])
def test_a_season_s_mean_agrees_with_a_numerical_library(exponent: float) -> None:
    """E06 over a run from the clean drop to 5 m above it, with 15 m behind a clean filter."""
    station = replace(STATION, clean_drop=1.0, emitter_exponent=exponent, wanted_field=15.0)
    history = History(station, (read(0, 1.0), read(9, 3.0), read(14, 6.0)))
    found = discharge_lost(history, Settings()).mean

    def lost(day: float) -> float:
        excess = day * 2 / 9 if day < 9 else 2 + (day - 9) * 3 / 5
        return float(1 - ((15 - excess) / 15) ** exponent)

    assert found == pytest.approx(scipy.integrate.quad(lost, 0, 14, points=[9])[0] / 14, abs=1e-6)


def test_the_same_energy_from_pressures_in_pascal() -> None:
    """Power is flow times pressure: 36 m3/h at 1 bar are 1 kW by definition of the units."""
    assert pump_energy(36.0, metres_per("bar"), 1.0, 1.0) == pytest.approx(1.0, rel=1e-12)
    assert pytest.approx(9806.65, abs=0) == PASCAL_PER_METRE
