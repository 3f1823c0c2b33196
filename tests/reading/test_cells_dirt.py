"""Cells as people really fill them."""

from __future__ import annotations

import datetime as dt
import math

import pytest

from siltbook.checks.findings import CATALOGUE
from siltbook.templates.contract import READINGS
from siltbook.templates.units import metres_per
from tests.reading.books import clean_sheets, reading

DAY = dt.date(2026, 5, 31)


def messages(result) -> list[str]:
    return [finding.message for finding in result.findings]


def codes(result) -> list[str]:
    return [finding.rule for finding in result.findings]


@pytest.mark.parametrize(
    ("typed", "bars"),
    [("2,4", 2.4), ("2.4", 2.4), ("1 234,5", 1234.5), ("1,234.5", 1234.5), ("1.234,5", 1234.5),
     ("\u00a02.4 ", 2.4), (".5", 0.5), ("0,234", 0.234), ("1'234.5", 1234.5)],
)  # fmt: skip
def test_text_numbers_are_read_with_a_note(typed, bars):
    result = reading(["F1", DAY, None, typed, 2.0])
    assert result.book.readings.frame.inlet[2] == pytest.approx(bars * metres_per("bar"))
    assert codes(result) == ["cell-text-number"]
    assert result.book.readings.raw["inlet"] == {2: typed}


def test_a_whole_column_of_text_numbers_does_not_drown_the_rest():
    result = reading(*[["F1", DAY, None, "2.4", 2] for _ in range(150)], ["F1", DAY, None, "x", 2])
    assert codes(result) == ["cell-text-number"] * 100 + ["cell-not-number"]
    assert "(further ones in this column are not listed)" in messages(result)[99]
    assert result.book.readings.frame.inlet.notna().sum() == 150


def test_a_number_that_can_be_read_two_ways_is_not_guessed():
    result = reading(["F1", DAY, None, "1,234", 2.0])
    assert math.isnan(result.book.readings.frame.inlet[2])
    assert messages(result) == [
        "Readings!D2: number can be read two ways: read '1,234'; accepted: a number that can be"
        " read one way only, for example 1234 or 1.23. Type it without a thousands separator."
    ]


def test_the_column_settles_the_decimal_mark():
    result = reading(["F1", DAY, None, "1,234", 2.0], ["F1", DAY, None, "2,4", 2.0])
    assert result.book.readings.frame.inlet[2] == pytest.approx(1.234 * metres_per("bar"))


def test_a_unit_in_the_cell_is_used():
    result = reading(["F1", DAY, None, "35 psi", "2.4bar"])
    frame = result.book.readings.frame
    assert frame.inlet[2] == pytest.approx(35 * metres_per("psi"))
    assert frame.outlet[2] == pytest.approx(2.4 * metres_per("bar"))
    assert messages(result)[0] == (
        "Readings!D2: unit typed in the cell: read '35 psi'; accepted: a number in bar."
        f" {CATALOGUE['cell-other-unit'].do}"
    )


def test_a_number_that_became_a_date_is_set_aside():
    result = reading(["F1", DAY, None, dt.date(2026, 4, 2), 2.0])
    assert math.isnan(result.book.readings.frame.inlet[2])
    assert messages(result)[0].startswith("Readings!D2: number turned into a date: read 46114;")


@pytest.mark.parametrize("typed", ["abc", "2.4?", "2 4", "--", "2.4 baar", "1e999", True])
def test_what_is_no_number_is_a_finding(typed):
    result = reading(["F1", DAY, None, typed, 2.0])
    assert codes(result) == ["cell-not-number"]
    assert "accepted: a number in bar. Type the number again." in messages(result)[0]
    assert result.book.counts["Readings"].used == 1


@pytest.mark.parametrize(
    "typed",
    ["2026-05-31", "31/05/2026", "5/31/2026", "31.5.2026", "31 May 2026", "May 31, 2026",
     "Sunday 31/05/26", "2026/5/31", 20260531, 46173, "20260531", "2026-05-31T00:00:00", DAY],
)  # fmt: skip
def test_dates_that_can_be_read_one_way(typed):
    result = reading(["F1", typed, None, 3, 2])
    assert result.book.readings.frame.date[2] == DAY
    assert result.findings == ()


def test_an_ambiguous_date_is_not_guessed():
    result = reading(["F1", "03/04/2026", None, 3, 2])
    assert messages(result) == [
        "Readings!B2: date can be read two ways: read '03/04/2026'; accepted: a date that can be"
        " read one way only, for example 2026-05-31. Type it year first, for example 2026-05-31."
    ]
    assert result.findings[0].station == "F1"
    counts = result.book.counts["Readings"]
    assert (counts.read, counts.used, counts.set_aside) == (1, 0, 1)


@pytest.mark.parametrize(
    ("other", "read"),
    [("31/05/2026", dt.date(2026, 4, 3)), ("05/31/2026", dt.date(2026, 3, 4))],
)
def test_the_column_settles_the_order_of_day_and_month(other, read):
    result = reading(["F1", "03/04/2026", None, 3, 2], ["F1", other, None, 3, 2])
    assert result.book.readings.frame.date[2] == read
    assert result.findings == ()


def test_a_column_that_contradicts_itself_settles_nothing():
    rows = [["F1", text, None, 3, 2] for text in ("03/04/2026", "31/05/2026", "05/31/2026")]
    assert codes(reading(*rows)) == ["cell-ambiguous-date"]


