"""Runs a command on a folder under a limit of memory; prints the peak and the exit code.

A process of its own, so that the limit binds nothing else: `python hostile_child.py FOLDER OUT`
runs `siltbook run`; behind OUT another command may stand with options of its own.
"""

from __future__ import annotations

import json
import resource
import sys

from siltbook.batch.cli import main

MOST = 2 * 2**30  # [bytes] of address space, of which libraries take most without using it

if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MOST, MOST))
    try:
        folder, out, command, *more = [*sys.argv[1:], *(["run"] if len(sys.argv) == 3 else [])]
        main([command, folder, "--out", out, *more], prog_name="siltbook")
    except SystemExit as end:
        code = end.code
    # Not getrusage: its figure may be that of the process that started this one.
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmHWM"))
    print(json.dumps({"code": code, "peak": peak}))
