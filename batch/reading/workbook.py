"""A package to its workbook: the list of sheets, the shared strings and the cell formats."""

from __future__ import annotations

import re

from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import save_as_xlsx
from siltbook.batch.package.opened import Package, elements
from siltbook.batch.package.relations import Relation
from siltbook.batch.reading.cells import SheetPart, Style, Workbook, clean_text, raw_room
from siltbook.batch.reading.sheetxml import ITEM, PHONETIC, TEXT, code_of, feed

_NO = ("0", "false")
_LONGEST_FORMAT = 255  # characters, the most that the format allows


def open_workbook(package: Package, name: str) -> Workbook:
    """Sheets, strings and styles of a package; BookError for another format."""
    rels = _inside(package, _main_part(package, name))
    sheets, date1904 = _list(package, name)
    if not sheets:
        raise BookError(f"{name} has no worksheet: give a workbook made from the template.")
    styles, struck = _styles(package, rels)
    strings = _shared_strings(package, rels)
    return Workbook(package, sheets, strings, styles, date1904, struck)


def list_sheets(package: Package, name: str) -> tuple[SheetPart, ...]:
    """The sheets of a package, without its strings and styles; BookError for another format."""
    return _list(package, name)[0]


def sheets_without_cells(package: Package, name: str) -> tuple[str, ...]:
    """The names of the sheets that hold no cells: a chart on a sheet of its own, an old form."""
    main = _main_part(package, name)
    cells = {rel.id for rel in _inside(package, main) if rel.kind == "worksheet"}
    sheets = (attrs for tag, attrs in elements(package.read(main)) if tag == "sheet")
    return tuple(attrs.get("name", "") for attrs in sheets if attrs.get("id") not in cells)


def _list(package: Package, name: str) -> tuple[tuple[SheetPart, ...], bool]:
    """The sheets, and whether the book counts its days from 1904."""
    main = _main_part(package, name)
    by_id = {rel.id: rel for rel in _inside(package, main)}
    sheets = []
    date1904 = False
    for tag, attrs in elements(package.read(main)):
        if tag == "sheet":
            rel = by_id.get(attrs.get("id", ""))
            if rel is not None and rel.kind == "worksheet":
                hidden = attrs.get("state", "visible") != "visible"
                sheets.append(SheetPart(attrs.get("name", ""), rel.target, hidden))
        elif tag == "workbookPr":
            date1904 = attrs.get("date1904", "").casefold() in ("1", "true")
    return tuple(sheets), date1904


def _main_part(package: Package, name: str) -> str:
    for rel in _inside(package, ""):
        if rel.kind == "officeDocument" and package.has(rel.target):
            if rel.target.casefold().endswith(".bin"):
                raise save_as_xlsx(name, "a binary workbook (.xlsb)")
            return rel.target
    if package.has("xl/workbook.xml"):
        return "xl/workbook.xml"
    raise save_as_xlsx(name, "another kind of file")


def _inside(package: Package, part: str) -> list[Relation]:
    """The relationships of a part that lead to other parts."""
    return [rel for rel in package.relations(part) if not rel.external]


def _part_of(package: Package, rels: list[Relation], kind: str) -> str | None:
    return next((r.target for r in rels if r.kind == kind and package.has(r.target)), None)


def _shared_strings(package: Package, rels: list[Relation]) -> list[str]:
    part = _part_of(package, rels, "sharedStrings")
    if part is None:
        return []
    strings: list[str] = []
    state = {"text": False, "phonetic": False, "length": 0}
    pieces: list[str] = []

    def start(name: str, attrs: dict[str, str]) -> None:
        code = code_of(name)
        if code == TEXT:
            state["text"] = not state["phonetic"]
        elif code == PHONETIC:
            state["phonetic"] = True
        elif code == ITEM:
            pieces.clear()
            state["length"] = 0

    def end(name: str) -> None:
        code = code_of(name)
        if code == TEXT:
            state["text"] = False
        elif code == PHONETIC:
            state["phonetic"] = False
        elif code == ITEM:
            strings.append(clean_text("".join(pieces)))
            package.spend_text(len(strings[-1]))

    def data(text: str) -> None:
        if state["text"] and raw_room(state["length"]):
            pieces.append(text)
            state["length"] += len(text)

    feed(package.counted(part), start, end, data)
    return strings


def _styles(package: Package, rels: list[Relation]) -> tuple[list[int], frozenset[int]]:
    """The Style of each cell format, and the formats whose text is struck through."""
    part = _part_of(package, rels, "styles")
    if part is None:
        return [], frozenset()
    formats: dict[int, str] = {}
    kinds: list[int] = []
    fonts: list[str] = []  # of each cell format
    struck: set[str] = set()  # fonts
    inside, font = "", -1
    for tag, attrs in elements(package.read(part, 4 * 16 * 2**20)):
        if tag in ("fonts", "cellXfs", "cellStyleXfs", "dxfs", "cellStyles"):
            inside = tag
        elif tag == "numFmt" and inside != "dxfs":
            formats[int(attrs.get("numFmtId", "0"))] = attrs.get("formatCode", "")
        elif tag == "xf" and inside == "cellXfs":
            kinds.append(_style_kind(int(attrs.get("numFmtId", "0")), formats))
            fonts.append(attrs.get("fontId", "0"))
        elif inside == "fonts" and tag == "font":
            font += 1
        elif inside == "fonts" and tag == "strike" and attrs.get("val", "1") not in _NO:
            struck.add(str(font))
    return kinds, frozenset(i for i, used in enumerate(fonts) if used in struck)


def _style_kind(number: int, formats: dict[int, str]) -> int:
    if number in formats:
        return format_kind(formats[number])
    if 14 <= number <= 22 or 27 <= number <= 36 or 45 <= number <= 47 or 50 <= number <= 58:
        return Style.DATE
    return Style.PERCENT if number in (9, 10) else Style.PLAIN


def format_kind(code: str) -> int:
    """Whether a number format shows dates or times, a percentage, or a plain number."""
    code = code[:_LONGEST_FORMAT].split(";")[0]
    code = re.sub(r'"[^"]*"|\\.|_.|\*.', "", code)
    code = re.sub(r"\[(?!(?:h+|m+|s+)\])[^\]]*\]", "", code, flags=re.IGNORECASE).casefold()
    if "general" in code:
        return Style.PLAIN
    if re.search(r"[dmyhs]", code) and ("s" in code or not re.search(r"[0#?]", code)):
        return Style.DATE
    return Style.PERCENT if "%" in code else Style.PLAIN
