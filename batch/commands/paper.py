"""The commands for paper that goes to the station: round and card."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import ANY_PATH, AS_OF, EPILOG, PAPER_SIZE, day, refusals

if TYPE_CHECKING:
    from siltbook.batch.results import Assessment

# Behind a PDF's end, where readers pass it over; a program that saves notes drops it, or adds
# to it.
PDF_MARK = b"% Siltbook paper, as it was made\n"
_OUT = click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
    help="Where to write; beside the book without it.",
)  # fmt: skip


@click.command("round", epilog=EPILOG)
@click.argument("book", type=ANY_PATH, metavar="BOOK")
@click.option(
    "--due", type=click.DateTime(formats=["%Y-%m-%d"]), metavar="DATE",
    help="Day of the round; stations to be read by then are marked. The as-of date without it.",
)  # fmt: skip
@click.option(
    "--stations", "names", multiple=True, metavar="STATION",
    help="Only this station; again for more.",
)  # fmt: skip
@AS_OF
@click.option("--sheet", is_flag=True, help="As NAME.round.xlsx, to be printed from there.")
@_OUT
@PAPER_SIZE
def round_(
    book: Path, due: dt.datetime | None, names: tuple[str, ...], as_of: dt.datetime | None,
    sheet: bool, out: Path | None, paper: str,
) -> None:  # fmt: skip
    """Make the round sheet of BOOK: what to read at each station, with boxes.

    As PDF; with --sheet as a workbook of one sheet that a spreadsheet program prints.
    """
    from siltbook import __version__
    from siltbook.batch.paper.round_page import round_page
    from siltbook.batch.paper.round_sheet import round_sheet

    with refusals():
        assessment, on = _assessed(book, day(as_of)), day(due)
        if sheet:
            made = round_page(assessment, book.name, due=on, names=names, size=paper)
            _written(book, out, "round.xlsx", made)
        else:
            made = round_sheet(assessment, book.name, __version__, due=on, names=names, size=paper)
            _written(book, out, "round.pdf", made)


@click.command("card", epilog=EPILOG)
@click.argument("book", type=ANY_PATH, metavar="BOOK")
@click.argument("stations", nargs=-1, required=True, metavar="STATION...")
@AS_OF
@_OUT
@PAPER_SIZE
def card(
    book: Path, stations: tuple[str, ...], as_of: dt.datetime | None, out: Path | None, paper: str
) -> None:
    """Make the station card of each STATION of BOOK as PDF: a page for whoever does the work."""
    from siltbook import __version__
    from siltbook.batch.paper.station_card import station_cards

    with refusals():
        assessment = _assessed(book, day(as_of))
        made = station_cards(assessment, book.name, __version__, stations, paper)
        _written(book, out, "card.pdf", made)


def _assessed(book: Path, as_of: dt.date | None) -> Assessment:
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within

    data = open_file(book).data
    made: Assessment = within(
        "siltbook.batch.job:assess_bytes", data, book.name, data, book.name, as_of
    )
    return made


def _written(book: Path, out: Path | None, ending: str, data: bytes) -> None:
    from siltbook.batch.report.book import printable

    click.echo(printable(f"{put_paper(book, out, ending, data)}"))


def put_paper(book: Path, out: Path | None, ending: str, data: bytes) -> Path:
    """Write beside the book or into `out`; a file that is not ours is never replaced.

    Nor is one of ours that somebody saved: there may be readings in its boxes, notes on its pages
    or a signature.
    """
    from siltbook.batch.errors import BookError
    from siltbook.batch.files import make_folder, open_file, write_whole
    from siltbook.batch.typed.stamp import untouched

    folder = out or book.parent
    make_folder(folder)
    target = folder / f"{book.stem}.{ending}"
    there = open_file(target).data if os.path.lexists(target) else None
    if there is not None and ending.endswith(".xlsx") and not untouched(there, book.name):
        raise BookError(
            f"{target}: not made by Siltbook, or saved by somebody since, so it is left alone. "
            "Type what was written in it into the book, then move it away."
        )
    pdf = ending.endswith(".pdf")
    if there is not None and pdf and b"(siltbook " not in there:
        raise BookError(f"{target}: not made by Siltbook, so it is left alone. Move it away.")
    if there is not None and pdf and not there.endswith(PDF_MARK):
        raise BookError(
            f"{target}: was saved by another program since Siltbook made it, or made by an earlier"
            " version, and may hold what somebody wrote on it, so it is left alone. Type that into"
            " the book, then move it away."
        )
    write_whole(target, data + PDF_MARK if pdf else data)
    return target
