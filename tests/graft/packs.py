"""Workbooks for these tests: invented result sheets, and books that hold what people put in."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping

import xlsxwriter

from siltbook.templates.contract import RESULT_MARK

NAMES = ("Actions", "Trends")
LISTS = {
    "[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/styles.xml",
    "docProps/app.xml",
}  # fmt: skip
SELECTED = b' tabSelected="1"'  # the mark of the sheet that was open
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def results(rows: int = 5, table: str = "SiltbookActions") -> bytes:
    """Two result sheets with everything that ours may hold."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    bold = book.add_format({"bold": True, "bg_color": "#DDEEFF", "border": 1})
    metres = book.add_format({"num_format": '0.00 "m"'})
    red = book.add_format({"bg_color": "#FF0000", "num_format": "0.000"})
    sheet = book.add_worksheet(NAMES[0])
    sheet.write_string("A1", RESULT_MARK)
    sheet.write_string("B1", " kept spaces & <signs> ")
    columns = [
        {"header": "Station", "header_format": bold},
        {"header": "Drop", "format": metres},
        {"header": "Twice"},
    ]
    sheet.add_table(3, 0, 3 + rows, 2, {"name": table, "columns": columns})
    for i in range(rows):
        sheet.write_string(4 + i, 0, f"Ünit {i}")
        sheet.write_number(4 + i, 1, i, metres)
        formula = f"={table}[[#This Row],[Drop]]*2"
        sheet.write_formula(4 + i, 2, formula, None, i * 2)
    rule = {"type": "cell", "criteria": ">", "value": 2, "format": red}
    sheet.conditional_format(4, 1, 3 + rows, 1, rule)
    sheet.data_validation("F1", {"validate": "list", "source": ["yes", "no"]})
    sheet.write_url("G1", "internal:'Trends'!A1")
    sheet.write_url("G2", "https://example.org/a?b=1&c=2")
    sheet.set_column(0, 0, 20, bold)
    sheet.repeat_rows(3)
    sheet.print_area(0, 0, 10, 3)
    sheet.activate()
    trends = book.add_worksheet(NAMES[1])
    trends.write_string("A2", RESULT_MARK)
    trends.write_rich_string("A5", "plain ", bold, "bold", " plain")
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": "=Actions!$B$5:$B$9", "categories": "=Actions!$A$5:$A$9"})
    trends.insert_chart("B4", chart)
    book.close()
    return stream.getvalue()


def picture() -> bytes:
    """A one-pixel picture, made by hand."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        crc = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", crc)

    head = struct.pack(">2I5B", 1, 1, 8, 2, 0, 0, 0)
    pixel = zlib.compress(b"\x00\xff\x00\x00")
    body = chunk(b"IHDR", head) + chunk(b"IDAT", pixel) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def practitioner() -> bytes:
    """A person's book with chart, picture, text box, sparkline, comment, table and names."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    farm = book.add_worksheet("Farm")
    odd = book.add_format({"num_format": "0.0000", "font_color": "#123456"})
    farm.write_column("A1", [3.0, 2.0, 1.0], odd)
    farm.write_formula("A4", "=SUM(A1:A3)", odd, 6)
    chart = book.add_chart({"type": "column"})
    chart.add_series({"values": "=Farm!$A$1:$A$3"})
    farm.insert_chart("D1", chart)
    farm.insert_image("D20", "dot.png", {"image_data": io.BytesIO(picture())})
    farm.insert_textbox("H20", "Remember the pump")
    farm.add_sparkline("B1", {"range": "Farm!A1:A3"})
    farm.write_comment("A1", "Read twice")
    farm.conditional_format("A1:A3", {"type": "data_bar", "data_bar_2010": True})
    notes = book.add_worksheet("Notes")
    notes.add_table("B2:C4", {"name": "siltbookactions"})
    notes.print_area("A1:C4")
    book.define_name("Limit", "=Farm!$A$2")
    book.close()
    return stream.getvalue()


