"""The book against its witnesses: rows that are gone or changed since, and rules that changed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.witness import Witness
from siltbook.batch.merging.rows import match
from siltbook.batch.merging.sides import Entry, Side, Value, key_of
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import (
    CHANGED_GAUGES,
    FARM,
    READINGS,
    STATIONS,
    WORK,
    Kind,
    Sheet,
)
from siltbook.templates.own_unit import in_unit
from siltbook.templates.shown import IN_METRES, METRE, Shown

if TYPE_CHECKING:
    import pandas as pd

GONE = "and not in the book"
FAR = 10_000  # [days] for a row without a day
NEAR = 1e-6  # relative: the last digits of a unit's conversion
_SETTINGS = (
    "drop_limit", "watch_share", "flush_inlet", "flush_cycles", "interval", "pressure_unit",
    "flow_unit",
)  # fmt: skip
_REGISTER: tuple[str, ...] = (
    "drop_limit", "unit", "gauges", "full_scale", "gauge_class", "division", "reference_flow",
    "clean_drop", "working_inlet",
)  # fmt: skip
_GAUGE: tuple[str, ...] = ("gauges", "full_scale", "gauge_class", "division", "unit")
_READ: tuple[str, ...] = ("inlet", "outlet", "flow", "field", "drop")
_DONE: tuple[str, ...] = ("cycles", "flush_inlet", "click", "water_heard", "water", "gauge_zero")
_WHEN = ("date", "time", "occasion")
_SIGNS = {"click": "a click", "water": "water at the outlet"}


@dataclass
class Compared:
    """What was found of rows and of rules, by what it is about, and how many rows were compared."""

    rows: dict[tuple[object, ...], Place] = field(default_factory=dict)
    rules: dict[tuple[object, ...], Place] = field(default_factory=dict)
    count: int = 0
    unlike: int = 0


def against(home: Side, witnesses: Sequence[Witness]) -> list[RuleResult]:
    """The two rules on witnesses: one on the data, one on the rules of the book."""
    found = Compared()
    taken = [witness for witness in witnesses if not witness.why_not]
    for witness in taken:
        if witness.side is None:
            _pack(home, witness, found)
        else:
            _book(home, witness, witness.side, found)
    names = ", ".join(witness.name for witness in taken)
    rows = looked(
        RULES["witness-rows"], sorted(found.rows.values(), key=_weight),
        f"All {found.count:,} rows of {names} stand in the book with the same values.",
        many="entries",
    )  # fmt: skip
    rules = looked(
        RULES["witness-rules"], list(found.rules.values()),
        f"Limits, units, intervals and gauges are those of {names}.", many="rules differ",
    )  # fmt: skip
    rows = replace(rows, kept=found.count - found.unlike, of=found.count)
    return [_told(rule, witnesses) for rule in (rows, rules)]


def _weight(place: Place) -> tuple[bool, bool, bool]:
    """What is to be looked at first: a flush without its signs that is gone, then other rows."""
    gone = place.said.endswith(GONE)
    return place.holds, not gone, not (gone and "'flush' without" in place.said)


def _told(result: RuleResult, witnesses: Sequence[Witness]) -> RuleResult:
    """The result, with what is no witness; it reassures only where every file is one."""
    others = "; ".join(f"{w.name} is no witness: {w.why_not}" for w in witnesses if w.why_not)
    if not others:
        return result
    if result.state is State.LOOK:
        return replace(result, said=f"{result.said}. {others}.")
    told = all(witness.why_not for witness in witnesses)
    said = f"{others}." if told else f"{result.said} {others}."
    return replace(result, state=State.CANNOT, said=said)


def _book(home: Side, witness: Witness, side: Side, found: Compared) -> None:
    for sheet, keys in ((READINGS, _READ), (WORK, _DONE)):
        _rows(_Lists(home, witness.name, side, sheet), keys, found)
    _settings(home.book, side.book, witness.name, found)
    for sheet, keys in ((STATIONS, _REGISTER), (CHANGED_GAUGES, _GAUGE)):
        _register(_Lists(home, witness.name, side, sheet), keys, found)


@dataclass(frozen=True)
class _Lists:
    """One list in both files."""

    home: Side
    name: str
    side: Side
    sheet: Sheet

    @property
    def mine(self) -> Table:
        return self.home.book.lists()[self.sheet.name]

    @property
    def theirs(self) -> Table:
        return self.side.book.lists()[self.sheet.name]

    def there(self, row: int) -> str:
        """Where a row stands in the witness."""
        return f"{self.name}, {self.theirs.sheet}!{row}:{row}"

    def place(self, row: int, key: str, said: str, station: str, *, holds: bool = False) -> Place:
        return Place(self.mine.sheet, self.mine.cell(key, row), said, station, holds=holds)

    def title(self, key: str) -> str:
        """A column's header, a limit's with the unit that the book's own header states."""
        column = self.sheet.column(key)
        unit = self.mine.units.get(key, METRE)
        return in_unit(column, unit).header if column.kind is Kind.METRES else column.header

    def said(self, value: Value | object) -> str:
        """A cell as a person of the book's farm reads it."""
        return shown(value, self.home.book.settings.shown)

    def unlike(self, key: str, old: Entry, new: Entry) -> bool:
        """Whether a cell means another value in the book than in the witness.

        The same figure in another unit is no other value: that the unit changed is a rule's.
        """
        if self.sheet.column(key).kind is Kind.PRESSURE:
            raw = [t.raw.get(key, {}).get(e.row) for t, e in ((self.theirs, old), (self.mine, new))]
            if isinstance(raw[0], float) and raw[0] == raw[1]:
                return False
        one, other = (_canonical(t, key, e) for t, e in ((self.theirs, old), (self.mine, new)))
        return not _same(one, other)


