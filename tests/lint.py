"""A lint of workbook packages: what makes a spreadsheet program offer a repair.

Every fault is one line 'part: what is wrong'. A sound workbook gives an empty list.
"""

from __future__ import annotations

import io
import math
import posixpath
import re
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from urllib.parse import unquote

from lxml import etree

from tests import lint_limits

_FORBIDDEN = set("[]:*?/\\")
_LONGEST_SHEET_NAME = 31
_LONGEST_LIST = 255
_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_RANGE = re.compile(r"([A-Z]{1,3})([0-9]{1,7}):([A-Z]{1,3})([0-9]{1,7})")
_SHEET_OF = re.compile(r"^\(?(?:'((?:[^']|'')+)'|([^'!(),]+))!")
_STYLE_IDS = {"fontId": "fonts", "fillId": "fills", "borderId": "borders", "xfId": "cellStyleXfs"}


def _local(node: Any) -> str:
    return etree.QName(node).localname if isinstance(node.tag, str) else ""


def _all(root: Any, *names: str) -> list[Any]:
    """All descendants with one of these local names."""
    return list(root.iter(*(f"{{*}}{name}" for name in names)))


def column_number(letters: str) -> int:
    """1-based number of a column: A -> 1, AA -> 27."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


@dataclass(frozen=True)
class Link:
    """One relationship, its target resolved to a part name."""

    id: str
    kind: str
    target: str
    external: bool


@dataclass
class Opened:
    """A package, opened once for all rules."""

    entries: list[str]
    data: dict[str, bytes]
    faults: list[str] = field(default_factory=list)
    _trees: dict[str, Any] = field(default_factory=dict)

    def tree(self, part: str) -> Any:
        """The part's root element; None where it is missing or no XML."""
        if part not in self._trees:
            try:
                parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
                self._trees[part] = etree.fromstring(self.data[part], parser)
            except (KeyError, etree.XMLSyntaxError):
                self._trees[part] = None
        return self._trees[part]

    def links(self, part: str) -> list[Link]:
        """The relationships of a part."""
        head, tail = posixpath.split(part)
        root = self.tree(posixpath.join(head, "_rels", f"{tail}.rels"))
        found = []
        for node in root if root is not None else []:
            target = node.get("Target", "")
            external = node.get("TargetMode") == "External"
            if not external:
                path = unquote(target.partition("#")[0])
                target = posixpath.normpath(posixpath.join("/" + head, path)).lstrip("/")
            kind = node.get("Type", "").rsplit("/", 1)[-1]
            found.append(Link(node.get("Id", ""), kind, target, external))
        return found

    @cached_property
    def book(self) -> str:
        """Name of the workbook part."""
        found = [x.target for x in self.links("") if x.kind == "officeDocument"]
        return found[0] if found else ""

    @cached_property
    def sheets(self) -> list[tuple[str, str]]:
        """(name, part) of each sheet in order; part '' where it does not resolve."""
        root = self.tree(self.book)
        targets = {x.id: x.target for x in self.links(self.book)}
        nodes = _all(root, "sheet") if root is not None else []
        return [(n.get("name", ""), targets.get(_relation_id(n), "")) for n in nodes]

    @cached_property
    def worksheets(self) -> list[tuple[str, Any]]:
        """(part, root) of each sheet of cells."""
        found = [(part, self.tree(part)) for _, part in self.sheets]
        return [(p, t) for p, t in found if t is not None and _local(t) == "worksheet"]

    def single(self, kind: str) -> Any:
        """Root of the workbook's part of a kind, or None."""
        found = [x.target for x in self.links(self.book) if x.kind == kind]
        return self.tree(found[0]) if found else None

    @cached_property
    def strings(self) -> list[str]:
        """The shared strings."""
        root = self.single("sharedStrings")
        items = _all(root, "si") if root is not None else []
        return ["".join(si.itertext("{*}t")) for si in items]

    @cached_property
    def type_nodes(self) -> list[Any]:
        """Entries of the content types."""
        root = self.tree("[Content_Types].xml")
        return list(root) if root is not None else []

    def tables(self) -> Iterator[tuple[str, str, Any]]:
        """(sheet part, table part, root) of each table."""
        for part, _ in self.worksheets:
            for link in self.links(part):
                root = self.tree(link.target)
                if link.kind == "table" and root is not None:
                    yield part, link.target, root


def _relation_id(node: Any) -> str:
    found = [v for k, v in node.attrib.items() if k.endswith("relationships}id")]
    return str(found[0]) if found else ""


