"""Opens an .xlsx or .xlsm package safely: parts by name, within limits, XML without a DOCTYPE.

It is opened once; `parts.Parts` takes what is open here to place sheets into it. Everything that
a damaged or hostile file can raise below this room is listed in `limits.DAMAGE`, so that the
reader translates it in one place.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

from siltbook.batch.errors import BookError
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import (
    BIG_PART,
    DAMAGE,
    MAX_BETWEEN_TAGS,
    MAX_BOOK_TEXT,
    MAX_PARSED,
    MAX_PARTS,
    MAX_RATIO,
    MAX_SMALL_TAGS,
    MAX_TAGS,
    MAX_TOTAL,
    SAVE_AS,
    SMALL_PART,
    BeyondMeasureError,
    damaged,
)
from siltbook.batch.package.relations import Relation, key_of, relation_of, relations_part

_CHUNK = 2**20
_DIRECTORY_ENTRY = b"PK\x01\x02"  # zipfile keeps every entry before it says how many there are
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # the format knows no others
_TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc")


@dataclass(frozen=True)
class Archive:
    """A file whose list of parts was read: its bytes, and its entries in their order.

    `known` keeps the relationships of each part that was asked for them, `asked` the formats that
    a sheet asks for where its reader saw all of them.
    """

    data: bytes
    zip: zipfile.ZipFile
    entries: list[zipfile.ZipInfo]
    known: dict[str, list[Relation]] = field(default_factory=dict)
    asked: dict[str, Asked] = field(default_factory=dict)


class Package:
    """An open package. Part names are matched ignoring case and never written to disk."""

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self._infos = {key_of(info.filename): info for info in archive.entries}
        self._unpacked = 0
        self._tags = 0.0
        self._text = 0

    def anew(self) -> Package:
        """The same package with nothing counted yet, for another reading of it."""
        return Package(self.archive)

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
        if self._text > MAX_BOOK_TEXT:
            raise BeyondMeasureError(
                "holds more text than any season's workbook: shorten the remarks, delete the rows"
                " and sheets that are not needed, or split it by season"
            )

    def has(self, part: str) -> bool:
        """Whether the package holds this part."""
        return key_of(part) in self._infos

    def size(self, part: str) -> int:
        """Declared unpacked size of a part [bytes]; KeyError where it is absent."""
        return self._infos[key_of(part)].file_size

    def chunks(self, part: str) -> Iterator[bytes]:
        """The unpacked bytes of a part, piece by piece; KeyError where it is absent."""
        with self.archive.zip.open(self._infos[key_of(part)]) as stream:
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
        if self._infos[key_of(part)].file_size > limit:
            raise ValueError(f"{part} is too large")
        return b"".join(self.chunks(part))

    def note_asked(self, part: str, asked: Asked) -> None:
        """Keep what a sheet asks for, so that placing need not look through it again."""
        self.archive.asked[key_of(part)] = asked

    def relations(self, part: str) -> list[Relation]:
        """The relationships of a part ('' for the package); none where it has no such part."""
        rels = relations_part(part)
        if not self.has(rels):
            return []
        known = self.archive.known
        if part not in known:
            found = elements(self.read(rels))
            known[part] = [relation_of(at, part) for tag, at in found if tag == "Relationship"]
        return known[part]


def _refuse_size(size: int) -> None:
    if size > MAX_PARSED:
        raise BeyondMeasureError(
            f"holds a list of {size // 2**20:,} MiB, more than the {MAX_PARSED // 2**20} MiB of any"
            " season's workbook"
        )


def open_package(data: bytes, name: str) -> Package:
    """The package in `data`; BookError where it is no workbook or breaks a limit."""
    _check_first_bytes(data, name)
    entries_at_most = data.count(_DIRECTORY_ENTRY)
    if entries_at_most > 2 * MAX_PARTS:  # a book may hold packages of its own
        raise _too_many_parts(entries_at_most, name)
    try:
        archive = open_archive(data)
    except DAMAGE:
        raise damaged(name) from None
    _check_limits(archive.entries, name)
    return Package(archive)


def open_archive(data: bytes) -> Archive:
    """The list of parts of any zip; zipfile's errors where it is none."""
    archive = zipfile.ZipFile(io.BytesIO(data))
    return Archive(data, archive, archive.infolist())


def _too_many_parts(count: int, name: str) -> BookError:
    return BookError(
        f"{name} holds {count:,} parts, more than the {MAX_PARTS:,} of any workbook:"
        " it was not read."
    )


def _check_first_bytes(data: bytes, name: str) -> None:
    if not data:
        raise BookError(f"{name} is empty (0 bytes): fetch a fresh copy of the workbook.")
    mark = next((mark for mark in ("~$", ".~lock.") if Path(name).name.startswith(mark)), "")
    if mark:
        raise BookError(
            f"{name} is the lock file of an open workbook, not the workbook: give the file"
            f" whose name lacks the {mark}" + ("." if mark == "~$" else " and the # at its end.")
        )
    if data[:2] != b"PK" and Path(name).suffix.lower() in _TEXT_ENDINGS:
        raise BookError(
            f"{name} is a text table, not a workbook: run 'siltbook adopt {name}', which makes a"
            " book of it."
        )
    if data[:2] != b"PK":
        raise BookError(f"{name} is not an .xlsx workbook: {SAVE_AS}.")


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
