"""Notes at cells, and texts struck through in part, of .xlsx, .ods and .xls alike."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment

from siltbook.batch.adopt.job import Adoption, Source, look
from siltbook.batch.adopt.marks import Marks, _Document, _Runs, struck_in
from siltbook.batch.reading.sheetxml import feed
from tests.adopt.test_loud import told
from tests.office import convert, needs_office

STRIKE = InlineFont(strike=True)
NOTED = [None, "flushed 3x (struck through); valve stuck", "inlet: '3.4 (struck through) 3.2'",
         "note at D5: gauge knocked again"]  # fmt: skip


def source() -> bytes:
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    page.append(["Station", "Date", "Inlet (bar)", "Outlet (bar)", "Note"])
    for day in range(1, 5):
        page.append(["North", dt.date(2026, 5, day), 3.2, 3.0, None])
    page["E3"] = CellRichText([TextBlock(STRIKE, "flushed 3x"), "; valve stuck"])
    page["C4"] = CellRichText([TextBlock(STRIKE, "3.4"), TextBlock(InlineFont(), " 3.2")])
    page["D5"].comment = Comment("gauge knocked\nagain", "Ann")
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def noted(seen: Adoption) -> list[object]:
    return [reading.get("remark") for reading in seen.rows.readings]


def test_a_text_struck_in_part_says_so_and_proposes_no_work_to_enter() -> None:
    """'flushed 3x' was proposed as work, and the remark had no word of the line."""
    seen = look([Source(Path("own.xlsx"), source())])
    assert noted(seen) == NOTED
    assert "inlet" not in seen.rows.readings[2]
    assert [work for work in seen.rows.work if not work.get("struck")] == []
    assert told(seen).startswith(
        "Struck through in the source: own.xlsx, sheet Sheet, row 3 (Note); own.xlsx, sheet Sheet,"
        " row 4 (Inlet (bar)). A pressure"
    )


@pytest.mark.at_length  # the parts of an .ods, below
@needs_office
@pytest.mark.parametrize("kind", ["ods", "xls"])
def test_other_formats_say_the_same(kind: str, tmp_path: Path) -> None:
    """Notes of an .ods and an .xls went without a word."""
    at = tmp_path / "own.xlsx"
    at.write_bytes(source())
    other = convert(at, tmp_path, kind)
    assert noted(look([Source(Path(other.name), other.read_bytes())])) == NOTED


ODS = """<o:d xmlns:o="o" xmlns:t="t" xmlns:x="x" xmlns:s="s">
<s:style s:name="T1"><s:text-properties s:text-line-through-type="single"/></s:style>
<s:style s:name="T2"><s:text-properties s:text-line-through-style="none"/></s:style>
<t:table><t:table-row t:number-rows-repeated="2"><t:table-cell/></t:table-row>
<t:table-row><t:table-cell t:number-columns-repeated="2"><x:p>a</x:p></t:table-cell>
<t:table-cell><o:annotation><s:creator>Ann</s:creator><x:p>gauge</x:p><x:p>knocked</x:p>
</o:annotation><x:p><x:span x:style-name="T1">3.4</x:span> 3.2</x:p></t:table-cell>
<t:table-cell><x:p><x:span x:style-name="T1">all</x:span></x:p></t:table-cell>
<t:table-cell><x:p><x:span x:style-name="T2">none</x:span> of it</x:p></t:table-cell>
</t:table-row></t:table><t:table/></o:d>"""


def test_an_ods_keeps_its_notes_and_lines_at_their_cells() -> None:
    reading = _Document()
    feed([ODS.encode()], reading.start, reading.end, reading.data)
    texts = {(3, 2): "3.4 (struck through) 3.2"}
    assert reading.sheets == [Marks({(3, 2): "gauge knocked"}, texts), Marks()]


def test_runs_of_shared_texts_are_struck_each_by_itself() -> None:
    reading = _Runs("si", "r", "t")
    text = (
        b"<sst><si><t>a</t></si><si><r><rPr><strike/></rPr><t>b</t></r><r><t>c</t></r></si></sst>"
    )
    feed([text], reading.start, reading.end, reading.data)
    assert [struck_in(runs) for runs in reading.items] == ["", "b (struck through) c"]
    assert struck_in([("b", True), (" ", False)]) == ""