def lint(package: bytes) -> list[str]:
    """Every fault found in a workbook file, one line each; empty for a sound one."""
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        entries = [n for n in archive.namelist() if not n.endswith("/")]
        data = {name: archive.read(name) for name in entries}
    opened = Opened(entries, data)
    return [fault for rule in (*RULES, *lint_limits.RULES) for fault in rule(opened)]


def duplicate_entries(p: Opened) -> Iterator[str]:
    """No part stands twice in the zip."""
    for name, count in Counter(n.casefold() for n in p.entries).items():
        if count > 1:
            yield f"{name}: stands {count} times in the zip"


def well_formed(p: Opened) -> Iterator[str]:
    """Every XML part can be parsed."""
    for part in p.data:
        if part.endswith((".xml", ".rels")) and p.tree(part) is None:
            yield f"{part}: not well-formed"


def content_types(p: Opened) -> Iterator[str]:
    """Every part has a content type, every override a part, and none stands twice."""
    over = Counter(n.get("PartName", "").lstrip("/") for n in p.type_nodes if n.get("PartName"))
    defaults = {n.get("Extension", "").lower() for n in p.type_nodes if n.get("Extension")}
    parts = {part.casefold() for part in p.data}
    typed = {part.casefold() for part in over}
    for part, count in over.items():
        if part.casefold() not in parts:
            yield f"[Content_Types].xml: override for missing part {part}"
        if count > 1:
            yield f"[Content_Types].xml: {part} has {count} overrides"
    for part in p.data:
        ending = part.rpartition(".")[2].lower()
        known = part.casefold() in typed or ending in defaults
        if part != "[Content_Types].xml" and not known:
            yield f"{part}: has no content type"


def relationships(p: Opened) -> Iterator[str]:
    """Every internal relationship leads to a part, and ids are unique."""
    parts = {part.casefold() for part in p.data}
    sources = [""] + [s for s in map(_source, p.data) if s]
    for source in sources:
        links = p.links(source)
        for link in links:
            if not link.external and link.target.casefold() not in parts:
                where = source or "package"
                yield f"{where}: relationship {link.id} leads to missing {link.target}"
        for name, count in Counter(x.id for x in links).items():
            if count > 1:
                yield f"{source or 'package'}: relationship id {name} stands {count} times"
        if source and source not in p.data:
            yield f"{source}: has relationships but does not exist"


def _source(part: str) -> str:
    """The part whose relationships a part holds, or ''."""
    head, tail = posixpath.split(part)
    if not tail.endswith(".rels") or posixpath.basename(head) != "_rels":
        return ""
    return posixpath.join(posixpath.dirname(head), tail[: -len(".rels")])


def relationship_uses(p: Opened) -> Iterator[str]:
    """Every r:id used in a sheet, drawing or the workbook is one that the part has."""
    parts = [p.book, *(part for part, _ in p.worksheets)]
    parts += [x.target for part, _ in p.worksheets for x in p.links(part) if x.kind == "drawing"]
    for part in parts:
        root = p.tree(part)
        ids = {link.id for link in p.links(part)}
        for node in root.iter() if root is not None else ():
            for key, value in node.attrib.items():
                if "relationships}" in key and value and value not in ids:
                    yield f"{part}: uses relationship {value}, which it lacks"


def sheet_names(p: Opened) -> Iterator[str]:
    """Names of 1 to 31 allowed characters, unique ignoring case; sheet ids unique."""
    for name, _ in p.sheets:
        if not 1 <= len(name) <= _LONGEST_SHEET_NAME:
            yield f"{p.book}: sheet name {name!r} has {len(name)} characters"
        if _FORBIDDEN & set(name) or name.startswith("'") or name.endswith("'"):
            yield f"{p.book}: sheet name {name!r} has a forbidden character"
    for name, count in Counter(n.casefold() for n, _ in p.sheets).items():
        if count > 1:
            yield f"{p.book}: sheet name {name!r} stands {count} times"
    root = p.tree(p.book)
    ids = Counter(n.get("sheetId") for n in _all(root, "sheet")) if root is not None else Counter()
    for number, count in ids.items():
        if count > 1:
            yield f"{p.book}: sheetId {number} stands {count} times"


def defined_names(p: Opened) -> Iterator[str]:
    """localSheetId within the list, and no name twice in one scope."""
    root = p.tree(p.book)
    seen: Counter[tuple[str, str]] = Counter()
    for node in _all(root, "definedName") if root is not None else []:
        place = node.get("localSheetId", "")
        seen[node.get("name", "").casefold(), place] += 1
        if place and not int(place) < len(p.sheets):
            yield f"{p.book}: defined name {node.get('name')} has localSheetId {place}"
    for (name, _), count in seen.items():
        if count > 1:
            yield f"{p.book}: defined name {name} stands {count} times"


