"""What people typed and nobody could read does not vanish between two seasons."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner
from openpyxl.chart import BarChart
from openpyxl.comments import Comment
from openpyxl.workbook.defined_name import DefinedName

from siltbook.batch.archive.carry_register import next_book
from siltbook.batch.archive.folder import put, season
from siltbook.batch.archive.left_behind import left_behind
from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from siltbook.batch.results import Assessment
from siltbook.templates.blank import BlankOptions, build
from tests.whole.verdicts import filled

Row = dict[str, object]
D = dt.date
_READ = {"station": "A", "date": D(2026, 5, 1), "inlet": 3.0, "outlet": 2.8}


def typed(edit: Callable[[Any], None], **lists: list[Row]) -> bytes:
    """A small farm in bar, edited as people edit."""
    rows = {name.replace("_", " "): own for name, own in lists.items()}
    rows.setdefault("Stations", [{"station": "A", "working_inlet": 1.5, "full_scale": 6.0}])
    rows.setdefault("Readings", [_READ])
    options = BlankOptions("bar", farm="Farm (invented)", limits_in="bar")
    book = openpyxl.load_workbook(io.BytesIO(build(options, rows, {"season": "2026"})))
    edit(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def fill(book: Any, sheet: str, row: int, **cells: object) -> None:
    heads = {str(c.value).split(" (")[0].replace(" ", "_"): c.column for c in book[sheet][1]}
    for head, value in cells.items():
        book[sheet].cell(row, heads[head]).value = value


def carried(data: bytes) -> tuple[Assessment, Assessment]:
    last = assess_bytes(data, "last.xlsx")
    return last, assess_bytes(next_book(last), "next.xlsx")


def messages(judged: Assessment) -> list[str]:
    return [f.message for f in judged.findings]


@pytest.mark.at_length  # the next asks for a unit among others
def test_a_unit_that_cannot_be_read_is_not_the_farms_next_season() -> None:
    """Dropped, it let readings in mbar count as bar from the first day of the new season."""
    last, now = carried(typed(lambda book: fill(book, "Stations", 2, Pressure_unit="mbar")))
    said = (
        "Stations!N2: not one of the choices: read 'mbar'; accepted: bar, kPa, psi, m, kgf/cm2; "
        "until then the station's pressures are not used. Pick from the list."
    )
    assert said in messages(last)
    assert said in messages(now)


def test_a_limit_and_settings_that_cannot_be_read_are_asked_for_again() -> None:
    def edit(book: Any) -> None:
        fill(book, "Stations", 2, Drop_limit="7 furlongs", Gauge_class="class 1,6?")
        values = {row[0].value: row for row in book["Farm"].iter_rows()}
        values["Flush cycles"][1].value = "4 times"
        values["Pressure unit"][1].value = "mbar"
        values["Drop limit"][1].value, values["Drop limit"][2].value = 12, "atm"

    said = messages(carried(typed(edit))[1])
    for cell, words in (
        ("Stations!G2", "not read last season: 7 furlongs"), ("Stations!L2", "class 1,6?"),
        ("Farm!B9", "not read last season: 4 times"), ("Farm!B4", "mbar"),
        ("Farm!B6", "not read last season: 12 atm"),
    ):  # fmt: skip
        assert any(m.startswith(f"{cell}: not ") and f"read '{words}'" in m for m in said), cell


@pytest.mark.at_length  # the one above asks for what was not read
def test_pressures_beside_a_unit_that_cannot_be_read_keep_theirs() -> None:
    """A gauge that was changed to an unknown unit: the unit stays unknown, 1.5 bar stay 1.5 bar."""

    def edit(book: Any) -> None:
        fill(book, "Gauges", 2, Station="A", From=D(2026, 4, 1), Full_scale=90, Pressure_unit="hPa")

    last, now = carried(typed(edit))
    asked = "Stations!N2: not one of the choices: read 'hPa'"
    assert any(m.startswith(asked) for m in messages(now))
    inlets = [b.book.stations.frame.at[2, "working_inlet"] for b in (last, now)]
    assert inlets[0] == inlets[1] > 15.0


@pytest.mark.at_length  # tests/whole/test_changed_gauges.py
def test_a_second_gauge_to_come_is_in_the_unit_of_the_first() -> None:
    """80 psi came as 5.5, since the unit of the gauge in force was taken."""
    to_come: list[Row] = [
        {"station": "A", "since": D(2026, 6, 1), "unit": "psi", "full_scale": 90},
        {"station": "A", "since": D(2026, 7, 1), "full_scale": 80, "division": 2},
    ]
    last, now = carried(typed(lambda book: None, Gauges=to_come))
    for key in ("full_scale", "division"):
        before, after = (b.book.gauges.frame[key].fillna(-1).tolist() for b in (last, now))
        assert after == before
    cells = openpyxl.load_workbook(io.BytesIO(next_book(last)))["Gauges"]
    assert [cells["D2"].value, cells["D3"].value] == [90, 80]


def test_own_remarks_and_dates_in_words_go_on() -> None:
    agreed: list[Row] = [{"station": "A", "action": "Weld", "who": "Ann", "remark": "quote 45"}]
    over: list[Row] = [
        {"station": "A", "gear": "solenoid suspect", "failed": D(2025, 9, 1), "remark": "Jim's key"}
    ]

    def edit(book: Any) -> None:
        fill(book, "Agreed", 2, Due_date="after harvest", Done_date="last week")

    last = assess_bytes(typed(edit, Agreed=agreed, Carried_over=over), "last.xlsx")
    first = next_book(last)
    second = next_book(assess_bytes(first, "next.xlsx", D(2027, 5, 1)))
    pointer = "; before it is done, read the cautions on the sheet Start here"
    for data, until in ((first, "from 2026"), (second, "from 2026; left open from 2027")):
        book = openpyxl.load_workbook(io.BytesIO(data))
        row = [cell.value for cell in book["Agreed"][2]]
        assert row[:6] == [
            "A", "Weld", "Ann", "after harvest", "last week",
            f"quote 45; left open {until}{pointer}",
        ]  # fmt: skip
        assert str(book["Carried over"]["L2"].value).startswith("Jim's key; from 2026")


@pytest.mark.at_length  # test_whole_folders.py: an archive of unknown day
def test_a_season_without_an_entry_is_not_taken_for_the_first(tmp_path: Path) -> None:
    """It sorted before all others: the book was begun from the season before, register and all."""
    rested = typed(lambda book: None, Readings=[])
    put(season(typed(lambda book: None), "2026.xlsx", None).files, tmp_path / "a" / "2026")
    put(season(rested, "2027.xlsx", None).files, tmp_path / "a" / "2027")
    target = tmp_path / "next.xlsx"
    said = CliRunner().invoke(main, ["season", str(tmp_path / "a"), "--template", str(target)])
    assert said.exit_code == 3
    assert said.stderr == (
        f"siltbook: {tmp_path / 'a' / '2027'}: its book has no entry and no review date, so it "
        "cannot be told whether it is the latest season. Archive the book anew with '--as-of DAY', "
        "or give the archive alone; nothing was begun.\n"
    )
    assert not target.exists()


@pytest.mark.at_length  # tests/whole/test_changed_gauges.py
def test_without_a_day_changed_gauges_stay_dated() -> None:
    """All of them counted as in force, so that readings before their day were in their unit."""
    gauges: list[Row] = [{"station": "A", "since": D(2027, 6, 1), "unit": "psi", "full_scale": 90}]
    last, now = carried(typed(lambda book: None, Readings=[], Gauges=gauges))
    assert now.book.stations.frame.at[2, "unit"] is None
    for key in ("since", "unit", "full_scale"):
        assert now.book.gauges.frame[key].tolist() == last.book.gauges.frame[key].tolist()


def test_what_stays_behind_is_said(tmp_path: Path) -> None:
    """A review date of mid-season: what was logged since would be in no book's ladder."""
    reads: list[Row] = [_READ, {**_READ, "date": D(2026, 6, 1), "outlet": 2.2}]

    def edit(book: Any) -> None:
        values = {row[0].value: row for row in book["Farm"].iter_rows()}
        values["Review date"][1].value = D(2026, 5, 10)
        book["Stations"].cell(1, book["Stations"].max_column + 1).value = "Key number"
        fill(book, "Agreed", 2, Station="A", Who="Zed")
        book.create_sheet("Phone list")["A1"] = "plumber"

    put(season(typed(edit, Readings=reads), "last.xlsx", None).files, tmp_path / "last")
    target = tmp_path / "next.xlsx"
    said = CliRunner().invoke(main, ["season", str(tmp_path / "last"), "--template", str(target)])
    assert said.exit_code == 0, said.output
    by_hand = (
        "Bring over by hand what was logged after 2026-05-10, the day of which last season was "
        "judged: Readings row 3 of its workbook. Nothing here counts them."
    )
    assert said.stdout.splitlines()[2:] == [
        f"  Not in the new workbook, but in {tmp_path / 'last' / 'last.xlsx'}:",
        f"    {by_hand}",
        "    Agreed: 1 row could not be used and stayed behind; see Findings.",
        "    Your own column Key number of Stations and sheet Phone list stayed behind; copy what "
        "you need by hand.",
    ]
    agreed = openpyxl.load_workbook(target)["Agreed"]
    assert (agreed["A2"].value, agreed["B2"].value) == ("(farm)", by_hand)


