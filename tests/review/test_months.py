"""Months, and which books are of a month."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.review.farm import why_outside
from siltbook.batch.review.month import Month, parse_month
from siltbook.batch.review.pack import make_pack
from tests.checks.builders import book, reading
from tests.review.farms import JULY, month, pack


def test_a_month_knows_its_days() -> None:
    december = parse_month("2026-12")
    assert (december.first, december.last) == (dt.date(2026, 12, 1), dt.date(2026, 12, 31))
    assert december.next == Month(2027, 1)
    assert december.eve == dt.date(2026, 11, 30)
    assert parse_month("2028-2").days == 29
    assert dt.date(2026, 12, 31) in december
    assert dt.date(2027, 1, 1) not in december
    assert december.words == "December 2026"


@pytest.mark.parametrize("text", ["2026", "2026-13", "2026-00", "07-2026", "2026-07-01", ""])
def test_anything_else_is_no_month(text: str) -> None:
    with pytest.raises(ValueError, match="is no month: write year and month, for example 2026-07"):
        parse_month(text)


def test_a_book_of_another_season_is_compared_only() -> None:
    assert why_outside(month("north", 2025).book, JULY) == "its season is 2025"
    assert [f.file for f in pack().others] == [
        f"{farm}-2025.xlsx" for farm in ("east", "hill", "north", "south", "west")
    ]
    assert [f.number for f in pack().farms] == [1, 2, 3, 4, 5]


def test_a_book_without_a_season_goes_by_its_entries() -> None:
    may = book([reading(4), reading(11)])
    assert why_outside(may, Month(2026, 5)) == ""
    assert why_outside(may, Month(2026, 6)) == ""
    assert why_outside(may, Month(2026, 8)) == "its latest entry is of 2026-05-11"
    assert why_outside(may, Month(2026, 4)) == "its first entry is of 2026-05-04"
    assert why_outside(book([]), JULY) == "it has no dated entry"


def test_a_season_that_has_not_begun_says_so() -> None:
    assert why_outside(month("north").book, Month(2026, 3)) == "its first entry is of 2026-04-06"
    assert why_outside(month("north").book, Month(2026, 12)) == ""


def test_a_month_that_no_book_knows_is_refused_with_the_reason() -> None:
    with pytest.raises(BookError) as caught:
        make_pack([month("north", 2025)], JULY, "test")
    assert str(caught.value) == (
        "No book is of 2026-07 (north-2025.xlsx: its season is 2025). "
        "Give another month or other books."
    )


def test_the_book_is_judged_at_both_ends_of_the_month() -> None:
    north = month("north")
    assert (north.then.as_of, north.now.as_of) == (dt.date(2026, 6, 30), dt.date(2026, 7, 31))
    days = {r.date for s in north.then.stations for r in s.history.readings}
    assert max(days) == dt.date(2026, 6, 29)
