"""One farm's month: its book read once and judged twice, at the end of two months."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from siltbook.batch.fingerprint import digest
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.review.month import Month
from siltbook.checks.findings import Finding
from siltbook.templates.book import Book
from siltbook.templates.days import ISO

FRESH = 62  # [days]; a book without a season whose latest entry is older is not this month's


@dataclass(frozen=True)
class FarmMonth:
    """A book as it stood at the end of the month before (`then`) and of the month (`now`)."""

    file: str  # the book's file name
    fingerprint: str  # SHA-256 of the book as read
    month: Month
    then: Assessment
    now: Assessment
    number: int = 1  # the book's number in the pack
    found: tuple[Finding, ...] = ()  # what reading found

    @property
    def book(self) -> Book:
        """The book as read."""
        return self.now.book

    @property
    def farm(self) -> str:
        """The farm's name as the pack shows it; the file's where the book names none."""
        return " ".join(self.book.settings.farm.split()) or Path(self.file).stem

    def before(self, station: str) -> StationResult:
        """How the station stood at the end of the month before: both are from one register."""
        return self._then[station]

    @cached_property
    def _then(self) -> dict[str, StationResult]:
        return {r.station.name: r for r in reversed(self.then.stations)}

    @property
    def latest(self) -> dt.date | None:
        """The day of the latest reading or work up to the month's end; None without any."""
        return max((e.date for r in self.now.stations for e in r.history.entries), default=None)


def read_month(data: bytes, path: str, month: Month) -> FarmMonth:
    """Read a book once and judge it at both ends of the month; BookError as when judging it."""
    from siltbook.batch.job import judge_read
    from siltbook.batch.reading.book import read_book

    result = read_book(data, path)
    then, now = (judge_read(result, day) for day in (month.eve, month.last))
    return FarmMonth(Path(path).name, digest(data), month, then, now, found=result.findings)


def in_one_way(books: Sequence[FarmMonth]) -> list[FarmMonth]:
    """The books with all their dates shown alike: as 2026-08-30 where they want to differ.

    Beside each other, 08/09/2026 of one farm and of the next would be two different days.
    """
    from siltbook.batch.job import judge_read
    from siltbook.batch.reading.book import ReadResult

    if len({one.book.settings.shown.dates for one in books}) < 2:
        return list(books)
    alike = []
    for one in books:
        if one.book.settings.shown.dates != ISO:
            book = replace(one.book, settings=replace(one.book.settings, show_dates=ISO))
            read = ReadResult(book, one.found)
            then, now = (judge_read(read, day) for day in (one.month.eve, one.month.last))
            one = replace(one, then=then, now=now)
        alike.append(one)
    return alike


def why_outside(book: Book, month: Month) -> str:
    """Why the month is none of this book's, as a clause; empty where it is.

    A book without an entry by the month's end has nothing to say. Beyond that the season that the
    Farm sheet names decides, or the latest entry where it names none.
    """
    from siltbook.checks.lastday import latest_day
    from siltbook.checks.visits import season_years

    years = season_years(book.settings.season)
    if years and month.year not in years:
        return f"its season is {book.settings.season}"
    days = [day for frame in (book.readings.frame, book.work.frame) for day in frame["date"]]
    if not days:
        return "it has no dated entry"
    shown = book.settings.shown.day
    if min(days) > month.last:
        return f"its first entry is of {shown(min(days))}"
    last = latest_day(book) or max(days)
    if not years and last < month.last - dt.timedelta(days=FRESH):
        return f"its latest entry is of {shown(last)}"
    return ""


def rows_text(
    book: Book, readings: Iterable[int] = (), work: Iterable[int] = (), agreed: Iterable[int] = ()
) -> str:
    """Where figures come from: 'Readings 45, 52; Work done 12'. Row 0 stands for none."""
    parts = []
    for sheet, given in (
        (book.readings.sheet, readings), (book.work.sheet, work), (book.agreed.sheet, agreed),
    ):  # fmt: skip
        rows = sorted({row for row in given if row})
        if rows:
            parts.append(f"{sheet} {', '.join(map(str, rows))}")
    return "; ".join(parts)
