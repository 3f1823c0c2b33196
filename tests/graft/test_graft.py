"""Placing result sheets: nothing of the person's is touched, and running again replaces ours."""

from __future__ import annotations

import io
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.graft import GraftError, graft, taken_names
from siltbook.batch.package.parts import Entry, _unpack
from siltbook.batch.package.spans import Document
from tests.amount import LONG, whole
from tests.effort import calls, must_end
from tests.graft.packs import (
    LISTS,
    NAMES,
    SELECTED,
    changed,
    extended,
    loaded,
    packed,
    parts,
    plain,
    practitioner,
    results,
    sheet_part,
)
from tests.lint import lint
from tests.office import Shared, needs_office

FIRST = "xl/worksheets/sheet1.xml"
MOMENT = (2026, 1, 1, 0, 0, 0)
CORPORA = Path(__file__).parents[2].parent / "shared" / "corpora"


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
    assert {n for n in before if before[n] != after.get(n)} == {*LISTS, FIRST}
    assert SELECTED in before[FIRST]
    assert after[FIRST] == before[FIRST].replace(SELECTED, b"")
    assert list(after)[: len(before)] == list(before)


def test_the_output_is_sound() -> None:
    for book in (practitioner(), loaded(), plain("Farm"), strict(practitioner())):
        assert lint(graft(book, results(), NAMES)) == []


def test_running_again_changes_nothing() -> None:
    for book in (practitioner(), loaded(), strict(practitioner()), prefixed(practitioner())):
        once = graft(book, results(), NAMES)
        assert graft(once, results(), NAMES) == once


def test_other_results_replace_ours_where_they_stand() -> None:
    again = graft(moved_back(graft(practitioner(), results(), NAMES)), results(9), NAMES)
    assert sheet_names(again) == ["Trends", "Farm", "Notes", "Actions"]
    assert lint(again) == []
    names = parts(again)["xl/workbook.xml"].decode()
    assert re.findall(r'name="_xlnm.Print_Titles" localSheetId="(\d)"', names) == ["3"]
    assert re.findall(r'<definedName name="_xlnm.Print_Area" localSheetId="(\d)"', names) == [
        "2", "3",
    ]  # fmt: skip
    assert 'activeTab="3"' in names
    assert b'<row r="13"' in parts(again)[sheet_part(again, "Actions")]


def test_one_of_ours_that_is_missing_is_new_and_the_other_stays_where_it_stands() -> None:
    once = moved_back(graft(practitioner(), results(), NAMES))
    renamed = changed(once, "xl/workbook.xml", ('name="Trends"', 'name="Own"'))
    again = graft(renamed, results(9), NAMES)
    assert sheet_names(again) == ["Trends", "Own", "Farm", "Notes", "Actions"]
    names = parts(again)["xl/workbook.xml"].decode()
    assert re.findall(r'name="_xlnm.Print_Titles" localSheetId="(\d)"', names) == ["4"]
    assert 'activeTab="4"' in names


def moved_back(data: bytes) -> bytes:
    """The book with Actions moved behind all other sheets, as a person moves it."""
    content = parts(data)
    text = content["xl/workbook.xml"].decode()
    ours = re.search(r'<sheet name="Actions"[^>]*>', text)
    assert ours is not None
    text = text.replace(ours[0], "").replace("</sheets>", f"{ours[0]}</sheets>")
    moves = {"0": "3", "1": "0", "2": "1", "3": "2"}
    text = re.sub(r'localSheetId="(\d)"', lambda m: f'localSheetId="{moves[m[1]]}"', text)
    content["xl/workbook.xml"] = text.encode()
    return packed(content)


def test_new_sheets_stand_in_front_and_names_follow_their_sheets() -> None:
    after = graft(practitioner(), results(), NAMES)
    assert sheet_names(after) == ["Actions", "Trends", "Farm", "Notes"]
    text = parts(after)["xl/workbook.xml"].decode()
    areas = re.findall(r'name="_xlnm.Print_Area" localSheetId="(\d)"[^>]*>([^<]*)<', text)
    assert areas == [("3", "Notes!$A$1:$C$4"), ("0", "Actions!$A$1:$D$11")]


def test_a_book_with_macros_keeps_its_sheets_where_macros_count_them() -> None:
    after = graft(loaded(), results(), NAMES)
    assert sheet_names(after) == ["Farm", "Notes", "Actions", "Trends"]
    assert 'activeTab="2"' in parts(after)["xl/workbook.xml"].decode()


def test_new_parts_take_the_next_free_numbers_of_the_packages_own_pattern() -> None:
    before, after = parts(practitioner()), parts(graft(practitioner(), results(), NAMES))
    assert sorted(n for n in set(after) - set(before) if "_rels" not in n) == [
        "xl/charts/chart2.xml", "xl/drawings/drawing2.xml", "xl/tables/table2.xml",
        "xl/worksheets/sheet3.xml", "xl/worksheets/sheet4.xml",
    ]  # fmt: skip


