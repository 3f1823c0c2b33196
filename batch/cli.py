"""The command line: thin commands over the library. Heavy imports stay inside the commands."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from batch import __version__

EXIT_FINDINGS = 1
EXIT_BOOK = 3
EPILOG = (
    "Exit codes: 0 all done; 1 'check' found errors in a book; 2 wrong use of the command; "
    "3 a book could not be read or its result not written (the others were still done)."
)
_PATHS = click.argument(
    "books", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="BOOK..."
)
_AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Judge as of this day (YYYY-MM-DD); else the review date, else the latest entry.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG)
@click.version_option(__version__, prog_name="siltbook")
def main() -> None:
    """Judge drip-irrigation filter stations from a workbook and write the verdicts into it."""


@main.command(epilog=EPILOG)
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--pressure-unit", default="bar", show_default=True, help="bar, kPa, psi, m or kgf/cm2."
)
@click.option("--flow-unit", default="m3/h", show_default=True, help="m3/h, L/s, L/min or gpm.")
@click.option("--farm", default="", help="Farm name to fill in.")
@click.option(
    "--station", "stations", multiple=True, help="A station name; give it again for more."
)
@click.option("--force", is_flag=True, help="Overwrite PATH if it exists.")
def template(
    path: Path,
    pressure_unit: str,
    flow_unit: str,
    farm: str,
    stations: tuple[str, ...],
    force: bool,
) -> None:
    """Write a blank workbook to PATH, ready to be filled."""
    from batch.files import write_whole
    from templates.blank import BlankOptions, build

    if path.suffix.lower() != ".xlsx":
        raise click.UsageError(f"{path}: a blank workbook ends in .xlsx. Add the ending.")
    if path.exists() and not force:
        raise click.UsageError(f"{path} exists. Choose another name, or add --force.")
    try:
        data = build(BlankOptions(pressure_unit, flow_unit, farm, stations))
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    with _refusals():
        write_whole(path, data)
    click.echo(f"Blank workbook: {path}")


@main.command(epilog=EPILOG)
@_PATHS
@_AS_OF
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
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
    with _refusals():
        paths = find_books(books)
    for path in paths:
        try:
            assessment = assess_bytes(take(path).data, str(path), _day(as_of))
        except SiltbookError as error:
            failures.append(_failure(path, str(error)))
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
    _finish(done, failures, as_json, EXIT_FINDINGS if errors else 0)


@main.command(epilog=EPILOG)
@_PATHS
@_AS_OF
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
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
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
    with _refusals():
        todo = orders(find_books(books), out, in_place, _day(as_of))
    outcomes = fulfil_all(todo, jobs)
    with click.progressbar(
        outcomes, len(todo), label="Books", file=sys.stderr, hidden=len(todo) < 2
    ) as bar:
        done = list(bar)
    if not as_json:
        for line in (line for outcome in done for line in outcome.lines):
            click.echo(line)
    failures = [_failure(o.path, o.failure) for o in done if o.failure]
    _finish([o.entry for o in done if not o.failure], failures, as_json, 0)


def _day(moment: dt.datetime | None) -> dt.date | None:
    return None if moment is None else moment.date()


@contextmanager
def _refusals() -> Iterator[None]:
    """A refusal of the library becomes its one line and the documented exit code."""
    from batch.errors import SiltbookError

    try:
        yield
    except SiltbookError as error:
        _fail(str(error))
        raise click.exceptions.Exit(EXIT_BOOK) from error


def _failure(path: Path, message: str) -> dict[str, str]:
    return {"path": str(path), "message": message}


def _fail(message: str) -> None:
    from batch.report import printable

    click.echo(printable(f"siltbook: {message}"), err=True)


def _finish(
    done: list[dict[str, Any]], failures: list[dict[str, str]], as_json: bool, code: int
) -> None:
    if as_json:
        import json

        document = {"books": done, "failed": failures}
        click.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))
    for failure in failures:
        _fail(failure["message"])
    code = EXIT_BOOK if failures else code
    if code:
        raise click.exceptions.Exit(code)
