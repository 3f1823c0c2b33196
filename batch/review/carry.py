"""Carries what a meeting filled in on a pack's Agenda over to the sheet Agreed of a book."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from batch.errors import BookError
from batch.fingerprint import digest
from batch.reading.cells import SheetCells, Value
from batch.reading.parsing import date_text, serial_date
from batch.review import agenda, questions
from batch.review.page import PACK_MARK
from templates.book import Book, column_letters

_HEADERS = (agenda.FARM, agenda.STATION, agenda.ACTION, agenda.WHO, agenda.DUE)
_DONE = "nothing was changed"

Rows = Mapping[int, Mapping[int, Value]]  # row number -> column -> value


@dataclass(frozen=True)
class PackBook:
    """One book that a pack was made from."""

    number: str
    farm: str
    file: str
    fingerprint: str


@dataclass(frozen=True)
class Filled:
    """One Agenda row that the meeting filled in; `places` gives the cell of each header."""

    farm: str
    station: str
    action: str
    who: str
    due: Value | None
    number: str
    places: Mapping[str, str]


@dataclass(frozen=True)
class Minutes:
    """What a filled-in pack says: its books, and the rows with anything in them."""

    name: str
    books: tuple[PackBook, ...]
    rows: tuple[Filled, ...]
    date1904: bool


@dataclass(frozen=True)
class Carried:
    """The book with the rows added, or None where nothing was to add.

    `rows` their numbers on the sheet; `already` how many the book had; `others` how many belong
    to other farms; `changed` whether the book changed since the pack was made.
    """

    data: bytes | None
    sheet: str
    rows: tuple[int, ...]
    already: int
    others: int
    changed: bool


def carry(pack: bytes, pack_name: str, book: bytes, book_name: str) -> Carried:
    """Add the pack's filled rows of this book to its sheet Agreed.

    SiltbookError, one sentence, where the pack is none, the book is none of the pack's, or any
    filled row cannot be taken; then nothing is added at all.
    """
    from batch.graft.package import GraftError
    from batch.reading.book import read_book
    from batch.reading.foreign import FORMATS, kind_of
    from batch.reading.opc import open_package
    from batch.reading.workbook import open_workbook
    from batch.review.append import append_rows

    minutes = read_pack(pack, pack_name)
    if kind := kind_of(book):
        raise BookError(
            f"{book_name} is {FORMATS[kind]}, which cannot take rows: save it as .xlsx in a "
            f"spreadsheet program and give that file; {_DONE}."
        )
    read = read_book(book, book_name).book
    own, changed = _own(minutes, read, book, book_name)
    mine = [row for row in minutes.rows if _is_of(row, own, minutes)]
    wanted = [_checked(row, read, minutes, book_name) for row in mine]
    new = _not_yet_there(wanted, read)
    others = len(minutes.rows) - len(mine)
    sheet = read.agreed.sheet
    if not new:
        return Carried(None, sheet, (), len(wanted), others, changed)
    _ask_for_columns(read, new, book_name)
    styles = open_workbook(open_package(book, book_name), book_name).styles
    try:
        data, numbers = append_rows(book, read.agreed, new, styles)
    except GraftError as error:
        raise BookError(f"{book_name}: {error}") from error
    _see_them(data, book_name, numbers)
    return Carried(data, sheet, tuple(numbers), len(wanted) - len(new), others, changed)


def _see_them(data: bytes, name: str, numbers: Sequence[int]) -> None:
    """Read the result again before it replaces anything: the rows must be there."""
    from batch.reading.book import read_book

    there = set(read_book(data, name).book.agreed.frame.index)
    if not there.issuperset(numbers):
        raise BookError(
            f"{name}: the rows cannot be added to its sheet Agreed as it stands; type them there. "
            f"{_DONE.capitalize()}."
        )


def read_pack(data: bytes, name: str) -> Minutes:
    """What a pack says, whatever program saved it; BookError where it is no review pack."""
    from batch.reading.opc import DAMAGE, damaged, open_package
    from batch.reading.sheetxml import read_sheet
    from batch.reading.workbook import open_workbook

    try:
        workbook = open_workbook(open_package(data, name), name)
        sheets = {part.name: part for part in workbook.sheets}
        wanted = [sheets.get(title) for title in (questions.ABOUT, agenda.TITLE)]
        cells = [read_sheet(workbook, part) if part else SheetCells() for part in wanted]
    except BookError:
        raise
    except DAMAGE:
        raise damaged(name) from None
    about, listed = (_by_row(c) for c in cells)
    if not any(str(v).startswith(PACK_MARK) for v in about.get(2, {}).values()):
        raise BookError(
            f"{name} is no review pack (its sheet {questions.ABOUT} does not say so): "
            "give a pack that 'siltbook review' made."
        )
    return Minutes(name, tuple(_books(about)), tuple(_filled(listed, name)), workbook.date1904)


def refuse_loss(target: Path, pdf: bool) -> None:
    """BookError where a pack at `target` would replace what is no pack, or a meeting's minutes."""
    from batch.files import take

    beside = target.with_suffix(".pdf")
    if not target.exists():
        if pdf and beside.exists():
            raise BookError(
                f"{beside} exists and is not this pack's: choose another name by --out."
            )
        return
    try:
        minutes = read_pack(take(target).data, str(target))
    except BookError as error:
        raise BookError(
            f"{target} exists and is no review pack: choose another name by --out."
        ) from error
    if minutes.rows:
        count = f"{len(minutes.rows)} row{'' if len(minutes.rows) == 1 else 's'}"
        raise BookError(
            f"{target} holds {count} that a meeting filled in: it was not replaced; carry them "
            "over by 'siltbook agree' and move the pack away, or choose another name by --out."
        )


