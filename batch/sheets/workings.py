"""The Workings sheet: one row per reading, from the practitioner's own cells to over or not.

Every figure is a live formula with its value, so that an auditor can follow it to the cell
that somebody filled, and a corrected cell shows its effect at once. A book may hold 100,000
readings: the loop looks up nothing that can be prepared before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

from siltbook.batch.model import History, Reading, Station
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable, Value, line, swatch
from siltbook.batch.tables.workings import WORKINGS
from siltbook.checks.gauges import NOT_CANCELLING
from siltbook.templates.book import Table, column_letters
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

HEADER = 3
PARTS = ("u_drop_m",)  # with it begins the second printed page
NOISE = 1e-6  # [m]; more than this above the limit is over
LAST = WORKINGS.last
# Letters of the columns that the formulas lead to.
(
    _IN_READ, _OUT_READ, _FACTOR, _INLET, _OUTLET, _DROP, _LIMIT, _U, _FLOW, _REFERENCE,
    _EXPONENT, _CLEAN,
) = map(
    WORKINGS.letter,
    (
        "inlet_read", "outlet_read", "factor", "inlet_m", "outlet_m", "drop_m",
        "limit_m", "u_drop_m", "flow_read", "reference_flow", "exponent", "clean_m",
    ),
)  # fmt: skip
MOST = 1_048_000  # rows that a sheet can hold below the header and a closing line


@dataclass(frozen=True)
class Source:
    """Where one column's values stand: the start of their address and what was read."""

    address: str  # with sheet and column letters, the row follows; '' where no link is possible
    raw: dict[int, object]


@dataclass(frozen=True)
class Fixed:
    """What stays the same over one station's rows; formulas without '=', escaped.

    `limit`, `reference` and `clean` are a link ('' where none is possible) and the value that
    was used [m, the farm's flow unit, m]. `u` is the formula of the uncertainty, to be joined by
    the drop's cell, or a single piece where it does not depend on the drop; empty if unknown.
    """

    name: str
    unit: str
    factor: float  # [m per unit]
    date1904: bool
    limit: tuple[str, float]
    reference: tuple[str, float | None]
    clean: tuple[str, float | None]
    flow_unit: str
    flow_factor: float  # [m3/h per unit]
    exponent: float
    u: tuple[str, ...]


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Workings", apart=1)
    says = (
        "Drop = inlet - outlet, in metres of water. Over: drop > limit by more than 0.000001 m."
        " Drop at reference flow = drop x (reference flow / flow) ^ exponent; as read where no flow"
        " is known. Rise = drop - clean drop. Formulas lead to the cells that were filled in."
    )
    tables.says(kit, sheet, 2, WORKINGS, says, ("date", "over"))
    tables.header(kit, sheet, HEADER, WORKINGS)
    count = min(MOST, sum(len(r.history.readings) for r in kit.assessment.stations))
    row = HEADER + max(1, count)
    if count:
        swatch(sheet, HEADER + 1, map(kit.format, map(tables.style_of, WORKINGS.columns)))
        tables.filters(sheet, HEADER, row, WORKINGS)
        over = {"type": "cell", "criteria": "==", "value": '"OVER"', "format": kit.format("over")}
        at = WORKINGS.places["over"]
        sheet.conditional_format(HEADER + 1, at, row, at, over)
    else:
        sheet.write_string(row, 0, "No reading in this book.", kit.format("mark"))
    tables.page(kit, sheet, WORKINGS, HEADER, keep=1, parts=PARTS)
    sheet.print_area(0, 0, row, LAST)
    rows = partial(_rows, kit.assessment)
    return [LongTable(HEADER + 2, count, rows)] if count else []


def _rows(assessment: Assessment, styles: list[str]) -> Iterator[str]:
    """Every station's readings as rows of the sheet's part; `styles` as the swatch has them."""
    readings = assessment.book.readings
    sources = tuple(_source(readings, key) for key in ("inlet", "outlet", "flow", "drop"))
    n = HEADER + 2
    for result in assessment.stations:
        fixed: dict[int, Fixed] = {}  # by the gauge
        for reading in result.history.readings[: MOST + HEADER + 2 - n]:
            if reading.gauge_row not in fixed:
                on = result.station.on(reading.date)
                fixed[reading.gauge_row] = _fixed(assessment, result.history, on)
            yield _row(n, styles, fixed[reading.gauge_row], sources, reading)
            n += 1


