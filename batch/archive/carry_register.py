"""The next season's workbook: register, settings, clean drops and what remained open."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from siltbook.batch.archive.season import left_open
from siltbook.batch.ladder.replay import Gear, Standing, Step, cycles_short, replay_ladder
from siltbook.batch.model import Work
from siltbook.batch.reading.parsing import number_text
from siltbook.batch.results import Assessment
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.book import Settings
from siltbook.templates.contract import (
    CHANGED_GAUGES,
    FARM,
    STATIONS,
    Column,
    Kind,
)
from siltbook.templates.safety import ON_START_HERE, Touch
from siltbook.templates.shown import METRE
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per, unit_read_in

if TYPE_CHECKING:
    from siltbook.templates.blank import Row

_BAR = metres_per("bar")
_GAUGE = ("gauges", "full_scale", "gauge_class", "division")
_NOT_CARRIED = ("season", "review_date")


def next_book(last: Assessment) -> bytes:
    """The blank of the next season with everything in it that does not begin anew.

    Pressures and flows stand in the people's own units again.
    """
    settings = dict(_settings(last))
    held = last.book.settings
    options = BlankOptions(held.pressure_unit, held.flow_unit, limits_in=_limits_in(last))
    rows = {
        "Stations": list(_register(last)),
        "Agreed": list(_agreed(last)),
        "Gauges": list(_gauges_to_come(last)),
        "Carried over": list(_carried(last)),
    }
    return build(options, rows, settings)


def following(season: str) -> str:
    """The season after this one: 2026 -> 2027, 2026/27 -> 2027/28; empty where it is no year."""
    match = re.fullmatch(r"(\d{4})(?:(\s*[/–-]\s*)(\d{2}|\d{4}))?", season.strip())
    if match is None:
        return ""
    first = str(int(match[1]) + 1)
    if match[2] is None:
        return first
    digits = len(match[3])
    return f"{first}{match[2]}{(int(match[3]) + 1) % 10**digits:0{digits}d}"


def _settings(last: Assessment) -> Iterator[tuple[str, object]]:
    held, unit = last.book.settings, _limits_in(last)
    # A blank with limits in metres takes the lowest flush inlet in bar, whatever the farm's unit.
    per = {"drop_limit": metres_per(unit), "flush_inlet": metres_per(unit)}
    per |= {"flush_inlet": _BAR} if unit == METRE else {}
    for column in FARM.columns:
        value = getattr(held, column.key)
        if column.key in _NOT_CARRIED or value is None or value == "":
            continue
        yield column.key, _tidy(value / per[column.key]) if column.key in per else value
    yield "season", following(held.season)


def _limits_in(last: Assessment) -> str:
    """The unit in which the farm's limit was typed, so that it is carried as it was; metres where
    it was not."""
    typed, metres = last.book.setting_raw.get("drop_limit"), last.book.settings.drop_limit
    if isinstance(typed, str):
        typed = number_text(typed).value
    if not isinstance(typed, float) or not typed:
        return METRE
    return unit_read_in(typed, metres, METRE) or METRE


def _tidy(value: float) -> float:
    """A number without the noise of its way into metres and back."""
    return float(f"{value:.10g}")


def _register(last: Assessment) -> Iterator[Row]:
    settings, limits = last.book.settings, metres_per(_limits_in(last))
    for row in last.book.stations.frame.to_dict("records"):
        record = _in_force(last, {str(key): value for key, value in row.items()})
        pressure = metres_per(str(record["unit"] or settings.pressure_unit))
        flow = cubic_metres_per_hour_per(settings.flow_unit)
        yield {c.key: _own(c, record[c.key], pressure, flow, limits) for c in STATIONS.columns}


def _in_force(last: Assessment, record: Mapping[str, object]) -> dict[str, object]:
    """A row of the register with the gauge that was in force at the end of the season."""
    stations = (result.station for result in last.stations)
    station = next((s for s in stations if s.name == record["station"]), None)
    if station is None or not station.changed:
        return dict(record)
    gauge = {key: getattr(station.now, key) for key in _GAUGE}
    return {**record, **gauge, "unit": station.now.unit}


def _gauges_to_come(last: Assessment) -> Iterator[Row]:
    """Gauges that are to be changed after the as-of date."""
    units = {result.station.name: result.station.now.unit for result in last.stations}
    flow = cubic_metres_per_hour_per(last.book.settings.flow_unit)
    for record in last.book.gauges.frame.to_dict("records"):
        if last.as_of is not None and record["since"] > last.as_of:
            pressure = metres_per(record["unit"] or units.get(record["station"], "bar"))
            yield {c.key: _own(c, record[c.key], pressure, flow) for c in CHANGED_GAUGES.columns}


def _carried(last: Assessment) -> Iterator[Row]:
    """Where every station stands that is over its limit, or whose flush gear is in question."""
    settings = last.book.settings
    for result in sorted(last.stations, key=lambda one: one.station.row):
        standing = replay_ladder(
            result.history, flush_cycles=settings.flush_cycles, flush_inlet=settings.flush_inlet
        )
        if standing.step is not Step.CLEAR or standing.gear is not Gear.TRUSTED:
            yield _stood(result.station.name, standing, settings)


def _stood(name: str, at: Standing, settings: Settings) -> Row:
    """One row of the sheet Carried over."""

    def day(work: Work | None) -> dt.date | None:
        return None if work is None else work.date

    on = settings.shown.day
    open_ = next((e.opened for e in at.episodes[-1:] if e.closed is None), None)
    remark = [f"from {settings.season or 'last season'}"]
    if at.cleaned is not None and at.cleaned.work != "hand cleaning":
        remark.append(f"{at.cleaned.work} on {on(at.cleaned.date)}")
    if at.supply_low is not None:
        remark.append(f"inlet too low in the flush of {on(at.supply_low.date)}")
    if at.partial is not None:
        lacking = cycles_short(at.partial, settings.flush_cycles)
        remark.append(f"the flush of {on(at.partial.date)} was {lacking}")
    new = at.replaced if at.replaced and at.replaced.work == "controller replaced" else None
    return {
        "station": name,
        "step": str(at.step),
        "gear": str(at.gear),
        "opened": open_,
        "flushed": day(at.flushed),
        "cleaned": day(at.cleaned),
        "failed": day(at.failed),
        "solenoid": day(at.new_solenoid),
        "controller": day(new),
        "called": day(at.called),
        "remark": "; ".join(remark),
    }


def _own(
    column: Column, value: object, pressure: float, flow: float, limits: float = 1.0
) -> object:
    """One value of the register in the people's own unit; the factors are in [m] and [m3/h]."""
    if not isinstance(value, float) or math.isnan(value):
        return None if isinstance(value, float) else value
    factors = {Kind.PRESSURE: pressure, Kind.FLOW: flow, Kind.METRES: limits}
    return _tidy(value / factors.get(column.kind, 1.0))


def _pointer(touches: frozenset[Touch]) -> str:
    """Where the cautions stand, for an action that touches something; they fill no cell here."""
    return f"; {ON_START_HERE}" if touches else ""


def _agreed(last: Assessment) -> Iterator[Row]:
    """What remained open, as rows of the sheet Agreed that the first review will look at."""
    season = last.book.settings.season or "last season"
    for entry in left_open(last):
        yield {
            "station": entry.station,
            "action": entry.action,
            "who": entry.who or None,
            "due": entry.due,
            "remark": f"left open from {season}{_pointer(entry.touches)}",
        }