def _by_row(cells: SheetCells) -> dict[int, dict[int, Value]]:
    rows: dict[int, dict[int, Value]] = {}
    for col, content in cells.columns.items():
        for row, value in zip(content.rows, content.values, strict=True):
            rows.setdefault(row, {})[col] = value
    return rows


def _header(rows: Rows, wanted: Iterable[str]) -> tuple[int, dict[str, int]]:
    """The first row that holds all these headers, and their columns; row 0 where none does."""
    for number in sorted(rows):
        places = {_text(value): col for col, value in rows[number].items()}
        if all(header in places for header in wanted):
            return number, places
    return 0, {}


def _text(value: Value | None) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return "" if value is None else " ".join(str(value).split())


def _books(rows: Rows) -> Iterable[PackBook]:
    wanted = (questions.BOOK, agenda.FARM, questions.FILE, questions.PRINT)
    header, places = _header(rows, wanted)
    for number in sorted(n for n in rows if n > header > 0):
        texts = [_text(rows[number].get(places[h])) for h in wanted]
        if texts[0]:
            yield PackBook(*texts)


def _filled(rows: Rows, name: str) -> Iterable[Filled]:
    header, places = _header(rows, _HEADERS)
    if not header:
        raise BookError(
            f"{name}: the sheet {agenda.TITLE} lacks its header row "
            f"({', '.join(_HEADERS)}). Put it back, or make the pack again."
        )
    for number in sorted(n for n in rows if n > header):
        row = rows[number]
        due = row.get(places[agenda.DUE])
        texts = {h: _text(row.get(places[h])) for h in _HEADERS}
        if texts[agenda.ACTION] or texts[agenda.WHO] or texts[agenda.DUE]:
            cells = {h: f"{agenda.TITLE}!{column_letters(places[h])}{number}" for h in _HEADERS}
            book = _text(row.get(places.get(agenda.BOOK, -1)))
            yield Filled(
                texts[agenda.FARM], texts[agenda.STATION], texts[agenda.ACTION],
                texts[agenda.WHO], due if texts[agenda.DUE] else None, book, cells,
            )  # fmt: skip


def _own(minutes: Minutes, book: Book, data: bytes, name: str) -> tuple[PackBook, bool]:
    """Which of the pack's books this is, and whether it changed since.

    By its fingerprint, else by file name and farm, else by the farm's name alone.
    """
    print_ = digest(data)
    farm, file = _text(book.settings.farm), Path(name).name
    exact = [b for b in minutes.books if b.fingerprint == print_]
    both = [b for b in minutes.books if b.file == file and b.farm in (farm, Path(file).stem)]
    alone = [b for b in minutes.books if farm and b.farm == farm]
    for found in (exact, both, alone):
        if len(found) == 1:
            return found[0], not exact
    listed = ", ".join(f"{b.file} ({b.farm})" for b in minutes.books[:8])
    raise BookError(
        f"{name} is none of the books of {minutes.name} ({listed}): give one of them; {_DONE}."
    )


