"""The Workings sheet: one row per reading, from the practitioner's own cells to over or not.

Every figure is a live formula with its value, so that an auditor can follow it to the cell
that somebody filled, and a corrected cell shows its effect at once. A book may hold 100,000
readings: those of one station that are alike are made together (see `alike`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import groupby
from typing import Any

from siltbook.batch.model import Reading
from siltbook.batch.numbers.drops import corrected_drop
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.alike import Kind, columns, kind_of, linked
from siltbook.batch.sheets.links import Fixed, Source, fixed_of, source_of
from siltbook.batch.sheets.rows import (
    READ,
    ROW,
    SLOT,
    LongTable,
    Value,
    fill,
    line,
    pattern,
    swatch,
)
from siltbook.batch.tables.describe import Column
from siltbook.batch.tables.workings import AS_SHOWN, WORKINGS, workings
from siltbook.checks.gauges import NOISE
from siltbook.templates.shown import Shown
from siltbook.templates.units import metres_per

HEADER = 3
PARTS = ("u_drop_m",)  # with it begins the second printed page
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
# Columns whose values differ between readings of one kind, and those of them that link to a cell.
_SLOTS = [
    WORKINGS.places[key]
    for key in (
        "date", "time", "inlet_read", "outlet_read", "inlet_m", "outlet_m", "drop_m", "margin_m",
        "u_drop_m", "p_over", "row", "flow_read", "drop_ref_m", "rise_m",
    )
]  # fmt: skip
_READ = [WORKINGS.places[key] for key in ("inlet_read", "outlet_read", "flow_read")]
# What is said again in another unit: place and letters of the column in metres.
_SHOWN = [(WORKINGS.places[key], WORKINGS.letter(key)) for key in AS_SHOWN.values()]
_SLOTS_SHOWN = [WORKINGS.last + at for at, key in enumerate(AS_SHOWN, 1) if key != "limit_shown"]
MOST = 1_048_000  # rows that a sheet can hold below the header and a closing line


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the sheet around its table, whose rows follow."""
    k.heading(kit, sheet, "Workings", apart=1)
    says = (
        "Drop = inlet - outlet, in metres of water. Over: drop > limit by more than 0.000001 m."
        " Drop at reference flow = drop x (reference flow / flow) ^ exponent; as read where no flow"
        " is known. Rise = drop - clean drop. Formulas lead to the cells that were filled in."
    )
    if not kit.shown.metres:
        says += f" The last columns have it in {kit.shown.unit}."
    table = workings(kit.shown)
    tables.says(kit, sheet, 2, table, says, ("date", "over"))
    # Not by `header`, which has one unit: here metres are what the formulas work in.
    k.header_row(kit, sheet, HEADER, [(column.title, column.width) for column in table.columns])
    count = min(MOST, sum(len(r.history.readings) for r in kit.assessment.stations))
    row = HEADER + max(1, count)
    if count:
        swatch(sheet, HEADER + 1, map(kit.format, map(_style, table.columns)))
        tables.filters(sheet, HEADER, row, table)
        over = {"type": "cell", "criteria": "==", "value": '"OVER"', "format": kit.format("over")}
        at = WORKINGS.places["over"]
        sheet.conditional_format(HEADER + 1, at, row, at, over)
    else:
        sheet.write_string(row, 0, "No reading in this book.", kit.format("mark"))
    tables.page(kit, sheet, table, HEADER, keep=1, parts=PARTS)
    sheet.print_area(0, 0, row, table.last)
    rows = partial(_rows, kit.assessment)
    return [LongTable(HEADER + 2, count, rows)] if count else []


def _rows(assessment: Assessment, styles: list[str]) -> Iterator[str]:
    """Every station's readings as rows of the sheet's part; `styles` as the swatch has them."""
    readings = assessment.book.readings
    sources = tuple(source_of(readings, key) for key in ("inlet", "outlet", "flow", "drop"))
    n, unit = HEADER + 2, assessment.book.settings.shown
    for result in assessment.stations:
        own = result.history.readings[: MOST + HEADER + 2 - n]
        for _, on_one in groupby(own, lambda reading: reading.gauge_row):
            of_gauge = [*on_one]
            on = result.station.on(of_gauge[0].date)
            fixed = fixed_of(assessment, result.history, on)
            yield from _of_gauge(n, styles, fixed, sources, of_gauge, unit)
            n += len(of_gauge)


