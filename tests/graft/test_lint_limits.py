"""Each rule of order and limit fires on a sound file with one fault planted in it."""

from __future__ import annotations

import pytest

from siltbook.batch.interface import reviewed_bytes
from siltbook.batch.reading.cells import MAX_CELL
from tests.graft.packs import changed, packed, parts
from tests.graft.test_lint import BOOK, NOTES, SHEET, SOUND, TABLE, TYPES
from tests.lint import lint
from tests.lint_limits import ADDRESS, COLUMNS, FORMULA, LINKS, ROWS, TEXT
from tests.reading.books import clean_sheets, workbook

FARM, STRINGS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
DRAWING, CHART = "xl/drawings/drawing1.xml", "xl/charts/chart2.xml"
CHECK = '<dataValidation type="list"'
SCREEN = '<dimension ref="A1:G9"/>'

# part, text, what it is replaced by, what the lint says
FAULTS = [
    (SHEET, SCREEN, f"<mergeCells/>{SCREEN}", "dimension stands behind mergeCells"),
    (SHEET, SCREEN, SCREEN * 2, "dimension stands 2 times"),
    (BOOK, "<workbookPr", "<calcPr/><workbookPr", "workbookPr stands behind calcPr"),
    (SHEET, 'dataValidations count="1"', 'dataValidations count="2"', "says count 2 and has 1"),
    (SHEET, 'tableParts count="1"', 'tableParts count="3"', "tableParts says count 3 and has 1"),
    (TABLE, 'tableColumns count="3"', 'tableColumns count="4"', "says count 4 and has 3"),
    (STRINGS, 'uniqueCount="2"', 'uniqueCount="9"', "sst says count 9 and has 2"),
    (SHEET, '<row r="6"', '<row r="5"', "row 5 stands behind row 5"),
    (SHEET, '<row r="9"', f'<row r="{ROWS + 1}"', f"row {ROWS + 1} stands behind row 8"),
    (SHEET, '<c r="B9"', '<c r="B8"', "cell B8 stands in row 9"),
    (SHEET, '<c r="A9"', '<c r="D9"', "cell B9 stands out of order"),
    (SHEET, '<c r="C9"', '<c r="XFE9"', "cell XFE9 stands in row 9"),
    (SHEET, "A1:G9", "A1:G8", "has cells outside its dimension A1:G8"),
    (SHEET, "A1:G9", "G9:A1", "dimension 'G9:A1' is none"),
    (SHEET, "Written by", "W" * TEXT, f"a text has {TEXT + 9} characters"),
    (STRINGS, "Column2", "C" * (TEXT + 1), f"text 1 has {TEXT + 1} characters"),
    (FARM, "SUM(A1:A3)", "1+" * 5000, "a formula has 10000 characters"),
    (SHEET, "<formula>2", "<formula>" + "1+" * 5000 + "2", "a formula has 10001 characters"),
    (SHEET, CHECK, f'{CHECK} promptTitle="{"p" * 33}"', "promptTitle of F1 has 33 characters"),
    (SHEET, CHECK, f'{CHECK} error="{"p" * 226}"', "error of F1 has 226 characters"),
    (SHEET, "<tableParts", f"<headerFooter><oddFooter>{'f' * 256}</oddFooter></headerFooter>"
     "<tableParts", "oddFooter has 256 characters"),
    ("xl/styles.xml", 'val="Tahoma"', f'val="{"T" * 32}"', "has 32 characters"),
    ("xl/styles.xml", "0.0000", "0" * 256, "has 256 characters"),
    (SHEET, ' xml:space="preserve"', "", "the spaces around ' kept spaces & <sign'"),
    (SHEET, '<c r="C9">', '<c r="C9" t="e">', "C9 holds '8', which is no error value"),
    (SHEET, '<c r="B9" s="4">', '<c r="B9" t="inlineStr">', "B9 is said to hold its text"),
    (SHEET, '<c r="B9" s="4">', '<c r="B9" t="number">', "B9 is of the unknown kind 'number'"),
    (NOTES, "<pageM", '<mergeCells><mergeCell ref="A1:B2"/></mergeCells><pageM', "A1:B2 meets"),
    (TABLE, '<autoFilter ref="A4:C9"', '<autoFilter ref="A4:C8"', "is A4:C9 and filters A4:C8"),
    (SHEET, 'Formatting sqref="B5:B9"', 'Formatting sqref=""', "Formatting is for '', which is no"),
    (SHEET, 'sqref="F1"', 'sqref="F0"', "dataValidation is for 'F0', which is no range"),
    (SHEET, '<hyperlink ref="G1"', '<hyperlink ref="there"', "hyperlink is for 'there', which is"),
    (SHEET, 'min="1" max="1"', 'min="2" max="1"', "columns 2 to 1 behind column 0"),
    (SHEET, 'max="1"', f'max="{COLUMNS + 1}"', f"columns 1 to {COLUMNS + 1} behind column 0"),
    (SHEET, "20.7109375", "256", "columns 1 to 1 are 256 wide"),
    (SHEET, '<row r="9"', '<row r="9" ht="410"', "row 9 is 410 high"),
    (SHEET, 'priority="1"', 'priority="0"', "priority 0 stands 1 times"),
    (SHEET, "<formula>2</formula></cfRule>", "<formula>2</formula></cfRule>"
     '<cfRule type="cellIs" priority="1" operator="equal"><formula>3</formula></cfRule>',
     "priority 1 stands 2 times"),
    (SHEET, "location=\"'Trends'!A1\" ", "", "the link of G1 leads nowhere"),
    (SHEET, "location=\"'Trends'", "location=\"'Trend'", "leads to the missing sheet 'Trend'"),
    (SHEET, 'ref="G2"', f'ref="G2" tooltip="{"t" * 256}"', "tooltip of the link of G2 has 256"),
    (SHEET, "<hyperlinks>", "<hyperlinks>" + '<hyperlink ref="A1" location="A1"/>' * LINKS,
     f"has {LINKS + 2:,} links"),
    ("xl/worksheets/_rels/sheet3.xml.rels", "a?b", "a" * ADDRESS, "the link of G2 has 2105 char"),
    (BOOK, 'name="Limit"', 'name="No 1"', "'No 1' is no name"),
    (BOOK, 'name="Limit"', 'name="AB12"', "'AB12' is no name"),
    (BOOK, "Farm!$A$2", "", "Limit stands for 0 characters"),
    (BOOK, "Farm!$A$2", "'Firm'!$A$2", "Limit refers to the missing sheet 'Firm'"),
    (BOOK, "Farm!$A$2", "1+" * FORMULA, f"Limit stands for {2 * FORMULA} characters"),
    (TABLE, 'displayName="SiltbookActions_2"', 'displayName="A 2"', "'A 2' is no name"),
    (BOOK, "<workbookView ", '<workbookView activeTab="4" ', "activeTab 4 of 4 sheets"),
    (BOOK, 'name="Actions"', 'name="Actions" state="hidden"', "activeTab 0 of 4 sheets is not"),
    (BOOK, "<sheet ", '<sheet state="hidden" ', "no sheet is shown"),
    (TYPES, "drawingml.chart+xml", "drawing+xml", "chart2.xml: is a chart and has another"),
    (DRAWING, "<xdr:col>10<", "<xdr:col>2<", "something stands from (3, 0, 0, 0) to (2, 30"),
    (DRAWING, "<xdr:row>25<", f"<xdr:row>{ROWS}<", f"0, {ROWS}, 0)"),
    (CHART, '<c:catAx><c:axId val="50010001"', '<c:catAx><c:axId val="7"', "axis 50010001 is used"),
]  # fmt: skip


