"""What a pressure logger writes: records every few seconds to minutes, with all that goes wrong.

Invented, seeded. `truth` keeps what was really so: the drop of each day in steady service, and the
flushes with their day, cycles and lowest inlet.
"""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Logged:
    """How a logger is set up and what it met; `step` [s], pressures in bar."""

    days: int = 30
    step: int = 300
    start: dt.date = dt.date(2026, 5, 1)
    hours: tuple[int, int] = (6, 12)  # the pump runs between these hours
    flushes: tuple[int, ...] = (11, 22)  # days on which the filter was flushed at the end
    seed: int = 7
    noise: float = 0.01
    gap: tuple[int, int] | None = None  # first and last record lost
    twice: int = 0  # records that stand twice
    set_back: int | None = None  # the day on which the clock was set back by an hour at 03:00


@dataclass
class Truth:
    """Day -> the steady drop [bar]; the flushes as (day, cycles, lowest inlet [bar])."""

    drops: dict[dt.date, float] = field(default_factory=dict)
    flushes: list[tuple[dt.date, int, float]] = field(default_factory=list)


def record(logged: Logged) -> tuple[list[dt.datetime], np.ndarray, np.ndarray, Truth]:
    """Wall-clock times, inlet and outlet [bar] of every record, and the truth."""
    rng = np.random.default_rng(logged.seed)
    times: list[dt.datetime] = []
    inlet: list[float] = []
    outlet: list[float] = []
    truth = Truth()
    drop = 0.10
    for day in range(logged.days):
        date = logged.start + dt.timedelta(days=day)
        drop += 0.02
        flushed = day in logged.flushes
        end = logged.hours[1] * 3600
        truth.drops[date] = drop
        begun = [end - 3600 + 300 * k for k in range(3)] if flushed else []
        dips = [(first, first + 120) for first in begun]
        if flushed:
            truth.flushes.append((date, 3, 2.1))
        for second in range(0, 86_400, logged.step):
            running = logged.hours[0] * 3600 <= second < end
            rising = min(1.0, (second - logged.hours[0] * 3600 + 1) / 600) if running else 0.0
            now = 0.10 if dips and second >= dips[0][0] else drop
            p = 3.0 * rising if running else 0.0
            if any(a <= second < b for a, b in dips):
                p = 2.1
            noise = rng.normal(0, logged.noise, 2) if running else (0.0, 0.0)
            times.append(dt.datetime.combine(date, dt.time()) + dt.timedelta(seconds=second))
            inlet.append(max(0.0, p + noise[0]))
            outlet.append(max(0.0, p - now * rising + noise[1]) if running else 0.0)
        if flushed:
            drop = 0.10
    return times, np.array(inlet), np.array(outlet), truth


def as_text(logged: Logged, *, comma: bool = False, dmy: bool = False) -> tuple[bytes, Truth]:
    """The logger's text file and the truth behind it."""
    times, inlet, outlet, truth = record(logged)
    form = "%d/%m/%Y %H:%M:%S" if dmy else "%Y-%m-%d %H:%M:%S"
    sign = ";" if comma else ","
    lines = [sign.join(("Timestamp", "Inlet (bar)", "Outlet (bar)"))]
    for i, when in enumerate(times):
        if logged.gap and logged.gap[0] <= i < logged.gap[1]:
            continue
        if logged.set_back is not None:
            date = logged.start + dt.timedelta(days=logged.set_back)
            if when >= dt.datetime.combine(date, dt.time(3)):
                when -= dt.timedelta(hours=1)
        numbers = (f"{inlet[i]:.3f}", f"{outlet[i]:.3f}")
        if comma:
            numbers = (numbers[0].replace(".", ","), numbers[1].replace(".", ","))
        line = sign.join((when.strftime(form), *numbers))
        lines += [line] * (2 if i < logged.twice else 1)
    target = io.StringIO()
    target.write("\n".join(lines) + "\n")
    return target.getvalue().encode(), truth
