"""Limits and other rules that stand where no program looks: beside their place, or under another
name. By the default in their place nobody is to be reassured. And one of two pressures alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from siltbook.batch.reading.cells import SheetCells, Value
from siltbook.batch.reading.columns import Block, shown
from siltbook.batch.reading.headers import Header
from siltbook.batch.reading.parsing import tidy
from siltbook.batch.reading.unread import RULES, SETTINGS, says
from siltbook.checks.findings import Finding, find
from siltbook.templates.book import column_letters
from siltbook.templates.contract import (
    CHANGED_GAUGES,
    FARM,
    PRESSURE_UNITS,
    STATIONS,
    Sheet,
    bare,
)
from siltbook.templates.units import known_unit

Grid = Mapping[tuple[int, int], tuple[Value, int]]
Place = tuple[int, int]
_LIMIT = "drop_limit"
# What a limit of the drop is called by people; 'clean drop' and 'pressure drop now' are others.
_SAYS_LIMIT = re.compile(
    r"\b(?:limite?|l[ií]mite|grenz(?:wert|e)|threshold|alarm|max(?:imum|\.)?\s+(?:drop|dp|diff\w*))\b",
    re.IGNORECASE,
)  # fmt: skip
_SPELT = "'{}', spelt as in the template"


def lost_settings(
    grid: Grid, labels: Mapping[str, Place], title: str
) -> Iterator[tuple[str, Finding]]:
    """The keys of settings that were typed and are not where they are read, with a finding each."""
    for key in SETTINGS:
        if key not in labels:
            continue
        row, column = labels[key]
        beyond = grid.get((row, column + 2), ("", 0))[0]
        if (row, column + 1) not in grid and isinstance(beyond, float):
            cells = [f"{column_letters(column + at)}{row}" for at in (1, 2)]
            yield key, find(
                "cell-missing", sheet=title, cell=cells[0],
                read=f"nothing, and {shown(beyond)} in {cells[1]}",
                accepted="the value right beside its label",
            )  # fmt: skip
    if _LIMIT in labels and _filled(grid, labels[_LIMIT]):
        return
    for (row, column), (text, _) in sorted(grid.items()):
        value = grid.get((row, column + 1), ("", 0))[0]
        if _may_be_limit(text, FARM) and isinstance(value, float):
            yield _LIMIT, _unknown(title, row, column, f"{shown(text)} {shown(value)}", FARM)


def _filled(grid: Grid, label: Place) -> bool:
    return (label[0], label[1] + 1) in grid


def _may_be_limit(text: Value, sheet: Sheet) -> bool:
    """Whether a text may name the limit of the drop, and is none of a sheet's own names."""
    if type(text) is not str or len(text) > 100 or not _SAYS_LIMIT.search(tidy(text)):
        return False
    own = (*(c.header for c in sheet.columns), *sheet.computed)
    return bare(tidy(text).rstrip(" :*")) not in {bare(header) for header in own}


def _unknown(title: str, row: int, column: int, read: str, sheet: Sheet) -> Finding:
    name = sheet.column(_LIMIT).header.removesuffix(" (m)")
    return find(
        "column-missing", sheet=title, cell=f"{column_letters(column)}{row}",
        read=f"{read}, and no {name}", accepted=_SPELT.format(name),
    )  # fmt: skip


def half_pair(cells: SheetCells, header: Header, sheet: Sheet, title: str) -> list[Finding]:
    """A finding where one of the two pressures has no column, or neither has, nor any drop."""
    pair = [column for column in sheet.columns if column.instead]
    lost = [column.header for column in pair if column.key not in header.places]
    drops = cells.columns.get(header.places.get("drop", -1))
    alone = drops is not None and any(row > header.row for row in drops.rows)
    if not lost or (len(lost) == len(pair) and alone):
        return []
    read = f"no header {' and no header '.join(lost)} in row {header.row}"
    accepted = _SPELT.format("' and '".join(lost))
    cell = f"A{header.row}"
    return [find("column-missing", sheet=title, cell=cell, read=read, accepted=accepted)]


def note_lost(cells: SheetCells, header: Header, sheet: Sheet, block: Block, unit: str) -> None:
    """Let a register's rows say which of their rules stand in a column that is not read.

    One whose header names an unknown unit has its finding already. `unit` is the farm's.
    """
    if "unit" not in header.places and sheet in (STATIONS, CHANGED_GAUGES):
        _note_units(cells, header, sheet, block, unit)
    if sheet is not STATIONS:
        return
    found = [(text, column, key) for text, column, key in header.odd if key in RULES]
    if _LIMIT not in (*header.places, *(key for _, _, key in found)):
        for column, content in sorted(cells.columns.items()):
            at = dict(zip(content.rows, content.values, strict=True)).get(header.row, "")
            if _may_be_limit(at, sheet):
                found.append((str(at), column, _LIMIT))
                block.findings.append(_unknown(block.sheet, header.row, column, shown(at), sheet))
    for text, column, key in found:
        for row, value in zip(
            cells.columns[column].rows, cells.columns[column].values, strict=True
        ):
            if row > header.row and says(value):
                block.lost.setdefault(row, []).append((key, f"{shown(value)} under '{text}'"))


def _note_units(cells: SheetCells, header: Header, sheet: Sheet, block: Block, farm: str) -> None:
    """Units of pressure, other than the farm's, under a header that is not known: until it is, the
    pressures of these rows' stations are in no unit."""
    for column in sorted({*cells.columns} - {*header.places.values()}):
        pairs = list(zip(cells.columns[column].rows, cells.columns[column].values, strict=True))
        said = {
            row: value for row, value in pairs
            if row > header.row and type(value) is str and len(value.strip()) > 1
            and known_unit(value) in PRESSURE_UNITS and known_unit(value) != farm
        }  # fmt: skip
        if not said:
            continue
        name = sheet.column("unit").header
        text = shown(dict(pairs).get(header.row, ""))
        read = f"{text} with {shown(next(iter(said.values())))}, and no {name}"
        place = f"{column_letters(column)}{header.row}"
        block.findings.append(
            find("column-missing", sheet=block.sheet, cell=place, read=read,
                 accepted=_SPELT.format(name))
        )  # fmt: skip
        for row, value in said.items():
            block.lost.setdefault(row, []).append(("unit", f"{shown(value)} under {text}"))
