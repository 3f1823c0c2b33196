"""What a better gauge would change, and how a coarse one is reported."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from siltbook.batch.assess import _coarse_gauge
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import History
from siltbook.batch.numbers.history import station_gauge
from siltbook.batch.results import StationResult
from siltbook.checks.gauges import (
    GaugeFitness,
    gauge_advice,
    gauge_fitness,
    reading_again_helps,
)
from siltbook.templates.book import Settings
from siltbook.templates.shown import IN_METRES
from tests.ladder.histories import station
from tests.sheets.example import build

Z = 1.6448536269514722


def fitness(gauges: str | None, division: float | None, of: float = 1.6) -> GaugeFitness:
    return gauge_fitness(5.0, gauges=gauges, full_scale=60.0, gauge_class=of, division=division)


def test_half_the_division_with_one_gauge() -> None:
    """u^2 = division^2/6 + (1.6 % of 5 m)^2/3 + (a quarter of 1.6 % of 60 m)^2/3."""
    found = fitness("one gauge", 1.0)
    gain = (0.016 * 5.0) ** 2 / 3 + (0.25 * 0.016 * 60.0) ** 2 / 3
    assert found.now == pytest.approx(Z * math.sqrt(1 / 6 + gain))
    assert found.finer == pytest.approx(Z * math.sqrt(0.25 / 6 + gain))
    assert (found.selector, found.both) == (None, None)


def test_a_selector_takes_the_class_of_two_gauges_away() -> None:
    found = fitness("two gauges", 0.2)
    assert found.now == pytest.approx(Z * math.sqrt(0.04 / 6 + 2 * 0.96**2 / 3))
    assert found.finer is not None
    assert found.now is not None
    assert found.now - found.finer < 0.01  # the class, not the division, is what counts
    assert found.selector == fitness("one gauge", 0.2).now
    assert found.both == fitness("one gauge", 0.1).now


@pytest.mark.parametrize("gauge", [(None, 1.0), ("one gauge", None), ("two gauges", None)])
def test_missing_gauge_data_tell_nothing(gauge: tuple[str | None, float | None]) -> None:
    found = fitness(*gauge)
    assert found == GaugeFitness(None, None, None, None)
    assert gauge_advice(found, 1.0, IN_METRES.fine) == ""


def test_the_advice_names_the_least_change_that_is_enough() -> None:
    assert gauge_advice(fitness("one gauge", 2.0), 1.0, IN_METRES.fine) == (
        "Smallest excess told now 1.36 m; with half the division: 0.71 m; "
        "enough is half the division."
    )
    assert gauge_advice(fitness("two gauges", 1.0), 1.0, IN_METRES.fine) == (
        "Smallest excess told now 1.45 m; with half the division: 1.33 m; "
        "one gauge with a selector instead of two: 0.71 m; both: 0.41 m; "
        "enough is one gauge with a selector instead of two."
    )
    assert gauge_advice(fitness("one gauge", 4.0), 1.0, IN_METRES.fine).endswith(
        "none of it is enough: take a better class or a finer division still."
    )


def test_the_finding_carries_the_advice() -> None:
    coarse = station(gauges="two gauges", full_scale=60.0, gauge_class=1.6, division=1.0)
    history = History(coarse, ())
    result = StationResult(history, judge(history, Settings(), None), None, None, None, None)
    (found,) = _coarse_gauge(build().book, result)
    assert found.message == (
        "Stations!M2: gauge too coarse for this limit: read a gauge that can tell no excess under "
        "1.45 m; accepted: at most 1.00 m, a fifth of the limit. Use a finer division, or one "
        "gauge with a selector. Smallest excess told now 1.45 m; with half the division: 1.33 m; "
        "one gauge with a selector instead of two: 0.71 m; both: 0.41 m; enough is one gauge with "
        "a selector instead of two."
    )
    fine = replace(coarse, gauges="one gauge")
    result = replace(result, history=History(fine, ()))
    assert list(_coarse_gauge(build().book, result)) == []
    assert station_gauge(fine).now == pytest.approx(0.71319, abs=1e-5)


@pytest.mark.parametrize(
    ("fixed", "helps"), [(0.0, True), (-0.1, True), (0.05, True), (0.12, True), (0.13, False)]
)
def test_readings_without_end_tell_what_the_class_leaves_open(fixed: float, helps: bool) -> None:
    """0.2 m over the limit is told with 95 % from 0.2 / 1.645 = 0.122 m down."""
    assert reading_again_helps(5.2, 5.0, 0.05, fixed) is helps
