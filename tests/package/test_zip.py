"""What a saved package says of its parts: a person's own stay as they were, ours say little."""

from __future__ import annotations

import io
import random
import struct
import zipfile
import zlib

import pytest

from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.opened import Package, open_archive
from siltbook.batch.package.parts import Parts, _archive, _read_entry
from tests.graft.packs import packed


def theirs() -> bytes:
    """A package by another program: extra fields, a name in an old code, marks for the system."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, method in (("a.xml", 8), ("b.bin", 0), ("ä.xml", 8)):
            info = zipfile.ZipInfo(name, (2021, 11, 29, 23, 58, 42))
            info.external_attr, info.create_system = 0o644 << 16, 3
            info.extra = struct.pack("<2H3s", 0x5349, 3, b"own")
            info.compress_type = method
            archive.writestr(info, f"<{name}/>".encode() * 100)
    return made.getvalue()


def said(data: bytes, name: str) -> tuple[object, ...]:
    """All that the directory says of a part."""
    with zipfile.ZipFile(io.BytesIO(data)) as saved:
        i = saved.getinfo(name)
    return (
        i.date_time, i.create_system, i.create_version, i.extract_version, i.flag_bits,
        i.external_attr, i.internal_attr, i.volume, i.extra, i.comment,
    )  # fmt: skip


MARKS = (0o644 << 16, 0, 0, b"", b"")
BEFORE = (2021, 11, 29, 23, 58, 42)


def test_parts_keep_their_day_system_and_way_of_packing_and_new_ones_get_none() -> None:
    package = Parts(theirs())
    package.put("A.xml", b"changed")
    package.put("b.bin", package.read("b.bin"))
    package.put("new.xml", b"new")
    package.put("ö.xml", "ö".encode())
    data = package.save()
    with zipfile.ZipFile(io.BytesIO(data)) as saved:
        assert saved.testzip() is None
        assert saved.namelist() == ["a.xml", "b.bin", "ä.xml", "new.xml", "ö.xml"]
        assert saved.read("a.xml") == b"changed"
        assert saved.read("ä.xml") == "<ä.xml/>".encode() * 100
        assert saved.read("ö.xml") == "ö".encode()
        # What was set to what it held already was not packed anew.
        assert [i.compress_type for i in saved.infolist()] == [8, 0, 8, 8, 8]
    assert said(data, "a.xml") == (BEFORE, 3, 20, 20, 0, *MARKS)
    assert said(data, "ä.xml") == (BEFORE, 3, 20, 20, 0x800, *MARKS)
    earliest = (1980, 1, 1, 0, 0, 0)  # two runs give the same bytes
    assert said(data, "new.xml") == (earliest, 0, 20, 20, 0, 0, *MARKS[1:])
    assert said(data, "ö.xml") == (earliest, 0, 20, 20, 0x800, 0, *MARKS[1:])


def test_every_part_says_at_its_own_head_what_the_directory_says() -> None:
    """Some programs read the heads alone."""
    package = Parts(theirs())
    package.put("new.xml", b"new")
    data = package.save()
    with zipfile.ZipFile(io.BytesIO(data)) as saved:
        infos = saved.infolist()
    for i in infos:
        name = i.filename.encode()
        year, month, day, hour, minute, second = i.date_time
        assert struct.unpack_from("<4s5H3I2H", data, i.header_offset) == (
            b"PK\x03\x04", 20, i.flag_bits, i.compress_type,
            hour << 11 | minute << 5 | second >> 1, (year - 1980) << 9 | month << 5 | day,
            i.CRC, i.compress_size, i.file_size, len(name), 0,
        )  # fmt: skip
        assert data[i.header_offset + 30 :].startswith(name)
    directory = data.index(b"PK\x01\x02")
    end = (b"PK\x05\x06", 0, 0, 4, 4, len(data) - 22 - directory, directory, 0)
    assert struct.unpack("<4s4H2IH", data[-22:]) == end


def test_a_name_in_the_old_code_of_zips_stays_in_it() -> None:
    old = packed({"xl/u.xml": b"<a/>"}).replace(b"xl/u.xml", b"xl/\x81.xml")
    data = Parts(old).save()
    assert data.count(b"xl/\x81.xml") == 2
    assert said(data, "xl/ü.xml")[4] == 0


@pytest.mark.parametrize(("old", "new"), [(b"a", b"b"), (b"b", b"a"), (b"a", b"ab"), (b"ab", b"a")])
def test_a_part_that_is_set_holds_what_it_was_set_to(old: bytes, new: bytes) -> None:
    package = Parts(packed({"a": old}))
    package.put("a", new)
    assert package.read("a") == new


def test_what_repeats_over_a_long_way_is_unpacked() -> None:
    """The format lets a part point back over 32 KiB."""
    noise = random.Random(1).randbytes(20_000) * 2
    package = Parts(packed({"a": b""}))
    package.put("a", noise)
    assert package.read("a") == noise
    assert package.head("a", 50_000) == noise


def entry_of(data: bytes, **more: int) -> zipfile.ZipInfo:
    (info,) = open_archive(data).entries
    for name, value in more.items():
        setattr(info, name, value)
    return info


def test_a_head_that_is_not_where_the_directory_says_is_damage() -> None:
    data = packed({"a.xml": b"<a/>"})
    assert _read_entry(data, entry_of(data)).size == 4
    broken = "The part 'a.xml' of the file is damaged; open the book in a spreadsheet program, save"
    beyond = data[:-4] + b"PK\x03\x04"
    for odd, info in (
        (b"PK\x03\x03" + data[4:], entry_of(data)),
        (b"PK\x03\x05" + data[4:], entry_of(data)),
        (beyond, entry_of(data, header_offset=len(beyond) - 4)),
        (data, entry_of(data, compress_size=len(data))),
    ):
        with pytest.raises(GraftError, match=broken):
            _read_entry(odd, info)


def test_an_encrypted_part_is_named_and_other_marks_are_none() -> None:
    data = packed({"a.xml": b"<a/>"})
    assert _read_entry(data, entry_of(data, flag_bits=0x806)).utf8
    assert not _read_entry(data, entry_of(data, flag_bits=0x006)).utf8
    with pytest.raises(
        GraftError, match=r"The part 'a\.xml' of the file is encrypted; save the book"
    ):
        _read_entry(data, entry_of(data, flag_bits=0x807))


def test_only_an_old_workbooks_first_bytes_ask_for_the_password() -> None:
    with pytest.raises(GraftError, match=r"protected by a password or is an old \.xls workbook"):
        _archive(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
    for data in (b"\xff\xff", b"A", b"\xd0\xcf\x11"):
        with pytest.raises(
            GraftError, match=r"The file is not an \.xlsx or \.xlsm workbook, or it is"
        ):
            _archive(data)


def test_a_part_that_is_not_there_is_named() -> None:
    package = Parts(packed({"a.xml": b"<a/>"}))
    assert ("\\A.xml" in package, "b.xml" in package) == (True, False)
    with pytest.raises(GraftError, match=r"^The file lacks its part 'b\.xml'; open it in a spread"):
        package.read("b.xml")
    package.drop("b.xml")
    package.drop("/a.XML")
    assert package.parts == []


def test_the_formats_of_a_sheet_that_was_set_are_those_that_it_has_now() -> None:
    opened = Package(open_archive(packed({"s.xml": b'<c s="3"/>'})))
    package = Parts(opened)
    assert package.asked("s.xml").cellXfs == {3}
    opened.note_asked("/S.xml", Asked({9}))  # as whoever read the sheet says
    assert package.asked("s.xml").cellXfs == {9}
    package.put("s.xml", b'<c s="4"/><cfRule dxfId="2"/><row style=\'5\'/>')
    asked = package.asked("S.xml")
    assert (asked.cellXfs, asked.dxfs) == ({4, 5}, {2})
    asked.cells(["7", None, ""])
    assert asked.cellXfs == {4, 5, 7}
    for encoding in ("utf-16-le", "utf-16-be"):
        package.put("s.xml", '\ufeff<c s="6"/>'.encode(encoding))
        assert package.asked("s.xml").cellXfs == {6}


def test_the_checksum_of_two_pieces_is_that_of_the_whole() -> None:
    package = Parts(packed({"a": b""}))
    package.put_pieces("a", (b"ab", b"", b"cd"))
    assert package._entries["a"].crc == zlib.crc32(b"abcd")
    assert package.read("a") == b"abcd"
