"""Into a book that has rows: none twice, and none passed over without a word."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.styles import Font

from siltbook.batch.reading.book import read_book
from tests.adopt.farms import siltbook
from tests.whole.verdicts import Row, day, filled, reading

HEAD = "Station;Date;Time;Inlet pressure (bar);Outlet pressure (bar)\n"


def given(folder: Path, rows: list[Row], source: str, *struck: str) -> tuple[str, int]:
    """What the second call says of the source, and how many readings the book has then."""
    book = openpyxl.load_workbook(io.BytesIO(filled(Readings=rows)))
    for cell in struck:
        book["Readings"][cell].font = Font(strike=True)
    book.save(folder / "farm.xlsx")
    own, into = folder / "own.csv", folder / "farm.xlsx"
    own.write_text(HEAD + source, "utf-8")
    siltbook("adopt", own, "--into", into)
    said = siltbook("adopt", own, "--mapping", folder / "own.mapping.xlsx", "--into", into)
    return said, len(read_book(into.read_bytes(), "farm.xlsx").book.readings.frame)


def timed(clock: str, *pressures: Any) -> Row:
    return reading(day(10), *pressures, Time=clock)


def test_a_copy_without_times_is_not_entered_a_second_time(tmp_path: Path) -> None:
    rows = [timed("07:00", 2.9, 2.7), timed("18:00", 3.1, 2.4)]
    said, count = given(
        tmp_path, rows, "North 1;2026-06-10;;2.9;2.7\nNorth 1;2026-06-10;;3.1;2.4\n"
    )
    assert "nothing to add; 2 rows were there already, 0 conflicts." in said
    assert count == 2


def test_a_third_such_reading_of_that_day_is_another_one(tmp_path: Path) -> None:
    rows = [timed("07:00", 2.9, 2.7)]
    said, count = given(tmp_path, rows, "North 1;2026-06-10;;2.9;2.7\n" * 2)
    assert "1 readings, 0 rows of work and 0 stations added; 1 rows were there already." in said
    assert count == 2


def test_a_time_that_the_book_lacks_is_said(tmp_path: Path) -> None:
    source = "North 1;2026-06-10;07:00;2.9;2.7\nNorth 1;2026-06-10;18:00;3.1;2.4\n"
    said, count = given(tmp_path, [reading(day(10), 2.9, 2.7, Time=None)], source)
    assert (
        "Conflict: North 1, 2026-06-10 07:00: own.csv, row 2 says Time 07:00; Readings row 2 says"
        " nothing there. It was not entered."
    ) in said
    assert count == 2


def test_a_row_that_is_struck_through_in_the_book_is_said(tmp_path: Path) -> None:
    """It was there already, the terminal said, and counted for nothing."""
    rows = [reading(day(1), 2.9, 2.7), reading(day(10), 3.1, 2.4)]
    said, count = given(tmp_path, rows, "North 1;2026-06-10;;3.1;2.4\n", "D3")
    assert (
        "North 1, 2026-06-10: own.csv, row 2 has this row, and Readings row 3 has it struck"
        " through, so that it does not count. It was not entered again."
    ) in said
    said, _ = given(tmp_path, rows, "North 1;2026-06-10;;3.1;2.6\n", "D3")
    assert "Readings row 3 (struck through) says Outlet pressure 2.4 bar." in said
    assert count == 2


def test_of_many_conflicts_the_newest_are_said_first(tmp_path: Path) -> None:
    """The 20 oldest were, and the latest reading of the station was in none of them."""
    rows = [reading(day(n), 3.0, 2.8) for n in range(1, 29)]
    source = "".join(f"North 1;2026-06-{n:02};;3.0;2.2\n" for n in range(1, 29))
    said, _ = given(tmp_path, rows, source)
    told = [line.split(": ")[1] for line in said.splitlines() if "Conflict: " in line]
    assert told == [f"North 1, 2026-06-{n:02}" for n in range(28, 0, -1)]
