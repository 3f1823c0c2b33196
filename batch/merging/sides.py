"""A book as its rows say it: every list and setting, cell by cell, whatever wrote the file.

Values are compared by what they mean: a date is a date whether typed or counted, spaces at the
ends do not count. Numbers of a copy are in the units of the book that it is merged into (module
`units`), so that bar and psi of one pressure are no conflict.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

from siltbook.batch.merging.texts import OURS, Texts, beside_of
from siltbook.batch.merging.units import converted, units_of
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import NoValue, Style, Workbook, address
from siltbook.batch.reading.cells import Value as Cell
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.parsing import (
    choice,
    date_order,
    date_text,
    number_text,
    number_time,
    serial_date,
    serial_time,
    time_text,
)
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.typed.beside import Beside
from siltbook.batch.typed.boxes import read_boxes
from siltbook.batch.typed.edited import Leaf, leaves
from siltbook.templates.book import Book, Table, column_letters
from siltbook.templates.contract import (
    FARM,
    LISTS,
    NUMERIC,
    PRESSURE_UNITS,
    Column,
    Kind,
    Sheet,
    bare,
)
from siltbook.templates.names import name_key, other_names
from siltbook.templates.own_unit import DROP_NOW, in_unit

Value = str | float | dt.date | dt.time
Key = tuple[str, ...]
OWN = "="  # before the header of a column that is the practitioner's own
_ALSO_KEYS = ("occasion", "source", "from")
_BY = ("read_by", "done_by", "who")


@dataclass(frozen=True)
class Entry:
    """One row of a list: where it stands, what it says, what identifies it, whether it counts."""

    sheet: str  # the contract's name
    row: int
    cells: Mapping[str, Value]
    key: Key
    struck: bool = False  # somebody struck it through

    @property
    def by(self) -> str:
        """Who entered it, as far as the row says."""
        return next((str(self.cells[k]) for k in _BY if k in self.cells), "")


@dataclass(frozen=True)
class Side:
    """One book: its rows by list, its settings, and where everything stands."""

    name: str
    book: Book
    entries: Mapping[str, tuple[Entry, ...]]
    tables: Mapping[str, Table]  # with the practitioner's own columns among the places
    names: Mapping[str, str]  # a station's name or other name, folded -> its name
    own: Mapping[str, Mapping[tuple[int, int], Cell]] = field(default_factory=dict)
    boxes: tuple[tuple[str, str, int], ...] = ()  # station, what is filled in, row of Actions
    formulas: Mapping[str, frozenset[tuple[int, int]]] = field(default_factory=dict)  # by sheet
    # Texts of formulas: of cells outside of lists, by sheet; of a list's cells, by row and key.
    own_formulas: Mapping[str, Mapping[tuple[int, int], str]] = field(default_factory=dict)
    calculated: Mapping[str, Mapping[tuple[int, str], str]] = field(default_factory=dict)
    beside: Mapping[str, Beside] = field(default_factory=dict)  # notes and pictures, by sheet
    other_sheets: tuple[str, ...] = ()  # that hold no cells
    # Day or month first, as the texts of a column of dates settle it: by list and key.
    orders: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def calculates(self, sheet: str, row: int, key: str) -> bool:
        """Whether a cell of a list holds a formula; of the settings, `key` is the setting's."""
        table = self.tables[sheet]
        place = row, table.places.get(key, -1)
        if sheet == FARM.name:
            place = address(self.book.setting_cells.get(key, "A1"))
        return place in self.formulas.get(table.sheet, ())

    def at(self, sheet: str, row: int, key: str) -> str:
        """A cell's address with its sheet, '' where the book has no such column."""
        table = self.tables[sheet]
        if not row or key not in table.places:
            return ""
        return f"{table.sheet}!{column_letters(table.places[key])}{row}"

    def setting_cell(self, key: Key) -> str:
        """A setting's address with its sheet, '' where the book has it not."""
        cell = self.book.setting_cells.get(key[0], "")
        return f"{self.book.farm_sheet}!{cell}" if cell else ""


def read_side(data: bytes, name: str, home: Side | None = None) -> Side:
    """A book as its rows say it, in the units of `home`; BookError as when reading a book."""
    side = open_side(data, name, home)
    return side if home is None else converted(side, home, units_of(home))