def test_what_stands_beside_the_lists_and_what_was_set_by_hand_is_named() -> None:
    """Macros, a lock, a name and a text under no header went without a word."""

    made = filled(Readings=[], Agreed=[{"Station": "North 1", "Action": "Weld"}])
    book = openpyxl.load_workbook(io.BytesIO(made))
    book["Agreed"]["J4"] = "the board wants a second opinion"
    book["Stations"].protection.sheet = True
    book.defined_names["Tariff"] = DefinedName("Tariff", attr_text="Stations!$A$2")
    out = io.BytesIO()
    book.save(out)
    data = out.getvalue()
    (said,) = left_behind(assess_bytes(data, "last.xlsx"), data, "last.xlsx")
    assert said == (
        "Your own cell J4 of Agreed, name Tariff and protection of Stations stayed behind; copy"
        " what you need by hand."
    )


@pytest.mark.at_length  # the one above says what stays
def test_nothing_is_said_where_nothing_stays_behind(tmp_path: Path) -> None:
    put(season(typed(lambda book: None), "last.xlsx", None).files, tmp_path / "last")
    target = tmp_path / "next.xlsx"
    said = CliRunner().invoke(main, ["season", str(tmp_path / "last"), "--template", str(target)])
    assert len(said.stdout.splitlines()) == 2


