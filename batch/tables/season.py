"""One station's season, as the archive's page shows it."""

from __future__ import annotations

from siltbook.batch.archive.season import StationSeason
from siltbook.batch.tables.describe import Column, Kind, Table

# Widths in points: the page is landscape A4 with margins of half an inch. Each holds its head in
# any unit, 4 pt apart from the next.
SEASON_PAGE: Table[StationSeason] = Table(
    "season-summary",
    (
        Column("station", "Station", Kind.NAME, 92.0, lambda s: s.result.station.name),
        Column("verdict", "Last verdict", Kind.VERDICT, 88.0, lambda s: s.result.verdict),
        Column("drop_m", "Drop ({unit})", Kind.PRESSURE, 68.0,
               lambda s: s.result.latest.drop if s.result.latest else None, "m"),
        Column("limit_m", "Limit ({unit})", Kind.PRESSURE, 69.0,
               lambda s: s.result.station.limit, "m"),
        Column("episodes", "Times over", Kind.COUNT, 52.0, lambda s: s.episodes),
        Column("days_over", "Days over", Kind.COUNT, 115.0, lambda s: s.days_over, style="bar"),
        Column("flushes", "Flushes", Kind.COUNT, 42.0, lambda s: s.flushes),
        Column("cleanings", "Cleanings", Kind.COUNT, 48.0, lambda s: s.cleanings),
        Column("rate_m_per_day", "Rate ({unit})", Kind.RATE, 84.0, lambda s: s.rate, "m/day"),
        Column("energy_kwh", "Dirt ({unit})", Kind.ENERGY, 52.0, lambda s: s.energy_kwh, "kWh"),
        Column("energy_cost", "Dirt (money)", Kind.MONEY, 59.0, lambda s: s.energy_cost),
    ),
)  # fmt: skip
