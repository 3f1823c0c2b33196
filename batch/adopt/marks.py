"""What people put at cells of a source, and texts of which they struck a part through.

An .xlsx, an .ods and an old .xls each keep this in a way of their own; what the cells hold is read
elsewhere (`sources`). Where it cannot be read, nothing of it is known and the values stand alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from html import unescape
from typing import Any

from siltbook.batch import child
from siltbook.batch.adopt.model import STRUCK
from siltbook.batch.package.limits import DAMAGE
from siltbook.batch.package.opened import Package, open_package
from siltbook.batch.reading.cells import Workbook, address
from siltbook.batch.reading.foreign import kind_of
from siltbook.batch.reading.oldbook import LIMITS, opened
from siltbook.batch.reading.opendocument import is_lined
from siltbook.batch.reading.sheetxml import feed
from siltbook.batch.typed.beside import beside

Place = tuple[int, int]  # 1-based row, 0-based column
_PARTS = re.compile(rb"<(?:\w+:)?c\b([^<>]*[^/<>])>(.*?)</(?:\w+:)?c>", re.DOTALL)
_REF, _INDEX = re.compile(rb'\br="([A-Z]{1,3}[0-9]{1,7})"'), re.compile(rb"v>([0-9]{1,9})<")
_RUN = re.compile(rb"<(?:\w+:)?r\b[^<>]*>(.*?)</(?:\w+:)?r>", re.DOTALL)
_TEXT = re.compile(rb"<(?:\w+:)?t\b[^<>]*>(.*?)</(?:\w+:)?t>", re.DOTALL)
_LINE = re.compile(rb"<(?:\w+:)?strike\b(?:[^<>]*val=\"(\w+)\")?")
_NO = ("0", "false", "off")


@dataclass
class Marks:
    """Of one sheet: notes by cell, and texts in which what was struck is said to be."""

    notes: dict[Place, str] = field(default_factory=dict)
    texts: dict[Place, str] = field(default_factory=dict)

    def note(self, place: Place, words: str) -> None:
        """A further note at a cell."""
        self.notes[place] = "; ".join(filter(None, (self.notes.get(place), words)))


def marks_of(data: bytes, name: str, book: Workbook) -> Iterator[Marks]:
    """Those of each sheet of a source, in the order of the `book` that was made of it."""
    kind = kind_of(data)
    try:
        if kind == "xls":
            found = child.call(f"{__name__}:marks_of_xls", data, name, limits=LIMITS).value
        elif kind == "ods":
            found = _marks_of_ods(open_package(data, name))
        else:
            found = list(_marks_of_xlsx(book))
    except (*DAMAGE, child.EndlessError):
        found = []
    yield from found
    yield from (Marks() for _ in range(len(book.sheets) - len(found)))


def struck_in(runs: list[tuple[str, bool]]) -> str:
    """A text of runs, each struck or not, with the word behind each that is; '' where none or all
    are."""
    told = [(text, struck) for text, struck in runs if text.strip()]
    if len({struck for _, struck in told}) < 2:
        return ""
    said = " ".join(text.strip() + STRUCK * struck for text, struck in told)
    return re.sub(r" (?=[;,.:!?)])", "", said)


def _marks_of_xlsx(book: Workbook) -> Iterator[Marks]:
    shared = _shared(book.package)
    for part in book.sheets:
        marks = Marks()
        for note in beside(book.package, part.part).notes:
            with suppress(ValueError):
                marks.note(address(note.cell), note.words)
        sheet = bytes(book.package.whole(part.part))
        for attributes, content in _PARTS.findall(sheet if shared or b"strike" in sheet else b""):
            ref = _REF.search(attributes)
            said = _said(attributes, content, shared)
            if ref is not None and said:
                marks.texts[address(ref[1].decode())] = said
        yield marks


def _said(attributes: bytes, content: bytes, shared: Mapping[int, str]) -> str:
    """The text of one cell with what is struck in it; '' where nothing, or all, is."""
    if b't="s"' in attributes:
        at = _INDEX.search(content)
        return shared.get(int(at[1]), "") if at is not None else ""
    runs = []
    for run in _RUN.findall(content if b"strike" in content else b""):
        line = _LINE.search(run)
        text = unescape(b"".join(_TEXT.findall(run)).decode("utf-8", "replace"))
        runs.append((text, line is not None and (line[1] or b"1").decode() not in _NO))
    return struck_in(runs)


def _shared(package: Package) -> Mapping[int, str]:
    """The shared texts of a book that are struck through in part, by their numbers."""
    part = "xl/sharedStrings.xml"
    if not package.has(part) or b"strike" not in package.whole(part):
        return {}
    reading = _Runs("si", "r", "t")
    feed(package.counted(part), reading.start, reading.end, reading.data)
    return {at: said for at, runs in enumerate(reading.items) if (said := struck_in(runs))}


class _Runs:
    """Reads the runs of each shared text."""

    def __init__(self, item: str, run: str, text: str) -> None:
        self.names = item, run, text
        self.items: list[list[tuple[str, bool]]] = []
        self._struck = self._inside = False

    def start(self, name: str, attrs: dict[str, str]) -> None:
        item, run, text = self.names
        tag = name.rpartition("|")[2]
        if tag == item:
            self.items.append([])
        elif tag == run:
            self._struck = False
        elif tag == "strike":
            self._struck = attrs.get("val", "1") not in _NO
        self._inside = tag == text

    def end(self, name: str) -> None:
        self._inside = False
        if name.rpartition("|")[2] == self.names[1]:
            self._struck = False

    def data(self, text: str) -> None:
        if self._inside and self.items:
            self.items[-1].append((text, self._struck))


def _marks_of_ods(package: Package) -> list[Marks]:
    reading = _Document()
    feed(package.counted("content.xml"), reading.start, reading.end, reading.data)
    return reading.sheets


class _Document:
    """Reads the notes of an .ods, and spans of its texts in a style with a line through them."""

    def __init__(self) -> None:
        self.sheets: list[Marks] = []
        self._tables = self._row = self._column = self._rows = self._repeat = 0
        self._style, self._lined = "", set[str]()
        self._note: list[str] | None = None
        self._runs: list[tuple[str, bool]] = []
        self._spans: list[bool] = []
        self._text = 0  # depth of paragraphs

    def start(self, name: str, attrs: dict[str, str]) -> None:
        tag, own = name.rpartition("|")[2], {k.rpartition("|")[2]: v for k, v in attrs.items()}
        if tag == "style":
            self._style = own.get("name", "")
        elif tag == "text-properties":
            if is_lined(own):
                self._lined.add(self._style)
        elif tag == "table":
            self._tables += 1
            if self._tables == 1:
                self.sheets.append(Marks())
                self._row = self._rows = 0
        elif tag == "table-row" and self._tables == 1:
            self._row += max(1, self._rows) if self._row else 1
            self._rows, self._column = int(own.get("number-rows-repeated", "1")), 0
        elif tag in ("table-cell", "covered-table-cell") and self._tables == 1:
            self._repeat, self._runs = int(own.get("number-columns-repeated", "1")), []
        elif tag == "annotation":
            self._note = []
        elif tag in ("p", "h"):
            self._text += 1
        elif tag == "span":
            self._spans.append(own.get("style-name", "") in self._lined)

    def end(self, name: str) -> None:
        tag = name.rpartition("|")[2]
        if tag == "table":
            self._tables -= 1
        elif tag in ("table-cell", "covered-table-cell") and self._tables == 1:
            if said := struck_in(self._runs):
                self.sheets[-1].texts[self._row, self._column] = said
            self._column += self._repeat
        elif tag == "annotation" and self._note is not None:
            if self._tables == 1 and (words := " ".join("".join(self._note).split())):
                self.sheets[-1].note((self._row, self._column), words)
            self._note = None
        elif tag in ("p", "h"):
            self._text -= 1
            self.data("\n")
        elif tag == "span" and self._spans:
            self._spans.pop()

    def data(self, text: str) -> None:
        if self._note is not None:
            self._note += [text] if self._text or text == "\n" else []
        elif self._text and self._tables == 1:
            self._runs.append((text, any(self._spans)))


def marks_of_xls(data: bytes, name: str) -> list[Marks]:
    """Those of an old binary workbook, in this process; where they are broken, none."""
    with suppress(Exception):  # the parser's errors share no class
        source = opened(data, name)
        return [_of_old_sheet(source, number) for number in range(source.nsheets)]
    return []


def _of_old_sheet(source: Any, number: int) -> Marks:
    sheet, marks = source.sheet_by_index(number), Marks()
    for (row, column), note in sheet.cell_note_map.items():
        words = " ".join(str(note.text).split()).removeprefix(f"{note.author}: ")
        if words:
            marks.note((row + 1, column), words)
    for (row, column), runs in sheet.rich_text_runlist_map.items():
        text, whole = str(sheet.cell_value(row, column)), sheet.cell_xf_index(row, column)
        fonts = [(0, source.xf_list[whole].font_index), *runs]
        ends = [*(at for at, _ in fonts[1:]), len(text)]
        lined = [
            (text[at:end], bool(source.font_list[font].struck_out))
            for (at, font), end in zip(fonts, ends, strict=True)
        ]
        if said := struck_in(lined):
            marks.texts[row + 1, column] = said
    return marks