def test_the_files_properties_list_every_sheet() -> None:
    text = parts(graft(practitioner(), results(), NAMES))["docProps/app.xml"].decode()
    assert "<vt:lpstr>Worksheets</vt:lpstr></vt:variant><vt:variant><vt:i4>4</vt:i4>" in text
    listed = re.findall(r"<vt:lpstr>([^<]*)</vt:lpstr>", text.partition("<TitlesOfParts>")[2])
    assert listed[:4] == ["Actions", "Trends", "Farm", "Notes"]
    assert f'<TitlesOfParts><vt:vector size="{len(listed)}"' in text
    back = graft(moved_back(graft(practitioner(), results(), NAMES)), results(), NAMES)
    assert "Trends</vt:lpstr><vt:lpstr>Farm" in parts(back)["docProps/app.xml"].decode()


NO_NUMBER = "<Properties><TitlesOfParts/><HeadingPairs><v>x</v></HeadingPairs></Properties>"


@pytest.mark.parametrize("body", ["<a", "<Properties/>", NO_NUMBER])
def test_properties_that_list_no_sheets_stay_as_they_are(body: str) -> None:
    content = parts(practitioner())
    content["docProps/app.xml"] = body.encode()
    assert parts(graft(packed(content), results(), NAMES))["docProps/app.xml"] == body.encode()


def test_a_persons_sheet_is_never_replaced() -> None:
    book = plain("actions", "Other")
    assert taken_names(book, NAMES) == {"Actions"}
    with pytest.raises(GraftError, match="'actions' that was not written by Siltbook"):
        graft(book, results(), NAMES)
    assert taken_names(graft(plain("Farm"), results(), NAMES), NAMES) == set()


def test_table_names_and_ids_give_way_to_the_persons() -> None:
    after = parts(graft(practitioner(), results(), NAMES))
    assert b'id="2" name="SiltbookActions_2"' in after["xl/tables/table2.xml"]
    assert b"<f>SiltbookActions_2[[#This Row],[Drop]]*2</f>" in after["xl/worksheets/sheet3.xml"]


def test_a_tables_own_formulas_follow_its_new_name() -> None:
    filled = "<calculatedColumnFormula>SUM(SiltbookActions[Drop])</calculatedColumnFormula>"
    named = '<tableColumn id="3" name="Twice"'
    edit = (f"{named}/>", f"{named}>{filled}</tableColumn>")
    ours = changed(results(), "xl/tables/table1.xml", edit)
    after = parts(graft(practitioner(), ours, NAMES))["xl/tables/table2.xml"].decode()
    assert filled.replace("Actions[", "Actions_2[") in after


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


def selected(data: bytes) -> list[str]:
    """The sheets that are selected."""
    content = parts(data)
    return [n for n in sheet_names(data) if b"tabSelected" in content[sheet_part(data, n)]]


def test_the_book_opens_on_the_first_of_ours_and_on_it_alone() -> None:
    book = changed(
        practitioner(), "xl/workbook.xml",
        ("<workbookView ", '<workbookView firstSheet="1" activeTab="1" '),
    )  # fmt: skip
    book = changed(book, FIRST, (' tabSelected="1"', ""))
    second = "xl/worksheets/sheet2.xml"
    head = ("<sheetView workbook", "<sheetView tabSelected='true' workbook")
    after = graft(changed(book, second, head), results(), NAMES)
    assert selected(after) == ["Actions"]
    view = re.search(r"<workbookView [^>]*>", parts(after)["xl/workbook.xml"].decode())
    assert view is not None
    assert 'firstSheet="0" activeTab="0"' in view[0]
    assert parts(after)[second] == parts(book)[second]


def test_whatever_stands_behind_the_mark_of_selection_it_goes() -> None:
    for behind in ("", ' rightToLeft="1"', ' zoomScale="90"'):
        before = changed(plain("Farm"), FIRST, (' tabSelected="1"', f' tabSelected="1"{behind}'))
        assert selected(graft(before, results(), NAMES)) == ["Actions"], behind


def test_a_sheet_whose_part_is_not_in_the_book_is_passed_over() -> None:
    """Named by no relationship, or by one that leads out of the book."""
    content, rels = parts(plain("Farm", "Gone")), "xl/_rels/workbook.xml.rels"
    named = re.search(rb'<Relationship [^>]*sheet2.xml"/>', content[rels])
    assert named is not None
    outside = named[0].replace(b"/>", b' TargetMode="External"/>')
    for instead in (b"", outside):
        book = packed({**content, rels: content[rels].replace(named[0], instead)})
        after = graft(book, results(), NAMES)
        assert sheet_names(after) == [*NAMES, "Farm", "Gone"]
        assert parts(after)["xl/worksheets/sheet2.xml"] == content["xl/worksheets/sheet2.xml"]


