"""`siltbook watch` as a process of its own: saves of every kind, broken books, and its end."""

from __future__ import annotations

import errno
import importlib
import os
import queue
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch import watching
from siltbook.batch.cli import main
from siltbook.batch.commands.watch import summary
from tests.amount import whole
from tests.faults.support import reviewed, small_book, start
from tests.reading.test_other_formats import other
from tests.typed.farm import edit, make
from tests.warm import process

# The command hides its module's name.
watch = importlib.import_module("siltbook.batch.commands.watch")

STAMP = (1, 2, 3)


def settle_within(seconds: str) -> None:
    """In the process that watches, as in this one."""
    watching.SETTLED = float(seconds)


@pytest.fixture
def books_are_saved_sooner(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where not all tests are run; far longer still than the pauses within a save."""
    if not whole():
        monkeypatch.setattr(watching, "SETTLED", 0.5)


class Watch:
    """A running watch, its lines as they come."""

    def __init__(self, folder: Path, really: bool = False) -> None:
        before = (f"{__name__}:settle_within", str(watching.SETTLED))
        self.process = start("watch", folder, really=really, before=before, start_new_session=True)
        self.lines: queue.Queue[str] = queue.Queue()
        self.reader = threading.Thread(target=self._read)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def line(self) -> str:
        """The next line; fails after ten minutes of silence."""
        return self.lines.get(timeout=600)

    def quiet(self, seconds: float) -> bool:
        time.sleep(seconds)
        return self.lines.empty()

    def end(self) -> int:
        """Ctrl-C, and the exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        code = self.process.wait(timeout=300)
        self.reader.join()
        for stream in (self.process.stdout, self.process.stderr):
            assert stream is not None
            stream.close()
        with pytest.raises(ProcessLookupError):  # no child of it is left over
            os.killpg(self.process.pid, 0)
        return code


@pytest.fixture
def old(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return small_book(tmp_path_factory.getbasetemp())


@pytest.fixture
def watched(tmp_path: Path, old: bytes, books_are_saved_sooner: None) -> Iterator[Watch]:
    (tmp_path / "done.xlsx").write_bytes(old)
    (tmp_path / "done.reviewed.xlsx").write_bytes(reviewed(old, "done.xlsx"))
    made = Watch(tmp_path, really=True)
    assert made.line() == f"Watching {tmp_path}; Ctrl-C ends it."
    yield made
    if made.process.poll() is None:
        made.process.kill()
        made.end()


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent as a signal")
def test_every_kind_of_save_is_judged_once_and_a_broken_book_stops_nothing(
    watched: Watch, tmp_path: Path, old: bytes
) -> None:
    north = tmp_path / "north.xlsx"
    # Written piece by piece with a lock file beside it, as a slow program does.
    (tmp_path / ".~lock.north.xlsx#").write_text("somebody")
    (tmp_path / "~$north.xlsx").write_text("somebody")
    with north.open("wb") as file:
        for i in range(4):
            file.write(old[i * len(old) // 4 : (i + 1) * len(old) // 4])
            file.flush()
            time.sleep(watching.SETTLED / 4)
    wanted = r"\d\d:\d\d north\.xlsx: [a-z0-9 ,]+ -> north\.reviewed\.xlsx"
    assert re.fullmatch(wanted, watched.line())
    result = tmp_path / "north.reviewed.xlsx"
    assert result.read_bytes() == reviewed(old, "north.xlsx")
    # Half written and left so; then completed.
    north.write_bytes(old[: len(old) // 2])
    assert "north.xlsx is damaged or not complete" in watched.line()
    assert result.read_bytes() == reviewed(old, "north.xlsx")
    # Saved beside it and renamed over it, as careful programs do.
    result.unlink()
    temporary = tmp_path / "north.tmp"
    temporary.write_bytes(old)
    os.replace(temporary, north)
    assert re.fullmatch(wanted, watched.line())
    assert result.read_bytes() == reviewed(old, "north.xlsx")
    # Our own results and drafts, and a book that stays as it is, wake nobody.
    assert watched.quiet(3 * watching.SETTLED)
    assert (tmp_path / "done.reviewed.xlsx").read_bytes() == reviewed(old, "done.xlsx")
    assert watched.end() == 0
    assert north.read_bytes() == old
    assert not list(tmp_path.glob(".siltbook-*"))


@pytest.mark.at_length  # what each rests on, below
@pytest.mark.usefixtures("books_are_saved_sooner")
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent as a signal")
def test_formats_side_by_side_ten_saves_foreign_files_and_a_folder_that_goes(
    tmp_path: Path, old: bytes
) -> None:
    folder = tmp_path / "books"
    folder.mkdir()
    for kind in ("ods", "xls"):
        (folder / f"a.{kind}").write_bytes(other(kind))
    (folder / "a.xlsx").write_bytes(old)
    # What other programs and we ourselves leave there is no book.
    for name in ("~$a.xlsx", ".~lock.a.xlsx#", ".a.xlsx", "a.xlsx.tmp", "lu8xk.tmp",
                 "a.audited.xlsx", "a.previous.xlsx", "a.previous-2.xlsx",
                 "a.review-2026-05.xlsx"):  # fmt: skip
        (folder / name).write_bytes(old)
    watched = Watch(folder)
    try:
        assert watched.line() == f"Watching {folder}; Ctrl-C ends it."
        lines = [watched.line()]
        while sum(" -> " in line for line in lines) < 3:
            lines.append(watched.line())
        said = sorted(line.rpartition(" -> ")[2] for line in lines if " -> " in line)
        cautioned = [line for line in lines if line.startswith("! ")]
        assert len(cautioned) == len(set(cautioned))  # each once, however many books call for it
        assert said == ["a.ods.reviewed.xlsx", "a.reviewed.xlsx", "a.xls.reviewed.xlsx"]
        assert {p.name for p in folder.glob("*.reviewed.*")} == set(said)
        assert (folder / "a.reviewed.xlsx").read_bytes() == reviewed(old, "a.xlsx")
        # Ten saves at once: the last one counts, and one line says so.
        for number in range(10):
            (folder / "a.xlsx").write_bytes(old[: -20 - number] if number < 9 else old)
            time.sleep(0.02)
        assert watched.line().endswith(" -> a.reviewed.xlsx")
        assert watched.quiet(2 * watching.SETTLED)
        (folder / "gone.xlsx").write_bytes(old)
        (folder / "gone.xlsx").unlink()
        assert watched.quiet(watching.SETTLED)
        folder.rename(tmp_path / "elsewhere")
        code = watched.process.wait(timeout=300)
        assert watched.process.stderr is not None
        assert (code, watched.process.stderr.read()) == (
            3, f"siltbook: {folder}: cannot be watched (it is not there, or was renamed or "
            "deleted). Check its path; name a folder.\n",
        )  # fmt: skip
    finally:
        watched.process.kill()
        watched.end()


def in_the_background() -> None:
    """As a shell starts a command with & that is no terminal's."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@pytest.mark.at_length(keep="background")
@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent")
@pytest.mark.parametrize("ignores", [False, True], ids=["in front", "in the background"])
def test_kill_ends_it_as_ctrl_c_does_which_is_ignored_in_the_background(
    tmp_path: Path, old: bytes, ignores: bool
) -> None:
    before = (f"{__name__}:in_the_background",) if ignores else ()
    watched = process(
        "siltbook.__main__:main", "watch", str(tmp_path), before=before, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert watched.stdout is not None
    how = f"'kill {watched.pid}'" if ignores else "Ctrl-C"
    assert watched.stdout.readline() == f"Watching {tmp_path}; {how} ends it.\n"
    if ignores:
        watched.send_signal(signal.SIGINT)
    (tmp_path / "north.xlsx").write_bytes(old)
    assert "north.reviewed.xlsx" in watched.stdout.readline()
    watched.terminate()
    assert watched.communicate(timeout=300)[1] == ""
    assert watched.returncode == 0
    assert not list(tmp_path.glob(".siltbook-*"))


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent")
def test_kill_ends_a_run_without_a_word_and_leaves_no_draft(tmp_path: Path, old: bytes) -> None:
    (tmp_path / "north.xlsx").write_bytes(old)
    before = ("tests.faults.pausing:pause_after", str(tmp_path), "9", "siltbook.batch.many:judge")
    run = process(
        "siltbook.__main__:main", "run", str(tmp_path / "north.xlsx"), before=before, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    while not (tmp_path / str(run.pid)).exists():
        time.sleep(0.02)
    run.terminate()
    assert run.communicate(timeout=300) == ("", "")
    assert run.returncode == 128 + signal.SIGTERM
    assert {p.name for p in tmp_path.iterdir()} == {"north.xlsx", str(run.pid)}


def judged(book: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What is said of a book that the watch found ready, with the stamp that it had then."""
    stamp = watching.stamp_now(book) or STAMP
    watch._judge(book, stamp, book.with_name("result.xlsx"), None, set())
    return capsys.readouterr().out


def test_a_book_that_goes_or_changes_while_it_is_judged(
    tmp_path: Path, old: bytes, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "a.xlsx"
    assert re.fullmatch(
        r"\d\d:\d\d a\.xlsx: was renamed or deleted before it was judged\.\n", judged(book, capsys)
    )
    read = Path.read_bytes

    def saved_meanwhile(path: Path) -> bytes:
        data = read(path)
        path.write_bytes(data + b"more")
        return data

    book.write_bytes(old)
    monkeypatch.setattr(Path, "read_bytes", saved_meanwhile)
    assert judged(book, capsys) == ""  # what it is now is judged when it has settled
    monkeypatch.undo()
    assert [p.name for p in tmp_path.iterdir()] == ["a.xlsx"]


def test_a_book_beyond_the_memory_does_not_end_the_watch(
    tmp_path: Path, old: bytes, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def short(*_: object) -> None:
        raise MemoryError

    (tmp_path / "a.xlsx").write_bytes(old)
    monkeypatch.setattr("siltbook.batch.job.review_bytes", short)
    said = judged(tmp_path / "a.xlsx", capsys)
    assert "a.xlsx: too large for this machine's memory. Split it, or use a machine with" in said


def test_a_result_that_cannot_be_written_does_not_end_the_watch(
    tmp_path: Path, old: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.xlsx").write_bytes(old)
    (tmp_path / "result.xlsx").mkdir()
    said = judged(tmp_path / "a.xlsx", capsys)
    assert "result.xlsx: cannot be written (" in said
    assert said.count("\n") == 1


def test_where_the_system_cannot_tell_of_changes_the_clock_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(*_: object, **named: object) -> Iterator[None]:
        raise OSError(errno.ENOSPC, "the limit of watched folders is reached")
        yield

    monkeypatch.setattr("watchfiles.watch", none_left)
    monkeypatch.setattr(watch, "LOOK", 10)
    turns = watch._wakes(tmp_path)
    assert [next(turns) for _ in range(3)] == [None] * 3


def test_every_book_of_a_folder_has_a_result_of_its_own(tmp_path: Path) -> None:
    names = ("a.xls", "a.ods", "a.xlsx", "a.xlsm", "b.ods", "b.xls", "c.ods")
    books = [tmp_path / name for name in names]
    for book in books:
        book.touch()
    assert {b.name: r.name for b, r in watching.results(books).items()} == {
        "a.xlsx": "a.reviewed.xlsx", "a.xlsm": "a.reviewed.xlsm",
        "a.ods": "a.ods.reviewed.xlsx", "a.xls": "a.xls.reviewed.xlsx",
        "b.ods": "b.ods.reviewed.xlsx", "b.xls": "b.xls.reviewed.xlsx",
        "c.ods": "c.reviewed.xlsx",
    }  # fmt: skip


def test_only_names_that_siltbook_gives_are_passed_over(tmp_path: Path) -> None:
    ours = ("a.reviewed.xlsx", "a.reviewed.ods", "a.audited.xlsm", "a.previous.xlsx",
            "a.previous-12.xlsx", "a.review-2026-07.xlsx")  # fmt: skip
    theirs = ("a.previous owner.xlsx", "a.review-notes.xlsx", "reviewed.xlsx", "a-reviewed.xlsx")
    for name in (*ours, *theirs):
        (tmp_path / name).touch()
    assert {p.name for p in watching.stamps(tmp_path)} == set(theirs)


def test_only_a_result_of_the_book_as_it_is_now_spares_it_at_the_start(tmp_path: Path) -> None:
    book, result, old = tmp_path / "a.xlsx", tmp_path / "a.reviewed.xlsx", make()
    book.write_bytes(old)
    assert not watching.up_to_date(book, result)
    result.write_bytes(reviewed(old, "a.xlsx"))
    assert watching.up_to_date(book, result)
    # The clock was set back since: whatever is saved now looks older.
    later = time.time() + 3_600
    os.utime(result, (later, later))
    assert not watching.up_to_date(book, result)
    # Somebody saved the result: it is as young as that, and says itself of what it was made.
    result.write_bytes(reviewed(old, "a.xlsx")[:-1])
    edit(result, lambda made: None)
    assert watching.up_to_date(book, result)
    edit(book, lambda made: setattr(made["Readings"]["C3"], "value", 3.1))
    edit(result, lambda made: None)
    assert not watching.up_to_date(book, result)


@pytest.mark.skipif(sys.platform == "win32", reason="the time of arrival is kept otherwise")
def test_a_book_with_an_old_date_that_was_copied_over_is_judged_at_the_start(
    tmp_path: Path, old: bytes
) -> None:
    book, result = tmp_path / "a.xlsx", tmp_path / "a.reviewed.xlsx"
    result.write_bytes(reviewed(old, "a.xlsx"))
    time.sleep(0.02)
    brought = tmp_path / "brought"
    brought.write_bytes(old)
    os.utime(brought, (1_700_000_000, 1_700_000_000))  # as from a stick, or by mail
    os.replace(brought, book)
    assert not watching.up_to_date(book, result)


def test_a_book_that_could_not_be_read_is_tried_again(
    tmp_path: Path, old: bytes, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def away(_: Path) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    book = tmp_path / "a.xlsx"
    book.write_bytes(old)
    monkeypatch.setattr(Path, "read_bytes", away)
    stamp, target = watching.stamp_now(book) or STAMP, tmp_path / "a.reviewed.xlsx"
    assert not watch._judge(book, stamp, target, None, set())
    said = capsys.readouterr().out
    assert said.endswith(
        f" {book}: cannot be read (Input/output error). Check the file's permissions. It is tried "
        "again every 10 seconds.\n"
    )
    assert not watch._judge(book, stamp, target, None, set(), told=True)
    assert capsys.readouterr().out == ""
    monkeypatch.undo()
    assert watch._judge(book, stamp, target, None, set(), told=True)
    assert " -> a.reviewed.xlsx" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("name", "how"),
    [("nowhere", "is not there, or was renamed or deleted"), ("book.xlsx", "is a file")],
)
def test_what_cannot_be_watched_gives_one_sentence(tmp_path: Path, name: str, how: str) -> None:
    (tmp_path / "book.xlsx").write_bytes(b"PK")
    done = CliRunner().invoke(main, ["watch", str(tmp_path / name)])
    assert done.exit_code == 3
    said = f"cannot be watched (it {how}). Check its path; name a folder."
    assert done.output == f"siltbook: {tmp_path / name}: {said}\n"


def test_a_book_counts_as_saved_only_when_it_has_stayed_the_same() -> None:
    saves, book = watching.Saves(), Path("a.xlsx")
    assert saves.ready({book: STAMP}, 0.0) == []
    assert saves.ready({book: (1, 2, 4)}, 0.9) == []
    assert saves.ready({book: (1, 2, 4)}, 1.8) == []
    assert saves.ready({book: (1, 2, 4)}, 2.0) == [book]
    saves.judged(book, (1, 2, 4))
    assert saves.ready({book: (1, 2, 4)}, 9.0) == []
    # Away and back again, as some programs save: a new file is judged anew.
    assert saves.ready({}, 9.5) == []
    assert saves.ready({book: (1, 2, 5)}, 10.0) == []
    assert saves.ready({book: (1, 2, 5)}, 11.5) == [book]


def test_the_line_names_what_there_is_to_do_most_urgent_first() -> None:
    assert summary(["flush", "in-range", "hand-clean", "flush"]) == "1 hand clean, 2 flush"
    assert summary(["in-range", "resting"]) == "nothing to do now"
