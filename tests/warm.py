"""Children of the guard, forked from one process that has imported everything.

A child's start and imports cost more than what most tests ask of it. From its first line
(`child.serve`) on such a child is the real one: it bounds itself, is watched, measured and killed
as any. Other tests start it in earnest.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch import child

ROOT = Path(__file__).resolve().parents[1]
BOOK = ROOT / "sample_workbooks" / "all-in-psi.xlsx"
_BOOT = (
    "import json, sys; sys.path += [p for p in json.loads(sys.argv[1]) if p not in sys.path];"
    " from tests.warm import _serve; _serve(int(sys.argv[2]))"
)


class Warm:
    """The process that forks; `start` is the processor time that a child saves by it [s]."""

    def __init__(self) -> None:
        self.line, theirs = socket.socketpair()
        places = json.dumps([*child.safe_path(), str(ROOT)])
        command = [sys.executable, "-I", "-X", "utf8", "-c", _BOOT, places, str(theirs.fileno())]
        one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=sys.base_prefix,
            env=one_thread, pass_fds=[theirs.fileno()],
        )  # fmt: skip
        theirs.close()
        self.start = float(self.line.recv(40))

    def fork(self, _: list[str], *, stdin: Any, stdout: Any, **__: Any) -> Forked:
        """A child with these files, in place of the process that the command would start."""
        read, write = os.pipe()
        socket.send_fds(self.line, [b"x"], [stdin.fileno(), stdout.fileno(), write])
        os.close(write)
        return Forked(read)

    def install(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """The guard's children of this test are forked."""

        class Forking:
            Popen = staticmethod(self.fork)
            DEVNULL, TimeoutExpired = subprocess.DEVNULL, subprocess.TimeoutExpired

        monkeypatch.setattr(child, "subprocess", Forking)

    def close(self) -> None:
        """End the process."""
        self.line.close()
        self.process.wait()


class Forked:
    """As much of a process as the guard asks for."""

    def __init__(self, said: int) -> None:
        self.said, self.ended = said, False
        self.pid = int.from_bytes(os.read(said, 4), "big")

    def wait(self, timeout: float | None = None) -> None:
        if not self.ended and not select.select([self.said], [], [], timeout)[0]:
            raise subprocess.TimeoutExpired("a forked child", timeout or 0.0)
        self.ended = True

    def kill(self) -> None:
        if not self.ended:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)

    def __enter__(self) -> Forked:
        return self

    def __exit__(self, *_: object) -> None:
        self.wait()
        os.close(self.said)


def _serve(line_number: int) -> None:
    """Import what judging needs, by judging; then a child for each message."""
    import siltbook.batch.reading.oldbook  # noqa: F401
    from siltbook.batch.many import Job, judge

    assert judge(Job(BOOK.read_bytes(), "warm.xlsx", "warm.xlsx", "out.xlsx", None)).package
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for those that wait
    with socket.socket(fileno=line_number) as line:
        line.send(str(time.process_time()).encode())
        while True:
            message, files, *_ = socket.recv_fds(line, 1, 3)
            if not message:
                return
            if os.fork() == 0:
                _wait_for_one(*files)
            for file in files:
                os.close(file)


def _wait_for_one(asked: int, said: int, answer: int) -> None:
    """Fork the child, say its number, and the end of it by ending."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    pid = os.fork()
    if pid == 0:
        os.dup2(asked, 0)
        os.dup2(said, 1)
        os.close(answer)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        try:
            child.serve()
        finally:
            os._exit(0)
    os.write(answer, pid.to_bytes(4, "big"))
    os.waitpid(pid, 0)
    os._exit(0)