def _canonical(table: Table, key: str, entry: Entry) -> object:
    """A cell in the canonical unit; as typed where its row was set aside; None for empty."""
    frame: pd.DataFrame = table.frame
    if entry.row in frame.index:
        value: object = frame.at[entry.row, key]
        return None if isinstance(value, float) and math.isnan(value) else value
    return entry.cells.get(key)


def _same(one: object, other: object) -> bool:
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return abs(one - other) <= NEAR * max(1e-3, abs(one), abs(other))
    return one == other


def _rows(lists: _Lists, keys: Sequence[str], found: Compared) -> None:
    """Readings or work: what is gone, was moved to another day, or has other values."""
    sheet = lists.sheet.name
    olds, news = lists.side.entries[sheet], lists.home.entries[sheet]
    pairs = match(olds, news)
    found.count += len(olds)
    taken = set(pairs.values())
    spare = [entry for j, entry in enumerate(news) if j not in taken]
    for i, old in enumerate(olds):
        if i in pairs:
            places = list(_changed(lists, keys, old, news[pairs[i]]))
        elif (new := _moved(lists, keys, old, spare)) is not None:
            spare.remove(new)
            places = [_elsewhere(lists, old, new)]
        else:
            places = [_gone(lists, old)]
        found.unlike += any(not place.holds for place in places)
        for place in places:
            found.rows.setdefault((sheet, old.key, place.cell, place.holds), place)


def _changed(lists: _Lists, keys: Sequence[str], old: Entry, new: Entry) -> Iterator[Place]:
    for key in keys:
        if not lists.unlike(key, old, new):
            continue
        before, now = (lists.said(entry.cells.get(key)) for entry in (old, new))
        said = f"{_who(lists, old)}: {lists.title(key)} is {now}; "
        said += f"{before} in {lists.there(old.row)}"
        filled = key not in old.cells and lists.sheet is READINGS
        yield lists.place(new.row, key, said, _name(old), holds=filled)