@pytest.mark.parametrize("theirs", ["Actions!$A$1", "Trends!$A$1", "1", "zero"])
def test_a_name_of_ours_that_the_book_has_for_something_else(theirs: str) -> None:
    def named(formula: str, *sheets: str) -> bytes:
        found = f'<definedNames><definedName name="Ours">{formula}</definedName></definedNames>'
        return changed(
            plain(*sheets), "xl/workbook.xml", ("</sheets>", f"</sheets>{found}")
        )  # fmt: skip

    ours = named("Actions!$A$1", *NAMES)
    if theirs == "Actions!$A$1":
        assert lint(graft(named(theirs, "Farm"), ours, NAMES)) == []
        return
    said = "The book already uses the name 'Ours' for something else; rename it in the name manager"
    with pytest.raises(GraftError, match=said):
        graft(named(theirs, "Farm"), ours, NAMES)


def test_a_selected_sheet_in_another_encoding_is_let_go_too() -> None:
    content = parts(practitioner())
    text = content[FIRST].decode().replace('encoding="UTF-8"', 'encoding="UTF-16"')
    content[FIRST] = text.encode("utf-16")
    after = graft(packed(content), results(), NAMES)
    assert parts(after)[FIRST] == text.replace(SELECTED.decode(), "").encode("utf-16")


def test_a_book_without_windows_opens_on_ours() -> None:
    bare = re.sub(r"<bookViews>.*</bookViews>", "", parts(loaded())["xl/workbook.xml"].decode())
    after = graft(packed({**parts(loaded()), "xl/workbook.xml": bare.encode()}), results(), NAMES)
    text = parts(after)["xl/workbook.xml"].decode()
    assert '<bookViews><workbookView activeTab="2"/></bookViews><sheets>' in text
    assert lint(after) == []


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
    assert b"http://purl.oclc.org/ooxml/drawingml/chart" in after["xl/charts/chart2.xml"]


def test_prefixes_of_the_workbook_are_followed() -> None:
    after = parts(graft(prefixed(plain("Farm")), results(), NAMES))
    assert b'<x:sheet name="Actions" sheetId="2"' in after["xl/workbook.xml"]
    assert b"<x:definedName " in after["xl/workbook.xml"]
    assert b"<x:dxf><x:" in after["xl/styles.xml"]


def without_styles() -> bytes:
    """A book that names no styles at all."""
    content = parts(plain("Farm"))
    del content["xl/styles.xml"]
    book = packed(content)
    book = changed(book, "[Content_Types].xml", ("/xl/styles.xml", "/xl/nothing.xml"))
    rels = parts(book)["xl/_rels/workbook.xml.rels"].decode()
    found = re.search(r'<Relationship [^>]*Target="styles.xml"/>', rels)
    assert found is not None
    return changed(book, "xl/_rels/workbook.xml.rels", (found[0], ""))


def test_a_strict_book_without_styles_gets_strict_ones() -> None:
    after = parts(graft(strict(without_styles()), results(), NAMES))
    styles = after["xl/styles.xml"]
    assert b"http://purl.oclc.org/ooxml/spreadsheetml/main" in styles
    assert b"schemas.openxmlformats.org" not in styles
    rels = after["xl/_rels/workbook.xml.rels"]
    assert b"http://purl.oclc.org/ooxml/officeDocument/relationships/styles" in rels


def test_a_book_without_styles_gets_some() -> None:
    after = graft(without_styles(), results(), NAMES)
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
        (changed(plain("Farm"), "xl/workbook.xml", ("sheets>", "shoots>")), "no list of sheets"),
        (changed(plain("Farm"), "xl/workbook.xml", ("workbook", "wrongbook")), "not a workbook"),
        (packed({"a.txt": b"a"}), "not a workbook: it does not say which"),
    ],
)
def test_unfit_files_are_refused_in_one_sentence(book: bytes, message: str) -> None:
    with pytest.raises(GraftError, match=re.escape(message)):
        graft(book, results(), NAMES)


def test_four_times_the_rows_are_placed_with_at_most_five_times_the_calls() -> None:
    rows = 5_000 if whole() else 1_500
    book, short, long = practitioner(), results(rows), results(4 * rows)
    more = calls(lambda: graft(book, long, NAMES))
    assert more < 5 * calls(lambda: graft(book, short, NAMES))
    with must_end():
        after = graft(book, long, NAMES)
    assert f'r="B{4 * rows + 4}"'.encode() in parts(after)["xl/worksheets/sheet3.xml"]


