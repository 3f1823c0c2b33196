"""Files that an icon is made of: each carries a mark, and without it a file is never touched."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.errors import BookError, why
from siltbook.batch.files import make_folder
from siltbook.batch.systems import remove, remove_tree
from siltbook.batch.window.icon import MARK

_MARKS = (MARK, MARK.decode().encode("utf-16-le"))  # Windows writes its shortcuts' words so
_BUNDLE_MARK = Path("Contents", "Resources", "siltbook.txt")


@dataclass(frozen=True)
class Place:
    """Where a piece of the icon goes, and what a person calls it ('Menu', 'Desktop')."""

    called: str
    path: Path


def bundle_mark(bundle: Path) -> Path:
    """The file in a macOS bundle that carries the mark."""
    return bundle / _BUNDLE_MARK


def is_ours(path: Path) -> bool:
    """Whether a piece was made by this program; a link where it leads to one, or to nothing."""
    if path.is_symlink():
        return Path(os.readlink(path)).name == path.name and (
            not path.exists() or is_ours(path.resolve())
        )
    marked = bundle_mark(path) if path.is_dir() else path
    try:
        data = marked.read_bytes()
    except OSError:
        return False
    return any(mark in data for mark in _MARKS)


def refuse_others(places: Iterable[Place]) -> None:
    """BookError where something that is not ours lies in one of the places."""
    for path in (place.path for place in places):
        if os.path.lexists(path) and not is_ours(path):
            raise BookError(
                f"{path}: was not made by 'siltbook shortcut', so nothing was changed. Move it"
                " away or rename it, then try again."
            )


def make_room(folder: Path) -> None:
    """The folder for a piece, made where it is missing; BookError."""
    make_folder(folder, "Check the permissions.")


def take_away(places: Iterable[Place]) -> list[str]:
    """Remove the pieces that are ours; a line for each, and for each that is another's."""
    said = []
    for place in places:
        if not os.path.lexists(place.path):
            continue
        if not is_ours(place.path):
            said.append(f"{place.path}: was not made by 'siltbook shortcut', so it stays.")
            continue
        _remove(place.path)
        said.append(f"{place.called}: {place.path} was removed.")
    return said


def _remove(path: Path) -> None:
    try:
        if path.is_dir() and not path.is_symlink():
            remove_tree(path)
        else:
            remove(path)
    except OSError as error:
        raise BookError(f"{path}: cannot be removed ({why(error)}). Remove it by hand.") from error
