"""Which folders are archives, and which place belongs to one already."""

from __future__ import annotations

import itertools
import os
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.archive import inventory, manifest
from siltbook.batch.errors import BookError, why
from siltbook.batch.systems import is_junction

MOST_FOLDERS = 20_000  # entries of one folder that are looked at
_MOST_DEEPER = 1_000  # entries of a folder in it that holds no manifest
_TRACES = ("datapackage.json", "verdicts.json", "READ-ME-FIRST.txt")  # files of every archive


@dataclass(frozen=True)
class Found:
    """The archives of one folder, sorted; and the folders of it that could not be looked into.

    `refused` has one whole sentence for each of those.
    """

    archives: tuple[Path, ...]
    refused: tuple[tuple[Path, str], ...] = ()


def find_archives(path: Path) -> Found:
    """The archive at `path`, or those in the folder `path`; BookError where there is none.

    Drafts of archives (their names begin with a dot) and links are no archives; a link is named.
    """
    if not os.path.isdir(path):
        raise BookError(f"{path}: no such folder. Name the folder of an archive.")
    try:
        if os.path.lexists(path / manifest.NAME):
            return Found((path,))
        inside = _inside(path)
    except OSError as error:
        raise BookError(
            f"{path}: cannot be read ({why(error)}). Check the folder's permissions."
        ) from error
    if not inside.archives and not inside.refused:
        raise BookError(
            f"{path}: holds no archive (no {manifest.NAME} in it or in a folder of it). Name the "
            "folder that 'siltbook archive' wrote."
        )
    return inside


def _inside(path: Path) -> Found:
    archives: list[Path] = []
    refused: list[tuple[Path, str]] = []
    with os.scandir(path) as entries:
        for count, entry in enumerate(entries):
            if count >= MOST_FOLDERS:
                raise BookError(
                    f"{path}: holds more than {MOST_FOLDERS:,} files and folders. Name the "
                    "archives one by one."
                )
            if entry.name.startswith("."):
                continue
            at = path / entry.name
            try:
                if entry.is_symlink() or is_junction(entry.stat(follow_symlinks=False)):
                    if os.path.lexists(at / manifest.NAME):
                        refused.append((at, _link(at)))
                elif entry.is_dir() and os.lstat(at / manifest.NAME):
                    archives.append(at)
            except NotADirectoryError:
                continue
            except FileNotFoundError:
                if said := _without_manifest(at):
                    refused.append((at, said))
            except OSError as error:
                said = f"{at}: cannot be read ({why(error)}). Check the folder's permissions."
                refused.append((at, said))
    return Found(tuple(sorted(archives)), tuple(sorted(refused)))


def _without_manifest(at: Path) -> str:
    """What is wrong with a folder that has no manifest; empty where it is no archive at all.

    Passed over, an archive that lost it would be missed by nobody, nor those that lie deeper.
    """
    traces = [name for name in _TRACES if os.path.lexists(at / name)]
    if len(traces) > 1:
        return (
            f"{at}: holds {' and '.join(traces[:2])} of an archive, and no {manifest.NAME}. It is "
            "not as it was archived: fetch a copy that is whole."
        )
    try:
        with os.scandir(at) as entries:
            for entry in itertools.islice(entries, _MOST_DEEPER):
                if _has_manifest(at / entry.name / manifest.NAME):
                    return (
                        f"{at}: holds archives in folders of its own, which were not looked at. "
                        "Name this folder itself."
                    )
    except OSError:
        return ""  # gone meanwhile, or no folder
    return ""


def _link(at: Path) -> str:
    return (
        f"{at}: is a link or a junction, which is not followed from here. Name the folder that it "
        "leads to."
    )


def archive_around(path: Path) -> Path | None:
    """The archive that `path` is, or would lie in; None where there is none.

    Whatever is written into an archive makes it one that is not as it was.
    """
    resolved = Path(os.path.realpath(path))
    for folder in (resolved, *resolved.parents):
        if _has_manifest(folder / manifest.NAME):
            return folder
    return None


def _has_manifest(path: Path) -> bool:
    """Whether this is a manifest of ours, even damaged; other programs use the name too."""
    try:
        size = os.lstat(path).st_size
        return size <= manifest.LARGEST and manifest.MARK in inventory.read(path, size)
    except OSError:
        return False
