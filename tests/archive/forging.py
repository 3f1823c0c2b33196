"""What a stranger does to an archive before handing it on, and a child that is measured."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from siltbook.batch.archive import manifest
from siltbook.batch.archive.folder import PACKAGE
from siltbook.batch.fingerprint import digest

ROOT = Path(__file__).resolve().parents[2]
_CHILD = """
import contextlib, io, json, resource, sys, time
from siltbook.batch.cli import main
resource.setrlimit(resource.RLIMIT_AS, (2 * 2**30, 2 * 2**30))

def peak():
    # Not getrusage: its figure may be that of the process that started this one.
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmHWM"))

for arguments in json.load(sys.stdin):
    open("/proc/self/clear_refs", "w").write("5")
    said, refused = io.StringIO(), io.StringIO()
    begun, code = time.process_time(), 0
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(refused):
        try:
            main(arguments, prog_name="siltbook")
        except SystemExit as end:
            code = end.code
    print(json.dumps({
        "code": code, "said": said.getvalue(), "refused": refused.getvalue(),
        "peak": peak(),
        "seconds": time.process_time() - begun,
    }), flush=True)
"""


def reseal(archive: Path, **changed: Any) -> None:
    """Make the manifest anew so that it fits whatever the files are now."""
    listed = manifest.read((archive / manifest.NAME).read_bytes())
    there = [p for p in archive.rglob("*") if p.is_file() and not p.is_symlink()]
    names = sorted(p.relative_to(archive).as_posix() for p in there)
    files = {n: digest((archive / n).read_bytes()) for n in names if n != manifest.NAME}
    made = {"version": listed.version, "book": listed.book, "as_of": listed.as_of, "files": files}
    (archive / manifest.NAME).write_bytes(manifest.write(manifest.Manifest(**{**made, **changed})))


def redescribe(archive: Path, change: Callable[[dict[str, Any]], object] = lambda _: None) -> None:
    """Make descriptor and manifest anew so that they fit the tables; `change` goes further."""
    path = archive / PACKAGE
    document = json.loads(path.read_bytes())
    for resource in document["resources"]:
        data = (archive / resource["path"]).read_bytes()
        resource["bytes"], resource["hash"] = len(data), f"sha256:{digest(data)}"
    change(document)
    path.write_text(json.dumps(document, indent=2, sort_keys=True))
    reseal(archive)


@dataclass(frozen=True)
class Measured:
    """How a child ended, what it said, and what it took: memory [bytes], processor time [s]."""

    code: int
    said: str
    refused: str
    peak: int
    seconds: float


def measured(*commands: tuple[object, ...]) -> list[Measured]:
    """Runs of `siltbook`, one after the other, in a process of its own with a limit of memory.

    An exception ends the test.
    """
    done = subprocess.run(
        [sys.executable, "-c", _CHILD],
        input=json.dumps([[str(a) for a in command] for command in commands]),
        capture_output=True, text=True, timeout=900, cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [Measured(**json.loads(line)) for line in done.stdout.splitlines()]


def lack_memory(monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str) -> None:
    """Memory does not suffice where `module` makes the season of the book called `name`."""
    season = module.season

    def short(data: bytes, book: str, *more: Any) -> Any:
        if book == name:
            raise MemoryError
        return season(data, book, *more)

    monkeypatch.setattr(module, "season", short)
