"""Days over the limit, episodes and flushes of a month."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.results import StationResult
from siltbook.batch.review.episodes import days_over, spells
from siltbook.batch.review.flushes import Proof, flush_facts
from siltbook.batch.review.month import Month
from tests.checks.builders import book, job, reading
from tests.review.farms import FARMS, JULY, month, result

MAY = Month(2026, 5)
Row = dict[str, Any]


def judged(readings: list[Row], work: list[Row] | None = None) -> StationResult:
    return assess(book(readings, work=work or []), as_of=MAY.last).stations[0]


@pytest.mark.parametrize("farm", FARMS)
def test_spells_are_the_ladders_episodes_with_their_rows(farm: str) -> None:
    for station in month(farm).now.stations:
        found = spells(station, 7, JULY.last)
        rows = [(s.opened.date, s.closed and s.closed.date, s.closed_by) for s in found]
        assert rows == [(e.opened, e.closed, e.closed_by) for e in station.judgement.episodes]


def test_days_run_from_reading_to_reading_and_the_estimate_stands_apart() -> None:
    # 4.08 m at noon on day 1, 6.12 m at noon on day 9: the line passes 5 m 3.61 days in.
    one = judged(
        [
            reading(1, outlet=2.6), reading(9, outlet=2.4),
            reading(16, outlet=2.8, occasion="after flush"),
        ],
        [job(16)],
    )  # fmt: skip
    over = days_over(one, 7, MAY)
    assert over.found == 7
    drop = 0.1 * 10.19716
    assert over.unnoticed == pytest.approx(8 * (6 * drop - 5) / (2 * drop), abs=1e-3)
    assert over.untold == 0
    assert over.highest is not None
    assert over.highest.date == dt.date(2026, 5, 9)
    (spell,) = over.spells
    assert spell.ending == "in range after flush"


def test_an_episode_that_nobody_worked_on_says_so() -> None:
    over = days_over(judged([reading(4, outlet=2.4), reading(11, outlet=2.8)]), 7, MAY)
    assert over.spells[0].ending == "in range, no work logged"


def test_days_before_the_month_do_not_count() -> None:
    april = reading(1, outlet=2.4) | {"date": dt.date(2026, 4, 20)}
    over = days_over(judged([april, reading(11, outlet=2.8)]), 7, MAY)
    assert (over.found, over.unnoticed) == (10, 0.0)


def test_an_open_episode_runs_to_the_months_end() -> None:
    over = days_over(judged([reading(4, outlet=2.8), reading(11, outlet=2.4)]), 7, MAY)
    assert over.found == 20
    assert over.spells[0].ending == "still open"


@pytest.mark.parametrize(
    ("readings", "work"),
    [
        ([reading(28, outlet=2.4)], []),  # nothing before it
        ([reading(1, outlet=2.8), reading(28, outlet=2.4)], []),  # 27 days apart
        ([reading(21, outlet=2.8), reading(28, outlet=2.4)], [job(24)]),  # cleaned in between
    ],
)
def test_a_beginning_that_cannot_be_estimated_is_counted_and_not_guessed(
    readings: list[dict[str, Any]], work: list[dict[str, Any]]
) -> None:
    over = days_over(judged(readings, work), 7, MAY)
    assert (over.unnoticed, over.untold) == (0.0, 1)


def test_south_is_over_for_a_week_where_north_is_flushed_at_once() -> None:
    south = [s for r in month("south").now.stations for s in spells(r, 7, JULY.last) if s.closed]
    north = [s for r in month("north").now.stations for s in spells(r, 7, JULY.last) if s.closed]
    assert {(s.end - s.opened.date).days for s in south} == {7}
    assert {(s.end - s.opened.date).days for s in north} == {0}


@pytest.mark.at_length  # the days over the limit are held by the small ones above
def test_west_leaves_its_filters_over_the_limit_for_less_since_it_reads_every_week() -> None:
    days = {
        year: sum(
            days_over(r, month("west", year).book.settings.interval, Month(year, number)).total
            for number in (5, 6, 7)
            for r in month("west", year, number).now.stations
        )
        for year in (2025, 2026)
    }
    assert days[2026] < 0.75 * days[2025]


def test_easts_third_station_no_longer_comes_clean() -> None:
    given_back = {
        year: [
            run.given_back
            for run in result("east", "E3", year).outlook.runs  # type: ignore[union-attr]
            if run.given_back is not None
        ]
        for year in (2025, 2026)
    }
    assert min(given_back[2025]) > 0.6
    assert max(given_back[2026]) < 0.4


def test_a_flush_without_signs_is_not_proven() -> None:
    facts = flush_facts(result("north", "N2 Screen"), month("north").book.settings, JULY)
    assert [f.work.date.day for f in facts] == [13, 20, 27]
    assert {f.proof for f in facts} == {Proof.NOT_PROVEN}
    assert facts[0].why == "no click heard, no water heard in the filter, no water at the outlet"
    assert facts[0].after is not None
    assert facts[-1].after is None


@pytest.mark.parametrize(
    ("cells", "proof", "why"),
    [
        ({"flush_inlet": 2.5}, Proof.PROVEN, ""),
        ({}, Proof.TAKEN, "not noted: lowest inlet"),
        ({"flush_inlet": 2.5, "click": None}, Proof.TAKEN, "not noted: click"),
        ({"flush_inlet": 2.5, "cycles": None}, Proof.TAKEN, "not noted: cycles"),
        ({"flush_inlet": 2.5, "cycles": 2}, Proof.NOT_PROVEN, "2 of 3 cycles"),
        ({"flush_inlet": 2.0}, Proof.PROVEN, ""),
        ({"flush_inlet": 1.9}, Proof.NOT_PROVEN, "inlet fell to 19.4 m, asked 20.4 m"),
        ({"flush_inlet": 2.5, "water": "no"}, Proof.NOT_PROVEN, "no water at the outlet"),
    ],
)
def test_what_proves_a_flush(cells: dict[str, Any], proof: Proof, why: str) -> None:
    one = judged([reading(4, outlet=2.4), reading(11)], [job(4, **cells)])
    (fact,) = flush_facts(one, book().settings, MAY)
    assert (fact.proof, fact.why) == (proof, why)


def test_no_drop_speaks_for_a_flush_that_other_cleaning_followed() -> None:
    one = judged(
        [reading(4, outlet=2.4), reading(5, occasion="after cleaning")],
        [job(4), job(5, "hand cleaning")],
    )
    (fact,) = flush_facts(one, book().settings, MAY)
    assert fact.before is not None
    assert fact.after is None