def _of_gauge(
    n: int,
    styles: list[str],
    fixed: Fixed,
    sources: tuple[Source, ...],
    readings: Sequence[Reading],
    unit: Shown,
) -> list[str]:
    """The rows from `n` on of the sheet: a station's readings on one gauge.

    By the pattern of their kind, where they have nothing odd.
    """
    found = [*linked(fixed, sources, readings)]
    kinds: dict[Kind | None, list[int]] = {}
    for at, one in enumerate(found):
        kinds.setdefault(kind_of(fixed, one), []).append(at)
    made = dict.fromkeys(range(len(found)), "")
    for at in kinds.pop(None, ()):
        values = _both(n + at, _values(n + at, fixed, sources, readings[at]), unit)
        made[at] = line(n + at, styles, values)
    for kind, places in kinds.items():
        if kind is None:
            continue
        alike = [found[at] for at in places]
        values = _both(ROW, _values(ROW, fixed, sources, alike[0].reading), unit)
        figures = columns(fixed, kind, alike, unit)
        rows, read = [n + at for at in places], [one.reading.row for one in alike]
        texts = fill(pattern(styles, _with_slots(values, sources)), rows, read, figures)
        made.update(zip(places, texts, strict=True))
    return [*made.values()]


def _style(column: Column[object]) -> str:
    """Levels in metres keep the digits of metres, whatever unit the other sheets show."""
    style = tables.style_of(column)
    return "hundredths" if style == "metres" else style


def _with_slots(values: Sequence[Value], sources: tuple[Source, ...]) -> list[Value]:
    """A row's values with slots for what differs between readings of one kind."""
    made = list(values)
    for at in (*_SLOTS, *(at for at in _SLOTS_SHOWN if at < len(made))):
        value = made[at]
        if isinstance(value, tuple):
            made[at] = value[0], SLOT
        elif value is not None:
            made[at] = SLOT
    for at, source in zip(_READ, sources, strict=False):
        if made[at] is not None:
            made[at] = f"{source.address}{READ}", SLOT
    return made


def _both(n: int | str, values: tuple[Value, ...], unit: Shown) -> tuple[Value, ...]:
    """The values of row `n`, and what is said again of them in the unit that is shown."""
    if unit.metres:
        return values
    per, again = repr(metres_per(unit.unit)), list[Value]()
    for place, letter in _SHOWN:
        value = values[place]
        metres = value[1] if isinstance(value, tuple) else value
        known = isinstance(metres, float) and math.isfinite(metres)
        shown = unit.value(metres) if isinstance(metres, float) else None
        again.append((f"{letter}{n}/{per}", shown) if known and shown is not None else None)
    return (*values, *again)


def _values(
    n: int | str, fixed: Fixed, sources: tuple[Source, ...], reading: Reading
) -> tuple[Value, ...]:
    """The values of row `n` of the sheet: one reading."""
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
    return (
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
    )


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


def _chance(
    n: int | str, fixed: Fixed, drop: float | None, reading: Reading
) -> tuple[Value, Value]:
    """Standard uncertainty and probability of over, live where the gauge data allow them."""
    u, p = reading.u_drop, reading.p_over
    if drop is None or not fixed.u or u is None or p is None or not (u > 0 and p == p):
        return u, p
    return (f"{_DROP}{n}".join(fixed.u), u), (f"NORMSDIST(({_DROP}{n}-{_LIMIT}{n})/{_U}{n})", p)


def _at_reference(
    n: int | str, fixed: Fixed, drop: float | None, flow: float | None
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
    n: int | str,
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
    n: int | str, drop: float | None, how: str, limit: tuple[str, float]
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
