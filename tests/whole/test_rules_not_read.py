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


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([{"Drop limit": 5}, {"Drop limit ": 1}],
         "Farm!B2: setting stands twice: read Drop limit 1, beside B1;"),
        ([{"Max. drop": 0.1}],
         "Farm!A1: column not found: read 'Max. drop' 0.1, and no Drop limit; accepted: 'Drop"
         " limit', spelt as in the template."),
    ],
)  # fmt: skip
def test_a_limit_of_the_farm_under_another_name_or_twice_is_said(
    rows: list[dict[str, Any]], said: str
) -> None:
    """The default, or the first of them, counted without a word in the station's sentence."""
    found = assess_bytes(filled(Farm=rows, Readings=[reading(day(1), *FINE)]), "farm.xlsx")
    (result,) = found.stations
    assert str(result.verdict) == "watch"
    assert "What was typed as the farm's Drop limit cannot be used" in result.judgement.reason
    assert any(f.message.startswith(said) for f in found.findings)


@pytest.mark.parametrize("header", ["Limit", "Max drop (bar)", "Drop limit (mbar)"])
def test_a_limit_of_the_register_under_a_header_that_is_not_read_is_said(header: str) -> None:
    """The station was In range by the farm's limit; one without a limit of its own still is."""
    result = judged({header: 0.1})
    assert str(result.verdict) == "watch"
    assert f"What was typed as Drop limit cannot be used, {OTHER}" in result.judgement.reason
    assert str(judged({header: None}).verdict) == "in-range"
    assert str(judged({"Time limit of the crew": 0.1, "Drop limit (bar)": 0.5}).verdict) == (
        "in-range"
    )


def test_two_rows_of_a_station_with_two_limits_are_no_limit() -> None:
    rows = [{"Station": "North 1", "Drop limit (bar)": limit} for limit in (0.5, 0.1)]
    book = filled(Stations=rows, Readings=[reading(day(1), *FINE)])
    (result,) = assess_bytes(book, "farm.xlsx").stations
    assert str(result.verdict) == "watch"
    same = filled(Stations=[rows[0], rows[0]], Readings=[reading(day(1), *FINE)])
    (result,) = assess_bytes(same, "farm.xlsx").stations
    assert str(result.verdict) == "in-range"


@pytest.mark.parametrize("sheet", ["Stations", "Gauges"])
def test_a_unit_under_a_header_that_is_not_read_judges_no_reading_in_another(sheet: str) -> None:
    """45 and 35 psi, an excess of 20 kPa, were read as 45 and 35 kPa: In range."""
    gauge = {"Station": "North 1", "From": dt.date(2026, 5, 1), "Unit": "psi"}
    row = {"Station": "North 1", "Unit": "psi"} if sheet == "Stations" else {"Station": "North 1"}
    lists: dict[str, Any] = {"Gauges": [gauge]} if sheet == "Gauges" else {}
    farm = [{"Pressure unit": "kPa"}]
    data = filled(Farm=farm, Stations=[row], Readings=[reading(day(1), 45, 35)], **lists)
    found = assess_bytes(data, "farm.xlsx")
    (result,) = found.stations
    assert str(result.verdict) == "re-read"
    (said,) = (f.message for f in found.findings if f.rule == "column-missing")
    assert "column not found: read 'Unit' with 'psi', and no Pressure unit; accepted: " in said
    farm = [{"Pressure unit": "psi"}]
    data = filled(Farm=farm, Stations=[row], Readings=[reading(day(1), 45, 43)], **lists)
    assert str(assess_bytes(data, "farm.xlsx").stations[0].verdict) == "in-range"
