"""The command that audits books."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import Any

import click

from siltbook.batch.commands.shared import (
    ANY_PATH,
    AS_OF,
    DEBUG,
    EXIT_FINDINGS,
    JSON,
    PAPER_SIZE,
    PATHS,
    books_of,
    day,
    finish,
    one_of_many,
    refusals,
)

EPILOG = (
    "Exit codes: 0 nothing found; 1 something to look at; 2 wrong use of the command; "
    "3 a book could not be read or its result not written (the others were still done); "
    "130 stopped by Ctrl-C."
)


@click.command(epilog=EPILOG)
@PATHS
@AS_OF
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Collect results in this folder.",
)
@click.option("--pdf", is_flag=True, help="Also two pages as PDF, to hand over and to sign.")
@PAPER_SIZE
@click.option(
    "--against",
    multiple=True,
    type=ANY_PATH,
    metavar="FILE",
    help="An earlier copy, archive or pack of the same season; again for more.",
)
@click.option(
    "--visits",
    type=ANY_PATH,
    metavar="FILE",
    help="A list of visits, dates and people, as CSV or workbook.",
)
@JSON
@DEBUG
def audit(
    books: tuple[Path, ...],
    as_of: dt.datetime | None,
    out: Path | None,
    pdf: bool,
    paper: str,
    against: tuple[Path, ...],
    visits: Path | None,
    as_json: bool,
) -> None:
    """Say whether BOOKs can be trusted, the procedure was kept, and the verdicts hold.

    A copy with the sheets Audit summary, Audit agreed and Audit detail goes to
    NAME.audited.xlsx beside each book, unless --out is given. The book itself is never changed.
    """
    from siltbook.batch.audit.report import audit_json, lines
    from siltbook.batch.files import lock_note
    from siltbook.batch.many import orders
    from siltbook.batch.report.book import printable

    done: list[dict[str, Any]] = []
    failures: list[dict[str, str]] = []
    looks = 0
    farms: dict[tuple[str, str], Path] = {}
    with refusals():
        given = _witnesses(against), _visits(visits)
        todo = orders(books_of(books, failures), out, False, day(as_of), "audited")
    for order in todo:
        assert order.target is not None  # an audit is never in place
        with one_of_many(order.path, failures):
            _refuse_itself(order.path, against)
            size = paper if pdf else None
            found, kept = _one(order.path, order.target, order.as_of, size, given)
            looks += found.looks
            note_copy(farms, order.path, found)
            if as_json:
                entry = audit_json(found, str(order.path), str(order.target))
                done.append(entry | ({"said": list(kept)} if kept else {}))
                continue
            said = [*lines(found, str(order.path)), f"  Result: {order.target}"]
            said += [f"  {line}" for line in kept]
            if note := lock_note(order.path):
                said.append(f"  {note}")
            for line in said:
                click.echo(printable(line))
    finish(done, failures, as_json, EXIT_FINDINGS if looks else 0)


def _refuse_itself(book: Path, against: tuple[Path, ...]) -> None:
    """BookError where a book is its own witness: it always says the same as itself."""
    from siltbook.batch.errors import BookError

    for path in against:
        if os.path.exists(path) and os.path.exists(book) and path.samefile(book):
            raise BookError(
                f"{book}: was given as a witness of itself (--against {path}), and always agrees:"
                " give an earlier copy."
            )


def _witnesses(against: tuple[Path, ...]) -> list[tuple[str, bytes]]:
    """Names and bytes of the witnesses."""
    from siltbook.batch.audit.witness import witness_file

    return [named for path in against for named in witness_file(path)]


def _visits(path: Path | None) -> tuple[str, bytes] | None:
    """Name and bytes of a list of visits that can be read."""
    from siltbook.batch.audit.visits import read_visits
    from siltbook.batch.files import open_file

    if path is None:
        return None
    data = open_file(path).data
    read_visits(data, path.name)  # refused once, before any book is judged
    return path.name, data


# What is given beside the books: witnesses, and a list of visits.
_Beside = tuple[list[tuple[str, bytes]], tuple[str, bytes] | None]


def _one(
    path: Path,
    target: Path,
    as_of: dt.date | None,
    size: str | None,
    beside: _Beside,
) -> tuple[Any, tuple[str, ...]]:
    """The audit of one book, and what to say of its papers and of a copy that somebody edited."""
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within
    from siltbook.batch.typed.keeping import put_result
    from siltbook.batch.typed.stamp import stamped

    taken = open_file(path)
    audit = "siltbook.batch.audit.job:audited"
    every = [taken.data, *(data for _, data in beside[0])]
    found, package = within(audit, every, path.name, taken.data, str(path), as_of, *beside)
    result = stamped(package, path.name)
    if size is None:
        return found, put_result(taken, target, result).lines
    from siltbook import __version__
    from siltbook.batch.commands.paper import put_paper
    from siltbook.batch.paper.audit_paper import audit_paper

    pages = audit_paper(found, path.name, taken.data, __version__, size)
    # First, for it may be refused: what is said of an edited copy would not be seen then.
    paper = put_paper(path, target.parent, "audit.pdf", pages)
    return found, (*put_result(taken, target, result).lines, f"Paper: {paper}")


def note_copy(farms: dict[tuple[str, str], Path], path: Path, found: Any) -> None:
    """Say where two books are of one farm and season: perhaps they are copies of one book."""
    from siltbook.batch.report.book import printable
    from siltbook.templates.names import name_key

    settings = found.assessment.book.settings
    if not settings.farm or not settings.season:
        return
    other = farms.setdefault((name_key(settings.farm), settings.season), path)
    if other != path:
        said = (
            f"{other} and {path} are both of {settings.farm}, season {settings.season}: if they "
            f"are copies of one book, 'siltbook merge {other} {path}' brings them together."
        )
        click.echo(printable(said), err=True)
