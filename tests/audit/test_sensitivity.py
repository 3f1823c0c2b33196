"""What would change at another limit or with gauges off by their class."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit.report import sensitive
from siltbook.batch.audit.sensitivity import CASES, CLASS, _at_limit, _verdicts, sensitivity
from siltbook.batch.model import Verdict
from siltbook.batch.reading.book import read_book
from siltbook.templates.shown import IN_METRES
from tests.checks.builders import book, reading
from tests.samples.load import SAMPLES

ON = dt.date(2026, 5, 10)


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("limit", [3.0, 4.0, 5.0, 6.0])
def test_verdicts_alone_are_those_of_a_whole_run(limit: float) -> None:
    data = (SAMPLES / "twelve-stations.xlsx").read_bytes()
    one = _at_limit(read_book(data, "twelve-stations.xlsx").book, limit)
    whole = {r.station.name: r.verdict for r in assess(one, as_of=None).stations}
    assert _verdicts(one, None) == whole
    assert len(set(whole.values())) > 4


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
        "limit 5 m": Verdict.WATCH,
        "limit 6 m": Verdict.IN_RANGE,
        "gauges +class": Verdict.FLUSH,  # 4.5 m + 2 x 1 % of 60 m = 5.7 m
        "gauges -class": Verdict.IN_RANGE,  # 3.3 m
        "gauges +reading": Verdict.WATCH,  # 4.51 m
        "gauges -reading": Verdict.WATCH,
    }


def test_one_gauge_errs_alike_on_both_sides_and_only_its_gain_counts() -> None:
    found = row(4.5, gauges="one gauge", gauge_class=1.6)
    assert [found.at(c) for c in CLASS] == [Verdict.WATCH] * 2  # 4.5 m +- 1.6 %
    over = row(4.95, gauges="one gauge", gauge_class=1.6)
    assert over.at("gauges +class") is Verdict.FLUSH  # 5.03 m


def test_half_a_division_at_each_side_is_the_reading_error() -> None:
    found = row(4.9, gauges="one gauge", gauge_class=0.6, division=0.2)
    assert found.borderline
    assert found.at("gauges +reading") is Verdict.FLUSH  # 5.1 m
    assert found.at("gauges -reading") is Verdict.WATCH
    assert "Borderline now: North 1." in sensitive((found,), IN_METRES)


def test_each_reading_has_the_gauge_of_its_day() -> None:
    register = {"station": "North 1", "unit": "m", "gauges": "one gauge", "full_scale": 60.0,
                "gauge_class": 0.6, "division": 0.01}  # fmt: skip
    new = {"station": "North 1", "since": dt.date(2026, 5, 9), "gauges": "two gauges",
           "full_scale": 60.0, "gauge_class": 2.5, "division": 0.01}  # fmt: skip
    one = book([reading(day, 30.0, 26.0) for day in (4, 10)], stations=[register], gauges=[new])
    (found,) = sensitivity(assess(one, as_of=ON))
    assert found.at("gauges +class") is Verdict.FLUSH  # 4 m + 2 x 2.5 % of 60 m = 7 m
    new["division"] = None
    unknown = book([reading(10, 30.0, 26.0)], stations=[register], gauges=[new])
    (found,) = sensitivity(assess(unknown, as_of=ON))
    assert found.at("gauges +reading") is None


def test_the_usual_limit_stands_beside_one_that_was_raised() -> None:
    found = row(5.5, drop_limit=6.0)
    assert found.now is Verdict.WATCH
    assert found.at("limit 5 m") is Verdict.FLUSH
    assert found.changes == ("limit 4 m", "limit 5 m")


def test_no_class_no_claim() -> None:
    found = row(4.5, division=None)
    assert found.then[3:] == (None,) * 4
    assert found.changes == ("limit 4 m", "limit 6 m")
    assert sensitive((found,), IN_METRES) == (
        "Of 1 verdicts would change at another limit: 1 at 4 m, 0 at 5 m, 1 at 6 m; if every gauge"
        " were off by its class, it cannot be told; if every gauge were off by its reading, it"
        " cannot be told."
    )


def test_a_gauge_that_reads_low_makes_no_outlet_above_the_inlet() -> None:
    found = row(0.5, gauges="two gauges", gauge_class=1.6)
    assert found.now is Verdict.IN_RANGE
    assert found.at("gauges -class") is Verdict.IN_RANGE


@pytest.mark.parametrize("limit", [3.0, 8.0])
def test_a_station_s_own_limit_gives_way_to_the_one_asked(limit: float) -> None:
    found = row(4.5, drop_limit=limit)
    assert found.then[:3] == (Verdict.FLUSH, Verdict.WATCH, Verdict.IN_RANGE)
