"""Opens an .xlsx or .xlsm package safely: parts by name, within limits, XML without a DOCTYPE.

Everything that a damaged or hostile file can raise below this room is listed in `DAMAGE`, so
that the reader translates it in one place.
"""

from __future__ import annotations

import io
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote
from xml.parsers import expat

from siltbook.batch.errors import BookError, too_large

MAX_PARTS = 10_000
MAX_TOTAL = 1_500_000_000  # [bytes] unpacked, all parts together
MAX_RATIO = 200  # unpacked to packed, for parts from BIG_PART on
BIG_PART = 32 * 2**20  # [bytes] unpacked
SMALL_PART = 16 * 2**20  # [bytes]; workbook.xml and relationships are never larger
_CHUNK = 2**20
_DIRECTORY_ENTRY = b"PK\x01\x02"  # zipfile keeps every entry before it says how many there are
# What a book may cost to read: XML tags, of which those in plain rows count half. A season's book
# of 100,000 readings, saved by any program, takes under five million.
MAX_TAGS = 6_000_000
MAX_SMALL_TAGS = 300_000  # in one small part
MAX_TEXT = 64_000_000  # characters of all texts of a book, as stored and as its lists use them
MAX_PARSED = 512 * 2**20  # [bytes] unpacked, of a part that is parsed
# Between two tags; expat keeps a comment, and a part the text of a cell, whole in memory.
MAX_BETWEEN_TAGS = 32 * 2**20  # [bytes]
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # the format knows no others


class BeyondMeasureError(ValueError):
    """More of something than any filled workbook holds; its text goes into the refusal."""


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

_TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc")
_SAVE_AS = "save it as .xlsx in a spreadsheet program and give me that file"


@dataclass(frozen=True)
class Relationship:
    """One relationship of a part; `target` is a part name without a leading slash."""

    rel_id: str
    kind: str  # the last word of its type: worksheet, sharedStrings, styles, ...
    target: str


class Package:
    """An open package. Part names are matched ignoring case and never written to disk."""

    def __init__(self, archive: zipfile.ZipFile, infos: dict[str, zipfile.ZipInfo]) -> None:
        self._archive = archive
        self._infos = infos
        self._unpacked = 0
        self._tags = 0.0
        self._text = 0

    def spend(self, tags: float) -> None:
        """Count what is about to be parsed; BeyondMeasureError where the book takes too much."""
        self._tags += tags
        if self._tags > MAX_TAGS:
            raise BeyondMeasureError(
                "holds more cells than any season's workbook: delete the rows and sheets that are"
                " not needed, or split it by season"
            )

    def spend_text(self, characters: int) -> None:
        """Count text that is kept; BeyondMeasureError where the book holds too much."""
        self._text += characters
        if self._text > MAX_TEXT:
            raise BeyondMeasureError(
                "holds more text than any season's workbook: shorten the remarks, delete the rows"
                " and sheets that are not needed, or split it by season"
            )

    def has(self, part: str) -> bool:
        """Whether the package holds this part."""
        return _key(part) in self._infos

    def size(self, part: str) -> int:
        """Declared unpacked size of a part [bytes]; KeyError where it is absent."""
        return self._infos[_key(part)].file_size

    def chunks(self, part: str) -> Iterator[bytes]:
        """The unpacked bytes of a part, piece by piece; KeyError where it is absent."""
        with self._archive.open(self._infos[_key(part)]) as stream:
            while piece := stream.read(_CHUNK):
                self._unpacked += len(piece)
                if self._unpacked > MAX_TOTAL:
                    raise ValueError("unpacks to more than is declared")
                yield piece

    def counted(self, part: str) -> Iterator[bytes]:
        """As `chunks`, for parts that are parsed: every piece is counted before it is handed on."""
        _refuse_size(self.size(part))
        between = 0
        for piece in self.chunks(part):
            tags = piece.count(b"<")
            self.spend(tags)
            between = 0 if tags else between + len(piece)
            if between > MAX_BETWEEN_TAGS:
                raise BeyondMeasureError("holds a piece of text longer than any workbook")
            yield piece

    def whole(self, part: str) -> bytearray:
        """A large part at once, without a second copy of it in memory."""
        _refuse_size(self.size(part))
        made = bytearray()
        for piece in self.chunks(part):
            made += piece
        return made

    def read(self, part: str, limit: int = SMALL_PART) -> bytes:
        """A whole part of at most `limit` [bytes]; ValueError beyond, KeyError if absent."""
        if self._infos[_key(part)].file_size > limit:
            raise ValueError(f"{part} is too large")
        return b"".join(self.chunks(part))

    def relationships(self, part: str) -> list[Relationship]:
        """The relationships of a part ('' for the package); none where it has no such part."""
        folder, name = posixpath.split(part)
        rels = posixpath.join(folder, "_rels", f"{name}.rels")
        if not self.has(rels):
            return []
        return [
            Relationship(
                attrs.get("Id", ""),
                attrs.get("Type", "").rstrip("/").rpartition("/")[2],
                _resolve(folder, attrs.get("Target", "")),
            )
            for name, attrs in elements(self.read(rels))
            if name == "Relationship" and attrs.get("TargetMode", "").casefold() != "external"
        ]


