"""Packages as programs write them, damaged ones and hostile ones."""

from __future__ import annotations

import datetime as dt
import io
import os
import random
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from siltbook.batch.errors import BookError
from siltbook.batch.files import open_file
from siltbook.batch.package import opened
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading import sheetxml
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import Style
from siltbook.batch.reading.columns import one_choice
from siltbook.batch.reading.numerals import one_number
from siltbook.batch.reading.parsing import (
    date_order,
    date_text,
    decimal_mark,
    number_time,
    time_text,
)
from siltbook.batch.reading.workbook import format_kind, open_workbook
from siltbook.templates.contract import SHEETS
from siltbook.templates.units import metres_per
from tests.amount import examples, whole
from tests.effort import calls
from tests.reading.books import (
    HEAD,
    MAIN,
    NAME,
    clean_sheets,
    raw_book,
    raw_sheet,
    row,
    workbook,
    zipped,
)

CLEAN = workbook(clean_sheets())


def refusal(data: bytes, name: str = NAME) -> str:
    """The sentence with which a book is refused."""
    with pytest.raises(BookError) as caught:
        read_book(data, name)
    text = str(caught.value)
    assert text.startswith(name)
    assert text.endswith(".")
    assert "\n" not in text
    return text


def cells(*content: str, **more) -> object:
    """The readings of a hand-written book with one row after the header."""
    return read_book(raw_book(raw_sheet(HEAD, row(*content)), **more), NAME)


def test_cells_without_addresses_rich_text_and_values():
    result = cells(
        '<c t="inlineStr"><is><r><t>F</t></r><r><t>1</t></r><rPh><t>x</t></rPh></is></c>',
        '<c t="d"><v>2026-05-31T06:00:00</v></c>', "<c/>", "<c><v>3</v></c>",
        '<c t="str"><f>A1</f><v>2,5</v></c>',
    )  # fmt: skip
    frame = result.book.readings.frame
    assert (frame.station[2], frame.date[2], frame.time[2]) == (
        "F1", dt.date(2026, 5, 31), dt.time(6, 0),
    )  # fmt: skip
    assert frame.outlet[2] == pytest.approx(2.5 * metres_per("bar"))


def test_formula_without_value_and_error_cell():
    result = cells("F1", "2026-05-31", "<c/>", "<c><f>B1</f><v/></c>", '<c t="e"><v>#REF!</v></c>')
    assert [f.message for f in result.findings] == [
        "Readings!D2: formula without a stored value: read a formula without a value; accepted: a"
        " number in bar. Open and save the book in a spreadsheet program.",
        "Readings!E2: error value in a cell: read #REF!; accepted: a number in bar."
        " Repair the formula or type the value.",
    ]


@pytest.mark.parametrize(("main", "serial"), [("", 46173), ('<workbookPr date1904="1"/>', 44711)])
def test_both_date_systems(main, serial):
    result = cells("F1", f'<c s="1"><v>{serial}</v></c>', "<c/>", "3", "2", main=main)
    assert result.book.readings.frame.date[2] == dt.date(2026, 5, 31)


def test_strict_and_prefixed_namespaces():
    strict = raw_sheet(HEAD, row("F1", "2026-05-31", "<c/>", "3", "2")).replace(
        MAIN, "http://purl.oclc.org/ooxml/spreadsheetml/main"
    )
    prefixed = strict.replace("<", "<q:").replace("<q:/", "</q:").replace("xmlns=", "xmlns:q=")
    for sheet in (strict, prefixed):
        assert read_book(raw_book(sheet), NAME).book.counts["Readings"].used == 1


def test_merged_cells_are_noted():
    sheet = raw_sheet(
        HEAD,
        row("F1", "2026-05-31", "<c/>", "3", "2"),
        row("<c/>", "2026-05-31", "<c/>", "3", "2"),
        after='<mergeCells><mergeCell ref="A2:A3"/></mergeCells>',
    )  # fmt: skip
    found = read_book(raw_book(sheet), NAME).findings
    assert found[0].message == (
        "Readings!A2: merged cells in the list: read A2:A3 as one cell; accepted: one cell for"
        " every row. Unmerge them and fill every row."
    )


