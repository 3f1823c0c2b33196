"""A small sample of the benchmark, so that a change that spoils the forecast fails here.

The full table is docs/forecast-benchmark.md; with 90 cases the coverage wanders by about 4 %.
"""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from tests.benchmarks.farms import SCENARIOS, Stop, draw
from tests.benchmarks.forecast import is_whole, pinball, score, stops, summarise
from tests.benchmarks.forecast_page import DOCUMENT


def test_pinball_loss() -> None:
    """Early by 10 days costs 0.1, 0.5 and 0.9 of it; late the other way round."""
    assert pinball(np.array([10.0, 10.0, 10.0]), 20.0) == pytest.approx(10 * 1.5 / 3)
    assert pinball(np.array([5.0, 10.0, 15.0]), 10.0) == pytest.approx((0.5 + 0 + 0.5) / 3)


def test_a_case_is_drawn_again_alike() -> None:
    """The same seed, the same farm."""
    first, second = (draw(SCENARIOS[1], Stop(readings=5), 7) for _ in range(2))
    assert first is not None
    assert first == second


@pytest.mark.at_length  # test_forecast.py, and test_rates.py for what 80 % means
@pytest.mark.parametrize("stop", [Stop(readings=5), Stop(share=0.7)], ids=["early", "late"])
def test_a_sample_stays_calibrated(stop: Stop) -> None:
    """Seeds that neither the tuning nor the page used; every other kind of farm."""
    scores = []
    for scenario in [s for s in SCENARIOS if s.name != "years"][::2]:
        cases = (draw(scenario, stop, seed) for seed in range(900_000, 900_040))
        whole = (case for case in cases if case is not None and is_whole(case, stop))
        scores += [score(case, scenario.name, "some") for case in islice(whole, 14)]
    line = summarise("sample", "some", scores)
    assert line.cases >= 60
    assert 0.68 <= line.coverage <= 0.95
    assert line.early <= 0.2
    assert line.of_better < 0.6


def test_the_page_stands_in_the_docs() -> None:
    """With every scenario in its table."""
    text = DOCUMENT.read_text(encoding="utf-8")
    for scenario in SCENARIOS:
        assert all(f"| {scenario.name} | {stop} |" in text for stop, _ in stops(scenario))
