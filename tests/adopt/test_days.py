"""Days and times of a source: by its own calendar, and no time of the day where it says none."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from siltbook.batch.adopt.job import Source, look

HEAD = ["Station", "Date", "Time", "Inlet (bar)", "Outlet (bar)"]
DAYS = [dt.datetime(2026, 6, 1), dt.datetime(2026, 6, 8, 7, 30)]


def read(rows: list[list[object]], **formats: str) -> list[dict[str, object]]:
    """The readings of a workbook that counts its days from 1904; number formats by column."""
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    page = book.worksheets[0]
    for row in [HEAD, *rows]:
        page.append(row)
    for letter, shown in formats.items():
        for row in range(2, len(rows) + 2):
            page[f"{letter}{row}"].number_format = shown
    target = io.BytesIO()
    book.save(target)
    return look([Source(Path("own.xlsx"), target.getvalue())]).rows.readings


@pytest.mark.parametrize("shown", ["yyyy-mm-dd", "General"])
def test_a_day_as_a_plain_number_is_one_of_the_books_own_calendar(shown: str) -> None:
    """It was read as one of 2022, four years and a day before the day that was meant."""
    found = read([["North", day, None, 3.1, 2.8] for day in DAYS], B=shown)
    assert [r["date"] for r in found] == [day.date() for day in DAYS]
    assert found[1]["time"] == dt.time(7, 30)


def test_a_time_of_a_day_and_more_is_none_of_that_day() -> None:
    """25:30 was 01:30 of the day itself, so that a later reading counted as the latest."""
    rows: list[list[object]] = [
        ["North", DAYS[0], dt.timedelta(hours=25, minutes=30), 3.1, 2.4],
        ["North", DAYS[0], dt.timedelta(days=1), 3.1, 2.4],
        ["North", DAYS[0], dt.time(22), 3.1, 2.8],
    ]
    assert [r["time"] for r in read(rows)] == ["25:30", "24:00", dt.time(22)]
