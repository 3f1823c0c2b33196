"""The whole way of one book: bytes in, assessment and reviewed bytes out. Touches no file."""

from __future__ import annotations

import contextlib
import datetime as dt
import gc
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

from batch import __version__
from batch.assess import as_of_date, assess
from batch.model import Assessment
from checks.findings import Finding, find
from templates.contract import RESULT_SHEETS


@dataclass(frozen=True)
class Reviewed:
    """One book, judged, with the package that carries the result sheets."""

    assessment: Assessment
    package: bytes


def assess_bytes(data: bytes, path: str, as_of: dt.date | None = None) -> Assessment:
    """Read, check and judge one book; BookError with one sentence where it cannot be read."""
    from batch.reading.book import read_book
    from checks.fitness import check_book

    result = read_book(data, path)
    on = as_of_date(result.book, as_of)
    findings = (*result.findings, *check_book(result.book, on))
    return assess(result.book, as_of=on, findings=findings)


def review_bytes(data: bytes, path: str, book_name: str, as_of: dt.date | None = None) -> Reviewed:
    """Judge one book and place the result sheets into its package.

    Raises BookError (unreadable) or GraftError (cannot take new sheets), one sentence each.
    """
    with _no_search_for_waste():
        return _review(data, path, book_name, as_of)


@contextlib.contextmanager
def _no_search_for_waste() -> Iterator[None]:
    """No search for circular waste meanwhile.

    A book of 10,000 stations is a great many objects that live to the end; looking through them
    again and again took 5 to 7 % of its time (docs/performance.md).
    """
    searched = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searched:
            gc.enable()


def _review(data: bytes, path: str, book_name: str, as_of: dt.date | None) -> Reviewed:
    from batch.graft import graft, taken_names
    from batch.reading.foreign import as_xlsx
    from batch.sheets.book import result_book

    data, was = as_xlsx(data, Path(path).name)
    assessment = assess_bytes(data, path, as_of)
    taken = taken_names(data, RESULT_SHEETS)
    names = {n: f"{n} (Siltbook)" if n in taken else n for n in RESULT_SHEETS}
    notes = (*_taken_notes(taken), *_signature_note(data), *_carried_note(was))
    noted = replace(assessment, findings=(*assessment.findings, *notes))
    results = result_book(noted, names, book_name, __version__)
    placed = graft(data, results.package, list(names.values()), results.longer)
    return Reviewed(noted, placed)


def _taken_notes(taken: set[str]) -> Iterator[Finding]:
    for name in sorted(taken):
        yield find(
            "name-taken",
            sheet=name,
            cell="A1",
            read="a sheet of your own",
            accepted=f"any; the result is called '{name} (Siltbook)'",
        )


def _signature_note(data: bytes) -> Iterator[Finding]:
    """A signature covers the package as it was; the reviewed copy is another package."""
    with zipfile.ZipFile(BytesIO(data)) as package:
        signed = any(name.startswith("_xmlsignatures/") for name in package.namelist())
    if signed:
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
            accepted="any book; this new .xlsx holds the values of its sheets at the same cells,"
            " without formulas, colours or charts",
        )
