"""Writes an .xlsx of plain values, row by row: what is left of a workbook of another format.

Every value stands at the address that it had, so that a finding's cell is right in both files.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from html import escape
from typing import IO

from siltbook.batch.errors import BookError
from siltbook.batch.reading.cells import MAX_CELL, MAX_COLUMN, MAX_ROW, ErrorText, NoValue, Value
from siltbook.templates.book import column_letters

MAX_CELLS = 3_000_000  # filled cells of all sheets; a season's book holds some ten thousand
MAX_SHEETS = 1_000
MAX_NAME = 31

GENERAL, DATE, MOMENT, CLOCK, PERCENT, HOURS = range(6)  # cell formats of `_STYLES`
STRUCK = 6  # to be added to one of them where the cell is struck through
# The error values that an .xlsx knows; any other is shown as the most general of them.
ERRORS = {"#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A"}

Cell = tuple[int, Value, int]  # 0-based column, value, one of the formats above

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_DECLARED = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_FORMATS = ("0", "164", "165", "20", "10", "46")
_STYLES = (
    f'<styleSheet xmlns="{_MAIN}"><numFmts count="2"><numFmt numFmtId="164" formatCode='
    '"yyyy\\-mm\\-dd"/><numFmt numFmtId="165" formatCode="yyyy\\-mm\\-dd\\ hh:mm"/></numFmts>'
    '<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><strike/><sz val="11"/><name val="Calibri"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill></fills><borders count="1"><border>'
    "<left/><right/><top/><bottom/><diagonal/></border></borders>"
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    f'<cellXfs count="{2 * len(_FORMATS)}">'
    + "".join(
        f'<xf numFmtId="{n}" fontId="{font}" fillId="0" borderId="0" xfId="0"'
        ' applyNumberFormat="1" applyFont="1"/>'
        for font in (0, 1)
        for n in _FORMATS
    )
    + '</cellXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/>'
    "</cellStyles></styleSheet>"
)
_STAMP = (1980, 1, 1, 0, 0, 0)  # a fixed date: the same input gives the same bytes
_FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
_UNSAID = re.compile(r"[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]")


class PlainBook:
    """A workbook being written: `begin` a sheet, `row` by row, `end` it; then `finish`."""

    def __init__(self, name: str, date1904: bool = False) -> None:
        self.name = name  # the file's, for messages
        self.date1904 = date1904
        self.cut = 0  # texts that were too long for a cell
        self._target = io.BytesIO()
        self._zip = zipfile.ZipFile(self._target, "w", zipfile.ZIP_DEFLATED, compresslevel=1)
        self._part: IO[bytes] | None = None
        self._sheets: list[tuple[str, bool]] = []
        self._strings: dict[str, int] = {}
        self._filled = 0
        self._rows: list[str] = []
        self._hidden: list[tuple[int, int]] = []
        self._begun = False  # whether the head of the sheet has been written
        self._letters = [column_letters(i) for i in range(64)]

    def __enter__(self) -> PlainBook:
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of what a broken source left half written."""
        self._leave()
        self._zip.close()

    def begin(self, title: str, hidden: bool = False) -> None:
        """Begin a sheet; its name is made one that an .xlsx accepts."""
        if len(self._sheets) >= MAX_SHEETS:
            raise BookError(f"{self.name} holds more than {MAX_SHEETS:,} sheets: it was not read.")
        self._sheets.append((self._free_name(title), hidden))
        self._leave()
        self._part = self._zip.open(_info(f"xl/worksheets/sheet{len(self._sheets)}.xml"), "w")
        self._hidden, self._begun = [], False

    def hide_columns(self, first: int, last: int) -> None:
        """Hide a stretch of 0-based columns of the sheet, by ascending column, before any row."""
        first = max(first, self._hidden[-1][1] + 1 if self._hidden else 0)
        if first <= last < MAX_COLUMN:
            self._hidden.append((first, last))

    def row(self, number: int, cells: Sequence[Cell], hidden: bool = False) -> None:
        """One row's filled cells, by ascending column; rows ascend. ValueError out of bounds."""
        if not 1 <= number <= MAX_ROW or not cells or cells[-1][0] >= MAX_COLUMN:
            raise ValueError("a cell lies beyond the last row or column")
        self._filled += len(cells)
        if self._filled > MAX_CELLS:
            raise BookError(
                f"{self.name} holds more than {MAX_CELLS:,} filled cells, which no season's"
                " workbook does: it was not read."
            )
        made = "".join([self._cell(number, *cell) for cell in cells])
        mark = ' hidden="1"' if hidden else ""
        self._rows.append(f'<row r="{number}"{mark}>{made}</row>')
        if len(self._rows) >= 1_000:
            self._flush()

    def end(self, merged: Iterable[str] = ()) -> None:
        """End the sheet; `merged` are its merged ranges, for example A2:A5."""
        self._flush()
        refs = list(merged)
        listed = "".join(f'<mergeCell ref="{ref}"/>' for ref in refs)
        merges = f'<mergeCells count="{len(refs)}">{listed}</mergeCells>' if refs else ""
        self._write(f"</sheetData>{merges}</worksheet>")
        self._leave()

    def finish(self) -> bytes:
        """The package's bytes. BookError where it holds no sheet."""
        if not self._sheets:
            raise BookError(
                f"{self.name} has no worksheet: give a workbook made from the template."
            )
        for part, text in self._other_parts().items():
            self._zip.writestr(_info(part), _DECLARED + text, zipfile.ZIP_DEFLATED, 1)
        self._zip.close()
        return self._target.getvalue()

    def _flush(self) -> None:
        self._write("".join(self._rows))
        self._rows.clear()

    def _write(self, text: str) -> None:
        if self._part is None:
            raise ValueError("no sheet has begun")
        if not self._begun:
            self._begun = True
            head = f'{_DECLARED}<worksheet xmlns="{_MAIN}"><cols>{self._columns()}</cols>'
            self._part.write(f"{head}<sheetData>".encode())
        self._part.write(text.encode())

    def _columns(self) -> str:
        """Columns of one width, the hidden ones marked."""
        made, column = [], 0
        for first, last in [*self._hidden, (MAX_COLUMN, MAX_COLUMN)]:
            if first > column:
                made.append(f'<col min="{column + 1}" max="{first}" width="14" customWidth="1"/>')
            if last < MAX_COLUMN:
                span = f'min="{first + 1}" max="{last + 1}"'
                made.append(f'<col {span} width="14" customWidth="1" hidden="1"/>')
            column = last + 1
        return "".join(made)

    def _leave(self) -> None:
        if self._part is not None:
            self._part.close()
        self._part = None

    def _cell(self, row: int, column: int, value: Value, style: int) -> str:
        letters = self._letters[column] if column < 64 else column_letters(column)
        start = f'<c r="{letters}{row}" s="{style}"'
        if type(value) is float:
            return f"{start}><v>{value!r}</v></c>"
        if isinstance(value, bool):
            return f'{start} t="b"><v>{int(value)}</v></c>'
        if isinstance(value, NoValue):
            return f"{start}><f>NA()</f></c>"
        if isinstance(value, ErrorText):
            return f'{start} t="e"><v>{value if value in ERRORS else "#VALUE!"}</v></c>'
        return f'{start} t="s"><v>{self._string(str(value))}</v></c>'

    def _string(self, text: str) -> int:
        if len(text) > MAX_CELL:
            text = text[:MAX_CELL]
            self.cut += 1
        return self._strings.setdefault(text, len(self._strings))

    def _free_name(self, title: str) -> str:
        stem = _FORBIDDEN.sub(" ", title).strip(" '")[:MAX_NAME] or "Sheet"
        taken = {name.casefold() for name, _ in self._sheets}
        name, number = stem, 2
        while name.casefold() in taken:
            name = f"{stem[: MAX_NAME - 6]} ({number})"
            number += 1
        return name

    def _other_parts(self) -> dict[str, str]:
        numbers = range(1, len(self._sheets) + 1)
        only_hidden = all(hidden for _, hidden in self._sheets)
        listed = "".join(
            f'<sheet name="{escape(name)}" sheetId="{i}"'
            f"{' state=' + chr(34) + 'hidden' + chr(34) if hidden and not only_hidden else ''}"
            f' r:id="rId{i}"/>'
            for i, (name, hidden) in enumerate(self._sheets, 1)
        )
        links = [("worksheet", f"worksheets/sheet{i}.xml") for i in numbers]
        links += [("styles", "styles.xml"), ("sharedStrings", "sharedStrings.xml")]
        related = "".join(
            f'<Relationship Id="rId{i}" Type="{_OFFICE}/{kind}" Target="{target}"/>'
            for i, (kind, target) in enumerate(links, 1)
        )
        types = {f"worksheets/sheet{i}": "worksheet" for i in numbers}
        types |= {"workbook": "sheet.main", "styles": "styles", "sharedStrings": "sharedStrings"}
        overrides = "".join(
            f'<Override PartName="/xl/{part}.xml" ContentType="{_TYPE}.{kind}+xml"/>'
            for part, kind in types.items()
        )
        from_1904 = '<workbookPr date1904="1"/>' if self.date1904 else ""
        strings = "".join(map(_item, self._strings))
        return {
            "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}">{strings}</sst>',
            "xl/styles.xml": _STYLES,
            "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}">{from_1904}'
            f"<sheets>{listed}</sheets></workbook>",
            "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
            f"{related}</Relationships>",
            "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship'
            f' Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/>'
            "</Relationships>",
            "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default'
            ' Extension="rels" ContentType='
            '"application/vnd.openxmlformats-package.relationships+xml"/>'
            '<Default Extension="xml" ContentType="application/xml"/>'
            f"{overrides}</Types>",
        }


def _info(part: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(part, _STAMP)
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _item(text: str) -> str:
    """One shared string; a spelling such as _x0041_ would be decoded, so its sign is escaped."""
    text = _UNSAID.sub("", text)
    if "_x" in text:
        text = re.sub(r"_(?=x[0-9a-fA-F]{4}_)", "_x005F_", text)
    return f'<si><t xml:space="preserve">{escape(text, quote=False)}</t></si>'
