"""The files of one archived season, made in memory and then put into place as one folder."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from siltbook import __version__
from siltbook.batch.archive import manifest
from siltbook.batch.archive.descriptor import descriptor, path_of
from siltbook.batch.archive.inventory import MOST_BOOK
from siltbook.batch.archive.locate import archive_around
from siltbook.batch.archive.summary import summary
from siltbook.batch.archive.tables import as_csv, tables
from siltbook.batch.errors import BookError, why
from siltbook.batch.files import DRAFT, reviewed_path, sweep
from siltbook.batch.fingerprint import digest
from siltbook.batch.job import review_bytes
from siltbook.batch.report.book import book_json
from siltbook.batch.results import Assessment
from siltbook.batch.systems import sync_folder, umask

PACKAGE, VERDICTS, SUMMARY, ABOUT = (
    "datapackage.json",
    "verdicts.json",
    "season-summary.pdf",
    "READ-ME-FIRST.txt",
)
_LONGEST_NAME = 240  # [bytes]; most systems take 255
_RESERVED = {
    "con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)),
}  # fmt: skip
_ABOUT = """\
A season of filter-station readings, kept in open formats.

{book}
    the workbook as it was, byte for byte.
{reviewed}
    the same workbook with the result sheets.
season-summary.pdf
    the season on one page.
