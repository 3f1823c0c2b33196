"""What `import siltbook` offers to notebooks and scripts; docs/python.md shows it at work.

Every frame has the units of its columns in `attrs["units"]`: pressures and drops are metres of
water (9 806.65 Pa exactly), flows m3/h. Nothing here writes a file.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from siltbook import __version__
from siltbook.batch.errors import BookError
from siltbook.batch.files import open_file
from siltbook.batch.graft import GraftError
from siltbook.batch.guard import within
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.tables.describe import Kind, Row, Table
from siltbook.batch.tables.findings import EVERY_FIELD
from siltbook.batch.tables.readings import DROPS, station_readings
from siltbook.batch.tables.runs import RUN_ROWS, station_runs
from siltbook.batch.tables.stations import VERDICTS
from siltbook.templates.book import Settings
from siltbook.templates.contract import LISTS, Sheet
from siltbook.templates.contract import Kind as Typed

if TYPE_CHECKING:
    import pandas as pd

    Source = str | os.PathLike[str] | bytes

__all__ = [
    "Audited", "BookError", "GraftError", "Judged", "Read", "Review", "audit", "check", "judge",
    "read", "review", "reviewed_bytes",
]  # fmt: skip
_UNITS = {Typed.PRESSURE: "m", Typed.METRES: "m", Typed.FLOW: "m3/h"}


@dataclass(frozen=True)
class Read:
    """A book as read: its settings, a frame for each list, and what reading found.

    `lists` has the frames by the names of the contract's sheets ('Stations', 'Readings',
    'Work done', 'Agreed', 'Water tests', 'Gauges', 'Carried over'); a frame's index is the row of
    the sheet.
    """

    settings: Settings
    lists: Mapping[str, pd.DataFrame]
    findings: pd.DataFrame


@dataclass(frozen=True)
class Judged:
    """A book, judged as of a day.

    `verdicts` has one row for each station, most urgent first, `stations` the object behind each
    by its name (judgement with reason and steps, history, outlook); `drops` one row for each
    judged reading, `runs` for each run between two cleanings, `findings` for each finding.
    """

    as_of: dt.date | None
    verdicts: pd.DataFrame
    stations: Mapping[str, StationResult]
    drops: pd.DataFrame
    runs: pd.DataFrame
    findings: pd.DataFrame


@dataclass(frozen=True)
class Review:
    """A monthly review: the stations that need a decision, and the pack as an .xlsx."""

    agenda: pd.DataFrame
    package: bytes


@dataclass(frozen=True)
class Audited:
    """An audit: one row for each rule, one for each place behind it, and the book with both."""

    rules: pd.DataFrame
    places: pd.DataFrame
    package: bytes


def read(book: Source) -> Read:
    """Read a book into frames in canonical units, without judging it.

    `book` is a path or the bytes of an .xlsx, .xlsm, .ods or .xls. BookError with one sentence
    where it cannot be read.
    """
    result = _within("siltbook.batch.reading.book:read_book", book)
    held = result.book.lists()
    lists = {sheet.name: _list(sheet, held[sheet.name].frame) for sheet in LISTS}
    return Read(result.book.settings, lists, _frame(EVERY_FIELD, result.findings))


def check(book: Source, as_of: dt.date | None = None) -> pd.DataFrame:
    """What is wrong or doubtful in a book, one row for each finding; the book is not changed.

    `as_of` None means the book's review date, else its latest entry; of a datetime its day counts.
    BookError as for `read`, TypeError where a book or a day is none.
    """
    return _frame(EVERY_FIELD, _within(_ASSESS, book, _day(as_of)).findings)


def judge(book: Source, as_of: dt.date | None = None) -> Judged:
    """Judge every station of a book; parameters and errors as for `check`."""
    assessment: Assessment = _within(_ASSESS, book, _day(as_of))
    return Judged(
        assessment.as_of,
        _frame(VERDICTS, assessment.stations),
        {result.station.name: result for result in assessment.stations},
        _frame(DROPS, station_readings(assessment)),
        _frame(RUN_ROWS, station_runs(assessment.stations)),
        _frame(EVERY_FIELD, assessment.findings),
    )


def reviewed_bytes(book: Source, as_of: dt.date | None = None) -> bytes:
    """The book with the result sheets in it, as `siltbook run` writes it.

    BookError as for `read`, GraftError where the book cannot take new sheets.
    """
    on = _day(as_of)
    data, path = _taken(book)
    made = within("siltbook.batch.job:review_bytes", data, path, data, path, Path(path).name, on)
    return bytes(made.package)


def review(books: Source | Iterable[Source], month: str) -> Review:
    """The pack of a monthly review of one book or several; `month` as '2026-07'.

    BookError where a book cannot be read, the month is none, no book was given or none is of it.
    """
    from siltbook.batch.review.agenda import AGENDA, items
    from siltbook.batch.review.month import parse_month
    from siltbook.batch.review.pack import make_pack, pack_bytes

    try:
        asked = parse_month(str(month))
    except ValueError as error:
        raise BookError(str(error)) from error
    given = [books] if isinstance(books, (str, bytes, os.PathLike)) else list(books)
    if not given:
        raise BookError(f"No book was given for the review of {asked}: name one or several.")
    farms = (_within("siltbook.batch.review.farm:read_month", one, asked) for one in given)
    pack = make_pack(farms, asked, __version__)
    return Review(_frame(AGENDA, items(pack)), pack_bytes(pack))


def audit(book: Source, as_of: dt.date | None = None) -> Audited:
    """The audit's three questions about a book; parameters and errors as for `reviewed_bytes`."""
    from siltbook.batch.audit.model import Question
    from siltbook.batch.audit.sheets import DETAIL, SUMMARY, PlaceOf

    found, package = _within("siltbook.batch.audit.job:audited", book, _day(as_of))
    results = [result for question in Question for result in found.of(question)]
    places = [PlaceOf(result, place) for result in results for place in result.places]
    states = [str(result.state) for result in results]
    rules = _frame(SUMMARY, results).assign(state=states)
    return Audited(rules, _frame(DETAIL, places), package)


