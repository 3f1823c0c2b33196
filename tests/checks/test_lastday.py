"""A date typed years ahead moves no as-of day, and hides no reading."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.assess import as_of_date, assess
from siltbook.batch.model import Verdict
from siltbook.batch.results import StationResult
from siltbook.checks.fitness import check_book
from siltbook.checks.lastday import latest_day
from siltbook.templates.book import Book
from tests.checks.builders import book, job, reading
from tests.checks.helpers import messages

SOUTH = {"station": "South"}
LAST = dt.date(2026, 5, 24)
WEEKS = [3, 10, 17, 24]


def two(*more: dict[str, Any], work: list[dict[str, Any]] | None = None) -> Book:
    """A season of two stations, and what is typed behind it."""
    rows = [reading(day, 2.95 + day % 2 / 50, **own) for day in WEEKS for own in ({}, SOUTH)]
    rows += list(more)
    return book(rows, stations=[{"station": "North 1"}, SOUTH], work=work)


def judged(made: Book, as_of: dt.date | None = None) -> dict[str, StationResult]:
    findings = check_book(made, as_of_date(made, as_of))
    return {r.station.name: r for r in assess(made, as_of=as_of, findings=findings).stations}


def ahead(day: dt.date, **more: Any) -> dict[str, Any]:
    return reading(1, **more) | {"date": day}


def test_a_reading_of_another_century_asks_for_its_station_alone() -> None:
    made = two(ahead(dt.date(2126, 2, 13), inlet=3.4, outlet=2.4))
    assert latest_day(made) == LAST
    found = judged(made)
    assert found["South"].verdict is Verdict.IN_RANGE
    north = found["North 1"]
    assert north.verdict is Verdict.RE_READ
    assert "Row 10 of the readings could not be placed and may be the latest here" in (
        north.judgement.reason
    )
    assert messages(made, "date-ahead") == [
        "Readings!B10: date far after all others: read 2126-02-13, 36,424 days after all others;"
        " accepted: a date near the others; if it is right, a review date on or after it. Correct"
        " the date; until then it is not used, and the book is judged by its other entries."
    ]
    assert messages(made, "date-after-review") == []


def test_work_of_another_century_does_the_same() -> None:
    made = two(work=[job() | {"date": dt.date(2126, 5, 20)}])
    found = judged(made)
    assert (latest_day(made), found["South"].verdict) == (LAST, Verdict.IN_RANGE)
    assert found["North 1"].verdict is Verdict.RE_READ
    assert "Work done row 2, Date 2126-05-20, 36,520 days after all others: not used." in (
        found["North 1"].judgement.reason
    )


def test_a_row_whose_right_day_is_likely_counts_there() -> None:
    made = two(ahead(dt.date(2126, 5, 27)))
    assert latest_day(made) == dt.date(2026, 5, 27)
    assert messages(made, "date-ahead") == []
    found = judged(made)
    assert found["South"].verdict is Verdict.IN_RANGE
    assert "is dated 2126-05-27 and looks like one of 2026-05-27 in another year" in (
        found["North 1"].judgement.reason
    )


@pytest.mark.parametrize(
    ("days", "last"),
    [
        ([dt.date(2027, 3, 1)], dt.date(2027, 3, 1)),  # the first of a new season
        ([dt.date(2029, 2, 17)], dt.date(2029, 2, 17)),  # after a very long pause
        ([dt.date(2029, 2, 18)], LAST),
        ([dt.date(2030, 3, 1), dt.date(2030, 4, 1)], LAST),
        ([dt.date(2030, 3, 1), dt.date(2030, 4, 1), dt.date(2030, 5, 1)], dt.date(2030, 5, 1)),
        ([dt.date(2030, 3, 1)] * 3, dt.date(2030, 3, 1)),  # too many for a slip
    ],
)
def test_what_is_far_ahead(days: list[dt.date], last: dt.date) -> None:
    made = two(*(ahead(day, **SOUTH) for day in days))
    assert latest_day(made) == last
    assert bool(messages(made, "date-ahead")) is (last == LAST)


def test_an_as_of_day_that_was_asked_for_stays() -> None:
    day = dt.date(2030, 3, 1)
    made = two(ahead(day, inlet=2.97))
    assert as_of_date(made, day) == day
    assert messages(made, "date-ahead", day) == []
    found = judged(made, day)
    assert (found["North 1"].verdict, found["South"].verdict) == (
        Verdict.IN_RANGE, Verdict.NO_READING,
    )  # fmt: skip


def test_of_a_century_ahead_no_number_of_entries_moves_the_day() -> None:
    """Two entries of three in 2125 made the third a reading of a hundred years ago."""
    one, *ahead_ = [reading(1), ahead(dt.date(2126, 5, 8), **SOUTH), ahead(dt.date(2126, 5, 15))]
    made = book([one, *ahead_], stations=[{"station": "North 1"}, SOUTH])
    # At the same days of this century they go on with the first, which is then two weeks old.
    assert latest_day(made) == dt.date(2026, 5, 15)
    found = judged(made)
    assert {name: r.verdict for name, r in found.items()} == dict.fromkeys(
        ("North 1", "South"), Verdict.RE_READ
    )
    assert "Readings row 3, Date 2126-05-08, 36,531 days after all others: not used." in (
        found["South"].judgement.reason
    )
    later = [ahead(dt.date(2126, 9, 8), **SOUTH), ahead(dt.date(2126, 9, 15))]
    assert latest_day(book([one, *later], stations=[{"station": "North 1"}, SOUTH])) == (
        dt.date(2026, 5, 1)
    )
