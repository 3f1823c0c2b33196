"""Placing result sheets: nothing of the person's is touched, and running again replaces ours."""

from __future__ import annotations

import io
import re
import shutil
import struct
import subprocess
import time
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.graft import GraftError, graft, taken_names
from tests.graft.packs import (
    LISTS,
    NAMES,
    changed,
    extended,
    loaded,
    packed,
    parts,
    plain,
    practitioner,
    results,
)
from tests.lint import lint

CORPORA = Path(__file__).parents[2].parent / "shared" / "corpora"
needs_office = pytest.mark.skipif(shutil.which("soffice") is None, reason="needs LibreOffice")


def resaved(data: bytes, folder: Path) -> bytes:
    """The book as LibreOffice saves it."""
    source, out = folder / "in.xlsx", folder / "out"
    source.write_bytes(data)
    home = f"-env:UserInstallation=file://{folder}/home"
    command = ["soffice", "--headless", home, "--convert-to", "xlsx:Calc MS Excel 2007 XML"]
    subprocess.run([*command, "--outdir", str(out), str(source)], check=True, capture_output=True,
                   timeout=180)  # fmt: skip
    return (out / "in.xlsx").read_bytes()


def sheet_names(data: bytes) -> list[str]:
    return re.findall(
        r'<(?:\w+:)?sheet [^>]*?name="([^"]*)"', parts(data)["xl/workbook.xml"].decode()
    )


def strict(data: bytes) -> bytes:
    """The book with the namespaces of the strict variant."""
    content = parts(data)
    for name, body in content.items():
        for path, last in (("spreadsheetml", "main"), ("officeDocument", "relationships"),
                           ("drawingml", "main"), ("drawingml", "chart"),
                           ("drawingml", "spreadsheetDrawing")):  # fmt: skip
            old = f"http://schemas.openxmlformats.org/{path}/2006/{last}".encode()
            body = body.replace(old, f"http://purl.oclc.org/ooxml/{path}/{last}".encode())
        content[name] = body
    return packed(content)


def prefixed(data: bytes) -> bytes:
    """The book with a prefix on every element of its workbook and styles parts."""
    content = parts(data)
    for part in ("xl/workbook.xml", "xl/styles.xml"):
        text = re.sub(r"<(/?)(?=[A-Za-z])", r"<\1x:", content[part].decode())
        content[part] = text.replace("xmlns=", "xmlns:x=").encode()
    return packed(content)


@pytest.mark.parametrize("make", [practitioner, loaded, lambda: plain("Farm")])
def test_every_part_that_is_not_ours_stays_byte_identical(make: Callable[[], bytes]) -> None:
    book = make()
    before, after = parts(book), parts(graft(book, results(), NAMES))
    assert {n for n in before if before[n] != after.get(n)} == LISTS
    assert all("siltbook" in name for name in set(after) - set(before))
    assert list(after)[: len(before)] == list(before)


def test_the_output_is_sound() -> None:
    for book in (practitioner(), loaded(), plain("Farm"), strict(practitioner())):
        assert lint(graft(book, results(), NAMES)) == []


def test_running_again_changes_nothing() -> None:
    for book in (practitioner(), loaded(), strict(practitioner()), prefixed(practitioner())):
        once = graft(book, results(), NAMES)
        assert graft(once, results(), NAMES) == once


def test_other_results_replace_ours_where_they_stand() -> None:
    book = graft(practitioner(), results(), NAMES)
    moved = changed(book, "xl/workbook.xml", ("<sheets>", "<sheets><!-- first -->"))
    text = parts(moved)["xl/workbook.xml"].decode()
    ours = re.search(r'<sheet name="Actions"[^>]*>', text)
    assert ours is not None
    reordered = text.replace(ours[0], "").replace("<!-- first -->", ours[0])
    reordered = reordered.replace('localSheetId="0"', 'localSheetId="1"')
    reordered = reordered.replace('localSheetId="2"', 'localSheetId="0"')
    content = parts(moved)
    content["xl/workbook.xml"] = reordered.encode()
    again = graft(packed(content), results(9), NAMES)
    assert sheet_names(again) == ["Actions", "Farm", "Notes", "Trends"]
    assert lint(again) == []
    names = parts(again)["xl/workbook.xml"].decode()
    assert re.findall(r'name="_xlnm.Print_Titles" localSheetId="(\d)"', names) == ["0"]
    with_rows = parts(again)["xl/worksheets/siltbook1.xml"]
    assert b'<row r="13"' in with_rows


