"""Agreed actions, found again in every file given: the book, earlier copies, archives and packs.

An action is its station and its words, as names are compared. Each row of a file that holds it is
a sighting; sightings of one action in several files make an agreement, in the order of the last
day that each file knows, the book last.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from siltbook.batch.review.month import Month
from siltbook.batch.typed.boxes import Box
from siltbook.templates.book import Book
from siltbook.templates.look import VERDICTS
from siltbook.templates.names import name_key
from siltbook.templates.shown import IN_METRES, Shown

NO_DAY = "no day"


@dataclass(frozen=True)
class Sighting:
    """One row of one file that holds an agreed action; `cell` with its sheet, 'Agreed!A5'.

    `listed`: it stands on a list of agreed actions, from which none goes away by itself; else in a
    box of the sheet Actions, or on the agenda of a pack.
    """

    station: str
    action: str
    who: str
    due: dt.date | None
    done: dt.date | None
    cell: str
    listed: bool = True

    @property
    def key(self) -> tuple[str, str]:
        """What identifies the action."""
        return name_key(self.station), name_key(self.action)


@dataclass(frozen=True)
class Source:
    """One file with what it says was agreed. `name` is '' for the book itself.

    `until`: the last day that the file knows, None where it does not say. `month`: of a pack,
    which shows only what is open in its month, or due or done in it.
    """

    name: str
    until: dt.date | None
    sightings: tuple[Sighting, ...]
    month: Month | None = None

    @property
    def words(self) -> str:
        """How the file is called in a sentence."""
        return self.name or "the book"


Seen = tuple[Source, Sighting]


@dataclass(frozen=True)
class Agreement:
    """One agreed action with every file that holds it, in order of time.

    `unlike` says where a later file has it otherwise, or not at all.
    """

    seen: tuple[Seen, ...]
    unlike: tuple[str, ...] = ()

    @property
    def last(self) -> Sighting:
        """As the book has it; where it does not, the last of the other files."""
        return self.seen[-1][1]

    @property
    def in_book(self) -> bool:
        """Whether the book itself holds it."""
        return not self.seen[-1][0].name

    @property
    def first_due(self) -> dt.date | None:
        """The earliest day by which it was agreed, in any file."""
        return min((s.due for _, s in self.seen if s.due is not None), default=None)

    @property
    def known_by(self) -> dt.date | None:
        """The last day of the first file that has it: work after that was done after agreeing."""
        return min((f.until for f, _ in self.seen if f.until is not None), default=None)


def of_book(
    book: Book,
    name: str,
    until: dt.date | None,
    boxes: Sequence[Box],
    boxes_on: str,
    names: Mapping[str, str],
) -> Source:
    """What a book holds: its sheet Agreed, and the boxes filled in on its sheet `boxes_on`.

    `names`: a station's name or other name, folded -> its name in the audited book.
    """
    table = book.agreed
    frame = table.frame
    columns = (frame[key] for key in ("station", "action", "who", "due", "done"))
    found = [
        Sighting(_known(station, names), text_of_cell(action), text_of_cell(who), _day(due),
                 _day(done), f"{table.sheet}!{table.cell('action', int(row))}")
        for row, station, action, who, due, done in zip(frame.index, *columns, strict=True)
    ]  # fmt: skip
    for box in boxes:
        action = box.action or _shown(box.verdict)
        found.append(Sighting(_known(box.station, names), action, box.who, _day(box.due), None,
                              f"{boxes_on}!A{box.row}", listed=False))  # fmt: skip
    return Source(name, until, tuple(once(found)))


def _shown(verdict: str) -> str:
    """A verdict without its symbol, as `siltbook agree` enters it where no action is written."""
    shown = {look.label: look.shown for look in VERDICTS.values()}
    return shown.get(verdict, verdict)


def _known(station: object, names: Mapping[str, str]) -> str:
    tidied = text_of_cell(station)
    return names.get(name_key(tidied), tidied)


def text_of_cell(value: object) -> str:
    """A cell's text on one line; '' for anything that is no text."""
    return " ".join(value.split()) if isinstance(value, str) else ""


