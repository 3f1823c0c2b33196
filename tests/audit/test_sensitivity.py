"""What would change at another limit or with gauges off by their class."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit.report import sensitive
from siltbook.batch.audit.sensitivity import CASES, sensitivity
from siltbook.batch.model import Verdict
from tests.checks.builders import book, reading

ON = dt.date(2026, 5, 10)


def row(drop: float, **station: Any) -> Any:
    """The sensitivity of one station whose latest drop [m] is this."""
    register = {"station": "North 1", "unit": "m", "full_scale": 60.0, "division": 0.01, **station}
    one = book([reading(day, 30.0, 30.0 - drop) for day in (4, 10)], stations=[register])
    (found,) = sensitivity(assess(one, as_of=ON))
    return found


def test_a_drop_between_the_limits() -> None:
    found = row(4.5, gauges="two gauges", gauge_class=1.0)
    assert found.now is Verdict.WATCH
    assert dict(zip(CASES, found.then, strict=True)) == {
        "limit 4 m": Verdict.FLUSH,
        "limit 6 m": Verdict.IN_RANGE,
        "gauges +class": Verdict.FLUSH,  # 4.5 m + 2 x 1 % of 60 m = 5.7 m
        "gauges -class": Verdict.IN_RANGE,  # 3.3 m
    }


def test_one_gauge_errs_alike_on_both_sides_and_only_its_gain_counts() -> None:
    found = row(4.5, gauges="one gauge", gauge_class=1.6)
    assert found.then[2:] == (Verdict.WATCH, Verdict.WATCH)  # 4.5 m +- 1.6 %
    assert row(4.95, gauges="one gauge", gauge_class=1.6).then[2] is Verdict.FLUSH  # 5.03 m


def test_no_class_no_claim() -> None:
    found = row(4.5)
    assert found.then[2:] == (None, None)
    assert found.changes == ("limit 4 m", "limit 6 m")
    assert sensitive((found,)) == (
        "Of 1 verdicts 1 would change at a limit of 4 m, 1 at 6 m; the gauges' classes are not"
        " known."
    )


def test_a_gauge_that_reads_low_makes_no_outlet_above_the_inlet() -> None:
    found = row(0.5, gauges="two gauges", gauge_class=1.6)
    assert found.now is Verdict.IN_RANGE
    assert found.then[3] is Verdict.IN_RANGE


@pytest.mark.parametrize("limit", [3.0, 8.0])
def test_a_station_s_own_limit_gives_way_to_the_one_asked(limit: float) -> None:
    found = row(4.5, drop_limit=limit)
    assert found.then[:2] == (Verdict.FLUSH, Verdict.IN_RANGE)
