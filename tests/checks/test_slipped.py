"""Dates that look mistyped: day and month exchanged, or another year."""

from __future__ import annotations

import datetime as dt
import random

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.model import Verdict
from siltbook.checks.slipped import (
    EXCHANGED,
    LEAST,
    OTHER_EPOCH,
    OTHER_YEAR,
    _of_station,
    slipped_dates,
)
from tests.checks.builders import book, job, reading
from tests.checks.helpers import messages

# Fewer than half of them in order, and other years would put the rest in order.
NO_ORDER = [
    dt.date(2026, month, day)
    for month, day in ((4, 11), (4, 7), (10, 9), (1, 3), (8, 1), (12, 11), (10, 9))
]
WEEKS = [dt.date(2026, 6, 1) + dt.timedelta(days=7 * i) for i in range(10)]  # to 3 August


def _slips(days: list[dt.date]) -> list[tuple[int, dt.date, str]]:
    found = slipped_dates(["A"] * len(days), days, range(2, 2 + len(days))).get("A", ())
    return [(slip.row, slip.likely, slip.how) for slip in found]


def test_rows_without_a_station_or_a_date_are_left_out() -> None:
    slipped = [*WEEKS[:-1], WEEKS[-1].replace(year=2025)]
    days: list[dt.date | None] = [*slipped[:3], None, *slipped[3:], WEEKS[0], WEEKS[2], WEEKS[1]]
    stations = ["A"] * 11 + [None] * 3
    found = slipped_dates(stations, days, range(2, 16))
    assert [(slip.row, slip.likely) for slip in found.pop("A")] == [(12, WEEKS[-1])]
    assert found == {}


def _exchanged(day: dt.date) -> dt.date:
    return dt.date(day.year, day.day, day.month)


def test_every_date_that_a_machine_exchanged_is_found() -> None:
    typed = [_exchanged(day) if day.day <= 12 else day for day in WEEKS]
    changed = [i for i in range(10) if typed[i] != WEEKS[i]]
    assert changed == [0, 1, 5, 9]
    expected = [(2 + i, WEEKS[i], EXCHANGED) for i in changed]
    assert _slips(typed) == expected
    assert [row for row, _, _ in _slips(typed[::-1])] == sorted(11 - i for i in changed)


@pytest.mark.parametrize("years", [-1, 1])
def test_another_year(years: int) -> None:
    last = WEEKS[-1].replace(year=2026 + years)
    assert _slips([*WEEKS[:-1], last]) == [(11, WEEKS[-1], OTHER_YEAR)]


def test_how_near_the_last_row_comes_is_told_by_the_usual_steps() -> None:
    months = [dt.date(2026, month, 5) for month in range(1, 8)]
    assert _slips([*months[:-1], months[-1].replace(year=2025)]) == [(8, months[-1], OTHER_YEAR)]
    weeks = [*WEEKS[:-1], WEEKS[-2].replace(year=2025) + dt.timedelta(days=30)]
    assert _slips(weeks) == []


def test_a_season_that_stands_behind_the_next_one_has_not_slipped() -> None:
    """Three rows of one other year are no slip of the finger."""
    older = [dt.date(2024, 8, day) for day in (5, 10, 15)]
    assert _slips([*WEEKS, *older]) == []
    assert len(_slips([*WEEKS, *older[:2]])) == 2


@pytest.mark.parametrize("year", [2126, 2062, 2036, 2028, 2006, 1926])
@pytest.mark.parametrize("at", [0, 4, 9])
def test_a_year_far_away(year: int, at: int) -> None:
    typed = [*WEEKS[:at], WEEKS[at].replace(year=year), *WEEKS[at + 1 :]]
    assert _slips(typed) == [(2 + at, WEEKS[at], OTHER_YEAR)]


def test_the_last_days_that_there_are_do_no_harm() -> None:
    last = dt.date.max
    days = [last - dt.timedelta(days=back) for back in (14, 7, 0)]
    assert _slips([*days, last.replace(year=2026)]) == [(5, last, OTHER_YEAR)]
    first = [dt.date.min + dt.timedelta(days=more) for more in (0, 7, 14)]
    assert _slips([dt.date(2026, 1, 1), *first]) == [(2, dt.date.min, OTHER_YEAR)]


def test_a_year_far_away_does_not_speak_for_today() -> None:
    """A calm reading in the middle, dated 2126, stood for one that is over and written below it."""
    rows = [reading() | {"date": day} for day in WEEKS[:-1]]
    rows[4]["date"] = WEEKS[4].replace(year=2126)
    rows.append(reading(inlet=3.4, outlet=2.4) | {"date": WEEKS[-1]})
    (result,) = [r for r in assess(book(rows)).stations if r.history.readings]
    assert result.verdict is Verdict.FLUSH
    assert result.judgement.reason.endswith(
        " The reading in row 6 is dated 2126-06-29 and looks like one of 2026-06-29 in another"
        " year, so nobody knows which is the latest: correct its date."
    )