def _fixed(assessment: Assessment, history: History, station: Station) -> Fixed:
    """`station` is the history's with the gauge that is in question."""
    book = assessment.book
    flow_unit = book.settings.flow_unit
    per_flow = cubic_metres_per_hour_per(flow_unit)
    reference = station.reference_flow
    return Fixed(
        name=k.one_line(station.name),
        unit=station.unit,
        factor=metres_per(station.unit),
        date1904=book.date1904,
        limit=(escape(limit_formula(assessment, station), quote=False), station.limit),
        reference=(
            _station_cell(book.stations, "reference_flow", station.row, per_flow, reference),
            reference / per_flow if reference else None,
        ),
        clean=(
            _station_cell(book.stations, "clean_drop", station.row, 1.0, station.clean_drop),
            station.clean_drop,
        ),
        flow_unit=flow_unit,
        flow_factor=per_flow,
        exponent=history.exponent,
        u=_uncertainty_formula(book.gauges if station.gauge_row else book.stations, station),
    )


def _station_cell(table: Table, key: str, row: int, factor: float, value: float | None) -> str:
    """The address of a station's cell where it holds, times `factor`, the `value` used; else ''."""
    raw = table.raw.get(key, {}).get(row)
    if value is None or key not in table.places or not is_number(raw):
        return ""
    if abs(float(str(raw)) * factor - value) > 1e-9 * max(1.0, abs(value)):
        return ""
    return escape(f"{k.quoted(table.sheet)}{table.cell(key, row)}", quote=False)


def _uncertainty_formula(table: Table, station: Station) -> tuple[str, ...]:
    """The formula of a drop's standard uncertainty, as in `gauges.drop_uncertainty`."""
    factor = metres_per(station.unit)
    row = station.gauge_row or station.row

    def metres(key: str, value: float) -> str:
        link = _station_cell(table, key, row, factor, value)
        return f"({link}*{factor!r})" if link else f"{float(value)!r}"

    if station.gauges is None or station.gauge_class is None or station.division is None:
        return ()
    linked = _station_cell(table, "gauge_class", row, 1.0, station.gauge_class)
    share = linked or f"{float(station.gauge_class)!r}"
    reading = f"{metres('division', station.division)}^2/6"
    if station.gauges == "one gauge":
        left = ""  # of the class, where the full scale is known: see `gauges.class_part`
        if station.full_scale is not None:
            scale = metres("full_scale", station.full_scale)
            left = f"+({NOT_CANCELLING!r}*{share}*{scale}/(100*SQRT(3)))^2"
        return f"SQRT({reading}+({share}*", f"/(100*SQRT(3)))^2{left})"
    if station.full_scale is None:
        return ()
    scale = metres("full_scale", station.full_scale)
    return (f"SQRT({reading}+2*({share}*{scale}/(100*SQRT(3)))^2)",)


def _source(table: Table, key: str) -> Source:
    place = table.places.get(key)
    address = "" if place is None else f"{k.quoted(table.sheet)}{column_letters(place)}"
    return Source(escape(address, quote=False), table.raw.get(key, {}))


