"""The command adopt: old spreadsheets and logger files into a book, by a mapping."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import EPILOG, refusals, though_protected, while_open

if TYPE_CHECKING:
    from siltbook.batch.adopt.into import Filled
    from siltbook.batch.adopt.job import Adoption, Source
    from siltbook.batch.errors import BookError

_SHOWN = 20  # of a list on the terminal
_CONFLICTS = 500  # each is a row that stands in the source alone


@click.command(epilog=EPILOG)
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--mapping", type=click.Path(path_type=Path), help="The mapping as corrected; makes the book."
)
@click.option("--into", type=click.Path(path_type=Path), help="The book that takes the rows.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Path of the mapping, or of a new book."
)
def adopt(
    sources: tuple[Path, ...], mapping: Path | None, into: Path | None, out: Path | None
) -> None:
    """Read SOURCEs as people keep them (.xlsx, .xlsm, .ods, .xls, .csv) and fill a book from them.

    Without --mapping nothing is filled: a workbook SOURCE.mapping.xlsx says how each column was
    understood and asks what only a person knows. With it, as corrected, the rows enter a new book,
    or with --into an existing one, whose other cells do not change.

    'adopt BOOK --into BOOK' adds the stations that only its Readings name to its register.
    """
    from siltbook.batch.files import open_file, stamp_of, sweep
    from siltbook.batch.report.book import printable

    with refusals():
        was = stamp_of(into) if into is not None and os.path.exists(into) else None
        if into is not None and len(sources) == 1 and _same(sources[0], into):
            lines = list(_register(into))
        else:
            from siltbook.batch.adopt.job import Source

            read = [Source(p, open_file(p).data) for p in sources]
            sweep(sources[0].parent)
            lines = list(_fill(read, mapping, into, out) if mapping else _first(read, into, out))
    other = [p for p in (*sources, *filter(None, [mapping])) if into is None or not _same(p, into)]
    if into is not None and stamp_of(into) == was:
        other, into = [*other, into], None  # nothing was written to it
    for line in (*lines, *while_open(into, *other)):
        click.echo(printable(line))


def _same(one: Path, other: Path) -> bool:
    return os.path.exists(one) and os.path.exists(other) and one.samefile(other)


def _register(into: Path) -> Iterator[str]:
    from siltbook.batch.files import open_file, replace_book
    from siltbook.batch.guard import within

    taken = open_file(into)
    fill = "siltbook.batch.adopt.into:fill_register"
    filled = within(fill, taken.data, str(into), taken.data, str(into))
    if filled.data is None:
        yield f"{into}: its register has every station of its lists; nothing was changed."
        return
    kept = replace_book(taken, filled.data)
    names = _listed(filled.stations)
    yield f"{into}: {len(filled.stations)} stations added to the register: {names}"
    yield f"  The book as it was: {kept}"


def _names_of(into: Path | None) -> dict[str, str]:
    """The names by which the book that is to be filled knows its stations."""
    if into is None:
        return {}
    from siltbook.batch.adopt.into import spelt_names
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within

    data = open_file(into).data
    read = within("siltbook.batch.reading.book:read_book", data, str(into), data, str(into))
    return spelt_names(read.book)


def _adoption(function: str, read: list[Source], *arguments: object) -> Adoption:
    """What adoption's `function` makes of sources; workbooks among them go through the guard."""
    from siltbook.batch.adopt.sources import is_text
    from siltbook.batch.guard import within

    books = [s.data for s in read if not is_text(s.path)]
    names = ", ".join(s.path.name for s in read)
    seen: Adoption = within(f"siltbook.batch.adopt.job:{function}", books, names, read, *arguments)
    return seen


def _first(read: list[Source], into: Path | None, out: Path | None) -> Iterator[str]:
    """Without a mapping: make one, and say what it holds."""
    from siltbook.batch.adopt.mapping import write

    seen = _adoption("look", read, _names_of(into))
    target = out or _mapping_path(read)
    again = _command(read, target, into)
    _new_file(target, write(seen.made, seen.asked, seen.rows, _prints(read), again))
    yield from _understood(seen)
    yield f"  Mapping: {target}"
    for question in seen.asked[:_SHOWN]:
        yield f"  Question: {question.text}"
    said = "Answer the questions in it" if seen.asked else "Look through it"
    yield f"  {said}, save it, then: {again}"


def _understood(seen: Adoption) -> Iterator[str]:
    from siltbook.batch.adopt.hidden import sentence
    from siltbook.batch.adopt.loud import sentences

    made, rows = seen.made, seen.rows
    yield (
        f"{len(made.tables)} tables with {made.columns} kinds of columns understood, "
        f"{len(seen.asked)} questions; {len(rows.readings)} readings would arrive."
    )
    yield _counted(rows.read, rows.used, rows.proposed, rows.not_used, "sheet Left out")
    yield from (f"  {said}" for said in sentences(made.tables, rows))
    if hidden := sentence(made.tables):
        yield f"  {hidden}"


