"""Invented workbooks for the reader's tests: clean ones by sheet, dirty ones by raw sheet XML."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from typing import Any
from xml.sax.saxutils import escape

import xlsxwriter

from siltbook.batch.package.deflate import quick
from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.templates.contract import AGREED, READINGS, STATIONS, WORK

Rows = list[list[object]]
NAME = "invented.xlsx"


def clean_sheets(readings: int = 4) -> dict[str, Rows]:
    """Sheets of a small invented farm."""
    day = dt.date(2026, 5, 1)
    visits: Rows = [
        ["F1" if i % 2 else "F2", day + dt.timedelta(days=i % 200), 0.3125, 3.0, 2.5, 40]
        for i in range(readings)
    ]
    return {
        "Farm": [["Farm name", "Invented farm"], ["Pressure unit", "bar"]],
        "Stations": [
            [column.header for column in STATIONS.columns],
            ["F1", "North", "screen", 130, 40, 0.8],
            ["F2", "South", "disc", *[None] * 10, "psi", "yes"],
        ],
        "Readings": [[column.header for column in READINGS.columns], *visits],
        "Work done": [
            [column.header for column in WORK.columns],
            ["F1", dt.date(2026, 5, 3), "7:30", "flush", 3, 2.2, "yes", "yes", "no"],
        ],
        "Agreed": [
            [column.header for column in AGREED.columns],
            ["F1", "Clean it", "Ana", dt.date(2026, 6, 3)],
        ],
    }


def workbook(sheets: dict[str, Rows], **options: object) -> bytes:
    """A workbook of these sheets; dates are date cells, ('=...', value) is a formula."""
    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True, **options})
    date = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for r, row in enumerate(rows):
            for c, value in enumerate(row):
                if isinstance(value, dt.date):
                    sheet.write_datetime(r, c, value, date)
                elif isinstance(value, str):
                    sheet.write_string(r, c, value)
                elif isinstance(value, tuple):
                    sheet.write_formula(r, c, value[0], None, value[1])
                elif value is not None:
                    sheet.write(r, c, value)
    book.close()
    return target.getvalue()


def reading(*rows: list[object], headers: list[str] | None = None, **sheets: Rows) -> ReadResult:
    """Read a clean book whose Readings hold these rows."""
    made = clean_sheets()
    header = headers or [column.header for column in READINGS.columns]
    made["Readings"] = [list(header), *rows]
    made.update(sheets)
    return read_book(workbook(made), NAME)


MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels"'
    ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_SHEET_TYPE}.sheet.main+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{_SHEET_TYPE}.styles+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_SHEET_TYPE}.worksheet+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet2.xml" ContentType="{_SHEET_TYPE}.worksheet+xml"/>'
    "</Types>"
)
STYLES = (
    f'<styleSheet xmlns="{MAIN}"><numFmts count="1"><numFmt numFmtId="164"'
    ' formatCode="dd/mm/yyyy"/></numFmts><cellXfs count="3"><xf numFmtId="0"/>'
    '<xf numFmtId="164"/><xf numFmtId="20"/>'
    "</cellXfs></styleSheet>"
)


def text_cell(value: str, ref: str = "") -> str:
    """An inline text cell."""
    place = f' r="{ref}"' if ref else ""
    return f'<c{place} t="inlineStr"><is><t>{escape(value)}</t></is></c>'


def row(*cells: str) -> str:
    """A row of cells given as XML, or as plain text."""
    return "<row>" + "".join(c if c.startswith("<") else text_cell(c) for c in cells) + "</row>"


def raw_sheet(*rows: str, after: str = "") -> str:
    """A worksheet part of these rows."""
    return f'<worksheet xmlns="{MAIN}"><sheetData>{"".join(rows)}</sheetData>{after}</worksheet>'


HEAD = row("Station", "Date", "Time", "Inlet pressure", "Outlet pressure")


def raw_book(readings: str, *, main: str = "", extra: dict[str, str] | None = None) -> bytes:
    """A package with a one-station register and this Readings part, written by hand."""
    stations = raw_sheet(row("Station", "Remark"), row("F1", "x"))
    names = {"Stations": "sheet1", "Readings": "sheet2"}
    listed = "".join(
        f'<sheet name="{n}" sheetId="{i}" r:id="r{i}"/>' for i, n in enumerate(names, 1)
    )
    targets = "".join(
        f'<Relationship Id="r{i}" Type="{OFFICE}/worksheet" Target="/xl/worksheets/{p}.xml"/>'
        for i, p in enumerate(names.values(), 1)
    )
    parts = {
        "[Content_Types].xml": TYPES,
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="a"'
        f' Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}">{main}'
        f"<sheets>{listed}</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}">{targets}<Relationship'
        f' Id="s" Type="{OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": STYLES,
        "xl/worksheets/sheet1.xml": stations,
        "xl/worksheets/sheet2.xml": readings,
        **(extra or {}),
    }
    return zipped(parts)


def zipped(parts: dict[str, str | bytes]) -> bytes:
    """A package of these parts."""
    target = io.BytesIO()
    with Quick(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return target.getvalue()


class Quick(zipfile.ZipFile):
    """Packs long parts as the product does: many times as fast as Python's own packer."""

    def open(self, name: Any, mode: Any = "r", *more: Any, **named: Any) -> Any:
        part = super().open(name, mode, *more, **named)
        if mode == "w" and part._zinfo.compress_type == zipfile.ZIP_DEFLATED:
            part._compressor = quick()
        return part