def test_a_long_text_of_the_register_goes_on_whole() -> None:
    """Its end, of which nothing counts, was not in the next book."""
    block, who = "north field " * 60 + "gate code", "Ann " * 130 + "and Bea"
    agreed: list[Row] = [{"station": "A", "action": "Weld", "who": who}]

    def edit(book: Any) -> None:
        fill(book, "Stations", 2, Block=block)

    last, now = carried(typed(edit, Agreed=agreed))
    cells = openpyxl.load_workbook(io.BytesIO(next_book(last)))
    heads = [c.value for c in cells["Stations"][1]]
    assert cells["Stations"].cell(2, heads.index("Block") + 1).value == block
    assert cells["Agreed"]["C2"].value == who
    said = [[m for m in messages(judged) if "read 729 characters" in m] for judged in (last, now)]
    assert said[0] == said[1]
    assert said[0][0].startswith("Stations!B2: ")


def test_own_columns_notes_rows_and_pictures_that_stay_behind_are_named(tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        for sheet, head in (("Gauges", "Dial colour"), ("Carried over", "Asked by")):
            book[sheet].cell(1, book[sheet].max_column + 1).value = head
        book["Farm"]["B4"].comment = Comment("the old gauge was in psi", "Ann")
        book["Farm"]["A40"] = "Key of the pump house"
        book["Stations"]["A2"].comment = Comment("dog", "Ann")
        book["Farm"].add_chart(BarChart(), "H2")

    put(season(typed(edit), "last.xlsx", None).files, tmp_path / "last")
    target = tmp_path / "next.xlsx"
    said = CliRunner().invoke(main, ["season", str(tmp_path / "last"), "--template", str(target)])
    assert said.stdout.splitlines()[3:] == [
        "    Your own column Dial colour of Gauges, column Asked by of Carried over, row 40 of "
        "Farm, note at B4 of Farm, 1 chart on Farm and note at A2 of Stations stayed behind; copy "
        "what you need by hand."
    ]
