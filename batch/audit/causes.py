"""Why the result sheets in a book are not what it gives today: causes, each with what follows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from siltbook.batch.audit.carried import MARK_CELL, Carried, Grid, alike, carried
from siltbook.batch.audit.earlier import Earlier, Evidence, as_typed, earlier
from siltbook.batch.audit.formulas import Unlike, leads_to, pairs, same_formula
from siltbook.batch.audit.model import Place
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.job import review_bytes
from siltbook.batch.typed.mark import Mark
from siltbook.checks.wording import listed
from siltbook.templates.book import Book, column_letters

NAMED = 3  # cells or formulas in one cause
MOST_FOLLOWED = 5_000  # formulas of one sheet whose way is followed to an edited cell
Cells = dict[int, set[int]]  # 0-based column -> 1-based rows


@dataclass(frozen=True)
class Causes:
    """What was found: sentences, the inputs behind them, and formulas that are not as written.

    `known`: whether the causes explain all.
    """

    said: tuple[str, ...] = ()
    places: tuple[Place, ...] = ()
    formulas: tuple[Unlike, ...] = ()
    known: bool = True


@dataclass
class _Sheet:
    """One result sheet: what differs in it, and the formulas that are not those of today."""

    name: str
    old: Grid
    new: Grid
    differ: Cells
    odd: list[Unlike] = field(default_factory=list)
    plain: dict[tuple[int, int], str] = field(default_factory=dict)  # of differing cells

    @property
    def count(self) -> int:
        return sum(map(len, self.differ.values()))


def unlike(old: Grid, new: Grid) -> Cells:
    """The cells of two sheets that differ, but for the mark line."""
    found: Cells = {}
    for column in sorted(old.keys() | new.keys()):
        one, other = old.get(column, {}), new.get(column, {})
        rows = {
            row
            for row in one.keys() | other.keys()
            if one.get(row) != other.get(row) and not alike(one.get(row), other.get(row))
            and (row, column) != MARK_CELL
        }  # fmt: skip
        if rows:
            found[column] = rows
    return found


def causes(
    stored: Carried,
    again: Carried,
    book: Book,
    data: bytes,
    mark: Mark,
    witnesses: Sequence[tuple[str, bytes]] = (),
) -> Causes:
    """Why the stored sheets differ from those made `again`; nothing where they do not."""
    evidence = Evidence()
    sheets = [_sheet(stored, again, name, evidence) for name in again.sheets
              if name in stored.sheets]  # fmt: skip
    changed = bool(mark.inputs) and fingerprint(book) != mark.inputs
    if not any(sheet.count or sheet.odd for sheet in sheets):
        return Causes()
    if not mark.inputs and any(sheet.count for sheet in sheets):
        return _untold(sheets, "the result sheets do not say which inputs they were made from")
    if not changed:
        return _edits(sheets, stored)
    found = earlier(data, book.path, book, mark, evidence, witnesses)
    if found is None:
        why = "inputs changed after the last run, and the book alone does not show which"
        return _untold(sheets, why)
    found, sheets, follow = _likeliest(sheets, found, book, data, mark)
    edits = _edits(sheets, stored)
    said = f"{listed(list(_inputs(found)))}: {_cells(follow, 'follows', 'follow')} from it"
    return Causes((said, *edits.said), _places(found), edits.formulas)


def evidence_of(old: bytes, new: bytes) -> Evidence:
    """What the formulas of a book's result sheets show that those made anew do not."""
    stored, again, evidence = carried(old, "old.xlsx"), carried(new, "new.xlsx"), Evidence()
    for name in again.sheets:
        if name in stored.sheets:
            _sheet(stored, again, name, evidence)
    return evidence


def _likeliest(
    sheets: list[_Sheet], found: Earlier, book: Book, data: bytes, mark: Mark
) -> tuple[Earlier, list[_Sheet], int]:
    """The earlier inputs that leave least unexplained: a pressure may have had its unit typed.

    With them the sheets that they leave, and how many cells follow.
    """
    best = found, *_left(sheets, found, book.path, mark)
    if any(sheet.count for sheet in best[1]):
        for other in as_typed(data, book, mark, found):
            tried = other, *_left(sheets, other, book.path, mark)
            if tried[2] > best[2]:
                best = tried
    return best


def _left(
    sheets: Sequence[_Sheet], found: Earlier, path: str, mark: Mark
) -> tuple[list[_Sheet], int]:
    """Copies of the sheets without what the earlier inputs give, and how many cells these are."""
    left = [
        replace(s, differ={c: set(rows) for c, rows in s.differ.items()}, odd=list(s.odd))
        for s in sheets
    ]
    return left, _explain(left, found, path, mark)


def _sheet(stored: Carried, again: Carried, name: str, evidence: Evidence) -> _Sheet:
    old, new = stored.sheets[name], again.sheets[name]
    sheet = _Sheet(name, old, new, unlike(old, new))
    only = sheet.differ if stored.formulas_print(name) == again.formulas_print(name) else None
    for place, one, other in pairs(stored.formulas(name, only), again.formulas(name, only)):
        row, column = place
        differs = row in sheet.differ.get(column, ())
        was, now = old.get(column, {}).get(row), new.get(column, {}).get(row)
        if one is not None and other is not None:
            evidence.note(one, other, was, now)
            if same_formula(one, other):
                if differs:
                    sheet.plain[place] = one
                continue
        if place != MARK_CELL:
            sheet.odd.append(Unlike(name, place, one, other, was, not differs))
    return sheet


