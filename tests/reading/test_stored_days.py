"""Days and times as programs store them: 24:00 and 25:30, and days that count from 1904."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import openpyxl

from siltbook.batch.job import assess_bytes
from siltbook.batch.reading.book import read_book
from tests.reading.test_other_formats import cell, line, number, ods
from tests.whole.verdicts import day, filled, reading


def test_a_reading_over_the_limit_past_midnight_is_not_put_before_one_in_range() -> None:
    """25:30 was 01:30 of the same day, and the station was Watch by the reading of 22:00."""
    rows = [reading(day(1), 3.1, 2.9, Time=None), reading(day(1), 3.1, 2.4, Time=None)]
    book = openpyxl.load_workbook(io.BytesIO(filled(Readings=rows)))
    book["Readings"]["E2"] = dt.time(22)
    book["Readings"]["E3"] = dt.timedelta(hours=25, minutes=30)
    target = io.BytesIO()
    book.save(target)
    found = assess_bytes(target.getvalue(), "farm.xlsx")
    (result,) = found.stations
    assert str(result.verdict) == "flush"
    (said,) = (f.message for f in found.findings if f.rule == "cell-not-time")
    assert said == (
        "Readings!E3: not a time: read 25:30; accepted: a time such as 07:30. Type the time again,"
        " for example 07:30."
    )


def test_a_day_as_a_plain_number_of_an_ods_from_1904_is_one_of_that_calendar() -> None:
    """It was read four years and a day too early, so that an older reading was the latest."""
    june = cell("x", 'office:value-type="date"', 'office:date-value="2026-06-01"')
    plain = float((dt.date(2026, 6, 8) - dt.date(1904, 1, 1)).days)
    rows = line("F1", june, "", number("3.1"), number("2.8"))
    rows += line("F1", number(f"{plain}"), "", number("3.1"), number("2.4"))
    content = zipfile.ZipFile(io.BytesIO(ods(rows))).read("content.xml").decode()
    settings = (
        '<table:calculation-settings><table:null-date table:date-value="1904-01-01"/>'
        "</table:calculation-settings>"
    )
    made = content.replace("<office:spreadsheet>", f"<office:spreadsheet>{settings}")
    frame = read_book(ods("", **{"content.xml": made}), "b.ods").book.readings.frame
    assert frame.date.tolist() == [dt.date(2026, 6, 1), dt.date(2026, 6, 8)]
