"""Finds the header row of a list sheet, its columns, and the units that headers state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from siltbook.batch.reading.amounts import header_unit, units_of
from siltbook.batch.reading.cells import SheetCells
from siltbook.batch.reading.parsing import tidy
from siltbook.templates.contract import Column, Kind, Sheet, bare
from siltbook.templates.units import known_unit, other_unit

HEADER_ROWS = 30  # a header row is looked for in the first 30 rows
Text = tuple[int, str, str]  # column, what stands there, and as headers are compared


@dataclass(frozen=True)
class Header:
    """The header row found: its row, each key's 0-based column, units stated in brackets."""

    row: int
    places: dict[str, int]
    units: dict[str, str]
    twice: tuple[tuple[str, int], ...]  # (header, column) of repeated headers
    odd: tuple[tuple[str, int, str], ...] = ()  # (header, column, key): a unit that is not known


def header_rows(cells: SheetCells) -> dict[int, list[Text]]:
    """Row -> the texts in it, of the first 30 rows, as headers are compared."""
    rows: dict[int, list[Text]] = {}
    for column in sorted(cells.columns):
        content = cells.columns[column]
        for row, value in zip(content.rows, content.values, strict=True):
            if row > HEADER_ROWS:
                break
            if type(value) is str:
                text = tidy(value)
                rows.setdefault(row, []).append((column, text, bare(text).rstrip(" :*")))
    return dict(sorted(rows.items()))


def find_header(
    cells: SheetCells, sheet: Sheet, rows: Mapping[int, list[Text]] | None = None
) -> Header | None:
    """The row with most known headers among the first 30; None where no row has any.

    `rows`: the `header_rows` of the cells, where several lists are looked for in them.
    """
    names = {bare(column.header): column.key for column in sheet.columns}
    # As spelt: the template's own 'Drop (m)' is another column than a person's 'Drop'.
    computed = {tidy(header).casefold() for header in sheet.computed}
    best: Header | None = None
    for row, texts in (header_rows(cells) if rows is None else rows).items():
        header = _as_header(row, texts, names, computed, sheet)
        if header.places and (best is None or len(header.places) > len(best.places)):
            best = header
    return best


def _as_header(
    row: int, texts: list[Text], names: dict[str, str], computed: set[str], sheet: Sheet
) -> Header:
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    twice, odd = [], []
    for column, text, compared in texts:
        key = names.get(compared)
        if key is None or text.casefold() in computed:
            continue
        if key in places:
            twice.append((text, column))
            continue
        unit = _unit(sheet.column(key), _bracket(text))
        if unit is None:
            odd.append((text, column, key))
            continue
        places[key] = column
        if unit:
            units[key] = unit
    return Header(row, places, units, tuple(twice), tuple(odd))


def _unit(column: Column, bracket: str) -> str | None:
    """The unit that a header's bracket states; '' where none, None where it is not known."""
    if column.kind is Kind.NUMBER:
        return header_unit(column, bracket)
    known = units_of(column.kind)
    last = bracket.replace(";", ",").rsplit(",", 1)[-1]
    unit = known_unit(last)
    if unit in known:
        return unit
    return None if known and (unit is not None or other_unit(last)) else ""


def _bracket(header: str) -> str:
    """What a header says in a trailing bracket: 'Inlet pressure [psi]' -> psi."""
    for opening, closing in ("()", "[]"):
        if header.endswith(closing) and opening in header:
            return header[header.rindex(opening) + 1 : -1]
    return ""
