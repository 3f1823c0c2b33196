"""Joins the rows of copies: pure, from sides to what is to be written and what is to be chosen.

Rows are joined by what identifies them. With a common ancestor a change on one side alone is
taken; without one a blank cell is filled by the side that has a value. Everything else in which
the sides differ becomes a line of Conflicts, and the book keeps its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from siltbook.batch.merging.formulas import is_met, is_news, other_formulas
from siltbook.batch.merging.near import near_names
from siltbook.batch.merging.outside import ACTIONS, is_entered, outside
from siltbook.batch.merging.points import (
    ALIAS,
    BACK,
    CELL,
    FIXED,
    FORMULA,
    GONE,
    KEEP,
    PLACELESS,
    STRUCK,
    TAKE,
    TWO_WAYS,
    UNIT,
    VOID,
    Point,
    said,
)
from siltbook.batch.merging.rows import (
    Live,
    Origin,
    Plan,
    alike,
    entry_of,
    live_of,
    match,
    same,
)
from siltbook.batch.merging.sides import OWN, Entry, Key, Side, Value, key_of
from siltbook.batch.merging.struck import settled_there, struck, two_ways, void
from siltbook.batch.merging.units import (
    converted,
    day_of,
    settled,
    unit_of_setting,
    unit_stays,
    units_of,
)
from siltbook.batch.reading.book_units import Units
from siltbook.templates.contract import AGREED, FARM, LISTS, STATIONS
from siltbook.templates.names import name_key

APART = "not taken: the two have other units"
_SHEETS = {sheet.name: sheet for sheet in LISTS}


def join(home: Side, copies: Sequence[Side], base: Side | None, earlier: Sequence[Point]) -> Plan:
    """Merge copies into the book; the order in which they are given does not matter."""
    taken = settled(home, copies)
    units = units_of(home).with_units(taken)
    before = converted(base, home, units) if base else None
    merging = _Joining(home, before, earlier, units, taken)
    merging.carry_out()
    for copy in sorted((converted(copy, home, units) for copy in copies), key=_content):
        merging.take(copy)
    return merging.plan()


def _content(side: Side) -> tuple[str, str]:
    entries = [entry for listed in side.entries.values() for entry in listed]
    rows = sorted(str(sorted(map(str, entry.cells.items()))) for entry in entries)
    return "\n".join(rows), side.name


class _Joining:
    """One merging."""

    def __init__(
        self,
        home: Side,
        base: Side | None,
        earlier: Sequence[Point],
        units: Units,
        new_units: Mapping[tuple[str, Key], str],
    ) -> None:
        self.home, self.base, self.earlier = home, base, earlier
        self.units, self.new_units = units, new_units
        self.rows: dict[str, list[Live]] = {
            name: [live_of(e) for e in entries] for name, entries in home.entries.items()
        }
        self.settled = {p.identity for p in earlier if p.state or p.choice in (KEEP, TAKE)}
        self.points: dict[tuple[object, ...], Point] = {}
        self.origins: list[Origin] = []
        self.columns: set[tuple[str, ...]] = set()  # whose formulas differ in the way that was said
        self.taken = self.kept = 0

    # what was chosen before

    def carry_out(self) -> None:
        for point in self.earlier:
            state = point.state
            if not state and point.choice == KEEP:
                state, self.kept = "kept", self.kept + 1
            elif not state and point.choice == TAKE and point.can_be_taken and self._taken(point):
                state, self.taken = "taken", self.taken + 1
            elif not state and point.choice == TAKE:
                state = APART if point.op == ALIAS and not self._alike(point) else ""
                self.settled.discard(point.identity)
            self._add(replace(point, state=state))

    def _taken(self, point: Point) -> bool:
        if point.op == BACK:
            cells = dict(point.row)
            self.rows[point.sheet].append(Live(point.sheet, 0, cells, point.key, point.their_by))
            self._note(point, "row brought back")
            return True
        if point.op == ALIAS:
            return self._one_station(point)
        for live in self.rows[point.sheet]:
            if live.key != point.key or live.gone:
                continue
            if point.op == GONE:
                live.gone = True
                return True
            if same(live.cells.get(point.column), point.mine):
                self._set(live, point.column, point.theirs)
                self._note(point, f"{point.header} taken")
                return True
        return False

    def _one_station(self, point: Point) -> bool:
        """Write the other name into Also called, and join the rows that stand under it."""
        own = next((r for r in self.rows[STATIONS.name] if r.key == point.key), None)
        if "also" not in self.home.tables[STATIONS.name].places:
            return False
        if own is None or not self._alike(point):
            return False
        other = said(point.theirs)
        also = [part.strip() for part in said(own.cells.get("also")).split(";") if part.strip()]
        self._set(own, "also", "; ".join([*also, other]))
        name = own.cells["station"]
        for sheet, rows in self.rows.items():
            if sheet == FARM.name or not _SHEETS[sheet].has("station"):
                continue
            for live in [r for r in rows if said(r.cells.get("station")) == other]:
                live.cells["station"] = name
                live.key = key_of(_SHEETS[sheet], live.cells)
                twins = [r for r in rows if r is not live and r.key == live.key and not r.gone]
                if any(alike(r.cells, live.cells) for r in twins):
                    live.gone = True
                elif sheet == STATIONS.name and twins:
                    self._pair(twins[0], entry_of(live), self.home.name, self.home)
                    live.gone = True
        return True

    def _alike(self, point: Point) -> bool:
        """Whether the numbers of both names are read in the same units."""
        one, other = point.key[0], name_key(said(point.theirs))
        mine, theirs = (self.units.gauges.get(name, ()) for name in (one, other))
        return mine == theirs and self.units.at(one, "") == self.units.at(other, "")

    # a copy

    def take(self, copy: Side) -> None:
        for sheet in self.rows:
            before = self.base.entries[sheet] if self.base else ()
            self._list(sheet, before, copy)
        for point in near_names(self.home, copy):
            self._add(point)
        for point in outside(self.home, self.base, copy):
            self._add(point)

    def _list(self, sheet: str, before: Sequence[Entry], copy: Side) -> None:
        mine = [r for r in self.rows[sheet] if not r.gone]
        theirs = list(copy.entries[sheet])
        in_mine, in_theirs = match(before, mine), match(before, theirs)
        for n, old in enumerate(before):
            live, new = in_mine.get(n), in_theirs.get(n)
            if live is not None and new is not None:
                self._three(old, mine[live], theirs[new], copy)
                self._formulas(mine[live], theirs[new], old, copy)
            elif live is not None:
                self._gone(mine[live], copy)
            elif new is not None:
                self._back(theirs[new], copy)
        rest = [r for i, r in enumerate(mine) if i not in in_mine.values()]
        new_rows = [e for i, e in enumerate(theirs) if i not in in_theirs.values()]
        pairs = match(rest, new_rows)
        for i, j in pairs.items():
            self._pair(rest[i], new_rows[j], copy.name, copy)
            self._formulas(rest[i], new_rows[j], None, copy)
        for j, entry in enumerate(new_rows):
            if j not in pairs.values():
                self._new(entry, copy)

    def _formulas(self, live: Live, entry: Entry, old: Entry | None, copy: Side) -> None:
        """Formulas of a row that differ, those of one column that differ alike once; of a cell
        whose results do that is said already."""
        for point in other_formulas(self.home, self.base, copy, live, entry, old):
            if is_news(point, live.row, self.points.values(), self.columns):
                self._add(point)

    def _new(self, entry: Entry, copy: Side) -> None:
        if entry.sheet == FARM.name or not self.home.tables[entry.sheet].places:
            for key, value in entry.cells.items():
                self._differs(PLACELESS, entry, key, None, value, copy, "")
            return
        if ("back", entry.sheet, entry.key, tuple(entry.cells.items())) in self.settled:
            return
        if out := void(entry, copy) if entry.struck else two_ways(entry, self.home, copy):
            self._add(out)
            return
        entry = self._without_unit(entry, copy)
        self.rows[entry.sheet].append(Live(entry.sheet, 0, dict(entry.cells), entry.key, entry.by))
        self.origins.append(Origin(entry.sheet, entry.key, "row added", copy.name, entry.by))
        self._placeless(entry, copy)
        for (row, key), text in copy.calculated.get(entry.sheet, {}).items():
            if row == entry.row and key in self.home.tables[entry.sheet].places:
                self._fixed(entry, key, text, copy)

    def _fixed(self, entry: Entry, key: str, formula: str, copy: Side) -> None:
        """Say of a formula of the copy that the book has its result alone, or nothing."""
        self._add(Point(FIXED, entry.sheet, entry.key, key, entry.cells.get(key), formula,
                        there=copy.at(entry.sheet, entry.row, key), file=copy.name,
                        their_by=entry.by, unit=self._unit(entry, key)))  # fmt: skip

    def _placeless(self, entry: Entry, copy: Side) -> None:
        """Cells of a row for which the book has no column."""
        for key, value in entry.cells.items():
            if entry.sheet != FARM.name and key not in self.home.tables[entry.sheet].places:
                self._differs(PLACELESS, entry, key, None, value, copy, "")

    def _pair(self, live: Live, entry: Entry, file: str, copy: Side) -> None:
        """Two rows of one key without a common ancestor."""
        if entry.struck is not live.struck:
            self._add(struck(self.home, live, entry, copy))
        was = dict(live.cells)
        for key, theirs in entry.cells.items():
            mine = live.cells.get(key)
            if same(mine, theirs):
                continue
            if self._stays(entry, key, live, theirs, copy):
                continue
            if self._calculated(entry, key, live, was, copy):
                continue
            if mine is None:
                self._fill(live, entry, key, theirs, copy)
            else:
                self._differs(CELL, entry, key, live, theirs, copy, file)

    def _three(self, old: Entry, live: Live, entry: Entry, copy: Side) -> None:
        """Two rows with a common ancestor."""
        if entry.struck is not live.struck and entry.struck is not old.struck:
            self._add(struck(self.home, live, entry, copy))
        for key in dict.fromkeys((*entry.cells, *old.cells)):
            was, mine, theirs = (r.cells.get(key) for r in (old, live, entry))
            if same(theirs, was) or same(theirs, mine):
                continue
            if self._stays(entry, key, live, theirs, copy):
                continue
            if self._calculated(entry, key, live, old.cells, copy):
                continue
            if theirs is not None and same(mine, was):
                self._fill(live, entry, key, theirs, copy)
            else:
                self._differs(CELL, entry, key, live, theirs, copy, copy.name)

    def _calculated(
        self, entry: Entry, key: str, live: Live, was: Mapping[str, Value], copy: Side
    ) -> bool:
        """Whether the book calculates a cell: its formula gives way to nothing but a choice.

        In an own column that the copy calculates as well, another result goes back to what was
        typed into the row; anything else is said.
        """
        at = entry.key[0] if entry.sheet == FARM.name else key
        if not live.row or not self.home.calculates(entry.sheet, live.row, at):
            return False
        typed = {k for k in (*was, *entry.cells) if not copy.calculates(entry.sheet, entry.row, k)}
        follows = key.startswith(OWN) and key not in typed
        if not follows or all(same(was.get(k), entry.cells.get(k)) for k in typed):
            self._differs(CELL, entry, key, live, entry.cells.get(key), copy, copy.name)
        return True

    def _fill(self, live: Live, entry: Entry, key: str, theirs: Value, copy: Side) -> None:
        point = Point(CELL, entry.sheet, live.key, key, live.cells.get(key), theirs)
        if point.identity in self.settled:
            return
        if entry.sheet != FARM.name and key not in self.home.tables[entry.sheet].places:
            self._differs(PLACELESS, entry, key, None, theirs, copy, "")
            return
        how = "filled" if live.cells.get(key) is None else "changed"
        self._set(live, key, theirs)
        what = f"{point.header} {how}"
        self.origins.append(Origin(entry.sheet, live.key, what, copy.name, entry.by))
        if text := copy.calculated.get(entry.sheet, {}).get((entry.row, key)):
            self._fixed(replace(entry, key=live.key), key, text, copy)

    def _set(self, live: Live, key: str, value: Value | None) -> None:
        live.changed[key] = value
        if value is None:
            live.cells.pop(key, None)
        else:
            live.cells[key] = value

    def _gone(self, live: Live, copy: Side) -> None:
        row = tuple(live.cells.items())
        place = self.home.at(live.sheet, live.row, next(iter(live.cells), ""))
        self._add(Point(GONE, live.sheet, live.key, row=row, cell=place, file=copy.name,
                        by=live.by))  # fmt: skip

    def _stays(
        self, entry: Entry, key: str, live: Live | None, theirs: Value | None, copy: Side
    ) -> bool:
        """Whether a cell is a unit that the book does not take; it is said so then."""
        if not unit_stays(entry, key, self.new_units):
            return False
        self._differs(UNIT, entry, key, live, theirs, copy, "")
        return True

    def _without_unit(self, entry: Entry, copy: Side) -> Entry:
        """A row that the book lacks, as it can come: its numbers are in the book's own unit."""
        kept = {
            key: value
            for key, value in entry.cells.items()
            if not self._stays(entry, key, None, value, copy)
        }
        return replace(entry, cells=kept)

    def _back(self, entry: Entry, copy: Side) -> None:
        if entry.struck:
            self._add(void(entry, copy))
            return
        entry = self._without_unit(entry, copy)
        row = tuple(entry.cells.items())
        place = copy.at(entry.sheet, entry.row, next(iter(entry.cells), ""))
        self._add(Point(BACK, entry.sheet, entry.key, row=row, there=place, file=copy.name,
                        their_by=entry.by))  # fmt: skip

    def _differs(
        self, op: str, entry: Entry, key: str, live: Live | None, theirs: Value | None, copy: Side,
        file: str,
    ) -> None:  # fmt: skip
        mine = live.cells.get(key) if live else None
        there = copy.setting_cell(entry.key) if entry.sheet == FARM.name else (
            copy.at(entry.sheet, entry.row, key)
        )  # fmt: skip
        cell = ""
        if live is not None:
            cell = self.home.setting_cell(entry.key) if entry.sheet == FARM.name else (
                self.home.at(entry.sheet, live.row, key)
            )  # fmt: skip
        self._add(Point(op, entry.sheet, live.key if live else entry.key, key, mine, theirs,
                        cell=cell, there=there, file=file or copy.name,
                        by=live.by if live else "", their_by=entry.by,
                        unit=self._unit(entry, key)))  # fmt: skip

    def _unit(self, entry: Entry, key: str) -> str:
        """The unit in which the book has the numbers of a cell."""
        if entry.sheet == FARM.name:
            return unit_of_setting(self.home.book, FARM.column(entry.key[0]))
        sheet, stated = _SHEETS[entry.sheet], self.home.tables[entry.sheet].units
        column = sheet.column(key) if sheet.has(key) else None
        return self.units.of(column, stated, entry.key[0], day_of(entry)) if column else ""

    def _add(self, point: Point) -> None:
        """Keep a line once; one that a person settled is not asked again."""
        if point.state or point.identity not in self.settled:
            self.points.setdefault(point.identity, point)

    def _note(self, point: Point, what: str) -> None:
        self.origins.append(Origin(point.sheet, point.key, what, point.file, point.their_by))

    def plan(self) -> Plan:
        points = [p for p in self.points.values() if p.state or not self._met(p)]
        ordered = tuple(sorted(points, key=lambda p: p.order))
        return Plan(self.rows, ordered, tuple(self.origins), self.taken, self.kept)

    def _met(self, point: Point) -> bool:
        """Whether the book says by now what a line asks for."""
        rows = self.rows.get(point.sheet, ())
        if point.op == FIXED:
            of_key = (r.row for r in rows if r.key == point.key and r.row)
            return any(self.home.calculates(point.sheet, row, point.column) for row in of_key)
        if point.op in (STRUCK, VOID, TWO_WAYS):
            return settled_there(point, rows)
        if point.sheet == ACTIONS and is_entered(point, self.rows[AGREED.name]):
            return True
        if point.op == FORMULA:
            return is_met(point, self.home, [*rows])
        return point.op in (CELL, PLACELESS, UNIT) and any(
            r.key == point.key and not r.gone and point.theirs is not None
            and same(r.cells.get(point.column), point.theirs)
            and (point.sheet == FARM.name or point.column in self.home.tables[point.sheet].places)
            for r in rows
        )  # fmt: skip