def _moved(lists: _Lists, keys: Sequence[str], old: Entry, spare: Sequence[Entry]) -> Entry | None:
    """The row of the same station with the same values that stands under another day or time."""

    def alike(new: Entry) -> bool:
        same = all(not lists.unlike(key, old, new) for key in keys)
        return same and all(old.cells.get(k) == new.cells.get(k) for k in ("station", "work"))

    if not any(key in old.cells for key in keys):
        return None
    found = [entry for entry in spare if alike(entry)]
    return min(found, key=lambda new: _days(old, new), default=None)


def _days(old: Entry, new: Entry) -> int:
    one, other = (e.cells.get("date") for e in (old, new))
    if isinstance(one, dt.date) and isinstance(other, dt.date):
        return abs((one - other).days)
    return FAR


def _elsewhere(lists: _Lists, old: Entry, new: Entry) -> Place:
    keys = [k for k in _WHEN if lists.sheet.has(k) and old.cells.get(k) != new.cells.get(k)]
    filled = all(key not in old.cells for key in keys)
    said = f"{_who(lists, old)}: {_what(lists.sheet, old)} has another day or time than in "
    said += f"{lists.there(old.row)}: " + ", ".join(
        f"{lists.title(k).lower()} {lists.said(old.cells.get(k))} → {lists.said(new.cells.get(k))}"
        for k in keys
    )
    return lists.place(new.row, keys[0] if keys else "date", said, _name(old), holds=filled)


def _gone(lists: _Lists, old: Entry) -> Place:
    said = f"{_who(lists, old)}: {_what(lists.sheet, old)} stands in {lists.there(old.row)}, "
    return lists.place(_beside(lists, old), "date", f"{said}{GONE}", _name(old))


def _beside(lists: _Lists, old: Entry) -> int:
    """The row of the book behind which a row that is gone would stand; the header's for none."""
    day, table = old.cells.get("date"), lists.mine
    best, row = dt.date.min, table.header_row
    for entry in lists.home.entries[lists.sheet.name]:
        theirs = entry.cells.get("date")
        if entry.cells.get("station") != old.cells.get("station"):
            continue
        if isinstance(theirs, dt.date) and isinstance(day, dt.date) and best <= theirs <= day:
            best, row = theirs, entry.row
    return row


def _what(sheet: Sheet, entry: Entry) -> str:
    """A row in a few words; a flush with the signs that it did not show."""
    cells = entry.cells
    if sheet is READINGS:
        read = ", ".join(f"{k} {shown(cells[k])}" for k in ("inlet", "outlet") if k in cells)
        return f"a reading ({read})" if read else "a reading"
    lacks = " or ".join(words for key, words in _SIGNS.items() if cells.get(key) == "no")
    work = f"'{cells.get('work', 'work')}'"
    return f"{work} without {lacks}" if lacks else work


def _name(entry: Entry) -> str:
    return str(entry.cells.get("station", ""))


def _who(lists: _Lists, entry: Entry) -> str:
    day = entry.cells.get("date")
    return f"{_name(entry)}, {lists.said(day)}" if day is not None else _name(entry)


