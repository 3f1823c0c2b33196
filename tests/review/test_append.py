"""Rows added to sheets as other programs write them, and the sheets that are refused."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable

import openpyxl
import pytest

from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.parts import Parts
from siltbook.batch.reading.book import read_book
from siltbook.batch.review.append import append_rows
from tests.lint import lint
from tests.review.test_agree import small

PART = "xl/worksheets/sheet4.xml"
ROW: dict[str, str | dt.date] = {
    "station": "B", "action": "Look", "due": dt.date(2026, 8, 10),
}  # fmt: skip
STYLES = [0, 1]  # what XlsxWriter's second format shows: a date


def edited(data: bytes, edit: Callable[[str], str], part: str = PART) -> bytes:
    """The package with one part's text changed."""
    package = Parts(data)
    text = package.read(part).decode()
    changed = edit(text)
    assert changed != text
    package.put(part, changed.encode())
    return package.save()


def added(data: bytes, rows: int = 1) -> tuple[bytes, list[int]]:
    table = read_book(data, "small.xlsx").book.agreed
    return append_rows(data, table, [ROW] * rows, STYLES)


def values(data: bytes, row: int) -> list[object]:
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Agreed"]
    return [cell.value for cell in sheet[row]]


NEW = [None, None, dt.datetime(2026, 8, 10), "B", "Look", None]


def with_prefix(xml: str) -> str:
    xml = re.sub(r"<(/?)([a-zA-Z])", r"<\1x:\2", xml.partition("?>")[2])
    xml = xml.replace(" xmlns=", " xmlns:x=")
    return f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>{xml}'


def test_a_sheet_whose_elements_carry_a_prefix() -> None:
    data = edited(small(2), with_prefix)
    done, numbers = added(data)
    assert numbers == [6]
    assert values(done, 6) == NEW
    with zipfile.ZipFile(io.BytesIO(done)) as package:
        assert b'<x:row r="6"><x:c r="C6"' in package.read(PART)


def test_a_row_that_stands_there_empty_is_filled_and_keeps_its_height() -> None:
    blank = '<row r="6" ht="30" customHeight="1"/></sheetData>'
    data = edited(small(2, spare=1), lambda x: re.sub(r'<row r="6".*?</row></sheetData>', blank, x))
    done, numbers = added(data, rows=2)
    assert numbers == [6, 7]
    assert values(done, 6) == NEW
    assert values(done, 7) == NEW
    with zipfile.ZipFile(io.BytesIO(done)) as package:
        assert b'<row r="6" ht="30" customHeight="1"><c r="C6"' in package.read(PART)
    assert lint(done) == []


def test_a_persons_own_cell_in_the_row_stays() -> None:
    own = '<row r="6"><c r="B6"/><c r="H6" t="inlineStr"><is><t>mine</t></is></c></row></sheetData>'
    wide = re.compile('<dimension ref="[^"]*"')
    data = edited(
        small(2), lambda x: wide.sub('<dimension ref="B3:H6"', x.replace("</sheetData>", own))
    )
    done, _ = added(data)
    assert values(done, 6) == [*NEW, None, "mine"]
    assert lint(done) == []


def test_a_row_below_the_list_stays_behind_it() -> None:
    below = '<row r="9"><c r="H9"><v>1</v></c></row></sheetData>'
    data = edited(small(2), lambda x: x.replace("</sheetData>", below))
    done, numbers = added(data, rows=2)
    assert numbers == [6, 7]
    with zipfile.ZipFile(io.BytesIO(done)) as package:
        rows = re.findall(rb'<row r="(\d+)"', package.read(PART))
    assert [int(r) for r in rows] == [3, 4, 5, 6, 7, 9]


def test_the_same_input_gives_the_same_bytes() -> None:
    data = small(2)  # made once: a workbook says when it was made
    assert added(data) == added(data)


def test_cells_without_addresses_are_refused() -> None:
    data = edited(small(2), lambda x: re.sub(r'<c r="[A-Z]+4"', "<c", x))
    with pytest.raises(GraftError, match="The sheet Agreed does not number its cells; open it in"):
        append_rows(data, read_book(small(2), "small.xlsx").book.agreed, [ROW], STYLES)


def test_merged_cells_in_the_way_are_named() -> None:
    merge = '</sheetData><mergeCells count="1"><mergeCell ref="B6:C8"/></mergeCells>'
    data = edited(small(2), lambda x: x.replace("</sheetData>", merge))
    with pytest.raises(GraftError, match=r"^Agreed!B6:C8 is merged where the new rows belong"):
        added(data)


def test_a_signed_book_is_refused() -> None:
    package = Parts(small(2))
    package.put("_xmlsignatures/sig1.xml", b"<Signature/>")
    with pytest.raises(GraftError, match=r"^The book carries a digital signature"):
        added(package.save())
