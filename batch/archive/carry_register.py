"""The next season's workbook: register, settings, clean drops and what remained open."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from siltbook.batch.archive.carry_typed import Unread, whole_texts
from siltbook.batch.archive.left_behind import after_the_day
from siltbook.batch.archive.season import left_open
from siltbook.batch.ladder.facts import Facts, facts_of, too_low_to_flush
from siltbook.batch.ladder.replay import Gear, Standing, Step, cycles_short
from siltbook.batch.model import Station, Work
from siltbook.batch.reading.book_units import units_in
from siltbook.batch.reading.parsing import number_text
from siltbook.batch.results import Assessment
from siltbook.batch.sheets.kit import MAX_CELL_TEXT
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.book import Settings
from siltbook.templates.contract import (
    CHANGED_GAUGES,
    FARM,
    FLOW_UNITS,
    PRESSURE_UNITS,
    STATIONS,
    WHOLE_FARM,
    Column,
    Kind,
)
from siltbook.templates.names import name_key
from siltbook.templates.safety import ON_START_HERE, Touch
from siltbook.templates.shown import METRE
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per, unit_read_in

if TYPE_CHECKING:
    from siltbook.templates.blank import Row

_BAR = metres_per("bar")
_GAUGE = ("gauges", "full_scale", "gauge_class", "division")
_NOT_CARRIED = ("season", "review_date")
_OWN_UNITS = {Kind.PRESSURE: ("bar", PRESSURE_UNITS), Kind.FLOW: ("m3/h", FLOW_UNITS)}


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
    held, unit, unread = last.book.settings, _limits_in(last), Unread(last)
    # A blank with limits in metres takes the lowest flush inlet in bar, whatever the farm's unit.
    per = {"drop_limit": metres_per(unit), "flush_inlet": metres_per(unit)}
    per |= {"flush_inlet": _BAR} if unit == METRE else {}
    for column in FARM.columns:
        value = getattr(held, column.key)
        if column.key in _NOT_CARRIED:
            continue
        if (typed := unread.setting(last.book, column.key)) is not None:
            yield column.key, typed
        elif value is not None and value != "":
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
    table, farm = last.book.stations, units_in(last.book, last.book.names)
    stations, unread = {r.station.row: r.station for r in last.stations}, Unread(last)
    for record in table.records():
        row = record["row"]
        typed = unread.filled(table, row, record)
        typed |= whole_texts(table, row)
        own = _in_force(last, stations.get(row), typed, unread)
        units = {
            Kind.PRESSURE: str(own["unit"] or farm.pressure),
            Kind.FLOW: farm.flow,
            Kind.METRES: _limits_in(last),
        }
        yield {c.key: _own(c, own[c.key], units) for c in STATIONS.columns}


def _in_force(
    last: Assessment, station: Station | None, typed: dict[str, object], unread: Unread
) -> dict[str, object]:
    """A row of the register with the gauge that was in force at the end of the season.

    A unit that could not be read stays one: the one before it would be read into the numbers.
    """
    if station is None or not station.changed or last.as_of is None:
        return typed  # without a day all changes go on, as they are dated
    now, table = station.now, last.book.gauges
    gauge = unread.filled(table, now.gauge_row, {key: getattr(now, key) for key in _GAUGE})
    unit = typed["unit"]
    for change in station.changed:
        unit = change.unit or unread.in_row(table, "unit", change.row) or unit
    return {**typed, **gauge, "unit": unit or now.unit}


def _gauges_to_come(last: Assessment) -> Iterator[Row]:
    """Gauges that are to be changed after the as-of date; all of them where there is none."""
    table, unread = last.book.gauges, Unread(last)
    units = units_in(last.book, last.book.names)
    for record in table.records():
        row = record["row"]
        since = record["since"]
        if last.as_of is None or since > last.as_of:
            # A row without a unit is in that of the change before it, which may be to come too.
            unit = record["unit"] or units.at(name_key(record["station"]), since.isoformat())
            own = unread.filled(table, row, record)
            own |= whole_texts(table, row)
            yield {
                c.key: _own(c, own[c.key], {Kind.PRESSURE: unit, Kind.FLOW: units.flow})
                for c in CHANGED_GAUGES.columns
            }


def _carried(last: Assessment) -> Iterator[Row]:
    """Where every station stands that is over its limit, or whose flush gear is in question."""
    settings = last.book.settings
    for result in sorted(last.stations, key=lambda one: one.station.row):
        facts = facts_of(result.history, settings, last.as_of)
        standing, low = facts.standing, _supply_low(facts)
        if standing.step is not Step.CLEAR or standing.gear is not Gear.TRUSTED or low:
            row = _stood(result.station.name, standing, settings)
            own = _joined(_remark_of(last, standing), str(row["remark"]))
            yield {**row, "supply": low, "remark": own}


def _supply_low(facts: Facts) -> dt.date | None:
    """The day on which the inlet was too low for a flush, in a flush or in the last reading."""
    if facts.latest is not None and too_low_to_flush(facts):
        return facts.latest.date
    low = facts.standing.supply_low
    return None if low is None else low.date


def _remark_of(last: Assessment, at: Standing) -> str:
    """What somebody wrote on Carried over, for as long as the station stands on that row."""
    own = (row for sheet, row in at.rows if sheet == "carried")
    return next((str(last.book.carried.frame.at[row, "remark"] or "") for row in own), "")


def _stood(name: str, at: Standing, settings: Settings) -> Row:
    """One row of the sheet Carried over."""

    def day(work: Work | None) -> dt.date | None:
        return None if work is None else work.date

    on = settings.shown.day
    opened = at.episode.opened if at.episode and at.episode.open else None
    remark = [_from(settings)]
    if at.cleaned is not None and at.cleaned.work != "hand cleaning":
        remark.append(f"{at.cleaned.work} on {on(at.cleaned.date)}")
    if at.supply_low is not None and at.supply_low.row:
        remark.append(f"inlet too low in the flush of {on(at.supply_low.date)}")
    if at.partial is not None:
        lacking = cycles_short(at.partial, settings.flush_cycles)
        remark.append(f"the flush of {on(at.partial.date)} was {lacking}")
    new = at.replaced if at.replaced and at.replaced.work == "controller replaced" else None
    return {
        "station": name,
        "step": str(at.step),
        "gear": str(at.gear),
        "opened": opened,
        "flushed": day(at.flushed),
        "cleaned": day(at.cleaned),
        "failed": day(at.failed),
        "solenoid": day(at.new_solenoid),
        "controller": day(new),
        "called": day(at.called),
        "remark": "; ".join(remark),
    }


def _own(column: Column, value: object, units: Mapping[Kind, str]) -> object:
    """One value [m], [m3/h] in the people's own unit; with a unit of its own beside it where
    theirs cannot be read."""
    if not isinstance(value, float) or math.isnan(value):
        return None if isinstance(value, float) else value
    if column.kind not in units:
        return _tidy(value)
    unit = units[column.kind]
    instead, known = _OWN_UNITS.get(column.kind, (METRE, PRESSURE_UNITS))
    per = cubic_metres_per_hour_per if column.kind is Kind.FLOW else metres_per
    if unit not in known:
        return f"{value / per(instead):.10g} {instead}"
    return _tidy(value / per(unit))


def _pointer(touches: frozenset[Touch]) -> str:
    """Where the cautions stand, for an action that touches something; they fill no cell here."""
    return f"; {ON_START_HERE}" if touches else ""


def _agreed(last: Assessment) -> Iterator[Row]:
    """What remained open, as rows of the sheet Agreed that the first review will look at."""
    said, table, unread = _from(last.book.settings), last.book.agreed, Unread(last)
    for line in after_the_day(last):
        yield {"station": WHOLE_FARM, "action": line, "remark": f"left open {said}"}
    for entry in left_open(last):
        pointer = _pointer(entry.touches)
        own = entry.remark.removesuffix(pointer) if pointer else entry.remark
        long = whole_texts(table, entry.row) if entry.row else {}
        typed = {key: unread.in_row(table, key, entry.row) for key in ("due", "done") if entry.row}
        yield {
            **typed,
            "station": entry.station,
            "action": entry.action,
            "who": long.get("who") or entry.who or None,
            "due": entry.due or typed.get("due"),
            "remark": _joined(own, f"left open {said}{pointer}"),
        }


def _from(settings: Settings) -> str:
    return f"from {settings.season or 'last season'}"


def _joined(own: str, more: str) -> str:
    """A person's remark with ours behind it, where a cell can hold both."""
    both = f"{own}; {more}" if own else more
    return both if len(both) <= MAX_CELL_TEXT else own
