"""Puts an archive into place in child processes that meet a fault at a chosen call to the system.

`main` with the arguments ARCHIVE HOME FAULT STEP: a child puts the files of ARCHIVE to HOME/n/kept
and meets the fault ("kill" or "full") at its n-th call; n goes to the last call in such steps. The
last child meets none. A line of JSON for each: {"at": n, "status": wait status, "calls": how many,
"said": the refusal}.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from siltbook.batch.archive.folder import put
from siltbook.batch.errors import BookError
from tests.faults.driver import COUNTED, Fault


def child(files: dict[str, bytes], home: Path, fault: Fault, answer: int) -> None:
    """Put the files; what became of it goes into the pipe."""
    said = ""
    fault.install()
    for name in {"rename", "mkdir", "rmdir"} - {*COUNTED}:
        setattr(os, name, fault.before(getattr(os, name)))
    try:
        put(files, home / "kept")
    except BookError as error:
        said = str(error)
    os.write(answer, json.dumps({"calls": fault.calls, "said": said}).encode())
    os._exit(0)


def main() -> None:
    """A child for each call that is asked for."""
    archive, home, kind, step = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
    found = [p for p in archive.rglob("*") if p.is_file()]
    files = {p.relative_to(archive).as_posix(): p.read_bytes() for p in found}
    calls = met(files, home / "undisturbed", Fault(0, kind))["calls"]
    for at in [*reversed(range(calls, 0, -step)), calls + 1]:
        print(json.dumps({"at": at, **met(files, home / str(at), Fault(at, kind))}), flush=True)


def met(files: dict[str, bytes], home: Path, fault: Fault) -> dict[str, Any]:
    """What became of one child."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid == 0:
        child(files, home, fault, writer)
    os.close(writer)
    _, status = os.waitpid(pid, 0)
    answer = json.loads(os.read(reader, 2_000) or b'{"calls": 0, "said": ""}')
    os.close(reader)
    return {"status": status, **answer}
