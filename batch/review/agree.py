"""Carries what a meeting filled in on a pack's Agenda over to the sheet Agreed of a book."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.errors import BookError
from siltbook.batch.fingerprint import digest
from siltbook.batch.reading.cells import ErrorText, NoValue
from siltbook.batch.reading.parsing import date_text, serial_date
from siltbook.batch.review import agenda
from siltbook.batch.review.minutes import (
    DONE,
    Filled,
    Minutes,
    PackBook,
    read_actions,
    read_pack,
    text_of,
)
from siltbook.batch.sheets.kit import MAX_CELL_TEXT
from siltbook.templates.book import Book
from siltbook.templates.contract import WHOLE_FARM
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown

_DONE = "nothing was changed"
_AHEAD = 10  # [years]; a due date further off is a slip
_ASKED = {
    agenda.FARM: "a farm of this pack",
    agenda.STATION: "a station's name",
    agenda.ACTION: "what was agreed, in words",
    agenda.WHO: "a name",
    agenda.DUE: "a date such as 2026-08-10",
    agenda.BOOK: "the book's number as on the sheet About this pack, or nothing",
}


@dataclass(frozen=True)
class Carried:
    """The book with the rows added, or None where nothing was to add.

    `rows` their numbers on the sheet; `already` how many the book had; `others` how many belong
    to other farms; `changed` whether the book changed since the pack was made; `idle` the cells of
    rows that name a station and no action; `source` is where the rows were looked for; `done` the
    Done dates of the pack that the book lacks, in words.
    """

    data: bytes | None
    sheet: str
    rows: tuple[int, ...]
    already: int
    others: int
    changed: bool
    idle: tuple[str, ...] = ()
    source: str = "the pack's Agenda"
    done: tuple[str, ...] = ()


def enter_agreed(pack: bytes, pack_name: str, book: bytes, book_name: str) -> Carried:
    """Add the pack's filled rows of this book to its sheet Agreed.

    SiltbookError, one sentence, where the pack is none, the book is none of the pack's, or any
    filled row cannot be taken; then nothing is added at all.
    """
    from siltbook.batch.package.limits import GraftError
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.reading.foreign import FORMATS, kind_of
    from siltbook.batch.reading.workbook import open_workbook
    from siltbook.batch.review.append import append_rows

    minutes = read_actions(pack, pack_name) or read_pack(pack, pack_name)
    for ref in minutes.merged:
        raise BookError(
            f"{pack_name}: {ref} is merged over several rows, so it cannot be told whose answer it "
            f"holds: unmerge it, write into each row and run again; {_DONE}."
        )
    if kind := kind_of(book):
        raise BookError(
            f"{book_name} is {FORMATS[kind]}, which cannot take rows: save it as .xlsx in a "
            f"spreadsheet program and give that file; {_DONE}."
        )
    read = read_book(book, book_name).book
    own, changed = _own(minutes, read, book, book_name)
    mine = [row for row in minutes.rows if _is_of(row, own, minutes)]
    wanted = [_checked(row, read, minutes, book_name) for row in mine]
    new = _not_yet_there(wanted, read, minutes.since)
    others = len(minutes.rows) - len(mine)
    sheet = read.agreed.sheet
    told = (others, changed and not minutes.source, minutes.idle)
    ends = minutes.source or Carried.source, tuple(_done_there(minutes, read, own))
    if not new:
        return Carried(None, sheet, (), len(wanted), *told, *ends)
    _ask_for_columns(read, new, book_name)
    opened = open_workbook(open_package(book, book_name), book_name)
    try:
        data, numbers = append_rows(book, read.agreed, new, opened.styles, opened.struck)
    except GraftError as error:
        raise BookError(f"{book_name}: {error}") from error
    _see_them(data, book_name, numbers)
    already = len(wanted) - len(new)
    return Carried(data, sheet, tuple(numbers), already, *told, *ends)


def _see_them(data: bytes, name: str, numbers: Sequence[int]) -> None:
    """Read the result again before it replaces anything: the rows must be there."""
    from siltbook.batch.reading.book import read_book

    there = set(read_book(data, name).book.agreed.frame.index)
    if not there.issuperset(numbers):
        raise BookError(
            f"{name}: the rows cannot be added to its sheet Agreed as it stands; type them there. "
            f"{_DONE.capitalize()}."
        )


def _own(minutes: Minutes, book: Book, data: bytes, name: str) -> tuple[PackBook, bool]:
    """Which of the pack's books this is, and whether it changed since.

    By its fingerprint, else by file name and farm, else by the farm's name alone.
    """
    print_ = digest(data)
    farm, file = text_of(book.settings.farm), Path(name).name
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


def _refused(row: Filled, header: str, minutes: Minutes, said: str) -> BookError:
    """The refusal of one cell: where it is, what was read, what is accepted."""
    return BookError(
        f"{minutes.name}: {row.place(header)}: {said}; accepted: {_ASKED[header]}. Correct it and "
        f"run again; {_DONE}."
    )


def _told(row: Filled, header: str, minutes: Minutes) -> str:
    """A cell's text; BookError where it holds a formula's absence, an error or far too much."""
    value = row.cells.get(header)
    if isinstance(value, NoValue):
        raise _refused(row, header, minutes, "read a formula without a stored value")
    if isinstance(value, ErrorText):
        raise _refused(row, header, minutes, f"read the error {value}")
    no_words = bool if header == agenda.WHO else (bool, float)
    if header in (agenda.ACTION, agenda.WHO) and isinstance(value, no_words):
        raise _refused(row, header, minutes, f"read {text_of(value)!r}, which is no text")
    text = text_of(value)
    if len(text) > MAX_CELL_TEXT:
        raise _refused(row, header, minutes, f"read {len(text):,} characters, which is too long")
    return text


def _is_of(row: Filled, own: PackBook, minutes: Minutes) -> bool:
    """Whether a row is this book's: by its number, else by the farm that it names."""
    number = _told(row, agenda.BOOK, minutes)
    if number:
        if number not in {b.number for b in minutes.books}:
            raise _refused(row, agenda.BOOK, minutes, f"read {number!r}, no book of this pack")
        return number == own.number
    farm = _told(row, agenda.FARM, minutes)
    if not farm:
        if len(minutes.books) == 1:
            return True
        raise BookError(
            f"{minutes.name}: {row.place(agenda.FARM)} is empty in a row that is filled in; "
            f"write which farm it is for and run again; {_DONE}."
        )
    farms = Counter(name_key(b.farm) for b in minutes.books)
    if name_key(farm) not in farms:
        raise BookError(
            f"{minutes.name}: {row.place(agenda.FARM)}: read {farm!r}, which is no farm of "
            f"this pack; accepted: {', '.join(sorted(b.farm for b in minutes.books))}. "
            f"Correct it and run again; {_DONE}."
        )
    if farms[name_key(farm)] > 1:
        raise BookError(
            f"{minutes.name}: {row.place(agenda.FARM)}: read {farm!r}, which "
            f"{farms[name_key(farm)]} books of this pack are called; write the book's number, as "
            f"on the sheet About this pack, under the header {agenda.BOOK} and run again; {_DONE}."
        )
    return name_key(farm) == name_key(own.farm)


