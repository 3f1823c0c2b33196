"""One station that a source writes in two ways is one, or is asked about."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.adopt.job import Adoption, Source, look

HEAD = "Station;Date;Inlet (bar);Outlet (bar)\n"


def read(*rows: str, head: str = HEAD) -> Adoption:
    return look([Source(Path("own.csv"), (head + "\n".join(rows) + "\n").encode())])


def test_a_name_on_two_lines_of_a_cell_is_one_name() -> None:
    """The later reading, over the limit, stood at a station 'North; 1' of its own."""
    seen = read("North 1;2026-06-01;3,1;2,8", '"North\n1";2026-06-02;3,1;2,4')
    assert [r["station"] for r in seen.rows.readings] == ["North 1", "North 1"]


@pytest.mark.parametrize("other", ["1.0", "1,0", "01"])
def test_a_number_written_otherwise_is_asked_about(other: str) -> None:
    seen = read("1;2026-06-01;3,1;2,8", f'"{other}";2026-06-02;3,1;2,4')
    assert [q.text for q in seen.asked] == [f"Is '{other}' the same station as '1'?"]


def test_a_copied_sheet_is_asked_about_and_numbered_filters_are_not() -> None:
    book = openpyxl.Workbook()
    for name in ("North", "North (2)"):
        page = book.create_sheet(name)
        page.append(["Date", "Inlet (bar)", "Outlet (bar)"])
        page.append([dt.datetime(2026, 6, 1), 3.1, 2.8])
    target = io.BytesIO()
    book.save(target)
    seen = look([Source(Path("own.xlsx"), target.getvalue())])
    assert [q.text for q in seen.asked] == ["Is 'North (2)' the same station as 'North'?"]
    numbered = read(*(f"Filter ({n});2026-06-01;3,1;2,8" for n in (1, 2)))
    assert numbered.asked == []


def test_a_column_of_times_that_holds_days_is_that_of_the_dates() -> None:
    """No table of readings was found in such a file."""
    seen = read("North;2026-06-01 06:00;3,1;2,8", head=HEAD.replace("Date", "Time"))
    assert [(r["date"], r["time"]) for r in seen.rows.readings] == [
        (dt.date(2026, 6, 1), dt.time(6))
    ]