@pytest.mark.parametrize("days", [-1462, 1462])
def test_pasted_from_a_book_that_counts_from_another_year(days: int) -> None:
    last = WEEKS[-1] + dt.timedelta(days=days)
    assert _slips([*WEEKS[:-1], last]) == [(11, WEEKS[-1], OTHER_EPOCH)]
    assert _slips([*WEEKS[:-1], dt.date.max])[1:] == []


@pytest.mark.parametrize(
    "days",
    [
        WEEKS,
        WEEKS[::-1],
        [*WEEKS, dt.date(2026, 5, 20)],  # an old slip of paper, found late
        [*WEEKS, dt.date(2026, 7, 25)],  # a fortnight late
        [*WEEKS, dt.date(2026, 12, 15)],  # after a break
        [*WEEKS, dt.date(2026, 3, 12)],  # would be in December
        [WEEKS[0], WEEKS[0], WEEKS[0]],
        [WEEKS[9], dt.date(2026, 5, 8)],  # two rows cannot tell which is out
        [WEEKS[i] for i in (5, 1, 8, 0, 7, 2, 9, 3)],  # in no order
        NO_ORDER,
    ],
)
def test_honest_or_unclear_orders_are_left_alone(days: list[dt.date]) -> None:
    assert _slips(days) == []


def test_a_reading_that_may_be_the_latest_is_no_reason_to_call_a_station_in_range() -> None:
    rows = [reading() | {"date": day} for day in WEEKS[:-1]]
    rows.append(reading(inlet=3.4, outlet=2.4) | {"date": dt.date(2026, 3, 8)})
    made = book(rows)
    assert messages(made, "date-slipped") == [
        "Readings!B11: date looks mistyped: read 2026-03-08, out of the order of the rows;"
        " 2026-08-03, the same with day and month exchanged, fits it; accepted: a date between"
        " those of the rows around it. Correct the date if it is; a reading whose place is not"
        " sure is read again."
    ]
    (result,) = [r for r in assess(made).stations if r.history.readings]
    assert result.verdict is Verdict.RE_READ
    assert result.judgement.reason.endswith(
        " The reading in row 11 is dated 2026-03-08 and looks like one of 2026-08-03 with day and"
        " month exchanged, so nobody knows which is the latest: correct its date."
    )
    assert result.judgement.steps[0].words.startswith("Look at the date that was typed")
    read_again = [*rows, reading() | {"date": dt.date(2026, 8, 10)}]
    (result,) = [r for r in assess(book(read_again)).stations if r.history.readings]
    assert result.verdict is not Verdict.RE_READ  # it is no longer the latest, wherever it belongs
    earlier = assess(made, as_of=dt.date(2026, 2, 1))
    assert all("mistyped" not in r.judgement.reason for r in earlier.stations)


def test_a_reading_dated_in_the_future_does_not_speak_for_today() -> None:
    rows = [reading() | {"date": day} for day in WEEKS]
    rows.append(reading() | {"date": dt.date(2026, 10, 8)})
    (result,) = [r for r in assess(book(rows)).stations if r.history.readings]
    assert result.verdict is Verdict.RE_READ
    assert "dated 2026-10-08 and looks like one of 2026-08-10" in result.judgement.reason


def test_work_is_asked_as_well() -> None:
    work = [job() | {"date": day} for day in (*WEEKS[:-1], dt.date(2026, 3, 8))]
    (said,) = messages(book([reading() | {"date": WEEKS[0]}], work=work), "date-slipped")
    assert said.startswith("Work done!B11: date looks mistyped: read 2026-03-08")


def test_stations_that_are_not_looked_at_row_by_row_have_nothing_to_find() -> None:
    rng, told = random.Random(7), 0
    for _ in range(300):
        logs: dict[str, list[tuple[int, dt.date]]] = {name: [] for name in "ABC"}
        days = sorted(rng.choices(range(0, 300, 3), k=14), reverse=rng.random() < 0.4)
        names = [rng.choice("ABC") for _ in days]
        dates = [dt.date(2026, 1, 1) + dt.timedelta(days=day) for day in days]
        if rng.random() < 0.6:
            at = rng.randrange(14)
            dates[at] += dt.timedelta(days=rng.choice([-90, 30, 75, 365]))
        for row, (name, date) in enumerate(zip(names, dates, strict=True), start=2):
            logs[name].append((row, date))
        slow = {n: set(_of_station(rows)) for n, rows in logs.items() if len(rows) >= LEAST}
        told_of = slipped_dates(names, dates, range(2, 16))
        quick = {name: set(found) for name, found in told_of.items()}
        assert quick == {name: found for name, found in slow.items() if found}
        told += len(quick)
    assert told > 20
