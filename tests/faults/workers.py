"""Judges for workers that die: importable in the workers' own processes."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

from siltbook.batch.many import Job, Judged, judge


def of_dask() -> None:
    """A worker of a Dask cluster, by the arguments of its command."""
    sys.modules.pop("dask", None)  # held back from processes that are as it is installed
    from distributed.cli.dask_worker import main

    main()


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


def slow(job: Job) -> Judged:
    """Judge slowly."""
    time.sleep(0.3)
    return judge(job)


def counted_one_held(job: Job) -> Judged:
    """Judge, and leave a mark for each beginning; the first to meet a second book holds it.

    It says so in 'held', and waits there to be killed.
    """
    folder = Path(os.environ["SILTBOOK_TEST_MARK"])
    mine = os.getpid()
    second = any(folder.glob(f"*-{mine}-*"))
    (folder / f"{Path(job.name).stem}-{mine}-{time.time_ns()}").touch()
    if second and _first_to(folder / "held-book", Path(job.name).stem):
        (folder / "held").write_text(str(mine))
        time.sleep(120)
    return judge(job)


def _first_to(path: Path, text: str) -> bool:
    try:
        with path.open("x") as file:
            file.write(text)
    except FileExistsError:
        return False
    return True
