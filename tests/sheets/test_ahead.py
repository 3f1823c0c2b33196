"""The days ahead and the evidence, as Actions, Station review and Trends show them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import openpyxl
import pytest

from siltbook.batch.model import FlowFit, Verdict
from siltbook.batch.numbers.costs import DirtCost
from siltbook.batch.numbers.effectiveness import Creep, Effectiveness, SharesGivenBack
from siltbook.batch.numbers.forecast import Course, Forecast
from siltbook.batch.numbers.outlook import Outlook
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.sheets import kit, trends
from siltbook.batch.sheets.band import day_at, up_to
from siltbook.batch.tables import stations
from siltbook.batch.tables.describe import Table
from tests.sheets.example import AS_OF, build
from tests.sheets.test_book import made, opened, part
from tests.tables.find import cells

NONE = SharesGivenBack(0, None, None, None, "none read soon before and after")
FLUSH = SharesGivenBack(5, 0.4, 0.1, 0.85)
CREEP = Creep(0.01, 0.005, 0.02, 5, 80.0, "")
VERDICTS = (Verdict.WATCH, Verdict.NO_READING)
NOTE = "Flushing stopped helping: =1+1"
COST = DirtCost(None, None, None, 0.0, 0, "")
LIMIT = 5.0


def bent(*ends: dt.date) -> tuple[Course, ...]:
    """Early, expected and late way: half of the rise in the last third of the days."""
    latest = build(verdicts=VERDICTS).stations[0].latest
    assert latest is not None
    assert latest.drop is not None
    half = (latest.drop + LIMIT) / 2
    days = [kit.serial(end) - kit.serial(latest.date, latest.time) for end in ends]
    return tuple(Course((0.0, d * 2 / 3, d), (latest.drop, half, LIMIT)) for d in days)


def expecting(low: dt.date, middle: dt.date, high: dt.date | None) -> Forecast:
    late = high or dt.date(2027, 10, 1)
    basis = "a general curve; ended runs: 3 of this station"
    return Forecast(
        middle, low, high, "", curve="bent", basis=basis, courses=bent(low, middle, late)
    )


FIT = FlowFit(1.4, 1.4, 1.3, 1.5, 12, 9.0, 16.0, "")
EXPECTED = expecting(dt.date(2026, 8, 1), dt.date(2026, 8, 10), dt.date(2026, 8, 31))


def ahead(expected: Forecast = EXPECTED, *, notes: tuple[str, ...] = (NOTE,)) -> Assessment:
    """Two stations: one with everything, one where nothing can be told."""
    base = build(verdicts=VERDICTS)
    full = Outlook((), expected, COST, Effectiveness(FLUSH, NONE, CREEP, notes))
    quiet = Creep(None, None, None, 1, 0.0, "1 cleaning read soon after, 4 are needed")
    silent = Forecast(None, None, None, "too few readings")
    empty = Outlook((), silent, COST, Effectiveness(NONE, NONE, quiet, ()))
    first, second = base.stations
    first = replace(
        first,
        outlook=full,
        history=replace(first.history, flow_fit=FIT),
        judgement=replace(first.judgement, read_by=dt.date(2026, 7, 24)),
    )
    owed = replace(second.judgement, read_by=AS_OF)
    return replace(base, stations=(first, replace(second, outlook=empty, judgement=owed)))


@pytest.fixture(scope="module")
def book() -> openpyxl.Workbook:
    return opened(made(ahead()), values=True)


def headed(book: openpyxl.Workbook, table: Table[StationResult]) -> list[dict[str, object]]:
    """The two stations' rows by header."""
    rows = cells(book[table.name], table)[:2]
    return [{table.column(key).title: cell.value for key, cell in r.items()} for r in rows]


def test_actions_show_the_expected_day_and_the_next_reading(book: openpyxl.Workbook) -> None:
    watch, unread = headed(book, stations.ACTIONS)
    assert watch["Expected at limit"] == dt.datetime(2026, 8, 10)
    assert watch["Read again by"] == dt.datetime(2026, 7, 24)
    assert (unread["Expected at limit"], unread["Read again by"]) == (
        None,
        dt.datetime(2026, 7, 20),
    )
    assert (watch["Who"], watch["By when"]) == (None, None)


def test_an_expected_day_that_has_passed_is_not_shown_as_one() -> None:
    late = Forecast(None, None, None, "the expected day has passed", passed=dt.date(2026, 7, 3))
    shown = opened(made(ahead(late)), values=True)
    actions, reviewed = (
        headed(shown, table)[0] for table in (stations.ACTIONS, stations.STATION_REVIEW)
    )
    assert actions["Expected at limit"] == "passed"
    assert reviewed["Expected at limit"] is None
    assert reviewed["8 in 10 between"] == "the expected day has passed"


def test_the_reason_is_followed_by_what_flushing_is_worth(book: openpyxl.Workbook) -> None:
    watch, unread = headed(book, stations.ACTIONS)
    assert watch["Why"] == f"The drop is 4.28 m, 86 % of the limit.\n{NOTE}"
    assert "\n" not in str(unread["Why"])


