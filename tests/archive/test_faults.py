"""Whatever happens while an archive is put away: the old state or a whole new archive."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from siltbook.batch import files
from siltbook.batch.archive.folder import Season, put
from siltbook.batch.archive.verify import verify
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from tests.amount import few, whole
from tests.archive.conftest import PORTFOLIO
from tests.archive.forging import lack_memory
from tests.faults.support import start
from tests.warm import process

EAST = PORTFOLIO / "east-2026.xlsx"


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def refused(result: Result, sentence: str, code: int = 3) -> None:
    assert result.exit_code == code
    (line,) = result.stderr.splitlines()
    assert line.startswith("siltbook: ")
    assert sentence in line, line


def content(folder: Path) -> dict[str, bytes]:
    found = [p for p in folder.rglob("*") if p.is_file()]
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in found}


def step() -> int:
    """Each call where all tests are run, else every sixth, the last included."""
    return 1 if whole() else 6


def faults(kept: Path, home: Path, kind: str) -> list[dict[str, Any]]:
    run = process(
        "tests.archive.putting:main", str(kept / "east-2026"), str(home), kind, str(step()),
        text=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    said = run.communicate(timeout=600)[0]
    assert run.returncode == 0
    return [json.loads(line) for line in said.splitlines()]


@pytest.mark.skipif(sys.platform == "win32", reason="children are forked")
def test_a_kill_at_any_call_leaves_nothing_to_see_or_a_whole_archive(
    kept: Path, east: Season, tmp_path: Path
) -> None:
    ends = faults(kept, tmp_path, "kill")
    placed, drafts = [], 0
    for end in ends:
        at, home = end["at"], tmp_path / str(end["at"])
        there = home.iterdir() if home.exists() else ()
        seen = [p.name for p in there if not p.name.startswith(".")]
        assert seen in ([], ["kept"]), at
        placed.append(bool(seen))
        assert not seen or content(home / "kept") == east.files, at
        assert os.WIFSIGNALED(end["status"]) == (end is not ends[-1])
        for draft in home.glob(".siltbook-*.tmp"):
            os.utime(draft, (time.time() - files.DRAFT_STALE - 1,) * 2)
            drafts += 1
        if not seen:
            put(east.files, home / "kept")
        files.sweep(home)
        # As if nothing had happened.
        assert [p.name for p in home.iterdir()] == ["kept"], at
        assert content(home / "kept") == east.files
    assert os.WTERMSIG(ends[0]["status"]) == signal.SIGKILL
    assert placed == sorted(placed)
    assert placed[-2:] == [True, True]
    assert drafts * step() > len(east.files) * 2


@pytest.mark.skipif(sys.platform == "win32", reason="children are forked")
def test_a_full_disk_at_any_call_gives_one_sentence_and_leaves_nothing(
    kept: Path, east: Season, tmp_path: Path
) -> None:
    refusals = 0
    for end in faults(kept, tmp_path, "full"):
        at, home = end["at"], tmp_path / str(end["at"])
        assert end["status"] == 0
        if end["said"]:
            refusals += 1
            assert end["said"] == (
                f"{home / 'kept'}: cannot be written (No space left on device). Check the space "
                "and the permissions."
            )
            assert not home.exists(), at  # nor the folder that was made for it
        else:
            # The call was one that may fail: settling a folder.
            assert content(home / "kept") == east.files
            assert [p.name for p in home.iterdir()] == ["kept"]
    assert refusals * step() > len(east.files) * 3


def test_a_disk_that_is_full_keeps_what_was_there(kept: Path, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    options = f"size={EAST.stat().st_size // 4096 * 4096}"
    mount = ["mount", "-t", "tmpfs", "-o", options, "siltbook-test", str(disk)]
    if sys.platform != "linux" or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("a small file system can only be mounted by root on Linux")
    try:
        (disk / "mine.txt").write_text("mine")
        said = siltbook("archive", EAST, "--to", disk / "archive")
        refused(said, "cannot be written (No space left on device). Check the space and the")
        assert content(disk) == {"mine.txt": b"mine"}
        assert [p.name for p in disk.iterdir()] == ["mine.txt"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_only_folders_that_nobody_can_still_be_filling_are_swept(
    east: Season, tmp_path: Path
) -> None:
    stale, fresh, link = (tmp_path / f".siltbook-{n}.tmp" for n in "abc")
    theirs = tmp_path / "theirs"
    for folder in (stale, fresh, theirs):
        (folder / "data").mkdir(parents=True)
        (folder / "data" / "x").touch()
    link.symlink_to(theirs)
    long_ago = (time.time() - files.DRAFT_STALE - 1,) * 2
    os.utime(stale, long_ago)
    os.utime(link, long_ago, follow_symlinks=False)
    put(east.files, tmp_path / "kept")
    assert {p.name for p in tmp_path.iterdir()} == {fresh.name, "theirs", "kept"}
    assert (theirs / "data" / "x").exists()


def test_an_archive_that_another_process_put_there_meanwhile_stays(
    east: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rename = os.rename
    theirs = {"theirs.txt": b"theirs"}

    def second(source: Path, target: Path) -> None:
        monkeypatch.setattr(os, "rename", rename)
        put(theirs, target)
        rename(source, target)

    monkeypatch.setattr(os, "rename", second)
    with pytest.raises(BookError, match="there is something of this name already"):
        put(east.files, tmp_path / "to" / "kept")
    assert content(tmp_path) == {"to/kept/theirs.txt": b"theirs"}
    assert [p.name for p in (tmp_path / "to").iterdir()] == ["kept"]


@pytest.mark.at_length  # the one above: what another process put there meanwhile stays
def test_two_processes_into_one_new_folder(tmp_path: Path) -> None:
    west = PORTFOLIO / "west-2025.xlsx"
    runs = [start("archive", book, "--to", tmp_path / "to") for book in (EAST, EAST, west)]
    said = [run.communicate(timeout=600)[1] for run in runs]
    codes = [run.returncode for run in runs]
    assert sorted(codes[:2]) == [0, 3]
    assert codes[2] == 0
    assert "An archive is never overwritten" in "".join(said)
    assert "Traceback" not in "".join(said)
    assert {p.name for p in (tmp_path / "to").iterdir()} == {"east-2026", "west-2025"}
    for name in ("east-2026", "west-2025"):
        assert verify(tmp_path / "to" / name).troubles == ()


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are kept another way there")
def test_an_archive_has_the_permissions_of_any_new_folder(east: Season, tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        put(east.files, tmp_path / "kept")
    finally:
        os.umask(before)
    kept = tmp_path / "kept"
    assert {p.stat().st_mode & 0o777 for p in (kept, kept / "data")} == {0o750}
    assert {p.stat().st_mode & 0o777 for p in kept.rglob("*") if p.is_file()} == {0o640}


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def guarded(*_: Any) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "mkdir", guarded)
    said = siltbook("archive", EAST, "--to", tmp_path / "to")
    refused(said, "cannot be written (Permission denied). Check the space and the permissions.")
    assert list(tmp_path.iterdir()) == []


def test_memory_that_does_not_suffice_for_one_book(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from siltbook.batch.archive import folder

    lack_memory(monkeypatch, folder, "east-2026.xlsx")
    said = siltbook("archive", EAST, PORTFOLIO / "west-2025.xlsx", "--to", tmp_path)
    refused(said, "east-2026.xlsx: too large for this machine's memory.")
    assert [p.name for p in tmp_path.iterdir()] == ["west-2025"]


def test_names_that_differ_in_capitals_only(tmp_path: Path) -> None:
    for name in ("Farm.xlsx", "FARM.xlsx"):
        shutil.copy(EAST, tmp_path / name)
    to = tmp_path / "to"
    said = siltbook("archive", tmp_path, "--to", to)
    if len(list(tmp_path.glob("*.xlsx"))) == 2:  # where the system tells them apart
        refused(said, f"{to / 'Farm'}: differs from {to / 'FARM'} in capitals only, and many")
    assert len(list(to.iterdir())) == 1


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("con.xlsx", "a name that Windows keeps for itself"),
        ("..xlsx", "an end in a dot or a space"),
        ("a .xlsx", "an end in a dot or a space"),
        ("a?.xlsx", "holds a character that a file's name cannot have everywhere"),
        ("x" * 238 + ".xlsx", "is too long a name: rename the book and archive it again."),
    ],
)
def test_a_book_whose_folder_could_not_stand_everywhere(
    name: str, sentence: str, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    shutil.copy(EAST, tmp_path / "in" / name)
    refused(siltbook("archive", tmp_path / "in" / name, "--to", tmp_path / "to"), sentence)
    assert [p.name for p in tmp_path.iterdir()] == ["in"]


def test_a_folder_named_like_a_book(tmp_path: Path) -> None:
    (tmp_path / "a.xlsx").mkdir()
    refused(siltbook("archive", tmp_path / "a.xlsx", "--to", tmp_path / "to"), "no workbook (.xlsx")
    shutil.copy(EAST, tmp_path / "a.xlsx" / "b.xlsx")
    assert siltbook("archive", tmp_path / "a.xlsx", "--to", tmp_path / "to").exit_code == 0
    assert [p.name for p in (tmp_path / "to").iterdir()] == ["b"]


def test_nothing_is_put_into_an_archive(archive: Path) -> None:
    before = content(archive)
    west = PORTFOLIO / "west-2025.xlsx"
    inside = (archive, archive / "data", archive / "new" / "one")
    for to in few(inside, 2):
        sentence = f"west-2025: lies inside the archive {archive}, and nothing may be added to that"
        refused(siltbook("archive", west, "--to", to), sentence)
    for target in (archive / "next.xlsx", archive / "east-2026.xlsx"):
        sentence = f"{target}: lies inside the archive {archive}, and nothing may be changed in"
        refused(siltbook("season", archive, "--template", target, "--force"), sentence)
    link = archive.parent / "link"
    link.symlink_to(archive)
    refused(siltbook("archive", west, "--to", link), "lies inside the archive")
    assert content(archive) == before


def test_a_book_too_large_for_an_archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("siltbook.batch.archive.folder.MOST_BOOK", 2**10)
    sentence = "east-2026.xlsx: 0 MiB; an archive takes books of up to 0 MiB. Take pictures and"
    refused(siltbook("archive", EAST, "--to", tmp_path / "to"), sentence)
    assert list(tmp_path.iterdir()) == []