def plain(*names: str) -> bytes:
    """A book with these sheets and a text in A1 of each."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    for name in names:
        book.add_worksheet(name).write_string("A1", f"mine {name}")
    book.close()
    return stream.getvalue()


def parts(data: bytes) -> dict[str, bytes]:
    """All parts of a workbook file, in order."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def sheet_part(data: bytes, name: str) -> str:
    """The part of the sheet with this name, as the book's relationships lead to it."""
    content = parts(data)
    book, rels = content["xl/workbook.xml"].decode(), content["xl/_rels/workbook.xml.rels"].decode()
    sheet = re.search(rf'<(?:\w+:)?sheet [^>]*?name="{re.escape(name)}"[^>]*?:id="(\w+)"', book)
    assert sheet is not None, name
    found = re.search(rf'<Relationship [^>]*?Id="{sheet[1]}"[^>]*>', rels)
    target = re.search(r'Target="(?:/xl/)?([^"]+)"', found[0]) if found else None
    assert target is not None
    return f"xl/{target[1]}"


def packed(content: Mapping[str, bytes]) -> bytes:
    """A workbook file of these parts."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in content.items():
            archive.writestr(zipfile.ZipInfo(name, (2020, 2, 2, 2, 2, 2)), data)
    return stream.getvalue()


def changed(data: bytes, part: str, *edits: tuple[str, str]) -> bytes:
    """The file with texts of one part replaced; each must be there."""
    content = parts(data)
    text = content[part].decode()
    for old, new in edits:
        assert old in text, (part, old)
        text = text.replace(old, new)
    content[part] = text.encode()
    return packed(content)


def extended(data: bytes, extra: Mapping[str, tuple[str, str, bytes]]) -> bytes:
    """The file with parts added: name -> (content type, relationship kind or '', bytes)."""
    content = parts(data)
    types, rels = "", ""
    for number, (name, (kind, relation, body)) in enumerate(extra.items()):
        content[name] = body
        types += f'<Override PartName="/{name}" ContentType="{kind}"/>'
        if relation:
            target = name.removeprefix("xl/")
            type_ = relation if ":" in relation else f"{_OFFICE}/{relation}"
            rels += f'<Relationship Id="x{number}" Type="{type_}" Target="{target}"/>'
    file = packed(content)
    file = changed(file, "[Content_Types].xml", ("</Types>", f"{types}</Types>"))
    return changed(
        file, "xl/_rels/workbook.xml.rels", ("</Relationships>", f"{rels}</Relationships>")
    )


def loaded() -> bytes:
    """The practitioner's book with macros, a pivot cache, a person list and a custom part too."""
    sheet = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    microsoft = "http://schemas.microsoft.com/office"
    cache = (
        '<pivotCacheDefinition xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>'
    )
    people = '<personList xmlns="http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments"/>'
    return changed(
        extended(
            practitioner(),
            {
                "xl/vbaProject.bin": (
                    "application/vnd.ms-office.vbaProject",
                    f"{microsoft}/2006/relationships/vbaProject",
                    b"\xcc\x61 invented macro project \x00\x01",
                ),
                "xl/pivotCache/pivotCacheDefinition1.xml": (
                    f"{sheet}.pivotCacheDefinition+xml", "pivotCacheDefinition", cache.encode(),
                ),
                "xl/persons/person.xml": (
                    "application/vnd.ms-excel.person+xml",
                    f"{microsoft}/2017/10/relationships/person",
                    people.encode(),
                ),
                "xl/threadedComments/threadedComment1.xml": (
                    "application/vnd.ms-excel.threadedcomments+xml", "",
                    people.replace("personList", "ThreadedComments").encode(),
                ),
            },
        ),
        "[Content_Types].xml",
        (f"{sheet}.sheet.main+xml", "application/vnd.ms-excel.sheet.macroEnabled.main+xml"),
    )  # fmt: skip
