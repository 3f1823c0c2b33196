"""Builds the blank workbook, or the same workbook with rows already in it.

`python -m siltbook.templates.blank` rewrites the blanks that the project ships.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from siltbook.templates import contract, own_unit, printing
from siltbook.templates.days import ISO, WAYS
from siltbook.templates.names import name_key
from siltbook.templates.shown import METRE
from siltbook.templates.units import known_unit

Row = Mapping[str, object]

SHIPPED = {
    "siltbook-blank-bar.xlsx": ("bar", "m3/h"),
    "siltbook-blank-kpa.xlsx": ("kPa", "m3/h"),
    "siltbook-blank-psi.xlsx": ("psi", "gpm"),
}
# A fixed date of making: the same contract gives the same bytes.
_MADE = dt.datetime(2026, 1, 1)
_LONGEST_NAME = 31


@dataclass(frozen=True)
class BlankOptions:
    """What the blank workbook is made for; units as in the contract, or a known spelling.

    `limits_in` is the unit of clean drops, limits and the lowest flush inlet; with metres, the
    last is in bar. `dates` is how dates are shown, one of `days.WAYS`; '' as 2026-08-30.
    """

    pressure_unit: str = "bar"
    flow_unit: str = "m3/h"
    farm: str = ""
    stations: tuple[str, ...] = ()
    limits_in: str = METRE
    dates: str = ""


def _unit(text: str, accepted: tuple[str, ...], what: str) -> str:
    unit = known_unit(text)
    if unit not in accepted:
        raise ValueError(f"{what} {text!r} is not known: use one of {', '.join(accepted)}.")
    return unit


def _check_stations(names: tuple[str, ...]) -> None:
    for name in names:
        if not name.strip():
            raise ValueError("A station's name is empty: give every station a name.")
        if len(name) > _LONGEST_NAME:
            shown = name if len(name) <= 60 else f"{name[:60]}…"
            raise ValueError(
                f"Station name {shown!r} has {len(name):,} characters:"
                f" use {_LONGEST_NAME} or fewer."
            )
    counts = Counter(name_key(name) for name in names)
    for name in names:
        if counts[name_key(name)] > 1:
            raise ValueError(f"Station {name!r} is named twice: give every station its own name.")


def _check_keys(given: Row, sheet: contract.Sheet) -> None:
    known = [column.key for column in sheet.columns]
    for key in given:
        if key not in known:
            raise ValueError(f"Sheet {sheet.name} has no column {key!r}: use {', '.join(known)}.")


def _all_rows(options: BlankOptions, rows: Mapping[str, Sequence[Row]]) -> dict[str, Sequence[Row]]:
    """The rows to fill in, with the options' stations behind those given as rows."""
    sheets = {sheet.name: sheet for sheet in contract.LISTS}
    for name, given in rows.items():
        if name not in sheets:
            raise ValueError(f"There is no list sheet {name!r}: use {', '.join(sheets)}.")
        for row in given:
            _check_keys(row, sheets[name])
    register = list(rows.get("Stations", ()))
    there = {row.get("station") for row in register}
    register += [{"station": s.strip()} for s in options.stations if s.strip() not in there]
    return {**rows, "Stations": register}


def _all_settings(options: BlankOptions, settings: Row) -> dict[str, object]:
    """The Farm values: defaults, over them the options, over them `settings`."""
    _check_keys(settings, contract.FARM)
    values: dict[str, object] = {c.key: c.default for c in contract.FARM.columns}
    values["pressure_unit"] = _unit(options.pressure_unit, contract.PRESSURE_UNITS, "Pressure unit")
    values["flow_unit"] = _unit(options.flow_unit, contract.FLOW_UNITS, "Flow unit")
    values |= own_unit.defaults(own_unit.known(options.limits_in))
    values["farm"], values["show_dates"] = options.farm, options.dates
    values |= settings
    if values["show_dates"] and values["show_dates"] not in WAYS:
        raise ValueError(f"Show dates as {values['show_dates']!r}: use one of {', '.join(WAYS)}.")
    return values


def build(
    options: BlankOptions = BlankOptions(),
    rows: Mapping[str, Sequence[Row]] | None = None,
    settings: Row | None = None,
) -> bytes:
    """The workbook as bytes; the same input always gives the same bytes.

    `rows` maps a list sheet's name to rows of column key -> text, number, date or time;
    pressures and flows are in the people's units, 'metres' columns in [m of water] or the unit
    that `options` names. `settings` maps Farm keys to values and wins over `options`; its
    'flush_inlet' is in [bar], or in that unit.
    ValueError, one sentence, for an unknown unit, sheet or column key, a station's name that is
    empty, over 31 characters or given twice, or a value that a cell cannot hold.
    """
    from siltbook.templates import blank_sheets
    from siltbook.templates.blank_look import Look
    from siltbook.templates.maker import Workbook

    _check_stations(options.stations)
    farm = _all_settings(options, settings or {})
    pressure, flow = (str(farm[key] or "") for key in ("pressure_unit", "flow_unit"))
    limits_in = own_unit.known(options.limits_in)
    all_rows = _all_rows(options, rows or {})
    dates = str(farm["show_dates"] or ISO)
    filling = blank_sheets.Filling(all_rows, farm, pressure, flow, limits_in, dates)
    target = BytesIO()
    options_of_file = {"in_memory": True, "default_format_properties": printing.NORMAL}
    with Workbook(target, options_of_file) as book:
        book.set_properties({
            "title": "Filter stations", "created": _MADE,
            "comments": f"Siltbook workbook, version {contract.WORKBOOK_VERSION}",
        })  # fmt: skip
        look = Look(book)
        blank_sheets.write_start(book, look, dates)
        blank_sheets.write_farm(book, look, filling)
        for sheet in contract.LISTS:
            blank_sheets.write_list(book, look, sheet, filling)
        blank_sheets.write_units(book, look, filling)
    return target.getvalue()


def main() -> None:
    """Rewrite the blanks that stand beside this module."""
    for name, (pressure, flow) in SHIPPED.items():
        target = Path(__file__).with_name(name)
        target.write_bytes(build(BlankOptions(pressure, flow, limits_in=pressure)))
        print(f"wrote {target.name}")


if __name__ == "__main__":
    main()
