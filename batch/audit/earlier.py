"""The inputs that result sheets were made from, found again where the book still shows them.

Nothing is guessed: a change counts only where the fingerprint of the book with the change undone
is the one that the result sheets carry. The odds that a wrong one of the tries fits are below one
in a thousand million (12 hexadecimal digits).
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from siltbook.batch.audit.formulas import Link, link_of
from siltbook.batch.errors import SiltbookError
from siltbook.batch.fingerprint import (
    fingerprint,
    joined,
    list_piece,
    list_pieces,
    setting_piece,
    setting_pieces,
)
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import NoValue, Value, address
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.typed.mark import Mark
from siltbook.checks.wording import rows_named
from siltbook.templates.book import Book, Settings, Table
from siltbook.templates.contract import FARM, NUMERIC, PRESSURE_UNITS, Kind, bare
from siltbook.templates.shown import IN_METRES, METRE, Shown
from siltbook.templates.units import metres_per

MOST_HASHED = 5 * 10**8  # [bytes] that the tries may take through the fingerprint
LATEST = 60  # rows at the end of Readings that may have been added since
LATEST_WORK = 30
MOST_REREAD = 5_000  # readings of a book that is read again for each unit
_TRIES = sorted({n / 20 for n in range(1, 401)} | {n / 100 for n in range(1, 201)}
                | {float(n) for n in range(1, 121)})  # fmt: skip
_NUMBERS = tuple(c.key for c in FARM.columns if c.kind in NUMERIC)


@dataclass(frozen=True)
class Changed:
    """One input cell that was another one when the result sheets were made, None for empty."""

    sheet: str
    cell: str
    title: str
    was: float | str | dt.date | None
    now: float | str | dt.date | None
    usual: str = "empty"  # what an empty cell stands for
    look: Shown = IN_METRES  # how the farm has its dates shown

    @property
    def said(self) -> str:
        """The cell with both values."""
        was, now = (_usual(self.usual, value, self.look) for value in (self.was, self.now))
        return f"{self.title} {was} → {now}"


@dataclass(frozen=True)
class Added:
    """Rows that were added to a list since."""

    sheet: str
    cell: str
    rows: tuple[int, ...]

    @property
    def said(self) -> str:
        """How many, and which."""
        many = len(self.rows)
        rows = rows_named(list(self.rows))
        return f"{many} row{'' if many == 1 else 's'} added to {self.sheet} ({rows})"


@dataclass(frozen=True)
class Earlier:
    """What was changed since, and the package with all of it undone."""

    package: bytes
    settings: tuple[Changed, ...] = ()
    cells: tuple[Changed, ...] = ()
    added: tuple[Added, ...] = ()
    witness: str = ""  # the file that holds these inputs, where it was found there


def shown(value: object, look: Shown = IN_METRES) -> str:
    """A value as a person reads it, a date as the farm has it shown."""
    if isinstance(value, dt.date):
        return look.day(value)
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return f"{value:.6g}" if number else str(value)


def _usual(usual: str, value: object, look: Shown = IN_METRES) -> str:
    return usual if value is None else shown(value, look)


class Evidence:
    """What formulas of the result sheets still show of cells that were changed since."""

    def __init__(self) -> None:
        self._seen: dict[tuple[str, str], Counter[float]] = {}

    def note(self, stored: str, new: str, was: Value | None, now: Value | None) -> None:
        """Take one formula in, as stored and as made anew, with the values that stand there."""
        link, before = link_of(new), link_of(stored)
        if link is None or before is None or (link.sheet, link.cell) != (before.sheet, before.cell):
            return
        value = _before(before, link, was, now)
        if value is not None:
            self._seen.setdefault((link.sheet, link.cell), Counter())[value] += 1

    def cells(self) -> dict[tuple[str, str], float]:
        """(sheet, cell) -> the number that most formulas show."""
        return {cell: values.most_common(1)[0][0] for cell, values in self._seen.items()}


def _before(before: Link, link: Link, was: Value | None, now: Value | None) -> float | None:
    """The number that stood in the cell; None where the formula does not show another one."""
    numbers = isinstance(was, float) and isinstance(now, float)
    if numbers and not isinstance(was, (NoValue, bool)) and was != now:
        return float(was)  # type: ignore[arg-type]
    return before.other if before.other != link.other else None


def earlier(
    data: bytes,
    path: str,
    book: Book,
    mark: Mark,
    evidence: Evidence,
    witnesses: Sequence[tuple[str, bytes]],
) -> Earlier | None:
    """The inputs of the result sheets with this mark; None where they cannot be found again.

    They are looked for in the book itself, then in the `witnesses` (names and bytes).
    """
    if not mark.inputs:
        return None
    start = _Try(data, path, book, Earlier(data))
    shows = _undo(start, evidence.cells())
    bases = [start] if shows is None else [shows, start]
    for base in bases:
        if fingerprint(base.book) == mark.inputs:
            return base.found
    for base in bases:
        for later in (_one_setting, _latest_rows, _one_unit):
            if (fits := later(base, mark)) is not None and fingerprint(fits.book) == mark.inputs:
                return fits.found
    return _witnessed(mark, witnesses)


def as_typed(data: bytes, book: Book, mark: Mark, found: Earlier) -> Iterator[Earlier]:
    """The same inputs with one pressure of Farm typed with its unit, such as '7 psi'.

    Text and number give the same inputs; only what Findings says of the text tells them apart.
    """
    start = _Try(data, book.path, book, Earlier(data))
    if found.witness or (then := _with(start, found.settings, found.cells, found.added)) is None:
        return
    for at, one in enumerate(found.settings):
        key = _setting_at(book, one.sheet, one.cell)
        if key is None or FARM.column(key).kind not in (Kind.PRESSURE, Kind.METRES):
            continue
        for text in _with_unit(float(getattr(then.book.settings, key)), one.now):
            changed = [*found.settings[:at], replace(one, was=text), *found.settings[at + 1 :]]
            tried = _with(start, changed, found.cells, found.added)
            if tried is not None and fingerprint(tried.book) == mark.inputs:
                yield tried.found


def _with_unit(metres: float, now: object) -> Iterator[str]:
    """A pressure [m] as people type it with a unit, where it is round there; as it stands `now`."""
    space = "" if isinstance(now, str) and now.strip() and " " not in now.strip() else " "
    for unit in dict.fromkeys((METRE, *PRESSURE_UNITS)):
        number = metres / metres_per(unit)
        if abs(number - round(number, 3)) <= 1e-9 * number:
            yield f"{round(number, 3):g}{space}{unit}"


def _witnessed(mark: Mark, witnesses: Sequence[tuple[str, bytes]]) -> Earlier | None:
    """The witness that holds the inputs; a pack, which is no book, holds none."""
    from siltbook.batch.reading.foreign import as_xlsx

    for name, data in witnesses:
        try:
            plain = as_xlsx(data, name)[0]
            if fingerprint(read_book(plain, name).book) == mark.inputs:
                return Earlier(plain, witness=name)
        except SiltbookError:
            continue
    return None


@dataclass(frozen=True)
class _Try:
    """A book with some changes undone, and which."""

    data: bytes
    path: str
    book: Book
    found: Earlier


def _undo(start: _Try, cells: Mapping[tuple[str, str], float]) -> _Try | None:
    """The book with these cells as they were; None where there are none, or they are no inputs."""
    settings, others = [], []
    for (sheet, cell), was in cells.items():
        if (key := _setting_at(start.book, sheet, cell)) is not None:
            settings.append(_setting(start.book, key, was))
        elif (found := _cell_of(start.book, sheet, cell)) is not None:
            table, key, row = found
            now = table.raw.get(key, {}).get(row)
            kept = now if isinstance(now, (float, str)) and now != "" else None
            others.append(Changed(table.sheet, cell, f"{table.sheet}!{cell}", was, kept))
    if not settings and not others:
        return None
    return _with(start, settings=settings, cells=others)


def _setting_at(book: Book, sheet: str, cell: str) -> str | None:
    if sheet.casefold() != book.farm_sheet.casefold():
        return None
    return next((key for key, at in book.setting_cells.items() if at == cell), None)


def _cell_of(book: Book, sheet: str, cell: str) -> tuple[Table, str, int] | None:
    row, column = address(cell)
    for table in book.lists().values():
        if table.sheet.casefold() == sheet.casefold():
            key = next((k for k, c in table.places.items() if c == column), None)
            return None if key is None else (table, key, row)
    return None


def _setting(book: Book, key: str, was: float | str | dt.date | None) -> Changed:
    raw, read = book.setting_raw.get(key), getattr(book.settings, key)
    now: float | str | dt.date | None = raw if isinstance(raw, (float, str)) and raw else None
    now = read if isinstance(read, dt.date) else now
    column = FARM.column(key)
    usual = "empty" if column.default is None else shown(column.default)
    if column.kind is Kind.PRESSURE:
        usual = "the default"  # whose number depends on the unit
    title = bare(column.header).capitalize()
    cell, look = book.setting_cells[key], book.settings.shown
    return Changed(book.farm_sheet, cell, title, was, now, usual, look)


def _with(
    base: _Try,
    settings: Sequence[Changed] = (),
    cells: Sequence[Changed] = (),
    added: Sequence[Added] = (),
) -> _Try | None:
    """The book with more changes undone; None where it takes no change."""
    from siltbook.batch.review.append import change_cells

    data = base.data
    styles = open_workbook(open_package(data, base.path), base.path).styles
    try:
        for table, changes in _changes(base.book, settings, cells, added):
            data = change_cells(data, table, changes, styles)
        book = read_book(data, base.path).book
    except SiltbookError:
        return None
    found = base.found
    made = Earlier(data, (*found.settings, *settings), (*found.cells, *cells),
                   (*found.added, *added))  # fmt: skip
    return _Try(data, base.path, book, made)


_Changes = dict[int, dict[str, float | str | dt.date | dt.time | None]]


def _changes(
    book: Book, settings: Sequence[Changed], cells: Sequence[Changed], added: Sequence[Added]
) -> Iterator[tuple[Table, _Changes]]:
    """Each list that changes, with what its cells become."""
    for one in settings:
        row, column = address(one.cell)
        farm = replace(book.stations, sheet=book.farm_sheet, header_row=0,
                       places={"value": column}, units={})  # fmt: skip
        yield farm, {row: {"value": one.was}}
    for table in book.lists().values():
        changes: _Changes = {}
        for one in cells:
            if one.sheet == table.sheet:
                row, column = address(one.cell)
                key = next(k for k, c in table.places.items() if c == column)
                changes.setdefault(row, {})[key] = one.was
        for rows in added:
            if rows.sheet == table.sheet:
                changes |= {row: dict.fromkeys(table.places) for row in rows.rows}
        if changes:
            yield table, changes


def _one_setting(base: _Try, mark: Mark) -> _Try | None:
    """The book with one setting undone, found by trying values that people use."""
    book, usual = base.book, Settings()
    settings, lists = setting_pieces(book), list_pieces(book)
    joint = {"": b"".join(lists.values())}
    left = MOST_HASHED // max(1, len(joint[""]))
    for key, was, value in _tries(book, usual, mark):
        if not left:
            return None
        left -= 1
        tried = {k: piece for k, piece in settings.items() if k != key}
        if value is not None:
            tried[key] = setting_piece(key, value)
        if joined(tried, joint) == mark.inputs:
            return _with(base, settings=[_setting(book, key, was)])
    return None


def _one_unit(base: _Try, mark: Mark) -> _Try | None:
    """The book with the farm's unit of pressure or flow undone: every number then reads anew."""
    if len(base.book.readings.frame) > MOST_REREAD:
        return None
    for key in ("pressure_unit", "flow_unit"):
        for unit in FARM.column(key).choices if key in base.book.setting_cells else ():
            tried = _with(base, settings=[_setting(base.book, key, unit)])
            if tried is not None and fingerprint(tried.book) == mark.inputs:
                return tried
    return None