def test_the_review_shows_the_evidence_or_why_there_is_none(book: openpyxl.Workbook) -> None:
    watch, unread = headed(book, stations.STATION_REVIEW)
    assert watch["Flow exponent"] == 1.4
    assert watch["Exponent rests on"] == (
        "8 in 10: 1.30 to 1.50; 12 clean readings at 9 to 16 m³/h"
    )
    assert (watch["Flushes give back"], watch["Flushes: count, range"]) == (0.4, "5: 10 % to 85 %")
    assert watch["Cleanings give back"] is None
    assert watch["Cleanings: count, range"] == "none read soon before and after"
    assert watch["Clean drop creeps (m per month)"] == pytest.approx(0.3)
    assert watch["8 in 10 between, or why not"] == "0.15 and 0.60; 5 cleanings"
    assert watch["Smallest excess told (m)"] == pytest.approx(0.4150, abs=1e-4)
    assert watch["With one gauge and selector (m)"] is None
    assert watch["Worth knowing"] == NOTE
    assert watch["Forecast rests on"] == EXPECTED.basis
    assert unread["Flow exponent"] == 2.0
    assert unread["Exponent rests on"] == "2 kept: not looked for"
    assert unread["8 in 10 between, or why not"] == "1 cleaning read soon after, 4 are needed"


def test_an_estimate_that_was_not_used_is_shown_with_the_reason() -> None:
    loose = FlowFit(2.0, 1.4, 0.9, 1.9, 9, 9.0, 16.0, "standard error 0.34, at most 0.15 is asked")
    assert stations.exponent_text(loose) == (
        "2 kept: standard error 0.34, at most 0.15 is asked (1.40, 8 in 10: 0.90 to 1.90)"
    )
    assert stations.shares_text(SharesGivenBack(1, 0.5, 0.5, 0.5)) == "1: 50 %"


def drawn(expected: Forecast, end: float | None = None) -> dict[str, list[trends.Point]]:
    assessment = ahead(expected)
    pen = kit.Kit(None, assessment, "demo.xlsx", "0")
    result: StationResult = assessment.stations[0]
    found = trends._series(pen, result)
    if end is not None:
        assert found["limit"][1][0] <= end
    return found


def test_the_band_runs_from_the_latest_reading_to_the_span_at_the_limit() -> None:
    found = drawn(EXPECTED)
    latest = found["drop"][-1]
    band = found[trends.BAND]
    early, middle, late = (
        [(latest[0] + day, drop) for day, drop in zip(course.days, course.drops, strict=True)]
        for course in EXPECTED.courses
    )
    assert np.allclose(np.asarray(found[trends.EXPECTED], float), np.asarray(middle))
    assert found[trends.EXPECTED][-1] == (kit.serial(dt.date(2026, 8, 10)), LIMIT)
    levels = [level for _, level in band if level is not None]
    assert latest[1] is not None
    assert latest[1] == pytest.approx(min(levels))
    assert min(levels) < max(levels) < LIMIT
    for day, level in band:
        assert level is not None
        sides = [day_at(way, level) for way in (early, late)]
        assert min(abs(day - side) for side in sides) < 1e-6
    assert found["limit"][1][0] >= late[-1][0]


def test_a_way_is_followed_as_it_bends() -> None:
    """Days at a level, and the way cut at the end of the axis."""
    way = [(0.0, 4.0), (20.0, 4.5), (30.0, 5.0)]
    assert [day_at(way, level) for level in (4.0, 4.25, 4.75, 5.0)] == [0.0, 10.0, 25.0, 30.0]
    assert up_to(way, 25.0) == [(0.0, 4.0), (20.0, 4.5), (25.0, 4.75)]


def test_a_far_forecast_neither_crushes_the_readings_nor_leaves_the_axis() -> None:
    far = expecting(dt.date(2026, 10, 1), dt.date(2026, 12, 1), None)
    found = drawn(far)
    first, end = found["limit"][0][0], found["limit"][1][0]
    seen = kit.serial(AS_OF) - first
    assert end - kit.serial(AS_OF) <= 0.7 * seen
    assert all(day <= end for key in (trends.BAND, trends.EXPECTED) for day, _ in found[key])
    assert found[trends.EXPECTED][-1][1] < LIMIT  # type: ignore[operator]


def test_without_a_forecast_there_is_no_band() -> None:
    found = drawn(Forecast(None, None, None, "too few readings"))
    assert trends.BAND not in found


def test_the_chart_names_the_band_and_its_words_tell_the_day() -> None:
    data = made(ahead())
    chart = part(data, "xl/charts/chart1.xml")
    assert "Forecast, 8 in 10" in chart
    assert "Forecast, 8 in 10" not in part(data, "xl/charts/chart2.xml")
    assert "expected at the limit about 2026-08-10; verdict: Watch." in part(
        data, "xl/drawings/drawing1.xml"
    )
