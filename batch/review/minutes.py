"""What a filled-in pack says: its books, and what a meeting wrote on its Agenda.

A pack comes back from a meeting: saved by any program, its sheets renamed, copied or hidden, with
formulas and notes in it. What is meant without doubt is taken; the rest is refused by its cell.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import DAMAGE, damaged
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import NoValue, SheetPart, Value, Workbook, address
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review import agenda, questions
from siltbook.batch.review.page import PACK_MARK
from siltbook.templates.book import column_letters

ANSWERS = (agenda.ACTION, agenda.WHO, agenda.DUE)
HEADERS = (agenda.FARM, agenda.STATION, *ANSWERS)
DONE = "Done"
_DONE_HEADERS = (agenda.FARM, agenda.STATION, agenda.ACTION, agenda.WHO, DONE)
_ABOUT_HEADERS = (questions.BOOK, agenda.FARM, questions.FILE, questions.PRINT)
_TOP = 60  # rows in which a header row is looked for
_MOST_SHEETS = 60  # sheets that are looked at
_MARK = re.compile(rf"{re.escape(PACK_MARK)} .*· (\d{{4}})-(\d\d) ·.*")


@dataclass(frozen=True)
class PackBook:
    """One book that a pack was made from."""

    number: str
    farm: str
    file: str
    fingerprint: str


@dataclass(frozen=True)
class Filled:
    """One Agenda row that the meeting filled in: header -> what its cell holds, where not blank."""

    sheet: str
    row: int
    cells: Mapping[str, Value]
    places: Mapping[str, int]

    def text(self, header: str) -> str:
        """A cell's text on one line."""
        return text_of(self.cells.get(header))

    def place(self, header: str) -> str:
        """A cell's address with its sheet; the row's where the column is not there."""
        if header not in self.places:
            return f"{self.sheet}!{self.row}:{self.row}"
        return f"{self.sheet}!{column_letters(self.places[header])}{self.row}"


@dataclass(frozen=True)
class Minutes:
    """What a filled-in pack says: its books, and the rows with anything in them.

    `since` is the first day of the month that it reviews, None where it does not say. `merged` are
    answers that lie over several rows. `idle` are added rows that name a station and no action.
    `source` names the sheet of a reviewed book, '' for a pack. `done` are rows of the pack's list
    of what was agreed before that have something in their Done date.
    """

    name: str
    books: tuple[PackBook, ...]
    rows: tuple[Filled, ...]
    date1904: bool
    since: dt.date | None
    merged: tuple[str, ...]
    idle: tuple[str, ...]
    source: str = ""
    done: tuple[Filled, ...] = ()


@dataclass(frozen=True)
class _List:
    """A table of a sheet: its header row, where its headers stand, and its cells below them."""

    sheet: str
    header: int
    places: Mapping[str, int]
    columns: Mapping[str, Mapping[int, Value]]
    merged: Sequence[str]

    def row(self, number: int) -> dict[str, Value]:
        """A row's cells by header, without the blank ones."""
        return {h: column[number] for h, column in self.columns.items() if number in column}


def text_of(value: Value | None) -> str:
    """A cell's value as text on one line; '' for a blank one."""
    if isinstance(value, float):
        return f"{value:.15g}"
    return "" if value is None else " ".join(str(value).split())


def read_actions(data: bytes, name: str) -> Minutes | None:
    """What is filled in on the sheet Actions of a reviewed book; None where it has none.

    Where no action is written beside a name or a date, the station's verdict is the action.
    BookError where the book cannot be read.
    """
    from siltbook.batch.fingerprint import digest
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.typed import boxes
    from siltbook.templates.look import VERDICTS

    found = boxes.read_boxes(data, name)
    if found.mark is None:
        return None
    farm = text_of(read_book(data, name).book.settings.farm)
    heads = {
        agenda.STATION: boxes.STATION, agenda.ACTION: boxes.ACTION, agenda.WHO: boxes.WHO,
        agenda.DUE: boxes.DUE,
    }  # fmt: skip
    places = {head: found.places[own] for head, own in heads.items() if own in found.places}
    rows = []
    shown = {look.label: look.shown for look in VERDICTS.values()}
    for box in found.boxes:
        action = box.action or shown.get(box.verdict, box.verdict)
        texts = (box.station, action, box.who, str(box.due))
        cells = {head: text for head, text in zip(heads, texts, strict=True) if text}
        rows.append(Filled(found.sheet, box.row, cells, places))
    book = PackBook("1", farm, found.mark.book_name, digest(data))
    source = f"its sheet {found.sheet}"
    return Minutes(name, (book,), tuple(rows), False, None, (), (), source)


