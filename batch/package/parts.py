"""A workbook file as a zip of named parts, of which untouched ones are copied byte for byte."""

from __future__ import annotations

import contextlib
import io
import struct
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

from siltbook.batch.package import deflate
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import DAMAGE, GraftError
from siltbook.batch.package.opened import Archive, Package, open_archive
from siltbook.batch.package.relations import Relation, key_of, relation_of, relations_part
from siltbook.batch.package.spans import Document

LONG_PART = 2**18  # [bytes], from which a part is packed in a tenth of the time, a fifth larger
LARGEST_PART = 1 << 29  # [bytes]; a larger part is a damaged file or a trap
_LOCAL = struct.Struct("<4s5H3I2H")
_CENTRAL = struct.Struct("<4s6H3I5H2I")
_END = struct.Struct("<4s4H2IH")
_NEW_STAMP = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: two runs give the same bytes


@dataclass(frozen=True)
class Entry:
    """One zip entry with its data still compressed."""

    name: str
    raw: bytes | memoryview
    method: int
    crc: int
    size: int  # [bytes], uncompressed
    stamp: tuple[int, int, int, int, int, int]
    utf8: bool
    attributes: int = 0
    system: int = 0


class Parts:
    """The parts of one workbook file, in their order, to be set and taken out."""

    def __init__(self, book: bytes | Package) -> None:
        """Take the parts of an open package, or of bytes; GraftError where they are not sound."""
        self._entries: dict[str, Entry] = {}
        self._as_read = Package(book.archive if isinstance(book, Package) else _archive(book))
        self._set: set[str] = set()
        archive = self._as_read.archive
        for entry in (_read_entry(archive.data, info) for info in archive.entries):
            key = key_of(entry.name)
            if key in self._entries:
                raise GraftError(
                    f"The file holds the part {entry.name!r} twice, so it cannot be told which one "
                    "counts; open it in a spreadsheet program, save it under a new name and run "
                    "again."
                )
            self._entries[key] = entry

    def __contains__(self, part: str) -> bool:
        return key_of(part) in self._entries

    @property
    def parts(self) -> list[str]:
        """All part names, in zip order."""
        return [entry.name for entry in self._entries.values()]

    def read(self, part: str) -> bytes:
        """The part's bytes; GraftError where it is missing or damaged."""
        entry = self._entries.get(key_of(part))
        if entry is None:
            raise GraftError(
                f"The file lacks its part {part!r}; open it in a spreadsheet program, let it "
                "repair the file, save it and run again."
            )
        return _unpack(entry)

    def relations(self, part: str) -> list[Relation]:
        """All relationships of a part; none where it has no such part, GraftError on damage."""
        name = relations_part(part)
        if name not in self:
            return []
        if key_of(name) not in self._set and self._as_read.has(name):
            with contextlib.suppress(*DAMAGE):  # what is wrong with it is said below
                return self._as_read.relations(part)
        document = Document(self.read(name), name)
        return [relation_of(n.attrs, part) for n in document.root.named("Relationship")]

    def asked(self, part: str) -> Asked:
        """The formats that a sheet asks for; GraftError where it is damaged."""
        known = None if key_of(part) in self._set else self._as_read.archive.asked.get(key_of(part))
        if known is None:
            known = Asked()
            known.look_into(self.read(part))
        return known

    def head(self, part: str, most: int) -> bytes:
        """The first bytes of a part, unchecked; b'' where they cannot be told."""
        entry = self._entries.get(key_of(part))
        if entry is None or entry.method != zipfile.ZIP_DEFLATED:
            return b""
        try:
            return zlib.decompressobj(-15).decompress(entry.raw, most)
        except zlib.error:
            return b""

    def put(self, part: str, data: bytes) -> None:
        """Set a part's bytes: in its old place where it exists, else at the end."""
        old = self._entries.get(key_of(part))
        if old is not None and len(data) == old.size and _unpack(old) == data:
            return
        self.put_pieces(part, (data,))

    def put_pieces(self, part: str, pieces: Iterable[bytes]) -> None:
        """Set a part's bytes from pieces that need never stand in memory together."""
        old = self._entries.get(key_of(part))
        packer, quick = deflate.thorough(), False
        raw, crc, size = bytearray(), 0, 0
        for piece in pieces:
            if size + len(piece) > LONG_PART and not quick:
                raw += packer.flush(zlib.Z_FULL_FLUSH)  # the stream goes on, packed another way
                packer, quick = deflate.quick(), True
            raw += packer.compress(piece)
            crc, size = deflate.checksum(piece, crc), size + len(piece)
        raw += packer.flush()
        self._set.add(key_of(part))
        self._entries[key_of(part)] = Entry(
            name=old.name if old else part,
            raw=memoryview(raw),
            method=zipfile.ZIP_DEFLATED,
            crc=crc,
            size=size,
            stamp=old.stamp if old else _NEW_STAMP,
            utf8=old.utf8 if old else not part.isascii(),
            attributes=old.attributes if old else 0,
            system=old.system if old else 0,
        )

    def drop(self, part: str) -> None:
        """Take a part out, if it is there."""
        self._entries.pop(key_of(part), None)

    def save(self) -> bytes:
        """The package as zip bytes; entries that were not set are copied still compressed."""
        out, directory = io.BytesIO(), io.BytesIO()
        for entry in self._entries.values():
            directory.write(_central_record(entry, out.tell()))
            out.write(_local_record(entry))
            out.write(entry.raw)
            if out.tell() > 0xFFFFFFFF:
                raise GraftError("The book would grow beyond 4 GB, the most that this file holds.")
        start, records = out.tell(), directory.getvalue()
        out.write(records)
        count = len(self._entries)
        out.write(_END.pack(b"PK\x05\x06", 0, 0, count, count, len(records), start, 0))
        return out.getvalue()


