"""The portfolio's books are what their script makes, and differ as it says."""

from __future__ import annotations

from statistics import median

import pytest

from tests.review.farms import FOLDER, portfolio


@pytest.mark.at_length  # tests/samples/test_samples.py: those of four farms are
def test_every_book_is_byte_for_byte_what_the_script_makes() -> None:
    made = portfolio().files()
    assert len(made) == 10
    for name, data in made.items():
        assert (FOLDER.parent / name).read_bytes() == data, (
            f"{name} is not what the script makes: run python sample_workbooks/make.py"
        )


@pytest.mark.parametrize("year", [2025, 2026])
def test_norths_discs_reach_the_limit_about_twice_as_often(year: int) -> None:
    seasons = portfolio().seasons(portfolio().NORTH, year)
    opened = {
        kind: [len(s.episodes) for s in seasons if s.plan.filter_type == kind]
        for kind in ("screen", "disc")
    }
    assert median(opened["disc"]) >= 1.75 * median(opened["screen"])


@pytest.mark.parametrize("year", [2025, 2026])
def test_south_flushes_a_week_after_the_reading_over_the_limit(year: int) -> None:
    episodes = [e for s in portfolio().seasons(portfolio().SOUTH, year) for e in s.episodes]
    waits = [(e.closed - e.opened).days for e in episodes if e.closed]
    assert len(waits) > 8
    assert set(waits) == {7}


def test_stations_keep_their_names() -> None:
    for farm in portfolio().FARMS:
        first, second = (
            [s.plan.name for s in portfolio().seasons(farm, year)] for year in (2025, 2026)
        )
        assert first == second
