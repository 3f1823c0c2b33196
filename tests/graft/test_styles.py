"""Formats that a book lacks, redefines or refers to beyond its lists stay what they show."""

from __future__ import annotations

import re

import pytest

from siltbook.batch.graft import graft
from siltbook.batch.graft.sheets import Renumbering, rewrite_sheet
from siltbook.batch.graft.styles import BLANK_STYLES, merge_styles
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import Style
from siltbook.batch.reading.workbook import open_workbook
from tests.graft.packs import NAMES, changed, packed, parts, practitioner, results, sheet_part
from tests.lint import lint

STYLES = "xl/styles.xml"
NAMED = '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
ZERO = '<numFmts count="1"><numFmt numFmtId="0" formatCode="yyyy\\-mm\\-dd"/></numFmts>'


def collection(data: bytes, name: str) -> list[str]:
    """The entries of one collection of the styles, as text."""
    found = re.search(rf"<{name}\b[^>]*>(.*?)</{name}>", parts(data)[STYLES].decode(), re.DOTALL)
    return (
        re.findall(r"<(?:xf|numFmt|dxf)\b(?:[^>]*/>|.*?</(?:xf|dxf)>)", found[1]) if found else []
    )


def formats_of(data: bytes, sheet: str) -> set[int]:
    return set(map(int, re.findall(rb' s="(\d+)"', parts(data)[sheet_part(data, sheet)])))


def dangling(encoding: str = "utf-8") -> bytes:
    """The practitioner's book, its cells in formats 2, 3, 4 of the two that it has, and a rule."""
    book = practitioner()
    part, content = sheet_part(book, "Farm"), parts(book)
    text = content[part].decode()
    for row, format_ in ((1, 2), (2, 3), (4, 4)):
        text = text.replace(f'r="A{row}" s="1"', f'r="A{row}" s="{format_}"')
    rule = (
        '<cfRule type="cellIs" dxfId="0" priority="9" operator="greaterThan"><formula>1</formula>'
    )
    text = text.replace("<cfRule", f"{rule}</cfRule><cfRule", 1).replace("UTF-8", encoding)
    bom = b"\xff\xfe" if encoding == "utf-16" else b""
    content[part] = bom + text.encode("utf-16-le" if bom else encoding)
    return packed(content)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_cells_in_formats_that_the_book_lacks_never_turn_into_ours(encoding: str) -> None:
    book = dangling(encoding)
    made = graft(book, results(), NAMES)
    formats = collection(made, "cellXfs")
    plain = '<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    assert formats[2:5] == [plain] * 3
    assert formats_of(made, "Actions") - {0} >= {5}
    assert not formats_of(made, "Actions") & {2, 3, 4}
    assert collection(made, "dxfs")[0] == "<dxf/>"
    ours = re.findall(
        r'dxfId="(\d+)"', parts(made)[sheet_part(made, "Actions")].decode(), re.IGNORECASE
    )
    assert ours
    assert "0" not in ours
    assert lint(made) == []
    assert graft(made, results(), NAMES) == made


def test_they_show_as_the_books_default_style() -> None:
    book = changed(dangling(), STYLES, (NAMED, NAMED.replace('fontId="0"', 'fontId="1"')))
    made = collection(graft(book, results(), NAMES), "cellXfs")
    assert made[3] == '<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0"/>'


def test_a_format_far_beyond_the_list_costs_nothing() -> None:
    book = practitioner()
    book = changed(book, sheet_part(book, "Farm"), ('r="A1" s="1"', 'r="A1" s="4000000"'))
    assert len(collection(graft(book, results(), NAMES), "cellXfs")) < 10


