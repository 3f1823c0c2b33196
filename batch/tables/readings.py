"""The judged readings, as the archive shows them."""

from __future__ import annotations

from siltbook.batch.model import Reading
from siltbook.batch.results import Assessment
from siltbook.batch.tables.describe import Column, Kind, Table

StationReading = tuple[str, Reading]  # with the station's name


def station_readings(assessment: Assessment) -> list[StationReading]:
    """Every reading with its station's name, by the row of the sheet."""
    pairs = ((r.station.name, one) for r in assessment.stations for one in r.history.readings)
    return sorted(pairs, key=lambda pair: pair[1].row)


DROPS: Table[StationReading] = Table(
    "drops",
    (
        Column("row", "Row in Readings", Kind.COUNT, 9.0, lambda p: p[1].row,
               note="Row of the workbook's sheet that this comes from.", required=True),
        Column("station", "Station", Kind.NAME, 15.0, lambda p: p[0],
               note="Station.", required=True),
        Column("date", "Date", Kind.DATE, 11.0, lambda p: p[1].date,
               note="Day of the reading.", required=True),
        Column("time", "Time", Kind.TIME, 7.0, lambda p: p[1].time,
               note="Time of the reading."),
        Column("drop_m", "Drop ({unit})", Kind.PRESSURE, 8.0, lambda p: p[1].drop, "m",
               "Inlet minus outlet."),
        Column("u_drop_m", "Standard uncertainty ({unit})", Kind.PRESSURE, 12.0,
               lambda p: p[1].u_drop, "m", "Standard uncertainty of the drop.", style="fine",
               low=0),
        Column("p_over", "Probability of over", Kind.CHANCE, 11.0, lambda p: p[1].p_over,
               note="Probability that the drop is over the limit.", low=0, high=1),
        Column("used", "Used by the ladder", Kind.YES_NO, 9.0, lambda p: p[1].usable,
               note="Whether the judgement used it.", required=True),
        Column("why_not_used", "Why not", Kind.TEXT, 24.0, lambda p: p[1].why_unusable,
               note="Why it was not used."),
    ),
)  # fmt: skip