def _tries(
    book: Book, usual: Settings, mark: Mark
) -> Iterator[tuple[str, float | str | dt.date | None, object]]:
    """Setting, the cell's content to try, and what it is in the canonical unit."""
    cells = book.setting_cells
    for key in (k for k in _NUMBERS if k in cells):
        factor = _factor(book, key)
        yield key, None, getattr(usual, key)
        for was in _TRIES:
            # Whole where the setting is whole: cycles.
            whole = isinstance(getattr(usual, key), int)
            yield key, was, int(was) if whole else was * factor
    if "review_date" in cells:
        yield "review_date", None, None
        yield "review_date", mark.as_of, mark.as_of
    for key in ("clogging_table", "passage_rule"):
        if key in cells:
            for choice in FARM.column(key).choices:
                yield key, choice, choice


def _factor(book: Book, key: str) -> float:
    """What one of the cell's numbers is in the canonical unit."""
    raw, read = book.setting_raw.get(key), getattr(book.settings, key)
    if isinstance(raw, float) and raw and isinstance(read, (int, float)) and read:
        return float(read) / raw
    return metres_per(book.settings.pressure_unit) if key == "flush_inlet" else 1.0


def _latest_rows(base: _Try, mark: Mark) -> _Try | None:
    """The book without the last rows of Readings and of Work done, as they are added in use."""
    book = base.book
    settings, pieces = setting_pieces(book), list_pieces(book)
    size = max(1, sum(map(len, pieces.values())))
    room = MOST_HASHED // size
    readings = list(_shorter(book.readings, "Readings", min(LATEST, room)))
    work = list(_shorter(book.work, "Work done", min(LATEST_WORK, room // (len(readings) or 1))))
    for (few, one), (fewer, other) in product(readings, work):
        lists = {**pieces, "Readings": one, "Work done": other}
        if few + fewer and joined(settings, lists) == mark.inputs:
            cut = ((book.readings, few), (book.work, fewer))
            return _with(base, added=[_added(table, n) for table, n in cut if n])
    return None


def _shorter(table: Table, name: str, most: int) -> Iterator[tuple[int, bytes]]:
    """The list without its last 0, 1, 2 … rows, as the fingerprint takes it in."""
    for few in range(min(most, len(table.frame)) + 1):
        frame = table.frame.iloc[: len(table.frame) - few]
        yield few, list_piece(name, replace(table, frame=frame))


def _added(table: Table, few: int) -> Added:
    rows = tuple(int(row) for row in table.frame.index[-few:])
    return Added(table.sheet, table.cell(next(iter(table.places)), rows[0]), rows)
