"""What people put on the result sheets of a book that is replaced in its own place.

The sheets as they were written are found by judging the book again, as of their day and from the
inputs that they were made from. Where these cannot be found again, a result that was typed over
cannot be told from one that follows from new inputs: that is said, and notes, pictures and cells
beside the tables are named all the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from siltbook import __version__
from siltbook.batch.errors import SiltbookError
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.typed.beside import gone
from siltbook.batch.typed.by_hand import set_there
from siltbook.batch.typed.edited import MARK_CELL, Leaf, Place, leaves, unlike_cells
from siltbook.batch.typed.mark import Mark
from siltbook.batch.typed.stamp import untouched
from siltbook.templates.book import column_letters

_NAMED = 4  # cells of one sheet that are named with their content
_SHOWN = 40  # characters of a cell that are shown
_SO = "so a result that was typed over cannot be told from a new one"
UNREADABLE = "the earlier ones can no longer be compared with what Siltbook wrote"


def what_goes(old: bytes, new: bytes, book_name: str) -> tuple[str, str]:
    """What stands on the result sheets of `old` that nobody finds in `new`, '' for nothing.

    `new` is the same book with new result sheets. Behind it, where not all can be told, why.
    """
    if untouched(old, book_name):
        return "", ""
    try:
        was, now = leaves(old), leaves(new)
        ours = {n: leaf for n, leaf in was.items() if leaf.mark is not None and n in now}
        mark = next((leaf.mark for leaf in ours.values() if leaf.mark), None)
        if mark is None or untouched(old, mark.book_name):
            return "", ""
        then, doubt = _then(old, mark, now)
        said = [f"{n}: {s}" for n, leaf in ours.items() if (s := _lost(n, leaf, then, now))]
    except (SiltbookError, *DAMAGE):
        return "", UNREADABLE
    return "; ".join(said), doubt


def _then(old: bytes, mark: Mark, now: Mapping[str, Leaf]) -> tuple[Mapping[str, Leaf] | None, str]:
    """The sheets as they were written, or None and why they cannot be found again."""
    from siltbook.batch.audit.causes import evidence_of
    from siltbook.batch.audit.earlier import earlier
    from siltbook.batch.job import review_bytes
    from siltbook.batch.reading.book import read_book

    if mark.version != __version__:
        return None, f"the earlier ones are of version {mark.version}, {_SO}"
    book = read_book(old, "old.xlsx").book
    same = fingerprint(book) == mark.inputs
    if same and replace(mark, typed="") in _marks(now):
        return now, ""
    again = review_bytes(old, "old.xlsx", mark.book_name, mark.as_of).package
    if not same:
        found = earlier(old, "old.xlsx", book, mark, evidence_of(old, again), ())
        if found is None:
            return None, f"inputs changed since the last run, {_SO}"
        again = review_bytes(found.package, "old.xlsx", mark.book_name, mark.as_of).package
    return leaves(again), ""


def _marks(sheets: Mapping[str, Leaf]) -> list[Mark]:
    """The marks of all result sheets, without what the fingerprint of remarks says."""
    return [replace(leaf.mark, typed="") for leaf in sheets.values() if leaf.mark]


def _lost(name: str, leaf: Leaf, then: Mapping[str, Leaf] | None, now: Mapping[str, Leaf]) -> str:
    """What one sheet holds that Siltbook did not write, as a clause."""
    if then is not None and name in then:
        written = then[name]
        places = {p for p in unlike_cells(leaf, written) if p in leaf.cells}
        places |= (leaf.formulas - written.formulas) & leaf.cells.keys()
        beside = gone(leaf.beside, written.beside)
    else:
        places = set(_outside(leaf, now[name]))
        # Charts of ours come and go with the stations.
        beside = [s for s in gone(leaf.beside, now[name].beside) if not s.endswith(_CHARTS)]
    return ", ".join([*_cells(leaf, sorted(places)), *beside, *_set(leaf)])


def _set(leaf: Leaf) -> list[str]:
    if leaf.source is None:
        return []
    workbook, part = leaf.source
    return set_there(workbook.package.whole(part.part))


_CHARTS = (" chart", " charts")


def _outside(leaf: Leaf, now: Leaf) -> Iterator[Place]:
    """The cells of an earlier sheet in columns that ours does not use."""
    used = {column for _, column in now.cells}
    return (p for p in leaf.cells if p[1] not in used and p != MARK_CELL)


def _cells(leaf: Leaf, places: list[Place]) -> Iterator[str]:
    for row, column in places[:_NAMED]:
        value = leaf.cells[row, column]
        said = " ".join(str(value).split()) if isinstance(value, str) else f"{value:.12g}"
        words = said[:_SHOWN] + ("…" if len(said) > _SHOWN else "")
        yield f"{column_letters(column)}{row} " + (f"'{words}'" if words else "a formula")
    if len(places) > _NAMED:
        more = len(places) - _NAMED
        yield f"{more:,} more cell{'' if more == 1 else 's'}"
