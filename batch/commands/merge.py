"""The command that brings copies of one season's book together."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import ANY_PATH, EPILOG, refusals, though_protected, while_open

if TYPE_CHECKING:
    from siltbook.batch.merging.job import Merged

_NOTHING = "nothing to bring together"
_SHOWN = 20  # conflicts that are listed on the terminal


@click.command(epilog=EPILOG)
@click.argument("book", type=ANY_PATH)
@click.argument("copies", nargs=-1, type=ANY_PATH, metavar="[COPY]...")
@click.option("--base", type=ANY_PATH, help="The book as it was when the copies were made.")
@click.option("--out", type=ANY_PATH, help="Write the merged book here; BOOK stays as it is.")
def merge(book: Path, copies: tuple[Path, ...], base: Path | None, out: Path | None) -> None:
    """Bring the rows that people typed into COPYs of BOOK back into BOOK.

    Where the copies differ, BOOK keeps its own, and the sheet Conflicts asks: choose there, and
    run merge with BOOK again to carry it out. The previous book is kept beside it.
    """
    from siltbook.batch.files import open_file, replace_book, sweep, write_new
    from siltbook.batch.guard import within
    from siltbook.batch.report.book import printable

    with refusals():
        taken = open_file(book)
        given = [(open_file(copy).data, copy.name) for copy in copies]
        before = (open_file(base).data, base.name) if base else None
        if out is not None:
            _refuse_existing(out)
        sweep(book.parent)
        every = [taken.data, *(data for data, _ in (*given, *filter(None, [before])))]
        merge_ = "siltbook.batch.merging.job:merge_bytes"
        merged = within(merge_, every, book.name, (taken.data, book.name), given, before)
        kept, shut = None, though_protected(taken.data, merged.data, book.name)
        if out is not None:
            write_new(out, merged.data or taken.data, _taken(out))
        elif merged.data is not None:
            kept = replace_book(taken, merged.data)
    read = (*copies, *filter(None, [base]), *([] if kept else [book]))
    notes = while_open(book if kept else None, *read)
    for line in (*lines(merged, out or book, kept), shut, *notes):
        if line:
            click.echo(printable(line))


def _refuse_existing(out: Path) -> None:
    from siltbook.batch.errors import BookError

    if os.path.lexists(out):
        raise BookError(_taken(out))


def _taken(out: Path) -> str:
    return f"{out} exists and was not replaced: give another name by --out."


def lines(merged: Merged, book: Path, kept: Path | None) -> Iterator[str]:
    """What became of a merge."""
    from siltbook.batch.merging.points import WHAT, said, which

    parts = [f"{n} row{'s' * (n != 1)} added to {sheet}" for sheet, n in merged.added.items()]
    if merged.changed:
        parts.append(f"{merged.changed} cell{'s' * (merged.changed != 1)} filled or changed")
    if merged.emptied:
        parts.append(f"{merged.emptied} row{'s' * (merged.emptied != 1)} emptied")
    if merged.taken or merged.kept:
        parts.append(f"choices carried out: {merged.taken} taken, {merged.kept} kept")
    yield f"{book}: {'; '.join(parts) or _NOTHING}."
    waiting, say = merged.waiting, partial(said, shown=merged.shown)
    for point in waiting[:_SHOWN]:
        values = f"{say(point.mine)!r} here, {say(point.theirs)!r} in {point.file}"
        if point.row:
            values = "; ".join(say(value) for _, value in point.row)
        where = " / ".join(filter(None, (point.cell, point.there)))
        by = " / ".join(filter(None, (point.by, point.their_by)))
        about = ", ".join(filter(None, (which(point.key, merged.shown), point.titled)))
        who = f" (by {by})" if by else ""
        yield f"  {point.sheet}, {about}: {WHAT[point.op]}: {values} [{where}]{who}"
    if len(waiting) > _SHOWN:
        yield f"  and {len(waiting) - _SHOWN} more."
    if waiting:
        yield (
            f"  {len(waiting)} on the sheet Conflicts: choose there, save, and run 'siltbook merge "
            f"{book}' to carry it out."
        )
    if kept:
        yield f"  Previous book: {kept}"
