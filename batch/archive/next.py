"""From the archives of one farm to its next season's workbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from batch.archive import manifest
from batch.archive.carry import next_book
from batch.archive.compare import with_seasons, years
from batch.archive.season import left_open
from batch.archive.verify import find_archives, verify
from batch.errors import BookError
from batch.files import take
from batch.job import assess_bytes
from batch.results import Assessment


@dataclass(frozen=True)
class Begun:
    """The new workbook, and what went into it."""

    package: bytes
    stations: int
    open: int
    seasons: tuple[str, ...]


def begin(paths: Sequence[Path], book_name: str) -> Begun:
    """The next season's workbook from archives (or folders of them) of one farm.

    BookError, one sentence, where an archive is not whole, they are of several farms, or two are
    of the same day.
    """
    folders = list(dict.fromkeys(a for path in paths for a in find_archives(path)))
    seasons = [_assessed(folder) for folder in folders]
    _one_farm(folders, seasons)
    ordered = years(seasons)
    last = ordered[-1].assessment
    return Begun(
        package=with_seasons(next_book(last), ordered, book_name),
        stations=len(last.book.stations.frame),
        open=len(left_open(last)),
        seasons=tuple(year.label for year in ordered),
    )


def _assessed(folder: Path) -> Assessment:
    """The archived season, judged anew; BookError where the archive is not as it was."""
    found = verify(folder, judge_again=False)
    if found.troubles:
        raise BookError(
            f"{folder}: this archive is not whole: {found.troubles[0]} Run 'siltbook verify' on "
            "it, and bring back an unchanged copy."
        )
    listed = manifest.read(take(folder / manifest.NAME).data)
    as_of = dt.date.fromisoformat(listed.as_of) if listed.as_of else None
    return assess_bytes(take(folder / listed.book).data, listed.book, as_of)


def _one_farm(folders: Sequence[Path], seasons: Sequence[Assessment]) -> None:
    first = seasons[0]
    seen: dict[dt.date | None, Path] = {}
    for folder, one in zip(folders, seasons, strict=True):
        farm, other = (a.book.settings.farm for a in (one, first))
        if farm.casefold() != other.casefold():
            raise BookError(
                f"{folder}: is of the farm '{farm}', and {folders[0]} of '{other}'. Give the "
                "archives of one farm."
            )
        if one.as_of in seen:
            raise BookError(
                f"{folder} and {seen[one.as_of]} both end on {one.as_of}. Give each season once."
            )
        seen[one.as_of] = folder
