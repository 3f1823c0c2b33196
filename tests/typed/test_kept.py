"""A result that somebody edited is kept and named; what they typed comes back or is offered."""

from __future__ import annotations

import datetime as dt
import importlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from siltbook.batch import files, many
from siltbook.batch.reading.book import read_book
from siltbook.batch.typed.boxes import read_boxes
from siltbook.batch.typed.stamp import stamped, untouched
from siltbook.batch.watching import stamp_now
from tests.office import Shared, cells, needs_office
from tests.typed.farm import DAY, NAME, box, edit, make, opened, rows, siltbook, texts

# The command hides its module's name.
watch = importlib.import_module("siltbook.batch.commands.watch")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / NAME
    path.write_bytes(make())
    return path


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The result of the book as it was made."""
    path = tmp_path_factory.mktemp("first") / NAME
    path.write_bytes(make())
    siltbook("run", path)
    return path.with_name("farm.reviewed.xlsx").read_bytes()


@pytest.fixture
def result(book: Path, first: bytes) -> Path:
    path = book.with_name("farm.reviewed.xlsx")
    path.write_bytes(first)
    return path


def kept(result: Path, number: int = 1) -> Path:
    return result.with_name(f"farm.reviewed.kept-{number}.xlsx")


def type_row(made: openpyxl.Workbook, remark: str = "typed here") -> None:
    made["Readings"].append(["West", DAY + dt.timedelta(days=1), 3.0, 2.8, None, "Cal", remark])


def test_an_untouched_result_is_replaced_without_a_word(book: Path, result: Path) -> None:
    said = siltbook("run", book)
    assert "is kept as" not in said
    edit(book, type_row)
    assert "is kept as" not in siltbook("run", book)
    assert not kept(result).exists()
    assert "typed here" in texts(result)


def test_a_mere_save_by_another_program_is_no_edit(book: Path, result: Path) -> None:
    before = result.read_bytes()
    edit(result, lambda made: None)
    assert result.read_bytes() != before
    edit(book, type_row)  # the book goes on; the saved result still holds what it held
    assert "is kept as" not in siltbook("run", book)
    assert not kept(result).exists()


@needs_office
def test_a_mere_save_by_an_office_program_is_no_edit(
    book: Path, result: Path, office: Shared
) -> None:
    before = result.read_bytes()
    result.write_bytes(*office.resaved(before))
    assert result.read_bytes() != before
    assert "is kept as" not in siltbook("run", book)
    assert not kept(result).exists()


def _value(sheet: str, cell: str, value: object) -> Callable[[openpyxl.Workbook], None]:
    def change(made: openpyxl.Workbook) -> None:
        made[sheet][cell] = value

    return change


EDITS: list[tuple[Callable[[openpyxl.Workbook], Any], str]] = [
    (type_row, "Readings: 1 row added"),
    (_value("Readings", "C3", 3.1), "Readings: 1 cell changed"),
    (_value("Readings", "C3", None), "Readings: 1 cell emptied"),
    (_value("Readings", "B3", "the third"), "Readings: 1 cell changed"),
    (_value("Readings", "M3", "cloudy"), "Readings: 1 cell changed"),
    (_value("Stations", "D2", "new gate"), "Stations: 1 cell changed"),
    (_value("Farm", "B1", "Another"), "Farm: 1 cell changed"),
    (_value("Station review", "A1", "mine"), "Station review: 1 cell changed"),
    (lambda made: made.create_sheet("Notes").append(["x"]), "Notes: a sheet that the book has not"),
    (lambda made: setattr(box(made, "South", "Who"), "value", "Ann"), "Actions: 1 box filled"),
]  # fmt: skip


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(("how", "what"), EDITS)
def test_an_edited_result_is_kept_with_the_sentence_that_says_so(
    book: Path, result: Path, how: Callable[[openpyxl.Workbook], Any], what: str
) -> None:
    edit(result, how)
    typed = result.read_bytes()
    said = siltbook("run", book)
    aside = kept(result)
    assert aside.read_bytes() == typed
    assert (
        f"  farm.reviewed.xlsx was edited since Siltbook wrote it ({what}): it is kept as {aside}; "
        f"'siltbook merge {book} {aside}' brings its rows back into the book.\n"
    ) in said
    assert untouched(result.read_bytes(), NAME)


@pytest.mark.at_length  # each edit is kept above
def test_it_is_kept_once_and_a_second_edit_has_a_number_of_its_own(
    book: Path, result: Path
) -> None:
    edit(result, type_row)
    assert f"it is kept as {kept(result)}; " in siltbook("run", book)
    assert "is kept as" not in siltbook("run", book)  # the new result is as it was written
    assert not kept(result, 2).exists()
    edit(result, lambda made: type_row(made, "another"))
    siltbook("run", book)
    assert kept(result, 2).exists()


def test_json_names_what_was_kept_and_why(book: Path, result: Path) -> None:
    edit(result, type_row)
    (entry,) = json.loads(siltbook("run", book, "--json"))["books"]
    assert entry["kept"] == str(kept(result))
    assert entry["kept_why"] == "Readings: 1 row added"
    (said,) = entry["said"]
    assert said.startswith("farm.reviewed.xlsx was edited since Siltbook wrote it (Readings: 1 row")
    assert f"it is kept as {kept(result)}; 'siltbook merge" in said


def test_of_two_lines_of_one_station_the_first_stays_and_the_other_is_told(
    book: Path, result: Path
) -> None:
    """The second took the place of the first, which had come back run after run."""

    def first_line(made: openpyxl.Workbook) -> None:
        box(made, "South", "Action agreed").value = "new solenoid"

    def second_line(made: openpyxl.Workbook) -> None:
        columns = {h: box(made, "South", h).column for h in ("Station", "Action agreed", "Who")}
        row = box(made, "South", "Who").row + 1
        made["Actions"].insert_rows(row)
        for column, text in zip(columns.values(), ("South", "call Bea", "Ann"), strict=True):
            made["Actions"].cell(row, column).value = text

    edit(result, first_line)
    siltbook("run", book)
    edit(result, second_line)
    said = siltbook("run", book)
    assert (
        "  South: its further line on Actions, Action agreed 'call Bea', Who 'Ann', is not on the "
        f"new one.\n  'siltbook agree {kept(result, 2)} {book}' takes what was filled in over"
    ) in said
    assert "new solenoid" in texts(result)
    assert "call Bea" not in texts(result)


def test_what_was_agreed_on_one_farm_comes_on_no_other_farms_sheet(tmp_path: Path) -> None:
    """Books of two farms have one name, one folder for their results, and stations alike."""
    east, west = (tmp_path / side / NAME for side in ("east", "west"))
    for path in (east, west):
        path.parent.mkdir()
        path.write_bytes(make())
        edit(path, _value("Farm", "B1", path.parent.name))
    out = tmp_path / "out"
    siltbook("run", east, "--out", out)
    result = out / "farm.reviewed.xlsx"
    edit(result, lambda made: setattr(box(made, "South", "Who"), "value", "Ann of the east"))
    for number in (1, 2):  # as it was filled in, and as a run of its own book wrote it
        typed = result.read_bytes()
        said = siltbook("run", west, "--out", out)
        assert kept(result, number).read_bytes() == typed
        assert "holds what somebody typed (it is of the farm 'east'; " in said
        assert (
            f"it is kept as {kept(result, number)}; give its book and this one names of their own, "
            "or each a folder by --out.\n"
        ) in said
        assert "episode is over" not in said
        assert "Ann of the east" not in texts(result)
        result.write_bytes(typed)
        siltbook("run", east, "--out", out)
        kept(result, number + 1).unlink(missing_ok=True)
        assert "Ann of the east" in texts(result)


def test_beside_its_book_a_result_stays_of_it_when_the_farm_gets_another_name(
    book: Path, result: Path
) -> None:
    edit(result, lambda made: setattr(box(made, "South", "Who"), "value", "Ann"))
    edit(book, _value("Farm", "B1", "Another"))
    assert "it is of the farm" not in siltbook("run", book)
    assert "Ann" in texts(result)


def test_a_book_that_was_saved_or_went_while_it_was_judged_is_told(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    judge = many.judge

    def meanwhile(job: many.Job) -> many.Judged:
        judged = judge(job)
        how()
        return judged

    monkeypatch.setattr(many, "judge", meanwhile)
    how: Callable[[], Any] = lambda: edit(book, type_row)  # noqa: E731
    assert (
        f"  {book}: was saved while it was judged, and the result is of the book before that: run "
        "again.\n"
    ) in siltbook("run", book)
    how = book.unlink
    assert (
        f"  {book}: was renamed or deleted while it was judged; the result is of the book as it was"
    ) in siltbook("run", book)


def test_what_is_no_result_of_ours_is_kept_too(book: Path, result: Path) -> None:
    plain = make()
    for data, why in ((plain, "it carries no result sheets"), (b"x", "it cannot be read as")):
        result.write_bytes(data)
        assert f"({why}" in siltbook("run", book)
    assert [kept(result, n).read_bytes() for n in (1, 2)] == [plain, b"x"]


def test_a_result_of_version_0_1_is_kept_when_in_doubt(tmp_path: Path) -> None:
    old = Path(__file__).parents[1] / "kept" / "v0_1"
    book = tmp_path / "twelve-stations.xlsx"
    book.write_bytes((old / "twelve-stations.xlsx").read_bytes())
    result = tmp_path / "twelve-stations.reviewed.xlsx"
    result.write_bytes((old / "twelve-stations.result.xlsx").read_bytes())
    said = siltbook("run", book)
    assert "its result sheets are of version 0.1.0, so edits there cannot be told): it is" in said
    assert "twelve-stations.reviewed.kept-1.xlsx" in said


def test_a_reviewed_book_is_worked_in_place_and_then_stays(book: Path, result: Path) -> None:
    edit(result, type_row)
    typed = result.read_bytes()
    said = siltbook("run", result)
    assert f"Result: {result}" in said
    assert result.with_name("farm.reviewed.previous.xlsx").read_bytes() == typed
    assert not result.with_name("farm.reviewed.reviewed.xlsx").exists()
    assert "typed here" in texts(result)
    # Whoever runs the first book again does not lose what went into the other.
    assert "Readings: 1 row added" in siltbook("run", book)
    assert "typed here" in texts(kept(result))


def test_boxes_come_back_while_the_episode_lasts_and_are_then_offered(
    book: Path, result: Path
) -> None:
    def fill(made: openpyxl.Workbook) -> None:
        box(made, "South", "Action agreed").value = "New screen"
        box(made, "South", "Who").value = "Ann"
        box(made, "South", "By when").value = dt.date(2026, 6, 9)

    edit(result, fill)
    edit(book, lambda made: made["Readings"].append(["South", DAY + dt.timedelta(2), 3.0, 2.4]))
    assert "Actions: 3 boxes filled" in siltbook("run", book)
    made = opened(result.read_bytes())
    heads = ("Action agreed", "Who", "By when")
    found = [box(made, "South", head).value for head in heads]
    assert found == ["New screen", "Ann", dt.datetime(2026, 6, 9)]
    # Written by us now: no edit any more. The reading that ends the episode drops the boxes.
    assert "is kept as" not in siltbook("run", book)
    edit(book, lambda made: made["Readings"].append(["South", DAY + dt.timedelta(3), 3.0, 2.8]))
    said = siltbook("run", book)
    aside = kept(result, 2)
    assert (
        "South: its episode is over; on Actions stood Action agreed 'New screen', Who 'Ann', By "
        "when '2026-06-09'.\n"
    ) in said
    assert f"'siltbook agree {aside} {book}' takes what was filled in over to the sheet" in said
    assert "(row 2)" in siltbook("agree", aside, book)
    frame = read_book(book.read_bytes(), NAME).book.agreed.frame
    assert list(frame.loc[2][["station", "action", "who", "due"]]) == [
        "South", "New screen", "Ann", dt.date(2026, 6, 9),
    ]  # fmt: skip
    assert "already stand" in siltbook("agree", aside, book)
    # A new episode is another one: the boxes do not come back to it.
    edit(book, lambda made: made["Readings"].append(["South", DAY + dt.timedelta(4), 3.0, 2.4]))
    siltbook("run", book)
    assert read_boxes(result.read_bytes(), "r").boxes == ()


@pytest.mark.at_length  # they come back from a reviewed book
def test_in_place_the_boxes_come_back_and_are_offered_from_the_previous_book(book: Path) -> None:
    siltbook("run", book, "--in-place")
    edit(book, lambda made: setattr(box(made, "South", "Who"), "value", "Ann"))
    siltbook("run", book, "--in-place")
    assert box(opened(book.read_bytes()), "South", "Who").value == "Ann"
    edit(book, lambda made: made["Readings"].append(["South", DAY + dt.timedelta(3), 3.0, 2.8]))
    said = siltbook("run", book, "--in-place")
    assert "on Actions stood Who 'Ann'." in said
    previous = book.with_name("farm.previous-3.xlsx")
    assert f"'siltbook agree {previous} {book}'" in said
    siltbook("agree", previous, book)
    frame = read_book(book.read_bytes(), NAME).book.agreed.frame
    assert list(frame.iloc[0][["station", "action", "who"]]) == ["South", "Flush", "Ann"]


def test_whoever_goes_on_in_the_reviewed_book_agrees_into_it(book: Path, result: Path) -> None:
    edit(result, lambda made: setattr(box(made, "South", "Who"), "value", "Ann"))
    siltbook("run", result)
    assert "(row 2)" in siltbook("agree", result, result)


@pytest.mark.at_length  # tests/audit/test_agreed.py: an action for the whole farm
def test_an_action_for_the_whole_farm_is_no_unknown_station(book: Path, tmp_path: Path) -> None:
    edit(book, lambda made: made["Agreed"].append(["(Farm)", "Buy gauges", "Ann"]))
    assert "farm.xlsx: no finding" in (said := siltbook("check", book)) or "(farm)" not in said
    read = read_book(book.read_bytes(), NAME).book
    assert list(read.agreed.frame["station"]) == ["(farm)"]
    assert (read.counts["Agreed"].used, read.counts["Agreed"].set_aside) == (1, 0)
    siltbook("review", book, "--month", "2026-06", "--no-pdf", "--out", tmp_path / "pack.xlsx")
    pack = tmp_path / "pack.xlsx"
    assert "Buy gauges" in texts(pack)

    def agree(made: openpyxl.Workbook) -> None:
        sheet = made["Agenda"]
        heads = {c.value: c for line in sheet.iter_rows() for c in line if c.value}
        row = heads["South"].row + 1
        for head, value in (("Station", "(farm)"), ("Action", "Rinse all"), ("Who", "Bea")):
            sheet.cell(row, heads[head].column).value = value

    edit(pack, agree)
    assert "1 row added" in siltbook("agree", pack, book)
    siltbook("archive", book, "--to", tmp_path / "kept")
    siltbook("season", tmp_path / "kept", "--template", tmp_path / "next.xlsx")
    carried = read_book((tmp_path / "next.xlsx").read_bytes(), "next.xlsx").book.agreed.frame
    farm = carried[carried["station"] == "(farm)"]
    assert list(farm["action"]) == ["Buy gauges", "Rinse all"]


def test_watch_tries_a_result_again_that_it_could_not_write(
    book: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    stamp, target = stamp_now(book) or files.NO_FILE, book.with_name("farm.reviewed.xlsx")

    def locked(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("siltbook.batch.files.os.replace", locked)
    assert not watch._judge(book, stamp, target, None, set())
    said = capsys.readouterr().out
    assert re.fullmatch(
        r"\d\d:\d\d .*farm\.reviewed\.xlsx: cannot be written \(Permission denied\)\. Close it in "
        r"other programs, check the space and the permissions\. It is tried again every 10 "
        r"seconds\.\n",
        said,
    )
    assert not watch._judge(book, stamp, target, None, set(), True)
    assert capsys.readouterr().out == ""  # said once
    monkeypatch.undo()
    assert watch._judge(book, stamp, target, None, set(), True)
    assert "farm.xlsx: 1 flush" in capsys.readouterr().out
    assert target.exists()


def test_a_stamp_fits_one_file_of_one_book() -> None:
    package = make()
    made = stamped(package, "a.xlsx")
    assert untouched(made, "a.xlsx")
    assert not untouched(made, "b.xlsx")
    assert not untouched(package, "a.xlsx")
    assert not untouched(made[:100] + b"x" + made[101:], "a.xlsx")
    assert opened(made).sheetnames == opened(package).sheetnames
    with pytest.raises(ValueError, match="a comment already"):
        stamped(made, "a.xlsx")
    assert len(rows()) == 18


@pytest.mark.at_length  # a reviewed one is
def test_an_audited_copy_that_somebody_edited_is_kept_too(book: Path) -> None:
    from click.testing import CliRunner

    from siltbook.batch.cli import main

    audited = book.with_name("farm.audited.xlsx")
    CliRunner().invoke(main, ["audit", str(book)])
    first = audited.read_bytes()
    assert "is kept as" not in CliRunner().invoke(main, ["audit", str(book)]).output
    assert audited.read_bytes() == first
    edit(audited, _value("Audit summary", "C6", "explained by Ann"))
    typed = audited.read_bytes()
    told = CliRunner().invoke(main, ["audit", str(book), "--json"]).stdout
    (line,) = json.loads(told)["books"][0]["said"]
    aside = book.with_name("farm.audited.kept-1.xlsx")
    assert f"is kept as {aside}" in line
    aside.unlink()
    audited.write_bytes(typed)
    said = CliRunner().invoke(main, ["audit", str(book)]).output
    assert f"is kept as {aside}" in said
    assert "explained by Ann" in texts(aside)


@pytest.mark.at_length  # the small farm above shows it: boxes come back
def test_the_twelve_station_sample_shows_a_filled_box_on_the_next_run(tmp_path: Path) -> None:
    sample = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
    book = tmp_path / sample.name
    book.write_bytes(sample.read_bytes())
    siltbook("run", book)
    result = tmp_path / "twelve-stations.reviewed.xlsx"
    names = [str(n) for n in cells(result.read_bytes(), "Actions", values=True).values()]
    urgent = next(n for n in names if re.match(r"S\d\d ", n) and "\n" not in n)
    edit(result, lambda made: setattr(box(made, urgent, "Who"), "value", "Reader A"))
    assert "Actions: 1 box filled" in siltbook("run", book)
    shown = cells(result.read_bytes(), "Actions", values=True)
    head = next(at for at, value in shown.items() if value == "Who").rstrip("0123456789")
    row = next(at for at, value in shown.items() if value == urgent).lstrip("ABCDEFGH")
    assert shown[f"{head}{row}"] == "Reader A"


def test_merge_calls_no_box_lost_that_was_agreed_into_the_book(
    book: Path, result: Path, tmp_path: Path
) -> None:
    """'no place' was said of boxes that `agree` had entered, for ever."""
    edit(result, lambda made: setattr(box(made, "South", "Who"), "value", "Ann"))
    copy = tmp_path / "anns.xlsx"
    copy.write_bytes(result.read_bytes())
    assert "Actions, south" in siltbook("merge", book, copy)
    siltbook("agree", copy, book)  # Who alone: the verdict is the action
    said = siltbook("merge", book, copy)
    assert "Actions, south" not in said
    assert "no place" not in said

    def done(made: openpyxl.Workbook) -> None:  # may be of an earlier episode, in the same words
        made["Agreed"].cell(2, 5).value = DAY

    edit(book, done)
    assert "Actions, south" in siltbook("merge", book, copy)
