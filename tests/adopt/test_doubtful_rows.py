"""Rows that nobody can place are as loud in an adopted book as in one that was typed."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Font

from siltbook.batch.interface import judge
from siltbook.batch.model import Verdict
from siltbook.batch.reading.book import read_book
from siltbook.batch.results import StationResult
from tests.adopt.farms import siltbook
from tests.adopt.test_command import change, find

DAYS = [dt.date(2026, 6, 1) + dt.timedelta(days=7 * week) for week in range(10)]
HEAD = "Station;Date;Inlet pressure (bar);Outlet pressure (bar);Remark"
CALM = [f"North 1;{day:%d/%m/%Y};{2.8 + i / 100:.2f};2.6;" for i, day in enumerate(DAYS)]
OTHER = [line.replace("North 1", "South pump") for line in CALM]


def _own(folder: Path, *lines: str) -> Path:
    path = folder / "own.csv"
    path.write_text("\n".join([HEAD, *OTHER, *lines]) + "\n", "utf-8")
    return path


def _adopted(folder: Path, *lines: str) -> tuple[str, dict[str, StationResult]]:
    """What the second call says of these rows of North 1, and the stations of its book."""
    own = _own(folder, *lines)
    siltbook("adopt", own)
    said = siltbook("adopt", own, "--mapping", folder / "own.mapping.xlsx")
    return said, dict(judge((folder / "own.book.xlsx").read_bytes()).stations)


def test_calm_rows_are_calm(tmp_path: Path) -> None:
    said, found = _adopted(tmp_path, *CALM)
    assert found["North 1"].verdict is Verdict.IN_RANGE
    assert "as it stands" not in said


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("North 1;;3.4;2.6;", "no date"),
        ("North 1;end of July;3.4;2.6;", "the date 'end of July' cannot be read"),
        (";10/08/2026;3.4;2.6;", "no station is named"),
    ],
)
def test_a_row_without_a_date_or_a_station_enters_as_it_stands(
    row: str, why: str, tmp_path: Path
) -> None:
    said, found = _adopted(tmp_path, *CALM, row)
    assert (
        "1 row has pressures, but no date or station that can be read: it enters as it stands"
        " (own.csv, row 22; sheet Left out). Correct it in the book: until then the station may"
        " have to be read again." in said
    )
    assert "Read 21 rows: used 21, proposed 0, left out 0" in said
    north = found["North 1"]
    assert north.verdict is Verdict.RE_READ
    assert "Row 22 of the readings could not be placed and may be the latest here" in (
        north.judgement.reason
    )
    assert found["South pump"].verdict is Verdict.IN_RANGE
    mapping, book = tmp_path / "own.mapping.xlsx", tmp_path / "own.book.xlsx"
    assert find(mapping, "Left out", f"{why}: it enters as it stands, and is to be corrected in"
                " the book")  # fmt: skip
    before = book.read_bytes()
    said = siltbook("adopt", tmp_path / "own.csv", "--mapping", mapping, "--into", book)
    assert "nothing to add; 21 rows were there already, 0 conflicts." in said
    assert book.read_bytes() == before


def test_it_enters_a_book_that_has_the_other_rows(tmp_path: Path) -> None:
    _adopted(tmp_path, *CALM)
    book, mapping = tmp_path / "own.book.xlsx", tmp_path / "own.mapping.xlsx"
    own = _own(tmp_path, *CALM, "North 1;?;3.4;2.6;")
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert "1 readings, 0 rows of work and 0 stations added; 20 rows were there already." in said
    north = dict(judge(book.read_bytes()).stations)["North 1"]
    assert north.verdict is Verdict.RE_READ
    assert "Date '?': not used" in north.judgement.reason


def test_a_line_that_names_no_station_of_the_log_is_left_out(tmp_path: Path) -> None:
    said, found = _adopted(tmp_path, *CALM, "Best value;;3.4;2.6;")
    assert "Read 21 rows: used 20, proposed 0, left out 1" in said
    assert found["North 1"].verdict is Verdict.IN_RANGE
    assert find(tmp_path / "own.mapping.xlsx", "Left out", "no date")


def _remarks(book: Path) -> list[str]:
    read = read_book(book.read_bytes(), book.name).book
    return [str(text) for text in read.readings.frame["remark"] if text]


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("typed", ["3.4?;-", "3.1/2.6;", "?;2 . 6"])
def test_a_pressure_that_cannot_be_read_is_a_reading_all_the_same(
    typed: str, tmp_path: Path
) -> None:
    said, found = _adopted(tmp_path, *CALM, f"North 1;10/08/2026;{typed};")
    assert "used 21" in said
    assert found["North 1"].verdict is Verdict.RE_READ
    (remark,) = _remarks(tmp_path / "own.book.xlsx")
    assert all(f"'{part}'" in remark for part in typed.split(";") if part)


def test_a_pressure_that_was_struck_through_is_none(tmp_path: Path) -> None:
    """Over the limit, then a reading in range that somebody took back."""
    own, book = openpyxl.Workbook(), tmp_path / "own.book.xlsx"
    sheet = own.worksheets[0]
    sheet.append(["Station", "Date", "Inlet pressure (bar)", "Outlet pressure (bar)"])
    for day, outlet in ((1, 2.0), (8, 2.0), (15, 2.6)):
        sheet.append(["North 1", dt.date(2026, 6, day), 2.8, outlet])
        sheet.append(["South pump", dt.date(2026, 6, day), 2.8, 2.6])
    for at in ("A6", "B6", "C6", "D6"):
        sheet[at].font = Font(strike=True)
    own.save(tmp_path / "own.xlsx")
    siltbook("adopt", tmp_path / "own.xlsx")
    siltbook("adopt", tmp_path / "own.xlsx", "--mapping", tmp_path / "own.mapping.xlsx")
    found = dict(judge(book.read_bytes()).stations)
    assert found["North 1"].verdict is Verdict.FLUSH
    assert found["South pump"].verdict is Verdict.IN_RANGE
    assert _remarks(book) == [
        "station: 'North 1 (struck through)'; date: '2026-06-15 (struck through)';"
        " inlet: '2.8 (struck through)'; outlet: '2.6 (struck through)'"
    ]


def test_words_in_place_of_both_pressures_are_a_reading_that_nobody_can_use(tmp_path: Path) -> None:
    said, found = _adopted(tmp_path, *CALM, "North 1;10/08/2026;closed;broken;")
    assert "used 21" in said
    assert found["North 1"].verdict is Verdict.RE_READ
    assert _remarks(tmp_path / "own.book.xlsx") == ["inlet: 'closed'; outlet: 'broken'"]


def test_dashes_are_no_reading(tmp_path: Path) -> None:
    said, found = _adopted(tmp_path, *CALM, "North 1;10/08/2026;-;-;")
    assert "left out 1" in said
    assert found["North 1"].verdict is Verdict.IN_RANGE


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("at", "typed"), [(9, dt.date(2026, 3, 8)), (4, dt.date(2126, 6, 29)), (9, DAYS[9])]
)
def test_a_date_out_of_the_order_of_the_rows_is_seen_in_the_book(
    at: int, typed: dt.date, tmp_path: Path
) -> None:
    """Sorted by date, the rows would hide it."""
    over = CALM[9].replace("2.89;2.6", "3.40;2.4")
    lines = [*CALM[:9], over]
    lines[at] = lines[at].replace(f"{DAYS[at]:%d/%m/%Y}", f"{typed:%d/%m/%Y}")
    _, found = _adopted(tmp_path, *lines)
    north = found["North 1"]
    assert north.verdict is (Verdict.RE_READ if typed < DAYS[at] else Verdict.FLUSH)
    said = f"The reading in row {12 + at} is dated {typed} and looks like one of {DAYS[at]}"
    assert (said in north.judgement.reason) is (typed != DAYS[at])


def test_rows_in_no_order_are_put_into_that_of_their_days(tmp_path: Path) -> None:
    _adopted(tmp_path, *CALM[5:], *CALM[:5])
    readings = judge((tmp_path / "own.book.xlsx").read_bytes()).stations
    north = dict(readings)["North 1"].history.readings
    assert [r.row for r in north] == sorted(r.row for r in north)


def test_whether_two_names_are_one_station_has_to_be_answered(tmp_path: Path) -> None:
    own = _own(tmp_path, *CALM, "Nort 1;10/08/2026;3.4;2.6;")
    siltbook("adopt", own)
    mapping = tmp_path / "own.mapping.xlsx"
    said = siltbook("adopt", own, "--mapping", mapping, code=3)
    assert (
        "a question is not answered: Is 'Nort 1' the same station as 'North 1'? (name Nort 1 ="
        " North 1). Write the answer into its sheet Questions" in said
    )
    row = find(mapping, "Questions", "name Nort 1 = North 1")
    change(mapping, "Questions", f"E{row}", "the same station")
    siltbook("adopt", own, "--mapping", mapping)
    found = dict(judge((tmp_path / "own.book.xlsx").read_bytes()).stations)
    assert found.keys() == {"North 1", "South pump"}
    assert found["North 1"].verdict is Verdict.FLUSH


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(("typed", "names"), [
    ("another station", {"North 1", "Nort 1", "South pump"}), ("", {"North 9", "South pump"}),
])  # fmt: skip
def test_names_that_are_settled_another_way(typed: str, names: set[str], tmp_path: Path) -> None:
    own = _own(tmp_path, *CALM, "Nort 1;10/08/2026;3.4;2.6;")
    siltbook("adopt", own)
    mapping = tmp_path / "own.mapping.xlsx"
    if typed:
        change(mapping, "Questions", f"E{find(mapping, 'Questions', 'Stations')}", typed)
    else:
        for name in ("North 1", "Nort 1"):
            change(mapping, "Stations", f"C{find(mapping, 'Stations', name)}", "North 9")
    siltbook("adopt", own, "--mapping", mapping)
    assert dict(judge((tmp_path / "own.book.xlsx").read_bytes()).stations).keys() == names
