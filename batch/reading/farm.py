"""The Farm sheet: labels with a value and a unit beside them -> `Settings`, defaults filled in."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from siltbook.batch.reading.amounts import factor_of, units_of
from siltbook.batch.reading.cells import Cells, SheetCells, Style, Value, Workbook
from siltbook.batch.reading.columns import (
    Block,
    accepted_number,
    accepted_text,
    one_choice,
    read_texts,
    shown,
)
from siltbook.batch.reading.dates import read_dates
from siltbook.batch.reading.lost_rules import lost_settings
from siltbook.batch.reading.numerals import odd_code, one_number
from siltbook.batch.reading.parsing import tidy
from siltbook.batch.reading.unread import SETTINGS, USED, says
from siltbook.checks.findings import Finding, find
from siltbook.templates.book import Settings, column_letters
from siltbook.templates.contract import FARM, Column, Kind, bare
from siltbook.templates.days import ISO
from siltbook.templates.units import known_unit, other_unit

_UNITS = {"pressure_unit": "pressure", "flow_unit": "flow"}
_LAST_ROW = 500  # a label further down is not looked for


@dataclass
class Farm:
    """The settings, the address and content of each value cell, and the sheet's findings."""

    settings: Settings
    cells: dict[str, str] = field(default_factory=dict)
    raw: dict[str, object] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    unreadable: set[str] = field(default_factory=set)  # of the two units: typed, but not known


def read_farm(cells: SheetCells, title: str, workbook: Workbook) -> Farm:
    """The settings of the sheet `title`; every absent one keeps its default."""
    grid = {
        (row, column): (value, style)
        for column, content in cells.columns.items()
        for row, value, style in zip(content.rows, content.values, content.styles, strict=True)
        if row <= _LAST_ROW
    }
    farm = Farm(Settings())
    values: dict[str, object] = {}
    not_read: list[str] = []
    labels = _labels(grid)
    unit_first = sorted(labels.items(), key=lambda found: found[0] != "pressure_unit")
    for key, (row, column) in unit_first:
        place = (row, column + 1)
        farm.cells[key] = f"{column_letters(column + 1)}{row}"
        if place not in grid:
            continue
        value, style = grid[place]
        farm.raw[key] = str(value) if isinstance(value, str) else value
        beside = grid.get((row, column + 2), ("", 0))[0]
        setting = FARM.column(key)
        farm_unit = values.get("pressure_unit", setting.unit)
        assumed = str(farm_unit) if setting.kind is Kind.PRESSURE else setting.unit
        unit = _unit(setting, str(grid[row, column][0]), beside, assumed)
        block = _one_cell(setting, title, place, value, style, workbook)
        if style in workbook.struck:
            read = f"{shown(value)} with a line through it; {USED}"
            block.flag("cell-struck", setting, 0, read, "settings that are meant to count")
        got = _setting(block, setting, value, style, unit)
        if got is not None:
            values[key] = got
        elif key in _UNITS:
            farm.unreadable.add(key)
        elif key in SETTINGS and says(value):
            not_read.append(key)
        farm.findings.extend(block.findings)
    for key, finding in (*_said_twice(grid, farm, title), *lost_settings(grid, labels, title)):
        farm.findings.append(finding)
        not_read += [key] if key in SETTINGS and key not in not_read else []
    values |= {"unit_said": "pressure_unit" in values, "not_read": tuple(not_read)}
    farm.settings = dataclasses.replace(farm.settings, **values)  # type: ignore[arg-type]
    return farm


def _labels(grid: dict[tuple[int, int], tuple[Value, int]]) -> dict[str, tuple[int, int]]:
    """Where each setting's label stands; the leftmost, then topmost one where it is repeated."""
    found: dict[str, tuple[int, int]] = {}
    for key, place in _labelled(grid):
        found.setdefault(key, place)
    return found


def _labelled(
    grid: dict[tuple[int, int], tuple[Value, int]],
) -> Iterator[tuple[str, tuple[int, int]]]:
    """Every cell that holds a setting's label, with the setting's key."""
    names = {bare(column.header): column.key for column in FARM.columns}
    for row, column in sorted(grid, key=lambda place: (place[1], place[0])):
        value = grid[row, column][0]
        if type(value) is str and len(value) < 100:
            key = names.get(bare(tidy(value).rstrip(" :*")))
            if key is not None:
                yield key, (row, column)