def read_pack(data: bytes, name: str) -> Minutes:
    """What a pack says, whatever program saved it; BookError where it is no review pack."""
    try:
        data, _ = as_xlsx(data, name)
        workbook = open_workbook(open_package(data, name), name)
        return _minutes(workbook, name)
    except BookError:
        raise
    except DAMAGE as error:
        raise damaged(name, error) from None


def _minutes(workbook: Workbook, name: str) -> Minutes:
    about, since = _about(workbook)
    if about is None:
        raise BookError(
            f"{name} is no review pack (its sheet {questions.ABOUT} does not say so): give first "
            "a pack that 'siltbook review' made, then the book."
        )
    listed = _list(workbook, about, _ABOUT_HEADERS, name)
    books = tuple(_books(listed)) if listed else ()
    found, rows = _agenda(workbook, about, name)
    merged, idle, done = tuple(_merged(found)), tuple(_idle(found)), tuple(_done(workbook, name))
    return Minutes(name, books, rows, workbook.date1904, since, merged, idle, done=done)


def _about(workbook: Workbook) -> tuple[SheetPart | None, dt.date | None]:
    """The sheet that carries the pack's mark, whatever it is called by now, and its month."""
    parts = workbook.sheets[:_MOST_SHEETS]
    for part in sorted(parts, key=lambda p: p.name != questions.ABOUT):
        for cells in read_sheet(workbook, part, 2).columns.values():
            for row, value in zip(cells.rows, cells.values, strict=True):
                if row == 2 and str(value).startswith(PACK_MARK):
                    return part, _month(str(value))
    return None, None


def _month(mark: str) -> dt.date | None:
    found = _MARK.fullmatch(mark)
    if found is None or not 1 <= int(found[2]) <= 12:
        return None
    return dt.date(int(found[1]), int(found[2]), 1)


def _list(workbook: Workbook, part: SheetPart, wanted: Sequence[str], name: str) -> _List | None:
    """The table under these headers; None where they are not all there."""
    header, places = _headers(workbook, part, wanted)
    if not all(places.get(head) for head in wanted):
        return None
    for head in (*wanted, agenda.BOOK):
        if len(places.get(head, ())) > 1:
            where = ", ".join(f"{column_letters(col)}{header}" for col in places[head])
            raise BookError(
                f"{name}: the sheet {part.name} has the header {head} more than once ({where}): "
                "rename all but one and run again; nothing was changed."
            )
    cells = read_sheet(workbook, part)
    columns = {}
    for head, (col, *_) in places.items():
        own = cells.columns.get(col)
        filled = zip(own.rows, own.values, strict=True) if own else ()
        columns[head] = {row: value for row, value in filled if row > header and _holds(value)}
    return _List(part.name, header, {h: c[0] for h, c in places.items()}, columns, cells.merged)


def _headers(
    workbook: Workbook, part: SheetPart, wanted: Sequence[str]
) -> tuple[int, dict[str, list[int]]]:
    """The row with most of these headers, and the columns of each; row 0 where none has any."""
    names = {head.casefold(): head for head in (*wanted, agenda.BOOK)}
    rows: dict[int, dict[str, list[int]]] = {}
    for col, cells in sorted(read_sheet(workbook, part, _TOP).columns.items()):
        for row, value in zip(cells.rows, cells.values, strict=True):
            head = names.get(text_of(value).casefold())
            if head is not None:
                rows.setdefault(row, {}).setdefault(head, []).append(col)
    best = max(rows, key=lambda row: (len(rows[row]), -row), default=0)
    return best, rows.get(best, {})


