"""A logger's last day: its median hides nothing of how the records end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.interface import judge
from tests.adopt.farms import siltbook

START = dt.datetime(2026, 6, 1, 6)
MINUTES = 1_500


def judged(folder: Path, outlet: Callable[[int], float]) -> tuple[str, int, object]:
    """The verdict on a logger's station, the number of readings, and its gauge division."""
    times = [(n, START + dt.timedelta(minutes=n)) for n in range(MINUTES)]
    lines = ["Timestamp;Station;Inlet (bar);Outlet (bar)"]
    lines += [f"{t:%Y-%m-%d %H:%M:%S};North;3.10;{outlet(n):.2f}" for n, t in times]
    own = folder / "own.csv"
    own.write_text("\n".join(lines) + "\n", "utf-8")
    siltbook("adopt", own)
    siltbook("adopt", own, "--mapping", folder / "own.mapping.xlsx")
    data = (folder / "own.book.xlsx").read_bytes()
    register = openpyxl.load_workbook(folder / "own.book.xlsx")["Stations"]
    heads = [cell.value for cell in register[1]]
    division = register.cell(2, heads.index("Gauge division") + 1).value
    (result,) = judge(data).stations.values()
    return str(result.verdict), len(result.history.readings), division


@pytest.mark.parametrize("how", ["in a step", "hour by hour"])
def test_a_filter_that_clogs_in_the_last_hours_is_over(how: str, tmp_path: Path) -> None:
    """The median of the last day was 0.3 bar, and the station In range; it ended at 0.8 bar."""
    first = MINUTES - (90 if how == "in a step" else 300)

    def outlet(n: int) -> float:
        share = n >= first if how == "in a step" else max(0, n - first) / (MINUTES - first)
        return 2.8 - 0.5 * float(share)

    assert judged(tmp_path, outlet)[:2] == ("flush", 3)


def test_a_quiet_day_is_one_reading_and_no_division(tmp_path: Path) -> None:
    assert judged(tmp_path, lambda _: 2.8) == ("in-range", 2, None)
