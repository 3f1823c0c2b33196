"""The command: mapping first, then the book; nothing twice, nothing lost, every odd cell said."""

from __future__ import annotations

import re
import shlex
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest

from sample_workbooks.as_kept import Style, as_csv, as_xlsx
from siltbook.batch.reading.book import read_book
from tests.adopt.farms import kept, siltbook

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "own.xlsx"
    path.write_bytes(as_xlsx(kept(Style())))
    return path


def change(mapping: Path, sheet: str, cell: str, value: object) -> None:
    book = openpyxl.load_workbook(mapping)
    book[sheet][cell] = value
    book.save(mapping)


def find(mapping: Path, sheet: str, text: str) -> int:
    """The first row of a sheet of the mapping in which some cell holds `text`."""
    rows = openpyxl.load_workbook(mapping)[sheet].iter_rows(values_only=True)
    return next(i for i, row in enumerate(rows, start=1) if text in row)


def test_two_calls_make_a_book_and_a_third_adds_nothing(own: Path) -> None:
    said = siltbook("adopt", own)
    mapping, book = own.with_name("own.mapping.xlsx"), own.with_name("own.book.xlsx")
    assert f"Mapping: {mapping}" in said
    assert "Read 15 rows: used 15, proposed 0, left out 0" in said
    assert not book.exists()
    said = siltbook("adopt", own, "--mapping", mapping)
    assert f"{book}: 15 readings, 2 rows of work, 3 stations." in said
    read = read_book(book.read_bytes(), str(book)).book
    assert len(read.readings.frame) == 15
    work = read.work.frame[["work", "cycles", "click"]].to_numpy().tolist()
    assert work[0] == ["flush", 3.0, "no"]
    remarks = read.readings.frame["remark"].dropna().tolist()
    assert remarks == ["flushed 3x, no click", "cleaned screen"]
    before = book.read_bytes()
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert "nothing to add; 17 rows were there already, 0 conflicts." in said
    assert book.read_bytes() == before


def test_work_enters_only_where_the_person_leaves_it(own: Path) -> None:
    siltbook("adopt", own)
    mapping = own.with_name("own.mapping.xlsx")
    row = find(mapping, "Proposed work", "cleaned screen")
    change(mapping, "Proposed work", f"A{row}", "no")
    assert "15 readings, 1 rows of work" in siltbook("adopt", own, "--mapping", mapping)


def test_rows_enter_a_book_and_no_other_part_of_it_changes(own: Path, tmp_path: Path) -> None:
    siltbook("adopt", own)
    book = tmp_path / "farm.xlsx"
    siltbook("template", book, "--station", "South")
    before = book.read_bytes()
    mapping = own.with_name("own.mapping.xlsx")
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert "15 readings, 2 rows of work and 2 stations added; 0 rows were there already." in said
    kept_book = tmp_path / "farm.previous.xlsx"
    assert kept_book.read_bytes() == before
    with zipfile.ZipFile(kept_book) as old, zipfile.ZipFile(book) as new:
        changed = {n for n in new.namelist() if old.read(n) != new.read(n)}
    assert len(changed) == 3
    assert all(name.startswith("xl/worksheets/sheet") for name in changed)


def farm_with_other_names(folder: Path, also: str) -> Path:
    """A blank of three stations; `also` are the other names of the first, N1."""
    book = folder / "farm.xlsx"
    siltbook("template", book, "--station", "N1", "--station", "South", "--station", "S3")
    places = {c.value: c.column_letter for c in openpyxl.load_workbook(book)["Stations"][1]}
    change(book, "Stations", f"{places['Also called']}2", also)
    return book


