"""Rules about when things were entered."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.checks.visits import season_years
from tests.checks.builders import book, job, reading
from tests.checks.helpers import messages


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("2026", (2026,)),
        (" 2026 ", (2026,)),
        ("2026/27", (2026, 2027)),
        ("2026-27", (2026, 2027)),
        ("2026/2027", (2026, 2027)),
        ("2026 – 27", (2026, 2027)),
        ("1999/00", (1999, 2000)),
        ("2026/29", ()),
        ("2026/2026", ()),
        ("summer 2026", ()),
        ("", ()),
    ],
)
def test_season_years(text: str, years: tuple[int, ...]) -> None:
    assert season_years(text) == years


def test_date_outside_season() -> None:
    wrong = reading(2) | {"date": dt.date(2062, 5, 2)}
    assert messages(book([reading(1), wrong], season="2026"), "date-outside-season") == [
        "Readings!B3: date outside the season: read 2062-05-02; accepted: dates in 2026, the "
        "season on the sheet Farm. Check the year."
    ]


def test_dates_of_one_foreign_year_are_one_finding_per_sheet() -> None:
    rows = [reading(day) | {"date": dt.date(2025, 5, day)} for day in (1, 2)]
    work = [job(3) | {"date": dt.date(2024, 5, 3)}]
    first, second = messages(book(rows, work=work, season="2026/27"), "date-outside-season")
    assert "Readings!B2: " in first
    assert "read 2025-05-01 (same year in row 3); accepted: dates in 2026 or 2027," in first
    assert "Work done!B2: " in second


def test_span_season_covers_both_years_and_free_text_none() -> None:
    rows = [reading(1) | {"date": day} for day in (dt.date(2026, 12, 31), dt.date(2027, 1, 1))]
    assert messages(book(rows, season="2026/27"), "date-outside-season") == []
    assert messages(book(rows, season="the dry one"), "date-outside-season") == []
    assert messages(book([reading() | {"date": None}], season="2026"), "date-outside-season") == []


def test_entries_after_the_as_of_date_are_counted_per_sheet() -> None:
    later = book([reading(day) for day in (9, 10, 11, 12)], work=[job(13)])
    assert messages(later, "date-after-review", dt.date(2026, 5, 10)) == [
        "Readings!B4: entries after the as-of date: read 2 entries (rows 4 and 5), the first "
        "dated 2026-05-11; accepted: dates up to 2026-05-10. Nothing to do: they were left out "
        "of this judgement.",
        "Work done!B2: entries after the as-of date: read 1 entry (row 2), the first dated "
        "2026-05-13; accepted: dates up to 2026-05-10. Nothing to do: they were left out of "
        "this judgement.",
    ]


def test_entry_on_the_as_of_date_is_judged_and_latest_entry_is_the_default() -> None:
    assert messages(book([reading(10)]), "date-after-review", dt.date(2026, 5, 10)) == []
    assert messages(book([reading(10)], work=[job(12)]), "date-after-review") == []


def test_same_reading_twice_with_time() -> None:
    rows = [reading(1, time=dt.time(7, 30)), reading(1, time=dt.time(7, 30))]
    assert messages(book(rows), "reading-twice") == [
        "Readings!A3: same reading entered twice: read inlet 3 bar, outlet 2.8 bar on "
        "2026-05-01 07:30, as in row 2; accepted: each reading once. Delete one of the rows."
    ]


def test_same_reading_three_times_without_time_names_the_first_row() -> None:
    rows = [reading(1), reading(1), reading(2), reading(1, station="NORTH 1")]
    first, second = messages(book(rows), "reading-twice")
    assert "Readings!A3: " in first
    assert "on 2026-05-01, as in row 2;" in first
    assert "Readings!A5: " in second


@pytest.mark.parametrize(
    "other",
    [
        reading(1, time=dt.time(8, 0)),
        reading(1, occasion="after flush"),
        reading(1, 3.0, 2.7),
        reading(1, flow=12),
        reading(2),
        reading(1, station="South"),
    ],
)
def test_honest_second_reading(other: dict[str, object]) -> None:
    assert messages(book([reading(1), other]), "reading-twice") == []


def test_incomplete_readings_are_not_compared() -> None:
    assert messages(book([reading(1, None), reading(1, None)]), "reading-twice") == []


def test_rows_copied_is_one_finding_for_the_run() -> None:
    rows = [reading(day, flow=12) for day in (1, 2, 3, 4)]
    assert messages(book(rows), "rows-copied") == [
        "Readings!D2: identical readings copied down: read inlet 3 bar, outlet 2.8 bar in rows "
        "2, 3, 4 and 5, 2026-05-01 to 2026-05-04; accepted: readings that differ at least now "
        "and then. Check that each was really read."
    ]


def test_rows_copied_follows_dates_not_rows_and_ignores_other_stations() -> None:
    south = reading(2, 5.0, 4.0, station="South")
    rows = [reading(3), reading(1), south, reading(2)]
    (message,) = messages(book(rows), "rows-copied")
    assert "in rows 3, 5 and 2, 2026-05-01 to 2026-05-03;" in message


@pytest.mark.parametrize(
    "rows",
    [
        [reading(1), reading(2)],
        [reading(1), reading(2), reading(3, 3.1)],
        [reading(1), reading(2, 3.1), reading(3)],
        [reading(1, flow=12), reading(2, flow=12.1), reading(3, flow=12)],
        [reading(1), reading(2), reading(2, time=dt.time(9, 0))],
        [reading(1, 3.0, None), reading(2, 3.0, None), reading(3, 3.0, None)],
        [reading(1), reading(2), reading(3, station="South")],
    ],
)
def test_no_copied_run(rows: list[dict[str, object]]) -> None:
    assert messages(book(rows), "rows-copied") == []


def test_several_entries_without_times_across_sheets() -> None:
    rows = [reading(1), reading(1, 3.0, 2.9, occasion="after flush", time=dt.time(9, 0))]
    assert messages(book(rows, work=[job(1)]), "several-without-time") == [
        "Readings!C2: several entries on a day without times: read 3 entries on 2026-05-01, 2 "
        "without a time (Readings row 2; Work done row 2); accepted: a time on each of them. "
        "Add the times; until then the usual order is assumed."
    ]


def test_only_the_work_lacks_its_time() -> None:
    rows = [reading(1, time=dt.time(9, 0))]
    (message,) = messages(book(rows, work=[job(1)]), "several-without-time")
    assert message.startswith("Work done!C2: ")


def test_single_or_timed_entries_need_no_time() -> None:
    assert messages(book([reading(1), reading(2)], work=[job(3)]), "several-without-time") == []
    timed = [reading(1, time=dt.time(7, 0)), reading(1, time=dt.time(8, 0))]
    assert messages(book(timed), "several-without-time") == []
    two = [reading(1), reading(1, station="South")]
    assert messages(book(two), "several-without-time") == []


def test_the_same_values_at_another_time_of_a_day_are_another_reading() -> None:
    """6:02 and 12:01 have the same product of hour and minute; 6:02 twice is one reading."""
    early, late = reading(1, time=dt.time(6, 2)), reading(1, time=dt.time(12, 1))
    assert messages(book([early, late]), "reading-twice") == []
    assert messages(book([early, early]), "reading-twice") == [
        "Readings!A3: same reading entered twice: read inlet 3 bar, outlet 2.8 bar on 2026-05-01"
        " 06:02, as in row 2; accepted: each reading once. Delete one of the rows."
    ]


def test_two_readings_of_one_minute_that_contradict_each_other() -> None:
    at = {"time": dt.time(8)}
    over, fine = reading(2, 3.4, 2.6, **at), reading(2, 2.8, 2.6, **at)
    assert messages(book([over, fine]), "readings-differ") == [
        "Readings!C3: two readings of the same minute differ: read inlet 2.8 bar and outlet 2.6 bar"
        " on 2026-05-02 08:00, but inlet 3.4 bar and outlet 2.6 bar in row 2; accepted: one reading"
        " for each station and minute. Correct the time, or delete the wrong row; until then the"
        " one with the higher drop counts as the later one."
    ]
    for honest in (
        book([over, over]),
        book([over, fine | {"time": dt.time(8, 1)}]),
        book([over, fine | {"occasion": "after flush"}]),
        book([over, fine], work=[job(2, **at)]),
        book([reading(1), over | {"time": None}, fine | {"time": None}]),
    ):
        assert messages(honest, "readings-differ") == []
