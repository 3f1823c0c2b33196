"""Runs a command on a folder under a limit of memory; prints the peak and the exit code.

A process of its own, so that the limit binds nothing else: `python hostile_child.py FOLDER OUT`
runs `siltbook run`; behind OUT another command may stand with options of its own.
"""

from __future__ import annotations

import json
import resource
import sys

import pytest

from siltbook.batch.cli import main
from tests.warm import Warm

MOST = 2 * 2**30  # [bytes] of address space, of which libraries take most without using it

if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MOST, MOST))
    warm = Warm()  # the guard asks for a child for nearly every one of these books
    warm.install(pytest.MonkeyPatch())
    try:
        folder, out, command, *more = [*sys.argv[1:], *(["run"] if len(sys.argv) == 3 else [])]
        main([command, folder, "--out", out, *more], prog_name="siltbook")
    except SystemExit as end:
        code = end.code
    warm.close()
    # Not getrusage: its figure may be that of the process that started this one.
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmHWM"))
    print(json.dumps({"code": code, "peak": peak}))