def is_number(value: object) -> bool:
    """Whether a cell held a number (a truth value is none)."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def limit_formula(assessment: Assessment, station: Station) -> str:
    """The formula (without '=') for a station's limit: its own cell, else the farm's; else ''."""
    book = assessment.book
    table = book.stations
    raw = table.raw.get("drop_limit", {}).get(station.row)
    if raw is not None and raw != "":
        if not is_number(raw) or abs(float(str(raw)) - station.limit) > 1e-9:
            return ""
        return f"{k.quoted(table.sheet)}{table.cell('drop_limit', station.row)}"
    cell, typed = book.setting_cells.get("drop_limit"), book.setting_raw.get("drop_limit")
    # Refused, or typed in another unit: the cell does not hold the limit that was used.
    if is_number(typed) and abs(float(str(typed)) - station.limit) > 1e-9:
        return ""
    if not cell or abs(book.settings.drop_limit - station.limit) > 1e-9:
        return ""
    address = f"{k.quoted(book.farm_sheet)}{cell}"
    # The cell may be empty or hold words: then the limit that was used stands.
    return f"IF(ISNUMBER({address}),{address},{float(station.limit)!r})"


def _row(
    n: int, styles: list[str], fixed: Fixed, sources: tuple[Source, ...], reading: Reading
) -> str:
    """Row `n` of the sheet: one reading."""
    row, factor = reading.row, fixed.factor
    typed_in, inlet, note = _linked(sources[0], factor, reading.inlet, row)
    typed_out, outlet, more = _linked(sources[1], factor, reading.outlet, row)
    typed_flow, flow, other = _linked(sources[2], fixed.flow_factor, reading.flow, row)
    notes = ""
    if note or more or other:
        said = (("inlet", note), ("outlet", more), ("flow", other))
        notes = "; ".join(f"{s}: {t}" for s, t in said if t)
    drop, how = _drop(n, sources[3], factor, reading, inlet, outlet)
    why = k.one_line(reading.why_unusable) if reading.why_unusable else ""
    return line(n, styles, (
        fixed.name,
        k.serial(reading.date, date1904=fixed.date1904),
        None if reading.time is None else k.fraction(reading.time),
        typed_in,
        typed_out,
        fixed.unit,
        factor,
        None if inlet is None else (f"{_IN_READ}{n}*{_FACTOR}{n}", inlet),
        None if outlet is None else (f"{_OUT_READ}{n}*{_FACTOR}{n}", outlet),
        *_against_limit(n, drop, how, fixed.limit),
        *_chance(n, fixed, drop, reading),
        "no" if why else "yes",
        why,
        row,
        notes,
        typed_flow,
        *_at_reference(n, fixed, drop, flow),
    ))  # fmt: skip


def _linked(
    source: Source, factor: float, value: float | None, row: int
) -> tuple[Value, float | None, str]:
    """One value as read: its cell, its canonical value, and a note where it is not linked."""
    if value is None or value != value:
        return None, None, ""
    raw = source.raw.get(row)
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        if source.address and abs(raw * factor - value) <= 1e-9 * max(1.0, abs(value)):
            return (f"{source.address}{row}", raw), raw * factor, ""
        note = f"not linked; the cell reads {raw:g}"
    else:
        note = "not linked" if raw is None else f'not linked; the cell reads "{raw}"'
    typed = value / factor
    return typed, typed * factor, k.one_line(note)


def _shown(link: str, value: float | None) -> Value:
    """A value of the register or the farm: a link to its cell where there is one."""
    return (link, value) if link and value is not None else value


def _chance(n: int, fixed: Fixed, drop: float | None, reading: Reading) -> tuple[Value, Value]:
    """Standard uncertainty and probability of over, live where the gauge data allow them."""
    u, p = reading.u_drop, reading.p_over
    if drop is None or not fixed.u or u is None or p is None or not (u > 0 and p == p):
        return u, p
    return (f"{_DROP}{n}".join(fixed.u), u), (f"NORMSDIST(({_DROP}{n}-{_LIMIT}{n})/{_U}{n})", p)


def _at_reference(
    n: int, fixed: Fixed, drop: float | None, flow: float | None
) -> tuple[Value, ...]:
    """Flow unit, reference flow, exponent, the drop that they give, clean drop, rise over it."""
    (to_flow, reference), (to_clean, clean) = fixed.reference, fixed.clean
    known = bool(flow and flow > 0 and reference and reference > 0)
    shown = flow / fixed.flow_factor if flow else None
    corrected = None if drop is None else corrected_drop(drop, shown, reference, fixed.exponent)
    if corrected is not None and not math.isfinite(corrected):
        corrected = None
    formula = f"{_DROP}{n}*({_REFERENCE}{n}/{_FLOW}{n})^{_EXPONENT}{n}" if known else f"{_DROP}{n}"
    return (
        fixed.flow_unit if flow is not None else "",
        _shown(to_flow, reference),
        fixed.exponent if known else None,
        None if corrected is None else (formula, corrected),
        _shown(to_clean, clean),
        None if drop is None or clean is None else (f"{_DROP}{n}-{_CLEAN}{n}", drop - clean),
    )


def _drop(
    n: int,
    source: Source,
    factor: float,
    reading: Reading,
    inlet: float | None,
    outlet: float | None,
) -> tuple[float | None, str]:
    """The drop and its formula: inlet minus outlet, or as read where that is all there is."""
    if inlet is not None and outlet is not None:
        return inlet - outlet, f"{_INLET}{n}-{_OUTLET}{n}"
    if inlet is not None or outlet is not None or reading.drop is None:
        return None, ""
    typed, drop, _ = _linked(source, factor, reading.drop, reading.row)
    shown = typed[0] if isinstance(typed, tuple) else repr(typed)
    return drop, f"{shown}*{_FACTOR}{n}"


def _against_limit(
    n: int, drop: float | None, how: str, limit: tuple[str, float]
) -> tuple[Value, ...]:
    """Drop, limit, margin, and over or not; the limit alone where there is no drop."""
    link, metres = limit
    cell = _shown(link, metres)
    if drop is None:
        return None, cell, None, None
    shown = "OVER" if drop > metres + NOISE else "in range"
    return (
        (how, drop),
        cell,
        (f"{_LIMIT}{n}-{_DROP}{n}", metres - drop),
        (f'IF({_DROP}{n}&gt;{_LIMIT}{n}+0.000001,"OVER","in range")', shown),
    )
