"""A small invented season, kept in any style, and what adopting gives of it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from sample_workbooks.as_kept import Kept, Style, as_xlsx, keep
from siltbook.batch.adopt.job import Source, look
from siltbook.batch.adopt.model import Amount
from siltbook.batch.cli import main

FIRST = dt.date(2026, 5, 4)
NOTES = {("North 1", 0): "flushed 3x, no click", ("North 1", 2): "cleaned screen"}
SCALE = {"bar": 1.0, "kPa": 100.0, "psi": 14.5, "m": 10.0}


def season(unit: str = "bar", notes: bool = True) -> list[dict[str, Any]]:
    """Five weekly rounds of three stations; pressures in `unit`."""
    scale = SCALE[unit]
    return [
        {
            "station": name,
            "date": FIRST + dt.timedelta(days=7 * week),
            "inlet": round((3.0 + 0.1 * n) * scale, 2),
            "outlet": round((2.7 - 0.05 * week) * scale, 2),
            "remark": NOTES.get((name, week)) if notes else None,
            "read_by": "Reader A",
        }
        for week in range(5)
        for n, name in enumerate(("North 1", "South", "S3"))
    ]


def kept(style: Style, notes: bool = True) -> Kept:
    return keep(season(style.unit, notes), style)


def adopted(style: Style, notes: bool = True) -> list[tuple[object, ...]]:
    """(station, date, inlet, outlet, drop) of every reading that arrives, sorted."""
    seen = look([Source(Path("own.xlsx"), as_xlsx(kept(style, notes)))])
    keys = ("inlet", "outlet", "drop")
    return sorted(
        (str(r["station"]), r["date"], *(told(r.get(k), style.unit) for k in keys))
        for r in seen.rows.readings
    )


def told(value: object, unit: str) -> float | None:
    if value is None:
        return None
    assert isinstance(value, Amount)
    assert value.unit == unit
    return value.value


def siltbook(*arguments: object, code: int = 0) -> str:
    """Run the command and give what it prints; it must end with `code`."""
    result = CliRunner().invoke(main, [str(a) for a in arguments])
    assert result.exit_code == code, result.output
    return result.output
