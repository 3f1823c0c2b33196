"""What a source says and nobody can read, or took back: as loud as in a book that was typed."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Font

from siltbook.batch.adopt.corrected import read_mapping
from siltbook.batch.adopt.into import fill, new_book
from siltbook.batch.adopt.job import Adoption, Source, look
from siltbook.batch.adopt.loud import sentences
from siltbook.batch.adopt.mapping import write
from siltbook.batch.adopt.model import Amount
from siltbook.batch.interface import judge
from siltbook.batch.model import Verdict

HEAD = (
    "Station;Date;Time;Inlet (bar);Outlet (bar);Drop (bar);Flow (m3/h);Occasion;Note;Work;Cycles"
    ";Click heard;Water at outlet"
)
KEYS = ("station", "date", "time", "inlet", "outlet", "drop", "flow", "occasion", "note", "work",
        "cycles", "click", "water")  # fmt: skip
WIDE = "Date;North inlet (bar);North outlet (bar);South inlet (bar);South outlet (bar)"
FIRST = [f"{day:02}/06/2026;2.{day:02};2.6;2.8;2.{60 - day}" for day in (14, 21, 28)]


def row(day: int = 15, **said: str) -> str:
    given = {
        "station": "North", "date": f"{day}/06/2026", "inlet": "2.8", "outlet": "2.6", "flow": "40",
        **said,
    }  # fmt: skip
    return ";".join(given.get(key, "") for key in KEYS)


def of(*lines: str, head: str = HEAD) -> Adoption:
    return look([Source(Path("own.csv"), "\n".join([head, *lines, ""]).encode())])


def told(seen: Adoption) -> str:
    return "\n".join(sentences(seen.made.tables, seen.rows))


def typed_work(seen: Adoption) -> list[dict[str, object]]:
    return [{k: v for k, v in one.items() if k not in ("words", "where")} for one in seen.rows.work]


def test_words_for_a_flow_and_for_a_sign_are_as_loud_as_typed_ones() -> None:
    weak = row(16, station="South", note="flushed 3x", click="weak", water="yes")
    seen = of(row(), row(22, flow="dry"), weak)
    assert told(seen) == (
        "Not to be read as a number, or as yes or no: Flow 'dry' in own.csv, row 3; Click heard"
        " 'weak' in own.csv, row 4. They enter as they stand, and the book asks for a correction;"
        " until then the station may have to be read again."
    )
    filled = new_book(seen.rows, typed_work(seen), "own")
    assert filled.data is not None
    found = judge(filled.data).stations
    assert found["North"].verdict is Verdict.RE_READ
    assert "has 'dry' in 'Flow', which cannot be read" in found["North"].judgement.reason
    assert "Click heard 'weak': a flush counts as one without it" in (
        found["South"].judgement.reason
    )
    again = fill(filled.data, "own.book.xlsx", of(row(), row(22, flow="dry"), weak).rows,
                 typed_work(seen))  # fmt: skip
    assert (again.readings, again.work, again.already, again.conflicts) == (0, 0, 4, [])


@pytest.mark.parametrize("nothing", ["", "-", "n/a", "not read"])
def test_a_dash_for_a_flow_is_a_blank(nothing: str) -> None:
    seen = of(row(), row(16), row(17, flow=nothing))
    assert "flow" not in seen.rows.readings[2]
    assert told(seen) == ""


@pytest.mark.parametrize(
    ("noted", "typed", "sign"),
    [("flushed", "yes", "yes"), ("flushed", "yes?", "yes?"), ("flushed", "", None),
     ("flushed, no click", "yes", "no"), ("flushed, click", "no", "no"),
     ("flushed, click", "weak", "weak"), ("flushed", "n/a", None), ("flushed", "-", "-")],
)  # fmt: skip
def test_of_two_signs_the_worse_counts(noted: str, typed: str, sign: str | None) -> None:
    assert of(row(note=noted, click=typed)).rows.work[0].get("click") == sign


@pytest.mark.parametrize(
    ("typed", "cycles"), [("3", 3.0), ("3x", 3.0), ("x3?", "x3?"), ("many", "many"), ("yes", None)]
)
def test_a_column_of_cycles_proposes_a_flush(typed: str, cycles: object) -> None:
    (work,) = of(row(cycles=typed)).rows.work
    assert (work["work"], work.get("cycles")) == ("flush", cycles)
    assert work["words"] == f"Cycles: {typed}"


@pytest.mark.parametrize("typed", ["0", "no", "-", "none", ""])
def test_no_cycles_are_no_flush(typed: str) -> None:
    assert not of(row(cycles=typed)).rows.work


def test_signs_without_a_flush_go_to_the_remark_or_propose_one() -> None:
    seen = of(row(click="no"), row(16, water="yes"))
    assert [r.get("remark") for r in seen.rows.readings] == ["Click heard: no", None]
    assert [w["words"] for w in seen.rows.work] == ["Water at outlet: yes"]


def test_a_time_and_an_occasion_that_cannot_be_read_enter_as_they_stand() -> None:
    (one,) = of(row(time="early", occasion="after the rain")).rows.readings
    assert (one["time"], one["occasion"]) == ("early", "after the rain")


@pytest.mark.parametrize(("drop", "kept"), [("0.2", False), ("0.22", False), ("0.8", True)])
def test_a_drop_that_contradicts_the_pressures_enters_beside_them(drop: str, kept: bool) -> None:
    """The book then says that the two disagree."""
    (one,) = of(row(drop=drop)).rows.readings
    assert ("drop" in one) is kept


def test_a_drop_beside_one_pressure_alone_is_kept() -> None:
    (one,) = of(row(outlet="", drop="0.4")).rows.readings
    assert one["drop"] == Amount(0.4, "bar")


def test_nothing_that_was_typed_is_cut() -> None:
    name, words = "The long filter house behind the upper dam, north", "broken " * 30
    one = of(row(), row(), row(station=name, inlet=words, note="a" * 1200)).rows.readings[2]
    assert one["station"] == name
    assert one["remark"] == f"{'a' * 1200}; inlet: '{words.strip()}'"


@pytest.mark.parametrize("date", ["", "?", "end of June", "31/06/2026"])
def test_a_row_of_a_wide_table_without_a_date_enters_as_it_stands(date: str) -> None:
    seen = of(*FIRST, f"{date};3.4;2.4;2.8;2.6", head=WIDE)
    assert "1 row has pressures, but no date or station that can be read: it enters" in told(seen)
    last = seen.rows.readings[-2]
    assert (last["station"], last["date"]) == ("North", date)


@pytest.mark.parametrize(
    ("at", "line", "why"),
    [
        (0, ";0.5;0.5;0.5;0.5", "no date"),
        (3, "limit;0.5;;0.5;", "the date 'limit' cannot be read"),
        (3, ";2.21;2.6;2.8;2.39", "no date"),  # the means
        (3, ";2.28;2.6;2.8;2.46", "no date"),  # the most of each
    ],
)
def test_a_line_that_may_be_no_reading_stays_out_by_name(at: int, line: str, why: str) -> None:
    seen = of(*FIRST[:at], line, *FIRST[at:], head=WIDE)
    assert len(seen.rows.readings) == 6
    assert told(seen) == (
        f"Left out although it holds pressures or work: own.csv, row {at + 2} ({why}). Give a row"
        " its date and its station in the source, and run again, if it is to count."
    )


def struck(*cells: str, lines: list[list[object]]) -> Adoption:
    book = openpyxl.Workbook()
    for line in lines:
        book.worksheets[0].append(line)
    for cell in cells:
        book.worksheets[0][cell].font = Font(strike=True)
    target = io.BytesIO()
    book.save(target)
    return look([Source(Path("own.xlsx"), target.getvalue())])


@pytest.mark.parametrize(
    ("cell", "head", "remark"),
    [
        ("A3", "Station", "cleaned; station: 'North (struck through)'; inlet: '2.8 (struck"
         " through)'; outlet: '2,6 (struck through)'"),
        ("B3", "Date", "cleaned; date: '2026-06-15 (struck through)'; inlet: '2.8 (struck"
         " through)'; outlet: '2,6 (struck through)'"),
        ("D3", "Outlet (bar)", "cleaned; outlet: '2,6 (struck through)'"),
        ("E3", "Note", "cleaned (struck through)"),
    ],
)  # fmt: skip
def test_what_is_struck_through_is_used_nowhere(cell: str, head: str, remark: str) -> None:
    day = dt.date(2026, 6, 8)
    lines: list[list[object]] = [
        ["Station", "Date", "Inlet (bar)", "Outlet (bar)", "Note"],
        ["North", day, 2.8, "2,6", "flushed"],
        ["North", day.replace(day=15), 2.8, "2,6", "cleaned"],
    ]  # fmt: skip
    seen = struck(cell, lines=lines)
    place = "own.xlsx, sheet Sheet, row 3"
    assert told(seen).startswith(f"Struck through in the source: {place} ({head}). A pressure")
    last = seen.rows.readings[-1]
    assert (last["station"], last["remark"], "outlet" in last) == ("North", remark, cell == "E3")
    assert [w.get("struck", False) for w in seen.rows.work] == [False, cell in ("A3", "B3", "E3")]


def test_where_dates_run_across_a_struck_date_takes_its_readings_along() -> None:
    days = [dt.date(2026, 6, day) for day in (1, 8, 15)]
    seen = struck("D1", "C3", lines=[
        ["", *days], ["North inlet (bar)", 2.8, 2.8, 2.9], ["North outlet (bar)", 2.6, 2.6, 2.6],
    ])  # fmt: skip
    assert [("inlet" in r, "outlet" in r) for r in seen.rows.readings] == [
        (True, True), (True, False), (False, False),
    ]  # fmt: skip


def test_the_mapping_hands_words_on_and_leaves_out_what_was_struck() -> None:
    day = dt.date(2026, 6, 8)
    seen = struck("E3", lines=[
        ["Station", "Date", "Inlet (bar)", "Outlet (bar)", "Note", "Click heard", "Cycles"],
        ["North", day, 2.8, 2.6, "flushed", "weak", "3 or 4"],
        ["North", day.replace(day=15), 2.8, 2.6, "flushed", "yes", 3],
    ])  # fmt: skip
    (work,) = read_mapping(write(seen.made, [], seen.rows, {}, ""), "own.mapping.xlsx").work
    assert (work["click"], work["cycles"]) == ("weak", "3 or 4")


@pytest.mark.parametrize("inlet", ["3.4?", "closed"])
def test_a_pressure_that_cannot_be_read_is_no_row_that_the_book_has(inlet: str) -> None:
    calm = [row(day) for day in (15, 16, 17)]
    made = new_book(of(*calm).rows, [], "own")
    assert made.data is not None
    filled = fill(made.data, "farm.xlsx", of(*calm[:2], row(17, inlet=inlet)).rows, [])
    assert filled.conflicts == [
        f"North, 2026-06-17: own.csv, row 4 says Inlet pressure '{inlet}'; Readings row 4 says"
        " Inlet pressure 2.8 bar. It was not entered."
    ]


def test_a_remark_of_a_row_that_the_book_has_without_it_is_said() -> None:
    made = new_book(of(row(15), row(16, note="calm")).rows, [], "own")
    assert made.data is not None
    again = of(row(15, note="gauge hit by a tractor"), row(16, note="calm"))
    filled = fill(made.data, "farm.xlsx", again.rows, [])
    assert (filled.readings, filled.already, filled.conflicts) == (0, 2, [
        "North, 2026-06-15: own.csv, row 2 says Remark 'gauge hit by a tractor'; Readings row 2"
        " says nothing there. It was not entered."
    ])  # fmt: skip


def test_rows_without_a_date_of_two_stations_are_two() -> None:
    plain = [row(15), row(15, station="South"), row(15, date="")]
    made = new_book(of(*plain).rows, [], "own")
    assert made.data is not None
    again = of(*plain, row(15, date="", station="South"))
    filled = fill(made.data, "farm.xlsx", again.rows, [])
    assert (filled.readings, filled.already) == (1, 3)


def test_a_second_pair_of_pressures_that_is_left_out_is_named() -> None:
    """It went by the answer 'leave out', and the terminal said 'left out 0'."""
    seen = of("North,2026-06-01,2.8,2.6,2.8,2.7", head="Station,Date,Inlet (bar),Outlet (bar),"
              "Inlet after (bar),Outlet after flush (bar)")  # fmt: skip
    assert told(seen) == ""
    for column in seen.made.tables[0].columns[4:]:
        column.role = "leave out"
    assert told(seen) == (
        "Columns of pressures are left out, and what was read there enters nowhere: own.csv, column"
        " E (Inlet after (bar)); own.csv, column F (Outlet after flush (bar))."
    )


@pytest.mark.parametrize(
    ("typed", "heard"), [("no", "no"), ("not sure", "not sure"), ("yes", "yes"), ("", None)]
)
def test_water_heard_is_a_sign_of_a_flush_as_in_a_book_of_ours(
    typed: str, heard: str | None
) -> None:
    """Its column was left out, and a no in it, which makes the flush gear suspect, with it."""
    lines = [f"{row(cycles='3')};{typed}", f"{row(22)};"]
    seen = of(*lines, head=f"{HEAD};Water heard")
    (work,) = seen.rows.work
    assert work.get("water_heard") == heard
    assert ("Water heard 'not sure' in own.csv, row 2" in told(seen)) is (typed == "not sure")
    read = read_mapping(write(seen.made, [], seen.rows, {}, ""), "own.mapping.xlsx")
    assert read.work[0].get("water_heard") == heard
    filled = new_book(seen.rows, typed_work(seen), "own")
    assert filled.data is not None
    (station,) = judge(filled.data).stations.values()
    suspect = station.verdict is Verdict.CHECK_FLUSH_GEAR
    assert suspect is (typed in ("no", "not sure"))


def test_a_mapping_of_an_earlier_version_has_no_header_for_water_heard() -> None:
    seen = of(row(cycles="3", click="no"), row(22))
    made = openpyxl.load_workbook(io.BytesIO(write(seen.made, [], seen.rows, {}, "")))
    sheet = made["Proposed work"]
    (head,) = (c for line in sheet.iter_rows() for c in line if c.value == "Water heard")
    sheet.delete_cols(head.column)
    target = io.BytesIO()
    made.save(target)
    (work,) = read_mapping(target.getvalue(), "own.mapping.xlsx").work
    assert (work["click"], work["cycles"], work["remark"]) == ("no", 3.0, "Cycles: 3")


def test_rows_that_enter_without_a_date_are_named_with_their_place() -> None:
    lost = ";2.15;2.6;2.8;2.5"
    assert told(of(*FIRST[:2], lost, FIRST[2], head=WIDE)) == (
        "1 row has pressures, but no date or station that can be read: it enters as it stands"
        " (own.csv, row 4; sheet Left out). Correct it in the book: until then the station may have"
        " to be read again."
    )
    assert told(of(FIRST[0], lost, FIRST[1], lost, FIRST[2], head=WIDE)).startswith(
        "2 rows have pressures, but no date or station that can be read: they enter as they stand"
        " (own.csv, row 3; own.csv, row 5; sheet Left out). Correct them in the book"
    )
