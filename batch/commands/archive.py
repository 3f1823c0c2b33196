"""The commands for whoever keeps a season: archive, verify and season."""

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
    EPILOG,
    EXIT_BOOK,
    EXIT_FINDINGS,
    JSON,
    PATHS,
    books_of,
    day,
    document,
    end,
    fail,
    failure,
    finish,
    one_of_many,
    refusals,
    while_open,
)


@click.command(epilog=EPILOG)
@PATHS
@AS_OF
@click.option(
    "--to",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR",
    help="Where to write; every book gets a folder of its own in it.",
)
@DEBUG
def archive(books: tuple[Path, ...], as_of: dt.datetime | None, to: Path) -> None:
    """Keep the season of BOOKs in open formats, one folder for each in DIR."""
    from siltbook.batch.archive.folder import put
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within
    from siltbook.batch.report.book import printable
    from siltbook.batch.unjudged import unused

    failures: list[dict[str, str]] = []
    for path in books_of(books, failures):
        target = to / path.stem
        with one_of_many(path, failures):
            data = open_file(path).data
            make = "siltbook.batch.archive.folder:season"
            made = within(make, data, path.name, data, path.name, day(as_of))
            put(made.files, target)
            click.echo(printable(f"{path}: {len(made.files)} files in {target}"))
            for line in unused(made.assessment):
                click.echo(printable(f"  {line}"))
            click.echo(f"  Seal: {made.seal}")
            for line in while_open(None, path):
                click.echo(printable(f"  {line}"))
    finish([], failures, as_json=False, code=0)


@click.command(epilog=EPILOG)
@click.argument("folder", type=ANY_PATH, metavar="DIR")
@click.option("--seal", help="The seal that was noted when the archive was made.")
@JSON
def verify(folder: Path, seal: str | None, as_json: bool) -> None:
    """Say whether the archive DIR (or every archive in DIR) is whole and unchanged."""
    from siltbook.batch.archive.locate import find_archives
    from siltbook.batch.archive.verify import verify
    from siltbook.batch.errors import BookError

    if seal is not None and not seal.strip():
        raise click.UsageError(
            "--seal is empty: give the seal that was noted, or leave the option out."
        )
    with refusals():
        found = find_archives(folder)
        count = len(found.archives)
        if seal and count > 1:
            raise BookError(f"{folder}: a seal is of one archive, and here are {count}.")
    results: list[Any] = []
    failures = [failure(path, said) for path, said in found.refused]
    for path in found.archives:
        with one_of_many(path, failures):
            results.append(verify(path, seal or ""))
            if not as_json:
                _tell(results[-1])
    if as_json:
        click.echo(document({"archives": [_entry(r) for r in results], "failed": failures}))
    end(failures, EXIT_FINDINGS if any(result.troubles for result in results) else 0)


def _tell(result: Any) -> None:
    from siltbook.batch.report.book import printable

    said = "whole and unchanged" if not result.troubles else "NOT as it was archived"
    click.echo(printable(f"{result.path}: {said}; {result.files} files"))
    for line in (*result.troubles, *(f"note: {note}" for note in result.notes)):
        click.echo(printable(f"  {line}"))
    if result.seal:
        click.echo(f"  Seal: {result.seal}")


def _entry(result: Any) -> dict[str, Any]:
    return {
        "path": str(result.path),
        "whole": not result.troubles,
        "seal": result.seal,
        "files": result.files,
        "troubles": list(result.troubles),
        "notes": list(result.notes),
    }


@click.command(epilog=EPILOG)
@click.argument("archives", nargs=-1, required=True, type=ANY_PATH, metavar="ARCHIVE...")
@click.option(
    "--template",
    "target",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="NEXT.xlsx",
    help="The next season's workbook to write.",
)
@click.option("--force", is_flag=True, help="Overwrite NEXT.xlsx if it exists.")
def season(archives: tuple[Path, ...], target: Path, force: bool) -> None:
    """Begin the next season of one farm from its ARCHIVEs, and compare the seasons.

    Register, settings, clean drops and what remained open are carried over from the latest one;
    the sheet Seasons compares them all.
    """
    from siltbook.batch.archive.next_season import refuse_target, start_season
    from siltbook.batch.files import write_whole
    from siltbook.batch.report.book import printable

    if target.suffix.lower() != ".xlsx":
        raise click.UsageError(f"{target}: a workbook to fill ends in .xlsx. Add the ending.")
    _refuse_existing(target, force)
    with refusals():
        refuse_target(target)
        started = start_season(archives, target.name)
        _refuse_existing(target, force)  # judging took a while, in which somebody may have saved
        write_whole(target, started.package)
    click.echo(printable(f"{target}: {started.stations} stations, {started.open} left open"))
    click.echo(printable(f"  Seasons compared: {', '.join(started.seasons)}"))
    if started.behind:
        click.echo(printable(f"  Not in the new workbook, but in {started.last_book}:"))
    for said in started.behind:
        click.echo(printable(f"    {said}"))
    for said in started.left_out:
        fail(said)
    if started.left_out:
        raise click.exceptions.Exit(EXIT_BOOK)


def _refuse_existing(target: Path, force: bool) -> None:
    if os.path.lexists(target) and not force:
        raise click.UsageError(f"{target} exists. Choose another name, or add --force.")