def _day(value: object) -> dt.date | None:
    return value if isinstance(value, dt.date) else None


def once(found: Sequence[Sighting]) -> Iterator[Sighting]:
    """Each action once: one that a file holds in two places stands where it is listed."""
    taken = set()
    for one in sorted(found, key=lambda s: (not s.listed, s.done is None)):
        same = (*one.key, name_key(one.who), one.due)
        if same not in taken:
            taken.add(same)
            yield one


def agreements(
    home: Source, others: Sequence[Source], shown: Shown = IN_METRES
) -> tuple[Agreement, ...]:
    """Every agreed action of all files: those of the book in its order, then the others'.

    `shown` has the dates of what is said.
    """
    ordered = sorted(others, key=lambda source: source.until or dt.date.min)
    chains: list[list[Seen]] = [[(home, one)] for one in home.sightings]
    strays: list[list[Seen]] = []
    for source in ordered:
        left = _join(chains, source, source.sightings)
        left = _join(strays, source, left)
        strays += [[(source, one)] for one in left]
    every = [home, *ordered]
    order = {id(source): at for at, source in enumerate([*ordered, home])}
    found = []
    for chain in (*chains, *strays):
        seen = tuple(sorted(chain, key=lambda pair: order[id(pair[0])]))
        found.append(Agreement(seen, tuple(_unlike(seen, [*every[1:], home], shown))))
    return tuple(found)


def _join(
    chains: Sequence[list[Seen]], source: Source, sightings: Sequence[Sighting]
) -> list[Sighting]:
    """Put sightings to the chains of the same action, the likest first; those without one."""
    pairs = [
        (_likeness(chain[0][1], one), at, n)
        for at, chain in enumerate(chains)
        for n, one in enumerate(sightings)
        if chain[0][1].key == one.key
    ]
    taken: set[int] = set()
    joined: set[int] = set()
    for _, at, n in sorted(pairs, key=lambda pair: (-pair[0], pair[1], pair[2])):
        if at not in joined and n not in taken:
            chains[at].append((source, sightings[n]))
            joined.add(at)
            taken.add(n)
    return [one for n, one in enumerate(sightings) if n not in taken]


def _likeness(one: Sighting, other: Sighting) -> int:
    return 2 * (one.due == other.due) + (name_key(one.who) == name_key(other.who))


def _said(value: dt.date | str | None, shown: Shown) -> str:
    return shown.day(value) if isinstance(value, dt.date) else value or ""


def _unlike(seen: Sequence[Seen], sources: Sequence[Source], shown: Shown) -> Iterator[str]:
    """Where a later file has another date or person than an earlier one, or lacks the action."""
    for (before, was), (after, now) in pairwise(seen):
        here, there = f"{before.words}, {was.cell}", after.words
        for title, old, new in (
            ("due date", was.due, now.due), ("person", was.who, now.who),
            ("done date", was.done, now.done),
        ):  # fmt: skip
            same = name_key(old) == name_key(new) if title == "person" else old == new
            if old and not same:  # an empty cell that was filled in is no other one
                first, then = (_said(v, shown) for v in (old, new))
                yield f"{title} {first} in {here}; {then or 'none'} in {there}"
    holds = {id(source): one for source, one in seen}
    last: Seen | None = None
    for source in sources:
        if id(source) in holds:
            last = source, holds[id(source)]
        elif last is not None and _is_due_in(source, last[1], seen):
            yield f"stands in {last[0].words}, {last[1].cell}, and not in {source.words}"
            last = None


def _is_due_in(source: Source, one: Sighting, seen: Sequence[Seen]) -> bool:
    """Whether a later file has to hold an action that an earlier one holds.

    A box goes with its episode; an agenda's row is carried over later, into the book. A pack has
    what is open at the end of its month, or due or done in it.
    """
    if not one.listed:
        # Only an agenda names a meeting's decision; boxes of a book come and go.
        return not source.name and any(f.month is not None for f, _ in seen)
    if source.month is None:
        return True
    done = min((s.done for _, s in seen if s.done is not None), default=None)
    is_open = done is None or done > source.month.last
    return is_open or done in source.month or one.due in source.month
