"""Fair comparison of fouling: rates, intervals, and groups that are too few."""

from __future__ import annotations

import pytest

from siltbook.batch.review.compare import (
    Comparison,
    StationRates,
    compare,
    station_rates,
)
from tests.review.farms import pack


def rates(station: str, kind: str, *values: float) -> StationRates:
    return StationRates("A", "2026", station, "", kind, 100.0, values, 0)


def found(title: str, comparisons: tuple[Comparison, ...]) -> Comparison:
    return next(c for c in comparisons if c.title.startswith(title))


def test_many_runs_of_one_station_make_it_one_observation() -> None:
    stations = [rates("busy", "disc", *([0.5] * 30))]
    stations += [rates(f"d{n}", "disc", 0.1, 0.1) for n in range(4)]
    stations += [rates(f"s{n}", "screen", 0.2, 0.2) for n in range(4)]
    types = found("Filter types", compare(stations))
    assert [(g.name, g.counted, g.rate) for g in types.groups] == [
        ("screen", 4, 0.2), ("disc", 5, 0.1),
    ]  # fmt: skip


def test_too_few_is_said_and_not_ranked() -> None:
    stations = [rates(f"d{n}", "disc", 0.9, 0.9) for n in range(3)]
    stations += [rates(f"s{n}", "screen", 0.2, 0.2) for n in range(4)]
    groups = found("Filter types", compare(stations)).groups
    assert [g.name for g in groups] == ["screen", "disc"]
    assert groups[1].rate is None
    assert groups[1].too_few == "too few: 3 stations of at least 4"


def test_a_station_over_two_seasons_is_one_station() -> None:
    stations = [
        StationRates("A", season, f"s{n}", "", kind, 100.0, (0.1,), 0)
        for season in ("2025", "2026") for kind in ("disc", "screen") for n in range(4)
    ]  # fmt: skip
    groups = found("Filter types", compare(stations)).groups
    assert {(g.counted, g.stations, g.runs) for g in groups} == {(4, 4, 8)}


def test_norths_discs_foul_twice_as_fast_as_its_screens() -> None:
    compared = compare(station_rates((*pack().farms, *pack().others)))
    groups = {g.name: g for g in found("Filter types within", compared).groups}
    disc, screen = (groups[f"North Farm (invented): {kind}"] for kind in ("disc", "screen"))
    assert disc.rate / screen.rate == pytest.approx(2.0, abs=0.15)  # type: ignore[operator]
    assert (disc.low or 0) > (screen.high or 0)
    assert next(iter(groups)) == "North Farm (invented): disc"


def test_the_portfolios_few_media_filters_are_not_ranked() -> None:
    compared = compare(station_rates((*pack().farms, *pack().others)))
    media = next(g for g in found("Filter types", compared).groups if g.name == "media")
    assert (media.rate, media.too_few) == (None, "too few: 2 stations of at least 4")