@pytest.mark.at_length  # the next but one asks for a near name
def test_a_source_may_name_a_station_by_any_of_its_names(own: Path, tmp_path: Path) -> None:
    book = farm_with_other_names(tmp_path, "NORTH 1; the old one")
    said = siltbook("adopt", own, "--into", book)
    assert "0 questions" in said
    mapping = own.with_name("own.mapping.xlsx")
    row = find(mapping, "Stations", "North 1")
    assert openpyxl.load_workbook(mapping)["Stations"][f"C{row}"].value == "N1"
    change(mapping, "Stations", f"C{row}", "the  OLD one")
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert "15 readings, 2 rows of work and 0 stations added; 0 rows were there already." in said
    read = read_book(book.read_bytes(), "farm.xlsx").book
    assert read.stations.frame["station"].tolist() == ["N1", "South", "S3"]
    assert set(read.readings.frame["station"]) == {"N1", "South", "S3"}
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert "nothing to add; 17 rows were there already, 0 conflicts." in said


def test_a_name_near_to_another_name_of_a_station_is_asked_for(own: Path, tmp_path: Path) -> None:
    book = farm_with_other_names(tmp_path, "North-1")
    said = siltbook("adopt", own, "--into", book)
    assert "Question: Is 'North 1' the same station as 'North-1'?" in said


def test_another_value_in_the_book_is_a_conflict_and_not_entered(own: Path) -> None:
    siltbook("adopt", own)
    mapping, book = own.with_name("own.mapping.xlsx"), own.with_name("own.book.xlsx")
    siltbook("adopt", own, "--mapping", mapping)
    change(book, "Readings", "D2", 2.9)
    before = book.read_bytes()
    said = siltbook("adopt", own, "--mapping", mapping, "--into", book)
    assert (
        "Conflict: North 1, 2026-05-04: own.xlsx, sheet Readings, row 2 says Inlet pressure "
        "3 bar; Readings row 2 says Inlet pressure 2.9 bar. It was not entered."
    ) in said
    assert "nothing to add; 16 rows were there already, 1 conflict." in said
    assert book.read_bytes() == before


def test_an_unanswered_question_stops_and_an_answer_is_used(tmp_path: Path) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(as_xlsx(kept(Style(unit_in="nowhere", unit="psi"))))
    assert "Question: In which unit are 'Inlet', 'Outlet'" in siltbook("adopt", own)
    mapping = tmp_path / "own.mapping.xlsx"
    said = siltbook("adopt", own, "--mapping", mapping, code=3)
    asked = "own.mapping.xlsx: a question is not answered: In which unit are 'Inlet', 'Outlet'"
    assert asked in said
    change(mapping, "Questions", "E5", "furlong")
    said = siltbook("adopt", own, "--mapping", mapping, code=3)
    assert (
        "own.mapping.xlsx, sheet Questions, cell E5: read 'furlong' under 'Your answer'; accepted:"
        " bar, kPa, psi, m, kgf/cm2. Correct it and run again; nothing was changed." in said
    )
    change(mapping, "Questions", "E5", "PSI")
    siltbook("adopt", own, "--mapping", mapping)
    book = read_book((tmp_path / "own.book.xlsx").read_bytes(), "own.book.xlsx").book
    assert book.settings.pressure_unit == "psi"
    assert book.readings.frame["inlet"].iloc[0] == pytest.approx(43.5 * 0.70307, rel=1e-4)


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(
    ("sheet", "cell", "value", "said"),
    [
        ("Columns", "H5", "banana", "H5: read 'banana' under 'Taken for'; accepted: station, date"),
        ("Columns", "I7", "stone", "cell I7: read 'stone' under 'Unit'; accepted: bar, kPa, psi"),
        ("Stations", "C5", None, "C5: read '' under 'Name in the book'; accepted: a station's"),
        ("Proposed work", "A5", "perhaps", "A5: read 'perhaps' under 'Enter'; accepted: yes or no"),
        ("Proposed work", "C5", "soon", "C5: read 'soon' under 'Date'; accepted: a date such as"),
        ("Columns", "H4", "Meaning", "sheet Columns: its header row is not as it was"),
    ],
)  # fmt: skip
def test_every_odd_cell_of_a_mapping_is_one_sentence(
    own: Path, sheet: str, cell: str, value: object, said: str
) -> None:
    siltbook("adopt", own)
    mapping = own.with_name("own.mapping.xlsx")
    change(mapping, sheet, cell, value)
    output = siltbook("adopt", own, "--mapping", mapping, code=3)
    assert said in output
    assert output.count("\n") == 1


