"""From the book's frames to one history per station, in the ladder's order."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any

from siltbook.batch.ladder.replay import settled
from siltbook.batch.model import CarriedOver, History, Reading, Station, Work
from siltbook.batch.numbers.flowfit import fit_exponent
from siltbook.batch.numbers.order import ordered
from siltbook.batch.numbers.readings import Scale, reading_of, without_low_flows
from siltbook.batch.numbers.slips import without_slips
from siltbook.batch.numbers.unplaced import elsewhere, unplaced, unplaced_gauges, unplaced_work
from siltbook.batch.reading.unread import RULES
from siltbook.checks.changed import changed_gauges
from siltbook.checks.gauges import GaugeFitness, gauge_fitness
from siltbook.checks.labour import most_flush_inlet, usual_inlet
from siltbook.checks.slipped import Slipped, slipped_dates
from siltbook.templates.book import Book, Table, beyond, set_aside
from siltbook.templates.contract import READINGS, STATIONS, WORK, Sheet

# Columns of the register that nothing computes with: shown where a table asks for them.
_USED = frozenset({*(f.name for f in fields(Station)), "station", "drop_limit"})
STRUCK, UNREAD_GEAR = "struck through", "solenoid suspect"
_CARRIED = frozenset(f.name for f in fields(CarriedOver))
_MORE = tuple(c.key for c in STATIONS.columns if c.key not in _USED)


def _number(value: object) -> float | None:
    return None if value is None or math.isnan(value) else float(value)  # type: ignore[arg-type]


def _blank(value: object) -> bool:
    return value is None or value == "" or (isinstance(value, float) and math.isnan(value))


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _yes(value: object) -> bool | None:
    return {"yes": True, "no": False}.get(_text(value))


def stations(book: Book, as_of: dt.date | None = None) -> tuple[Station, ...]:
    """The register with the farm's defaults filled in; the first row of a repeated name counts.

    Gauges that were changed after the as-of date are left out.
    """
    changed = changed_gauges(book, as_of)
    found: dict[str, Station] = {}
    values = book.stations.values
    refused: dict[int, tuple[str, ...]] = defaultdict(tuple)
    for key, mask in beyond(STATIONS, values).items():
        for place in mask.nonzero()[0].tolist():
            refused[book.stations.rows[place]] += (key,)
    for record in book.stations.records(set_aside(STATIONS, values)):
        name = _text(record["station"])
        if name in found:
            found[name] = _said_twice(found[name], record)
        if not name or name in found:
            continue
        limit = _number(record["drop_limit"])
        found[name] = Station(
            name=name,
            row=record["row"],
            block=_text(record["block"]),
            filter_type=_text(record["filter_type"]),
            grade=_number(record["grade"]),
            reference_flow=_number(record["reference_flow"]),
            clean_drop=_number(record["clean_drop"]),
            limit=book.settings.drop_limit if limit is None else limit,
            working_inlet=_number(record["working_inlet"]),
            wanted_field=_number(record["wanted_field"]),
            gauges=_text(record["gauges"]) or None,
            full_scale=_number(record["full_scale"]),
            gauge_class=_number(record["gauge_class"]),
            division=_number(record["division"]),
            unit=_text(record["unit"]) or book.settings.pressure_unit,
            in_service=_yes(record["in_service"]) is not False,
            flush_flow=_number(record["flush_flow"]),
            emitter_exponent=_number(record["emitter_exponent"]),
            emitter_passage=_number(record["emitter_passage"]),
            refused=refused.get(record["row"], ()),
            own_limit=limit is not None,
            not_read=_not_read(book, record["row"], refused.get(record["row"], ())),
            more=tuple((key, record[key]) for key in _MORE if not _blank(record[key])),
            changed=changed.get(name, ()),
        )
    return tuple(found.values())


def _not_read(book: Book, row: int, refused: tuple[str, ...]) -> tuple[str, ...]:
    """The keys of a station's rules that were typed and cannot be read, or cannot be."""
    said = {key for key, _ in book.stations.unread.get(row, ())} | {*refused}
    return tuple(key for key in RULES if key in said)


def _said_twice(first: Station, record: dict[str, Any]) -> Station:
    """A station with the rules of which a further row of its name says another than the first."""
    values = {key: getattr(first, key, None) for key in RULES}
    values["drop_limit"] = first.limit if first.own_limit else None
    said = {key: number for key in RULES if (number := _number(record[key])) is not None}
    other = {key for key, number in said.items() if number != values[key]} | {*first.not_read}
    return replace(first, not_read=tuple(key for key in RULES if key in other))


@lru_cache(maxsize=128)
def station_gauge(station: Station) -> GaugeFitness:
    """What this station's gauge can tell at its limit, and what a better one would."""
    return gauge_fitness(
        station.limit,
        gauges=station.gauges,
        full_scale=station.full_scale,
        gauge_class=station.gauge_class,
        division=station.division,
    )


def _work(record: dict[str, Any], unread: tuple[str, ...]) -> Work:
    return Work(
        row=record["row"],
        date=record["date"],
        time=record["time"],
        work=_text(record["work"]),
        cycles=_number(record["cycles"]),
        flush_inlet=_number(record["flush_inlet"]),
        click=_yes(record["click"]),
        water=_yes(record["water"]),
        gauge_zero=_yes(record["gauge_zero"]),
        water_heard=_yes(record["water_heard"]),
        unread=unread,
    )