def open_side(data: bytes, name: str, home: Side | None = None) -> Side:
    """A book as its rows say it, in its own units, stations under the names of `home`."""
    data, _ = as_xlsx(data, name)
    book = read_book(data, name).book
    workbook = open_workbook(open_package(data, name), name)
    sheets = {part.name: part for part in workbook.sheets}
    grids = leaves(data)
    names = _names(book, home)
    tables: dict[str, Table] = {}
    entries: dict[str, tuple[Entry, ...]] = {}
    orders: dict[str, Mapping[str, str]] = {}
    for sheet in LISTS:
        table = book.lists()[sheet.name]
        if table.sheet in sheets and table.places:
            own = _own_columns(grids[table.sheet], table, sheet)
            tables[sheet.name] = table = replace(table, places={**table.places, **own})
            columns = read_sheet(workbook, sheets[table.sheet]).columns
            styles = {c: dict(zip(f.rows, f.styles, strict=True)) for c, f in columns.items()}
            reader = _Reader(sheet, table, workbook, styles, names)
            entries[sheet.name] = tuple(reader.entries(grids[table.sheet]))
            orders[sheet.name] = reader.orders
        else:
            tables[sheet.name], entries[sheet.name] = table, ()
    tables[FARM.name] = _farm_table(book)
    entries[FARM.name] = tuple(_settings(book))
    boxes = tuple((b.station, b.words, b.row) for b in read_boxes(data, name).boxes)
    own_cells = dict(_own_cells(grids, tables))
    formulas = {sheet: leaf.formulas for sheet, leaf in grids.items()}
    texts = Texts(workbook, sheets, grids)
    return Side(
        name, book, entries, tables, names, own_cells, boxes, formulas,
        dict(texts.outside(tables)), dict(texts.of_lists(tables)), dict(beside_of(grids)),
        tuple(title for title in grids if title not in sheets), orders,
    )  # fmt: skip


def _names(book: Book, home: Side | None) -> dict[str, str]:
    """Every name of a station, folded, and the name that the home book has for it."""
    found: dict[str, str] = {} if home is None else dict(home.names)
    frame = book.stations.frame
    for record in frame.to_dict("records"):
        spelt = [str(record["station"]), *other_names(record.get("also"))]
        folded = [key for s in spelt if (key := name_key(s))]
        name = next((found[f] for f in folded if f in found), str(record["station"]))
        for one in folded:
            found.setdefault(one, name)
    return found


def _own_columns(leaf: Leaf, table: Table, sheet: Sheet) -> dict[str, int]:
    """The practitioner's own columns: those with a header that the contract does not have."""
    taken, computed = set(table.places.values()), {DROP_NOW.casefold(), *map(bare, sheet.computed)}
    found: dict[str, int] = {}
    for (row, col), value in sorted(leaf.cells.items()):
        if row != table.header_row or col in taken or not isinstance(value, str):
            continue
        if bare(value) not in computed and value.strip():
            found.setdefault(OWN + " ".join(value.split()), col)
    return found


def _farm_table(book: Book) -> Table:
    """The settings as a list of one column; the row of each is its own."""
    return replace(book.stations, sheet=book.farm_sheet, header_row=0, places={}, units={})


class _Reader:
    """Reads the rows of one list."""

    def __init__(
        self,
        sheet: Sheet,
        table: Table,
        workbook: Workbook,
        styles: Mapping[int, Mapping[int, int]],
        names: Mapping[str, str],
    ) -> None:
        self.sheet, self.table, self.workbook, self.styles = sheet, table, workbook, styles
        self.names = names
        self.columns = {c.key: c for c in sheet.columns}
        self.keys = keys_of(sheet)
        self.orders: dict[str, str] = {}  # of days and months in texts, as each column settles it

    def entries(self, leaf: Leaf) -> Iterator[Entry]:
        by_row: dict[int, dict[str, Cell]] = {}
        at = {col: key for key, col in self.table.places.items()}
        for (row, col), value in leaf.cells.items():
            if row > self.table.header_row and col in at and not isinstance(value, NoValue):
                by_row.setdefault(row, {})[at[col]] = value
        self.orders = {
            column.key: date_order(_texts(by_row.values(), column.key))
            for column in self.sheet.columns if column.kind is Kind.DATE
        }  # fmt: skip
        for row, raw in sorted(by_row.items()):
            cells = self._row(row, raw)
            if cells and not self._repeats_header(cells):
                struck = row in self.table.struck
                yield Entry(self.sheet.name, row, cells, key_of(self.sheet, cells), struck)

    def _repeats_header(self, cells: Mapping[str, Value]) -> bool:
        heads = [(c.key, c.header) for c in self.sheet.columns if c.required]
        return all(bare(str(cells.get(key, ""))) == bare(head) for key, head in heads)

    def _row(self, row: int, raw: Mapping[str, Cell]) -> dict[str, Value]:
        found: dict[str, Value] = {}
        for key, value in raw.items():
            column = self.columns.get(key)
            said = self._own(key, row, value) if column is None else self._value(column, row, value)
            if said != "":
                found[key] = said
        return found

    def _kind(self, key: str, row: int) -> int:
        style = self.styles.get(self.table.places[key], {}).get(row, 0)
        return self.workbook.styles[style] if style < len(self.workbook.styles) else Style.PLAIN

    def _own(self, key: str, row: int, value: Cell) -> Value:
        """A cell of an own column: a number stays one, or what sums over it would pass it over."""
        if not isinstance(value, float) or isinstance(value, bool):
            return plain_text(value)
        if self._kind(key, row) == Style.DATE and value >= 1.0:
            read = _date(value, self.workbook.date1904)
            return read if isinstance(read, dt.date) else value
        return value

    def _value(self, column: Column, row: int, value: Cell) -> Value:
        kind = self._kind(column.key, row)
        if column.key == "station" and isinstance(value, str):
            tidied = " ".join(value.split())
            return self.names.get(name_key(tidied), tidied)
        if column.kind is Kind.DATE:
            return _date(value, self.workbook.date1904, self.orders[column.key])
        if column.kind is Kind.TIME:
            return _time(value, kind == Style.DATE)
        if column.kind is Kind.CHOICE:
            return choice(plain_text(value), column.choices) or plain_text(value)
        if column.kind not in NUMERIC:
            return plain_text(value)
        number = _number(value)
        if number is None:
            return plain_text(value)
        if kind == Style.PERCENT and isinstance(value, float):
            return f"{100.0 * value:.10g} %"
        return number