def _checked(row: Filled, book: Book, minutes: Minutes, name: str) -> dict[str, str | dt.date]:
    """The row as the sheet Agreed takes it; BookError for a station or date that is none."""
    station, action, who = (
        _told(row, header, minutes) for header in (agenda.STATION, agenda.ACTION, agenda.WHO)
    )
    if not action:
        raise BookError(
            f"{minutes.name}: {row.place(agenda.ACTION)} is empty where 'Who' or 'By when' is "
            f"filled in; write what was agreed and run again; {_DONE}."
        )
    named = dict(book.names)
    named.setdefault(WHOLE_FARM, WHOLE_FARM)
    if name_key(station) not in named:
        read = f"read {station!r}, which is" if station else "is empty:"
        raise BookError(
            f"{minutes.name}: {row.place(agenda.STATION)}: {read} no station of {name}; accepted: "
            f"a name from its sheet {book.stations.sheet}, or {WHOLE_FARM}. Correct it and run "
            f"again; {_DONE}."
        )
    made: dict[str, str | dt.date] = {"station": named[name_key(station)], "action": action}
    if who:
        made["who"] = who
    if agenda.DUE in row.cells:
        made["due"] = _day(row, minutes, book.settings.shown)
    return made


def _day(row: Filled, minutes: Minutes, shown: Shown) -> dt.date:
    """The due date; BookError for what is none, or lies before the month or years ahead."""
    text, value, found = _told(row, agenda.DUE, minutes), row.cells[agenda.DUE], None
    if isinstance(value, float):
        found = serial_date(value, minutes.date1904)
    elif isinstance(value, str):
        found = date_text(value).date
    if found is None:
        raise _refused(row, agenda.DUE, minutes, f"read {text!r}, which is no date")
    since = minutes.since
    if since and not 0 <= (found - since).days <= 366 * _AHEAD:
        before = f"before {shown.day(since)}, the month reviewed"
        how = before if found < since else "years ahead"
        raise _refused(row, agenda.DUE, minutes, f"read {shown.day(found)}, which lies {how}")
    return found


