"""Puts an archive into place in child processes that meet a fault at a chosen call to the system.

`main` with the arguments ARCHIVE HOME FAULT: for n = 1, 2, ... a child puts the files of
ARCHIVE to HOME/n/kept and meets the fault ("kill" or "full") at its n-th call, until one meets
none. A line of JSON for each: {"status": wait status, "calls": how many, "said": the refusal}.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

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
    """A child for each call."""
    archive, home, kind = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    found = [p for p in archive.rglob("*") if p.is_file()]
    files = {p.relative_to(archive).as_posix(): p.read_bytes() for p in found}
    for at in range(1, 500):
        reader, writer = os.pipe()
        pid = os.fork()
        if pid == 0:
            child(files, home / str(at), Fault(at, kind), writer)
        os.close(writer)
        _, status = os.waitpid(pid, 0)
        answer = json.loads(os.read(reader, 2_000) or b'{"calls": 0, "said": ""}')
        os.close(reader)
        print(json.dumps({"status": status, **answer}), flush=True)
        if status == 0 and answer["calls"] < at:
            return
