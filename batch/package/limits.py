"""What a package may hold, and what is raised and said where one is damaged or goes beyond."""

from __future__ import annotations

import struct
import zipfile
import zlib
from xml.parsers import expat

from siltbook.batch.errors import BookError, SiltbookError, too_large

MAX_PARTS = 10_000
MAX_TOTAL = 1_500_000_000  # [bytes] unpacked, all parts together
MAX_RATIO = 200  # unpacked to packed, for parts from BIG_PART on
BIG_PART = 32 * 2**20  # [bytes] unpacked
SMALL_PART = 16 * 2**20  # [bytes]; workbook.xml and relationships are never larger
# What a book may cost to read: XML tags, of which those in plain rows count half. A season's book
# of 100,000 readings, saved by any program, takes under five million.
MAX_TAGS = 6_000_000
MAX_SMALL_TAGS = 300_000  # in one small part
MAX_BOOK_TEXT = 64_000_000  # characters of all texts of a book, as stored and as its lists use them
MAX_PARSED = 512 * 2**20  # [bytes] unpacked, of a part that is parsed
# Between two tags; expat keeps a comment, and a part the text of a cell, whole in memory.
MAX_BETWEEN_TAGS = 32 * 2**20  # [bytes]


class BeyondMeasureError(ValueError):
    """More of something than any filled workbook holds; its text goes into the refusal."""


class GraftError(SiltbookError):
    """The result sheets cannot be placed into this book; the text is one sentence for people."""


# What zipfile, zlib and expat raise on damaged bytes; they share no base class.
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    expat.ExpatError,
    EOFError,
    KeyError,
    IndexError,
    ValueError,
    OverflowError,
    LookupError,
    NotImplementedError,
    RuntimeError,
    OSError,
    MemoryError,
)

SAVE_AS = "save it as .xlsx in a spreadsheet program and give me that file"


def damaged(name: str, error: BaseException | None = None, where: str = "") -> BookError:
    """The one sentence for bytes that are broken somewhere, or that are beyond all measure.

    `where`, if it is known: 'in its sheet ...'.
    """
    if isinstance(error, BeyondMeasureError):
        return BookError(f"{name} {error}: it was not read.")
    if isinstance(error, MemoryError):
        return BookError(too_large(name))
    place = f" ({where})" if where else ""
    return BookError(
        f"{name} is damaged or not complete{place}: open it in a spreadsheet program, let it"
        " repair the file, and save it again, or fetch a fresh copy."
    )


def save_as_xlsx(name: str, kind: str) -> BookError:
    """The sentence for a workbook of a format that is not read, for example an .xlsb."""
    return BookError(f"{name} is {kind}, not an .xlsx workbook: {SAVE_AS}.")