def _said_twice(
    grid: dict[tuple[int, int], tuple[Value, int]], farm: Farm, title: str
) -> Iterator[tuple[str, Finding]]:
    """Settings that stand again with another value, which was not used."""
    for key, (row, column) in _labelled(grid):
        cell = f"{column_letters(column + 1)}{row}"
        again = grid.get((row, column + 1))
        if again is None or cell == farm.cells[key] or again[0] == farm.raw.get(key):
            continue
        read = f"{FARM.column(key).header} {shown(again[0])}, beside {farm.cells[key]}"
        accepted = f"each setting once; {farm.cells[key]} was used"
        yield key, find("setting-twice", sheet=title, cell=cell, read=read, accepted=accepted)


def _unit(setting: Column, label: str, beside: Value, assumed: str) -> str:
    """The setting's unit: the cell beside it, else a bracket in the label, else `assumed`.

    A pressure without a unit is in the farm's unit, as everywhere in the book.
    """
    if not units_of(setting.kind):
        return ""
    if isinstance(beside, str) and beside.strip():
        return known_unit(tidy(beside)) or tidy(beside)
    label = tidy(label).rstrip(" :*")
    if label.endswith((")", "]")):
        bracket = label[max(label.rfind("("), label.rfind("[")) + 1 : -1]
        stated = known_unit(bracket)
        if stated is not None or other_unit(bracket):
            return stated or bracket
    return assumed


def _one_cell(
    setting: Column, title: str, place: tuple[int, int], value: Value, style: int, book: Workbook
) -> Block:
    """A block of a single cell, so that a setting is read by the same code as a column."""
    cells = Cells([place[0]], [value])
    cells.styles.append(style)
    rows = np.array([place[0]], dtype=np.int64)
    places = {setting.key: place[1]}
    return Block(title, rows, {setting.key: cells}, places, book.styles, book.date1904)


def _setting(block: Block, setting: Column, value: Value, style: int, unit: str) -> object:
    """One setting in canonical units, or None (with a finding) where it cannot be read."""
    if setting.kind is Kind.TEXT:
        return read_texts(block, setting)[0]
    if setting.kind is Kind.CHOICE:
        chosen = one_choice(setting, value)
        if chosen is None:
            instead = f"{setting.default} is used"
            if setting.key in _UNITS:
                instead = f"no {_UNITS[setting.key]} is used that has no unit of its own"
            elif setting.key == "show_pressures":
                instead = "the farm's pressure unit is used"
            elif setting.key == "show_dates":
                instead = f"dates are shown as {ISO}"
            accepted, read = accepted_text(setting), shown(value)
            if setting.key == "show_dates" and block.style(style) == Style.DATE:
                # Which of its parts was typed first, a cell that became a date no longer tells.
                read, accepted = "a date", f"{accepted}, as text: format the cell as text first"
            code = odd_code(value, "cell-not-choice")
            block.flag(code, setting, 0, read, f"{accepted}; until then {instead}")
        return chosen
    if setting.kind is Kind.DATE:
        date: dt.date | None = read_dates(block, setting)[0][0]
        return date
    return _number(block, setting, value, style, unit)


def _number(
    block: Block, setting: Column, value: Value, style: int, unit: str
) -> float | int | None:
    kept = f"; until then {setting.default:g} {setting.unit}".rstrip() + " is used" if (
        isinstance(setting.default, int | float)
    ) else ""  # fmt: skip
    known = units_of(setting.kind)
    number = one_number(setting, value, block.style(style))
    used = number.unit or unit
    if number.value is not None and known and used not in known:
        block.flag("unit-unknown", setting, 0, f"'{used}'", ", ".join(known) + kept)
        return None
    if number.code:
        accepted = accepted_number(setting, number, unit)
        block.flag(
            number.code, setting, 0, shown(value), accepted + (kept if number.value is None else "")
        )
    if number.value is None:
        return None
    result = number.value * (factor_of(used) if known else 1.0)
    low, high = setting.low, setting.high
    if not setting.allows(result):
        each = factor_of(used) if known else 1.0  # bounds are said in the unit that was typed
        least = f"{(low or 0) / each:.4g}"
        limits = f"{least} to {high / each:.4g}" if high is not None else f"{least} or more"
        limits += f" {used}" if known else ""
        block.flag("value-out-of-bounds", setting, 0, shown(value), limits + kept)
        return None
    if setting.key == "flush_cycles":
        return round(result)
    return result
