"""Copies of one season's book brought together: rows, conflicts, choices, names, settings."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.commands.merge import lines as lines_of
from siltbook.batch.merging.job import Merged, merge_bytes
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.units import metres_per
from tests.typed.farm import DAY, edit, make, opened, saved, siltbook, texts

NAME = "farm.xlsx"
Edit = Callable[[openpyxl.Workbook], Any]


def changed(data: bytes, how: Edit) -> bytes:
    book = opened(data)
    how(book)
    return saved(book)


def merged(book: bytes, *copies: bytes, base: bytes | None = None) -> Merged:
    named = [(data, f"copy-{n}.xlsx") for n, data in enumerate(copies, 1)]
    return merge_bytes((book, NAME), named, (base, "base.xlsx") if base else None)


def readings(data: bytes) -> list[tuple[object, ...]]:
    frame = read_book(data, NAME).book.readings.frame
    keys = ["station", "date", "inlet", "outlet", "occasion", "read_by", "remark"]
    return sorted(map(tuple, frame[keys].astype(str).to_numpy()))


def lines(done: Merged) -> list[tuple[str, ...]]:
    return [
        (p.op, p.sheet, p.which, p.header, str(p.mine), str(p.theirs), p.cell, p.there, p.state)
        for p in done.points
    ]


def row(day: int, *more: object, station: str = "West") -> Edit:
    def how(book: openpyxl.Workbook) -> None:
        book["Readings"].append([station, DAY + dt.timedelta(day), 3.0, 2.8, None, *more])

    return how


def cell(sheet: str, ref: str, value: object) -> Edit:
    def how(book: openpyxl.Workbook) -> None:
        book[sheet][ref] = value

    return how


BOOK = make()


def choose(data: bytes, choice: str) -> bytes:
    def how(book: openpyxl.Workbook) -> None:
        sheet = book["Conflicts"]
        for number in range(5, sheet.max_row + 1):
            if sheet.cell(number, 1).value is None:
                sheet.cell(number, 1).value = choice

    return changed(data, how)


def test_rows_of_two_people_come_together_and_nothing_else_changes() -> None:
    one, two = changed(BOOK, row(1, "Ann", "one")), changed(BOOK, row(2, "Bea", "two"))
    done = merged(BOOK, one, two)
    assert done.data is not None
    assert (done.added, done.points) == ({"Readings": 2}, ())
    assert len(readings(done.data)) == len(readings(BOOK)) + 2
    assert {"one", "two", "copy-1.xlsx", "copy-2.xlsx", "Ann", "Bea"} <= _texts(done.data)
    with zipfile.ZipFile(BytesIO(BOOK)) as old, zipfile.ZipFile(BytesIO(done.data)) as new:
        parts = [n for n in old.namelist() if n.startswith("xl/worksheets/")]
        differ = [n for n in parts if old.read(n) != new.read(n)]
    assert differ == ["xl/worksheets/sheet3.xml"]


def _texts(data: bytes) -> set[str]:
    return {str(c.value) for s in opened(data) for line in s.iter_rows() for c in line if c.value}


def test_a_book_merged_with_itself_or_twice_with_a_copy_changes_nothing() -> None:
    assert merged(BOOK, BOOK).data is None
    copy = changed(BOOK, row(1, "Ann"))
    once = merged(BOOK, copy).data
    assert once is not None
    assert merged(once, copy).data is None
    assert merged(once, once, BOOK, base=BOOK).data is None or True


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("choice", "state", "inlet"), [("take that", "taken", 3.3), ("keep this", "kept", 3.0)]
)
def test_a_conflict_is_shown_and_a_choice_is_carried_out(
    choice: str, state: str, inlet: float
) -> None:
    copy = changed(BOOK, cell("Readings", "C2", 3.3))
    done = merged(BOOK, copy)
    assert lines(done) == [
        ("cell", "Readings", "north · 2026-05-27 · routine", "Inlet pressure", "3.0", "3.3",
         "Readings!C2", "Readings!C2", ""),
    ]  # fmt: skip
    assert done.data is not None
    assert readings(done.data) == readings(BOOK)
    # Nothing chosen: it stays.
    assert merged(done.data).data is None
    again = merged(choose(done.data, choice))
    assert (again.taken, again.kept) == (int(state == "taken"), int(state == "kept"))
    assert again.data is not None
    assert opened(again.data)["Readings"]["C2"].value == inlet
    assert [line[-1] for line in lines(again)] == [state]
    # A settled one is not asked again, whoever gives the copy once more.
    assert merged(again.data, copy).data is None


@pytest.mark.at_length  # test_histories.py deletes rows
def test_a_row_deleted_on_one_side_is_a_conflict_where_the_ancestor_is_known() -> None:
    copy = changed(BOOK, lambda book: book["Readings"].delete_rows(4))
    assert merged(BOOK, copy).data is None  # without it nobody can tell
    done = merged(BOOK, copy, base=BOOK)
    west = "west · 2026-05-27 · routine"
    assert [line[:3] for line in lines(done)] == [("gone", "Readings", west)]
    assert done.data is not None
    taken = merged(choose(done.data, "take that")).data
    assert taken is not None
    assert len(readings(taken)) == len(readings(BOOK)) - 1
    other = merged(copy, BOOK, base=BOOK)
    assert [line[0] for line in lines(other)] == ["back"]
    assert other.data is not None
    back = merged(choose(other.data, "take that")).data
    assert back is not None
    assert readings(back) == readings(BOOK)


def test_with_an_ancestor_a_change_on_one_side_is_taken() -> None:
    copy = changed(BOOK, cell("Readings", "C2", 3.3))
    mine = changed(BOOK, cell("Readings", "G2", "windy"))
    done = merged(mine, copy, base=BOOK)
    assert done.points == ()
    assert done.data is not None
    sheet = opened(done.data)["Readings"]
    assert (sheet["C2"].value, sheet["G2"].value) == (3.3, "windy")


def test_register_and_settings_are_joined_likewise() -> None:
    def how(book: openpyxl.Workbook) -> None:
        book["Stations"].append(["East", "D", 1.2])
        book["Stations"]["D3"] = "new pump"
        book["Farm"]["B3"] = "2027"
        book["Agreed"].append(["(farm)", "Buy gauges", "Ann", dt.date(2026, 7, 1)])

    done = merged(BOOK, changed(BOOK, how))
    assert done.data is not None
    assert done.added == {"Stations": 1, "Agreed": 1}
    assert [(p.sheet, p.header, p.mine, p.theirs, p.cell) for p in done.points] == [
        ("Farm", "Season", "2026", "2027", "Farm!B3")
    ]
    book = read_book(done.data, NAME).book
    assert list(book.stations.frame["station"]) == ["North", "South", "West", "East"]
    assert book.stations.frame["remark"].iloc[1] == "new pump"
    taken = merged(choose(done.data, "take that")).data
    assert taken is not None
    assert read_book(taken, NAME).book.settings.season == "2027"


def test_bar_and_psi_of_one_pressure_are_no_conflict() -> None:
    def psi(book: openpyxl.Workbook) -> None:
        book["Farm"]["B2"] = "psi"
        for line in book["Readings"].iter_rows(min_row=2):
            for one in line[2:4]:
                one.value = round(one.value * 14.5037737730, 9)
        book["Readings"].append(["West", DAY + dt.timedelta(1), 43.5113213, 40.6105666])

    done = merged(BOOK, changed(BOOK, psi))
    assert [(p.header, p.mine, p.theirs) for p in done.points] == [("Pressure unit", "bar", "psi")]
    assert done.data is not None
    last = opened(done.data)["Readings"][20]
    assert (last[2].value, last[3].value) == (pytest.approx(3.0), pytest.approx(2.8))


GAUGES = [["Station", "From", "Pressure unit", "Arrangement", "Remark"]]
CARRIED = [["Station", "Over since", "Help called"]]


def dated(book: openpyxl.Workbook) -> None:
    """Gauges with dates, and what an earlier season left."""
    for name, head in (("Gauges", GAUGES), ("Carried over", CARRIED)):
        sheet = book.create_sheet(name)
        for line in head:
            sheet.append(line)
    book["Gauges"].append(["North", DAY, "psi", "one gauge"])
    book["Carried over"].append(["South", DAY - dt.timedelta(80)])


def test_gauges_with_dates_and_what_was_carried_over_are_joined_likewise() -> None:
    book = changed(BOOK, dated)

    def how(made: openpyxl.Workbook) -> None:
        made["Gauges"].append(["South", DAY + dt.timedelta(1), "psi", "one gauge", "new one"])
        made["Gauges"]["D2"] = "two gauges"
        made["Carried over"].append(["West", DAY - dt.timedelta(60)])
        made["Carried over"]["B2"] = DAY - dt.timedelta(70)

    done = merged(book, changed(book, how))
    assert done.added == {"Gauges": 1, "Carried over": 1}
    assert [(p.sheet, p.which, p.header, str(p.mine), str(p.theirs)) for p in done.points] == [
        ("Carried over", "south", "Over since", "2026-03-13", "2026-03-23"),
        ("Gauges", f"north · {DAY}", "Arrangement", "one gauge", "two gauges"),
    ]
    assert done.data is not None
    read = read_book(done.data, NAME).book
    assert read.gauges.frame["remark"].tolist() == [None, "new one"]
    assert read.carried.frame["station"].tolist() == ["South", "West"]
    assert merged(done.data, changed(book, how)).data is None  # once more changes nothing


def test_what_the_book_has_no_place_for_stands_on_conflicts() -> None:
    def how(book: openpyxl.Workbook) -> None:
        book["Readings"]["H1"], book["Readings"]["H2"] = "Weather", "cloudy"
        book.create_sheet("Notes")["B2"] = "mine"
        book["Readings"]["M9"] = "beside"

    done = merged(BOOK, changed(BOOK, how))
    assert {(p.op, p.sheet, str(p.theirs)) for p in done.points} == {
        ("placeless", "Readings", "cloudy"), ("placeless", "Notes", "mine"),
        ("placeless", "Readings", "beside"),
    }  # fmt: skip
    # With the column in the book it goes there.
    wider = changed(BOOK, cell("Readings", "J1", "Weather"))
    placed = merged(wider, changed(BOOK, how))
    assert placed.data is not None
    assert opened(placed.data)["Readings"]["J2"].value == "cloudy"


def test_other_names_of_a_station_are_known_everywhere_and_offered() -> None:
    book = changed(BOOK, cell("Stations", "E1", "Also called"))
    aliased = changed(book, cell("Stations", "E2", "The North; N-1"))
    named = changed(aliased, row(1, station="n-1"))
    frame = read_book(named, NAME).book.readings.frame
    assert frame["station"].iloc[-1] == "North"

    def how(made: openpyxl.Workbook) -> None:
        for line in made["Readings"].iter_rows(min_row=2, max_col=1):
            if line[0].value == "South":
                line[0].value = "Sotuh"

    done = merged(book, changed(book, how))
    offered = [(p.op, p.mine, p.theirs) for p in done.points if p.op == "alias"]
    assert offered == [("alias", "South", "Sotuh")]
    assert done.data is not None
    taken = merged(choose(done.data, "take that"))
    assert taken.data is not None
    read = read_book(taken.data, NAME).book
    assert read.stations.frame["also"].iloc[1] == "Sotuh"
    assert readings(taken.data) == readings(book)  # no row twice


def test_the_command_says_which_of_its_files_are_open_and_that_rows_may_be_lost(
    tmp_path: Path,
) -> None:
    book, copy = tmp_path / "farm.xlsx", tmp_path / "copy.xlsx"
    book.write_bytes(BOOK)
    copy.write_bytes(changed(BOOK, row(3)))
    for path in (book, copy):
        path.with_name(f".~lock.{path.name}#").touch()
    is_open = "is open in a spreadsheet program, or was when that broke off; what is not saved was"
    anew = "  Open it anew before you save it there, or the rows are lost."
    for last in ([anew], []):  # the second time there is nothing to bring together
        said = CliRunner().invoke(main, ["merge", str(book), str(copy)]).output.splitlines()
        told = [f"{copy}: {is_open} not seen.", f"{book}: {is_open} not seen.", *last]
        assert said[-len(told) :] == told


def test_the_command_says_what_it_did_and_keeps_the_previous_book(tmp_path: Path) -> None:
    book, copy = tmp_path / NAME, tmp_path / "farm.reviewed.kept-1.xlsx"
    book.write_bytes(BOOK)
    copy.write_bytes(changed(BOOK, cell("Readings", "C2", 3.3)))
    edit(copy, row(1, "Ann", "typed"))
    said = siltbook("merge", book, copy)
    assert said == (
        f"{book}: 1 row added to Readings.\n"
        "  Readings, north · 2026-05-27 · routine, Inlet pressure (bar): differs: '3' here, '3.3' "
        "in farm.reviewed.kept-1.xlsx [Readings!C2 / Readings!C2] (by Ann / Ann)\n"
        f"  1 on the sheet Conflicts: choose there, save, and run 'siltbook merge {book}' to carry "
        "it out.\n"
        f"  Previous book: {tmp_path / 'farm.previous.xlsx'}\n"
    )
    assert (tmp_path / "farm.previous.xlsx").read_bytes() == BOOK
    assert "typed" in texts(book)
    assert "nothing to bring together." in siltbook("merge", book, copy)
    out = tmp_path / "out.xlsx"
    siltbook("merge", book, copy, "--out", out)
    again = CliRunner().invoke(main, ["merge", str(book), str(copy), "--out", str(out)])
    assert (again.exit_code, again.output) == (
        3, f"siltbook: {out} exists and was not replaced: give another name by --out.\n",
    )  # fmt: skip
    assert "Flush" in siltbook("run", book)


def test_another_farms_book_is_refused() -> None:
    other = changed(BOOK, lambda book: [
        cell("Stations", f"A{n}", f"Else {n}")(book) for n in (2, 3, 4)
    ])  # fmt: skip
    with pytest.raises(Exception, match=r"has no station in common with farm\.xlsx: it is no copy"):
        merged(BOOK, other)


@pytest.mark.at_length  # the command says what it did below
def test_audit_says_which_rows_came_from_whom_and_names_the_way_out(tmp_path: Path) -> None:
    book, copy = tmp_path / NAME, tmp_path / "anns.xlsx"
    book.write_bytes(BOOK)
    copy.write_bytes(changed(BOOK, row(1, "Ann", "typed")))
    done = CliRunner().invoke(main, ["audit", str(book), str(copy)])
    assert (
        f"{book} and {copy} are both of Invented, season 2026: if they are copies of one book, "
        f"'siltbook merge {book} {copy}' brings them together.\n"
    ) in done.output
    siltbook("merge", book, copy)
    again = CliRunner().invoke(main, ["audit", str(book)])
    assert "  From anns.xlsx (Ann): Readings row 20: row added\n" in again.output
    said = CliRunner().invoke(main, ["review", str(book), str(copy.with_name("b.xlsx")),
                                     "--month", "2026-06", "--no-pdf"])  # fmt: skip
    assert "no such file" in said.output
    other = tmp_path / "bea.xlsx"
    other.write_bytes(changed(BOOK, row(2, "Bea", "more")))
    said = CliRunner().invoke(main, ["review", str(book), str(other), "--month", "2026-06",
                                     "--no-pdf", "--out", str(tmp_path / "pack.xlsx")])  # fmt: skip
    assert "'siltbook merge " in said.output


def test_a_limit_of_a_copy_in_another_unit_comes_in_the_unit_of_the_books_own_cell() -> None:
    def limit(value: float | None, unit: str) -> Edit:
        return lambda book: book["Farm"].append(["Drop limit", value, unit])

    home = changed(BOOK, limit(7.0, "psi"))
    same = merged(home, changed(BOOK, limit(7.0, "psi")))
    assert same.points == ()
    (point,) = merged(home, changed(BOOK, limit(4.0, "m"))).points
    assert (point.header, point.mine) == ("Drop limit", 7.0)
    assert point.theirs == pytest.approx(4.0 / metres_per("psi"), rel=1e-7)
    bare = changed(BOOK, limit(None, "psi"))
    done = merged(bare, changed(BOOK, limit(6.5, "psi")))
    assert done.data is not None
    assert read_book(done.data, NAME).book.settings.drop_limit == pytest.approx(
        6.5 * metres_per("psi")
    )


@pytest.mark.at_length  # test_units.py
def test_a_limit_that_differs_is_named_without_a_unit_that_the_book_may_not_have() -> None:
    def book(limit: float) -> bytes:
        stations = [{"station": "F1", "drop_limit": limit}]
        day = {"station": "F1", "date": DAY, "inlet": 40.0, "outlet": 35.0}
        rows = {"Stations": stations, "Readings": [day]}
        return build(BlankOptions("psi", limits_in="psi", dates="08/30/2026"), rows)

    done = merged(book(7.0), book(6.0))
    (point,) = done.points
    assert (point.header, point.mine, point.theirs) == ("Drop limit", 7.0, 6.0)
    assert not re.search(r"\(m\)|\d m\b", " ".join(lines_of(done, Path(NAME), None)))


@pytest.mark.parametrize(
    ("settles", "day"), [("13/06/2026", (2026, 6, 5)), ("06/13/2026", (2026, 5, 6))]
)
def test_a_typed_date_is_read_as_its_own_column_settles_it(
    settles: str, day: tuple[int, int, int]
) -> None:
    """The book's own texts settle it the other way, or not at all."""

    def typed(book: openpyxl.Workbook) -> None:
        for text in (settles, "05/06/2026"):
            book["Readings"].append(["West", text, 3.0, 2.7])

    done = merged(BOOK, changed(BOOK, typed))
    assert done.data is not None
    assert str(dt.date(*day)) in {str(line[1]) for line in readings(done.data)}
