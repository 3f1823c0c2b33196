"""The commands that judge books: check and run."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from siltbook.batch.commands.shared import (
    AS_OF,
    DEBUG,
    EPILOG,
    EXIT_FINDINGS,
    JSON,
    PATHS,
    books_of,
    day,
    finish,
    one_of_many,
    refusals,
    tell_cautions,
)
from siltbook.batch.commands.stream import Stream

if TYPE_CHECKING:
    from siltbook.batch.many import Outcome
    from siltbook.templates.safety import Touch


@click.command(epilog=EPILOG)
@PATHS
@AS_OF
@JSON
@DEBUG
def check(books: tuple[Path, ...], as_of: dt.datetime | None, as_json: bool) -> None:
    """Say what is wrong or doubtful in BOOKs; changes nothing."""
    from siltbook.batch.cautions import touched_for
    from siltbook.batch.files import lock_note, open_file
    from siltbook.batch.guard import within
    from siltbook.batch.report.book import book_json, count_findings, printable
    from siltbook.batch.report.findings import finding_lines
    from siltbook.checks.findings import Severity
    from siltbook.templates.safety import cautions

    done: list[dict[str, Any]] = []
    failures: list[dict[str, str]] = []
    errors = False
    touched: set[Touch] = set()
    paths = books_of(books, failures)
    for path in paths:
        with one_of_many(path, failures):
            data = open_file(path).data
            judge = "siltbook.batch.job:assess_bytes"
            assessment = within(judge, data, path.name, data, str(path), day(as_of))
            findings = assessment.findings
            errors |= any(f.severity is Severity.ERROR for f in findings)
            if as_json:
                done.append(book_json(assessment, str(path), None))
                continue
            touched |= touched_for(findings)
            said = [f"{path}: {line}" for line in finding_lines(findings)]
            said += [f"{path}: {count_findings(findings)}", lock_note(path)]
            for line in filter(None, said):
                click.echo(printable(line))
    tell_cautions(cautions(touched))
    finish(done, failures, as_json, EXIT_FINDINGS if errors else 0)


@click.command(epilog=EPILOG)
@PATHS
@AS_OF
@click.option(
    "--in-place", is_flag=True, help="Replace each book; the previous one is kept beside it."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Collect results in this folder.",
)
@click.option(
    "--jobs", type=click.IntRange(min=1), default=1, show_default=True, help="Processes to use."
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Judge on the Dask cluster with its scheduler at ADDRESS, for example tcp://host:8786.",
)
@JSON
@DEBUG
def run(
    books: tuple[Path, ...],
    as_of: dt.datetime | None,
    in_place: bool,
    out: Path | None,
    jobs: int,
    cluster: str | None,
    as_json: bool,
) -> None:
    """Judge BOOKs (or all books in a folder) and write result sheets into a copy of each.

    The result goes to NAME.reviewed.xlsx beside the book, unless --in-place or --out is given.
    """
    from siltbook.batch.many import orders, process_books

    if in_place and out is not None:
        raise click.UsageError("--in-place and --out exclude each other. Give one of them.")
    if cluster is not None and jobs > 1:
        raise click.UsageError("--cluster and --jobs exclude each other. Give one of them.")
    stream = Stream(as_json)
    with refusals():
        todo = orders(books_of(books, stream.failures), out, in_place, day(as_of))
    if cluster is None:
        outcomes = process_books(todo, jobs)
    else:
        from siltbook.batch.cluster import process_on_cluster

        outcomes = process_on_cluster(todo, cluster)
    with _progress(outcomes, len(todo)) as bar, stream, refusals():
        for outcome in bar:
            stream.tell(outcome)
    stream.end()


def _progress(outcomes: Iterator[Outcome], count: int) -> AbstractContextManager[Iterable[Outcome]]:
    """A bar on the terminal where the results themselves go elsewhere and show nothing there."""
    hidden = count < 2 or sys.stdout.isatty()
    return click.progressbar(outcomes, count, label="Books", file=sys.stderr, hidden=hidden)
