"""Readings that may be the latest and could not be placed reassure nobody."""

from __future__ import annotations

import datetime as dt
from io import BytesIO

import pytest
from openpyxl import Workbook

from siltbook.batch.interface import judge
from siltbook.batch.model import Verdict
from siltbook.batch.results import StationResult

HEADERS = ["Station", "Date", "Inlet pressure", "Outlet pressure"]
DAYS = [dt.date(2026, 7, day) for day in (1, 8, 15, 22)]
OVER = 3.4


def _rows() -> list[list[object]]:
    return [["North 1", day, 2.8 + 0.01 * i, 2.6] for i, day in enumerate(DAYS)]


def _judged(
    rows: list[list[object]], merged: str = "", as_of: str = ""
) -> dict[str, StationResult]:
    book = Workbook()
    farm, register, readings, work = (book.create_sheet(n) for n in
                                      ("Farm", "Stations", "Readings", "Work done"))  # fmt: skip
    book.remove(book.worksheets[0])
    farm.append(["Pressure unit", "bar"])
    for row in (["Station"], ["North 1"], ["South pump"]):
        register.append(row)
    for cells in (HEADERS, *rows, ["South pump", DAYS[-1], 2.8, 2.6]):
        readings.append(cells)
    if merged:
        readings.merge_cells(merged)
    work.append(["Station", "Date", "Work"])
    data = BytesIO()
    book.save(data)
    found = judge(data.getvalue(), as_of=dt.date.fromisoformat(as_of) if as_of else None)
    return dict(found.stations)


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(
    "spoilt",
    [
        ["North 1", "05/08/2026", OVER, 2.6],  # two days
        ["North 1", "end of July", OVER, 2.6],
        ["North 1", None, OVER, 2.6],
        [None, dt.date(2026, 7, 29), OVER, 2.6],  # the name stands above
        [None, None, OVER, 2.6],  # and the date as well
        ["Nort 1", dt.date(2026, 7, 29), OVER, 2.6],
    ],
)
def test_a_row_below_that_cannot_be_placed(spoilt: list[object]) -> None:
    found = _judged([*_rows(), spoilt])
    north = found["North 1"]
    assert north.verdict is Verdict.RE_READ
    assert (
        " Row 6 of the readings could not be placed and may be the latest here: correct station or"
        " date." in north.judgement.reason
    )
    assert north.judgement.steps[0].words.startswith("Look at the row that could not be placed")
    assert found["South pump"].verdict is not Verdict.RE_READ
    later = ["North 1", dt.date(2026, 8, 9), 2.8, 2.6]
    assert _judged([*_rows(), spoilt, later])["North 1"].verdict is Verdict.IN_RANGE


def test_a_name_that_is_typed_once_or_merged() -> None:
    once = [["North 1", *_rows()[0][1:]], *([None, *row[1:]] for row in _rows()[1:])]
    for merged in ("", "A2:A5"):
        north = _judged(once, merged)["North 1"]
        assert north.verdict is Verdict.RE_READ
        assert "Rows 3, 4 and 5 of the readings could not be placed" in north.judgement.reason


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(
    "harmless",
    [
        ["Average", None, 3.4, 2.6],
        ["North 1", None, None, None],
        [None, dt.date(2026, 7, 10), OVER, 2.6],  # before the latest
        ["South field 7", dt.date(2026, 7, 29), OVER, 2.6],
    ],
)
def test_rows_that_are_no_latest_reading(harmless: list[object]) -> None:
    found = _judged([*_rows(), harmless])
    assert found["North 1"].verdict is not Verdict.RE_READ
    assert "could not be placed" not in found["North 1"].judgement.reason


def test_the_newest_on_top_and_an_earlier_as_of_date() -> None:
    undated: list[object] = ["North 1", "?", OVER, 2.6]
    turned = [undated, *_rows()[::-1]]
    assert _judged(turned)["North 1"].verdict is Verdict.RE_READ
    assert _judged([*_rows()[::-1], undated])["North 1"].verdict is Verdict.IN_RANGE
    late: list[object] = [None, dt.date(2026, 7, 29), OVER, 2.6]
    assert _judged([*_rows(), late], as_of="2026-07-23")["North 1"].verdict is Verdict.IN_RANGE
