"""More of the lint: order and limits. What a program accepts nowhere, or takes away at the repair.

ECMA-376-1:2016: 18.3.1.99 (elements of a worksheet), 18.2.27 (of a workbook), 18.5.1.2 (tables),
18.3.1.10 (rules). The limits of length and number are those that spreadsheet programs publish:
1,048,576 rows, 16,384 columns, 32,767 characters in a cell, 8,192 in a formula, 65,490 formats,
65,530 links on a sheet, 255 characters in head, foot and message, columns 255 wide, rows 409 high.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.lint import Opened

ROWS, COLUMNS = 1_048_576, 16_384
TEXT, FORMULA, FORMATS, LINKS = 32_767, 8_192, 65_490, 65_530
WIDEST, HIGHEST, MESSAGE, ADDRESS = 255.0, 409.5, 255, 2_079
_SHEET_ORDER = (
    "sheetPr dimension sheetViews sheetFormatPr cols sheetData sheetCalcPr sheetProtection"
    " protectedRanges scenarios autoFilter sortState dataConsolidate customSheetViews mergeCells"
    " phoneticPr conditionalFormatting dataValidations hyperlinks printOptions pageMargins"
    " pageSetup headerFooter rowBreaks colBreaks customProperties cellWatches ignoredErrors"
    " smartTags drawing legacyDrawing legacyDrawingHF drawingHF picture oleObjects controls"
    " webPublishItems tableParts extLst"
)
_BOOK_ORDER = (
    "fileVersion fileSharing workbookPr workbookProtection bookViews sheets functionGroups"
    " externalReferences definedNames calcPr oleSize customWorkbookViews pivotCaches smartTagPr"
    " smartTagTypes webPublishing fileRecoveryPr webPublishObjects extLst"
)
_COUNTED = ("mergeCells", "dataValidations", "tableParts", "tableColumns", "cols", "sst")
_ERRORS = {"#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA"}
_TYPES = {
    "worksheet": "spreadsheetml.worksheet+xml",
    "table": "spreadsheetml.table+xml",
    "styles": "spreadsheetml.styles+xml",
    "sharedStrings": "spreadsheetml.sharedStrings+xml",
    "comments": "spreadsheetml.comments+xml",
    "drawing": "officedocument.drawing+xml",
    "chart": "drawingml.chart+xml",
}
_CELL = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})")
_NAME = re.compile(r"[^\W\d][\w.]{0,254}|\\[\w.]{0,254}")
_LIKE_CELL = re.compile(r"[A-Za-z]{1,3}[0-9]{1,7}|[RrCc]|[Rr][0-9]*[Cc][0-9]*")
Box = tuple[int, int, int, int]  # left, top, right, bottom


def _local(node: Any) -> str:
    return str(node.tag).rpartition("}")[2] if isinstance(node.tag, str) else ""


def _all(root: Any, *names: str) -> list[Any]:
    return list(root.iter(*(f"{{*}}{name}" for name in names))) if root is not None else []


def box(ref: str) -> Box | None:
    """A range such as A1:B9 as numbers; None where it is none, or lies beyond the sheet."""
    ends = ref.split(":")
    found = [_CELL.fullmatch(end) for end in ends]
    if len(ends) > 2 or not all(found):
        return None
    places = [(_column(m[1]), int(m[2])) for m in found if m]
    (left, top), (right, bottom) = places[0], places[-1]
    inside = 1 <= left <= right <= COLUMNS and 1 <= top <= bottom <= ROWS
    return (left, top, right, bottom) if inside else None


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _meet(one: Box, other: Box) -> bool:
    across = one[0] <= other[2] and other[0] <= one[2]
    return across and one[1] <= other[3] and other[1] <= one[3]


def order(p: Opened) -> Iterator[str]:
    """The elements of a worksheet and of the workbook stand in the order of the standard."""
    parts = [(part, root, _SHEET_ORDER) for part, root in p.worksheets]
    parts.append((p.book, p.tree(p.book), _BOOK_ORDER))
    for part, root, words in parts:
        wanted = words.split()
        places = [
            wanted.index(n) for n in map(_local, root if root is not None else ()) if n in wanted
        ]
        for one, other in pairwise(places):
            if one > other:
                yield f"{part}: {wanted[other]} stands behind {wanted[one]}"
        for name, count in Counter(places).items():
            if count > 1 and wanted[name] != "conditionalFormatting":
                yield f"{part}: {wanted[name]} stands {count} times"


def counts(p: Opened) -> Iterator[str]:
    """Where a list says how many it has, it has so many."""
    roots = [*p.worksheets, *((part, root) for _, part, root in p.tables())]
    roots.append(("sharedStrings", p.single("sharedStrings")))
    for part, root in roots:
        for node in _all(root, *_COUNTED):
            said, there = node.get("count"), len(node)
            if _local(node) == "sst":
                said = node.get("uniqueCount")
            if said is not None and int(said) != there:
                yield f"{part}: {_local(node)} says count {said} and has {there}"


def places(p: Opened) -> Iterator[str]:
    """Rows and their cells ascend, stand in their row and on the sheet; so does the dimension."""
    for part, root in p.worksheets:
        last_row, used = 0, []
        for row in _all(root, "row"):
            number = int(row.get("r") or last_row + 1)
            if not last_row < number <= ROWS:
                yield f"{part}: row {number} stands behind row {last_row}"
            last_row, last = number, 0
            for cell in row:
                at = box(cell.get("r", "A1"))
                if at is None or (cell.get("r") and at[1] != number):
                    yield f"{part}: cell {cell.get('r')} stands in row {number}"
                elif cell.get("r"):
                    if at[0] <= last:
                        yield f"{part}: cell {cell.get('r')} stands out of order"
                    last = at[0]
                    used.append(at)
        for node in root.iterfind("{*}dimension"):
            said = box(node.get("ref", ""))
            if said is None:
                yield f"{part}: dimension {node.get('ref')!r} is none"
            elif any(not _meet(said, at) for at in used):
                yield f"{part}: has cells outside its dimension {node.get('ref')}"


def lengths(p: Opened) -> Iterator[str]:
    """Texts, formulas, messages, heads, names of fonts and number formats within their limits."""
    for i, text in enumerate(p.strings):
        if len(text) > TEXT:
            yield f"sharedStrings: text {i} has {len(text)} characters"
    for part, root in p.worksheets:
        for node in _all(root, "is"):
            length = sum(len(t) for t in node.itertext("{*}t"))
            if length > TEXT:
                yield f"{part}: a text has {length} characters"
        for node in _all(root, "f", "formula", "formula1", "formula2"):
            if len(node.text or "") > FORMULA:
                yield f"{part}: a formula has {len(node.text)} characters"
        for node in _all(root, "dataValidation"):
            for key, most in (
                ("promptTitle", 32),
                ("errorTitle", 32),
                ("prompt", MESSAGE),
                ("error", 225),
            ):
                if len(node.get(key, "")) > most:
                    where = node.get("sqref")
                    yield f"{part}: {key} of {where} has {len(node.get(key))} characters"
        for node in [n for h in _all(root, "headerFooter") for n in h]:
            if len(node.text or "") > MESSAGE:
                yield f"{part}: {_local(node)} has {len(node.text)} characters"
    styles = p.single("styles")
    for node, key, most in [
        *((n, "val", 31) for f in _all(styles, "font") for n in _all(f, "name")),
        *((n, "formatCode", MESSAGE) for n in _all(styles, "numFmt")),
    ]:
        if len(node.get(key, "")) > most:
            yield f"styles: {node.get(key)[:20]!r}... has {len(node.get(key))} characters"
    for block in _all(styles, "cellXfs"):
        if len(block) > FORMATS:
            yield f"styles: {len(block):,} cell formats"


def spaces(p: Opened) -> Iterator[str]:
    """Text that begins or ends with a space says that it is to be kept."""
    parts = [*p.worksheets, ("sharedStrings", p.single("sharedStrings"))]
    for part, root in parts:
        for node in _all(root, "t"):
            text = node.text or ""
            kept = node.get("{http://www.w3.org/XML/1998/namespace}space") == "preserve"
            if text != text.strip(" \t\r\n") and not kept:
                yield f"{part}: the spaces around {text[:20]!r} are not kept"


def errors(p: Opened) -> Iterator[str]:
    """Error cells hold an error value; a cell of text in the sheet holds its text."""
    for part, root in p.worksheets:
        for cell in _all(root, "c"):
            kind, where = cell.get("t", "n"), cell.get("r")
            value = next((v.text or "" for v in cell.iterfind("{*}v")), None)
            if kind == "e" and value not in _ERRORS:
                yield f"{part}: {where} holds {value!r}, which is no error value"
            if kind == "inlineStr" and cell.find("{*}is") is None:
                yield f"{part}: {where} is said to hold its text, and holds none"
            if kind not in ("n", "s", "str", "b", "e", "d", "inlineStr"):
                yield f"{part}: {where} is of the unknown kind {kind!r}"


def ranges(p: Opened) -> Iterator[str]:
    """Ranges are ranges; merged ones meet neither each other nor a table; tables do not meet."""
    for part, root in p.worksheets:
        merged = [(n.get("ref", ""), box(n.get("ref", ""))) for n in _all(root, "mergeCell")]
        tables = [(r.get("ref", ""), box(r.get("ref", ""))) for s, _, r in p.tables() if s == part]
        boxes = [(ref, b) for ref, b in (*merged, *tables) if b is not None]
        boxes.sort(key=lambda one: one[1][1])
        for i, (ref, one) in enumerate(boxes):
            for other_ref, other in boxes[i + 1 :]:
                if other[1] > one[3]:
                    break
                if _meet(one, other):
                    yield f"{part}: {ref} meets {other_ref}"
        for _, table, node in (one for one in p.tables() if one[0] == part):
            for kept in node.iterfind("{*}autoFilter"):
                if kept.get("ref") != node.get("ref") and not node.get("totalsRowCount"):
                    yield f"{table}: is {node.get('ref')} and filters {kept.get('ref')}"
        own = filter(_is_main, _all(root, "conditionalFormatting", "dataValidation"))
        listed = [(_local(n), ref) for n in own for ref in n.get("sqref", "").split() or [""]]
        listed += [("autoFilter", n.get("ref", "")) for n in root.iterfind("{*}autoFilter")]
        listed += [("hyperlink", n.get("ref", "")) for n in _all(root, "hyperlink")]
        listed += [("mergeCell", ref) for ref, b in merged if b is None]
        for name, ref in listed:
            if box(ref) is None:
                yield f"{part}: {name} is for {ref!r}, which is no range"


def columns(p: Opened) -> Iterator[str]:
    """Columns ascend within the sheet, without a column twice; none too wide, no row too high."""
    for part, root in p.worksheets:
        last = 0
        for node in _all(root, "col"):
            least, most = int(node.get("min", 0)), int(node.get("max", 0))
            if not last < least <= most <= COLUMNS:
                yield f"{part}: columns {least} to {most} behind column {last}"
            if float(node.get("width", 0)) > WIDEST:
                yield f"{part}: columns {least} to {most} are {node.get('width')} wide"
            last = most
        for node in _all(root, "row"):
            if float(node.get("ht", 0)) > HIGHEST:
                yield f"{part}: row {node.get('r')} is {node.get('ht')} high"


def rules(p: Opened) -> Iterator[str]:
    """Every conditional format has a priority of its own, from 1 on."""
    for part, root in p.worksheets:
        found = Counter(n.get("priority", "0") for n in _all(root, "cfRule") if _is_main(n))
        for priority, count in found.items():
            if count > 1 or int(priority) < 1:
                yield f"{part}: priority {priority} stands {count} times"


def _is_main(node: Any) -> bool:
    return "spreadsheetml/2006/main" in node.tag or "purl.oclc.org" in node.tag


def links(p: Opened) -> Iterator[str]:
    """Links lead somewhere: to a sheet that is there, or to an address that is not too long."""
    names = {name.casefold() for name, _ in p.sheets}
    for part, root in p.worksheets:
        found = _all(root, "hyperlink")
        if len(found) > LINKS:
            yield f"{part}: has {len(found):,} links"
        outside = {x.id: x.target for x in p.links(part) if x.external}
        for node in found:
            at, place = node.get("ref"), node.get("location", "")
            target = next((v for k, v in node.attrib.items() if k.endswith("relationships}id")), "")
            if not place and not target:
                yield f"{part}: the link of {at} leads nowhere"
            if len(outside.get(target, "")) > ADDRESS:
                yield f"{part}: the link of {at} has {len(outside[target])} characters"
            sheet = re.match(r"(?:'((?:[^']|'')+)'|([^'!]+))!", place)
            if sheet and not target:
                name = (sheet[1] or sheet[2]).replace("''", "'")
                if name.casefold() not in names:
                    yield f"{part}: the link of {at} leads to the missing sheet {name!r}"
            for key in ("tooltip", "display"):
                if len(node.get(key, "")) > MESSAGE:
                    yield f"{part}: {key} of the link of {at} has {len(node.get(key))} characters"


def names(p: Opened) -> Iterator[str]:
    """Defined names and tables are called as a name may be, and say what they stand for."""
    sheets = {name.casefold() for name, _ in p.sheets}
    said = [(p.book, n.get("name", ""), n.text or "") for n in _all(p.tree(p.book), "definedName")]
    said += [(part, root.get("displayName", ""), "A1") for _, part, root in p.tables()]
    for part, name, formula in said:
        if not _NAME.fullmatch(name) or _LIKE_CELL.fullmatch(name):
            yield f"{part}: {name!r} is no name"
        if not formula.strip() or len(formula) > FORMULA:
            yield f"{part}: {name} stands for {len(formula)} characters"
        for quoted in re.findall(r"'((?:[^']|'')+)'!", formula):
            if "[" not in quoted and quoted.replace("''", "'").casefold() not in sheets:
                yield f"{part}: {name} refers to the missing sheet {quoted!r}"


def shown(p: Opened) -> Iterator[str]:
    """Some sheet is shown, and the book opens at one that is."""
    root = p.tree(p.book)
    states = [n.get("state", "visible") for n in _all(root, "sheet")]
    if states and "visible" not in states:
        yield f"{p.book}: no sheet is shown"
    for view in _all(root, "workbookView"):
        for key in ("activeTab", "firstSheet"):
            at = int(view.get(key) or 0)
            if at >= len(states) or (key == "activeTab" and states[at] != "visible"):
                yield f"{p.book}: {key} {at} of {len(states)} sheets is not shown"


def kinds(p: Opened) -> Iterator[str]:
    """A part has the content type of what it is related as."""
    types = {
        n.get("PartName", "").lstrip("/").casefold(): n.get("ContentType", "") for n in p.type_nodes
    }
    sources = [p.book, *(part for part, _ in p.worksheets)]
    sources += [x.target for part, _ in p.worksheets for x in p.links(part) if x.kind == "drawing"]
    for source in sources:
        for link in p.links(source):
            wanted = _TYPES.get(link.kind, "")
            if not link.external and not types.get(link.target.casefold(), "").endswith(wanted):
                yield f"{link.target}: is a {link.kind} and has another content type"


def anchors(p: Opened) -> Iterator[str]:
    """Charts and pictures stand on the sheet, from one cell to a later one."""
    for part, _ in p.worksheets:
        for drawing in [x.target for x in p.links(part) if x.kind == "drawing"]:
            for anchor in _all(p.tree(drawing), "twoCellAnchor", "oneCellAnchor"):
                ends = [
                    tuple(int(n.text or 0) for n in _all(end, "col", "colOff", "row", "rowOff"))
                    for end in _all(anchor, "from", "to")
                ]
                on = all(
                    0 <= c < COLUMNS and 0 <= r < ROWS and min(x, y) >= 0 for c, x, r, y in ends
                )
                if not on or any(b[0] < a[0] or b[2] < a[2] for a, b in pairwise(ends)):
                    yield f"{drawing}: something stands from {ends[0]} to {ends[-1]}"


def axes(p: Opened) -> Iterator[str]:
    """The axes of a chart are there, and its series have numbers of their own."""
    for part in [n for n in p.data if re.search(r"charts/chart[0-9]+\.xml$", n)]:
        root = p.tree(part)
        plots = [n for n in _all(root, "plotArea") for n in n if _local(n).endswith("Chart")]
        used = {n.get("val") for plot in plots for n in plot if _local(n) == "axId"}
        made = [n.get("val") for n in _all(root, "axId") if _local(n.getparent()).endswith("Ax")]
        for lost in sorted(used.symmetric_difference(made), key=str):
            yield f"{part}: axis {lost} is used or made alone"
        for key in ("idx", "order"):
            series = Counter(n.get("val") for s in _all(root, "ser") for n in s if _local(n) == key)
            if any(count > 1 for count in series.values()):
                yield f"{part}: two series have one {key}"


def calculated(p: Opened) -> Iterator[str]:
    """The chain of calculation names cells that hold a formula."""
    root = p.single("calcChain")
    ids = {
        n.get("sheetId"): part
        for n, (_, part) in zip(_all(p.tree(p.book), "sheet"), p.sheets, strict=True)
    }
    there: dict[str, set[str]] = {}
    at = ""
    for node in _all(root, "c"):
        at = node.get("i") or at
        part = ids.get(at, "")
        if part not in there:
            tree = p.tree(part)
            there[part] = {c.get("r", "") for c in _all(tree, "c") if c.find("{*}f") is not None}
        if node.get("r") not in there[part]:
            yield f"calcChain: {node.get('r')} of sheet {at} holds no formula"


RULES: tuple[Callable[[Opened], Iterator[str]], ...] = (
    order, counts, places, lengths, spaces, errors, ranges, columns, rules, links, names, shown,
    kinds, anchors, axes, calculated,
)  # fmt: skip
