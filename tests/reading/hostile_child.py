"""Runs a command on a folder under a limit of memory; prints the peak and the exit code.

A process of its own, so that the limit binds nothing else: `main` with the arguments FOLDER OUT
runs `siltbook run`; behind OUT another command may stand with options of its own.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

from siltbook.batch.child import peak_memory
from siltbook.batch.cli import main as siltbook
from tests.warm import install_in_this_process, process

MOST = 2 * 2**30  # [bytes] of address space, of which libraries take most without using it


@dataclass(frozen=True)
class Bounded:
    """What a command said under the limit, how it ended, and its peak of memory [bytes]."""

    stdout: str
    stderr: str
    code: int
    peak: int


def bounded(*arguments: object) -> Bounded:
    """Run it; an exception of the program ends the test."""
    run = process(
        f"{__name__}:main", *map(str, arguments), forks=True, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    out, err = run.communicate(timeout=900)
    assert "Traceback" not in err
    assert run.returncode == 0, err
    *said, measured = out.splitlines(keepends=True)
    found: dict[str, Any] = json.loads(measured)
    return Bounded("".join(said), err, **found)


def main() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST, MOST))
    install_in_this_process()  # the guard asks for a child for nearly every one of these books
    folder, out, command, *more = [*sys.argv[1:], *(["run"] if len(sys.argv) == 3 else [])]
    code: Any = 0
    try:
        siltbook([command, folder, "--out", out, *more], prog_name="siltbook")
    except SystemExit as end:
        code = end.code
    print(json.dumps({"code": code, "peak": peak_memory()}))