data/*.csv
    every sheet that people filled, as it was read, and the verdicts, runs, drops and findings.
    UTF-8, commas, one header line. Lengths of water in metres (9 806.65 Pa each), flows in m3/h.
    'row' is the row of the workbook's sheet. Text that begins with = + - or @ has an apostrophe
    in front of it, so that no spreadsheet takes it for a formula. Own columns and own sheets of
    the farm are in the workbook only.
datapackage.json
    what each column of data/*.csv means: a Data Package (Frictionless Data, version 1).
verdicts.json
    the verdicts as one document for programs.
manifest.json
    the SHA-256 of every file, the version that made them, and a seal over the list.

Nothing here needs a special program to be read. 'siltbook verify' checks every file against the
manifest and judges the workbook again. Keep the seal somewhere else, for example in the minutes
of the meeting: with it, even a list that was made anew is found out.

Made by siltbook {version} from {book}, as of {as_of}.
"""


@dataclass(frozen=True)
class Season:
    """One archived season: its assessment, and path inside the archive -> bytes of every file."""

    assessment: Assessment
    files: dict[str, bytes]
    seal: str


def season(data: bytes, book: str, as_of: dt.date | None = None) -> Season:
    """Everything that the archive of one book holds; the same book gives the same bytes.

    `book` is the file name of the workbook. BookError or GraftError, one sentence, where the
    book cannot be read or cannot take the result sheets.
    """
    _refuse_name(book)
    if len(data) > MOST_BOOK:
        raise BookError(
            f"{book}: {len(data) // 2**20:,} MiB; an archive takes books of up to "
            f"{MOST_BOOK // 2**20} MiB. Take pictures and other heavy parts out of it."
        )
    reviewed = review_bytes(data, book, book, as_of)
    assessment = reviewed.assessment
    made = tables(assessment)
    csv = {table.name: as_csv(table) for table in made}
    settings = assessment.book.settings
    title = " ".join(t for t in (settings.farm, settings.season) if t) or book
    document = _rounded(book_json(assessment, book, _reviewed_name(book)))
    files = {
        book: data,
        _reviewed_name(book): reviewed.package,
        PACKAGE: manifest.as_json(descriptor(made, csv, book, title, __version__)),
        VERDICTS: manifest.as_json(document),
        SUMMARY: summary(assessment, book, __version__),
        ABOUT: _about(book, assessment).encode(),
        **{path_of(table): csv[table.name] for table in made},
    }
    listed = manifest.Manifest(
        version=__version__,
        book=book,
        as_of=assessment.as_of.isoformat() if assessment.as_of else None,
        files={path: digest(content) for path, content in files.items()},
    )
    files[manifest.NAME] = manifest.write(listed)
    return Season(assessment, files, manifest.seal(listed))


def _refuse_name(book: str) -> None:
    """BookError for a name that no archive can hold beside its own files, on any system.

    An archive must be readable anywhere, and Windows takes fewer names than others.
    """
    if book.casefold() in {
        n.casefold() for n in (PACKAGE, VERDICTS, SUMMARY, ABOUT, manifest.NAME)
    }:
        raise BookError(f"{book!r} is the name of one of the archive's own files: rename the book.")
    if not book.isprintable() or set(book) & set('<>:"/\\|?*') or book.casefold() == "data":
        raise BookError(
            f"{book!r} holds a character that a file's name cannot have everywhere (such as : or "
            "a backslash): rename the book and archive it again."
        )
    stem = Path(book).stem
    if stem != stem.rstrip(". ") or not stem or stem.partition(".")[0].casefold() in _RESERVED:
        raise BookError(
            f"{book!r} gives no folder a name that it can have everywhere (an end in a dot or a "
            "space, or a name that Windows keeps for itself): rename the book and archive it again."
        )
    if len(_reviewed_name(book).encode()) > _LONGEST_NAME:
        raise BookError(f"{book!r} is too long a name: rename the book and archive it again.")


def _rounded(value: object) -> object:
    """A document with its numbers to ten digits, the same on every machine."""
    if isinstance(value, float):
        return float(f"{value:.10g}")
    if isinstance(value, dict):
        return {key: _rounded(held) for key, held in value.items()}
    return [_rounded(held) for held in value] if isinstance(value, list) else value


def _reviewed_name(book: str) -> str:
    return reviewed_path(Path(book), None, set()).name


def _about(book: str, assessment: Assessment) -> str:
    as_of = assessment.book.settings.shown.as_of(assessment.as_of, "no date (no dated entry)")
    return _ABOUT.format(book=book, reviewed=_reviewed_name(book), version=__version__, as_of=as_of)


def put(files: dict[str, bytes], target: Path) -> None:
    """Write an archive's folder in one step: it is there whole or not at all.

    BookError where the folder exists already, or cannot be written; nothing is left behind then.
    """
    _refuse_place(target)
    made = None
    new_folders = [p for p in target.parents if not os.path.lexists(p)]
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        sweep(target.parent)
        # Hidden, to be filled and renamed; `sweep` knows it as a draft.
        made = Path(tempfile.mkdtemp(prefix=DRAFT[0], suffix=DRAFT[1], dir=target.parent))
        for path, content in files.items():
            _write(Path(made, *path.split("/")), content)
        sync_folder(made / "data")
        sync_folder(made)
        os.chmod(made, 0o777 & ~umask())
        _place(made, target)
        made = None
        sync_folder(target.parent)
        new_folders.clear()
    except OSError as error:
        raise BookError(
            f"{target}: cannot be written ({why(error)}). Check the space and the permissions."
        ) from error
    finally:
        # Also after Ctrl-C.
        if made is not None:
            shutil.rmtree(made, ignore_errors=True)
        for folder in new_folders:
            with contextlib.suppress(OSError):
                folder.rmdir()


def _place(made: Path, target: Path) -> None:
    """Give the finished draft its name; BookError where another process took that meanwhile."""
    try:
        os.rename(made, target)
    except OSError as error:
        if os.path.lexists(target):
            raise _taken(target) from error
        raise


def _refuse_place(target: Path) -> None:
    """BookError where no archive can go to this place."""
    if os.path.lexists(target):
        raise _taken(target)
    around = archive_around(target.parent)
    if around is not None:
        raise BookError(
            f"{target}: lies inside the archive {around}, and nothing may be added to that. "
            "Choose another folder."
        )
    with contextlib.suppress(OSError):
        for name in os.listdir(target.parent):
            if name.casefold() == target.name.casefold():
                raise BookError(
                    f"{target}: differs from {target.parent / name} in capitals only, and many "
                    "systems take them for one. Rename the book, or choose another folder."
                )


def _taken(target: Path) -> BookError:
    return BookError(
        f"{target}: there is something of this name already. An archive is never overwritten: "
        "choose another folder, or move that one away."
    )


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags, 0o666), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
