"""Months, and which books are of a month."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.review.farm import read_month, why_outside
from siltbook.batch.review.month import Month, parse_month
from siltbook.batch.review.pack import make_pack
from siltbook.batch.review.summary import lines, pack_json
from tests.checks.builders import book, reading
from tests.review.farms import JULY, month, pack
from tests.whole.verdicts import filled


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


@pytest.mark.parametrize(
    ("clean", "days", "said", "known"),
    [
        ([1.0], (1, 8), "20 kWh, 5.91 (7 of 30 station days counted).", True),
        (
            [1.0, None],
            (1, 8),
            "20 kWh, 5.91 (1 of 2 stations; 7 of 30 station days counted).",
            True,
        ),
        ([1.0], (1, 8, 15, 22), "72 kWh, 21.61.", True),
        ([None], (1, 8, 15, 22), "cannot be told.", False),
    ],
)
def test_a_cost_says_how_much_of_the_month_it_covers(
    clean: list[float | None], days: tuple[int, ...], said: str, known: bool
) -> None:
    register = [{"Station": f"S{i}", "Clean drop (m)": c, "Reference flow": 40.0}
                for i, c in enumerate(clean)]  # fmt: skip
    farm = {"Irrigation hours per day": 10, "Pump efficiency": 0.6, "Energy price": 0.3}
    rows = [
        {"Station": s["Station"], "Date": dt.date(2026, 6, d),
         "Inlet pressure": 3.0, "Outlet pressure": 2.8 if d == 1 else 2.7}
        for s in register for d in days
    ]  # fmt: skip
    data = filled(Farm=[farm], Stations=register, Readings=rows)
    june = Month(2026, 6)
    made = make_pack([read_month(data, "invented.xlsx", june)], june, "0")
    assert list(lines(made))[-1] == f"  Cost of dirt: invented: {said}"
    assert (pack_json(made, Path("pack.xlsx"), None, ())["energy_kwh"] is not None) is known