def _archive(data: bytes) -> Archive:
    """The list of parts; GraftError where the file cannot be opened."""
    if data[:4] == b"\xd0\xcf\x11\xe0":
        raise GraftError(
            "The file is protected by a password or is an old .xls workbook; save it as .xlsx "
            "without a password and run again."
        )
    try:
        return open_archive(data)
    except (zipfile.BadZipFile, ValueError, OSError, EOFError, NotImplementedError) as error:
        raise GraftError(
            "The file is not an .xlsx or .xlsm workbook, or it is damaged; open it in a "
            "spreadsheet program, save it as .xlsx and run again."
        ) from error


def _read_entry(data: bytes, info: zipfile.ZipInfo) -> Entry:
    """One entry with its raw bytes."""
    if info.flag_bits & 0x1:
        raise GraftError(
            f"The part {info.orig_filename!r} of the file is encrypted; save the book without a "
            "password and run again."
        )
    head = data[info.header_offset : info.header_offset + _LOCAL.size]
    if len(head) < _LOCAL.size or head[:4] != b"PK\x03\x04":
        raise _damaged(info.orig_filename)
    name_length, extra_length = struct.unpack("<2H", head[26:30])
    start = info.header_offset + _LOCAL.size + name_length + extra_length
    raw = memoryview(data)[start : start + info.compress_size]
    if len(raw) != info.compress_size:
        raise _damaged(info.orig_filename)
    return Entry(
        info.orig_filename, raw, info.compress_type, info.CRC, info.file_size,
        info.date_time, bool(info.flag_bits & 0x800), info.external_attr, info.create_system,
    )  # fmt: skip


def _damaged(name: str) -> GraftError:
    return GraftError(
        f"The part {name!r} of the file is damaged; open the book in a spreadsheet program, save "
        "it under a new name and run again."
    )


def _unpack(entry: Entry) -> bytes:
    """The entry's uncompressed bytes, checked against size and checksum."""
    if entry.size > LARGEST_PART:
        raise GraftError(f"The part {entry.name!r} of the file says it is larger than 512 MiB.")
    if entry.method == zipfile.ZIP_STORED:
        data = bytes(entry.raw)
    elif entry.method == zipfile.ZIP_DEFLATED:
        try:
            # One byte more than declared, so that a part that lies about its size is noticed.
            data = zlib.decompressobj(-15).decompress(entry.raw, entry.size + 1)
        except zlib.error as error:
            raise _damaged(entry.name) from error
    else:
        raise GraftError(
            f"The part {entry.name!r} of the file is compressed in a way that workbooks do not "
            "use; save the book again in a spreadsheet program."
        )
    if len(data) != entry.size or zlib.crc32(data) != entry.crc:
        raise _damaged(entry.name)
    return data


def _dos_stamp(stamp: tuple[int, int, int, int, int, int]) -> tuple[int, int]:
    """Time and date words of a zip record."""
    year, month, day, hour, minute, second = stamp
    date = (year - 1980) << 9 | month << 5 | day  # no zip holds an earlier year, nor this program's
    return hour << 11 | minute << 5 | second // 2, date


def _name_bytes(entry: Entry) -> tuple[bytes, int]:
    """The entry's name as stored, and the flag that says how."""
    return (entry.name.encode("utf-8"), 0x800) if entry.utf8 else (entry.name.encode("cp437"), 0)


def _local_record(entry: Entry) -> bytes:
    name, flags = _name_bytes(entry)
    time, date = _dos_stamp(entry.stamp)
    head = _LOCAL.pack(
        b"PK\x03\x04", 20, flags, entry.method, time, date,
        entry.crc, len(entry.raw), entry.size, len(name), 0,
    )  # fmt: skip
    return head + name


def _central_record(entry: Entry, offset: int) -> bytes:
    name, flags = _name_bytes(entry)
    time, date = _dos_stamp(entry.stamp)
    made_by = (entry.system << 8) | 20
    head = _CENTRAL.pack(
        b"PK\x01\x02", made_by, 20, flags, entry.method, time, date,
        entry.crc, len(entry.raw), entry.size, len(name), 0, 0, 0, 0, entry.attributes, offset,
    )  # fmt: skip
    return head + name
