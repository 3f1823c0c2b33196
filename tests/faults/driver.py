"""Runs `siltbook` in child processes that meet a fault at a chosen call to the system.

The process that runs `main` imports everything once, then reads one JSON line for each child:
{"at": n, "fault": "kill" or "full", "arguments": [...], "said": path}. The child counts its calls
that make, fill, settle, rename or remove a file. At the n-th it dies (SIGKILL) or is told that the
disk is full; a write is stopped half-way. The answer: {"status": wait status, "calls": how many}.

What a command makes of a book's bytes is the same whatever befalls the files. In the usual run the
first child to make it keeps it for those that come, beside what the driver is told to.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import pickle
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from siltbook.batch import child as guarded
from tests.amount import whole
from tests.warm import import_everything

COUNTED = ("open", "fsync", "chmod", "replace", "unlink")


class Fault:
    """Counts calls and strikes at one of them."""

    def __init__(self, at: int, kind: str) -> None:
        self.at, self.kind, self.calls = at, kind, 0

    def due(self) -> bool:
        self.calls += 1
        return self.calls == self.at

    def strike(self) -> None:
        if self.kind == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def before(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*arguments: Any, **named: Any) -> Any:
            if self.due():
                self.strike()
            return call(*arguments, **named)

        return counted

    def half_written(self, fdopen: Callable[..., Any]) -> Callable[..., Any]:
        def opened(*arguments: Any, **named: Any) -> Any:
            return Half(fdopen(*arguments, **named), self)

        return opened

    def install(self) -> None:
        """From here on the calls of this process count."""
        for name in COUNTED:
            setattr(os, name, self.before(getattr(os, name)))
        os.fdopen = self.half_written(os.fdopen)


class Half:
    """A file whose write may stop half-way."""

    def __init__(self, file: Any, fault: Fault) -> None:
        self.file, self.fault = file, fault

    def __enter__(self) -> Half:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)

    def write(self, data: bytes) -> int:
        if self.fault.due():
            self.file.write(data[: len(data) // 2])
            self.file.flush()
            self.fault.strike()
        return int(self.file.write(data))


def remember(folder: Path) -> None:
    """What the guard asks for is made once of the same arguments, and kept in this folder."""
    resolve = guarded.resolve

    def kept(name: str) -> Callable[..., Any]:
        def once(*arguments: Any) -> Any:
            asked = hashlib.sha256(pickle.dumps((name, arguments))).hexdigest()
            place = folder / f"made-{asked}"
            if place.exists():
                return pickle.loads(place.read_bytes())
            made = resolve(name)(*arguments)
            place.write_bytes(pickle.dumps(made))
            return made

        return once

    guarded.resolve = kept


def child(order: dict[str, Any], calls: int) -> None:
    """Run one command and end this process; how many calls it made goes into the pipe."""
    from siltbook.batch.cli import main

    if not whole():
        remember(Path(order["said"]).parent)
    said = os.open(order["said"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(said, 1)
    os.dup2(said, 2)
    fault = Fault(order["at"], order["fault"])
    fault.install()
    code = 0
    try:
        main(order["arguments"])
    except SystemExit as end:
        code = int(end.code or 0)
    os.write(calls, str(fault.calls).encode())
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def main() -> None:
    """Import what a command needs; then a child for each line."""
    import_everything()
    for line in sys.stdin:
        reader, writer = os.pipe()
        pid = os.fork()
        if pid == 0:
            child(json.loads(line), writer)
        os.close(writer)
        _, status = os.waitpid(pid, 0)
        calls = int(os.read(reader, 20) or b"0")
        os.close(reader)
        print(json.dumps({"status": status, "calls": calls}), flush=True)
