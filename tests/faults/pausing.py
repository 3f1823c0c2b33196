"""`siltbook run` that waits after judging until the others are there as well.

`python -m tests.faults.pausing FOLDER COUNT ARGUMENTS...`: each run leaves a mark in FOLDER once
it has judged its book, and writes only when there are COUNT marks.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from siltbook.batch import many
from siltbook.batch.cli import main

folder, count, arguments = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:]
judge = many.judge


def judge_and_wait(job: many.Job) -> many.Judged:
    """The judgement, once everybody has one."""
    judged = judge(job)
    (folder / str(os.getpid())).touch()
    for _ in range(12_000):
        if len(list(folder.iterdir())) >= count:
            break
        time.sleep(0.05)
    return judged


many.judge = judge_and_wait
main(arguments)
