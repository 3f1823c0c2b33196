"""Notes, pictures and cells beside the tables are kept and named wherever a result is replaced."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.chart import BarChart, Reference
from openpyxl.comments import Comment
from openpyxl.drawing.image import Image
from openpyxl.worksheet.datavalidation import DataValidation

from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.workbook import list_sheets
from siltbook.batch.typed.beside import Note, beside
from tests.office import Shared, needs_office
from tests.typed.farm import DAY, NAME, edit, make, saved, siltbook


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / NAME
    path.write_bytes(make())
    return path


def note(sheet: str, cell: str, words: str = "ask Bea") -> Callable[[openpyxl.Workbook], None]:
    def write(made: openpyxl.Workbook) -> None:
        made[sheet][cell].comment = Comment(words, "Ann")

    return write


def picture(made: openpyxl.Workbook, sheet: str = "Actions") -> None:
    from PIL import Image as Drawn

    target = io.BytesIO()
    Drawn.new("RGB", (8, 8)).save(target, "png")
    made[sheet].add_image(Image(target), "N3")


def chart(made: openpyxl.Workbook, sheet: str = "Trends") -> None:
    drawn = BarChart()
    drawn.add_data(Reference(made["Readings"], min_col=3, min_row=2, max_row=5))
    made[sheet].add_chart(drawn, "X3")


def link(made: openpyxl.Workbook) -> None:
    made["Readings"]["A3"].hyperlink = "https://invented.example/gauge"


def printed(made: openpyxl.Workbook) -> None:
    made["Readings"].oddFooter.center.text = '&"Arial,Bold"&12gauge broken &P'


def chart_alone(made: openpyxl.Workbook) -> None:
    made.create_chartsheet("My chart").add_chart(BarChart())


EDITS: list[tuple[Callable[[openpyxl.Workbook], Any], str]] = [
    (note("Readings", "C3"), "Readings: note at C3 'ask Bea'"),
    (note("Actions", "B5"), "Actions: note at B5 'ask Bea'"),
    (picture, "Actions: 1 picture"),
    (lambda made: picture(made, "Stations"), "Stations: 1 picture"),
    (chart, "Trends: 1 chart"),
    (chart_alone, "My chart: a sheet that the book has not"),
    (link, "Readings: link to 'https://invented.example/gauge'"),
    (printed, "Readings: words in the header or footer 'gauge broken'"),
]


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize(("how", "what"), EDITS)
def test_a_result_with_a_note_or_a_picture_is_kept_with_the_sentence_that_says_so(
    book: Path, how: Callable[[openpyxl.Workbook], Any], what: str
) -> None:
    siltbook("run", book)
    result = book.with_name("farm.reviewed.xlsx")
    edit(result, how)
    typed = result.read_bytes()
    aside = book.with_name("farm.reviewed.kept-1.xlsx")
    said = siltbook("run", book)
    assert f"was edited since Siltbook wrote it ({what}): it is kept as {aside}" in said
    assert aside.read_bytes() == typed


def with_box(data: bytes, words: str) -> bytes:
    """The book with a text box on Stations."""
    drawing = "http://schemas.openxmlformats.org/drawingml/2006"
    box = (
        f'<d:wsDr xmlns:d="{drawing}/spreadsheetDrawing" xmlns:a="{drawing}/main">'
        '<d:absoluteAnchor><d:pos x="0" y="0"/><d:ext cx="900000" cy="900000"/><d:sp><d:nvSpPr>'
        '<d:cNvPr id="2" name="t"/><d:cNvSpPr txBox="1"/></d:nvSpPr><d:spPr/><d:txBody>'
        f"<a:bodyPr/><a:p><a:r><a:t>{words}</a:t></a:r></a:p></d:txBody></d:sp><d:clientData/>"
        "</d:absoluteAnchor></d:wsDr>"
    )
    kinds = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    of_sheet = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="r" Type="{kinds}/drawing" Target="../drawings/drawing91.xml"/>'
        "</Relationships>"
    )
    named = (
        '<Override PartName="/xl/drawings/drawing91.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.drawing+xml"/></Types>'
    )
    into = {
        "[Content_Types].xml": (b"</Types>", named),
        "xl/worksheets/sheet2.xml": (
            b"</worksheet>", f'<drawing xmlns:r="{kinds}" r:id="r"/></worksheet>'
        ),
    }  # fmt: skip
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            mark, text = into.get(name, (b"", ""))
            part = old.read(name)
            new.writestr(name, part.replace(mark, text.encode()) if mark else part)
        new.writestr("xl/worksheets/_rels/sheet2.xml.rels", of_sheet)
        new.writestr("xl/drawings/drawing91.xml", box)
    return made.getvalue()


def test_words_typed_into_a_shape_that_was_there_are_kept_and_named(book: Path) -> None:
    book.write_bytes(with_box(make(), "as built"))
    siltbook("run", book)
    result = book.with_name("farm.reviewed.xlsx")
    made = io.BytesIO()
    with zipfile.ZipFile(result) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b"as built", b"gate 3 is new"))
    result.write_bytes(made.getvalue())
    said = siltbook("run", book)
    assert "was edited since Siltbook wrote it (Stations: words in a shape 'gate 3 is new')" in said
    assert book.with_name("farm.reviewed.kept-1.xlsx").read_bytes() == made.getvalue()


@pytest.mark.at_length  # in place, below
def test_notes_of_the_book_itself_are_no_edit_of_its_result(book: Path) -> None:
    edit(book, note("Readings", "C3"))
    siltbook("run", book)
    edit(book.with_name("farm.reviewed.xlsx"), lambda made: None)
    assert "is kept as" not in siltbook("run", book)


@pytest.mark.at_length  # test_kept.py: a mere save
@needs_office
def test_an_office_program_saves_notes_and_charts_and_that_is_no_edit(
    book: Path, office: Shared
) -> None:
    def all_of_it(made: openpyxl.Workbook) -> None:
        note("Readings", "C3")(made)
        picture(made, "Stations")
        printed(made)
        for row, target in enumerate(("https://invented.example", "notes.pdf"), start=3):
            made["Readings"].cell(row, 1).hyperlink = target

    edit(book, all_of_it)
    siltbook("run", book)
    result = book.with_name("farm.reviewed.xlsx")
    result.write_bytes(*office.resaved(result.read_bytes()))
    assert "is kept as" not in siltbook("run", book)


IN_PLACE = (
    "farm.xlsx: its result sheets were replaced, as at every run, and what people put there is not "
    "on the new ones ({what}). The book as it was is kept in {kept}, from which you can copy it. "
    "Rows, notes and pictures on your own sheets stay where they are.\n"
)


def type_beside(made: openpyxl.Workbook) -> None:
    made["Actions"]["Z5"] = "ordered"
    made["Actions"]["AA6"] = "=1+1"
    note("Actions", "B5")(made)
    picture(made, "Findings")
    chart(made)
    made["Actions"].protection.sheet = True
    made["Actions"].add_data_validation(DataValidation("list", formula1='"Ann,Bea"', sqref="J6"))


def row(made: openpyxl.Workbook) -> None:
    made["Readings"].append(["West", DAY + dt.timedelta(days=1), 3.0, 2.8, None, "Cal"])


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("also", [lambda _: None, row])
def test_in_place_what_stood_on_result_sheets_is_named_with_the_book_that_has_it(
    book: Path, also: Callable[[openpyxl.Workbook], None]
) -> None:
    siltbook("run", book, "--in-place")
    edit(book, lambda made: (type_beside(made), also(made)))
    typed = book.read_bytes()
    said = siltbook("run", book, "--in-place")
    kept = book.with_name("farm.previous-2.xlsx")
    what = (
        "Actions: Z5 'ordered', AA6 a formula, note at B5 'ask Bea', its protection, 1 rule for "
        "what may be typed (data validation); Trends: 1 chart; Findings: 1 picture"
    )
    assert IN_PLACE.format(what=what, kept=kept) in said
    assert kept.read_bytes() == typed
    assert "were replaced, as at every run" not in siltbook("run", book, "--in-place")


def test_in_place_after_mere_rows_or_a_mere_save_nothing_is_said(book: Path) -> None:
    siltbook("run", book, "--in-place")
    for how in (lambda _: None, row):
        edit(book, how)
        assert "were replaced, as at every run" not in siltbook("run", book, "--in-place")


def test_in_place_what_cannot_be_told_is_said_and_notes_are_named(book: Path) -> None:
    siltbook("run", book, "--in-place")

    def other(made: openpyxl.Workbook) -> None:
        made["Readings"]["C3"] = 3.1
        made["Readings"]["C4"] = 3.2
        note("Actions", "B5")(made)

    edit(book, other)
    said = siltbook("run", book, "--in-place")
    assert (
        "not on the new ones (Actions: note at B5 'ask Bea'); inputs changed since the last run, "
        "so a result that was typed over cannot be told from a new one. If somebody typed there, "
        f"it stands in {book.with_name('farm.previous-2.xlsx')}, from which you can copy it. "
    ) in said


def test_discussions_shapes_and_controls_are_seen(book: Path) -> None:
    """Written by hand: openpyxl keeps none of them."""
    space = 'xmlns:x="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"'
    drawing = (
        f"<x:wsDr {space}><x:twoCellAnchor><x:sp/><x:sp/></x:twoCellAnchor><x:oneCellAnchor>"
        "<x:grpSp><x:sp/></x:grpSp></x:oneCellAnchor><x:oneCellAnchor><x:graphicFrame/>"
        "</x:oneCellAnchor></x:wsDr>"
    )
    threads = (
        '<T><threadedComment ref="B2"><text>who  went?</text></threadedComment>'
        '<threadedComment ref="B2"><text> Ann </text></threadedComment></T>'
    )
    kinds = {"drawing": drawing, "threadedComment": threads, "ctrlProp": "<c/>", "image": ""}
    links = "".join(
        f'<Relationship Id="r{kind}" Type="http://x/{kind}" Target="/xl/{kind}.xml"/>'
        for kind in kinds
    )
    target = io.BytesIO(saved(openpyxl.Workbook()))
    with zipfile.ZipFile(target, "a") as archive:
        for kind, text in kinds.items():
            archive.writestr(f"xl/{kind}.xml", text)
        archive.writestr("xl/worksheets/_rels/sheet1.xml.rels", f"<R>{links}</R>")
    package = open_package(target.getvalue(), "x.xlsx")
    (sheet,) = list_sheets(package, "x.xlsx")
    found = beside(package, sheet.part)
    assert found.notes == (Note("B2", "who went?"), Note("B2", "Ann"))
    assert dict(found.drawn) == {
        "shape": 1, "group of shapes": 1, "object": 1, "control": 1, "picture behind the sheet": 1,
    }  # fmt: skip
