"""Which books of a folder have been saved and are ready to be judged: the rule, without a clock.

The folder itself is looked at each time, whatever woke us: a save in place, a temporary file
renamed over the book, and a change on a shared drive that nobody announced are all the same then.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Mapping
from pathlib import Path

from siltbook.batch.errors import BookError

SETTLED = 1.0  # [s] without a change before a book counts as saved to its end
Stamp = tuple[int, int, int]


class Saves:
    """Remembers each book as it was last judged, and since when it has been as it is now."""

    def __init__(self) -> None:
        self._judged: dict[Path, Stamp] = {}
        self._since: dict[Path, tuple[Stamp, float]] = {}
        self.waiting: dict[Path, float] = {}  # results not written -> when to try again

    def judged(self, book: Path, stamp: Stamp) -> None:
        """Note that the book was judged as it is with this stamp."""
        self._judged[book] = stamp

    def again(self, book: Path, when: float) -> None:
        """Note that the book's result could not be written, and when to try again."""
        self.waiting[book] = when

    def ready(self, books: Mapping[Path, Stamp], now: float) -> list[Path]:
        """Books that changed since they were judged and then stayed the same for SETTLED [s].

        `books` is the folder as it is `now` [s, any clock that only goes forward]; a book that is
        gone is forgotten.
        """
        changed = {b: s for b, s in books.items() if self._judged.get(b) != s}
        self.waiting = {b: t for b, t in self.waiting.items() if b in books and b not in changed}
        before, self._since = self._since, {}
        found = [book for book, when in self.waiting.items() if now >= when]
        for book, stamp in changed.items():
            seen, since = before.get(book, (stamp, now))
            self._since[book] = (stamp, since if seen == stamp else now)
            if now - self._since[book][1] >= SETTLED:
                found.append(book)
        self._judged = {b: s for b, s in self._judged.items() if b in books}
        return found


def stamps(folder: Path) -> dict[Path, Stamp]:
    """The books of a folder, each with its stamp; BookError where the folder cannot be watched."""
    from siltbook.batch.files import books_in

    if not os.path.isdir(folder):
        how = "is a file" if os.path.exists(folder) else "is not there, or was renamed or deleted"
        raise BookError(f"{folder}: cannot be watched (it {how}). Check its path; name a folder.")
    # One that was renamed or deleted in between: the next look will tell.
    found = {book: stamp_now(book) for book in books_in(folder)}
    return {book: stamp for book, stamp in found.items() if stamp is not None}


def stamp_now(book: Path) -> Stamp | None:
    """A book's stamp; None where it is not there or cannot be looked at."""
    from siltbook.batch.files import stamp_of

    try:
        return stamp_of(book)
    except OSError:
        return None


def results(books: Iterable[Path]) -> dict[Path, Path]:
    """Where the result of each book of one folder goes: no two of them to one name."""
    from siltbook.batch.files import reviewed_path

    used: set[Path] = set()
    return {book: reviewed_path(book, None, used) for book in sorted(books)}


def up_to_date(book: Path, reviewed: Path) -> bool:
    """Whether the reviewed copy was surely made of the book as it is now.

    It is younger than the book, and than the book's arrival under its name: a copy keeps the time
    of what it is a copy of. It is not of a time to come, as where a clock was set back. And it is
    as Siltbook wrote it, or says of the book's inputs what they are: one that somebody saved since
    is young whatever it was made of.
    """
    from siltbook.batch.errors import SiltbookError
    from siltbook.batch.files import open_file
    from siltbook.batch.guard import within
    from siltbook.batch.typed.stamp import untouched

    try:
        made, saved = reviewed.stat(), book.stat()
        arrived = max(saved.st_mtime_ns, saved.st_ctime_ns)
        if not arrived <= made.st_mtime_ns <= time.time_ns():
            return False
        result = open_file(reviewed).data
        if untouched(result, book.name):
            return True
        data = open_file(book).data
        same: bool = within(f"{__name__}:same_inputs", (data, result), book.name, data, result)
        return same
    except (OSError, SiltbookError):
        return False


def same_inputs(book: bytes, result: bytes) -> bool:
    """Whether a result says of its inputs that they are this book's. Raises what reading raises."""
    from siltbook.batch.fingerprint import fingerprint
    from siltbook.batch.reading.book import read_book
    from siltbook.batch.typed.boxes import read_boxes

    mark = read_boxes(result, "old.xlsx").mark
    return mark is not None and mark.inputs == fingerprint(read_book(book, "book.xlsx").book)
