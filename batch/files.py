"""Files: which books to take, where results go, and writing so that nothing is ever half there.

Everything is first written whole into a hidden draft beside its target and then put in place by
one rename. A process that is killed leaves at most such a draft; `sweep` takes it away later.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.asides import one_file, set_aside
from siltbook.batch.errors import BookError, why
from siltbook.batch.reading.foreign import refuse_in_place
from siltbook.batch.systems import (
    absent,
    give_as,
    may_be_file,
    name_too_long,
    remove,
    remove_tree,
    same_name,
    sync_folder,
    too_long,
)

OTHER_ENDINGS = (".ods", ".xls")  # read only: the results go to a new .xlsx
BOOK_ENDINGS = (".xlsx", ".xlsm", *OTHER_ENDINGS)
LARGEST = 128 * 1024 * 1024  # [bytes]
LOCK_PATIENCE = 10.0  # [s] that another program's lock is waited for
DRAFT_STALE = 3_600.0  # [s]; nobody writes on one draft for so long: its process is gone
DRAFT = (".siltbook-", ".tmp")
_LONGEST = f"{DRAFT[0]}{'x' * 8}{DRAFT[1]}"  # a draft's name is as long
_OURS = re.compile(
    r"\.(reviewed|audited|mapping(-\d+)?|previous(-\d+)?|kept-\d+|round|review-\d{4}-\d\d)\.[a-z]+\Z",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class OpenedFile:
    """One book as it was when read; `stamp` tells whether it changed since."""

    path: Path
    data: bytes
    stamp: tuple[int, int, int]


def find_books(
    paths: tuple[Path, ...], refused: list[tuple[Path, str]] | None = None
) -> list[Path]:
    """The books named, and those inside the folders named, sorted; results and locks left out.

    A path that does not exist, or a folder without a book, goes to `refused` with its sentence,
    so that the others are done; without `refused` BookError is raised. A book comes once, whichever
    ways it was given by.
    """
    books: list[Path] = []
    for path in paths:
        try:
            books += _books_at(path)
        except BookError as error:
            if refused is None:
                raise
            refused.append((path, str(error)))
    once: dict[tuple[str, str], Path] = {}
    for book in books:
        once.setdefault((os.path.realpath(book.parent), book.name), book)
    return list(once.values())


def _books_at(path: Path) -> list[Path]:
    if not os.path.exists(path):
        raise BookError(absent(path, "file or folder"))
    if not path.is_dir():
        return [path]
    inside = books_in(path)
    if not inside:
        raise BookError(f"{path}: no workbook ({', '.join(BOOK_ENDINGS)}) in this folder.")
    return inside


def books_in(folder: Path) -> list[Path]:
    """The books of a folder, sorted; results, kept books, locks and hidden files left out."""
    try:
        return sorted(p for p in folder.iterdir() if _is_book(p))
    except OSError as error:
        raise BookError(
            f"{folder}: cannot be read ({why(error)}). Check the folder's permissions."
        ) from error


def lock_note(path: Path) -> str:
    """What to say where a spreadsheet program has the book open; '' where none has."""
    name = path.name
    # The one program cuts the first two letters of a long name off, the other keeps it whole.
    locks = (f"~${name}", f"~${name[2:]}", f".~lock.{name}#")
    if any(os.path.lexists(path.with_name(lock)) for lock in locks):
        return (
            f"{path}: is open in a spreadsheet program, or was when that broke off; what is not"
            " saved was not seen."
        )
    return ""


def _is_book(path: Path) -> bool:
    name = path.name
    return (
        path.suffix.lower() in BOOK_ENDINGS
        and not name.startswith(("~$", "."))
        and not made_by_us(name)
        and may_be_file(path)
    )


def made_by_us(name: str) -> bool:
    """Whether a file's name is one that Siltbook gives: a result, a kept book or a pack."""
    return _OURS.search(name) is not None


def stamp_of(path: Path) -> tuple[int, int, int]:
    """What changes when a file is saved: time of the last change, size, and which file it is."""
    status = path.stat()
    return status.st_mtime_ns, status.st_size, status.st_ino


