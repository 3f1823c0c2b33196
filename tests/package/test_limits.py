"""Where the limits of a package lie, to the byte, and what is said beyond them."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import replace
from xml.parsers.expat import ExpatError

import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.package import deflate, opened, parts
from siltbook.batch.package.limits import BeyondMeasureError, GraftError, damaged, save_as_xlsx
from siltbook.batch.package.opened import (
    Package,
    _check_first_bytes,
    _check_limits,
    _refuse_size,
    elements,
    open_archive,
    open_package,
)
from siltbook.batch.package.parts import Entry, Parts, _unpack
from siltbook.batch.package.spans import Document
from tests.graft.packs import packed

MIB = 1_048_576
MOMENT = (2026, 1, 1, 0, 0, 0)


def package(**content: bytes) -> Package:
    """A package of parts without a dot in their names."""
    return Package(open_archive(packed(content)))


def info(size: int = 1, packed_size: int = 1, flags: int = 0, method: int = 8) -> zipfile.ZipInfo:
    """What a list of parts says of one."""
    made = zipfile.ZipInfo("a.xml")
    made.file_size, made.compress_size = size, packed_size
    made.flag_bits, made.compress_type = flags, method
    return made


TOTAL = info(1_500_000_000, 750_000_000)


@pytest.mark.parametrize(
    "entries",
    [
        [info()] * 10_000,
        [TOTAL],
        [info(33_554_431)],
        [info(40_000_000, 200_000)],
        [info(flags=2), info(flags=0x800), info(method=0)],
    ],
)
def test_what_lies_on_a_limit_is_read(entries: list[zipfile.ZipInfo]) -> None:
    _check_limits(entries, "b.xlsx")


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        ([info()] * 10_001, "holds 10,001 parts, more than the 10,000 of any workbook: it was not"),
        ([TOTAL, info()], "would unpack to 1.5 GB, more than 1.5 GB: it was not read."),
        ([TOTAL] * 2, "would unpack to 3.0 GB, more than 1.5 GB: it was not read."),
        ([info(33_554_432)], "unpacks to more than 200 times its size, which no filled workbook"),
        ([info(40_000_001, 200_000)], "unpacks to more than 200 times its size"),
        ([info(flags=1)], "is protected by a password: save it as .xlsx without a password."),
        ([info(flags=0x803)], "is protected by a password"),
        ([info(method=12)], "is packed in a way that workbooks do not use: save it again as .xlsx"),
    ],
)
def test_what_lies_beyond_a_limit_is_refused(entries: list[zipfile.ZipInfo], said: str) -> None:
    with pytest.raises(BookError) as caught:
        _check_limits(entries, "b.xlsx")
    assert str(caught.value).startswith(f"b.xlsx {said}")


def test_sizes_are_said_in_gigabytes(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BookError, match=r"would unpack to 1,000,000,000\.0 GB, more than 1\.5 GB"):
        _check_limits([info(10**18)], "b.xlsx")
    monkeypatch.setattr(opened, "MAX_TOTAL", 10**18)
    with pytest.raises(BookError, match=r"more than 1000000000\.0 GB: it was not read\."):
        _check_limits([info(10**18), info()], "b.xlsx")


def test_a_directory_is_counted_up_to_twice_the_parts_since_a_book_may_hold_packages() -> None:
    with pytest.raises(BookError, match=r"^b\.xlsx is damaged or not complete: open it"):
        open_package(b"PK\x01\x02" * 20_000, "b.xlsx")
    with pytest.raises(BookError, match=r"^b\.xlsx holds 20,001 parts, more than the 10,000 of"):
        open_package(b"PK\x01\x02" * 20_001, "b.xlsx")


@pytest.mark.parametrize(
    ("data", "name", "said"),
    [
        (b"", "b.xlsx", "b.xlsx is empty (0 bytes): fetch a fresh copy of the workbook."),
        (
            b"PK", "in/~$b.xlsx",
            "in/~$b.xlsx is the lock file of an open workbook, not the workbook: give the file"
            " whose name lacks the ~$.",
        ),
        (
            b"me", ".~lock.b.xlsx#",
            ".~lock.b.xlsx# is the lock file of an open workbook, not the workbook: give the file"
            " whose name lacks the .~lock. and the # at its end.",
        ),
        (
            b"A;B", "b.CSV",
            "b.CSV is a text table, not a workbook: run 'siltbook adopt b.CSV', which makes a book"
            " of it.",
        ),
        (b"Z;B", "b.dat", "b.dat is a text table, not a workbook: run 'siltbook adopt b.dat'"),
        (b"A;B", "b.xlsx", "b.xlsx is not an .xlsx workbook: save it as .xlsx in a spreadsheet"),
        (b"Z;B", "b", "b is not an .xlsx workbook: save it as .xlsx in a spreadsheet"),
    ],
)  # fmt: skip
def test_the_first_bytes_and_the_name_tell_what_else_a_file_is(
    data: bytes, name: str, said: str
) -> None:
    with pytest.raises(BookError) as caught:
        _check_first_bytes(data, name)
    assert str(caught.value).startswith(said)
    assert str(caught.value).endswith(".")


def test_a_workbook_is_one_whatever_its_ending() -> None:
    _check_first_bytes(b"PK\x03\x04", "b.csv")
    _check_first_bytes(b"PK\x03\x04", "b~$.xlsx")


def test_a_parsed_part_of_512_mib_is_taken_and_a_byte_more_is_not() -> None:
    _refuse_size(512 * MIB)
    said = "holds a list of 512 MiB, more than the 512 MiB of any season's workbook"
    with pytest.raises(BeyondMeasureError, match=said):
        _refuse_size(512 * MIB + 1)
    with pytest.raises(BeyondMeasureError, match="holds a list of 1,234 MiB, more than the 512"):
        _refuse_size(1_234 * MIB)


def test_the_most_tags_and_texts_that_a_book_may_hold() -> None:
    one = package(a=b"")
    one.spend(5_999_999)
    one.spend(1)
    one.spend_text(63_999_999)
    one.spend_text(1)
    with pytest.raises(BeyondMeasureError, match="holds more cells than any season's workbook"):
        one.spend(0.5)
    with pytest.raises(BeyondMeasureError, match="holds more text than any season's workbook"):
        one.spend_text(1)


def test_a_small_part_lists_at_most_300_000_things() -> None:
    with pytest.raises(ExpatError, match="not well-formed"):
        elements(b"<" * 300_000)
    with pytest.raises(ExpatError, match="no element found"):
        elements(b"<a>")
    with pytest.raises(BeyondMeasureError, match="lists more sheets or formats than any workbook"):
        elements(b"<" * 300_001)


def test_a_small_part_has_16_mib_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    one = package(a=b"")
    monkeypatch.setattr(one, "chunks", lambda part: iter((b"x", b"y")))
    one.archive.entries[0].file_size = 16 * MIB
    assert one.read("a") == b"xy"
    one.archive.entries[0].file_size += 1
    with pytest.raises(ValueError, match=r"^a is too large$"):
        one.read("a")
    assert one.read("a", 16 * MIB + 1) == b"xy"


def test_between_two_tags_stand_32_mib_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    class Quiet(bytes):
        """As many bytes as a mebibyte has, and no tag."""

        def __len__(self) -> int:
            return MIB

    one, quiet = package(a=b""), Quiet()
    pieces = [*[quiet] * 32, b"<a>", *[quiet] * 32]
    monkeypatch.setattr(one, "chunks", lambda part: iter(pieces))
    assert list(one.counted("a")) == pieces
    pieces.append(b" ")
    with pytest.raises(BeyondMeasureError, match="holds a piece of text longer than any workbook"):
        list(one.counted("a"))
    pieces[32:] = [b" "]
    with pytest.raises(BeyondMeasureError, match="holds a piece of text longer than any workbook"):
        list(one.counted("a"))


def test_a_part_comes_in_pieces_and_may_not_hold_more_than_was_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    one = package(a=bytes(MIB + 1))
    monkeypatch.setattr(opened, "MAX_TOTAL", MIB + 1)
    assert [len(piece) for piece in one.chunks("/A")] == [MIB, 1]
    with pytest.raises(ValueError, match="unpacks to more than is declared"):
        list(one.chunks("a"))
    assert bytes(one.anew().whole("a")) == bytes(MIB + 1)
    monkeypatch.setattr(opened, "MAX_TOTAL", MIB)
    with pytest.raises(ValueError, match="unpacks to more than is declared"):
        one.anew().whole("a")


def test_a_list_that_is_kept_in_memory_has_600_000_elements_at_most() -> None:
    with pytest.raises(GraftError, match=r"^The part 'a\.xml' of the file is damaged; open the"):
        Document(b"<" * 600_000, "a.xml")
    said = r"^The part 'a\.xml' of the file lists more than any workbook; delete what is not needed"
    with pytest.raises(GraftError, match=said):
        Document(b"<" * 600_001, "a.xml")


def test_the_sentences_of_damage_say_what_is_known() -> None:
    rest = ": open it in a spreadsheet program, let it repair the file, and save it again, or fetch"
    assert str(damaged("b.xlsx")).startswith(f"b.xlsx is damaged or not complete{rest}")
    where = damaged("b.xlsx", ValueError("x"), "in its sheet Farm")
    assert str(where).startswith(f"b.xlsx is damaged or not complete (in its sheet Farm){rest}")
    assert str(damaged("b.xlsx", BeyondMeasureError("is odd"))) == "b.xlsx is odd: it was not read."
    large = "b.xlsx: too large for this machine's memory. Split it, or use a machine with more."
    assert str(damaged("b.xlsx", MemoryError())) == large
    assert str(save_as_xlsx("b.xlsb", "an .xlsb")) == (
        "b.xlsb is an .xlsb, not an .xlsx workbook: save it as .xlsx in a spreadsheet program and"
        " give me that file."
    )


STORED = Entry("a", b"abc", zipfile.ZIP_STORED, zlib.crc32(b"abc"), 3, MOMENT, True)
RAW = zlib.compress(b"abc", wbits=-15)
DEFLATED = replace(STORED, raw=RAW, method=zipfile.ZIP_DEFLATED)


def test_an_entry_of_512_mib_is_looked_at_and_a_larger_one_is_not() -> None:
    with pytest.raises(GraftError, match="The part 'a' of the file is damaged"):
        _unpack(replace(STORED, size=536_870_912))
    with pytest.raises(GraftError, match="The part 'a' of the file says it is larger than 512 MiB"):
        _unpack(replace(STORED, size=536_870_913))


@pytest.mark.parametrize("off", [-1, 1])
@pytest.mark.parametrize("entry", [STORED, DEFLATED])
def test_a_part_whose_checksum_is_another_is_damaged(entry: Entry, off: int) -> None:
    assert _unpack(entry) == b"abc"
    with pytest.raises(GraftError, match="The part 'a' of the file is damaged; open the book"):
        _unpack(replace(entry, crc=entry.crc + off))


def test_a_part_that_unpacks_to_more_than_it_says_is_damaged_and_not_cut() -> None:
    with pytest.raises(GraftError, match="The part 'a' of the file is damaged"):
        _unpack(replace(DEFLATED, size=2, crc=zlib.crc32(b"ab")))


@pytest.mark.parametrize("size", [3, 4, 6])
def test_no_more_than_one_byte_beyond_what_a_part_says_is_ever_unpacked(
    size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []

    class Told:
        def decompress(self, _: bytes, most: int) -> bytes:
            asked.append(most)
            return b""

    monkeypatch.setattr(zlib, "decompressobj", lambda _: Told())
    with pytest.raises(GraftError, match="damaged"):
        _unpack(replace(DEFLATED, size=size))
    assert asked == [size + 1]


@pytest.mark.parametrize("method", [6, 12])
def test_a_part_packed_in_another_way_is_not_guessed_at(method: int) -> None:
    said = "The part 'a' of the file is compressed in a way that workbooks do not use; save the"
    odd = replace(DEFLATED, method=method)
    with pytest.raises(GraftError, match=said):
        _unpack(odd)
    package = Parts(packed({"a": b""}))
    package._entries["a"] = odd
    assert package.head("a", 9) == b""
    package._entries["a"] = replace(DEFLATED, method=zipfile.ZIP_STORED)
    assert package.head("a", 9) == b""
    package._entries["a"] = replace(DEFLATED, raw=b"\xff\xff")
    assert package.head("a", 9) == b""
    package._entries["a"] = DEFLATED
    assert (package.head("a", 2), package.head("a", 9), package.head("b", 9)) == (
        b"ab",
        b"abc",
        b"",
    )


@pytest.mark.parametrize(
    ("pieces", "quick"),
    [
        ((262_144,), 0),
        ((262_145,), 1),
        ((131_072, 131_072), 0),
        ((131_072, 131_073), 1),
        ((131_072, 131_073, 5, 300_000), 1),
    ],
)
def test_a_part_of_more_than_256_kib_is_packed_the_quick_way(
    pieces: tuple[int, ...], quick: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    own = deflate.quick
    monkeypatch.setattr(deflate, "quick", lambda: asked.append(None) or own())
    package = Parts(packed({"a": b""}))
    package.put_pieces("a", [bytes(length) for length in pieces])
    assert len(asked) == quick
    assert package.read("a") == bytes(sum(pieces))


def test_a_book_that_would_grow_beyond_4_gb_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    package = Parts(packed({"a.xml": b"<a/>"}))
    (length,) = (30 + len(e.name) + len(e.raw) for e in package._entries.values())

    class Far(io.BytesIO):
        """As if so many bytes stood before."""

        before = 0xFFFFFFFF - length

        def tell(self) -> int:
            return super().tell() + self.before

    class Io:
        BytesIO = Far

    monkeypatch.setattr(parts, "io", Io)
    assert package.save().startswith(b"PK\x03\x04")
    Far.before += 1
    with pytest.raises(GraftError, match="The book would grow beyond 4 GB, the most that this"):
        package.save()
