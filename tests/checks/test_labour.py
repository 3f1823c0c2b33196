"""Rules about the work log."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from siltbook.batch.numbers.history import histories
from siltbook.checks.labour import FAR, most_flush_inlet
from tests.checks.builders import book, job, reading
from tests.checks.helpers import messages


def test_flush_without_cycles() -> None:
    work = [job(1, cycles=None), job(2, cycles=0), job(3), job(4, "hand cleaning")]
    first, second = messages(book(work=work), "flush-without-cycles")
    assert first == (
        "Work done!E2: flush without cycles: read an empty cell; accepted: the number of cycles "
        "run; a complete flush has 3. Enter the number of cycles."
    )
    assert "Work done!E3: flush without cycles: read 0;" in second


def test_cycles_that_the_reader_refused_are_not_called_empty() -> None:
    assert messages(book(work=[job(1, cycles="some")]), "flush-without-cycles") == []


def test_flush_signs_blank_names_the_open_questions() -> None:
    work = [job(1, click=None), job(2, click=None, water=None), job(3, water="no"), job(4, "other")]
    first, second = messages(book(work=work), "flush-signs-blank")
    assert first == (
        "Work done!G2: flush without its signs: read nothing in 'Click heard'; accepted: yes or "
        "no in both cells. Note whether the click was heard and water left the outlet."
    )
    assert "read nothing in 'Click heard' and 'Water at outlet';" in second


def test_work_on_a_resting_station_is_one_finding_at_its_latest_work() -> None:
    register = [{"station": "North 1", "in_service": "no"}, {"station": "South"}]
    work = [job(5), job(9, "hand cleaning", gauge_zero="yes"), job(2), job(9, station="South")]
    assert messages(book(work=work, stations=register), "work-out-of-service") == [
        "Work done!A3: work on a station that is not in service: read hand cleaning on "
        "2026-05-09 (earlier work in rows 2 and 4); accepted: work on stations that are in "
        "service. Check the station's name or its 'In service' cell."
    ]


@pytest.mark.parametrize("in_service", ["yes", None])
def test_work_on_a_station_in_service(in_service: str | None) -> None:
    register = [{"station": "North 1", "in_service": in_service}]
    assert messages(book(work=[job()], stations=register), "work-out-of-service") == []


def test_opened_with_blank_or_no() -> None:
    work = [job(1, "hand cleaning"), job(2, "screen replaced", gauge_zero="no"), job(3, "other")]
    first, second = messages(book(work=work), "zero-not-shown")
    assert first == (
        "Work done!J2: opened without a gauge seen working: read an empty cell; accepted: yes, "
        "from a gauge seen above zero first. On the next visit log a reading above zero before "
        "the zero."
    )
    assert "Work done!J3: " in second
    assert "read no;" in second


def test_yes_after_a_reading_of_zero_proves_nothing() -> None:
    rows = [reading(1), reading(8, 0.0, 0.0)]
    work = [job(9, "hand cleaning", gauge_zero="yes")]
    (message,) = messages(book(rows, work=work), "zero-not-shown")
    assert (
        "read yes, but the latest reading before it shows an inlet of 0 (Readings row 3);"
        in message
    )


@pytest.mark.at_length(usual=4)
@pytest.mark.parametrize(
    "rows",
    [
        [],
        [reading(9)],
        [reading(8)],
        # Above zero, then at zero on the same visit: what the log should show.
        [reading(9, time=dt.time(7, 0)), reading(9, 0.0, 0.0, time=dt.time(7, 20))],
        # The zero was read only after the cleaning.
        [reading(8), reading(9, 0.0, 0.0, occasion="after cleaning")],
        [reading(8), reading(10, 0.0, 0.0)],
        [reading(8), reading(8, 0.0, 0.0, station="South")],
        [reading(8), reading(9, None, 0.0)],
    ],
)
def test_yes_with_a_gauge_seen_working(rows: list[dict[str, object]]) -> None:
    work = [job(9, "hand cleaning", gauge_zero="yes")]
    assert messages(book(rows, work=work), "zero-not-shown") == []


def test_absent_work_columns_point_to_the_rows_first_cell() -> None:
    plain = book(work=[job(1, click=None, water=None)])
    table = dataclasses.replace(plain.work, places={"station": 0, "date": 1, "work": 2})
    (message,) = messages(dataclasses.replace(plain, work=table), "flush-signs-blank")
    assert message.startswith("Work done!A2: ")


@pytest.mark.parametrize(
    ("usual", "full_scale", "most"),
    [
        (20.0, 60.0, 60.0),
        (20.0, 900.0, FAR * 20.0),
        (20.0, 0.5, 0.5),
        (20.0, 0.0, FAR * 20.0),  # no gauge ends at zero
        (20.0, -1.0, FAR * 20.0),
        (None, 60.0, 60.0),
        (None, None, float("inf")),
    ],
)
def test_the_most_that_an_inlet_in_a_flush_can_be(
    usual: float | None, full_scale: float | None, most: float
) -> None:
    assert most_flush_inlet(usual, full_scale) == most


def test_an_inlet_in_the_flush_that_the_station_never_has() -> None:
    """30 on a bar gauge, meant in psi, would prove a flush at an inlet that nobody knows."""
    psi = job(2, flush_inlet=30.0)
    made = book([reading(1), reading(3)], work=[psi, job(4, flush_inlet=2.5)])
    assert messages(made, "flush-inlet-odd") == [
        "Work done!F2: inlet in the flush beyond what the station reads: read 30 bar, while the"
        " usual inlet is 3 bar; accepted: up to 15 bar; until then the cell counts as empty. Check"
        " the number and its unit."
    ]
    gauge = [{"station": "North 1", "full_scale": 6.0}]
    (said,) = messages(book(stations=gauge, work=[job(2, flush_inlet=7.0)]), "flush-inlet-odd")
    assert "read 7 bar; accepted: up to 6 bar" in said
    assert messages(book(work=[psi]), "flush-inlet-odd") == []  # nothing to compare it with
    (history,) = histories(made, None)
    assert [work.flush_inlet for work in history.work] == [None, pytest.approx(25.49, abs=0.01)]
