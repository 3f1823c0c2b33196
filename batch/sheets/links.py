"""What the rows of Workings lead to: the cells of readings, and those of register and farm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TypeGuard

from siltbook.batch.model import History, Station
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.checks.gauges import NOT_CANCELLING
from siltbook.templates.book import Table, column_letters
from siltbook.templates.contract import PRESSURE_UNITS
from siltbook.templates.shown import METRE
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per


@dataclass(frozen=True)
class Source:
    """Where one column's values stand: the start of their address and what was read."""

    address: str  # with sheet and column letters, the row follows; '' where no link is possible
    raw: dict[int, object]

    def numbers(
        self, rows: Sequence[int], factor: float, used: Sequence[float | None]
    ) -> list[float | None]:
        """The number in each row's cell; None where it is none, or not the value `used` there.

        `factor`: what the value is, of one in the cell.
        """
        if not self.address:
            return [None] * len(rows)
        held = map(self.raw.get, rows)
        return [
            h if _holds(h, factor, value) else None for h, value in zip(held, used, strict=True)
        ]


def _holds(held: object, factor: float, used: float | None) -> TypeGuard[float]:
    """Whether a cell holds a number that is, times `factor`, the value `used`."""
    if used is None or not isinstance(held, (int, float)) or isinstance(held, bool):
        return False
    value = held * factor
    return value == used or abs(value - used) <= 1e-9 * max(1.0, abs(used))


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


def source_of(table: Table, key: str) -> Source:
    """Where the column `key` of a list stands."""
    place = table.places.get(key)
    address = "" if place is None else f"{k.quoted(table.sheet)}{column_letters(place)}"
    return Source(escape(address, quote=False), table.raw.get(key, {}))


def fixed_of(assessment: Assessment, history: History, station: Station) -> Fixed:
    """What stays the same over the rows of one gauge; `station` is the history's, with that."""
    book = assessment.book
    flow_unit = book.settings.flow_unit
    per_flow = cubic_metres_per_hour_per(flow_unit)
    reference = station.reference_flow
    return Fixed(
        name=k.one_line(station.name),
        unit=station.unit,
        factor=metres_per(station.unit),
        date1904=book.date1904,
        limit=(_limit_formula(assessment, station), station.limit),
        reference=(
            _station_cell(book.stations, "reference_flow", station.row, per_flow, reference),
            reference / per_flow if reference else None,
        ),
        clean=(
            _metres(book.stations, "clean_drop", station.row, station.clean_drop),
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
    if value is None or key not in table.places or not _is_number(raw):
        return ""
    if abs(float(str(raw)) * factor - value) > 1e-9 * max(1.0, abs(value)):
        return ""
    return escape(f"{k.quoted(table.sheet)}{table.cell(key, row)}", quote=False)


def _metres(table: Table, key: str, row: int, value: float | None) -> str:
    """As `_station_cell`, of a length of water [m] that stands in the unit of its header."""
    factor = metres_per(table.units.get(key, METRE))
    link = _station_cell(table, key, row, factor, value)
    return f"{link}*{factor!r}" if link and factor != 1.0 else link


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


def _is_number(value: object) -> bool:
    """Whether a cell held a number (a truth value is none)."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _factor(typed: float, metres: float) -> float | None:
    """Metres in one of the unit in which a limit was typed; None where it fits none."""
    units = (METRE, *PRESSURE_UNITS)
    return next((f for f in map(metres_per, units) if abs(typed * f - metres) <= 1e-9), None)


def _limit_formula(assessment: Assessment, station: Station) -> str:
    """The formula (without '=', escaped) for a station's limit [m]: its own cell, else the farm's.

    Empty where neither cell holds the limit that was used, in whatever unit.
    """
    book = assessment.book
    table = book.stations
    raw = table.raw.get("drop_limit", {}).get(station.row)
    if raw is not None and raw != "":
        return _metres(table, "drop_limit", station.row, station.limit)
    cell, typed = book.setting_cells.get("drop_limit"), book.setting_raw.get("drop_limit")
    factor = _factor(float(str(typed)), station.limit) if _is_number(typed) else 1.0
    if factor is None:  # refused: the cell does not hold the limit that was used
        return ""
    if not cell or abs(book.settings.drop_limit - station.limit) > 1e-9:
        return ""
    address = escape(f"{k.quoted(book.farm_sheet)}{cell}", quote=False)
    held = address if factor == 1.0 else f"{address}*{factor!r}"
    # The cell may be empty or hold words: then the limit that was used stands.
    return f"IF(ISNUMBER({address}),{held},{float(station.limit)!r})"