def test_a_persons_sheet_is_never_replaced() -> None:
    book = plain("actions", "Other")
    assert taken_names(book, NAMES) == {"Actions"}
    with pytest.raises(GraftError, match="'actions' that was not written by Siltbook"):
        graft(book, results(), NAMES)
    assert taken_names(graft(plain("Farm"), results(), NAMES), NAMES) == set()


def test_table_names_and_ids_give_way_to_the_persons() -> None:
    after = parts(graft(practitioner(), results(), NAMES))
    assert b'id="2" name="SiltbookActions_2"' in after["xl/tables/siltbook1.xml"]
    assert b"<f>SiltbookActions_2[[#This Row],[Drop]]*2</f>" in after["xl/worksheets/siltbook1.xml"]


def test_texts_formats_and_links_arrive() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(graft(practitioner(), results(), NAMES)))
    sheet = book["Actions"]
    assert sheet["B1"].value == " kept spaces & <signs> "
    assert sheet["B6"].number_format == '0.00 "m"'
    assert sheet["A4"].font.b
    assert sheet["A4"].fill.fgColor.rgb == "FFDDEEFF"
    assert sheet["G2"].hyperlink.target == "https://example.org/a?b=1&c=2"
    assert book["Farm"]["A1"].number_format == "0.0000"
    rule = next(iter(sheet.conditional_formatting)).rules[0]
    assert rule.dxf.fill.bgColor.rgb == "FFFF0000"
    assert book["Trends"]["A5"].value == "plain bold plain"


def test_no_sheet_of_ours_is_selected() -> None:
    after = parts(graft(practitioner(), results(), NAMES))
    assert all(b"tabSelected" not in after[f"xl/worksheets/siltbook{n}.xml"] for n in (1, 2))


def test_calculation_chain_goes_only_with_cells_of_replaced_sheets() -> None:
    once = graft(plain("Farm"), results(), NAMES)
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"

    def chained(sheet: int) -> bytes:
        body = f'<calcChain xmlns="{main}"><c r="A1" i="{sheet}"/></calcChain>'.encode()
        return extended(once, {"xl/calcChain.xml": (kind, "calcChain", body)})

    assert "xl/calcChain.xml" in parts(graft(chained(1), results(), NAMES))
    without = graft(chained(2), results(), NAMES)
    assert "xl/calcChain.xml" not in parts(without)
    assert lint(without) == []


def test_strict_books_get_strict_parts() -> None:
    after = parts(graft(strict(practitioner()), results(), NAMES))
    assert not [n for n, body in after.items() if b"openxmlformats.org/spreadsheetml/2006" in body]
    assert b"http://purl.oclc.org/ooxml/drawingml/chart" in after["xl/charts/siltbook1.xml"]


def test_prefixes_of_the_workbook_are_followed() -> None:
    after = parts(graft(prefixed(plain("Farm")), results(), NAMES))
    assert b'<x:sheet name="Actions" sheetId="2"' in after["xl/workbook.xml"]
    assert b"<x:definedName " in after["xl/workbook.xml"]
    assert b"<x:dxf><x:" in after["xl/styles.xml"]


def test_a_book_without_styles_gets_some() -> None:
    content = parts(plain("Farm"))
    del content["xl/styles.xml"]
    book = packed(content)
    book = changed(book, "[Content_Types].xml", ("/xl/styles.xml", "/xl/nothing.xml"))
    rels = parts(book)["xl/_rels/workbook.xml.rels"].decode()
    found = re.search(r'<Relationship [^>]*Target="styles.xml"/>', rels)
    assert found is not None
    book = changed(book, "xl/_rels/workbook.xml.rels", (found[0], ""))
    after = graft(book, results(), NAMES)
    assert "xl/styles.xml" in parts(after)
    assert [f for f in lint(after) if "nothing.xml" not in f] == []
    assert graft(after, results(), NAMES) == after


def encrypted() -> bytes:
    data = bytearray(plain("Farm"))
    at = data.rindex(b"PK\x01\x02")
    data[at + 8 : at + 10] = struct.pack("<H", 1)
    return bytes(data)


