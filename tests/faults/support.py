"""What the tests of faults share: a small invented book, and children that meet a fault."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.job import review_bytes
from siltbook.batch.typed.stamp import stamped
from tests.amount import LONG
from tests.benchmarks.speed import make_book

ROOT = Path(__file__).resolve().parents[2]
# As it is installed: these two come with the extra 'test' only, and take long to be imported.
PLAIN = "import sys; sys.modules.update(dict.fromkeys(('hypothesis', 'dask')))"
SILTBOOK = [sys.executable, "-c", f"{PLAIN}; from siltbook.batch.cli import main; main()"]


@cache
def small_book(folder: Path) -> bytes:
    """Two stations, twenty readings each."""
    path = folder / "small.xlsx"
    make_book(path, 40, 2)
    return path.read_bytes()


def reviewed(book: bytes, name: str = "farm.xlsx", path: str = "farm.xlsx") -> bytes:
    """The book as an undisturbed run leaves it."""
    return stamped(review_bytes(book, path, name).package, name)


def start(*arguments: object, **named: Any) -> subprocess.Popen[str]:
    """A `siltbook` process of its own."""
    command = [*SILTBOOK, *map(str, arguments)]
    return subprocess.Popen(
        command, cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **named
    )


def forbid_reading(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Files of this name cannot be read, as without permission."""
    read = Path.read_bytes

    def guarded(path: Path) -> bytes:
        if path.name == name:
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", guarded)


@dataclass(frozen=True)
class Ended:
    """How a child ended; `calls` is 0 where it was killed."""

    killed: bool
    code: int
    calls: int
    said: str


def points(calls: int, enough: Callable[[], bool] = lambda: True) -> Iterator[int]:
    """At which of a run's calls a fault strikes: every second one, the last included.

    The others as well until `enough`, and all of them in the long run.
    """
    yield from range(calls, 0, -2)
    yield from (at for at in range(calls - 1, 0, -2) if LONG or not enough())


class Driver:
    """A process of tests.faults.driver."""

    def __init__(self, folder: Path) -> None:
        small_book(folder)
        self.said = folder / "said.txt"
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.driver", str(folder / "small.xlsx")],
            cwd=ROOT, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def run(self, at: int, fault: str, *arguments: object) -> Ended:
        """One child that meets the fault at its call number `at`."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        order = {
            "at": at, "fault": fault, "arguments": [str(a) for a in arguments],
            "said": str(self.said),
        }  # fmt: skip
        self.process.stdin.write(json.dumps(order) + "\n")
        self.process.stdin.flush()
        answer = json.loads(self.process.stdout.readline())
        status = answer["status"]
        killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        code = -1 if killed else os.waitstatus_to_exitcode(status)
        return Ended(killed, code, answer["calls"], self.said.read_text())

    def close(self) -> None:
        """End the driver."""
        self.process.communicate(timeout=300)