def _size(root: Any, name: str) -> int:
    found = _all(root, name) if root is not None else []
    return len(found[0]) if found else 0


def style_indices(p: Opened) -> Iterator[str]:
    """Format indices of cells, rows, columns, rules and tables exist; so do those in formats."""
    styles = p.single("styles")
    formats, dxfs = _size(styles, "cellXfs"), _size(styles, "dxfs")
    for part, root in p.worksheets:
        used = {("s", n.get("s")) for n in _all(root, "c", "row")}
        used |= {("style", n.get("style")) for n in _all(root, "col")}
        for name, value in used:
            if value and int(value) >= max(formats, 1):
                yield f"{part}: {name} {value} of {formats} cell formats"
        for node in _all(root, "cfRule", "colorFilter", "sortCondition"):
            if node.get("dxfId") and int(node.get("dxfId")) >= dxfs:
                yield f"{part}: dxfId {node.get('dxfId')} of {dxfs}"
    for _, part, root in p.tables():
        for node in root.iter():
            for key, value in node.attrib.items():
                if key.lower().endswith("dxfid") and int(value) >= dxfs:
                    yield f"{part}: {key} {value} of {dxfs}"
    yield from _format_parts(styles)


def _format_parts(styles: Any) -> Iterator[str]:
    """Fonts, fills and borders that formats use exist; counts and number formats are right."""
    if styles is None:
        return
    for node in [x for block in _all(styles, "cellXfs") for x in block]:
        for key, block in _STYLE_IDS.items():
            if node.get(key) and int(node.get(key)) >= _size(styles, block):
                yield f"styles: {key} {node.get(key)} of {_size(styles, block)}"
    for block in [n for n in styles if isinstance(n.tag, str) and n.get("count")]:
        if int(block.get("count")) != len(block):
            yield f"styles: {_local(block)} says count {block.get('count')} and has {len(block)}"
    ids = Counter(n.get("numFmtId") for b in _all(styles, "numFmts") for n in b)
    for number, count in ids.items():
        if count > 1:
            yield f"styles: numFmtId {number} stands {count} times"


def cells(p: Opened) -> Iterator[str]:
    """Addresses in order, numbers that are numbers, shared strings that exist, formulas bare."""
    for part, root in p.worksheets:
        seen: set[str] = set()
        for cell in _all(root, "c"):
            where = cell.get("r", "")
            if where and where in seen:
                yield f"{part}: cell {where} stands twice"
            seen.add(where)
            yield from _cell(p, part, where, cell)


def _cell(p: Opened, part: str, where: str, cell: Any) -> Iterator[str]:
    value = next((v.text or "" for v in cell.iterfind("{*}v")), None)
    kind = cell.get("t", "n")
    if kind == "s" and not (value or "").isdecimal():
        yield f"{part}: {where} has shared string {value!r}"
    elif kind == "s" and int(value or 0) >= len(p.strings):
        yield f"{part}: {where} has shared string {value} of {len(p.strings)}"
    elif kind == "n" and value is not None and not _is_number(value) and not _awaited(cell, value):
        yield f"{part}: {where} holds {value!r}, which is no number"
    elif kind == "b" and value not in ("0", "1"):
        yield f"{part}: {where} holds {value!r}, which is no truth value"
    for formula in cell.iterfind("{*}f"):
        if (formula.text or "").lstrip().startswith("="):
            yield f"{part}: formula in {where} starts with '='"


def _awaited(cell: Any, value: str) -> bool:
    """A formula of a blank has no result yet: whatever opens it calculates it."""
    return not value and cell.find("{*}f") is not None


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def validations(p: Opened) -> Iterator[str]:
    """Lists of choices within 255 characters; formulas without a leading '='."""
    for part, root in p.worksheets:
        for node in _all(root, "dataValidation"):
            for formula in [*node.iterfind("{*}formula1"), *node.iterfind("{*}formula2")]:
                text = formula.text or ""
                inner = text[1:-1] if text.startswith('"') else text
                if len(inner) > _LONGEST_LIST:
                    yield f"{part}: validation of {node.get('sqref')} has {len(inner)} characters"
                if text.startswith("="):
                    yield f"{part}: validation of {node.get('sqref')} starts with '='"


def conditional_formulas(p: Opened) -> Iterator[str]:
    """Formulas of conditional formats have no leading '='."""
    for part, root in p.worksheets:
        for node in _all(root, "cfRule"):
            for formula in node.iterfind("{*}formula"):
                if (formula.text or "").startswith("="):
                    yield f"{part}: conditional format formula starts with '='"


