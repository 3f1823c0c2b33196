"""From the archives of one farm to its next season's workbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.archive.carry_register import next_book
from siltbook.batch.archive.compare import with_seasons, years
from siltbook.batch.archive.left_behind import left_behind
from siltbook.batch.archive.locate import archive_around, find_archives
from siltbook.batch.archive.season import left_open
from siltbook.batch.archive.verify import verify
from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.files import open_file
from siltbook.batch.job import assess_bytes
from siltbook.batch.results import Assessment
from siltbook.templates.names import name_key


@dataclass(frozen=True)
class StartedSeason:
    """The new workbook, what went into it, and one sentence for each archive that did not.

    `behind` says what stays in the last season's workbook `last_book` alone.
    """

    package: bytes
    stations: int
    open: int
    seasons: tuple[str, ...]
    left_out: tuple[str, ...]
    behind: tuple[str, ...] = ()
    last_book: str = ""


@dataclass(frozen=True)
class _Broken:
    """An archive that cannot be used; `as_of` as its own sound manifest says, None if unknown."""

    said: str
    as_of: dt.date | None


def start_season(paths: Sequence[Path], book_name: str) -> StartedSeason:
    """The next season's workbook from archives (or folders of them) of one farm.

    An archive that cannot be used is left out where it surely ends before another one. BookError,
    one sentence, where it may be the latest, where they are of several farms, or two are of the
    same day.
    """
    try:
        return _start_season(paths, book_name)
    except MemoryError:
        raise BookError(
            "The archives are too large for this machine's memory. Give fewer of them."
        ) from None


def _start_season(paths: Sequence[Path], book_name: str) -> StartedSeason:
    seasons: dict[Path, Assessment] = {}
    broken: list[_Broken] = []
    for path in paths:
        found = find_archives(path)
        broken += [_Broken(said, None) for _, said in found.refused]
        for folder in found.archives:
            if folder not in seasons:
                one = _assessed(folder)
                if isinstance(one, _Broken):
                    broken.append(one)
                else:
                    seasons[folder] = one
    _refuse_unless_older(broken, [one.as_of for one in seasons.values()])
    _one_farm(seasons)
    _refuse_undated(seasons)
    ordered = years(list(seasons.values()))
    last = ordered[-1].assessment
    folder = next(path for path, one in seasons.items() if one is last)
    last_book = folder / last.book.path
    return StartedSeason(
        package=with_seasons(next_book(last), ordered, book_name),
        stations=len(last.book.stations.frame),
        open=len(left_open(last)),
        seasons=tuple(year.label for year in ordered),
        behind=left_behind(last, open_file(last_book).data, last_book.name),
        last_book=str(last_book),
        left_out=tuple(f"{one.said} The seasons were compared without it." for one in broken),
    )


def refuse_target(target: Path) -> None:
    """BookError where the new workbook would lie inside an archive, which it would change."""
    around = archive_around(target)
    if around is not None:
        raise BookError(
            f"{target}: lies inside the archive {around}, and nothing may be changed in that. "
            "Choose another folder."
        )


def _assessed(folder: Path) -> Assessment | _Broken:
    """The archived season, judged anew; or why it cannot be, as a whole sentence."""
    try:
        found = verify(folder, judge_again=False)
    except SiltbookError as error:
        return _Broken(str(error), None)
    listed = found.listed
    as_of = dt.date.fromisoformat(listed.as_of) if listed and listed.as_of else None
    if listed is None or found.troubles:
        said = f"{folder}: this archive is not whole: {found.troubles[0]}"
        mend = "Run 'siltbook verify' on it, and bring back an unchanged copy."
        return _Broken(f"{said} {mend}", as_of)
    try:
        return assess_bytes(open_file(folder / listed.book).data, listed.book, as_of)
    except SiltbookError as error:
        return _Broken(f"{folder}: {error}", as_of)


def _refuse_unless_older(broken: Sequence[_Broken], used: Sequence[dt.date | None]) -> None:
    """A season begun from the last but one would carry over what is out of date."""
    latest = max((day for day in used if day is not None), default=None)
    for one in broken:
        if not used:
            raise BookError(one.said)
        if latest is None or one.as_of is None or one.as_of >= latest:
            raise BookError(
                f"{one.said} It may be the latest season, so nothing was begun without it: move "
                "it away if it is not."
            )


def _refuse_undated(seasons: dict[Path, Assessment]) -> None:
    """A season without an entry may be the latest: what its register says would be lost."""
    undated = next((folder for folder, one in seasons.items() if one.as_of is None), None)
    if undated is not None and len(seasons) > 1:
        raise BookError(
            f"{undated}: its book has no entry and no review date, so it cannot be told whether it "
            "is the latest season. Archive the book anew with '--as-of DAY', or give the archive "
            "alone; nothing was begun."
        )


def _one_farm(seasons: dict[Path, Assessment]) -> None:
    (first_folder, first), *_ = seasons.items()
    seen: dict[dt.date | None, Path] = {}
    for folder, one in seasons.items():
        farm, other = (a.book.settings.farm for a in (one, first))
        if name_key(farm) != name_key(other):
            raise BookError(
                f"{folder}: is of the farm '{farm}', and {first_folder} of '{other}'. Give the "
                "archives of one farm."
            )
        if one.as_of in seen:
            on = one.book.settings.shown.on(one.as_of, "no date")
            raise BookError(
                f"{folder} and {seen[one.as_of]} both end on {on}. Give each season "
                "once. Copies of one season's book are brought together by 'siltbook merge'."
            )
        seen[one.as_of] = folder