def _counted(read: int, used: int, proposed: int, left: int, where: str) -> str:
    return f"  Read {read} rows: used {used}, proposed {proposed}, left out {left} ({where})."


def _mapping_path(read: list[Source]) -> Path:
    first = read[0].path
    target = first.with_name(f"{first.stem}.mapping.xlsx")
    number = 2
    while os.path.lexists(target):
        target = first.with_name(f"{first.stem}.mapping-{number}.xlsx")
        number += 1
    return target


def _prints(read: list[Source]) -> dict[str, str]:
    return {s.path.name: s.print for s in read}


def _command(read: list[Source], mapping: Path, into: Path | None) -> str:
    from siltbook.batch.systems import as_typed

    words = ["siltbook", "adopt", *(str(s.path) for s in read), "--mapping", str(mapping)]
    return as_typed([*words, "--into", str(into)] if into else words)


def _new_file(target: Path, data: bytes) -> None:
    """Write a file that is not there yet: nothing of anybody's is replaced."""
    from siltbook.batch.files import make_folder, write_new

    make_folder(target.parent)
    taken = f"{target} is there already; give another path with --out, or move it away."
    write_new(target, data, taken)


def _fill(read: list[Source], mapping: Path, into: Path | None, out: Path | None) -> Iterator[str]:
    """With a mapping: the rows into a new book or an existing one."""
    from siltbook.batch.adopt.into import new_book
    from siltbook.batch.adopt.loud import sentences
    from siltbook.batch.files import open_file, replace_book
    from siltbook.batch.guard import within

    data = open_file(mapping).data
    corrected = "siltbook.batch.adopt.corrected:read_mapping"
    told = within(corrected, data, mapping.name, data, mapping.name)
    seen = _adoption("use", read, told, _names_of(into))
    if seen.asked:
        raise _further(seen, read, into, mapping)
    rows = seen.rows
    if into is None:
        target = out or read[0].path.with_name(f"{read[0].path.stem}.book.xlsx")
        filled = new_book(rows, seen.work, read[0].path.stem)
        _new_file(target, filled.data or b"")
        rows_in = f"{filled.readings} readings, {filled.work} rows of work"
        yield f"{target}: {rows_in}, {len(filled.stations)} stations."
    else:
        taken = open_file(into)
        fill = "siltbook.batch.adopt.into:fill"
        filled = within(fill, taken.data, str(into), taken.data, str(into), rows, seen.work)
        shut = though_protected(taken.data, filled.data, str(into))
        kept = replace_book(taken, filled.data) if filled.data else None
        yield from _entered(filled, into, kept)
        yield from filter(None, [shut])
        target = into
    yield _counted(
        rows.read, rows.used, rows.proposed, rows.not_used, f"{mapping.name}, sheet Left out"
    )
    yield from (f"  {said}" for said in sentences(seen.made.tables, rows))
    yield from _not_entered(seen, read, into)
    yield f"  Then: siltbook run {target}"


def _further(seen: Adoption, read: list[Source], into: Path | None, mapping: Path) -> BookError:
    """The refusal where answers raised further questions: they stand in a mapping of their own."""
    from siltbook.batch.adopt.mapping import write
    from siltbook.batch.errors import BookError

    target = _mapping_path(read)
    again = _command(read, target, into)
    _new_file(target, write(seen.made, seen.asked, seen.rows, _prints(read), again))
    return BookError(
        f"{mapping.name}: its answers raise a further question: {seen.asked[0].text} It stands in "
        f"{target}, with the answers given before; look through its Proposed work anew, answer and "
        f"run: {again}. Nothing was changed."
    )


def _entered(filled: Filled, into: Path, kept: Path | None) -> Iterator[str]:
    if kept is None:
        count = len(filled.conflicts)
        many = f"{count} conflict{'' if count == 1 else 's'}"
        yield f"{into}: nothing to add; {filled.already} rows were there already, {many}."
    else:
        yield (
            f"{into}: {filled.readings} readings, {filled.work} rows of work and "
            f"{len(filled.stations)} stations added; {filled.already} rows were there already."
        )
        yield f"  The book as it was: {kept}"
    for conflict in filled.conflicts[:_CONFLICTS]:  # the newest first
        yield f"  Conflict: {conflict}"
    if len(filled.conflicts) > _CONFLICTS:
        yield f"  and {len(filled.conflicts) - _CONFLICTS} conflicts more, all of them older."


def _not_entered(seen: Adoption, read: list[Source], into: Path | None) -> Iterator[str]:
    """Work that notes of a file speak of which the mapping has not seen: shown, not entered."""
    from siltbook.batch.adopt.mapping import write

    if not seen.new_work:
        return
    target = _mapping_path(read)
    rows = replace(seen.rows, work=seen.new_work)
    _new_file(target, write(seen.made, [], rows, _prints(read), _command(read, target, into)))
    yield (
        f"  {len(seen.new_work)} rows of work are proposed and not entered: see {target}, then:"
        f" {_command(read, target, into)}"
    )


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more