@pytest.mark.parametrize("typed", ["32/01/2026", "soon", "2026", 7, "30/02/2026", True])
def test_what_is_no_date_is_a_finding(typed):
    result = reading(["F1", typed, None, 3, 2])
    assert codes(result) == ["cell-not-date"]
    assert "accepted: a date such as 2026-05-31." in messages(result)[0]


@pytest.mark.parametrize(
    ("typed", "read"),
    [(dt.date(2150, 6, 15), "2150-06-15"), (dt.date(1926, 6, 15), "1926-06-15"),
     ("15.6.2150", "'15.6.2150'"), ("5/6/2150", "'5/6/2150'"), ("2150-06-15", "'2150-06-15'")],
)  # fmt: skip
def test_a_date_out_of_bounds_is_said_to_be_one(typed, read):
    """It was 'not a date: read 91478'."""
    assert messages(reading(["F1", typed, None, 3, 2])) == [
        f"Readings!B2: date in a year that no entry can be of: read {read}; accepted: a date in the"
        " years 1950 to 2149, such as 2026-05-31. Correct the year."
    ]


@pytest.mark.parametrize(
    "typed", ["7:30", "7.30", "0730", "730", "07:30:00", "7h30", "7:30 am", 0.3125, 730, 46173.3125]
)
def test_times(typed):
    result = reading(["F1", DAY, typed, 3, 2])
    assert result.book.readings.frame.time[2] == dt.time(7, 30)
    assert result.findings == ()


def test_a_quarter_of_a_day_as_text_is_no_time_past_midnight():
    result = reading(["F1", DAY, "0.25", 3, 2])
    assert result.book.readings.frame.time.tolist() == [None]
    assert messages(result) == [
        "Readings!C2: not a time: read '0.25'; accepted: a time such as 07:30."
        " Type the time again, for example 07:30."
    ]


def test_what_is_no_time_leaves_the_reading_in():
    result = reading(["F1", DAY, "morning", 3, 2])
    assert messages(result) == [
        "Readings!C2: not a time: read 'morning'; accepted: a time such as 07:30."
        " Type the time again, for example 07:30."
    ]
    assert result.book.readings.frame.time[2] is None


def test_a_date_with_a_time_fills_a_blank_time_only():
    moment = dt.datetime(2026, 5, 31, 6, 15)
    frame = reading(["F1", moment, None, 3, 2], ["F1", moment, "7:30", 3, 2]).book.readings.frame
    assert frame.date.tolist() == [DAY, DAY]
    assert frame.time.tolist() == [dt.time(6, 15), dt.time(7, 30)]


def test_station_names_match_the_register():
    names = [" f1 ", "F\u00a02", "f1", "007", 7, "New  one"]
    stations = [["Station"], ["F1"], ["F 2"]]
    frame = reading(*[[n, DAY, None, 3, 2] for n in names], Stations=stations).book.readings.frame
    assert frame.station.tolist() == ["F1", "F 2", "F1", "007", "7", "New one"]


def test_a_name_as_long_as_a_page_is_cut_and_said_and_a_remark_is_not():
    long, remark = "N" * 600, [c.key for c in READINGS.columns].index("remark")
    visit = [long, DAY, None, 3, 2, *[None] * (remark - 5), "r" * 600]
    result = reading(visit, Stations=[["Station"], [long]])
    frame = result.book.readings.frame
    assert frame.station.tolist() == result.book.stations.frame.station.tolist() == ["N" * 500]
    assert frame.remark.tolist() == ["r" * 600]
    assert codes(result) == ["text-too-long"] * 2
    assert messages(result)[0] == (
        f"Stations!A2: text too long for a name: read 600 characters, '{'N' * 57}...'; accepted:"
        " up to 500 characters; until then its first 500 count. Shorten it, everywhere alike; put"
        " the rest into the remark."
    )


def test_words_that_look_like_missing_values_stay():
    remark = [c.key for c in READINGS.columns].index("remark")
    rows = [["F1", DAY, None, 3, 2, *[None] * (remark - 5), t] for t in ("NA", "null", "None")]
    assert reading(*rows).book.readings.frame.remark.tolist() == ["NA", "null", "None"]


def test_missing_cells():
    result = reading(["F1", DAY, None, None, 2], [None, DAY, None, 3, 2], ["F1", None, None, 3, 2])
    # An empty pressure is found by the checks, a row at a time.
    assert [(f.cell, f.rule) for f in result.findings] == [
        ("A3", "cell-missing"), ("B4", "cell-missing"),
    ]  # fmt: skip
    assert messages(result)[0] == (
        "Readings!A3: required cell is empty: read nothing; accepted: text."
        " Fill the cell or delete the row."
    )
    counts = result.book.counts["Readings"]
    assert (counts.read, counts.used, counts.set_aside) == (3, 1, 2)
    assert list(result.book.readings.frame.index) == [2]


def test_choices_and_their_obvious_synonyms():
    work = clean_sheets()["Work done"][:1]
    said = [("FLUSH", "Y"), ("Hand-cleaning", True), ("new solenoid", "N"), ("other", 0)]
    work += [["F1", DAY, None, done, 3, None, click] for done, click in said]
    frame = reading(**{"Work done": work}).book.work.frame
    assert frame.work.tolist() == ["flush", "hand cleaning", "solenoid replaced", "other"]
    assert frame.click.tolist() == ["yes", "yes", "no", "no"]


def test_a_choice_that_is_none_names_the_choices():
    work = [*clean_sheets()["Work done"][:1], ["F1", DAY, None, "flush", 3, None, "maybe"]]
    assert messages(reading(**{"Work done": work})) == [
        "Work done!G2: not one of the choices: read 'maybe'; accepted: yes, no. Pick from the list."
    ]
