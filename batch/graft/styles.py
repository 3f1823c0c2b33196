"""Our fonts, fills, borders, number formats and cell formats, added to a book's own."""

from __future__ import annotations

import re
from dataclasses import dataclass

from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.spans import Document, Node, attribute, scan
from siltbook.templates import look

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_ORDER = (
    "numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs",
    "tableStyles", "colors", "extLst",
)  # fmt: skip
_MOST_FORMATS = 64_000
_FIRST_OWN_NUMBER_FORMAT = 164
_MOST_NUMBER_FORMAT = 2**31 - 2**16
# ECMA-376 part 1, 18.8.30: what the ids stand for that need no definition (those that we use).
_BUILT_IN = {
    "0": "General", "1": "0", "2": "0.00", "3": "#,##0", "4": "#,##0.00", "9": "0%", "10": "0.00%",
    "49": "@",
}  # fmt: skip
_TAG = re.compile(r"<(/?)(\w)")
_ID = re.compile(r'\b(numFmtId|fontId|fillId|borderId|xfId)="(\d+)"')

BLANK_STYLES = (
    '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
    f'<styleSheet xmlns="{MAIN}"><fonts count="1"><font><sz val="11"/><name val="Calibri"/>'
    '</font></fonts><fills count="2"><fill><patternFill patternType="none"/></fill><fill>'
    '<patternFill patternType="gray125"/></fill></fills><borders count="1"><border><left/>'
    "<right/><top/><bottom/><diagonal/></border></borders>"
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>'
    "</styleSheet>"
)


# Fonts of the same widths, which programs take for each other.
_AS_WIDE = (look.FONT.casefold(), "liberation sans", "helvetica", "arimo")
_POINTS = ("numFmtId", "fontId", "fillId", "borderId")


@dataclass(frozen=True)
class StyleMap:
    """Where each of our cell formats and differential formats stands in the book.

    `alike`: its default font, which says how wide a column is, is as wide as ours everywhere.
    """

    cell: tuple[int, ...]
    dxf: tuple[int, ...]
    alike: bool = True


class _Pool:
    """One collection of the book's styles: what it has and what is added.

    `asked` has numbers that sheets ask for. One that no entry has shows as no format at all; ours
    never take its place, or those cells would turn into ours: an entry that says nothing does.
    """

    def __init__(self, book: Document, name: str, asked: set[int] | None = None) -> None:
        self.name, self.asked = name, asked or set()
        self.node = book.root.child(name)
        entries = self.node.children if self.node else []
        self.count = len(entries)
        self.added: list[str] = []
        self._known: dict[str, int] = {}
        for index, entry in enumerate(entries):
            self._known.setdefault(_fingerprint(entry), index)
        self._filler = "<dxf/>" if name == "dxfs" else _as_default(book)

    def index(self, xml: str) -> int:
        """Index of an entry that equals `xml`, added where there is none."""
        mark = _fingerprint(scan(xml))
        if mark not in self._known:
            while self.count + len(self.added) in self.asked:
                self.added.append(self._filler)
            self._known[mark] = self.count + len(self.added)
            self.added.append(xml)
        return self._known[mark]


class _NumberFormats:
    """Number format codes and their ids."""

    def __init__(self, book: Document) -> None:
        self.node = book.root.child("numFmts")
        self.added: list[str] = []
        self._ids: dict[str, str] = {}
        highest = _FIRST_OWN_NUMBER_FORMAT - 1
        for node in book.root.walk():
            number = node.number("numFmtId")
            if number <= _MOST_NUMBER_FORMAT:  # a stray one far above cannot be counted on from
                highest = max(highest, number)
        self._defined: dict[str, str] = {}
        for node in self.node.children if self.node else []:
            code, own = node.attrs.get("formatCode", ""), node.attrs.get("numFmtId", "0")
            self._ids.setdefault(code, own)
            self._defined[own] = code
        self._next = highest + 1

    @property
    def count(self) -> int:
        """How many formats the book has before ours."""
        return len(self.node.children) if self.node else 0

    def built_in(self, number: str) -> str:
        """The id of a format that needs no definition: its own, unless the book redefines it."""
        code = _BUILT_IN.get(number)
        if code is None or self._defined.get(number, code) == code:
            return number
        return self.id_of(code)

    def id_of(self, code: str) -> str:
        """The id of a format code, new where the book lacks it."""
        if code not in self._ids:
            self._ids[code] = str(self._next)
            self.added.append(f'<numFmt numFmtId="{self._next}" formatCode={attribute(code)}/>')
            self._next += 1
        return self._ids[code]


