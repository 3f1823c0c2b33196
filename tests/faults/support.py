"""What the tests of faults share: a small invented book, and children that meet a fault."""

from __future__ import annotations

import json
import math
import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.job import review_bytes
from siltbook.batch.typed.stamp import stamped
from tests.amount import LONG, whole
from tests.benchmarks.speed import make_book
from tests.forked import Forked
from tests.warm import process

ROOT = Path(__file__).resolve().parents[2]


@cache
def small_book(folder: Path) -> bytes:
    """Two stations, twenty readings each."""
    path = folder / "small.xlsx"
    make_book(path, 40, 2)
    return path.read_bytes()


def reviewed(book: bytes, name: str = "farm.xlsx", path: str = "farm.xlsx") -> bytes:
    """The book as an undisturbed run leaves it."""
    return stamped(review_bytes(book, path, name).package, name)


def start(
    *arguments: object, really: bool = False, before: tuple[str, ...] = (), **named: Any
) -> subprocess.Popen[str] | Forked:
    """A `siltbook` process of its own, as `process` makes one."""
    return process(
        "siltbook.batch.cli:main", *map(str, arguments), really=really, before=before, text=True,
        stderr=subprocess.PIPE, **{"stdout": subprocess.PIPE, **named},
    )  # fmt: skip


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
    """At which of a run's calls a fault strikes: every twelfth one, the last included.

    Every fourth one where all tests are run; the others as well until `enough`, and all of them in
    the long run.
    """
    step = 4 if whole() else 12
    yield from range(calls, 0, -step)
    between = sorted(range(1, step), key=lambda first: -math.gcd(first, step))
    others = (at for first in between for at in range(calls - first, 0, -step))
    yield from (at for at in others if LONG or not enough())


class Driver:
    """A process of tests.faults.driver, `really` started or forked."""

    def __init__(self, folder: Path, really: bool) -> None:
        self.said = folder / "said.txt"
        self.process = process(
            "tests.faults.driver:main", really=really,
            text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
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
        assert self.process.stdin is not None
        self.process.stdin.close()
        assert self.process.wait(timeout=300) == 0
        self.process.stdout.close()
