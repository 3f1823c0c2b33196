"""Folders of archives: one that cannot be used stops nothing that does not rest on it."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner, Result

from siltbook.batch.archive import locate, manifest
from siltbook.batch.archive.folder import put, season
from siltbook.batch.archive.verify import verify
from siltbook.batch.cli import main
from tests.amount import few, some
from tests.archive.conftest import PORTFOLIO
from tests.archive.forging import reseal
from tests.faults.support import forbid_reading
from tests.office import Shared, needs_office
from tests.reading.books import HEAD, clean_sheets, raw_book, raw_sheet, row, workbook
from tests.samples.load import SAMPLES


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def home(kept: Path, tmp_path: Path) -> Path:
    """Both seasons of one farm, to be tampered with."""
    return Path(shutil.copytree(kept, tmp_path / "home"))


def lines(result: Result) -> list[str]:
    return result.stderr.splitlines()


def test_a_link_a_draft_and_a_hidden_folder_are_no_archives(home: Path, kept: Path) -> None:
    (home / "east-2025").rename(home / ".siltbook-x.tmp")
    (home / "linked").symlink_to(kept / "east-2025")
    (home / "other").mkdir()
    (home / "note.txt").touch()
    said = siltbook("verify", home)
    assert said.exit_code == 3
    assert [x.split(":")[0] for x in said.stdout.splitlines()[::2]] == [str(home / "east-2026")]
    sentence = "is a link or a junction, which is not followed from here. Name the folder that it"
    assert lines(said) == [f"siltbook: {home / 'linked'}: {sentence} leads to."]
    assert siltbook("verify", home / "linked").exit_code == 0


def test_a_folder_that_cannot_be_looked_into_is_named_and_the_others_are_checked(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = os.lstat

    def guarded(path: Any, **more: Any) -> os.stat_result:
        if str(path) == str(home / "east-2025" / manifest.NAME):
            raise PermissionError(13, "Permission denied")
        return looked(path, **more)

    monkeypatch.setattr(os, "lstat", guarded)
    said = siltbook("verify", home)
    assert said.exit_code == 3
    assert lines(said) == [
        f"siltbook: {home / 'east-2025'}: cannot be read (Permission denied). Check the folder's "
        "permissions."
    ]
    assert "east-2026: whole and unchanged" in said.stdout


def test_a_manifest_that_cannot_be_read_is_named_and_the_others_are_checked(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = os.open

    def guarded(path: Any, *more: Any) -> int:
        if str(path) == str(home / "east-2025" / manifest.NAME):
            raise PermissionError(13, "Permission denied")
        return opened(path, *more)

    monkeypatch.setattr(os, "open", guarded)
    (home / "east-2026" / "more.txt").touch()
    said = siltbook("verify", home, "--json")
    assert said.exit_code == 3
    message = (
        f"{home / 'east-2025' / manifest.NAME}: cannot be read (Permission denied). Check the "
        "file's permissions."
    )
    document = json.loads(said.stdout)
    assert document["failed"] == [{"path": str(home / "east-2025"), "message": message}]
    assert [a["whole"] for a in document["archives"]] == [False]
    started = siltbook("season", home, "--template", home / "next.xlsx")
    assert started.exit_code == 3
    assert not (home / "next.xlsx").exists()


def test_a_folder_without_permission(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def guarded(_: Any) -> Any:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "scandir", guarded)
    sentence = "cannot be read (Permission denied). Check the folder's permissions."
    for path in (home, home / "east-2025"):
        said = siltbook("verify", path)
        assert (said.exit_code, lines(said)) == (3, [f"siltbook: {path}: {sentence}"])


@pytest.mark.at_length  # a folder without permission is named above
def test_what_the_system_calls_unreadable_ends_no_batch(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command line's library would ask the system first, and end the whole batch."""
    for name in ("a.xlsx", "b.xlsx"):
        shutil.copy(PORTFOLIO / "east-2026.xlsx", tmp_path / name)
    forbid_reading(monkeypatch, "a.xlsx")
    monkeypatch.setattr(os, "access", lambda *_, **__: False)
    books = [tmp_path / "a.xlsx", tmp_path / "b.xlsx"]
    for words in (["check", *books], ["archive", *books, "--to", tmp_path / "to"]):
        said = siltbook(*words)
        assert said.exit_code == 3
        (line,) = lines(said)
        assert "a.xlsx: cannot be read (Permission denied). Check the file's permissions." in line
        assert "b.xlsx: " in said.stdout
    assert siltbook("verify", home).exit_code == 0
    assert siltbook("season", home, "--template", tmp_path / "next.xlsx").exit_code == 0


