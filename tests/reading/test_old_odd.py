"""Old .xls files that contradict themselves: read where no value depends on it, else said where."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
import xlrd.compdoc

from siltbook.batch.errors import BookError
from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading import oldbook, oldodd
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.workbook import open_workbook

OTHER = (Path(__file__).with_name("data") / "other.xls").read_bytes()
SECTOR = 512  # [bytes]


def record(kind: int, data: bytes) -> bytes:
    return struct.pack("<HH", kind, len(data)) + data


def small(*records: bytes) -> bytes:
    """A stream of the fifth version of the format that stands alone: one sheet, these records."""
    begin = struct.pack("<HHHH", 0x500, 5, 0, 0)
    heads = record(0x809, begin) + record(0x42, struct.pack("<H", 1252))
    name = b"Readings"
    where = len(heads) + 4 + 6 + 1 + len(name) + 4
    sheet = struct.pack("<IBBB", where, 0, 0, len(name)) + name
    body = record(0x809, struct.pack("<HHHH", 0x500, 0x10, 0, 0)) + b"".join(records)
    return heads + record(0x85, sheet) + record(0x0A, b"") + body + record(0x0A, b"")


def label(row: int, text: bytes) -> bytes:
    return record(0x204, struct.pack("<HHHH", row, 0, 0, len(text)) + text)


def first_column(data: bytes) -> tuple[list[object], str]:
    made, said = as_xlsx(data, "b.xls")
    book = open_workbook(open_package(made, "b.xls"), "b.xls")
    return list(read_sheet(book, book.sheets[0]).columns[0].values), said


def announcing_more_texts(data: bytes) -> bytes:
    """Its list of texts says that it has 90 more than there are."""
    store = xlrd.compdoc.CompDoc(data)
    stream, start, _ = store.locate_named_stream("Workbook")
    assert stream is data
    at = start
    while (kind := struct.unpack("<H", data[at : at + 2])[0]) != 0xFC:
        at += 4 + struct.unpack("<H", data[at + 2 : at + 4])[0]
    assert kind == 0xFC
    there = struct.unpack("<I", data[at + 8 : at + 12])[0]
    return data[: at + 8] + struct.pack("<I", there + 90) + data[at + 12 :]


def using_a_piece_twice(data: bytes) -> bytes:
    """Its stream of small pieces begins within its workbook."""
    store = xlrd.compdoc.CompDoc(data)
    book = next(node for node in store.dirlist if node.name == "Workbook")
    root = SECTOR * (1 + store.dir_first_sec_sid) + 116
    sector = store.SAT[book.first_SID]
    length = SECTOR * (1 + sum(1 for node in store.SAT if node >= sector))
    return data[:root] + struct.pack("<ii", sector, length) + data[root + 8 :]


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("data", "odd"),
    [
        (announcing_more_texts(OTHER), oldodd.FEWER_TEXTS),
        (using_a_piece_twice(OTHER), oldodd.TWICE),
    ],
    ids=["texts", "twice"],
)
def test_what_no_value_depends_on_is_passed_over_and_said(data: bytes, odd: str) -> None:
    read, sound = read_book(data, "other.xls"), read_book(OTHER, "other.xls")
    assert read.book.counts == sound.book.counts
    assert read.book.readings.frame.remark.tolist() == sound.book.readings.frame.remark.tolist()
    said = as_xlsx(data, "other.xls")[1]
    assert said == (
        f"an old binary workbook (.xls) that contradicts itself ({odd}; look whether its values "
        "are right)"
    )
    run, checked = review_bytes(data, "other.xls", "o.xls").assessment, assess_bytes(data, "o.xls")
    for findings in (run.findings, checked.findings):
        assert [said in f.message for f in findings if f.rule == "book-carried-over"] == [True]
    assert "contradicts" not in as_xlsx(OTHER, "other.xls")[1]


def test_a_broken_link_costs_no_cell() -> None:
    link = record(0x1B8, struct.pack("<HHHH", 0, 0, 0, 0) + b"no link at all" * 3)
    values, said = first_column(small(label(0, b"Station"), link, label(1, b"F1")))
    assert values == ["Station", "F1"]
    assert oldodd.BESIDE in said


def test_the_parser_is_as_it_was_afterwards() -> None:
    before = xlrd.book.unpack_SST_table, xlrd.sheet.Sheet.handle_hlink
    with oldodd.passing_over():
        assert xlrd.book.unpack_SST_table is not before[0]
    assert (xlrd.book.unpack_SST_table, xlrd.sheet.Sheet.handle_hlink) == before


def test_damage_that_a_value_depends_on_is_said_with_its_sheet() -> None:
    """A text whose length counts characters where the format counts bytes: half of it would stand
    there as if it were the whole."""
    rich = record(0xD6, struct.pack("<HHHH", 1, 0, 0, 3) + b"F1 with Color\x02\x00\x08\x02\x00")
    with pytest.raises(BookError) as told:
        read_book(small(label(0, b"Station"), rich), "b.xls")
    assert str(told.value) == (
        "b.xls is damaged or not complete (in its sheet 'Readings'): open it in a spreadsheet "
        "program, let it repair the file, and save it again, or fetch a fresh copy."
    )


def test_a_file_whose_store_is_broken_says_so() -> None:
    with pytest.raises(BookError, match=r"\(in what says where its sheets stand\)"):
        oldbook.convert(OTHER[:600], "b.xls")
