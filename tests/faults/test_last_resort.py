"""One book never stops the others: faults of the program, misspelt paths, marks and locks."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook.batch import files
from siltbook.batch.cli import main
from siltbook.batch.errors import naming
from siltbook.batch.reading.book import ReadResult, read_book
from tests.amount import few
from tests.faults.support import ROOT, small_book

OURS = "this is a fault of Siltbook, not of your book; the others were done."


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def books(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two books, at the first of which the program itself fails."""
    folder = tmp_path / "books"
    folder.mkdir()
    for name in ("bad", "good"):
        (folder / f"{name}.xlsx").write_bytes(small_book(tmp_path))

    def faulty(data: bytes, path: str) -> ReadResult:
        if "bad" in path:
            raise AttributeError("what nobody expected")
        return read_book(data, path)

    monkeypatch.setattr("siltbook.batch.reading.book.read_book", faulty)
    monkeypatch.chdir(tmp_path)
    return folder


COMMANDS = {
    "run": ["--out", "out"],
    "check": [],
    "audit": ["--out", "out"],
    "review": ["--month", "2026-05", "--no-pdf", "--out", "out.xlsx"],
    "archive": ["--to", "out"],
}


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_fault_of_the_program_is_one_sentence_and_the_other_book_is_done(
    command: str, books: Path, tmp_path: Path
) -> None:
    done = siltbook(command, books, *COMMANDS[command])
    assert done.exit_code == 3, done.output
    told = [line for line in done.stderr.splitlines() if line.startswith("siltbook:")]
    assert told == [
        f"siltbook: {books / 'bad.xlsx'}: {OURS} Run this book alone with --debug for a report "
        "that helps to mend it."
    ]
    assert "good" in done.stdout or "Invented" in done.stdout or (tmp_path / "out.xlsx").exists()
    assert not list(tmp_path.glob("siltbook-fault*"))


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_report_is_written_only_where_it_was_asked_for(
    command: str, books: Path, tmp_path: Path
) -> None:
    done = siltbook(command, books, *COMMANDS[command], "--debug")
    assert f"{OURS} The report is in siltbook-fault-1.txt." in done.stderr
    report = (tmp_path / "siltbook-fault-1.txt").read_text()
    assert report.startswith("Siltbook ")
    assert "AttributeError: what nobody expected" in report


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_misspelt_path_among_several_stops_nothing(
    command: str, books: Path, tmp_path: Path
) -> None:
    wrong = books / "goood.xlsx"
    done = siltbook(command, wrong, books / "good.xlsx", *COMMANDS[command])
    assert done.exit_code == 3
    assert f"siltbook: {wrong}: no such file or folder. Check the spelling" in done.stderr
    assert done.stdout
    assert OURS not in done.stderr


def test_agree_says_a_fault_in_one_sentence_too(
    books: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise AttributeError("what nobody expected")

    monkeypatch.setattr("siltbook.batch.review.agree.enter_agreed", fail)
    done = siltbook("agree", books / "bad.xlsx", books / "good.xlsx")
    assert done.exit_code == 3
    assert "this is a fault of Siltbook" in done.stderr


def test_refusals_name_the_path_as_it_was_given(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "farm.xlsx").write_bytes(b"PK broken")
    for command in ("check", "run", "audit"):
        done = siltbook(command, tmp_path / "a", tmp_path / "b")
        for folder in ("a", "b"):
            assert f"siltbook: {tmp_path / folder / 'farm.xlsx'} is damaged" in done.stderr
    done = siltbook("archive", tmp_path / "a", tmp_path / "b", "--to", tmp_path / "kept")
    assert f"siltbook: {tmp_path / 'b' / 'farm.xlsx'} is damaged" in done.stderr


@pytest.mark.parametrize(
    ("said", "named"),
    [
        ("farm.xlsx is damaged", "in/farm.xlsx is damaged"),
        ("farm.xlsx: no", "in/farm.xlsx: no"),
        ("in/farm.xlsx: no", "in/farm.xlsx: no"),
        ("farm.xlsx2 is no book", "in/farm.xlsx: farm.xlsx2 is no book"),
        ("The part 'x' is damaged", "in/farm.xlsx: The part 'x' is damaged"),
    ],
)
def test_a_sentence_names_its_book_once(said: str, named: str) -> None:
    assert naming(Path("in/farm.xlsx"), said) == named


def test_json_holds_no_character_that_moves_the_cursor_or_turns_the_text(tmp_path: Path) -> None:
    name = "farm\u202egnp\u2066\u0085\u2028é.xlsx"
    (tmp_path / name).write_bytes(small_book(tmp_path))
    done = siltbook("check", tmp_path / name, "--json")
    assert json.loads(done.stdout)["books"][0]["path"] == str(tmp_path / name)
    assert "é.xlsx" in done.stdout
    assert all(c == "\n" or c.isprintable() for c in done.stdout)


def test_a_read_only_book_is_refused_and_not_replaced(tmp_path: Path) -> None:
    book = tmp_path / "farm.xlsx"
    book.write_bytes(small_book(tmp_path))
    before = book.read_bytes()
    book.chmod(0o444)
    done = siltbook("run", book, "--in-place")
    assert done.exit_code == 3
    assert f"{book}: is marked as read-only, so it was not replaced. Take the mark" in done.stderr
    assert book.read_bytes() == before
    assert not list(tmp_path.glob("*.previous*"))


def test_a_lock_is_waited_for_briefly_and_then_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fcntl = pytest.importorskip("fcntl", reason="locks of this kind are not on this system")
    book = tmp_path / "farm.xlsx"
    book.write_bytes(small_book(tmp_path))
    monkeypatch.setattr(files, "LOCK_PATIENCE", 0.2)
    with book.open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        done = siltbook("run", book, "--in-place")
        assert done.exit_code == 3
        assert f"{book}: another program holds it locked. Close it there" in done.stderr
        assert not list(tmp_path.glob("*.previous*"))
    assert siltbook("run", book, "--in-place").exit_code == 0


@pytest.mark.skipif(os.name != "posix", reason="sends a signal")
def test_ctrl_c_while_it_starts_prints_no_traceback(tmp_path: Path) -> None:
    book = tmp_path / "farm.xlsx"
    book.write_bytes(small_book(tmp_path))
    script = tmp_path / "start_it.py"
    # Python's own start is over where the script says so: before that nothing of ours can answer.
    script.write_text(
        "import sys\nfrom siltbook.__main__ import main, stop\nimport signal\n"
        "signal.signal(signal.SIGINT, stop)\nprint('here', flush=True)\nmain()\n"
    )
    for wait in few((0.0, 0.03, 0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5), 4):
        process = subprocess.Popen(
            [sys.executable, script, "run", book], cwd=ROOT, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == "here\n"
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=600)
        assert said in ("", "siltbook: stopped by Ctrl-C; what was written is whole.\n"), said
        assert process.returncode in (0, 130)