def open_file(path: Path) -> OpenedFile:
    """Read a book whole; BookError where it is no file, too large, unreadable or changing."""
    try:
        if os.path.isdir(path):
            raise BookError(f"{path}: this is a folder, not a workbook. Name the file in it.")
        if not os.path.exists(path):
            raise BookError(absent(path, "file"))
        if not path.is_file():
            raise BookError(f"{path}: this is not an ordinary file. Name a saved workbook.")
        before = stamp_of(path)
        if before[1] > LARGEST:
            size = before[1] // 2**20
            raise BookError(f"{path}: {size} MiB; accepted: up to {LARGEST // 2**20} MiB.")
        data = path.read_bytes()
        after = stamp_of(path)
    except OSError as error:
        raise BookError(
            f"{path}: cannot be read ({why(error)}). Check the file's permissions."
        ) from error
    if before != after:
        raise BookError(f"{path}: changed while it was read. Save and close it, then run again.")
    return OpenedFile(path, data, after)


def reviewed_path(book: Path, out: Path | None, used: set[Path], made: str = "reviewed") -> Path:
    """Where the result of `book` goes; a number is added where this batch used the name.

    `made` says in the name what was made of the book: reviewed or audited.
    """
    folder = book.parent if out is None else out
    ending = ".xlsm" if book.suffix.lower() == ".xlsm" else ".xlsx"
    stem = book.stem
    ours = book.suffix.lower()
    beside = (e for e in (".xlsx", *OTHER_ENDINGS) if e != ours)
    if ours in OTHER_ENDINGS and any(os.path.exists(book.with_suffix(e)) for e in beside):
        stem = book.name  # the plain name belongs to the result of the .xlsx, or to neither
    target = folder / f"{stem}.{made}{ending}"
    number = 2
    taken = {same_name(one) for one in used}
    while same_name(target) in taken:
        target = folder / f"{stem}-{number}.{made}{ending}"
        number += 1
    used.add(target)
    return target


def write_whole(target: Path, data: bytes) -> None:
    """Put `data` at `target` in one step: the old file or the new one, never a part.

    Raises BookError; nothing is left behind then.
    """
    with _refusal(target), _draft(target, data) as draft:
        os.replace(draft, target)
        sync_folder(target.parent)


def write_new(target: Path, data: bytes, taken: str) -> None:
    """As `write_whole`, where no file is there yet; BookError with `taken` where one is.

    Also where somebody saves one there at this moment, on a disk that knows hard links.
    """
    with _refusal(target), _draft(target, data) as draft:
        try:
            os.link(draft, target)
        except FileExistsError:
            raise BookError(taken) from None
        except OSError:
            if os.path.lexists(target):
                raise BookError(taken) from None
            os.replace(draft, target)
        sync_folder(target.parent)


Stamp = tuple[int, int, int]
NO_FILE: Stamp = (-1, -1, -1)
_LOOKS = 3  # a file that changes again and again while it is looked at is kept


def write_aside(target: Path, data: bytes, look: Callable[[], tuple[Stamp, bool]]) -> Path | None:
    """As `write_whole`; a file at `target` is first renamed to NAME.kept-N where `look` says so.

    `look` gives the stamp of the file that it looked at, and whether to keep it. One that was
    saved since is looked at again. Returns where it was kept; no kept file is ever overwritten.
    Raises BookError; then all is as before.
    """
    with _refusal(target), _draft(target, data) as draft:
        kept = None
        if target.is_file() and not _replaceable(target, look):
            kept = set_aside(target)
        try:
            os.replace(draft, target)
        except OSError:
            if kept is not None and one_file(kept, target):
                kept.unlink()
            elif kept is not None:
                os.replace(kept, target)
            raise
        sync_folder(target.parent)
    return kept


def _replaceable(target: Path, look: Callable[[], tuple[Stamp, bool]]) -> bool:
    for _ in range(_LOOKS):
        stamp, keep = look()
        if keep:
            return False
        if stamp_of(target) == stamp:
            return True
    return False