def _unread(table: Table, sheet: Sheet) -> dict[int, tuple[str, ...]]:
    """The cells that say something which was not read, in words, by row."""
    return {
        row: tuple(f"{said} in '{sheet.column(key).header}', which cannot be read"
                   for key, said in cells)
        for row, cells in table.unread.items()
    }  # fmt: skip


def histories(book: Book, as_of: dt.date | None) -> tuple[History, ...]:
    """One history per station of the register, entries after the as-of date left out."""
    register = {station.name: station for station in stations(book, as_of)}
    scales = {name: Scale(station) for name, station in register.items()}
    read: dict[str, list[Reading]] = {name: [] for name in register}
    done: dict[str, list[Work]] = {name: [] for name in register}
    beside, signs = (_unread(table, sheet) for table, sheet in (
        (book.readings, READINGS), (book.work, WORK)))  # fmt: skip
    for row, name, date, *cells in zip(*_columns(book.readings), strict=True):
        scale = scales.get(name)
        if scale is not None and (as_of is None or date <= as_of):
            on = scale.on(date) if scale.station.changed else scale
            made = reading_of(on, row, date, *cells)
            if row in beside:
                made = replace(made, unread=beside[row])
            read[name].append(_struck(made) if row in book.readings.struck else made)
    for record in book.work.records(set_aside(WORK, book.work.values)):
        name = _text(record["station"])
        if record["row"] in book.work.struck:
            continue
        if name in register and (as_of is None or record["date"] <= as_of):
            done[name].append(_work(record, signs.get(record["row"], ())))
    names, days = (book.readings.values[key].tolist() for key in ("station", "date"))
    carried, slipped = _carried(book), slipped_dates(names, days, book.readings.rows)
    lost: dict[str, dict[str, Any]] = {name: {} for name in register}
    for key, found in (
        ("unplaced", unplaced(book, as_of)),
        ("unplaced_work", unplaced_work(book, as_of)),
        ("unplaced_gauges", unplaced_gauges(book, as_of)),
        ("elsewhere", elsewhere(book, as_of)),
    ):
        for name in found.keys() & register.keys():
            lost[name][key] = found[name]
    own = (
        _history(book, station, read[name], done[name], carried.get(name), slipped.get(name, ()))
        for name, station in register.items()
    )
    return tuple(replace(h, **more) if (more := lost[h.station.name]) else h for h in own)


def _struck(reading: Reading) -> Reading:
    """A reading that somebody struck through: nothing is opened, closed or proven by it."""
    why = f"{reading.why_unusable}; {STRUCK}" if reading.why_unusable else STRUCK
    return replace(reading, why_unusable=why, u_drop=None, p_over=None)


def _columns(readings: Table) -> Iterator[list[Any]]:
    """Row, station, date and what `reading_of` asks: whole columns, None where a number is none."""
    values = readings.values
    yield readings.rows
    for key in ("station", "date", "time"):
        yield values[key].tolist()
    for key in ("inlet", "outlet", "flow", "field", "drop"):
        if key in values:
            found = values[key].astype(float).tolist()
            yield [None if value != value else value for value in found]
        else:
            yield [None] * len(readings.rows)
    yield values["occasion"].tolist()


def _carried(book: Book) -> dict[str, CarriedOver]:
    """The sheet Carried over; of two rows for one station the first counts.

    Words for the flush gear that cannot be read may be the worse: it is not trusted until they are
    corrected.
    """
    found: dict[str, CarriedOver] = {}
    for record in book.carried.records():
        said = {key: value for key, value in record.items() if key in _CARRIED and value}
        if "gear" in dict(book.carried.unread.get(record["row"], ())):
            said["gear"] = UNREAD_GEAR
        found.setdefault(str(record["station"]), CarriedOver(**said))
    return found


def _without_odd_inlets(station: Station, read: list[Reading], done: list[Work]) -> list[Work]:
    """The work with every inlet of a flush left out that the check `flush-inlet-odd` refuses."""
    if all(work.flush_inlet is None for work in done):
        return done
    usual = usual_inlet([r.inlet for r in read if r.inlet is not None])

    def odd(work: Work) -> bool:
        if work.flush_inlet is None:
            return False
        return work.flush_inlet > most_flush_inlet(usual, station.on(work.date).full_scale) + 1e-6

    return [replace(work, flush_inlet=None) if odd(work) else work for work in done]


def _history(
    book: Book,
    station: Station,
    read: list[Reading],
    done: list[Work],
    carried: CarriedOver | None,
    slipped: tuple[Slipped, ...],
) -> History:
    cycles, inlet = book.settings.flush_cycles, book.settings.flush_inlet
    least = station.working_inlet or inlet
    read = without_slips(read, lambda r: station.on(r.date).unit, least, inlet)
    if station.reference_flow is None:
        read = without_low_flows(read)
    done = _without_odd_inlets(station, read, done)
    entries, reordered = ordered([*read, *done], station.limit)
    history = History(station, entries, carried=carried, reordered=reordered, slipped=slipped)
    entries = settled(history, flush_cycles=cycles, flush_inlet=inlet)
    fit = fit_exponent(station, entries, cycles, inlet)
    return replace(history, entries=entries, flow_fit=fit)
