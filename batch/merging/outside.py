"""What a copy holds outside of lists and settings, of which the book has no place or no word."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from siltbook.batch.audit.formulas import same_formula
from siltbook.batch.merging.points import PLACELESS, Point
from siltbook.batch.merging.rows import Live, same
from siltbook.batch.merging.sides import Side, Value, plain_text
from siltbook.batch.reading.cells import Value as Cell
from siltbook.batch.typed.beside import Beside, lost_notes, lost_typed, many, more_drawn
from siltbook.batch.typed.boxes import words_of
from siltbook.templates.book import column_letters
from siltbook.templates.look import VERDICTS
from siltbook.templates.names import name_key

ACTIONS = "Actions"  # lines of boxes that are filled in there


def outside(home: Side, base: Side | None, copy: Side) -> Iterator[Point]:
    """Cells, formulas, notes, pictures and boxes of a copy that the book has not, a line each."""
    yield from _cells(home, base, copy)
    yield from _formulas(home, base, copy)
    yield from _beside(home, base, copy)
    for station, words, row in copy.boxes:
        if (station, words) not in {(s, w) for s, w, _ in home.boxes}:
            key = (name_key(copy.names.get(name_key(station), station)),)
            yield Point(PLACELESS, ACTIONS, key, "", None, words,
                        there=f"Actions!{row}:{row}", file=copy.name)  # fmt: skip


def is_entered(point: Point, agreed: Iterable[Live]) -> bool:
    """Whether what a line says of a box on Actions stands on the sheet Agreed by now.

    A row without a due date that is done may be of an earlier agreement in the same words.
    """
    said = _folded(point.theirs)
    return any(
        said in map(_folded, _as_boxes(row.cells))
        for row in agreed
        if point.key == (name_key(row.cells.get("station", "")),)
        and not row.gone and ("due" in row.cells or "done" not in row.cells)
    )  # fmt: skip


def _as_boxes(cells: Mapping[str, Value]) -> Iterator[str]:
    """The words of the boxes from which `agree` makes such a row: a verdict may be its action."""
    action, who, due = (plain_text(str(cells.get(key, ""))) for key in ("action", "who", "due"))
    yield words_of(action, who, due)
    if action in {look.shown for look in VERDICTS.values()}:
        yield words_of("", who, due)


def _folded(words: object) -> str:
    return " ".join(str(words).split()).casefold()


def _cells(home: Side, base: Side | None, copy: Side) -> Iterator[Point]:
    for sheet, cells in copy.own.items():
        here = home.own.get(sheet, {})
        old = base.own.get(sheet, {}) if base else {}
        for (row, col), value in sorted(cells.items()):
            known = (side.get((row, col)) for side in (here, old))
            if not any(same(_plain_number(value), _plain_number(k)) for k in known):
                mine = home.own_formulas.get(sheet, {}).get((row, col)) or here.get((row, col))
                yield _line(copy, sheet, f"{column_letters(col)}{row}", _plain(mine), _plain(value))


def _formulas(home: Side, base: Side | None, copy: Side) -> Iterator[Point]:
    """Formulas: neither their text nor their result would be missed among the cells."""
    for sheet, formulas in copy.own_formulas.items():
        here = home.own_formulas.get(sheet, {})
        old = base.own_formulas.get(sheet, {}) if base else {}
        for (row, col), text in sorted(formulas.items()):
            known = (side.get((row, col)) for side in (here, old))
            if not any(k is not None and same_formula(k, text) for k in known):
                mine = here.get((row, col)) or home.own.get(sheet, {}).get((row, col))
                yield _line(copy, sheet, f"{column_letters(col)}{row}", _plain(mine), text)


def _beside(home: Side, base: Side | None, copy: Side) -> Iterator[Point]:
    for sheet, there in copy.beside.items():
        here = home.beside.get(sheet, Beside())
        old = base.beside.get(sheet, Beside()) if base else Beside()
        both = Beside((*here.notes, *old.notes), typed=(*here.typed, *old.typed))
        for note in lost_notes(there, both):
            yield _line(copy, sheet, note.cell, None, f"note: {note.words}")
        for where, words in lost_typed(there, both):
            yield _line(copy, sheet, "", None, f"{where} '{words}'")
        for kind, count in more_drawn(there, here).items():
            if count > more_drawn(old, here).get(kind, 0):
                yield _line(copy, sheet, "", None, many(count, kind))
    for sheet in copy.other_sheets:
        if sheet not in home.other_sheets:
            yield _line(copy, sheet, "", None, "a sheet without cells")


def _line(copy: Side, sheet: str, cell: str, mine: Value | None, theirs: Value | None) -> Point:
    place = f"{sheet}!{cell}" if cell else sheet
    return Point(PLACELESS, sheet, (cell,), "", mine, theirs, there=place, file=copy.name)


def _plain_number(value: Cell | None) -> Value | None:
    """A cell that nobody reads, for comparing: other programs keep fewer digits of a number."""
    return value if isinstance(value, float) else _plain(value)


def _plain(value: Cell | None) -> Value | None:
    return None if value is None else plain_text(value)
