"""Other systems, as far as they can be simulated here: none of them is at hand."""

from __future__ import annotations

import ast
import errno
import functools
import io
import json
import os
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from siltbook.batch import files, systems
from siltbook.batch.archive import locate
from siltbook.batch.archive.inventory import walk
from siltbook.batch.commands.adopt import _command
from siltbook.batch.commands.shared import is_of_output
from siltbook.batch.errors import BookError
from siltbook.batch.files import DRAFT_STALE, find_books, open_file, sweep, write_whole
from tests.amount import few, some
from tests.faults.support import ROOT, small_book, start

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="takes the part of Windows")


# --- a console of few characters


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("→漢 farm")
    (folder / "Überlauf → 漢.xlsx").write_bytes(small_book(folder.parent))
    (folder / "broken 漢.xlsx").write_bytes(b"PK broken")
    return folder


COMMANDS = {
    "run": ["--out", "out"],
    "check": [],
    "review": ["--month", "2026-05", "--no-pdf", "--out", "pack.xlsx"],
    "audit": ["--out", "audited"],
    "archive": ["--to", "kept"],
}


# Every command in one process: what they import is imported once.
IN_TURN = """
import json, sys
from siltbook.__main__ import main
for number, words in enumerate(json.loads(sys.argv[1])):
    sys.argv[1:] = words
    try:
        main()
    except SystemExit as end:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
            stream.buffer.write(b"<ended with %d>" % end.code)
            stream.flush()
"""