def test_a_later_file_of_the_same_layout_needs_no_question(own: Path) -> None:
    siltbook("adopt", own)
    later = own.with_name("later.xlsx")
    made = kept(Style())
    made.sheets["Readings"] = made.sheets["Readings"][:4]
    later.write_bytes(as_xlsx(made))
    mapping = own.with_name("own.mapping.xlsx")
    said = siltbook("adopt", later, "--mapping", mapping)
    assert "3 readings, 0 rows of work" in said
    assert "1 rows of work are proposed and not entered: see" in said
    assert later.with_name("later.mapping.xlsx").exists()


def test_a_file_of_another_layout_is_refused_with_the_difference(own: Path) -> None:
    siltbook("adopt", own)
    other = own.with_name("other.xlsx")
    made = kept(Style())
    made.sheets["Readings"][0][3] = "Outlet 2 (bar)"
    other.write_bytes(as_xlsx(made))
    said = siltbook("adopt", other, "--mapping", own.with_name("own.mapping.xlsx"), code=3)
    assert (
        "other.xlsx, sheet Readings: the layout is not the one of own.mapping.xlsx (new: Outlet 2"
        " (bar); no longer there: Outlet (bar))." in said
    )


def test_a_mapping_that_is_there_is_not_replaced(own: Path) -> None:
    siltbook("adopt", own)
    assert "own.mapping-2.xlsx" in siltbook("adopt", own)