@contextlib.contextmanager
def _refusal(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        said = (
            f"{target}: cannot be written ({why(error)}). Close it in other programs, check the "
            "space and the permissions."
        )
        far = too_long(target) or too_long(target.with_name(_LONGEST))
        kept = target.with_name(f"{target.stem}.previous-9{target.suffix}")
        raise BookError(far or name_too_long(target) or name_too_long(kept) or said) from error


@contextlib.contextmanager
def _draft(target: Path, data: bytes) -> Iterator[Path]:
    """A hidden file beside `target` with `data` safely on the disk; gone at the end if still there.

    It has the permissions, the group and the owner of `target` as far as the system lets us give
    them, or those of any new file where there is none yet.
    """
    handle, name = tempfile.mkstemp(prefix=DRAFT[0], suffix=DRAFT[1], dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        give_as(target, name)
        yield Path(name)
    finally:
        with contextlib.suppress(OSError):
            remove(name)


def make_folder(folder: Path, advice: str = "Choose another folder.") -> None:
    """Make a folder where there is none; BookError, which ends in `advice`, where it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"{folder}: cannot be made ({why(error)}). {advice}") from error


def sweep(folder: Path) -> None:
    """Take away the drafts that killed processes left in a folder an hour ago or longer."""
    with contextlib.suppress(OSError):
        for draft in folder.glob(f"{DRAFT[0]}*{DRAFT[1]}"):
            with contextlib.suppress(OSError):
                status = draft.lstat()
                if time.time() - status.st_mtime <= DRAFT_STALE:
                    continue
                if stat.S_ISDIR(status.st_mode):
                    remove_tree(draft)
                else:
                    remove(draft)


def replace_book(taken: OpenedFile, data: bytes) -> Path:
    """Replace a book in place and keep the previous one beside it; returns the kept one's path.

    A copy that is already kept, byte for byte, is not kept twice: so a run that was killed
    between the two renames and is run again ends as if it had never been killed.

    Raises BookError where the book changed since it was read, or is of a format that results
    cannot be put into; then nothing is replaced.
    """
    refuse_in_place(taken.data, taken.path)
    book = taken.path.resolve()
    _refuse_read_only(taken.path)
    with _refusal(book), _locked(book), _draft(book, data) as new:
        kept, found = _kept(taken, book)
        with contextlib.nullcontext() if found else _draft(book, taken.data) as old:
            # Its bytes as well: on some disks two saves within two seconds have one time.
            if stamp_of(book) != taken.stamp or book.read_bytes() != taken.data:
                raise BookError(
                    f"{book}: changed while it was judged. Save and close it, then run again."
                )
            if old is not None:
                os.replace(old, kept)
            try:
                os.replace(new, book)
            except OSError:
                if old is not None:
                    kept.unlink()
                raise
        sync_folder(book.parent)
    return kept


def _kept(taken: OpenedFile, book: Path) -> tuple[Path, bool]:
    """Where the previous book goes, and whether the very same is kept there already."""
    kept, number = book.with_name(f"{book.stem}.previous{book.suffix}"), 2
    while os.path.lexists(kept):
        with contextlib.suppress(OSError):
            if kept.stat().st_size == len(taken.data) and kept.read_bytes() == taken.data:
                return kept, True
        kept = book.with_name(f"{book.stem}.previous-{number}{book.suffix}")
        number += 1
    return kept, False


@contextlib.contextmanager
def _locked(book: Path) -> Iterator[None]:
    """Hold the book's present file against other runs, where the system can lock it.

    A run that waited here finds another file under the book's name and refuses.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    with book.open("rb") as file:
        end = time.monotonic() + LOCK_PATIENCE
        while True:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() > end:
                    raise BookError(
                        f"{book}: another program holds it locked. Close it there, then run again."
                    ) from None
                time.sleep(0.05)
                continue
            except OSError:  # a file system that knows no locks
                pass
            break
        yield


def _refuse_read_only(book: Path) -> None:
    """BookError where somebody marked the book as not to be changed."""
    with contextlib.suppress(OSError):
        if not book.stat().st_mode & 0o222:
            raise BookError(
                f"{book}: is marked as read-only, so it was not replaced. Take the mark off, or "
                "work on a copy."
            )