def twice() -> bytes:
    stream = io.BytesIO(plain("Farm"))
    with warnings.catch_warnings(), zipfile.ZipFile(stream, "a") as archive:
        warnings.simplefilter("ignore")
        archive.writestr("XL/workbook.xml", b"<x/>")
    return stream.getvalue()


DOCTYPE = ("<workbook ", '<!DOCTYPE w [<!ENTITY a "b">]><workbook ')


@pytest.mark.parametrize(
    ("book", "message"),
    [
        (b"\xd0\xcf\x11\xe0 more", "protected by a password or is an old .xls"),
        (b"Station,Date", "not an .xlsx or .xlsm workbook, or it is damaged"),
        (encrypted(), "is encrypted; save the book without a password"),
        (twice(), "holds the part 'XL/workbook.xml' twice"),
        (changed(plain("Farm"), "xl/workbook.xml", DOCTYPE), "declares a document type"),
        (changed(plain("Farm"), "xl/workbook.xml", ("</sheets>", "")), "is damaged"),
        (packed({"a.txt": b"a"}), "not a workbook: it does not say which"),
    ],
)
def test_unfit_files_are_refused_in_one_sentence(book: bytes, message: str) -> None:
    with pytest.raises(GraftError, match=re.escape(message)):
        graft(book, results(), NAMES)


def test_a_long_result_sheet_is_placed_quickly() -> None:
    long = results(20_000)
    start = time.perf_counter()
    after = graft(practitioner(), long, NAMES)
    assert time.perf_counter() - start < 10
    assert b'r="B20004"' in parts(after)["xl/worksheets/siltbook1.xml"]


@needs_office
def test_after_libreoffice_saved_the_book_our_sheets_are_found_again(tmp_path: Path) -> None:
    saved = resaved(graft(practitioner(), results(), NAMES), tmp_path)
    assert taken_names(saved, NAMES) == set()
    again = graft(saved, results(), NAMES)
    assert sheet_names(again) == ["Farm", "Notes", "Actions", "Trends"]
    assert lint(again) == []
    assert sum(name.startswith("xl/tables/") for name in parts(again)) == 2
    assert graft(again, results(), NAMES) == again


@needs_office
@pytest.mark.parametrize("variant", [practitioner, lambda: strict(practitioner())])
def test_libreoffice_keeps_charts_and_tables_alive(
    variant: Callable[[], bytes], tmp_path: Path
) -> None:
    content = parts(resaved(graft(variant(), results(), NAMES), tmp_path))
    charts = [body for name, body in content.items() if name.startswith("xl/charts/chart")]
    assert sum(b"Actions!$B$5:$B$9" in body for body in charts) == 1
    tables = [body for name, body in content.items() if name.startswith("xl/tables/")]
    assert sum(b"SiltbookActions_2" in body for body in tables) == 1


@pytest.mark.skipif(not CORPORA.exists(), reason="the public files are not here")
def test_public_workbooks_keep_their_parts_and_get_sound_ones() -> None:
    ours, done = results(), 0
    for path in sorted(p for p in CORPORA.rglob("*") if p.suffix.lower() in (".xlsx", ".xlsm")):
        book = path.read_bytes()
        try:
            after = graft(book, ours, NAMES)
        except GraftError:
            continue
        before, content = parts(book), parts(after)
        changed_parts = {n for n in before if before[n] != content[n]}
        assert len(changed_parts) <= 4, path.name
        assert [f for f in lint(after) if "siltbook" in f] == [], path.name
        assert graft(after, ours, NAMES) == after, path.name
        done += 1
    assert done > 130


def test_a_sheet_that_only_mentions_the_mark_is_a_persons() -> None:
    book = graft(plain("Farm"), results(), NAMES)
    edit = ("<t>Written by Siltbook</t>", "<t>Not Written by Siltbook</t>")
    assert taken_names(changed(book, "xl/worksheets/siltbook1.xml", edit), NAMES) == {"Actions"}


def test_a_file_that_lacks_any_part_is_refused_or_served_but_never_a_traceback() -> None:
    book = graft(loaded(), results(), NAMES)
    refused: list[tuple[str, str]] = []
    for name in parts(book):
        content = parts(book)
        del content[name]
        try:
            graft(packed(content), results(), NAMES)
        except GraftError as error:
            refused.append((name, str(error)))
    assert all(message.endswith(".") for _, message in refused)
    assert {"[Content_Types].xml", "xl/workbook.xml", "_rels/.rels"} <= {n for n, _ in refused}