@cache
def both() -> tuple[bytes, bytes]:
    """A person's book, and the same in the strict way of writing, with results placed."""
    book = practitioner()
    return graft(book, results(), NAMES), graft(strict(book), results(), NAMES)


@needs_office
def test_after_libreoffice_saved_the_book_our_sheets_are_found_again(office: Shared) -> None:
    saved, _ = office.resaved(*both())
    assert taken_names(saved, NAMES) == set()
    again = graft(saved, results(), NAMES)
    assert sheet_names(again) == ["Actions", "Trends", "Farm", "Notes"]
    assert lint(again) == []
    assert sum(name.startswith("xl/tables/") for name in parts(again)) == 2
    assert graft(again, results(), NAMES) == again


@pytest.mark.at_length(usual=1)
@needs_office
@pytest.mark.parametrize("which", [0, 1])
def test_libreoffice_keeps_charts_and_tables_alive(which: int, office: Shared) -> None:
    content = parts(office.resaved(*both())[which])
    charts = [body for name, body in content.items() if name.startswith("xl/charts/chart")]
    assert sum(b"Actions!$B$5:$B$9" in body for body in charts) == 1
    tables = [body for name, body in content.items() if name.startswith("xl/tables/")]
    assert sum(b"SiltbookActions_2" in body for body in tables) == 1


@pytest.mark.skipif(not CORPORA.exists(), reason="the public files are not here")
def test_public_workbooks_keep_their_parts_and_get_sound_ones() -> None:
    """Each third of them, and in the usual run each ninth."""
    ours, done, lists = results(), 0, {Path(n).name for n in LISTS}
    every = 1 if LONG else 3 if whole() else 9
    paths = sorted(p for p in CORPORA.rglob("*") if p.suffix.lower() in (".xlsx", ".xlsm"))
    for path in paths[::every]:
        book = path.read_bytes()
        try:
            after = graft(book, ours, NAMES)
        except GraftError:
            continue
        before, content = parts(book), parts(after)
        for name in {n for n in before if before[n] != content[n]} - LISTS:
            if "sheets/" in name:
                mark = rb"""\s+tabSelected\s*=\s*["'](?:1|true)["']"""
                assert re.sub(mark, b"", before[name]) == content[name], (path.name, name)
            else:
                assert re.split(r"[/\\]", name)[-1] in lists, (path.name, name)
        fresh = set(lint(after)) - set(lint(book))
        assert not fresh, (path.name, fresh)
        assert graft(after, ours, NAMES) == after, path.name
        done += 1
    assert done > 130 / every


def test_a_sheet_that_only_mentions_the_mark_is_a_persons() -> None:
    book = graft(plain("Farm"), results(), NAMES)
    edit = ("<t>Written by Siltbook</t>", "<t>Not Written by Siltbook</t>")
    assert taken_names(changed(book, sheet_part(book, "Actions"), edit), NAMES) == {"Actions"}


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


@pytest.mark.parametrize("library", ["isal", "zlib"])
def test_a_long_part_is_packed_whole(library: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It changes its way of packing on the way; what comes out is what went in."""
    from siltbook.batch.package import deflate
    from siltbook.batch.package.parts import LONG_PART, Parts

    if library == "zlib":  # as on a processor for which the other is not made
        monkeypatch.setattr(deflate, "isal_zlib", None)
    assert (deflate.isal_zlib is None) == (library == "zlib")
    assert deflate.checksum(b"def", deflate.checksum(b"abc")) == zlib.crc32(b"abcdef")
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as made:
        made.writestr("a.xml", "<a/>")
    package = Parts(target.getvalue())
    pieces = [f"<row>{n}</row>".encode() * 4096 for n in range(LONG_PART // 20_000)]
    package.put_pieces("a.xml", pieces)
    with zipfile.ZipFile(io.BytesIO(package.save())) as saved:
        assert saved.testzip() is None
        assert saved.read("a.xml") == b"".join(pieces)
        assert saved.getinfo("a.xml").file_size > LONG_PART


@pytest.mark.parametrize("text", ['<a x="1"/>', '<a x="1" />', '<a x="1"></a>'])
def test_an_empty_part_gets_room_for_children(text: str) -> None:
    document = Document(text.encode(), "a.xml")
    document.append(document.root, "<b/>")
    assert re.sub(r"\s+>", ">", document.encoded().decode()) == '<a x="1"><b/></a>'


@pytest.mark.parametrize("said", [2, 4])
def test_a_part_that_lies_about_its_length_is_damaged(said: int) -> None:
    """Even where its checksum is that of what is there."""
    honest = Entry("a", b"abc", zipfile.ZIP_STORED, zlib.crc32(b"abc"), 3, MOMENT, True)
    assert _unpack(honest) == b"abc"
    with pytest.raises(GraftError, match="The part 'a' of the file is damaged; open the book"):
        _unpack(replace(honest, size=said))
