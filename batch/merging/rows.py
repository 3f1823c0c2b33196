"""Rows while they are merged: which of one side is which of the other, and what came from whom."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from siltbook.batch.merging.points import Point
from siltbook.batch.merging.sides import Entry, Key, Value


@dataclass
class Live:
    """A row of the book while it is merged; `row` is 0 for one that is still to be added."""

    sheet: str
    row: int
    cells: dict[str, Value]
    key: Key
    by: str = ""
    changed: dict[str, Value | None] = field(default_factory=dict)
    gone: bool = False
    struck: bool = False  # somebody struck it through


def live_of(entry: Entry) -> Live:
    """A row of the book before anything is merged into it."""
    cells = dict(entry.cells)
    return Live(entry.sheet, entry.row, cells, entry.key, entry.by, struck=entry.struck)


def entry_of(live: Live) -> Entry:
    """A row as it stands while it is merged."""
    return Entry(live.sheet, live.row, live.cells, live.key, struck=live.struck)


@dataclass(frozen=True)
class Origin:
    """Something that came from a copy: which row, what, from which file and from whom."""

    sheet: str
    key: Key
    what: str
    file: str
    by: str
    row: int = 0


@dataclass(frozen=True)
class Plan:
    """What is to be written: rows as they become, lines of Conflicts, and what came from whom."""

    rows: Mapping[str, Sequence[Live]]
    points: tuple[Point, ...]
    origins: tuple[Origin, ...]
    taken: int
    kept: int


def same(one: Value | None, other: Value | None) -> bool:
    """Whether two cells say the same, up to the last digits of a conversion."""
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 1e-9 * max(abs(one), abs(other), 1.0)
    if isinstance(one, float) and isinstance(other, str):
        return f"{one:.15g}" == other
    if isinstance(one, str) and isinstance(other, float):
        return f"{other:.15g}" == one
    return one == other


def alike(one: Mapping[str, Value], other: Mapping[str, Value]) -> bool:
    """Whether two rows say the same in every cell."""
    return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)


def match(olds: Sequence[Entry | Live], news: Sequence[Entry | Live]) -> dict[int, int]:
    """Which row of the one list is which of the other: the same key, the same content first.

    Of two rows with other content neither is the other where one alone is struck through.
    """
    groups: dict[Key, list[int]] = defaultdict(list)
    for j, row in enumerate(news):
        groups[row.key].append(j)
    found: dict[int, int] = {}
    for fits in (_as_alike, _alike, _as_struck):
        for i, old in enumerate(olds):
            if i in found:
                continue
            free = groups.get(old.key, [])
            hit = next((j for j in free if fits(old, news[j])), None)
            if hit is not None:
                found[i] = hit
                free.remove(hit)
    return found


def _alike(one: Entry | Live, other: Entry | Live) -> bool:
    return alike(one.cells, other.cells)


def _as_struck(one: Entry | Live, other: Entry | Live) -> bool:
    return one.struck is other.struck


def _as_alike(one: Entry | Live, other: Entry | Live) -> bool:
    return _as_struck(one, other) and _alike(one, other)


def added(plan: Plan, sheet: str) -> Iterator[Live]:
    """The rows to add to a list, in an order that does not depend on that of the copies."""
    new = (r for r in plan.rows[sheet] if not r.row and not r.gone)
    yield from sorted(new, key=lambda r: (r.key, sorted(map(str, r.cells.items()))))