def _holds(value: Value) -> bool:
    """Whether somebody put anything into a cell; a formula without its value counts."""
    return isinstance(value, NoValue) or text_of(value) != ""


def _books(listed: _List) -> Iterator[PackBook]:
    for number in sorted(listed.columns[questions.BOOK]):
        row = listed.row(number)
        yield PackBook(*(text_of(row.get(head)) for head in _ABOUT_HEADERS))


def _agenda(workbook: Workbook, about: SheetPart, name: str) -> tuple[_List, tuple[Filled, ...]]:
    """The Agenda, whatever it is called by now, and its filled rows."""
    others = [part for part in workbook.sheets[:_MOST_SHEETS] if part is not about]
    tables = [t for part in others if (t := _list(workbook, part, HEADERS, name))]
    if not tables:
        raise _no_agenda(workbook, others, name)
    filled = [(table, rows) for table in tables if (rows := tuple(_filled(table)))]
    if len(filled) > 1:
        sheets = " and ".join(table.sheet for table, _ in filled)
        raise BookError(
            f"{name}: the sheets {sheets} both hold an agenda with rows filled in; delete or "
            "empty all but one and run again; nothing was changed."
        )
    return filled[0] if filled else (tables[0], ())


def _no_agenda(workbook: Workbook, others: Sequence[SheetPart], name: str) -> BookError:
    named = next((p for p in others if p.name.strip().casefold() == agenda.TITLE.casefold()), None)
    if named is None:
        names = ", ".join(part.name for part in others[:12])
        return BookError(
            f"{name} has no sheet {agenda.TITLE} (its sheets: {names}): put it back, or make the "
            "pack again; nothing was changed."
        )
    header, places = _headers(workbook, named, HEADERS)
    lacking = ", ".join(head for head in HEADERS if head not in places)
    where = f"in row {header}" if header else f"in its first {_TOP} rows"
    return BookError(
        f"{name}: the sheet {named.name} lacks the header {lacking} {where} (accepted: "
        f"{', '.join(HEADERS)}). Put it back, or make the pack again; nothing was changed."
    )


def _done(workbook: Workbook, name: str) -> Iterator[Filled]:
    """The rows of what was agreed before that are said to be done, on whichever sheet."""
    for part in workbook.sheets[:_MOST_SHEETS]:
        table = _list(workbook, part, _DONE_HEADERS, name)
        if table is not None:
            for number in sorted(table.columns[DONE]):
                yield Filled(table.sheet, number, table.row(number), table.places)


def _filled(table: _List) -> Iterator[Filled]:
    numbers = {number for head in ANSWERS for number in table.columns[head]}
    for number in sorted(numbers):
        yield Filled(table.sheet, number, table.row(number), table.places)


def _merged(table: _List) -> Iterator[str]:
    """Answers that lie over several rows: whose they are cannot be told."""
    columns = [table.places[head] for head in ANSWERS]
    filled = {number for head in ANSWERS for number in table.columns[head]}
    for ref in table.merged:
        first, _, last = ref.partition(":")
        try:
            (top, left), (bottom, right) = address(first), address(last or first)
        except ValueError:
            continue
        if top == bottom or top not in filled:
            continue
        if any(left <= column <= right for column in columns):
            yield f"{table.sheet}!{ref}"


def _idle(table: _List) -> Iterator[str]:
    """Rows that somebody added for a station, without an action; the pack's own have a number."""
    if agenda.BOOK not in table.places:
        return
    for number in sorted(table.columns[agenda.STATION]):
        if not any(number in table.columns[head] for head in (*ANSWERS, agenda.BOOK)):
            yield f"{table.sheet}!{column_letters(table.places[agenda.STATION])}{number}"
