"""A rule that was typed and cannot be used: by the default in its place nobody is reassured."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.results import StationResult
from tests.whole.verdicts import day, filled, reading

FINE = (3.2, 3.0)  # inlet and outlet [bar]
OTHER = "so the station is judged by other rules than were meant: correct it."


def judged(row: dict[str, Any], asked: dt.date | None = None, **farm: Any) -> StationResult:
    sheets: dict[str, Any] = {"Farm": [farm]} if farm else {}
    book = filled(
        Stations=[{"Station": "North 1", **row}], Readings=[reading(day(1), *FINE)], **sheets
    )
    (result,) = assess_bytes(book, "farm.xlsx", asked).stations
    return result


@pytest.mark.parametrize(
    ("header", "typed", "counts"),
    [
        ("Drop limit (bar)", "about 0.1", "'about 0.1': the farm's limit is used."),
        ("Lowest working inlet", "3 to 4", "'3 to 4': it counts as blank."),
        ("Wanted field pressure", "1?", "'1?': it counts as blank."),
        ("Drop limit (bar)", -3, ""),
    ],
)
def test_a_station_is_not_in_range_by_a_rule_that_stands_in(
    header: str, typed: object, counts: str
) -> None:
    """It was In range by the farm's limit, or without its lowest inlet."""
    result = judged({header: typed})
    assert str(result.verdict) == "watch"
    what = header.removesuffix(" (bar)")
    assert f"What was typed as {what} cannot be used, {OTHER}" in result.judgement.reason
    assert result.judgement.reason.endswith(counts)
    assert result.judgement.steps[0].words.startswith("A limit or another rule of this station")


@pytest.mark.parametrize("typed", [None, "-", "n/a", 0.5])
def test_a_rule_that_is_blank_or_read_keeps_a_station_in_range(typed: object) -> None:
    assert str(judged({"Drop limit (bar)": typed}).verdict) == "in-range"


@pytest.mark.parametrize(
    ("label", "typed"), [("Drop limit", "abc"), ("Watch share", "half"), ("Reading interval", "?")]
)
def test_a_setting_that_cannot_be_used_counts_for_every_station(label: str, typed: str) -> None:
    result = judged({}, **{label: typed})
    assert str(result.verdict) == "watch"
    assert f"What was typed as the farm's {label} cannot be used, {OTHER}" in (
        result.judgement.reason
    )


def test_the_farms_limit_says_nothing_where_the_station_has_its_own() -> None:
    assert str(judged({"Drop limit (bar)": 0.5}, **{"Drop limit": "abc"}).verdict) == "in-range"


def test_a_review_date_that_cannot_be_read_counts_unless_a_day_is_asked_for() -> None:
    assert str(judged({}, **{"Review date": "soon"}).verdict) == "watch"
    asked = judged({}, dt.date(2026, 6, 2), **{"Review date": "soon"})
    assert str(asked.verdict) == "in-range"
