"""The commands of the monthly review: review makes the pack, agree carries it back."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from batch.commands.shared import EPILOG, EXIT_BOOK, JSON, PATHS, fail, refusals


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
def review(
    books: tuple[Path, ...], month: str, out: Path | None, no_pdf: bool, as_json: bool
) -> None:
    """Make one pack for the monthly review of BOOKs, or of all books in a folder.

    The pack is a new workbook, and the same as PDF where LibreOffice is installed. Its first
    page is the agenda. Books of another season serve the comparison of fouling alone.
    """
    from batch import __version__
    from batch.errors import SiltbookError
    from batch.files import find_books, take, write_whole
    from batch.report.book import printable
    from batch.review.carry import refuse_loss
    from batch.review.farm import read_month
    from batch.review.month import parse_month
    from batch.review.pack import make_pack, pack_bytes
    from batch.review.summary import lines, pack_json, pack_path

    try:
        chosen = parse_month(month)
    except ValueError as error:
        raise click.UsageError(f"--month: {error}") from error
    read, failed = [], []
    with refusals():
        paths = find_books(books)
        target = pack_path(books, chosen, out)
        refuse_loss(target, not no_pdf)
        # An earlier pack of that name in the folder is no book.
        todo = [p for p in paths if p.resolve() != target.resolve()]
        hidden = len(todo) < 2
        with click.progressbar(todo, label="Books", file=sys.stderr, hidden=hidden) as bar:
            for path in bar:
                try:
                    read.append(read_month(take(path).data, str(path), chosen))
                except SiltbookError as error:
                    failed.append(str(error))
        if not read:
            _tell(failed)
        pack = make_pack(read, chosen, __version__)
        data = pack_bytes(pack)
        write_whole(target, data)
        made = None if no_pdf else _pdf(data, target, as_json)
    if as_json:
        import json

        document = pack_json(pack, target, made, failed)
        click.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        for line in (*lines(pack), f"  Pack: {target}", *([f"  PDF: {made}"] if made else [])):
            click.echo(printable(line))
    if failed:
        _tell(failed)


def _tell(failed: list[str]) -> None:
    """Name the books that could not be read, and end."""
    for message in failed:
        fail(message)
    raise click.exceptions.Exit(EXIT_BOOK)


def _pdf(data: bytes, target: Path, quiet: bool) -> Path | None:
    """The PDF beside the pack; None, with a line that says so, where there is none."""
    from batch.files import write_whole
    from batch.pdf import PdfError, to_pdf

    try:
        made = to_pdf(data)
    except PdfError as error:
        fail(str(error))
        return None
    if made is None:
        if not quiet:
            click.echo("  No PDF: LibreOffice is not installed here.")
        return None
    path = target.with_suffix(".pdf")
    write_whole(path, made)
    return path


@click.command(epilog=EPILOG)
@click.argument("pack", type=click.Path(path_type=Path))
@click.argument("book", type=click.Path(path_type=Path))
def agree(pack: Path, book: Path) -> None:
    """Carry what the meeting filled in on PACK's Agenda over to the sheet Agreed of BOOK.

    Nothing else in the book is touched; the previous one is kept beside it. Rows that the book
    already has are not added again.
    """
    from batch.files import replace_book, take
    from batch.report.book import printable
    from batch.review.carry import carry
    from batch.review.summary import carried_lines

    with refusals():
        taken = take(book)
        carried = carry(take(pack).data, str(pack), taken.data, str(book))
        kept = None if carried.data is None else replace_book(taken, carried.data)
    for line in carried_lines(carried, book, kept):
        click.echo(printable(line))
