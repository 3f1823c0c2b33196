"""Formulas of a list's cells that a copy has and the book has not: neither result tells them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from siltbook.batch.audit.formulas import same_meaning
from siltbook.batch.merging.points import CELL, FORMULA, Point
from siltbook.batch.merging.rows import Live
from siltbook.batch.merging.sides import Entry, Side


def other_formulas(
    home: Side, base: Side | None, copy: Side, live: Live, entry: Entry, old: Entry | None
) -> Iterator[Point]:
    """A line for each cell of a row in which the copy calculates, and the book in another way.

    Where the book has something typed, or nothing, only a formula without a stored result is
    named: a result is compared like anything else. What the common ancestor says as well is no
    change of the copy.
    """
    texts = copy.calculated.get(entry.sheet, {})
    if not texts or not live.row or not _alike(home, copy, entry.sheet):
        return
    for key in copy.tables[entry.sheet].places:
        text = texts.get((entry.row, key))
        if text is None or key not in home.tables[entry.sheet].places:
            continue
        theirs = _moved(text, entry.row, live.row)
        mine = home.calculated.get(entry.sheet, {}).get((live.row, key))
        before = _before(base, old, key, live.row)
        known = [known for known in (mine, before) if known is not None]
        if any(same_meaning(one, theirs) for one in known) or (mine is None and key in entry.cells):
            continue
        yield Point(
            FORMULA, entry.sheet, live.key, key, mine or live.cells.get(key), theirs,
            cell=home.at(entry.sheet, live.row, key), there=copy.at(entry.sheet, entry.row, key),
            file=copy.name, by=live.by, their_by=entry.by,
        )  # fmt: skip


def _alike(home: Side, copy: Side, sheet: str) -> bool:
    """Whether both lists have their columns in the same places, so that formulas compare."""
    mine, theirs = home.tables[sheet].places, copy.tables[sheet].places
    return all(mine[key] == place for key, place in theirs.items() if key in mine)


def _before(base: Side | None, old: Entry | None, key: str, row: int) -> str | None:
    if base is None or old is None:
        return None
    text = base.calculated.get(old.sheet, {}).get((old.row, key))
    return None if text is None else _moved(text, old.row, row)


def _moved(text: str, origin: int, row: int) -> str:
    """A formula as another row of the same column would have it."""
    if origin == row:
        return text
    from openpyxl.formula.translate import Translator

    return str(Translator(text, origin=f"A{origin}").translate_formula(f"A{row}"))


def is_news(point: Point, row: int, others: Iterable[Point], columns: set[tuple[str, ...]]) -> bool:
    """Whether nothing else says it: no other result of the cell, no row of the column in which it
    differs alike. `columns` takes up which have been said."""
    about = point.sheet, point.key, point.column
    if any(p.op == CELL and (p.sheet, p.key, p.column) == about for p in others):
        return False
    number = re.compile(rf"(?<=[A-Za-z]){row}\b")
    mine = point.mine if isinstance(point.mine, str) and point.mine.startswith("=") else point.cell
    texts = number.sub("#", mine), number.sub("#", str(point.theirs))
    alike = point.file, point.sheet, point.column, *texts
    known = alike in columns
    columns.add(alike)
    return not known


def is_met(point: Point, home: Side, rows: list[Live]) -> bool:
    """Whether the book calculates by now as such a line says."""
    texts = home.calculated.get(point.sheet, {})
    found = (texts.get((r.row, point.column)) for r in rows if r.key == point.key)
    return any(text is not None and same_meaning(text, str(point.theirs)) for text in found)