@pytest.mark.parametrize("name", ["x" * 300, "a/" * 3_000])
def test_a_name_that_no_folder_can_have(name: str, tmp_path: Path) -> None:
    for words in (["verify", name], ["season", name, "--template", tmp_path / "n.xlsx"]):
        said = siltbook(*words)
        assert said.exit_code == 3
        assert "no such folder. Name the folder of an archive." in said.stderr
    said = siltbook("season", tmp_path, "--template", tmp_path / f"{name}.xlsx")
    assert said.exit_code in (2, 3)


def test_a_folder_of_everything_is_not_searched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locate, "MOST_FOLDERS", 5)
    for number in range(6):
        (tmp_path / str(number)).mkdir()
    said = siltbook("verify", tmp_path)
    assert said.exit_code == 3
    assert "holds more than 5 files and folders. Name the archives one by one." in said.stderr


def test_an_older_season_that_is_not_whole_is_left_out_and_said(home: Path, tmp_path: Path) -> None:
    (home / "east-2025" / "verdicts.json").write_text("{}")
    target = tmp_path / "next.xlsx"
    said = siltbook("season", home, "--template", target)
    assert said.exit_code == 3
    assert lines(said) == [
        f"siltbook: {home / 'east-2025'}: this archive is not whole: verdicts.json: changed (its "
        "SHA-256 is not the one in the manifest). Run 'siltbook verify' on it, and bring back an "
        "unchanged copy. The seasons were compared without it."
    ]
    assert "Seasons compared: 2026" in said.stdout
    assert openpyxl.load_workbook(target)["Farm"]["B3"].value == "2027"


def test_a_latest_season_that_is_not_whole_is_never_left_out(home: Path, tmp_path: Path) -> None:
    """What it carries over would be a season old and look like new."""
    (home / "east-2026" / "verdicts.json").write_text("{}")
    said = siltbook("season", home, "--template", tmp_path / "next.xlsx")
    assert said.exit_code == 3
    assert lines(said)[0].endswith(
        "It may be the latest season, so nothing was begun without it: move it away if it is not."
    )
    assert not (tmp_path / "next.xlsx").exists()


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("harm", ["manifest", "book"])
def test_an_archive_of_unknown_day_is_never_left_out(harm: str, home: Path, tmp_path: Path) -> None:
    old = home / "east-2025"
    if harm == "manifest":
        (old / manifest.NAME).write_text("{}")
    else:
        (old / "east-2025.xlsx").write_bytes(b"PK")
        reseal(old, as_of=None)
    said = siltbook("season", home, "--template", tmp_path / "next.xlsx")
    assert said.exit_code == 3
    assert "It may be the latest season" in said.stderr
    assert not (tmp_path / "next.xlsx").exists()


@pytest.mark.at_length  # an older season that is not whole is left out above
def test_a_workbook_that_cannot_be_read_is_left_out_like_any_other(
    home: Path, tmp_path: Path
) -> None:
    (home / "east-2025" / "east-2025.xlsx").write_bytes(b"PK")
    reseal(home / "east-2025")
    said = siltbook("season", home, "--template", tmp_path / "next.xlsx")
    assert said.exit_code == 3
    assert f"{home / 'east-2025'}: " in said.stderr
    assert (tmp_path / "next.xlsx").exists()


