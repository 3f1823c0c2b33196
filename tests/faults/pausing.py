"""A `siltbook` process that waits, once it has got as far as it may, until the others are there.

To be called before its command: each leaves a mark in a folder, and goes on when there are enough.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

from siltbook.batch.child import resolve
from tests.faults.support import start


def pause_after(folder: str, count: str, name: str) -> None:
    """What 'package.module:name' gives is handed on when `count` processes have theirs."""
    module, _, attribute = name.partition(":")
    real = resolve(name)

    def wait(*given: Any) -> Any:
        made = real(*given)
        (Path(folder) / str(os.getpid())).touch()
        for _ in range(12_000):
            if len(os.listdir(folder)) >= int(count):
                break
            time.sleep(0.05)
        return made

    setattr(sys.modules[module], attribute, wait)


def together(folder: Path, name: str, *commands: list[object]) -> list[tuple[int | None, str]]:
    """Exit code and messages of commands that all get as far as `name` before any writes."""
    folder.mkdir()
    before = ("tests.faults.pausing:pause_after", str(folder), str(len(commands)), name)
    started = [start(*command, before=before) for command in commands]
    said = [process.communicate(timeout=600)[1] for process in started]
    return [(p.returncode, text) for p, text in zip(started, said, strict=True)]
