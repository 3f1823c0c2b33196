"""Unusual books are judged in a child with limits of time and memory; ordinary ones are not.

What a hostile book can hold has no end, so that no list of bounds is ever whole. The child is
that end. It costs its start and its imports, half a season book's time where a batch has imported
everything already; a look at the list of parts costs a thousandth of it. So the look decides, and
it is strict: whatever is larger, more packed or in more pieces than books that people fill.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import Any

from siltbook.batch import child
from siltbook.batch.errors import BookError
from siltbook.batch.reading.foreign import kind_of

# A season of 2,500 readings and its result sheets, the blank among them: 27 to 60 parts, 0.06 to
# 1 MiB packed, 3 to 16 MiB unpacked, no part packed more than a hundred times.
LARGEST = 4 * 2**20  # [bytes] packed
MOST_PARTS = 250
MOST_UNPACKED = 32 * 2**20  # [bytes], parts that are parsed
MOST_RATIO = 120  # unpacked to packed, for parts from half a mebibyte on
MOST_LIST = 2**20  # [bytes]; styles, relationships, types: everything but sheets and texts
_BIG = 2**19  # [bytes]
_LONG = ("worksheets/", "sharedstrings", "drawings/", "charts/", "pivotcache")
_ENTRY = b"PK\x01\x02"

MEMORY = 2**30  # [bytes]
SECONDS = 10.0  # of processor time
MORE = 20.0  # [s] for each mebibyte of the file beyond the first half: honest books are long
MOST_SECONDS = 300.0


def within(function: str, data: bytes | Sequence[bytes], name: str, *arguments: Any) -> Any:
    """What `function` ('package.module:name') makes of `arguments`, which hold the book `data`.

    A book that looks unusual is handed to a child; of several, all are, where one does. BookError,
    one sentence that begins with `name`, where that goes beyond its limits.
    """
    books = [data] if isinstance(data, bytes) else data
    if not any(map(unusual, books)):
        return child.resolve(function)(*arguments)
    try:
        return child.call(function, *arguments, limits=limits_for(*books)).value
    except child.EndlessError:
        raise BookError(
            f"{name} takes more time or memory than any season's workbook of its size: it was not"
            " read. Copy its sheets into a new workbook and give me that file."
        ) from None


def limits_for(*books: bytes) -> child.Limits:
    """What the judging of a book may take: 10 s and 1 GiB, and more time for a long one."""
    beyond = max(0.0, sum(map(len, books)) / 2**20 - 0.5)
    return child.Limits(min(SECONDS + MORE * beyond, MOST_SECONDS), MEMORY)


def unusual(data: bytes) -> bool:
    """Whether a look at the list of parts finds a book unlike those that people fill.

    A file that is no package at all is not: it is refused, or converted in a child of its own.
    """
    if len(data) > LARGEST:
        return True
    if data[:2] != b"PK":
        return False
    if kind_of(data) or data.count(_ENTRY) > MOST_PARTS:
        return True
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except Exception:  # whatever is wrong with it, the reader says it
        return False
    parsed = [part for part in parts if part.filename.casefold().endswith((".xml", ".rels"))]
    return sum(part.file_size for part in parsed) > MOST_UNPACKED or any(map(_odd, parsed))


def _odd(part: zipfile.ZipInfo) -> bool:
    size = part.file_size
    if size >= _BIG and size > MOST_RATIO * part.compress_size:
        return True
    name = part.filename.casefold()
    return size > MOST_LIST and not any(word in name for word in _LONG)
