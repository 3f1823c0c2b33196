"""The whole way of one book: bytes in, assessment and reviewed bytes out. Touches no file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from siltbook import __version__
from siltbook.batch.assess import as_of_date, assess, with_bill
from siltbook.batch.results import Assessment
from siltbook.checks.findings import Finding, find
from siltbook.templates.contract import RESULT_SHEETS

if TYPE_CHECKING:
    from siltbook.batch.package.opened import Package
    from siltbook.batch.reading.book import ReadResult
    from siltbook.batch.typed.boxes import Box


@dataclass(frozen=True)
class Reviewed:
    """One book, judged, with the package that carries the result sheets.

    `ended` are boxes filled in on the earlier sheet Actions whose station needs nothing more, or
    is over the limit anew, or is of another farm: they are on no sheet of this result.
    """

    assessment: Assessment
    package: bytes
    ended: tuple[Box, ...] = ()


def assess_bytes(data: bytes, path: str, as_of: dt.date | None = None) -> Assessment:
    """Read, check and judge one book; BookError with one sentence where it cannot be read."""
    return _assess(*_opened(data, path), path, as_of)


def _opened(data: bytes, path: str) -> tuple[Package, str]:
    """The book, open, and what its format was before if it was no .xlsx; BookError."""
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.foreign import as_xlsx

    name = Path(path).name or path
    data, was = as_xlsx(data, name)
    return open_package(data, name), was


def _assess(package: Package, was: str, path: str, as_of: dt.date | None) -> Assessment:
    """Judge an .xlsx; `was`: what its format was before, and what was odd about it, or ''."""
    from siltbook.batch.reading.book import read_book

    read = read_book(package, path)
    result = replace(read, findings=(*read.findings, *_carried_note(was)))
    return with_bill(judge_read(result, as_of_date(result.book, as_of), asked=as_of is not None))


def judge_read(result: ReadResult, on: dt.date | None, *, asked: bool = True) -> Assessment:
    """Check and judge a book that was read, as of a day; without the bill.

    `asked`: the day was asked for, so that a review date which cannot be read decides nothing.
    """
    from siltbook.checks.fitness import check_book

    book, findings = result.book, (*result.findings, *check_book(result.book, on))
    if asked:
        left = tuple(key for key in book.settings.not_read if key != "review_date")
        book = replace(book, settings=replace(book.settings, not_read=left))
    return assess(book, as_of=on, findings=findings)


def review_bytes(
    data: bytes,
    path: str,
    book_name: str,
    as_of: dt.date | None = None,
    boxes: Iterable[Box] = (),
) -> Reviewed:
    """Judge one book and place the result sheets into its package.

    `boxes` are what was filled in on the sheet Actions of an earlier result; those of the book's
    own are found in it.

    Raises BookError (unreadable) or GraftError (cannot take new sheets), one sentence each.
    """
    package, was = _opened(data, path)
    return _placed(package, _assess(package, was, path, as_of), path, book_name, boxes)


def review_judged(data: bytes, assessment: Assessment, book_name: str) -> Reviewed:
    """As `review_bytes` of a book that `assess_bytes` has judged as of the same day."""
    package, _ = _opened(data, assessment.book.path)
    return _placed(package, assessment, assessment.book.path, book_name, ())


def _placed(
    package: Package, assessment: Assessment, path: str, book_name: str, boxes: Iterable[Box]
) -> Reviewed:
    from siltbook.batch.graft import free_names, graft
    from siltbook.batch.sheets.book import result_book
    from siltbook.batch.typed.boxes import going_on, not_of, read_boxes, together

    names = free_names(package, RESULT_SHEETS)
    notes = (*_taken_notes(names), *_signature_note(package))
    noted = replace(assessment, findings=(*assessment.findings, *notes))
    boxes, others = not_of(assessment.book.settings.farm, boxes)
    filled = together(read_boxes(package, path).boxes, boxes)
    stations, ended = going_on(filled, noted.stations, noted.as_of)
    noted = replace(noted, stations=stations)
    results = result_book(noted, names, book_name, __version__)
    placed = graft(package, results.package, list(names.values()), results.longer)
    return Reviewed(noted, placed, (*ended, *others))


def _taken_notes(names: Mapping[str, str]) -> Iterator[Finding]:
    for name in sorted(n for n, ours in names.items() if ours != n):
        yield find(
            "name-taken",
            sheet=name,
            cell="A1",
            read="a sheet of your own",
            accepted=f"any; the result is called '{names[name]}'",
        )


def _signature_note(package: Package) -> Iterator[Finding]:
    """A signature covers the package as it was; the reviewed copy is another package."""
    if any(part.filename.startswith("_xmlsignatures/") for part in package.archive.entries):
        yield find(
            "signature-broken",
            sheet="(whole book)",
            cell="",
            read="a digital signature, which the reviewed copy cannot keep",
            accepted="any book",
        )


def _carried_note(was: str) -> Iterator[Finding]:
    """A book of another format keeps its values at their addresses, and nothing else."""
    if was:
        yield find(
            "book-carried-over",
            sheet="(whole book)",
            cell="",
            read=was,
            accepted="any book; the reviewed .xlsx holds the values of its sheets at the same"
            " cells, without formulas, colours or charts",
        )
