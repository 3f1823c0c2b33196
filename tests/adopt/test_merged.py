"""Cells of a source that are merged over rows hold for each of them, or are asked for."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl

from siltbook.batch.interface import judge
from siltbook.batch.reading.book import read_book
from tests.adopt.farms import siltbook

DAY = dt.datetime(2026, 6, 1)


def adopted(folder: Path, rows: list[list[object]], *merged: str) -> bytes:
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    for row in rows:
        page.append(row)
    for ref in merged:
        page.merge_cells(ref)
    book.save(folder / "own.xlsx")
    siltbook("adopt", folder / "own.xlsx")
    siltbook("adopt", folder / "own.xlsx", "--mapping", folder / "own.mapping.xlsx")
    return (folder / "own.book.xlsx").read_bytes()


def test_a_unit_merged_over_rows_is_that_of_each(tmp_path: Path) -> None:
    """The rows under 'psi' took the answer that was given for those without a unit."""
    rows: list[list[object]] = [
        ["Station", "Date", "Unit", "Inlet", "Outlet"],
        ["North", DAY, "bar", 3.1, 2.8], ["North", DAY + dt.timedelta(1), None, 3.1, 2.8],
        ["South", DAY, "psi", 45, 42], ["South", DAY + dt.timedelta(1), None, 45, 35],
    ]  # fmt: skip
    found = judge(adopted(tmp_path, rows, "C2:C3", "C4:C5")).stations
    assert str(found["South"].verdict) == "flush"
    assert str(found["North"].verdict) == "in-range"


def test_a_time_merged_over_rows_is_that_of_each_and_a_flow_is_asked_for(tmp_path: Path) -> None:
    """The flow of the second row was lost without a word, and the station was In range."""
    rows: list[list[object]] = [
        ["Station", "Date", "Time", "Inlet (bar)", "Outlet (bar)", "Flow (m3/h)"],
        ["North", DAY, dt.time(7), 3.1, 2.8, 3], ["South", DAY, None, 3.1, 2.8, None],
    ]  # fmt: skip
    data = adopted(tmp_path, rows, "C2:C3", "F2:F3")
    frame = read_book(data, "own.book.xlsx").book.readings.frame
    assert set(frame["time"]) == {dt.time(7)}
    south = judge(data).stations["South"]
    assert str(south.verdict) == "re-read"
    assert "has 'merged with F2 in the source' in 'Flow', which cannot be read" in (
        south.judgement.reason
    )
