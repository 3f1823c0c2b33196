"""What formulas on people's sheets say, and which notes and pictures stand on every sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from siltbook.batch.audit.formulas import formulas as formulas_of
from siltbook.batch.reading.cells import SheetPart, Workbook
from siltbook.batch.typed.beside import IN_MARGIN, Beside
from siltbook.batch.typed.edited import Leaf, Place
from siltbook.templates.blank_lookups import UNITS_SHEET
from siltbook.templates.book import Table
from siltbook.templates.contract import (
    AUDIT_SHEETS,
    FARM,
    LISTS,
    MERGE_SHEETS,
    RESULT_SHEETS,
    bare,
)
from siltbook.templates.own_unit import DROP_NOW

OURS = (*RESULT_SHEETS, *(f"{n} (Siltbook)" for n in RESULT_SHEETS), *AUDIT_SHEETS, *MERGE_SHEETS)


class Texts:
    """What the formulas on people's own sheets say; those of the blank's columns aside."""

    def __init__(
        self, workbook: Workbook, sheets: Mapping[str, SheetPart], grids: Mapping[str, Leaf]
    ) -> None:
        self.workbook, self.sheets, self.grids = workbook, sheets, grids

    def _said(self, title: str, places: frozenset[tuple[int, int]]) -> Iterator[tuple[Place, str]]:
        wanted: dict[int, set[int]] = {}
        for row, col in places:
            wanted.setdefault(col, set()).add(row)
        if wanted:
            found = formulas_of(self.workbook, self.sheets[title], wanted)
            yield from ((place, f"={text}") for place, text in found if place in places)

    def outside(
        self, tables: Mapping[str, Table]
    ) -> Iterator[tuple[str, dict[tuple[int, int], str]]]:
        """Of every sheet of people's own, and of what stands beside a list."""
        lists = {table.sheet: (name, table) for name, table in tables.items() if name != FARM.name}
        for title, leaf in self.grids.items():
            if leaf.mark is not None or title in (*OURS, UNITS_SHEET):
                continue
            places = leaf.formulas
            if title in lists:
                name, table = lists[title]
                skip = {*table.places.values(), *_computed(leaf, name, table)}
                places = frozenset(p for p in places if p[1] not in skip or p[0] < table.header_row)
            elif title == tables[FARM.name].sheet:
                places = frozenset(p for p in places if p[1] > 2)
            yield title, dict(self._said(title, places))

    def of_lists(
        self, tables: Mapping[str, Table]
    ) -> Iterator[tuple[str, dict[tuple[int, str], str]]]:
        """Of the cells of every list, by row and key."""
        for name, table in tables.items():
            leaf = self.grids.get(table.sheet)
            if leaf is None or name == FARM.name:
                continue
            keys = {col: key for key, col in table.places.items()}
            places = frozenset(p for p in leaf.formulas if p[1] in keys and p[0] > table.header_row)
            said = self._said(table.sheet, places)
            yield name, {(row, keys[col]): text for (row, col), text in said}


def _computed(leaf: Leaf, name: str, table: Table) -> Iterator[int]:
    """The columns that the blank calculates."""
    sheet = next(s for s in LISTS if s.name == name)
    known = {DROP_NOW.casefold(), *map(bare, sheet.computed)}
    for (row, col), value in leaf.cells.items():
        if row == table.header_row and isinstance(value, str) and bare(value) in known:
            yield col


def beside_of(grids: Mapping[str, Leaf]) -> Iterator[tuple[str, Beside]]:
    """Notes and pictures of every sheet; charts and footers of our own come and go."""
    for title, leaf in grids.items():
        there = leaf.beside
        if leaf.mark is not None or title in OURS:
            drawn = {kind: n for kind, n in there.drawn.items() if kind != "chart"}
            typed = tuple(one for one in there.typed if one[0] != IN_MARGIN)
            there = Beside(there.notes, drawn, typed)
        yield title, there
