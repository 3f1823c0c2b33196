"""A million records of a logger: time and memory of adopt, beside reading them by pandas alone.

`python -m tests.benchmarks.adopt_logger` prints the table of docs/performance.md.
"""

from __future__ import annotations

import io
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from sample_workbooks.logger_file import Logged, as_text

RECORDS = 1_036_800  # 60 days, every 5 s


def by_pandas(path: Path) -> None:
    """The least that anybody does with such a file."""
    import pandas as pd

    frame = pd.read_csv(io.BytesIO(path.read_bytes()))
    frame["Timestamp"] = pd.to_datetime(frame["Timestamp"])
    frame.groupby(frame["Timestamp"].dt.date).median(numeric_only=True)


def by_adopt(path: Path) -> None:
    """The whole first call: recognise, readings, flushes, mapping."""
    from siltbook.batch.adopt.job import Source, look
    from siltbook.batch.adopt.mapping import write

    seen = look([Source(path, path.read_bytes())])
    assert seen.rows.read == RECORDS
    write(seen.made, seen.asked, seen.rows, {}, "")


def main() -> None:
    """Measure each in a process of its own; the best of three."""
    if len(sys.argv) > 2:
        started = time.perf_counter()
        {"pandas": by_pandas, "adopt": by_adopt}[sys.argv[1]](Path(sys.argv[2]))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(time.perf_counter() - started, peak)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logger.csv"
        data, _ = as_text(Logged(days=60, step=5, flushes=(20, 40)))
        path.write_bytes(data)
        del data
        for what in ("pandas", "adopt"):
            runs = [_child(what, path) for _ in range(3)]
            print(f"{what}: {min(r[0] for r in runs):.1f} s, {max(r[1] for r in runs):.0f} MiB")


def _child(what: str, path: Path) -> tuple[float, float]:
    command = [sys.executable, "-m", "tests.benchmarks.adopt_logger", what, str(path)]
    done = subprocess.run(command, capture_output=True, check=True, env=os.environ)
    seconds, peak = done.stdout.split()
    return float(seconds), float(peak)


if __name__ == "__main__":
    main()
