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
    return f"{ended} (inferred)" if pair.run.inferred else ended


_ALL: tuple[Column[StationRun], ...] = (
    Column("station", "Station", Kind.NAME, 15.0, lambda p: p.station,
           note="Station.", required=True),
    Column("start", "Start", Kind.DATE, 12.0, lambda p: p.run.start,
           note="First reading of the run.", required=True),
    Column("end", "End", Kind.DATE, 12.0, lambda p: p.run.end,
           note="End of the run.", required=True),
    Column("readings", "Readings", Kind.COUNT, 9.0, lambda p: len(p.run.days),
           note="Usable readings in the run.", required=True),
    Column("start_level_m", "Start level ({unit})", Kind.PRESSURE, 9.0,
           lambda p: p.run.start_level, "m"),
    Column("rate_m_per_day", "Rate ({unit})", Kind.RATE, 10.0, lambda p: p.run.rate, "m per day",
           "Fouling rate, median of all slopes."),
    Column("rate_low", "Low (80 %)", Kind.RATE, 9.0, lambda p: p.run.rate_low, "m per day",
           "Low end of its 80 % interval."),
    Column("rate_high", "High (80 %)", Kind.RATE, 9.0, lambda p: p.run.rate_high, "m per day",
           "High end of its 80 % interval."),
    Column("valid", "Valid", Kind.YES_NO, 7.0, lambda p: p.run.valid,
           note="Whether the rate may be used.", required=True),
    Column("why", "Why not", Kind.TEXT, 30.0, lambda p: p.run.why, note="Why it may not."),
    Column("ended_by", "Ended by", Kind.TEXT, 34.0, lambda p: p.run.ended_by,
           note="What ended the run; empty: still open."),
    Column("inferred", "Inferred", Kind.YES_NO, 9.0, lambda p: p.run.inferred,
           note="Ended by a fall that no work explains.", required=True),
    Column("recovered", "Given back", Kind.SHARE, 10.0, lambda p: p.run.recovered,
           note="Share of the rise over the clean drop that its end gave back."),
    Column("opened_by", "Started by", Kind.TEXT, 26.0,
           lambda p: p.run.opened_by or "first reading"),
    Column("rows", "Rows of Readings", Kind.TEXT, 34.0, lambda p: " ".join(map(str, p.run.rows)),
           note="Rows of its readings on the sheet Readings, spaces between."),
    Column("curve", "Curve ahead", Kind.TEXT, 12.0, lambda p: p.ahead.curve if p.ahead else None),
    Column("forecast_basis", "Forecast rests on", Kind.TEXT, 46.0,
           lambda p: p.ahead.basis if p.ahead else None, style="wrap"),
)  # fmt: skip
_KNOWN = {column.key: column for column in _ALL}
_WEEK = "m per week"

RUNS: Table[StationRun] = Table(
    "Runs",
    (
        *pick(_KNOWN, "station", "start", "end", "readings", "start_level_m"),
        _KNOWN["rate_m_per_day"].but(unit=_WEEK, source=lambda p: _weekly(p.run.rate)),
        _KNOWN["rate_low"].but(unit=_WEEK, source=lambda p: _weekly(p.run.rate_low)),
        _KNOWN["rate_high"].but(unit=_WEEK, source=lambda p: _weekly(p.run.rate_high)),
        *pick(_KNOWN, "valid", "why"),
        _KNOWN["ended_by"].but(source=_ended),
        *pick(_KNOWN, "recovered", "opened_by"),
        _KNOWN["rows"].but(source=lambda p: ", ".join(map(str, p.run.rows))),
        *pick(_KNOWN, "curve", "forecast_basis"),
    ),
)

RUN_ROWS: Table[StationRun] = Table(
    "runs",
    pick(
        _KNOWN, "station", "start", "end", "readings", "rate_m_per_day", "rate_low", "rate_high",
        "valid", "why", "ended_by", "inferred", "recovered", "rows",
    ),
)  # fmt: skip
