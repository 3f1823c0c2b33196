"""Short ways to write a station's log in tests."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from siltbook.batch.model import History, Reading, Station, Work

DAY0 = dt.date(2026, 4, 1)
STATION = Station(
    "North", 2, "", "disc", None, 40.0, 1.0, 5.0, None, None, "one gauge", None, None, None, "bar",
    True,
)  # fmt: skip


def on(day: float) -> dt.date:
    """The date so many days after the log's first."""
    return DAY0 + dt.timedelta(days=int(day))


def read(
    day: int,
    drop: float | None,
    *,
    at: str = "",
    flow: float | None = None,
    u: float | None = 0.1,
    why: str = "",
) -> Reading:
    """One reading; drop [m], flow [m3/h]."""
    time = dt.time.fromisoformat(at) if at else None
    return Reading(2, on(day), time, 30.0, None, drop, flow, None, "routine", u, None, why)


def work(
    day: int, kind: str = "hand cleaning", *, at: str = "", cycles: float | None = None
) -> Work:
    """One piece of work."""
    return Work(2, on(day), dt.time.fromisoformat(at) if at else None, kind, cycles)


def log(*entries: Reading | Work, clean: float | None = 1.0) -> History:
    """A station's history."""
    return History(replace(STATION, clean_drop=clean), entries)