def tables(p: Opened) -> Iterator[str]:
    """Table ranges, unique ids and names, and column headers equal to the header cells."""
    ids: Counter[str] = Counter()
    names: Counter[str] = Counter()
    for sheet, part, root in p.tables():
        ids[root.get("id", "")] += 1
        names[root.get("displayName", "").casefold()] += 1
        columns = [n.get("name", "") for n in _all(root, "tableColumn")]
        if len({c.casefold() for c in columns}) != len(columns):
            yield f"{part}: column headers are not unique"
        yield from _table_range(p, sheet, part, root, columns)
    book = p.tree(p.book)
    for node in _all(book, "definedName") if book is not None else []:
        if node.get("name", "").casefold() in names:
            yield f"{p.book}: {node.get('name')} is a table and a defined name"
    for label, counts in (("id", ids), ("name", names)):
        for value, count in counts.items():
            if count > 1:
                yield f"tables: {label} {value} stands {count} times"


def _table_range(p: Opened, sheet: str, part: str, root: Any, columns: list[str]) -> Iterator[str]:
    match = _RANGE.fullmatch(root.get("ref", ""))
    if not match:
        yield f"{part}: range {root.get('ref')!r} is none"
        return
    left, right = column_number(match[1]), column_number(match[3])
    if right - left + 1 != len(columns) or int(match[4]) <= int(match[2]):
        yield f"{part}: range {root.get('ref')} does not fit {len(columns)} columns"
        return
    if root.get("headerRowCount") == "0":
        return
    texts = _row_texts(p, p.tree(sheet), int(match[2]))
    for offset, name in enumerate(columns):
        shown = texts.get(left + offset, "")
        if re.sub(r"_x000[aAdD]_|\s", " ", name) != re.sub(r"\s", " ", shown):
            yield f"{part}: header {name!r} stands over a cell that says {shown!r}"


def _row_texts(p: Opened, root: Any, row: int) -> dict[int, str]:
    """Text of each cell in a row by column number."""
    texts = {}
    for cell in [c for n in _all(root, "row") if n.get("r") == str(row) for c in n]:
        match = _CELL.fullmatch(cell.get("r", ""))
        if not match:
            continue
        value = "".join(cell.itertext("{*}t", "{*}v"))
        if cell.get("t") == "s" and value.isdecimal() and int(value) < len(p.strings):
            value = p.strings[int(value)]
        texts[column_number(match[1])] = value
    return texts


def charts(p: Opened) -> Iterator[str]:
    """Chart references name existing sheets."""
    names = {name.casefold() for name, _ in p.sheets}
    for part, _ in p.worksheets:
        for drawing in [x.target for x in p.links(part) if x.kind == "drawing"]:
            for link in [x for x in p.links(drawing) if x.kind == "chart"]:
                root = p.tree(link.target)
                for node in _all(root, "f") if root is not None else []:
                    match = _SHEET_OF.match(node.text or "")
                    sheet = (match[1] or match[2]).replace("''", "'") if match else ""
                    if match and "[" not in sheet and sheet.casefold() not in names:
                        yield f"{link.target}: refers to the missing sheet {sheet!r}"


def drawings(p: Opened) -> Iterator[str]:
    """Shape ids are unique in a drawing, and a sheet has one drawing of each kind."""
    for part, root in p.worksheets:
        if len(list(root.iterfind("{*}drawing"))) > 1:
            yield f"{part}: has several drawings"
        for link in p.links(part):
            tree = p.tree(link.target) if link.kind == "drawing" else None
            ids = Counter(n.get("id") for n in _all(tree, "cNvPr")) if tree is not None else {}
            for value, count in ids.items():
                if count > 1:
                    yield f"{link.target}: shape id {value} stands {count} times"


def selected_tabs(p: Opened) -> Iterator[str]:
    """At most one sheet is selected: two would be edited as a group."""
    chosen = [
        part
        for part, root in p.worksheets
        if any(n.get("tabSelected") in ("1", "true") for n in _all(root, "sheetView"))
    ]
    if len(chosen) > 1:
        yield f"{', '.join(chosen)}: selected together, so typing would go into all of them"


RULES: tuple[Callable[[Opened], Iterator[str]], ...] = (
    duplicate_entries,
    well_formed,
    content_types,
    relationships,
    relationship_uses,
    sheet_names,
    defined_names,
    style_indices,
    cells,
    validations,
    conditional_formulas,
    tables,
    charts,
    drawings,
    selected_tabs,
)
