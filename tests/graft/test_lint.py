"""Each lint rule fires on a sound file with one fault planted in it."""

from __future__ import annotations

import io
import warnings
import zipfile

import pytest

from siltbook.batch.graft import graft
from tests.graft.packs import NAMES, changed, packed, parts, practitioner, results
from tests.lint import lint

SOUND = graft(practitioner(), results(), NAMES)
SHEET, TABLE = "xl/worksheets/sheet3.xml", "xl/tables/table2.xml"
NOTES = "xl/worksheets/sheet2.xml"
BOOK, RELS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
TYPES = "[Content_Types].xml"

# part, text, what it is replaced by, what the lint says
FAULTS = [
    (BOOK, 'name="Notes"', f'name="{"N" * 32}"', "has 32 characters"),
    (BOOK, 'name="Notes"', 'name="No/tes"', "has a forbidden character"),
    (BOOK, 'name="Notes"', 'name="FARM"', "sheet name 'farm' stands 2 times"),
    (BOOK, 'sheetId="2"', 'sheetId="1"', "sheetId 1 stands 2 times"),
    (BOOK, 'localSheetId="0"', 'localSheetId="4"', "has localSheetId 4"),
    (BOOK, 'name="Limit"', 'name="SiltbookActions_2"', "is a table and a defined name"),
    (BOOK, 'name="Limit">', 'name="A_x">A</definedName><definedName name="A_x">', "a_x stands 2"),
    (RELS, 'Target="styles.xml"', 'Target="gone.xml"', "leads to missing xl/gone.xml"),
    (RELS, 'Id="rId2"', 'Id="rId1"', "relationship id rId1 stands 2 times"),
    (SHEET, 'r:id="rId1"', 'r:id="rId77"', "uses relationship rId77, which it lacks"),
    (TYPES, "/xl/charts/chart2.xml", "/xl/charts/gone.xml", "override for missing part"),
    (TYPES, 'Extension="png"', 'Extension="gif"', "image1.png: has no content type"),
    (TYPES, "/xl/charts/chart2.xml", "/xl/tables/table2.xml", "has 2 overrides"),
    (SHEET, "</worksheet>", "", "not well-formed"),
    (SHEET, '<c r="B6" s="', '<c r="B6" s="99', "cell formats"),
    (SHEET, 'dxfId="', 'dxfId="9', "sheet3.xml: dxfId 9"),
    (TABLE, 'dataDxfId="', 'dataDxfId="9', "dataDxfId 9"),
    ("xl/styles.xml", 'fontId="1"', 'fontId="88"', "fontId 88 of"),
    ("xl/styles.xml", '<borders count="', '<borders count="7', "borders says count 7"),
    ("xl/styles.xml", 'numFmtId="165" formatCode', 'numFmtId="164" formatCode', "164 stands 2"),
    ("xl/worksheets/sheet2.xml", 't="s"><v>', 't="s"><v>9', "has shared string 9"),
    (SHEET, '<c r="B5"', '<c r="B6"', "cell B6 stands twice"),
    (SHEET, "<v>3</v>", "<v>NaN</v>", "holds 'NaN', which is no number"),
    (SHEET, "<f>Silt", "<f>=Silt", "formula in C5 starts with '='"),
    (SHEET, '"yes,no"', f'"{"y" * 256}"', "has 256 characters"),
    (SHEET, '<formula1>"', '<formula1>="', "validation of F1 starts with '='"),
    (SHEET, "<formula>2", "<formula>=2", "conditional format formula starts with '='"),
    (TABLE, 'ref="A4:C9"', 'ref="A4:D9"', "range A4:D9 does not fit 3 columns"),
    (TABLE, 'name="Twice"', 'name="drop"', "column headers are not unique"),
    (TABLE, 'name="Twice"', 'name="Thrice"', "'Thrice' stands over a cell that says 'Twice'"),
    (TABLE, ' id="2" name', ' id="1" name', "tables: id 1 stands 2 times"),
    (TABLE, 'displayName="SiltbookActions_2"', 'displayName="Siltbookactions"', "stands 2 times"),
    ("xl/charts/chart2.xml", "Actions!", "Absent!", "refers to the missing sheet 'Absent'"),
    ("xl/drawings/drawing1.xml", 'cNvPr id="3"', 'cNvPr id="2"', "shape id 2 stands 2 times"),
    (NOTES, "<sheetView ", '<sheetView tabSelected="1" ', "selected together"),
]  # fmt: skip


def test_the_sound_file_has_no_fault() -> None:
    assert lint(SOUND) == []


@pytest.mark.parametrize(("part", "old", "new", "message"), FAULTS)
def test_a_planted_fault_is_found(part: str, old: str, new: str, message: str) -> None:
    faults = lint(changed(SOUND, part, (old, new)))
    assert any(message in fault for fault in faults), faults


def test_a_part_that_stands_twice_is_found() -> None:
    stream = io.BytesIO(SOUND)
    with warnings.catch_warnings(), zipfile.ZipFile(stream, "a") as archive:
        warnings.simplefilter("ignore")
        archive.writestr(BOOK, parts(SOUND)[BOOK])
    assert f"{BOOK}: stands 2 times in the zip" in lint(stream.getvalue())


def test_relationships_of_a_missing_part_are_found() -> None:
    content = parts(SOUND)
    content["xl/charts/_rels/gone.xml.rels"] = b"<Relationships/>"
    assert "xl/charts/gone.xml: has relationships but does not exist" in lint(packed(content))