def shown(value: Value | object, as_shown: Shown = IN_METRES) -> str:
    """A cell as a person reads it, dates as the farm has them shown."""
    if value is None or value == "":
        return "empty"
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, dt.date):
        return as_shown.day(value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _settings(book: Book, other: Book, name: str, found: Compared) -> None:
    as_shown = book.settings.shown
    for key in _SETTINGS:
        now, was = getattr(book.settings, key), getattr(other.settings, key)
        if _same(now, was):
            continue
        column = FARM.column(key)
        pressure = column.kind in (Kind.PRESSURE, Kind.METRES)
        cell = other.setting_cells.get(key, "")
        there = f"{name}, {other.farm_sheet}!{cell}" if cell else name
        say = as_shown.exact if pressure else partial(shown, as_shown=as_shown)
        unit = f" {column.unit}" if column.kind is Kind.NUMBER and column.unit else ""
        said = f"{column.header} is {say(now)}{unit}; {say(was)}{unit} in {there}"
        place = Place(book.farm_sheet, book.setting_cells.get(key, ""), said)
        found.rules.setdefault((FARM.name, key), place)


def _register(lists: _Lists, keys: Sequence[str], found: Compared) -> None:
    """Stations, or gauges that were changed: rows that are gone, and other limits and gauges."""
    sheet = lists.sheet.name
    olds, news = lists.side.entries[sheet], lists.home.entries[sheet]
    pairs = match(olds, news)
    for i, old in enumerate(olds):
        name = _name(old)
        if i not in pairs:
            said = f"{name}: stands in {lists.there(old.row)}, {GONE}"
            place = lists.place(lists.mine.header_row, "station", said, name)
            found.rules.setdefault((sheet, old.key), place)
            continue
        new = news[pairs[i]]
        for key in keys:
            if lists.unlike(key, old, new):
                before, now = (lists.said(entry.cells.get(key)) for entry in (old, new))
                said = f"{name}: {lists.title(key)} is {now}; {before} in {lists.there(old.row)}"
                place = lists.place(new.row, key, said, name)
                found.rules.setdefault((sheet, old.key, key), place)


def _pack(home: Side, witness: Witness, found: Compared) -> None:
    """A pack: the flushes of its month, and the limits of stations that went over."""
    table, places = home.book.work, witness.places or {}
    news = [replace(e, key=_timeless(e.cells)) for e in home.entries[WORK.name]]
    pairs = match(witness.flushes, news)
    found.count += len(witness.flushes)
    lists = _Lists(home, witness.name, home, WORK)
    for i, old in enumerate(witness.flushes):
        there = f"{witness.name}, {places.get(old.row, '')}"
        if i not in pairs:
            said = f"{_who(lists, old)}: {_what(WORK, old)} stands in {there}, {GONE}"
            made = [lists.place(_beside(lists, old), "date", said, _name(old))]
        else:
            made = list(_unlike_flush(lists, witness, old, news[pairs[i]], there))
        found.unlike += bool(made)
        for place in made:
            found.rows.setdefault((table.sheet, old.key, place.cell, False), place)
    _limits(home.book, witness, found)


def _limits(book: Book, witness: Witness, found: Compared) -> None:
    frame = book.stations.frame
    limits, look = frame["drop_limit"].fillna(book.settings.drop_limit), book.settings.shown
    now = dict(zip(frame["station"].tolist(), zip(frame.index, limits, strict=True), strict=True))
    for one in witness.limits:
        row, limit = now.get(one.station, (0, one.limit))
        if not _same(float(limit), one.limit):
            now_is, told = (look.stated(m, look.exact(m)) for m in (float(limit), one.limit))
            said = f"{one.station}: the limit is {now_is}; {told} in "
            said += f"{witness.name}, {one.place}"
            cell = book.stations.cell("drop_limit", int(row))
            place = Place(book.stations.sheet, cell, said, one.station)
            found.rules.setdefault((STATIONS.name, one.station, "limit"), place)


def _timeless(cells: Mapping[str, Value]) -> tuple[str, ...]:
    """The key of a row of Work done without its time, which no pack shows."""
    return key_of(WORK, {k: v for k, v in cells.items() if k != "time"})


def _unlike_flush(
    lists: _Lists, witness: Witness, old: Entry, new: Entry, there: str
) -> Iterator[Place]:
    for key in (k for k in _DONE if k in witness.shows):
        was, now = old.cells.get(key), _canonical(lists.mine, key, new)
        if not _same(was, now):
            said = f"{_who(lists, old)}: {lists.title(key)} is {lists.said(now)}; "
            said += f"{lists.said(was)} in {there}"
            yield lists.place(new.row, key, said, _name(old))
