"""What the commands share: common options, refusals in one line, and the end with its exit code."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

EXIT_FINDINGS = 1
EXIT_BOOK = 3
EPILOG = (
    "Exit codes: 0 all done; 1 'check' found errors in a book, 'audit' something to look at, or "
    "'verify' an archive that is not as it was; 2 wrong use of the command; 3 a book could not be "
    "read or its result not written (the others were still done)."
)
PATHS = click.argument(
    "books", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="BOOK..."
)
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Judge as of this day (YYYY-MM-DD); else the review date, else the latest entry.",
)
JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON document instead of text."
)


def day(moment: dt.datetime | None) -> dt.date | None:
    return None if moment is None else moment.date()


@contextmanager
def refusals() -> Iterator[None]:
    """A refusal of the library becomes its one line and the documented exit code."""
    from batch.errors import SiltbookError

    try:
        yield
    except SiltbookError as error:
        fail(str(error))
        raise click.exceptions.Exit(EXIT_BOOK) from error


def failure(path: Path, message: str) -> dict[str, str]:
    return {"path": str(path), "message": message}


def fail(message: str) -> None:
    from batch.report.book import printable

    click.echo(printable(f"siltbook: {message}"), err=True)


def finish(
    done: list[dict[str, Any]], failures: list[dict[str, str]], as_json: bool, code: int
) -> None:
    if as_json:
        import json

        document = {"books": done, "failed": failures}
        click.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))
    for one in failures:
        fail(one["message"])
    code = EXIT_BOOK if failures else code
    if code:
        raise click.exceptions.Exit(code)
