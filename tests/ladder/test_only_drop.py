"""Readings of which only the drop was written down: read, judged, and what cannot be said."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.ladder.verdict import judge
from siltbook.batch.numbers.history import histories
from siltbook.checks.fitness import check_book
from siltbook.templates.contract import READINGS
from tests.reading.books import reading

DAY = dt.date(2026, 5, 1)
HEADERS = ["Station", "Date", "Drop"]


def test_a_drop_alone_is_a_reading_in_the_stations_unit() -> None:
    result = reading(["F1", DAY, 0.5], ["F2", DAY, 6.0], headers=HEADERS)
    assert [f.message for f in result.findings if "Readings" in f.sheet] == []
    first, second = histories(result.book, None)
    assert first.readings[0].drop == pytest.approx(5.0986, abs=1e-4)
    assert second.readings[0].drop == pytest.approx(4.2184, abs=1e-4)
    assert first.readings[0].usable
    assert first.readings[0].inlet is None


def test_the_sentence_says_that_the_supply_was_not_judged() -> None:
    book = reading(["F1", DAY, 0.3], headers=HEADERS, **{"Work done": []}).book
    judged = judge(histories(book, None)[0], book.settings, DAY)
    assert judged.verdict == "in-range"
    assert judged.reason == (
        "Drop 0.30 bar on 2026-05-01, within the limit of 5 m (0.49 bar). Only the drop was"
        " written down, so the supply could not be judged."
    )


@pytest.mark.parametrize(
    ("drop", "why"),
    [(0.0, "a drop of zero without inlet and outlet"), (-0.1, "drop below zero")],
)
def test_a_zero_or_negative_drop_alone_proves_nothing(drop: float, why: str) -> None:
    book = reading(["F1", DAY, drop], headers=HEADERS).book
    assert histories(book, None)[0].readings[0].why_unusable == why


def test_pressures_win_and_a_drop_that_differs_is_asked_about() -> None:
    row = ["F1", DAY, None, 3.0, 2.5, None, None, None, None, None, 0.2]
    assert [c.key for c in READINGS.columns][10] == "drop"
    result = reading(row)
    assert histories(result.book, None)[0].readings[0].drop == pytest.approx(5.0986, abs=1e-4)
    assert [f.message for f in result.findings if f.rule == "drop-differs"] == [
        "Readings!K2: drop is not inlet minus outlet: read 0.20 bar beside pressures that"
        " give 0.50 bar; accepted: the drop of the pressures, which was used, or an empty cell."
        " Correct whichever is wrong; the pressures were used."
    ]


def test_a_drop_beside_one_pressure_is_not_used() -> None:
    result = reading(["F1", DAY, None, 3.0, None, None, None, None, None, None, 0.2])
    assert histories(result.book, None)[0].readings[0].why_unusable.startswith("outlet pressure")
    assert [f.cell for f in check_book(result.book, None) if f.rule == "cell-missing"] == ["E2"]