def test_a_far_corner_costs_nothing():
    far = '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    good = row("F1", "2026-05-31", "<c/>", "3", "2")
    near, far = (raw_book(raw_sheet(HEAD, good, *more)) for more in ((), (far,)))
    read_book(near, NAME)  # what is loaded once
    assert calls(lambda: read_book(far, NAME)) < 1.1 * calls(lambda: read_book(near, NAME))


@pytest.mark.parametrize(
    "content",
    ['<row r="1048577"><c><v>1</v></c></row>', '<row r="2"><c r="XFE2"><v>1</v></c></row>',
     '<row r="2"><c r="??"><v>1</v></c></row>', '<row r="2"><c t="s"><v>-1</v></c></row>',
     '<row r="2"><c t="s"><v>9</v></c></row>', "<row><c><v>nan</v></c></row>",
     "<row><c><v>1e999</v></c></row>", "<row><c>"],
)  # fmt: skip
def test_impossible_cells_are_damage(content):
    assert "is damaged or not complete" in refusal(raw_book(raw_sheet(HEAD, content)))


def test_a_doctype_is_refused():
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaa">]>' + raw_sheet(HEAD)
    assert "is damaged or not complete" in refusal(raw_book(bomb))


def test_first_bytes():
    assert "is damaged or not complete" in refusal(b"\xd0\xcf\x11\xe0" + bytes(600))
    locked = b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le")
    assert "protected by a password: save it as .xlsx without a password." in refusal(locked)
    assert "is empty (0 bytes)" in refusal(b"")
    assert "is not an .xlsx workbook: save it as .xlsx" in refusal(b"Station;Date")
    assert "has no worksheet" in refusal(zipped({"content.xml": "<a/>"}), "book.ods")
    assert "lock file of an open workbook" in refusal(CLEAN, "~$book.xlsx")


def test_files_that_are_none(tmp_path):
    folder = tmp_path / "a.xlsx"
    folder.mkdir()
    with pytest.raises(BookError, match=r"a\.xlsx: this is a folder, not a workbook"):
        open_file(folder)
    with pytest.raises(BookError, match=r"b\.xlsx: no such file\. Check the spelling of the path"):
        open_file(tmp_path / "b.xlsx")
    os.mkfifo(tmp_path / "c.xlsx")
    with pytest.raises(BookError, match=r"c\.xlsx: this is not an ordinary file"):
        open_file(tmp_path / "c.xlsx")


def test_limits(monkeypatch):
    blank = raw_sheet(HEAD) + " " * (33 * 2**20)
    assert "unpacks to more than 200 times its size" in refusal(raw_book(blank))
    many = {f"x/{i}": "" for i in range(10_001)}
    assert "parts, more than the 10,000 of any workbook" in refusal(raw_book("", extra=many))
    monkeypatch.setattr(opened, "MAX_TOTAL", 1000)
    said = "would unpack to 0.0 GB, more than 0.0 GB: it was not read."
    assert said in refusal(CLEAN)


def test_a_directory_without_end_is_counted_before_it_is_read(monkeypatch):
    def read(_):
        raise AssertionError("the directory was read")

    monkeypatch.setattr(zipfile, "ZipFile", read)
    entries = (b"PK\x01\x02" + bytes(43)) * 3_000_000
    said = refusal(b"PK\x03\x04" + entries)
    assert "holds 3,000,000 parts, more than the 10,000 of any workbook: it was not read." in said


def test_truncated_and_flipped_bytes():
    dice = random.Random(7)
    for length in range(0, len(CLEAN), 997):
        refusal(CLEAN[:length])
    for _ in range(100):
        data = bytearray(CLEAN)
        for _ in range(dice.randint(1, 4)):
            data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        _read_or_refuse(bytes(data))


def _read_or_refuse(data: bytes) -> None:
    try:
        read_book(data, NAME)
    except BookError as error:
        assert NAME in str(error)  # noqa: PT017 - both outcomes are allowed


