"""Judges for workers that die: importable in the workers' own processes."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from siltbook.batch.many import Job, Judged, judge


def die_once(job: Job) -> Judged:
    """The worker that first meets a book called 'deadly' dies at it; the next one judges it."""
    mark = Path(os.environ["SILTBOOK_TEST_MARK"])
    if job.name.startswith("deadly"):
        try:
            mark.touch(exist_ok=False)
        except FileExistsError:
            return judge(job)
        os.kill(os.getpid(), signal.SIGKILL)
    return judge(job)


def die_always(job: Job) -> Judged:
    """Every worker that meets a book called 'deadly' dies."""
    if job.name.startswith("deadly"):
        os.kill(os.getpid(), signal.SIGKILL)
    return judge(job)


def slow_and_counted(job: Job) -> Judged:
    """Judge slowly, and leave a mark for each beginning: which worker, which book."""
    folder = Path(os.environ["SILTBOOK_TEST_MARK"])
    (folder / f"{os.getpid()}-{job.name}-{time.time_ns()}").touch()
    time.sleep(0.3)
    return judge(job)