def test_named_styles_are_not_made_where_formats_refer_beyond_them() -> None:
    cut = (f"{NAMED}</cellStyleXfs>", "")
    within = graft(changed(practitioner(), STYLES, cut), results(), NAMES)
    assert len(collection(within, "cellStyleXfs")) == 1
    assert parts(within)[STYLES].decode().count("<cellStyleXfs") == 1
    beyond = changed(practitioner(), STYLES, cut, ('xfId="0" applyNumber', 'xfId="3" applyNumber'))
    made = graft(beyond, results(), NAMES)
    assert "cellStyleXfs" not in parts(made)[STYLES].decode()
    ours = collection(made, "cellXfs")[2:]
    assert ours
    assert not any("xfId" in one for one in ours)


def test_a_redefined_format_0_is_read_as_what_it_says_and_is_not_ours() -> None:
    book = practitioner()
    text = parts(book)[STYLES].decode()
    own = re.search("<numFmts.*?</numFmts>", text)
    assert own is not None
    book = changed(book, STYLES, (own[0], ZERO), ('numFmtId="164"', 'numFmtId="0"'))
    assert open_workbook(open_package(book, "odd.xlsx"), "odd.xlsx").styles == [Style.DATE] * 2
    made = graft(book, results(), NAMES)
    codes = dict(
        re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]*)"', parts(made)[STYLES].decode())
    )
    assert codes["0"] == "yyyy\\-mm\\-dd"
    shown = [re.search(r'numFmtId="(\d+)"', one)[1] for one in collection(made, "cellXfs")[2:]]
    assert "0" not in shown
    assert "General" in {codes[number] for number in shown}
    assert graft(made, results(), NAMES) == made


def test_a_stray_number_format_at_the_end_of_the_range_is_not_counted_on_from() -> None:
    """There is no room behind it for ours."""
    stray = '<numFmts count="1"><numFmt numFmtId="2147483647" formatCode="0.0000"/></numFmts>'
    book = changed(practitioner(), STYLES, ("<fonts", f"{stray}<fonts"))
    made = collection(graft(book, results(), NAMES), "numFmts")
    numbers = [int(re.findall(r'numFmtId="(\d+)"', one)[0]) for one in made]
    assert len(numbers) > 1
    assert sorted(numbers)[:-1] == list(range(164, 163 + len(numbers)))


def test_a_book_without_any_list_of_formats_takes_ours() -> None:
    """Neither cell formats nor named styles: there is nothing that could refer beyond them."""
    bare = re.sub(
        r"<cellXfs.*</cellXfs>|<cellStyleXfs.*</cellStyleXfs>|<cellStyles.*</cellStyles>",
        "", parts(practitioner())[STYLES].decode(), flags=re.DOTALL,
    )  # fmt: skip
    assert "xf " not in bare
    content = parts(practitioner()) | {STYLES: bare.encode()}
    assert len(collection(graft(packed(content), results(), NAMES), "cellXfs")) > 3


FITTED = (b'<pageSetUpPr fitToPage="1"/></sheetPr>', b'fitToHeight="0"')


@pytest.mark.parametrize(
    ("font", "size", "fits"),
    [("Arial", "10", False), ("Liberation Sans", "10.0", False), ("Calibri", "11", True),
     ("Arial", "14", True)],
)  # fmt: skip
def test_where_the_books_default_font_is_another_sheets_are_fitted_to_the_paper(
    font: str, size: str, fits: bool
) -> None:
    """Of a book in Calibri, printed where this font is missing, columns went to a further page."""
    book = BLANK_STYLES.replace('"Calibri"', f'"{font}"').replace('"11"', f'"{size}"')
    asked = Asked()
    _, styles = merge_styles(book.encode(), BLANK_STYLES.encode(), "styles", asked)
    sheet = (
        b'<sheetPr><tabColor rgb="FF0B3C7D"/></sheetPr>'
        b'<pageSetup paperSize="9" scale="80" orientation="landscape"/>'
    )
    made = rewrite_sheet(sheet, Renumbering(styles, (), {}), opens=False)
    assert [part in made for part in FITTED] == [fits, fits]
    assert (b"scale=" in made) != fits
    split = sheet + b"<colBreaks/>"
    assert rewrite_sheet(split, Renumbering(styles, (), {}), opens=False) == split