_ASSESS = "siltbook.batch.job:assess_bytes"


def _within(function: str, book: Source, *more: object) -> Any:
    """What a function of a book's bytes, its name and `more` gives, within the guard's limits."""
    data, path = _taken(book)
    return within(function, data, path, data, path, *more)


def _day(as_of: object) -> dt.date | None:
    """The day of which to judge, of a datetime its day; TypeError, one sentence, for no day."""
    if isinstance(as_of, dt.datetime) and as_of == as_of:  # pandas' NaT is no day
        return as_of.date()
    if as_of is None or (isinstance(as_of, dt.date) and not isinstance(as_of, dt.datetime)):
        return as_of
    raise TypeError(f"as_of is {as_of!r}: give a day, for example datetime.date(2026, 8, 30).")


def _taken(book: Source) -> tuple[bytes, str]:
    """A book's bytes and its name; TypeError, one sentence, for what is neither path nor bytes."""
    if isinstance(book, (bytes, bytearray, memoryview)):
        return bytes(book), "book.xlsx"
    if not isinstance(book, (str, os.PathLike)):
        kind = type(book).__name__
        raise TypeError(f"A book is its path or its bytes, and this is of the type {kind}.")
    path = Path(book)
    return open_file(path).data, str(path)


def _list(sheet: Sheet, frame: pd.DataFrame) -> pd.DataFrame:
    """A copy of a list's frame, with its units; the index is the row of the sheet."""
    copy = frame.copy()
    copy.index.name = "row"
    units = {c.key: _UNITS.get(c.kind, c.unit or c.amount) for c in sheet.columns}
    copy.attrs["units"] = {key: unit for key, unit in units.items() if unit}
    return copy


def _frame(table: Table[Row], rows: Sequence[Row]) -> pd.DataFrame:
    """A described table as a frame: a column for each key, in the kind's own type."""
    import pandas as pd

    values = [[_plain(value) for value in table.values(row)] for row in rows]
    frame = pd.DataFrame(values, columns=[column.key for column in table.columns])
    for column in table.columns:
        if column.kind in _NUMBERS:
            frame[column.key] = frame[column.key].astype("float64")
    frame.attrs["units"] = {c.key: c.unit for c in table.columns if c.unit}
    return frame


_NUMBERS = frozenset((
    Kind.PRESSURE, Kind.RATE, Kind.FLOW, Kind.VOLUME, Kind.ENERGY, Kind.MONEY, Kind.SHARE,
    Kind.CHANCE, Kind.DAYS,
))  # fmt: skip


def _plain(value: object) -> Any:
    """A verdict as its id, several with spaces between."""
    if isinstance(value, tuple):
        return " ".join(map(str, value))
    return str(value) if isinstance(value, str) else value
