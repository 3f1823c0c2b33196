"""The runs between two cleanings, as the sheet Runs and the archive show them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.runs import Run
from siltbook.batch.results import StationResult
from siltbook.batch.tables.describe import Column, Kind, Table, pick

DAYS_PER_WEEK = 7.0


class StationRun(NamedTuple):
    """A run with its station's name, and the station's forecast where the run goes on."""

    station: str
    run: Run
    ahead: Forecast | None


def station_runs(results: Iterable[StationResult]) -> list[StationRun]:
    """Every run, in the order of the stations."""
    return [
        StationRun(result.station.name, run, result.outlook.forecast if run.open else None)
        for result in results
        if result.outlook
        for run in result.outlook.runs
    ]


def _weekly(rate: float | None) -> float | None:
    return None if rate is None else rate * DAYS_PER_WEEK


def _ended(pair: StationRun) -> str:
    ended = pair.run.ended_by or "still running"
    return f"{ended} (concluded)" if pair.run.concluded else ended


_ALL: tuple[Column[StationRun], ...] = (
    Column("station", "Station", Kind.NAME, 15.0, lambda p: p.station,
           note="Station.", required=True),
    Column("begins", "Begins", Kind.DATE, 12.0, lambda p: p.run.begins,
           note="The reset that opened it, or its first reading.", required=True),
    Column("ends", "Ends", Kind.DATE, 12.0, lambda p: p.run.ends,
           note="End of the run.", required=True),
    Column("readings", "Readings", Kind.COUNT, 10.0, lambda p: len(p.run.days),
           note="Usable readings in the run.", required=True),
    Column("start_level_m", "Start level ({unit})", Kind.PRESSURE, 9.0,
           lambda p: p.run.start_level, "m"),
    Column("rate_m_per_day", "Rate ({unit})", Kind.RATE, 10.0, lambda p: p.run.rate, "m per day",
           "Fouling rate, median of all slopes."),
    Column("slowest", "Slowest (80 %)", Kind.RATE, 9.0, lambda p: p.run.slowest, "m per day",
           "Low end of its 80 % interval."),
    Column("fastest", "Fastest (80 %)", Kind.RATE, 9.0, lambda p: p.run.fastest, "m per day",
           "High end of its 80 % interval."),
    Column("believable", "Believable", Kind.YES_NO, 11.0, lambda p: p.run.believable,
           note="Whether the rate may be used.", required=True),
    Column("why", "Why not", Kind.TEXT, 28.0, lambda p: p.run.why, note="Why it may not.",
           style="wrap"),
    Column("ended_by", "Ended by", Kind.TEXT, 28.0, lambda p: p.run.ended_by, style="wrap",
           note="What ended the run; empty: still open."),
    Column("concluded", "Concluded", Kind.YES_NO, 11.0, lambda p: p.run.concluded,
           note="Ended by a fall, not by work logged as complete.", required=True),
    Column("given_back", "Given back", Kind.SHARE, 10.0, lambda p: p.run.given_back,
           note="Share of the rise over the clean drop that its end gave back."),
    Column("opened_by", "Started by", Kind.TEXT, 26.0,
           lambda p: p.run.opened_by or "first reading", style="wrap"),
    Column("rows", "Rows of Readings", Kind.TEXT, 34.0, lambda p: " ".join(map(str, p.run.rows)),
           style="wrap", note="Rows of its readings on the sheet Readings, spaces between."),
    Column("curve", "Curve ahead", Kind.TEXT, 14.0, lambda p: p.ahead.curve if p.ahead else None,
           style="wrap"),
    Column("forecast_basis", "Forecast rests on", Kind.TEXT, 46.0,
           lambda p: p.ahead.basis if p.ahead else None, style="wrap"),
)  # fmt: skip
_KNOWN = {column.key: column for column in _ALL}
_WEEK = "m per week"

RUNS: Table[StationRun] = Table(
    "Runs",
    (
        *pick(_KNOWN, "station", "begins", "ends", "readings", "start_level_m"),
        _KNOWN["rate_m_per_day"].but(unit=_WEEK, source=lambda p: _weekly(p.run.rate)),
        _KNOWN["slowest"].but(unit=_WEEK, source=lambda p: _weekly(p.run.slowest)),
        _KNOWN["fastest"].but(unit=_WEEK, source=lambda p: _weekly(p.run.fastest)),
        *pick(_KNOWN, "believable", "why"),
        _KNOWN["ended_by"].but(source=_ended),
        *pick(_KNOWN, "given_back", "opened_by"),
        _KNOWN["rows"].but(source=lambda p: ", ".join(map(str, p.run.rows))),
        *pick(_KNOWN, "curve", "forecast_basis"),
    ),
)

RUN_ROWS: Table[StationRun] = Table(
    "runs",
    pick(
        _KNOWN, "station", "begins", "ends", "readings", "rate_m_per_day", "slowest", "fastest",
        "believable", "why", "ended_by", "concluded", "given_back", "rows",
    ),
)  # fmt: skip