@pytest.mark.at_length  # test_logger.py adopts text tables
def test_a_csv_is_adopted(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_bytes(as_csv(kept(Style(language="fr", dates="dmy", texts=",")), ";", "cp1252"))
    siltbook("adopt", own)
    said = siltbook("adopt", own, "--mapping", tmp_path / "own.mapping.xlsx")
    assert "15 readings, 2 rows of work, 3 stations." in said


@pytest.mark.at_length  # test_round_trip.py fills registers so
def test_stations_that_only_readings_name_fill_the_register(tmp_path: Path) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(as_xlsx(kept(Style())))
    siltbook("adopt", own)
    siltbook("adopt", own, "--mapping", tmp_path / "own.mapping.xlsx")
    book = tmp_path / "own.book.xlsx"
    change(book, "Stations", "A3", None)
    said = siltbook("adopt", book, "--into", book)
    assert "1 stations added to the register: South" in said
    names = read_book(book.read_bytes(), "b").book.stations.frame["station"].tolist()
    assert sorted(names) == ["North 1", "S3", "South"]
    assert "its register has every station" in siltbook("adopt", book, "--into", book)


def test_what_is_no_readings_is_said_in_one_sentence(tmp_path: Path) -> None:
    other = tmp_path / "rain.csv"
    other.write_text("Date;Rain (mm)\n2026-05-01;12\n2026-05-02;3\n", encoding="utf-8")
    said = siltbook("adopt", other, code=3)
    assert said.startswith("siltbook: rain.csv: no table of filter readings was found.")
    assert not (tmp_path / "rain.mapping.xlsx").exists()


def test_the_source_is_never_changed(own: Path, tmp_path: Path) -> None:
    shutil.copy(own, tmp_path / "before.xlsx")
    siltbook("adopt", own)
    siltbook("adopt", own, "--mapping", own.with_name("own.mapping.xlsx"))
    assert own.read_bytes() == (tmp_path / "before.xlsx").read_bytes()


def test_the_three_commands_of_the_readme(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```text\n(.*?)```", readme, re.DOTALL)
    commands = [shlex.split(line) for line in block.strip().splitlines()]
    assert len(commands) == 3
    shutil.copytree(ROOT / "sample_workbooks" / "as-kept", tmp_path / "sample_workbooks/as-kept")
    monkeypatch.chdir(tmp_path)
    said = [siltbook(*command[1:]) for command in commands]
    assert "32 readings, 3 rows of work" in said[1]
    assert "Hand clean       Hill" in said[2]
    assert (tmp_path / "results" / "own.reviewed.xlsx").exists()


@pytest.mark.at_length  # work enters only where it is left
def test_work_of_rows_that_an_answer_made_readable_is_shown_before_it_enters(
    tmp_path: Path,
) -> None:
    made = kept(Style(dates="dmy"))
    rows = made.sheets["Readings"]
    made.sheets["Readings"] = [rows[0], *(["03/04/2026", *r[1:]] for r in rows[1:4])]
    own, mapping = tmp_path / "own.xlsx", tmp_path / "own.mapping.xlsx"
    own.write_bytes(as_xlsx(made))
    siltbook("adopt", own)
    change(mapping, "Questions", "E5", "day first")
    said = siltbook("adopt", own, "--mapping", mapping)
    book, further = tmp_path / "own.book.xlsx", tmp_path / "own.mapping-2.xlsx"
    assert "3 readings, 0 rows of work" in said
    assert f"1 rows of work are proposed and not entered: see {further}" in said
    said = siltbook("adopt", own, "--mapping", further, "--into", book)
    assert "0 readings, 1 rows of work and 0 stations added; 3 rows were there already." in said
    assert "not entered" not in said


@pytest.mark.at_length  # work enters in the ones above
def test_a_renamed_station_takes_its_work_along(own: Path) -> None:
    siltbook("adopt", own)
    mapping = own.with_name("own.mapping.xlsx")
    change(mapping, "Stations", f"C{find(mapping, 'Stations', 'North 1')}", "N1")
    siltbook("adopt", own, "--mapping", mapping)
    book = read_book(own.with_name("own.book.xlsx").read_bytes(), "own.book.xlsx").book
    assert set(book.work.frame["station"]) == {"N1"}
    assert set(book.readings.frame["station"]) == {"N1", "South", "S3"}


def test_a_table_whose_station_is_asked_for_keeps_its_proposals(tmp_path: Path) -> None:
    made = kept(Style("sheet per station"))
    made.sheets = {"Sheet1": made.sheets["North 1"]}
    own, mapping = tmp_path / "own.xlsx", tmp_path / "own.mapping.xlsx"
    own.write_bytes(as_xlsx(made))
    siltbook("adopt", own)
    change(mapping, "Questions", "E5", "North 1")
    said = siltbook("adopt", own, "--mapping", mapping)
    assert "5 readings, 2 rows of work, 1 stations." in said
    assert "not entered" not in said


@pytest.mark.at_length  # tests/whole/test_commands.py skips what is no book of a folder
def test_a_folder_with_mappings_is_run_without_them(own: Path) -> None:
    siltbook("adopt", own)
    siltbook("adopt", own, "--mapping", own.with_name("own.mapping.xlsx"))
    own.unlink()
    said = siltbook("run", own.parent)
    assert "own.book.xlsx" in said
    assert "own.mapping" not in said


@pytest.mark.at_length  # an unanswered question stops, an answer is used
def test_an_answer_that_raises_a_further_question_leads_on(tmp_path: Path) -> None:
    made = kept(Style())
    made.sheets["Readings"][0] = ["Date", "Station", "P1 (bar)", "P2 (bar)", "Notes"]
    own, mapping = tmp_path / "own.xlsx", tmp_path / "own.mapping.xlsx"
    own.write_bytes(as_xlsx(made))
    siltbook("adopt", own)
    change(mapping, "Questions", "E5", "outlet")
    change(mapping, "Questions", "E6", "inlet")
    said = siltbook("adopt", own, "--mapping", mapping, code=3)
    further = tmp_path / "own.mapping-2.xlsx"
    assert "its answers raise a further question: The outlet is mostly above the inlet" in said
    assert str(further) in said
    change(further, "Questions", "E5", "the other way round")
    said = siltbook("adopt", own, "--mapping", further)
    assert "15 readings, 2 rows of work, 3 stations." in said
    book = read_book((tmp_path / "own.book.xlsx").read_bytes(), "own.book.xlsx").book
    assert (book.readings.frame["inlet"] > book.readings.frame["outlet"]).all()