def _fingerprint(node: Node) -> str:
    """What makes two entries the same, whatever prefixes or order of attributes."""
    attrs = sorted((k, v) for k, v in node.attrs.items() if not k.startswith("xmlns"))
    return f"{node.local}{attrs}({','.join(_fingerprint(c) for c in node.children)})"


def _as_default(book: Document) -> str:
    """A cell format that shows as the book's default style does."""
    named = book.root.child("cellStyleXfs")
    first = named.children[0].attrs if named and named.children else {}
    ids = " ".join(f"{name}={attribute(first.get(name, '0'))}" for name in _POINTS)
    return f'<xf {ids} xfId="0"/>'


def _as_wide(book: Document) -> bool:
    """Whether the book's default font is ours, or one of its widths, and of its size."""
    named, fonts = book.root.child("cellStyleXfs"), book.root.child("fonts")
    at = named.children[0].number("fontId") if named and named.children else 0
    if fonts is None or at >= len(fonts.children):
        return False
    name, size = (fonts.children[at].child(what) for what in ("name", "sz"))
    if name is None or size is None:
        return False
    sizes = (f"{look.TYPE_SIZE}", f"{look.TYPE_SIZE}.0")
    return name.attrs.get("val", "").casefold() in _AS_WIDE and size.attrs.get("val") in sizes


def _names_are_beyond(book: Document) -> bool:
    """Whether cell formats refer to named styles of a book that has no list of them."""
    formats = book.root.child("cellXfs")
    if formats is None or book.root.child("cellStyleXfs") is not None:
        return False
    return any(node.attrs.get("xfId", "0") != "0" for node in formats.children)


def merge_styles(book: bytes, results: bytes, part: str, asked: Asked) -> tuple[bytes, StyleMap]:
    """Add our formats to the book's styles.

    `part` names the book's styles part in messages; `asked` is what its sheets ask for. Entries
    that the book already has are reused, so that merging again changes nothing. GraftError where
    either is unsound or the book would hold more cell formats than a workbook may.
    """
    theirs, ours = Document(book, part), Document(results, "our styles")
    beyond, alike = _names_are_beyond(theirs), _as_wide(theirs)
    numbers = _NumberFormats(theirs)
    codes = _codes(ours)
    pools = {name: _Pool(theirs, name) for name in ("fonts", "fills", "borders")}
    pools["cellXfs"] = _Pool(theirs, "cellXfs", asked.cellXfs)
    pools["dxfs"] = _Pool(theirs, "dxfs", asked.dxfs)
    ids = {
        "fontId": _merge_plain(ours, pools["fonts"]),
        "fillId": _merge_plain(ours, pools["fills"]),
        "borderId": _merge_plain(ours, pools["borders"]),
    }
    if pools["fonts"].count:
        ids["fontId"][0] = 0  # the book's default font is also ours
    cell = _merge_formats(ours, pools["cellXfs"], ids, numbers, codes, named=not beyond)
    dxf = _merge_differential(ours, pools["dxfs"], numbers)
    if pools["cellXfs"].count + len(pools["cellXfs"].added) > _MOST_FORMATS:
        raise GraftError(
            f"The book already holds {pools['cellXfs'].count} cell formats and a workbook can hold "
            f"{_MOST_FORMATS}; copy its sheets into a new book and run again."
        )
    _write(theirs, numbers, pools, name_them=not beyond)
    return theirs.encoded(), StyleMap(tuple(cell), tuple(dxf), alike)


