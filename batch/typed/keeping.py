"""Puts a result in its place and loses nothing that somebody typed into the one before."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from siltbook.batch.errors import SiltbookError
from siltbook.batch.files import NO_FILE, OpenedFile, Stamp, open_file, replace_book, write_aside
from siltbook.batch.guard import within
from siltbook.batch.typed.boxes import OF_FARM, Box, Filled
from siltbook.batch.typed.stamp import untouched


@dataclass(frozen=True)
class Said:
    """What is to be said of the file that was there: its new name, why, and all of it in lines."""

    lines: tuple[str, ...] = ()
    kept: Path | None = None
    why: str = ""


def boxes_in(target: Path | None, book: Path) -> tuple[Box, ...]:
    """What is filled in on the sheet Actions of the result that is there; nothing without one.

    Beside its book it is of that book, whatever the farm was called then.
    """
    if target is None or not os.path.isfile(target):
        return ()
    read = "siltbook.batch.typed.boxes:read_boxes"
    try:
        data = open_file(target).data
        filled: Filled = within(read, data, target.name, data, target.name)
        if _elsewhere(target, book):
            return filled.boxes
        return tuple(replace(box, farm="") for box in filled.boxes)
    except SiltbookError:
        return ()


def _elsewhere(target: Path, book: Path) -> bool:
    return target.parent.resolve() != book.parent.resolve()


def put_result(
    taken: OpenedFile, target: Path | None, package: bytes, ended: Sequence[Box] = ()
) -> Said:
    """Put a result at `target`, or in the book's own place; keep what was there if it was edited.

    `ended` are filled boxes of it that are not in `package`. BookError where it cannot be written.
    """
    if target is None:
        return _in_place(taken, package, ended)
    why = ""
    over = [box for box in ended if not box.elsewhere]
    others = [box for box in ended if box.elsewhere]

    def look() -> tuple[Stamp, bool]:
        nonlocal why
        stamp, why = _looked_at(target, package, taken.path)
        if others and not why.startswith(OF_FARM):
            why = f"{OF_FARM} '{others[0].farm}'; Actions: boxes filled for {_stations(others)}"
        if over and not why:
            why = f"Actions: boxes filled for {_stations(over)}, which needs them no more"
        return stamp, bool(why)

    kept = write_aside(target, package, look)
    if kept is None:
        return Said()
    why = why or "it was saved while the book was judged"
    book, aside = shown(taken.path), shown(kept)
    if why.startswith(OF_FARM):
        line = (
            f"{target.name} holds what somebody typed ({why}): it is kept as {kept}; give its book "
            "and this one names of their own, or each a folder by --out."
        )
    else:
        line = (
            f"{target.name} was edited since Siltbook wrote it ({why}): it is kept as {kept}; "
            f"'siltbook merge {book} {aside}' brings its rows back into the book."
        )
    return Said((line, *_offered(over, kept, taken.path)), kept, why)


def _in_place(taken: OpenedFile, package: bytes, ended: Sequence[Box]) -> Said:
    """Put a result into its book's own place and say what stood on the sheets that it replaces."""
    kept = replace_book(taken, package)
    offered = tuple(_offered(ended, kept, taken.path))
    goes = "siltbook.batch.typed.replaced:what_goes"
    name = taken.path.name
    try:
        why, doubt = within(goes, (taken.data, package), name, taken.data, package, name)
    except SiltbookError:
        why, doubt = "", "the earlier ones take too much time or memory to be compared"
    if not why and not doubt:
        return Said(offered)
    line = f"{name}: its result sheets were replaced, as at every run"
    if why:
        line += f", and what people put there is not on the new ones ({why})"
    line += f"; {doubt}. If somebody typed there, it stands" if doubt else ". The book as it was is"
    line += f" {'' if doubt else 'kept '}in {kept}, from which you can copy it. "
    line += "Rows, notes and pictures on your own sheets stay where they are."
    return Said((line, *offered), kept, why or doubt)


def _looked_at(target: Path, package: bytes, book: Path) -> tuple[Stamp, str]:
    """The stamp of the file that is there, and why it is to be kept."""
    book_name, far = book.name, _elsewhere(target, book)
    try:
        there = open_file(target)
    except SiltbookError:
        return NO_FILE, "it cannot be read"
    if untouched(there.data, book_name):
        return there.stamp, ""
    differs = "siltbook.batch.typed.edited:what_differs"
    try:
        why = within(differs, there.data, target.name, there.data, package, book_name, far)
    except SiltbookError:
        return there.stamp, "it takes too much time or memory to be compared"
    return there.stamp, str(why)


def _stations(boxes: Sequence[Box]) -> str:
    names = ", ".join(box.station for box in boxes[:6])
    return names + (f" and {len(boxes) - 6} more" if len(boxes) > 6 else "")


def _offered(ended: Sequence[Box], kept: Path, book: Path) -> Iterator[str]:
    """What to do with boxes of stations that need nothing more or are over anew, and of second
    lines of one station.
    """
    for box in ended[:6]:
        if box.second:
            yield f"{box.station}: its further line on Actions, {box.words}, is not on the new one."
        else:
            yield f"{box.station}: its episode is over; on Actions stood {box.words}."
    if ended:
        more = f" ({len(ended)} stations)" if len(ended) > 6 else ""
        yield (
            f"'siltbook agree {shown(kept)} {shown(book)}' takes what was filled in over to the "
            f"sheet Agreed{more}."
        )


def shown(path: Path) -> str:
    """A path as it can be typed behind a command."""
    said = str(path)
    return f'"{said}"' if any(c.isspace() for c in said) else said
