"""Rules about the sheets Carried over and Gauges: rows that contradict themselves or the log."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from siltbook.checks.context import JoinedBook, Listed, finding
from siltbook.checks.findings import Finding
from siltbook.templates.contract import CARRIED, Kind

DAYS = tuple(c.key for c in CARRIED.columns if c.kind is Kind.DATE)
# What stood somewhere got there by these days, one of them at least.
_NEEDS = {
    "needs flush": ("opened",),
    "awaiting reading after flush": ("flushed",),
    "needs hand cleaning": ("flushed",),
    "awaiting reading after cleaning": ("cleaned",),
    "needs escalation": ("cleaned",),
    "solenoid suspect": ("failed",),
    "controller suspect": ("failed", "solenoid"),
    "awaiting proof": ("solenoid", "controller"),
}


def row_twice(joined: JoinedBook) -> list[Finding]:
    """A station with a second row on Carried over, or on Gauges from the same day on."""
    found = []
    for place, code, keys in (
        (joined.carried, "carried-twice", ["key"]),
        (joined.gauges, "gauge-twice", ["key", "since"]),
    ):
        if not place.table.rows:
            continue
        named = place.frame[place.there("key")]
        for row in named.index[named.duplicated(keys)].tolist():
            same = (named[keys] == named.loc[row, keys]).all(axis=1)
            first = int(named.index[same][0])
            read = f"{joined.read(place, 'station', row)}, in row {first} already"
            accepted = f"one row; row {first} was used"
            found.append(finding(place, code, "station", row, read, accepted))
    return found


def carried_odd(joined: JoinedBook) -> list[Finding]:
    """Rows of Carried over that lack the days which they rest on, or reach into the log."""
    place = joined.carried
    if not place.table.rows:
        return []
    firsts: dict[object, Any] = {}
    for listed in (joined.readings, joined.work):
        for key, day in listed.frame.dropna(subset=["day"]).groupby("key")["day"].min().items():
            firsts[key] = min(day.date(), firsts.get(key, day.date()))
    found: list[Finding] = []
    for record in place.table.records(place.values):
        found += _lacking(place, record["row"], record)
        found += _late(joined, record["row"], record, firsts.get(record["key"]))
    return found


def _lacking(place: Listed, row: int, record: Mapping[str, object]) -> Iterator[Finding]:
    days = {key for key in DAYS if record[key] is not None}
    for column in ("step", "gear"):
        said = str(record[column])
        needs = _NEEDS.get(said, ())
        if needs and not days.intersection(needs):
            headers = " or ".join(CARRIED.column(key).header for key in needs)
            read = f"'{said}' without a day in {headers}"
            yield finding(place, "carried-odd", column, row, read, f"the day in {headers}")


def _late(
    joined: JoinedBook, row: int, record: Mapping[str, object], first: dt.date | None
) -> Iterator[Finding]:
    for key in DAYS:
        day = record[key]
        if isinstance(day, dt.date) and first is not None and day > first:
            on, begun = joined.shown.day(day), joined.shown.day(first)
            read = f"{on}, after the station's first entry of {begun} in this book"
            accepted = "a day of last season; later ones belong on Readings and Work done"
            yield finding(joined.carried, "carried-odd", key, row, read, accepted)
            return


RULES = (row_twice, carried_odd)