def _explain(sheets: Sequence[_Sheet], found: Earlier, path: str, mark: Mark) -> int:
    """Take out of the sheets what the earlier inputs give; how many cells these are."""
    package = review_bytes(found.package, path, mark.book_name, mark.as_of).package
    was = carried(package, path)
    follow = 0
    for sheet in sheets:
        grid = was.sheets.get(sheet.name, {})
        for column, rows in sheet.differ.items():
            old, then = sheet.old.get(column, {}), grid.get(column, {})
            theirs = {row for row in rows if alike(old.get(row), then.get(row))}
            follow += len(theirs)
            rows -= theirs
        if sheet.odd:
            only: Cells = {}
            for one in sheet.odd:
                only.setdefault(one.place[1], set()).add(one.place[0])
            then_by_place = dict(was.formulas(sheet.name, only))
            sheet.odd = [f for f in sheet.odd if not _as_then(f, then_by_place)]
    return follow


def _as_then(formula: Unlike, then: Mapping[tuple[int, int], str]) -> bool:
    was = then.get(formula.place)
    if formula.stored is None or was is None:
        return formula.stored is was
    return same_formula(formula.stored, was)


def _edits(sheets: Sequence[_Sheet], stored: Carried) -> Causes:
    """What is left when changed inputs are taken out: somebody edited the result sheets."""
    typed: list[str] = []
    kept: list[str] = []
    follow = 0
    odd = [formula for sheet in sheets for formula in sheet.odd]
    for sheet in sheets:
        roots = {formula.place for formula in sheet.odd}
        left = {(row, column) for column, rows in sheet.differ.items() for row in rows} - roots
        typed += [_at(sheet, p) for p in sorted(left) if p not in sheet.plain]
        by_formula = {p: sheet.plain[p] for p in sorted(left) if p in sheet.plain}
        theirs = _followers(by_formula, roots | (left - by_formula.keys()))
        follow += len(theirs)
        kept += [_at(sheet, p) for p in by_formula if p not in theirs]
    said = []
    if typed:
        said.append(f"{_many(len(typed), 'result cell was', 'result cells were')} edited by hand:"
                    f" {_named(typed)}")  # fmt: skip
    if kept:
        said.append(f"{_many(len(kept), 'stored value is', 'stored values are')} not what the"
                    f" formula gives: {_named(kept)}")  # fmt: skip
    said += _odd(odd)
    if follow:
        said.append(f"{_cells(follow, 'follows', 'follow')} from what was edited")
    return Causes(tuple(said), (), tuple(odd))


def _odd(odd: Sequence[Unlike]) -> Iterator[str]:
    yield from (formula.said for formula in odd[:NAMED])
    if len(odd) > NAMED:
        many = _many(len(odd) - NAMED, "more formula was", "more formulas were")
        yield f"{many} replaced or changed"


def _followers(
    formulas: Mapping[tuple[int, int], str], roots: set[tuple[int, int]]
) -> set[tuple[int, int]]:
    """The cells whose formula leads, over others, to a cell that was edited."""
    if not roots:
        return set()
    if len(formulas) > MOST_FOLLOWED:
        return set(formulas)
    found: set[tuple[int, int]] = set()
    fresh = roots
    while fresh:
        left = (p for p in formulas if p not in found)
        fresh = {p for p in left if leads_to(formulas[p], fresh)}
        found |= fresh
    return found


def _untold(sheets: Sequence[_Sheet], why: str) -> Causes:
    """Causes that cannot be told apart, said as such."""
    count = sum(sheet.count for sheet in sheets)
    odd = sum(len(sheet.odd) for sheet in sheets)
    said = f"{why}: {_cells(count, 'differs', 'differ')}"
    if odd:
        said += f" and {_many(odd, 'formula is', 'formulas are')} not as this book gives them"
    said += ", and what was edited by hand cannot be told from what follows"
    return Causes((said,), known=False)


def _inputs(found: Earlier) -> Iterator[str]:
    for changes, one, more in (
        (found.settings, "setting", "settings"), (found.cells, "input cell", "input cells"),
    ):  # fmt: skip
        if changes:
            which = "; ".join(change.said for change in changes[:NAMED])
            rest = len(changes) - NAMED
            which += f"; {rest} more" if rest > 0 else ""
            yield f"{_many(len(changes), one, more)} changed ({which})"
    yield from (rows.said for rows in found.added)
    if found.witness:
        yield f"inputs changed since {found.witness}, which the last run was made from"


def _places(found: Earlier) -> tuple[Place, ...]:
    changes = (*found.settings, *found.cells)
    said = [Place(c.sheet, c.cell, f"changed after the last run: {c.said}") for c in changes]
    said += [Place(r.sheet, r.cell, f"after the last run: {r.said}") for r in found.added]
    return tuple(said)


def _at(sheet: _Sheet, place: tuple[int, int]) -> str:
    row, column = place
    return f"{sheet.name}!{column_letters(column)}{row}"


def _named(cells: Sequence[str]) -> str:
    rest = len(cells) - NAMED
    shown = list(cells[:NAMED]) if rest > 0 else list(cells)
    return listed([*shown, f"{rest:,} more"] if rest > 0 else shown)


def _many(count: int, one: str, more: str) -> str:
    return f"{count:,} {one if count == 1 else more}"


def _cells(count: int, one: str, more: str) -> str:
    return f"{count:,} {f'cell {one}' if count == 1 else f'cells {more}'}"