def test_memory_that_does_not_suffice_for_the_seasons(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def short(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("siltbook.batch.archive.next_season.assess_bytes", short)
    said = siltbook("season", kept, "--template", tmp_path / "next.xlsx")
    assert said.exit_code == 3
    assert lines(said) == [
        "siltbook: The archives are too large for this machine's memory. Give fewer of them."
    ]
    assert list(tmp_path.iterdir()) == []


def test_a_workbook_saved_while_the_seasons_were_judged_is_not_overwritten(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from siltbook.batch.archive import next_season as following

    judged, target = following.assess_bytes, tmp_path / "next.xlsx"

    def meanwhile(*arguments: Any) -> Any:
        target.write_text("mine")
        return judged(*arguments)

    monkeypatch.setattr(following, "assess_bytes", meanwhile)
    said = siltbook("season", kept, "--template", target)
    assert said.exit_code == 2
    assert "exists. Choose another name, or add --force." in said.stderr
    assert target.read_text() == "mine"


def test_a_book_with_the_other_date_system_is_archived_like_any(tmp_path: Path) -> None:
    visit = row("F1", "<c/>", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>")
    day = (dt.date(2026, 5, 31) - dt.date(1904, 1, 1)).days
    visit = visit.replace("<c/>", f"<c><v>{day}</v></c>", 1)
    book = raw_book(raw_sheet(HEAD, visit), main='<workbookPr date1904="1"/>')
    made = season(book, "b.xlsx")
    assert made.assessment.as_of == dt.date(2026, 5, 31)
    assert b",F1,2026-05-31," in made.files["data/readings.csv"]
    put(made.files, tmp_path / "b")
    assert verify(tmp_path / "b").troubles == ()


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("year", [1900, 9999])
def test_a_day_that_no_season_has_is_a_finding_and_no_day_of_the_archive(
    year: int, tmp_path: Path
) -> None:
    visits = [row("F1", f"{year}-03-01", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>"),
              row("F1", "2026-05-31", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>")]  # fmt: skip
    made = season(raw_book(raw_sheet(HEAD, *visits)), "b.xlsx")
    assert made.assessment.as_of == dt.date(2026, 5, 31)
    assert f"{year}-03-01" in made.files["data/findings.csv"].decode()
    put(made.files, tmp_path / "b")
    assert verify(tmp_path / "b").troubles == ()
    said = siltbook("season", tmp_path / "b", "--template", tmp_path / "next.xlsx")
    assert said.exit_code == 0, said.stderr


@pytest.mark.parametrize("year", ["0001", "9999"])
def test_an_as_of_day_outside_the_years_of_a_workbook(year: str, tmp_path: Path) -> None:
    book = PORTFOLIO / "east-2026.xlsx"
    said = siltbook("archive", book, "--to", tmp_path / "to", "--as-of", f"{year}-12-31")
    assert said.exit_code == 2
    assert "accepted: a day in the years 1950 to 2149. Check the year." in said.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.at_length(keep=("name3", "-.-"))
@pytest.mark.parametrize(
    "name", ["_farm.xlsx", "-.-.xlsx", "Станция 駅.xlsx", "x" * 220 + ".xlsx", "a.b c's (2).xlsx"]
)
def test_a_book_of_any_honest_name_is_archived_whole(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(workbook(clean_sheets()))
    assert siltbook("archive", tmp_path / name, "--to", tmp_path / "to").exit_code == 0
    said = siltbook("verify", tmp_path / "to")
    assert said.exit_code == 0, said.output
    assert "note:" not in said.output


def test_every_sample_is_archived_whole(tmp_path: Path) -> None:
    books = sorted(
        p for p in SAMPLES.rglob("*.xlsx") if p.parent.name != "as-kept"
    )  # what adopt takes is no book yet
    assert len(books) > 5
    for number, book in enumerate(few(some(books, 4), 1)):
        assert siltbook("archive", book, "--to", tmp_path / str(number)).exit_code == 0
        said = siltbook("verify", tmp_path / str(number))
        assert said.exit_code == 0, said.output
        assert "note:" not in said.output


@needs_office
def test_a_book_saved_by_another_program_is_archived_like_any(
    home: Path, tmp_path: Path, office: Shared
) -> None:
    again = tmp_path / "east-2026.xlsx"
    again.write_bytes(*office.resaved((PORTFOLIO / again.name).read_bytes()))
    assert siltbook("archive", again, "--to", tmp_path / "to").exit_code == 0
    assert siltbook("verify", tmp_path / "to").exit_code == 0
    # And an archive whose own workbook was opened and saved is no longer what it was.
    shutil.copy(again, home / "east-2026" / "east-2026.xlsx")
    said = siltbook("verify", home / "east-2026")
    assert said.exit_code == 1
    assert "  east-2026.xlsx: changed (its SHA-256 is not the one in the manifest)." in said.stdout


def test_a_folder_that_lost_its_manifest_or_has_archives_below_is_not_passed_over(
    tmp_path: Path,
) -> None:
    whole, lost, deeper, other = (tmp_path / n for n in ("2024", "2025", "older", "pictures"))
    for folder in (whole, lost, deeper / "2023", other):
        folder.mkdir(parents=True)
    for folder in (whole, deeper / "2023"):
        (folder / manifest.NAME).write_bytes(manifest.MARK)
    for name in ("datapackage.json", "verdicts.json"):
        (lost / name).touch()
    (other / "datapackage.json").touch()  # any data may have that
    found = locate.find_archives(tmp_path)
    assert found.archives == (whole,)
    assert found.refused == (
        (lost, f"{lost}: holds datapackage.json and verdicts.json of an archive, and no"
         " manifest.json. It is not as it was archived: fetch a copy that is whole."),
        (deeper, f"{deeper}: holds archives in folders of its own, which were not looked at. Name"
         " this folder itself."),
    )  # fmt: skip


def test_an_empty_seal_compares_nothing_and_is_refused(tmp_path: Path) -> None:
    said = siltbook("verify", tmp_path, "--seal", "")
    assert said.exit_code == 2
    assert "--seal is empty: give the seal that was noted, or leave the option out." in said.stderr
