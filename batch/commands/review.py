"""The commands of the monthly review: review makes the pack, agree carries it back."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import (
    DEBUG,
    EPILOG,
    JSON,
    PATHS,
    books_of,
    document,
    end,
    failure,
    one_of_many,
    refusals,
    tell_cautions,
    though_protected,
    while_open,
)

if TYPE_CHECKING:
    from siltbook.batch.review.farm import FarmMonth
    from siltbook.batch.review.month import Month


@click.command(epilog=EPILOG)
@PATHS
@click.option("--month", required=True, metavar="YYYY-MM", help="The month that is reviewed.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A folder for the pack, or the pack's own path ending in .xlsx.",
)
@click.option("--no-pdf", is_flag=True, help="Make no PDF beside the pack.")
@JSON
@DEBUG
def review(
    books: tuple[Path, ...], month: str, out: Path | None, no_pdf: bool, as_json: bool
) -> None:
    """Make one pack for the monthly review of BOOKs, or of all books in a folder.

    The pack is a new workbook, and the same as PDF where LibreOffice is installed. Its first
    page is the agenda. Books of another season serve the comparison of fouling alone.
    """
    from siltbook import __version__
    from siltbook.batch.files import lock_note, sweep, write_whole
    from siltbook.batch.report.book import printable
    from siltbook.batch.review.agenda import items, touched
    from siltbook.batch.review.month import parse_month
    from siltbook.batch.review.pack import make_pack, pack_bytes
    from siltbook.batch.review.summary import lines, pack_json
    from siltbook.batch.review.target import pack_path, refuse_loss
    from siltbook.templates.safety import cautions

    try:
        chosen = parse_month(month)
    except ValueError as error:
        raise click.UsageError(f"--month: {error}") from error
    failures: list[dict[str, str]] = []
    notes: list[str] = []  # for the pack as well: names without their folders
    with refusals():
        paths = books_of(books, failures)
        target = pack_path(books, chosen, out)
        refuse_loss(target, not no_pdf)
        sweep(target.parent)
        # An earlier pack of that name in the folder is no book.
        todo = [p for p in paths if p.resolve() != target.resolve()]
        read = _read(todo, chosen, failures, notes)
        if not read:
            why = notes or [f"{target}: nothing but this pack was given; name its books."]
            end(failures or [failure(target, note) for note in why])
        pack = make_pack(read, chosen, __version__, notes)
        data = pack_bytes(pack)
        refuse_loss(target, not no_pdf)  # once more: reading the books took its time
        write_whole(target, data)
    pdf = _Pdf() if no_pdf else _pdf(data, target)
    if pdf.failed:
        failures.append(failure(target, pdf.failed))
    if as_json:
        said = [one["message"] for one in failures]
        click.echo(document(pack_json(pack, target, pdf.path, said)))
    else:
        for line in (*lines(pack), f"  Pack: {target}", *_of_pdf(pdf, target)):
            click.echo(printable(line))
        tell_cautions(cautions(touched(items(pack))))
        for note in (*pack.notes, *filter(None, map(lock_note, todo))):
            click.echo(printable(note))
    end(failures)


def _read(
    todo: list[Path], month: Month, failures: list[dict[str, str]], notes: list[str]
) -> list[FarmMonth]:
    """Every book once; what cannot be read goes to `failures`, what is to be said to `notes`."""
    from siltbook.batch.errors import PackError
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within
    from siltbook.batch.review.duplicates import counted_once

    judge = "siltbook.batch.review.farm:read_month"
    read = []
    with click.progressbar(todo, label="Books", file=sys.stderr, hidden=len(todo) < 2) as bar:
        for path in bar:
            with one_of_many(path, failures):
                try:
                    data = open_file(path).data
                    read.append(within(judge, data, path.name, data, str(path), month))
                except PackError:
                    said = "passed over; it is a review pack, not a farm's book."
                    notes.append(f"{path.name}: {said}")
    once, counted_twice = counted_once(read)
    notes += counted_twice
    return once


@dataclass(frozen=True)
class _Pdf:
    """What became of the PDF: its path, why it could not be made, or that nothing could make it."""

    path: Path | None = None
    failed: str = ""
    absent: bool = False


def _pdf(data: bytes, target: Path) -> _Pdf:
    """The PDF beside the pack."""
    from siltbook.batch.errors import SiltbookError, too_large
    from siltbook.batch.files import open_file, write_whole
    from siltbook.batch.pdf import to_pdf
    from siltbook.batch.review.target import PDF_MARK, refuse_loss

    path = target.with_suffix(".pdf")
    try:
        made = to_pdf(data)
        if made is None:
            return _Pdf(absent=True)
        if open_file(target).data != data:
            return _Pdf(
                failed=f"{target}: was replaced or changed while its PDF was made, so no PDF was "
                "written. Run again, or print it from the workbook."
            )
        refuse_loss(target, pdf=True)
        write_whole(path, made + PDF_MARK)
    except SiltbookError as error:
        return _Pdf(failed=str(error))
    except MemoryError:
        return _Pdf(failed=too_large(path))
    return _Pdf(path)


def _of_pdf(pdf: _Pdf, target: Path) -> Iterator[str]:
    """What the terminal says of the PDF; also of one that lies there and is not this pack's."""
    if pdf.path:
        yield f"  PDF: {pdf.path}"
        return
    if pdf.absent:
        yield "  No PDF: LibreOffice is not installed here."
    if (left := target.with_suffix(".pdf")).exists():
        yield f"  {left} was left as it is; it is not of this pack."


@click.command(epilog=EPILOG)
@click.argument("pack", type=click.Path(path_type=Path))
@click.argument("book", type=click.Path(path_type=Path))
def agree(pack: Path, book: Path) -> None:
    """Carry what the meeting filled in on PACK's Agenda over to the sheet Agreed of BOOK.

    PACK may also be a reviewed book, or one that a run kept aside: then it is what was filled in
    on its sheet Actions. Nothing else in the book is touched; the previous one is kept beside it.
    Rows that the book already has are not added again.
    """
    from siltbook.batch.files import open_file, replace_book, sweep
    from siltbook.batch.guard import unusual, within
    from siltbook.batch.report.book import printable
    from siltbook.batch.review.summary import carried_lines
    from siltbook.batch.review.target import refuse_copy

    with refusals():
        refuse_copy(book)
        sweep(book.parent)
        taken = open_file(book)
        filled = open_file(pack).data
        odd = filled if unusual(filled) else taken.data
        carried = within(
            "siltbook.batch.review.agree:enter_agreed", odd, str(pack if odd is filled else book),
            filled, str(pack), taken.data, str(book),
        )  # fmt: skip
        shut = though_protected(taken.data, carried.data, str(book))
        kept = None if carried.data is None else replace_book(taken, carried.data)
    notes = while_open(book, pack) if kept else while_open(None, pack, book)
    for line in filter(None, (*carried_lines(carried, book, kept), shut, *notes)):
        click.echo(printable(line))