@pytest.mark.at_length(keep="strict")
@pytest.mark.parametrize("errors", ["strict", "replace"])
def test_a_console_of_western_letters_gets_what_it_can_show(
    errors: str, farm: Path, tmp_path: Path
) -> None:
    """As Windows pipes it: cp1252, in which there is neither an arrow nor a sign of Chinese."""
    runs = [
        [command, str(farm), *words, *more]
        for command, words in COMMANDS.items()
        for more in ([], ["--json"])
        if not (more and command == "archive")
    ]
    runs = few(runs, 5)
    if errors == "replace":  # what cannot be shown is handled at one place for all commands
        runs = some(runs, 3)
    done = subprocess.run(
        [sys.executable, "-c", IN_TURN, json.dumps(runs)],
        cwd=tmp_path, capture_output=True, check=False, timeout=900,
        env={**os.environ, "PYTHONIOENCODING": f"cp1252:{errors}", "PYTHONUTF8": "0"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    *outs, _ = done.stdout.decode("cp1252").split("<ended with 3>")
    *errs, _ = done.stderr.decode("cp1252").split("<ended with 3>")
    for words, out, told in zip(runs, outs, errs, strict=True):
        assert "Traceback" not in out + told
        as_json = "--json" in words
        assert "is damaged or not complete" in (out if as_json else told), words
        if as_json:
            assert "\\u6f22" in out
            assert "漢" in json.dumps(json.loads(out)["failed"], ensure_ascii=False)


def test_no_file_is_read_or_written_in_the_systems_own_encoding() -> None:
    found = []
    rooms = (ROOT / room for room in ("batch", "checks", "templates"))
    for path in (path for room in rooms for path in room.rglob("*.py")):
        tree = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        calls = (node for node in tree if isinstance(node, ast.Call) and _is_text(node))
        found += [f"{path.name}: {ast.unparse(call)}" for call in calls]
    assert found == ["child.py: open('/proc/self/status')"]  # of one system only, and ASCII


def _is_text(call: ast.Call) -> bool:
    """Whether a call opens a file as text without saying in which encoding."""
    name = ast.unparse(call.func).rpartition(".")[2]
    whole = ast.unparse(call.func)
    if name not in ("read_text", "write_text") and whole not in ("open", "os.fdopen", "io.open"):
        return False
    binary = any(isinstance(a, ast.Constant) and "b" in str(a.value)[:3] for a in call.args[1:])
    return not binary and not any(k.arg == "encoding" for k in call.keywords)


# --- output that nobody reads


class Gone(io.FileIO):
    """Standard output that nobody reads, as long as it is a pipe."""

    error = 0

    def write(self, data: Any) -> int:
        if stat.S_ISFIFO(os.fstat(1).st_mode):
            raise OSError(self.error, "Invalid argument")
        return int(super().write(data) or 0)


def nobody_reads(system: str, number: str) -> None:
    """For the rest of this process, which takes itself for one on that system."""
    from siltbook.batch import cli

    cli.reader_gone = lambda error: systems.reader_gone(error, system)
    Gone.error = int(number)
    sys.stdout = io.TextIOWrapper(io.BufferedWriter(Gone(1, "w", closefd=False)), encoding="utf-8")


def told_with_nobody_reading(system: str, number: int, *words: str) -> tuple[int | None, str]:
    before = (f"{__name__}:nobody_reads", system, str(number))
    ended = start(*words, before=before, really="--help" in words)
    said = ended.communicate(timeout=600)[1]
    return ended.returncode, said


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("words", [["--help"], ["check"]])
def test_a_closed_pipe_on_windows_ends_in_silence(words: list[str], farm: Path) -> None:
    """Windows says 'invalid argument' where others say 'broken pipe'."""
    if words == ["check"]:
        words = ["check", str(farm / "Überlauf → 漢.xlsx")]
    assert told_with_nobody_reading("win32", errno.EINVAL, *words) == (1, "")
    code, said = told_with_nobody_reading("linux", errno.EINVAL, *words)
    assert (code, said.count("\n")) == (3, 1)
    assert said.startswith("siltbook: standard output: Invalid argument.")


def test_only_what_was_printed_is_called_standard_output() -> None:
    import click

    class Full(io.StringIO):
        def write(self, _: str) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OSError, match="No space") as printed:
        click.echo("x", file=Full())
    with pytest.raises(OSError, match="No space") as written:
        Full().write("x")
    assert is_of_output(printed.value)
    assert not is_of_output(written.value)


def test_an_error_of_the_system_at_one_book_stops_no_other(
    farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A temporary file that cannot be written has no name in its error: it is no output."""
    from click.testing import CliRunner

    from siltbook.batch.cli import main

    one, other = tmp_path / "one.xlsx", tmp_path / "other.xlsx"
    for path in (one, other):
        path.write_bytes(small_book(tmp_path))
    monkeypatch.setattr("siltbook.batch.job.assess", _failing_once())
    done = CliRunner().invoke(main, ["check", str(one), str(other)])
    assert done.exit_code == 3
    assert "other.xlsx: " in done.stdout
    assert "standard output" not in done.stderr
    assert done.stderr.startswith(f"siltbook: {one}: this is a fault of Siltbook")


def _failing_once() -> object:
    from siltbook.batch import job

    real, calls = job.assess, []

    def assess(*arguments: object, **named: object) -> object:
        calls.append(1)
        if len(calls) == 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments, **named)  # type: ignore[arg-type]

    return assess


# --- files as Windows has them


@pytest.fixture
def read_only_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file marked as read-only cannot be removed, as on Windows."""
    unlink = os.unlink

    def guarded(path: str | Path, *, dir_fd: int | None = None) -> None:
        if not os.stat(path, dir_fd=dir_fd, follow_symlinks=False).st_mode & stat.S_IWUSR:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        unlink(path, dir_fd=dir_fd)

    monkeypatch.setattr(os, "unlink", guarded)


@pytest.mark.usefixtures("read_only_stays")
def test_drafts_that_are_read_only_are_swept(tmp_path: Path) -> None:
    old = time.time() - 2 * DRAFT_STALE
    file, folder = tmp_path / ".siltbook-a.tmp", tmp_path / ".siltbook-b.tmp"
    folder.mkdir()
    for path in (file, folder / "kept.csv"):
        path.write_bytes(b"x")
        path.chmod(0o444)
    for path in (file, folder):
        os.utime(path, (old, old))
    sweep(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("read_only_stays")
def test_a_result_that_is_read_only_is_said_and_leaves_no_draft(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "farm.reviewed.xlsx"
    target.write_bytes(b"old")
    target.chmod(0o444)

    def replace(_: object, to: str | Path) -> None:
        raise PermissionError(errno.EACCES, "Access is denied", str(to))

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(BookError, match=r"cannot be written \(Access is denied\)\. Close it"):
        write_whole(target, b"new")
    assert [p.name for p in tmp_path.iterdir()] == [target.name]
    assert target.read_bytes() == b"old"


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """What files.py asks about long paths, it asks as on Windows."""
    on_windows = functools.partial(systems.too_long, system="win32")
    for module in (files, systems):
        monkeypatch.setattr(module, "too_long", on_windows)


@pytest.mark.usefixtures("windows")
def test_a_path_beyond_what_windows_takes_is_said_and_not_called_misspelt(tmp_path: Path) -> None:
    deep = tmp_path / ("d" * 120) / ("e" * 120)
    for look in (open_file, lambda path: find_books((path,))):
        with pytest.raises(
            BookError, match=r"its path has \d{3} characters, and Windows takes 259"
        ):
            look(deep / "farm.xlsx")
        with pytest.raises(BookError, match="Check the spelling"):
            look(tmp_path / "farm.xlsx")
    room = systems.MOST_PATH - len(str(tmp_path)) - 1
    with pytest.raises(BookError, match="Move it to a folder nearer to the drive"):
        write_whole(tmp_path / "missing" / ("x" * room), b"new")


def test_long_paths_are_no_trouble_elsewhere_and_not_where_they_are_marked_as_long() -> None:
    long = Path("/" + "x" * 300)
    assert systems.too_long(long, "win32").startswith(f"{long}: its path has 301 characters")
    assert systems.too_long(long, "linux") == systems.too_long(long, "darwin") == ""


class Entry:
    """What Windows' folder listing says of a junction: a folder that leads elsewhere."""

    name = "data"

    def is_symlink(self) -> bool:
        return False

    def is_dir(self) -> bool:
        return True

    def stat(self, *, follow_symlinks: bool = True) -> SimpleNamespace:
        assert not follow_symlinks
        return SimpleNamespace(st_mode=stat.S_IFDIR | 0o777, st_reparse_tag=0xA0000003, st_size=0)


def test_junctions_are_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "manifest.json").write_bytes(b"{}")

    class Listing:
        def __init__(self, _: object) -> None:
            pass

        def __enter__(self) -> Iterator[Entry]:
            return iter([Entry()])

        def __exit__(self, *_: object) -> None:
            pass

    monkeypatch.setattr(os, "scandir", Listing)
    assert walk(tmp_path).odd == {"data": "a junction, which is not followed"}
    found = locate.find_archives(tmp_path)
    assert found.archives == ()
    ((_, said),) = found.refused
    assert "is a link or a junction, which is not followed from here" in said


def test_commands_that_are_proposed_can_be_typed_there() -> None:
    words = ["siltbook", "adopt", "own farm.xlsx"]
    assert systems.as_typed(words, "win32") == 'siltbook adopt "own farm.xlsx"'
    assert systems.as_typed(words, "linux") == "siltbook adopt 'own farm.xlsx'"
    assert _command([], Path("m.xlsx"), None) == "siltbook adopt --mapping m.xlsx"
