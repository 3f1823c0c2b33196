"""Rows of Carried over and Gauges that stand twice, lack their days, or reach into the log."""

from __future__ import annotations

import dataclasses
import datetime as dt

from siltbook.templates.book import Book, column_letters
from siltbook.templates.contract import CARRIED
from tests.checks.builders import Row, book, job, reading, table
from tests.checks.helpers import messages


def carried(*rows: Row, log: Book | None = None) -> Book:
    """A book of two stations with these rows on Carried over."""
    made = log or book(stations=[{"station": "North 1"}, {"station": "South"}])
    rows = tuple({"station": "North 1", **row} for row in rows)
    return dataclasses.replace(made, carried=table(CARRIED, list(rows), {"": "bar"}))


def on(month: int, day: int) -> dt.date:
    return dt.date(2026, month, day)


def test_a_station_that_was_carried_over_twice_says_which_row_was_used() -> None:
    rows: tuple[Row, ...] = ({"station": "South"}, {}, {"station": None}, {"station": "north  1"})
    assert messages(carried(*rows, {"station": None}), "carried-twice") == [
        'Carried over!A5: station carried over twice: read "north  1", in row 3 already; accepted:'
        " one row; row 3 was used. Keep one row per station."
    ]


def test_two_gauges_from_one_day_on_say_which_row_was_used() -> None:
    days = [
        (on(5, 1), "North 1"),
        (on(5, 2), "North 1"),
        (on(5, 1), "South"),
        (on(5, 2), "NORTH 1"),
    ]
    gauges = [{"station": name, "since": day} for day, name in days]
    (said,) = messages(
        book(gauges=gauges, stations=[{"station": "North 1"}, {"station": "South"}]), "gauge-twice"
    )
    assert said.startswith("Gauges!A5: two gauges from the same day on: read ")
    assert "in row 3 already; accepted: one row; row 3 was used." in said


def test_where_a_station_stood_it_got_by_a_day() -> None:
    """A row for each place where one may stand without a day of it, with each day, and plain."""
    days = ("opened", "flushed", "cleaned", "failed", "solenoid", "controller", "called", "supply")
    stood: list[tuple[str, str, tuple[str, ...]]] = [
        ("step", "needs flush", ("opened",)),
        ("step", "awaiting reading after flush", ("flushed",)),
        ("step", "needs hand cleaning", ("flushed",)),
        ("step", "awaiting reading after cleaning", ("cleaned",)),
        ("step", "needs escalation", ("cleaned",)),
        ("gear", "solenoid suspect", ("failed",)),
        ("gear", "controller suspect", ("failed", "solenoid")),
        ("gear", "awaiting proof", ("solenoid", "controller")),
    ]
    rows: list[Row] = [
        {column: where, **dict.fromkeys(set(days) - set(needs), on(3, 1))}
        for column, where, needs in stood
    ]
    rows += [{column: where, key: on(3, 1)} for column, where, needs in stood for key in needs]
    rows = [{"station": f"S{number}", **row} for number, row in enumerate([*rows, {}], 2)]
    log = book(stations=[{"station": row["station"]} for row in rows])
    said = messages(carried(*rows, log=log), "carried-odd")
    assert len(said) == len(stood)
    for number, (told, (column, where, needs)) in enumerate(zip(said, stood, strict=True), 2):
        letter = column_letters([one.key for one in CARRIED.columns].index(column))
        named = " or ".join(CARRIED.column(key).header for key in needs)
        assert told.startswith(
            f"Carried over!{letter}{number}: what was carried over contradicts itself: read"
            f" '{where}' without a day in {named}; accepted: the day in {named}. Look it up"
        )


def test_a_day_of_this_season_is_none_of_the_last() -> None:
    log = book([reading(5), reading(3), reading(1, station="South")], work=[job(4)])
    fine = carried({"opened": on(5, 3), "flushed": on(4, 1)}, log=log)
    assert messages(fine, "carried-odd") == []
    late = carried({"opened": on(4, 1), "flushed": on(5, 4), "cleaned": on(5, 9)}, log=log)
    assert messages(late, "carried-odd") == [
        "Carried over!E2: what was carried over contradicts itself: read 2026-05-04, after the"
        " station's first entry of 2026-05-03 in this book; accepted: a day of last season; later"
        " ones belong on Readings and Work done. Look it up in last season's book and correct the"
        " row."
    ]
    first = book([reading(5)], work=[job(2), job(4)])
    assert len(messages(carried({"opened": on(5, 3)}, log=first), "carried-odd")) == 1
    assert len(messages(carried({"opened": on(5, 2)}, log=first), "carried-odd")) == 0
    assert messages(carried({"opened": on(5, 3)}), "carried-odd") == []  # no entry yet