@pytest.mark.at_length(usual=19)
@pytest.mark.parametrize(("part", "old", "new", "message"), FAULTS)
def test_a_planted_fault_is_found(part: str, old: str, new: str, message: str) -> None:
    faults = lint(changed(SOUND, part, (old, new)))
    assert any(message in fault for fault in faults), faults


def test_two_series_with_one_place_are_found() -> None:
    content = parts(SOUND)
    text = content[CHART].decode()
    begin, end = text.index("<c:ser>"), text.index("</c:ser>") + len("</c:ser>")
    content[CHART] = (text[:end] + text[begin:end] + text[end:]).encode()
    assert f"{CHART}: two series have one idx" in lint(packed(content))


@pytest.mark.parametrize(("cell", "found"), [("A4", False), ("A3", True)])
def test_a_chain_of_calculation_names_formulas(cell: str, found: bool) -> None:
    content, rels = parts(SOUND), "xl/_rels/workbook.xml.rels"
    main = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    kind = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships/calcChain"
    linked = b'<Relationship Id="c" Type="%b" Target="calcChain.xml"/></Relationships>' % kind
    content[rels] = content[rels].replace(b"</Relationships>", linked)
    chain = b'<calcChain xmlns="%b"><c r="%b" i="1"/></calcChain>' % (main, cell.encode())
    content["xl/calcChain.xml"] = chain
    content[TYPES] = content[TYPES].replace(
        b"</Types>", b'<Override PartName="/xl/calcChain.xml" ContentType="x"/></Types>'
    )
    assert lint(packed(content)) == [f"calcChain: {cell} of sheet 1 holds no formula"] * found


NAMES = (
    "=1+1", "+A1", "@SUM(A1)", "'quoted", "a''b", '"x"', "[x]", "A1", "#REF!", "{1}", "~?*", "a\tb",
    "a\nb", " lead", "\u00a0", "\u200bzero", "\u202eRTL \u05d0", "\u6c34\U0001f69c", "e\u0301",
    "_x0041_", "_x000D_", "a&b<c>d", "]]>", "<r><t>x</t></r>", "%s {0}", "C:\\x", "a:b/c", "&L&P",
    "http://example.org", "1e5", "2026-05-01", "TRUE", "nan", "0012", "\u0130", "\ue000", "\u2028",
    "\x7f", "(farm)", "total", "y" * 256, "w" * MAX_CELL, "\u00e9" * 20_000, "&<>\"'\n" * 5_000,
)  # fmt: skip


def test_whatever_is_typed_the_reviewed_book_is_sound() -> None:
    """Every kind of character in names, remarks and settings; texts as long as a cell takes."""
    sheets = clean_sheets()
    long = ("\U0001f69c&<\u05d0\n" * MAX_CELL)[: MAX_CELL // 2]
    names = [name for name in NAMES if name]
    sheets["Farm"] += [["Season", long], ["Currency", long]]
    sheets["Farm"][0][1] = long
    head = sheets["Stations"][0]
    sheets["Stations"] = [head, *([name, *[None] * (len(head) - 2), name] for name in names)]
    day = sheets["Readings"][1][1]
    rows = [[name, day, None, 3.0, 2.0 + i / 100, None, None, None, name, name]
            for i, name in enumerate(names)]  # fmt: skip
    sheets["Readings"] = [sheets["Readings"][0], *rows]
    sheets["Work done"] += [[name, day, None, "flush", 3, *[None] * 5, name, name]
                            for name in names]  # fmt: skip
    sheets["Agreed"] += [[name, name, name, day] for name in names]
    data = workbook(sheets, strings_to_formulas=False, strings_to_urls=False)
    assert lint(data) == []
    assert lint(reviewed_bytes(data)) == []
