"""Spreadsheets as they come: nothing is lost quietly, and no quiet value is false."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.adopt.job import Adoption, Source, look
from siltbook.batch.adopt.loud import sentences
from siltbook.batch.adopt.model import Amount
from siltbook.batch.adopt.study import stations_of
from siltbook.batch.errors import BookError

HEAD = ["Station", "Date", "Inlet (bar)", "Outlet (bar)", "Drop (bar)"]
DAYS = [dt.date(2026, 6, day) for day in (1, 8, 15, 22)]
CALM = [["North", day, 2.8, 2.6] for day in DAYS]


def sheet(*lines: list[object], then: Callable[[Worksheet], object] = lambda _: None) -> Adoption:
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    for line in lines:
        page.append(line)
    then(page)
    target = io.BytesIO()
    book.save(target)
    return look([Source(Path("own.xlsx"), target.getvalue())])


def remarks(seen: Adoption) -> list[object]:
    return [r.get("remark") for r in seen.rows.readings]


def told(seen: Adoption) -> str:
    return " ".join(sentences(seen.made.tables, seen.rows))


@pytest.mark.parametrize(
    ("typed", "said"), [("#DIV/0!", "#DIV/0!"), ("=1+1", "a formula without a value")]
)
def test_what_has_no_value_is_a_reading_that_nobody_can_use(typed: str, said: str) -> None:
    seen = sheet(HEAD, *CALM, ["North", dt.date(2026, 6, 29), typed, 2.6])
    assert remarks(seen)[-1] == f"inlet: '{said}'"
    assert "inlet" not in seen.rows.readings[-1]
    blank = sheet(HEAD, *CALM, ["North", dt.date(2026, 6, 29), None, None, typed])
    assert len(blank.rows.readings) == 4  # a formula over two blank cells


def test_a_drop_of_zero_beside_blank_pressures_is_no_reading() -> None:
    ahead = (["North", dt.date(2026, 7, 1 + n), None, None, 0.3 * n] for n in range(2))
    seen = sheet(HEAD, *CALM, *ahead)
    assert [str(r["date"]) for r in seen.rows.readings[4:]] == ["2026-07-02"]
    only = sheet(["Station", "Date", "Drop (bar)"], *([*line[:2], 0.0] for line in CALM))
    assert len(only.rows.readings) == 4


@pytest.mark.parametrize("ditto", ['"', "ditto", "\u3003"])
def test_a_mark_for_the_name_above_is_no_station(ditto: str) -> None:
    seen = sheet(HEAD, *CALM, [ditto, dt.date(2026, 6, 29), 3.4, 2.4])
    assert list(stations_of(seen.made)) == ["North"]
    assert seen.rows.readings[-1]["station"] == ""
    assert "1 row has pressures, but no date or station that can be read: it enters" in told(seen)


def test_merged_dates_and_stations_are_those_of_each_row() -> None:
    lines = [["North", DAYS[0], 2.8, 2.6], ["South", None, 2.8, 2.6],
             ["East", DAYS[1], 2.8, 2.6], [None, DAYS[2], 2.8, 2.6]]  # fmt: skip
    seen = sheet(HEAD, *lines, then=lambda p: (p.merge_cells("B2:B3"), p.merge_cells("A4:A5")))
    assert [(r["station"], r["date"]) for r in seen.rows.readings] == [
        ("North", DAYS[0]), ("South", DAYS[0]), ("East", DAYS[1]), ("East", DAYS[2]),
    ]  # fmt: skip


def test_notes_at_cells_go_to_the_remark_or_are_listed() -> None:
    def noted(page: Worksheet) -> None:
        page["C3"].comment = Comment("gauge was broken", "A")
        page["A1"].comment = Comment("all by one person", "A")

    seen = sheet(HEAD, *CALM, then=noted)
    assert remarks(seen) == [None, "note at C3: gauge was broken", None, None]
    (left,) = seen.rows.left_out
    assert (left.where, left.what, left.why) == (
        "own.xlsx, sheet Sheet, cell A1", "all by one person",
        "a note at a cell that is in no row of readings",
    )  # fmt: skip
    across = sheet(["", *DAYS], ["North inlet (bar)", 2.8, 2.8, 2.8, 2.8],
                   ["North outlet (bar)", 2.6, 2.6, 2.6, 2.6], then=noted)  # fmt: skip
    assert remarks(across)[1] == "note at C3: gauge was broken"


def test_a_line_that_speaks_of_work_stays_out_by_name() -> None:
    seen = sheet(HEAD, *CALM, ["on 29 June we flushed North 3x"])
    assert "own.xlsx, sheet Sheet, row 6 (a line of text)" in told(seen)
    assert told(sheet(HEAD, *CALM, ["read with the old gauge"])) == ""


def test_a_unit_that_is_of_no_pressure_is_not_read() -> None:
    seen = sheet(HEAD, *CALM, ["North", dt.date(2026, 6, 29), "2.8 m3/h", "2.6 psi"])
    assert remarks(seen)[-1] == "inlet: '2.8 m3/h'"
    asked = sheet(["Station", "Date", "Inlet (m3/h)", "Outlet (m3/h)"], *CALM).asked
    assert any(q.text.startswith("In which unit are 'Inlet (m3/h)'") for q in asked)


@pytest.mark.parametrize("work", ["flush ", "cleaning ", ""])
def test_pressures_before_and_after_work_are_asked_about(work: str) -> None:
    """Inlet before and outlet after made one reading, of a drop that nobody read."""
    heads = [f"{side} {when} {work}(bar)" for when in ("before", "after") for side in
             ("Inlet", "Outlet")]  # fmt: skip
    seen = sheet(["Station", "Date", *heads], ["North", DAYS[0], 2.8, 2.0, 2.8, 2.6])
    assert [q.text for q in seen.asked] == [
        f"What is the column '{head}' ({value})? Before or after work, so that two readings stand"
        " in one row: enter one of them."
        for head, value in zip(heads, ("2.8", "2", "2.8", "2.6"), strict=True)
    ]
    for both in (
        ("Before (bar)", "After filter (bar)"),
        ("Inlet before (bar)", "Outlet after (bar)"),
    ):
        plain = sheet(["Station", "Date", *both], *CALM)
        assert (plain.asked, len(plain.rows.readings)) == ([], 4)


def test_one_station_may_be_spelt_in_two_ways_over_its_columns() -> None:
    seen = sheet(["Date", "North inlet (bar)", "north  outlet (bar)", "South inlet (bar)",
                  "SOUTH outlet (bar)"], [DAYS[0], 2.8, 2.6, 2.8, 2.6])  # fmt: skip
    assert [(r["station"], "inlet" in r, "outlet" in r) for r in seen.rows.readings] == [
        ("North", True, True), ("South", True, True),
    ]  # fmt: skip


def test_a_comma_between_cells_and_in_numbers_is_refused() -> None:
    """3,1,2,9 was an inlet of 3 and an outlet of 1."""
    head = "Station,Date,Inlet (bar),Outlet (bar)"
    lines = [f"North,{day:%d.%m.%Y},3,1,2,9" for day in DAYS]
    with pytest.raises(BookError, match="6 cells under 4 headers, as where a comma"):
        look([Source(Path("own.csv"), "\n".join([head, *lines]).encode())])
    sound = "\n".join([head, *(f"North,{day:%d.%m.%Y},3.1,2.9,x,y" for day in DAYS)])
    assert len(look([Source(Path("own.csv"), sound.encode())]).rows.readings) == 4


def test_a_number_that_its_reader_doubts_is_none() -> None:
    seen = sheet(HEAD, *CALM, ["North", dt.date(2026, 6, 29), "2.8", "2.6 bar?"])
    assert remarks(seen)[-1] == "outlet: '2.6 bar?'"


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("about 29.06.2026", True), ("29.06.2026 late evening", True), ("Mo, 29.06.2026", False),
     ("lunedì 29 giugno 2026", False), ("29 de junio de 2026", False), ("29th June 2026", False)],
)  # fmt: skip
def test_words_beside_a_date_are_kept(typed: str, kept: bool) -> None:
    seen = sheet(HEAD, *CALM, ["North", typed, 2.8, 2.6])
    assert seen.rows.readings[-1]["date"] == dt.date(2026, 6, 29)
    assert remarks(seen)[-1] == (f"date: '{typed}'" if kept else None)


@pytest.mark.parametrize(("one", "other"), [("1", "01"), ("S1", "S 01"), ("North 2", "North 02")])
def test_names_that_differ_in_a_zero_are_asked_about(one: str, other: str) -> None:
    seen = sheet(HEAD, [one, DAYS[0], 2.8, 2.6], [other, DAYS[1], 2.8, 2.6])
    assert [q.text for q in seen.asked] == [f"Is '{other}' the same station as '{one}'?"]


def test_a_line_above_dates_that_begin_anew_names_a_station() -> None:
    """The rows of a media filter, and of a long name, went to the station above."""
    long = "North pump house beside the old mill road"
    lines: list[list[object]] = [["Date", "Inlet (bar)", "Outlet (bar)"]]
    for name in ("Screen filter 1", "Media filter 2", long):
        lines += [[name], *([day, 2.8, 2.6] for day in DAYS)]
    stations = [r["station"] for r in sheet(*lines).rows.readings]
    assert stations == ["Screen filter 1"] * 4 + ["Media filter 2"] * 4 + [long] * 4
    note = [lines[0], ["North"], [DAYS[0], 2.8, 2.6], ["the gauge was changed by the maker"],
            [DAYS[1], 2.8, 2.6]]  # fmt: skip
    assert [r["station"] for r in sheet(*note).rows.readings] == ["North", "North"]
    older = [["North"], lines[0], [DAYS[2], 2.8, 2.6], ["these were found in another book again"],
             [DAYS[0], 2.8, 2.6]]  # fmt: skip
    assert [r["station"] for r in sheet(*older).rows.readings] == ["North", "North"]


def test_a_station_that_is_called_like_a_mean_is_no_line_of_means() -> None:
    lines = [["Media 1", day, 2.8, 2.6] for day in DAYS]
    seen = sheet(HEAD, *lines, ["Media 1", None, 3.4, 2.4], ["Media", None, 2.8, 2.6])
    assert seen.rows.readings[-1]["date"] == ""
    assert [one.why for one in seen.rows.left_out if one.rows] == ["a row of totals or averages"]


def test_a_column_of_units_holds_for_its_rows() -> None:
    """It was left out, and one unit asked for all rows."""
    head = ["Station", "Date", "Inlet", "Outlet", "Unit"]
    lines = [["North", DAYS[0], 2.8, 2.6, "bar"], ["North", DAYS[1], 40, 38, "psi"]]
    seen = sheet(head, *lines)
    assert seen.asked == []
    assert [r["inlet"] for r in seen.rows.readings] == [Amount(2.8, "bar"), Amount(40, "psi")]
    lacking = sheet(head, *lines, ["North", DAYS[2], 2.8, 2.6, None])
    assert [q.text for q in lacking.asked] == [
        "In which unit are 'Inlet', 'Outlet' (2.8, 40, 2.8)?"
    ]