def _codes(ours: Document) -> dict[str, str]:
    node = ours.root.child("numFmts")
    return {n.attrs["numFmtId"]: n.attrs["formatCode"] for n in (node.children if node else [])}


def _entries(ours: Document, name: str) -> list[tuple[Node, str]]:
    """Our entries of one collection with their text."""
    node = ours.root.child(name)
    return [(c, ours.text[c.start : c.end]) for c in (node.children if node else [])]


def _merge_plain(ours: Document, pool: _Pool) -> dict[int, int]:
    """Old to new index of fonts, fills or borders that our cell formats use."""
    used_by = {"fonts": "fontId", "fills": "fillId", "borders": "borderId"}[pool.name]
    used = {int(n.attrs.get(used_by, "0")) for n, _ in _entries(ours, "cellXfs")}
    if pool.count:
        used.discard(0)
    result = {0: 0}
    for index, (_, xml) in enumerate(_entries(ours, pool.name)):
        if index in used:
            result[index] = pool.index(xml)
    return result


def _merge_formats(
    ours: Document,
    pool: _Pool,
    ids: dict[str, dict[int, int]],
    numbers: _NumberFormats,
    codes: dict[str, str],
    *,
    named: bool,
) -> list[int]:
    """New index of each of our cell formats; our default format is the book's default.

    `named`: whether they may refer to the first named style.
    """

    def renumber(match: re.Match[str]) -> str:
        name, old = match[1], match[2]
        if name == "numFmtId":
            new = numbers.id_of(codes[old]) if old in codes else numbers.built_in(old)
        elif name == "xfId":
            new = "0"  # named styles of ours are not brought along; the format says it all
        else:
            new = str(ids[name][int(old)])
        return f'{name}="{new}"'

    result = []
    for index, (_, xml) in enumerate(_entries(ours, "cellXfs")):
        if index == 0 and pool.count:
            result.append(0)
        else:
            new = _ID.sub(renumber, xml)
            result.append(pool.index(new if named else new.replace(' xfId="0"', "", 1)))
    return result


def _merge_differential(ours: Document, pool: _Pool, numbers: _NumberFormats) -> list[int]:
    """New index of each of our differential formats."""
    result = []
    for node, xml in _entries(ours, "dxfs"):
        fmt = node.child("numFmt")
        if fmt is not None and int(fmt.attrs["numFmtId"]) >= _FIRST_OWN_NUMBER_FORMAT:
            new = numbers.id_of(fmt.attrs["formatCode"])
            xml = xml.replace(f'numFmtId="{fmt.attrs["numFmtId"]}"', f'numFmtId="{new}"', 1)
        result.append(pool.index(xml))
    return result


def _write(
    theirs: Document, numbers: _NumberFormats, pools: dict[str, _Pool], name_them: bool
) -> None:
    """Put everything added into the book's styles text; `name_them`: a named style, if it has none.

    Where its formats refer to named styles that it lacks, one would change what they refer to.
    """
    _extend(theirs, "numFmts", numbers.node, numbers.count, numbers.added)
    for pool in pools.values():
        _extend(theirs, pool.name, pool.node, pool.count, pool.added)
        if pool.name == "borders" and name_them and theirs.root.child("cellStyleXfs") is None:
            blank = '<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
            _extend(theirs, "cellStyleXfs", None, 0, [blank])


def _extend(theirs: Document, name: str, node: Node | None, count: int, added: list[str]) -> None:
    """Add entries to one collection, creating it in its place where it is absent."""
    if not added:
        return
    prefix = theirs.root.prefix
    xml = _TAG.sub(rf"<\1{prefix}\2", "".join(added))
    total = str(count + len(added))
    if node is None:
        later = _ORDER[_ORDER.index(name) + 1 :]
        whole = f'<{prefix}{name} count="{total}">{xml}</{prefix}{name}>'
        theirs.insert_ordered(whole, later)
    elif node.close == node.end:
        whole = f'<{node.tag} count="{total}">{xml}</{node.tag}>'
        theirs.replace(node.start, node.end, whole)
    else:
        theirs.append(node, xml)
        theirs.set_attribute(node, "count", total)