def _number(value: Cell) -> float | None:
    if isinstance(value, float) and not isinstance(value, bool):
        return value
    typed = number_text(plain_text(value))
    return None if typed.rest else typed.value


def plain_text(value: Cell) -> str:
    """A cell as text on one line."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.15g}" if isinstance(value, float) else " ".join(str(value).split())


def _texts(rows: Iterable[Mapping[str, Cell]], key: str) -> Iterator[str]:
    """What was typed as text in one column."""
    return (value for row in rows if isinstance(value := row.get(key), str))


def _date(value: Cell, date1904: bool, order: str = "") -> Value:
    if isinstance(value, float) and not isinstance(value, bool):
        day, clock = serial_date(value, date1904), serial_time(value)
        return plain_text(value) if day is None else _moment(day, clock)
    found = date_text(plain_text(value), order)
    if found.date is None or found.ambiguous:
        return plain_text(value)
    return _moment(found.date, found.time)


def _moment(day: dt.date, clock: dt.time | None) -> Value:
    return day if clock is None else f"{day.isoformat()} {clock:%H:%M}"


def _time(value: Cell, styled: bool) -> Value:
    if isinstance(value, float) and not isinstance(value, bool):
        return number_time(value, styled) or plain_text(value)
    return time_text(plain_text(value)) or plain_text(value)


def keys_of(sheet: Sheet) -> tuple[str, ...]:
    """The columns that identify a row: what is required and no number, time, and kind."""
    return tuple(
        c.key
        for c in sheet.columns
        if (c.required and c.kind not in NUMERIC) or c.kind is Kind.TIME or c.key in _ALSO_KEYS
    )


def key_of(sheet: Sheet, cells: Mapping[str, Value]) -> Key:
    """What identifies a row; an occasion that is left blank is the routine one."""
    found = {key: name_key(cells.get(key, "")) for key in keys_of(sheet)}
    if "occasion" in found and not found["occasion"]:
        found["occasion"] = "routine"
    return tuple(found.values())


def _settings(book: Book) -> Iterator[Entry]:
    for key, cell in book.setting_cells.items():
        column = FARM.column(key)
        raw = book.setting_raw.get(key)
        cells: dict[str, Value] = {}
        if raw is not None and raw != "":
            cells["value"] = _setting(book, column, raw)
        row, _ = address(cell)
        yield Entry(FARM.name, row, cells, (key,))


def _setting(book: Book, column: Column, raw: object) -> Value:
    """A setting as typed."""
    if column.kind is Kind.DATE:
        read = getattr(book.settings, column.key)
        return read if isinstance(read, dt.date) else str(raw)
    return raw if isinstance(raw, float) else plain_text(str(raw))


def _own_cells(
    grids: Mapping[str, Leaf], tables: Mapping[str, Table]
) -> Iterator[tuple[str, dict[tuple[int, int], Cell]]]:
    """What stands outside of lists and settings: own sheets, notes beside and above a list."""
    lists = {table.sheet: table for name, table in tables.items() if name != FARM.name}
    farm = tables[FARM.name].sheet
    for name, leaf in grids.items():
        if leaf.mark is not None or name in OURS:
            continue
        table = lists.get(name)
        used = set(table.places.values()) if table else set()
        top = table.header_row if table else 0
        kept = {
            place: value
            for place, value in leaf.cells.items()
            if place not in leaf.formulas and not isinstance(value, NoValue)
            and not (table and place[0] >= top and (place[1] in used or place[0] == top))
        }  # fmt: skip
        if name == farm:
            kept = {p: v for p, v in kept.items() if p[1] > 2 and v not in _said_by_a_blank()}
        yield name, kept


@cache
def _said_by_a_blank() -> frozenset[str]:
    """What a blank says beside its settings, in whatever unit: nobody typed it."""
    return frozenset(in_unit(c, unit).help for c in FARM.columns for unit in PRESSURE_UNITS)