def _is_of(row: Filled, own: PackBook, minutes: Minutes) -> bool:
    """Whether a row is this book's: by its number, else by the farm that it names."""
    if row.number:
        return row.number == own.number
    if not row.farm:
        if len(minutes.books) == 1:
            return True
        raise BookError(
            f"{minutes.name}: {row.places[agenda.FARM]} is empty in a row that is filled in; "
            f"write which farm it is for and run again; {_DONE}."
        )
    farms = {b.farm.casefold() for b in minutes.books}
    if row.farm.casefold() not in farms:
        raise BookError(
            f"{minutes.name}: {row.places[agenda.FARM]}: read {row.farm!r}, which is no farm of "
            f"this pack; accepted: {', '.join(sorted(b.farm for b in minutes.books))}. "
            f"Correct it and run again; {_DONE}."
        )
    return row.farm.casefold() == own.farm.casefold()


def _checked(row: Filled, book: Book, minutes: Minutes, name: str) -> dict[str, str | dt.date]:
    """The row as the sheet Agreed takes it; BookError for a station or date that is none."""
    where = minutes.name
    if not row.action:
        raise BookError(
            f"{where}: {row.places[agenda.ACTION]} is empty where 'Who' or 'By when' is filled "
            f"in; write what was agreed and run again; {_DONE}."
        )
    named = {_text(s).casefold(): str(s) for s in book.stations.frame["station"] if s}
    station = named.get(row.station.casefold())
    if station is None:
        read = f"read {row.station!r}, which is" if row.station else "is empty:"
        raise BookError(
            f"{where}: {row.places[agenda.STATION]}: {read} no station of {name}; accepted: a name "
            f"from its sheet {book.stations.sheet}. Correct it and run again; {_DONE}."
        )
    made: dict[str, str | dt.date] = {"station": station, "action": row.action}
    if row.who:
        made["who"] = row.who
    if row.due is not None:
        made["due"] = _day(row, minutes)
    return made


def _day(row: Filled, minutes: Minutes) -> dt.date:
    value, found = row.due, None
    if isinstance(value, float):
        found = serial_date(value, minutes.date1904)
    elif isinstance(value, str):
        found = date_text(value).date
    if found is None:
        raise BookError(
            f"{minutes.name}: {row.places[agenda.DUE]}: read {_text(value)!r}, which is no date; "
            f"accepted: a date such as 2026-08-10. Correct it and run again; {_DONE}."
        )
    return found


def _not_yet_there(
    wanted: Sequence[dict[str, str | dt.date]], book: Book
) -> list[dict[str, str | dt.date]]:
    """The rows that the sheet Agreed does not have, each once."""
    frame = book.agreed.frame
    known = {
        _same(dict(zip(("station", "action", "who", "due"), values, strict=True)))
        for values in zip(*(frame[key] for key in ("station", "action", "who", "due")), strict=True)
    }
    new = []
    for row in wanted:
        if _same(row) not in known:
            known.add(_same(row))
            new.append(row)
    return new


def _same(row: Mapping[str, object]) -> tuple[str, ...]:
    """What makes two agreed rows the same: station, action, who and due date."""
    values = (row.get(key) for key in ("station", "action", "who", "due"))
    return tuple("" if v is None else " ".join(str(v).split()).casefold() for v in values)


def _ask_for_columns(book: Book, new: Sequence[Mapping[str, object]], name: str) -> None:
    from templates.contract import AGREED

    needed = {key for row in new for key in row}
    lacking = [AGREED.column(key).header for key in sorted(needed - set(book.agreed.places))]
    if lacking:
        raise BookError(
            f"{name}: its sheet {AGREED.name} is missing or lacks {', '.join(lacking)}: copy the "
            f"sheet from a blank template, or add the headers; {_DONE}."
        )
