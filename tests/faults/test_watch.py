"""`siltbook watch` as a process of its own: saves of every kind, broken books, and its end."""

from __future__ import annotations

import os
import queue
import re
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from batch import watching
from batch.cli import main
from batch.commands.watch import summary
from tests.faults.support import reviewed, small_book, start

STAMP = (1, 2, 3)


class Watch:
    """A running watch, its lines as they come."""

    def __init__(self, folder: Path) -> None:
        self.process = start("watch", folder)
        self.lines: queue.Queue[str] = queue.Queue()
        self.reader = threading.Thread(target=self._read)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def line(self) -> str:
        """The next line; fails after a minute of silence."""
        return self.lines.get(timeout=60)

    def quiet(self, seconds: float) -> bool:
        time.sleep(seconds)
        return self.lines.empty()

    def end(self) -> int:
        """Ctrl-C, and the exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        code = self.process.wait(timeout=30)
        self.reader.join()
        for stream in (self.process.stdout, self.process.stderr):
            assert stream is not None
            stream.close()
        return code


@pytest.fixture
def old(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return small_book(tmp_path_factory.getbasetemp())


@pytest.fixture
def watched(tmp_path: Path, old: bytes) -> Iterator[Watch]:
    (tmp_path / "done.xlsx").write_bytes(old)
    (tmp_path / "done.reviewed.xlsx").write_bytes(b"younger than the book")
    made = Watch(tmp_path)
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
            time.sleep(watching.SETTLED / 2)
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
    assert watched.quiet(2 * watching.SETTLED + 1)
    assert (tmp_path / "done.reviewed.xlsx").read_bytes() == b"younger than the book"
    assert watched.end() == 0
    assert north.read_bytes() == old
    assert not list(tmp_path.glob(".siltbook-*"))


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
