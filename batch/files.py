"""Files: which books to take, where results go, and writing so that nothing is ever half there."""

from __future__ import annotations

import contextlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from batch.errors import BookError

BOOK_ENDINGS = (".xlsx", ".xlsm")
LARGEST = 512 * 1024 * 1024  # [bytes]


@dataclass(frozen=True)
class Taken:
    """One book as it was when read; `stamp` tells whether it changed since."""

    path: Path
    data: bytes
    stamp: tuple[int, int, int]


def find_books(paths: tuple[Path, ...]) -> list[Path]:
    """The books named, and those inside the folders named, sorted; results and locks left out.

    Raises BookError where a path does not exist or a folder holds no book.
    """
    books: list[Path] = []
    for path in paths:
        if not path.exists():
            raise BookError(f"{path}: no such file or folder. Check the spelling of the path.")
        if not path.is_dir():
            books.append(path)
            continue
        inside = sorted(p for p in path.iterdir() if _is_book(p))
        if not inside:
            raise BookError(f"{path}: no workbook (.xlsx or .xlsm) in this folder.")
        books += inside
    return list(dict.fromkeys(books))


def _is_book(path: Path) -> bool:
    name = path.name
    made_by_us = ".reviewed." in name or ".previous" in name
    return (
        path.suffix.lower() in BOOK_ENDINGS
        and not name.startswith(("~$", "."))
        and not made_by_us
        and path.is_file()
    )


def _stamp(path: Path) -> tuple[int, int, int]:
    status = path.stat()
    return status.st_mtime_ns, status.st_size, status.st_ino


def take(path: Path) -> Taken:
    """Read a book whole; BookError where it is no file, too large, unreadable or changing."""
    try:
        if path.is_dir():
            raise BookError(f"{path}: this is a folder, not a workbook. Name the file in it.")
        if not path.is_file():
            raise BookError(f"{path}: this is not an ordinary file. Name a saved workbook.")
        before = _stamp(path)
        if before[1] > LARGEST:
            size = before[1] // 2**20
            raise BookError(f"{path}: {size} MiB; accepted: up to {LARGEST // 2**20} MiB.")
        data = path.read_bytes()
        after = _stamp(path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise BookError(
            f"{path}: cannot be read ({reason}). Check the file's permissions."
        ) from error
    if before != after:
        raise BookError(f"{path}: changed while it was read. Save and close it, then run again.")
    return Taken(path, data, after)


def reviewed_path(book: Path, out: Path | None, used: set[Path]) -> Path:
    """Where the result of `book` goes; a number is added where this batch used the name."""
    folder = book.parent if out is None else out
    ending = ".xlsm" if book.suffix.lower() == ".xlsm" else ".xlsx"
    target = folder / f"{book.stem}.reviewed{ending}"
    number = 2
    while target in used:
        target = folder / f"{book.stem}-{number}.reviewed{ending}"
        number += 1
    used.add(target)
    return target


def write_whole(target: Path, data: bytes) -> None:
    """Put `data` at `target` in one step: the old file or the new one, never a part.

    Raises BookError; nothing is left behind then.
    """
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(
            prefix=f".{target.name[:40]}.", suffix=".tmp", dir=target.parent
        )
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mode = target.stat().st_mode if target.exists() else 0o666 & ~_umask()
        os.chmod(temporary, mode & 0o777)
        os.replace(temporary, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        reason = error.strerror or str(error)
        raise BookError(
            f"{target}: cannot be written ({reason}). Close it in other programs, check the "
            "space and the permissions."
        ) from error


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def replace_book(taken: Taken, data: bytes) -> Path:
    """Replace a book in place and keep the previous one beside it; returns the kept one's path.

    Raises BookError where the book changed since it was read; then nothing is replaced.
    """
    book = taken.path.resolve()
    kept = book.with_name(f"{book.stem}.previous{book.suffix}")
    number = 2
    while kept.exists():
        kept = book.with_name(f"{book.stem}.previous-{number}{book.suffix}")
        number += 1
    write_whole(kept, taken.data)
    if _stamp(book) != taken.stamp:
        kept.unlink()
        raise BookError(f"{book}: changed while it was judged. Save and close it, then run again.")
    write_whole(book, data)
    return kept