def _refuse_size(size: int) -> None:
    if size > MAX_PARSED:
        raise BeyondMeasureError(
            f"holds a list of {size // 2**20:,} MiB, more than the {MAX_PARSED // 2**20} MiB of any"
            " season's workbook"
        )


def _key(part: str) -> str:
    return part.replace("\\", "/").lstrip("/").casefold()


def _resolve(folder: str, target: str) -> str:
    target = unquote(target.replace("\\", "/"))
    if target.startswith("/"):
        return posixpath.normpath(target).lstrip("/")
    return posixpath.normpath(posixpath.join(folder, target)).lstrip("/")


def open_package(data: bytes, name: str) -> Package:
    """The package in `data`; BookError where it is no workbook or breaks a limit."""
    _check_first_bytes(data, name)
    entries_at_most = data.count(_DIRECTORY_ENTRY)
    if entries_at_most > 2 * MAX_PARTS:  # a book may hold packages of its own
        raise _too_many_parts(entries_at_most, name)
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        entries = archive.infolist()
    except DAMAGE:
        raise damaged(name) from None
    _check_limits(entries, name)
    return Package(archive, {_key(info.filename): info for info in entries})


def _too_many_parts(count: int, name: str) -> BookError:
    return BookError(
        f"{name} holds {count:,} parts, more than the {MAX_PARTS:,} of any workbook:"
        " it was not read."
    )


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


def _check_first_bytes(data: bytes, name: str) -> None:
    if not data:
        raise BookError(f"{name} is empty (0 bytes): fetch a fresh copy of the workbook.")
    mark = next((mark for mark in ("~$", ".~lock.") if Path(name).name.startswith(mark)), "")
    if mark:
        raise BookError(
            f"{name} is the lock file of an open workbook, not the workbook: give the file"
            f" whose name lacks the {mark}"
            + ("." if mark == "~$" else " and the # at its end.")
        )
    if data[:2] != b"PK" and Path(name).suffix.lower() in _TEXT_ENDINGS:
        raise BookError(
            f"{name} is a text table, not a workbook: run 'siltbook adopt {name}', which makes a"
            " book of it."
        )
    if data[:2] != b"PK":
        raise BookError(f"{name} is not an .xlsx workbook: {_SAVE_AS}.")


def _check_limits(entries: list[zipfile.ZipInfo], name: str) -> None:
    if len(entries) > MAX_PARTS:
        raise _too_many_parts(len(entries), name)
    total = sum(entry.file_size for entry in entries)
    if total > MAX_TOTAL:
        raise BookError(
            f"{name} would unpack to {total / 1e9:,.1f} GB, more than {MAX_TOTAL / 1e9:.1f} GB:"
            " it was not read."
        )
    for entry in entries:
        if entry.flag_bits & 1:
            raise BookError(
                f"{name} is protected by a password: save it as .xlsx without a password."
            )
        if entry.compress_type not in _METHODS:
            raise BookError(
                f"{name} is packed in a way that workbooks do not use: save it again as .xlsx in a"
                " spreadsheet program."
            )
        if entry.file_size >= BIG_PART and entry.file_size > MAX_RATIO * entry.compress_size:
            raise BookError(
                f"{name} unpacks to more than {MAX_RATIO} times its size, which no filled"
                " workbook does: it was not read."
            )


def save_as_xlsx(name: str, kind: str) -> BookError:
    """The sentence for a workbook of a format that is not read, for example an .xlsb."""
    return BookError(f"{name} is {kind}, not an .xlsx workbook: {_SAVE_AS}.")


def parser() -> expat.XMLParserType:
    """A namespace-aware parser that refuses a DOCTYPE, and with it every entity."""
    made = expat.ParserCreate(namespace_separator="|")
    made.buffer_text = True

    def refuse(*_: object) -> None:
        raise ValueError("a DOCTYPE is not allowed")

    made.StartDoctypeDeclHandler = refuse
    made.EntityDeclHandler = refuse
    return made


def elements(data: bytes) -> list[tuple[str, dict[str, str]]]:
    """Every element of a small part in order: local name and attributes by local name."""
    found: list[tuple[str, dict[str, str]]] = []
    if data.count(b"<") > MAX_SMALL_TAGS:
        raise BeyondMeasureError("lists more sheets or formats than any workbook")

    def start(name: str, attrs: dict[str, str]) -> None:
        local = {key.rpartition("|")[2]: value for key, value in attrs.items()}
        found.append((name.rpartition("|")[2], local))

    made = parser()
    made.StartElementHandler = start
    made.Parse(data, True)
    return found
