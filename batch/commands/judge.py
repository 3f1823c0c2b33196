"""The commands that judge books: check and run."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import Any

import click

from batch.commands.shared import (
    AS_OF,
    EPILOG,
    EXIT_FINDINGS,
    JSON,
    PATHS,
    day,
    failure,
    finish,
    refusals,
)


@click.command(epilog=EPILOG)
@PATHS
@AS_OF
@JSON
def check(books: tuple[Path, ...], as_of: dt.datetime | None, as_json: bool) -> None:
    """Say what is wrong or doubtful in BOOKs; changes nothing."""
    from batch.errors import SiltbookError
    from batch.files import find_books, take
    from batch.job import assess_bytes
    from batch.report import book_json, count_findings, printable
    from checks.findings import Severity

    done: list[dict[str, Any]] = []
    failures: list[dict[str, str]] = []
    errors = False
    with refusals():
        paths = find_books(books)
    for path in paths:
        try:
            assessment = assess_bytes(take(path).data, str(path), day(as_of))
        except SiltbookError as error:
            failures.append(failure(path, str(error)))
            continue
        findings = assessment.findings
        errors |= any(f.severity is Severity.ERROR for f in findings)
        done.append(book_json(assessment, str(path), None))
        if not as_json:
            for finding in findings:
                click.echo(
                    printable(f"{path}: {finding.severity} [{finding.rule}] {finding.message}")
                )
            click.echo(f"{path}: {count_findings(findings)}")
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
@JSON
def run(
    books: tuple[Path, ...],
    as_of: dt.datetime | None,
    in_place: bool,
    out: Path | None,
    jobs: int,
    as_json: bool,
) -> None:
    """Judge BOOKs (or all books in a folder) and write result sheets into a copy of each.

    The result goes to NAME.reviewed.xlsx beside the book, unless --in-place or --out is given.
    """
    from batch.files import find_books
    from batch.many import fulfil_all, orders

    if in_place and out is not None:
        raise click.UsageError("--in-place and --out exclude each other. Give one of them.")
    with refusals():
        todo = orders(find_books(books), out, in_place, day(as_of))
    outcomes = fulfil_all(todo, jobs)
    with click.progressbar(
        outcomes, len(todo), label="Books", file=sys.stderr, hidden=len(todo) < 2
    ) as bar:
        done = list(bar)
    if not as_json:
        for line in (line for outcome in done for line in outcome.lines):
            click.echo(line)
    failures = [failure(o.path, o.failure) for o in done if o.failure]
    finish([o.entry for o in done if not o.failure], failures, as_json, 0)