PARTS = (
    "_rels/.rels",
    "xl/workbook.xml",
    "xl/_rels/workbook.xml.rels",
    "xl/styles.xml",
    "xl/worksheets/sheet2.xml",
)
QUICK = settings(
    max_examples=examples(60),
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)


@QUICK
@given(st.binary(max_size=400), st.booleans())
def test_any_bytes_are_read_or_refused(data, packed):
    _read_or_refuse(b"PK\x03\x04" + data if packed else data)


@QUICK
@given(st.sampled_from(PARTS), st.binary(max_size=200) | st.text(max_size=200))
def test_any_part_is_read_or_refused(part, content):
    _read_or_refuse(raw_book(raw_sheet(HEAD), extra={part: content}))


TEXT = st.text(max_size=30) | st.text("0123456789.,'-/: eEhpambr+%", max_size=14)


@QUICK
@given(TEXT, st.sampled_from(["", ".", ","]), st.sampled_from(["", "dmy", "mdy"]))
def test_no_text_makes_parsing_raise(text, mark, order):
    for sheet in SHEETS:
        for column in sheet.columns:
            number = one_number(column, text, Style.PLAIN, mark)
            assert number.code
            assert one_choice(column, text) in (None, *column.choices)
    assert date_text(text, order).date is None or not date_text(text, order).ambiguous
    assert time_text(text) is None or time_text(text) <= dt.time(23, 59, 59)
    assert decimal_mark([text]) in ("", ".", ",")
    assert date_order([text]) in ("", "dmy", "mdy")


@QUICK
@given(st.floats(allow_nan=False, allow_infinity=False), st.booleans(), TEXT)
def test_no_value_makes_reading_raise(number, flag, text):
    content = [
        f"<c><v>{number!r}</v></c>",
        f'<c s="1"><v>{number!r}</v></c>',
        "x" + text.strip("\0"),
    ]
    clean = [c if c[:2] == "<c" else "".join(x for x in c if x.isprintable()) for c in content]
    clean.append(f'<c t="b"><v>{int(flag)}</v></c>')
    for start in range(4):
        turned = (clean + clean)[start : start + 4]
        counts = cells(*turned, turned[0]).book.counts["Readings"]
        assert counts.read == counts.used + counts.set_aside == 1
    assert number_time(number, flag) is None or number_time(number, flag) <= dt.time(23, 59, 59)


@pytest.mark.parametrize(
    ("code", "kind"),
    [("General", 0), ("0.00", 0), ("dd/mm/yyyy", 1), ("[h]:mm", 1), ('0.0 "bar (day)"', 0),
     ("[Red]0.0", 0), ("0.0%", 2), ("mm:ss.0", 1), (r"0.0\ \m", 0), ("[$-409]d-mmm;@", 1)],
)  # fmt: skip
def test_number_formats(code, kind):
    assert format_kind(code) == kind


def test_the_quick_way_and_the_exact_way_agree(monkeypatch):
    sheets = clean_sheets(300)
    sheets["Readings"][5] = ["F1 <&>", "31/05/2026", ("=1/24", 0.25), ("=1+1", 2), True, None]
    data = workbook(sheets)
    book = open_workbook(open_package(data, NAME), NAME)
    quick = [sheetxml.read_sheet(book, part) for part in book.sheets]
    monkeypatch.setattr(sheetxml, "_quick_sheet", lambda *_: None)
    assert [sheetxml.read_sheet(book, part) for part in book.sheets] == quick
    assert quick[2].columns[3].values[5] == 2.0


def test_four_times_the_readings_cost_at_most_five_times_as_much():
    count = 5_000 if whole() else 1_500
    few, data = (workbook(clean_sheets(rows)) for rows in (count, 4 * count))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.getinfo("xl/worksheets/sheet3.xml").file_size > 600 * count
    assert calls(lambda: read_book(data, NAME)) < 5 * calls(lambda: read_book(few, NAME))
    assert read_book(data, NAME).book.counts["Readings"].used == 4 * count