def _not_yet_there(
    wanted: Sequence[dict[str, str | dt.date]], book: Book, since: dt.date | None
) -> list[dict[str, str | dt.date]]:
    """The rows that the sheet Agreed does not have, each once.

    One that was done before the reviewed month began, `since`, was another agreement.
    """
    known = {row for row, done in _agreed(book) if since is None or done is None or done >= since}
    new = []
    for row in wanted:
        if _same(row) not in known:
            known.add(_same(row))
            new.append(row)
    return new


def _agreed(book: Book) -> Iterator[tuple[tuple[str, ...], dt.date | None]]:
    """What makes each row of the sheet Agreed the same as another, and its Done date."""
    frame = book.agreed.frame
    listed = (frame[key] for key in ("station", "action", "who", "due", "done"))
    for *values, done in zip(*listed, strict=True):
        yield _same(dict(zip(("station", "action", "who", "due"), values, strict=True))), done


def _done_there(minutes: Minutes, book: Book, own: PackBook) -> Iterator[str]:
    """What the pack's list of agreed actions calls done and the book does not, with its cell."""
    done: dict[tuple[str, ...], list[dt.date | None]] = {}
    for row, day in _agreed(book):
        done.setdefault(row[:3], []).append(day)
    farms = {name_key(b.farm) for b in minutes.books}
    for one in minutes.done:
        if len(farms) > 1 and name_key(one.text(agenda.FARM)) != name_key(own.farm):
            continue
        said = {"station": agenda.STATION, "action": agenda.ACTION, "who": agenda.WHO}
        texts = {key: one.text(header) for key, header in said.items()}
        station = book.names.get(name_key(texts["station"]), texts["station"])
        days = done.get(_same({**texts, "station": station})[:3])
        if days is None or None in days:
            yield f"{one.place(DONE)} ({texts['station']}, {texts['action'][:60]})"


def _same(row: Mapping[str, object]) -> tuple[str, ...]:
    """What makes two agreed rows the same: station, action, who and due date."""
    values = (row.get(key) for key in ("station", "action", "who", "due"))
    return tuple("" if v is None else " ".join(str(v).split()).casefold() for v in values)


def _ask_for_columns(book: Book, new: Sequence[Mapping[str, object]], name: str) -> None:
    from siltbook.templates.contract import AGREED

    needed = {key for row in new for key in row}
    lacking = [AGREED.column(key).header for key in sorted(needed - set(book.agreed.places))]
    if lacking:
        raise BookError(
            f"{name}: its sheet {AGREED.name} is missing or lacks {', '.join(lacking)}: copy the "
            f"sheet from a blank template, or add the headers; {_DONE}."
        )
