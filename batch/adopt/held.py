"""The rows that a book's list has, and which of them a source's row is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence

from siltbook.batch.reading.columns import shown
from siltbook.templates.book import Table
from siltbook.templates.contract import OCCASIONS, WORKS
from siltbook.templates.names import name_key

Row = dict[str, object]
Held = tuple[int, Row]  # a row of a list with its number
_KINDS = (*OCCASIONS, *WORKS)


class There:
    """The rows that a list has, by what makes two rows one: `identity`."""

    def __init__(
        self, table: Table, kind: Sequence[str], source: Mapping[tuple[object, ...], int]
    ) -> None:
        self.kind, self.source = kind, source
        self.rows: dict[tuple[object, ...], list[Held]] = {}
        self.days: dict[tuple[object, ...], list[Held]] = {}
        for raw in table.records():
            record = _with_words(raw, table)
            at, held = identity(record, kind), (raw["row"], record)
            self.rows.setdefault(at, []).append(held)
            if not source.get(at):  # what the source has just so is nothing else's
                self.days.setdefault(at[:2], []).append(held)

    def at(self, row: Row) -> list[Held]:
        """The rows of this station, day, time and kind."""
        return self.rows.get(identity(row, self.kind), [])

    def take(self, row: Row, same: Callable[[Row], bool]) -> Held | None:
        """The row that is the same; else the same but for a time or an occasion that one of the two
        leaves blank, which contradicts nothing. A row without a time is found once."""
        found = self.at(row)
        exact = next((held for held in found if same(held[1])), None)
        if exact is not None:
            if clock_of(row) is None:
                found.remove(exact)  # a second such reading of that day is another one
            return exact
        day = self.days.get(identity(row, self.kind)[:2], [])
        alike = next((h for h in day if self._agree(row, h[1]) and same(h[1])), None)
        if alike is not None:
            day.remove(alike)
        return alike

    def _agree(self, row: Row, held: Row) -> bool:
        mine, theirs = (identity(one, self.kind)[2:] for one in (row, held))
        pairs = zip(mine, theirs, ("time", *self.kind), strict=True)
        return all(a == b or (key != "work" and (not a or not b)) for a, b, key in pairs)


def identity(row: Mapping[str, object], kind: Sequence[str]) -> tuple[object, ...]:
    """What makes two rows of a list one: station, date, time and the kind of work or occasion."""
    when = (row["date"], clock_of(row))
    return (name_key(row["station"]), *when, *(word_of(row, k) for k in kind))


def clock_of(row: Mapping[str, object]) -> dt.time | None:
    """The time of a row; None also of one that cannot be read, as in the book."""
    time = row.get("time")
    return time if isinstance(time, dt.time) else None


def word_of(row: Mapping[str, object], key: str) -> str:
    """The kind of a row; of words that cannot be read the usual one, as in the book."""
    value = row.get(key)
    return value if isinstance(value, str) and value in _KINDS and value != "routine" else ""


def _with_words(record: Row, table: Table) -> Row:
    """A row of a list with the words that stand in place of numbers and signs, as they are shown.

    A source that says the same contradicts nothing.
    """
    number = int(str(record["row"]))
    said = dict(table.unread.get(number, ()))
    raw = table.raw.get("cycles", {}).get(number)
    if isinstance(raw, str):
        said.setdefault("cycles", shown(raw))
    return record | {key: text for key, text in said.items() if not _there(record.get(key))}


def _there(value: object) -> bool:
    return value is not None and value == value
