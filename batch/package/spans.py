"""Small XML texts with the place of every element, so that edits touch nothing else.

Re-serialising a person's workbook part would change its prefixes, quotes and spacing; here an
edit is a slice of the text replaced by another.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from siltbook.batch.package.limits import GraftError

_TOKEN = re.compile(
    r"<!--.*?-->|<\?.*?\?>|<!\[CDATA\[.*?\]\]>"
    r"|<(?P<close>/)?(?P<tag>[^\s/>!?]+)(?P<attrs>(?:[^>\"']|\"[^\"]*\"|'[^']*')*?)(?P<empty>/)?>",
    re.DOTALL,
)
_ATTR = re.compile(r"([^\s=]+)\s*=\s*(\"[^\"]*\"|'[^']*')")
_ENTITY = re.compile(r"&(#x[0-9a-fA-F]+|#[0-9]+|amp|lt|gt|quot|apos);")
_NAMED = {"amp": "&", "lt": "<", "gt": ">", "quot": '"', "apos": "'"}
_MOST_TAGS = 600_000  # of a part whose elements are all kept in memory
_HEAD = 1_024  # [bytes] of a part in which it can say its encoding
_MOST_DIGITS = 10  # of a number that the format knows: all fit into 32 bits
_ENCODING = re.compile(rb"^<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']")


@dataclass
class Node:
    """One element: its tag, attributes and the offsets of its tags in the text."""

    tag: str
    attrs: dict[str, str]
    start: int  # of the start tag
    inner: int  # just behind the start tag
    # Of the end tag, and behind it; equal where the element is written as <a/>.
    close: int = field(init=False)
    end: int = field(init=False)
    children: list[Node] = field(default_factory=list)

    @property
    def local(self) -> str:
        """The tag without its prefix."""
        return self.tag.rpartition(":")[2]

    @property
    def prefix(self) -> str:
        """The tag's prefix with its colon, or ''."""
        head, colon, _ = self.tag.rpartition(":")
        return head + colon

    @property
    def namespace(self) -> str:
        """The element's namespace as far as it is declared on the element itself."""
        name = self.prefix[:-1]
        return self.attrs.get(f"xmlns:{name}" if name else "xmlns", "")

    def child(self, local: str) -> Node | None:
        """The first child with this local name."""
        return next((c for c in self.children if c.local == local), None)

    def named(self, local: str) -> list[Node]:
        """All children with this local name."""
        return [c for c in self.children if c.local == local]

    def number(self, name: str, otherwise: int = 0) -> int:
        """A whole-number attribute; `otherwise` where no number stands that a book can mean."""
        value = self.attrs.get(name, "")
        return int(value) if value.isdecimal() and len(value) <= _MOST_DIGITS else otherwise

    def walk(self) -> Iterator[Node]:
        """The element and everything in it."""
        yield self
        for child in self.children:
            yield from child.walk()


def unescape(text: str) -> str:
    """Text with its character references resolved."""
    return _ENTITY.sub(lambda m: _character(m[1]), text) if "&" in text else text


def _character(name: str) -> str:
    if name.startswith("#x"):
        return chr(int(name[2:], 16))
    return chr(int(name[1:])) if name.startswith("#") else _NAMED[name]


def check(data: bytes, part: str) -> None:
    """GraftError where the part is not well-formed XML or declares a document type."""
    from lxml import etree

    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False
    )
    try:
        info: Any = etree.fromstring(data, parser).getroottree().docinfo
    except (etree.XMLSyntaxError, ValueError) as error:
        raise GraftError(
            f"The part {part!r} of the file is damaged; open the book in a spreadsheet program, "
            "let it repair the file, save it and run again."
        ) from error
    if info.doctype:
        raise GraftError(
            f"The part {part!r} of the file declares a document type, which workbooks never do; "
            "save the book again in a spreadsheet program."
        )


def decode(data: bytes) -> tuple[str, str]:
    """The text of an XML part and its encoding; a byte order mark stays in the text."""
    if data.startswith(codecs.BOM_UTF16_LE):
        encoding = "utf-16-le"
    elif data.startswith(codecs.BOM_UTF16_BE):
        encoding = "utf-16-be"
    else:
        match = _ENCODING.match(data[:_HEAD])
        encoding = match[1].decode("ascii") if match else "utf-8"
    try:
        return data.decode(encoding), encoding
    except (LookupError, UnicodeError) as error:
        raise GraftError(
            f"A part of the file says that it is written in the encoding {encoding[:40]!r}, in "
            "which it cannot be read; save the book again in a spreadsheet program."
        ) from error


def scan(text: str) -> Node:
    """The root element of a well-formed text, with the places of all elements."""
    top = Node("", {}, 0, 0)
    stack = [top]
    for match in _TOKEN.finditer(text):
        tag = match["tag"]
        if tag is None:
            continue
        if match["close"]:
            node = stack.pop()
            node.close, node.end = match.start(), match.end()
            continue
        attrs = {n: unescape(v[1:-1]) for n, v in _ATTR.findall(match["attrs"])}
        node = Node(tag, attrs, match.start(), match.end())
        stack[-1].children.append(node)
        if match["empty"]:
            node.close = node.end = match.end()
        else:
            stack.append(node)
    return top.children[0]


class Document:
    """One XML part with edits waiting to be made."""

    def __init__(self, data: bytes, part: str) -> None:
        """Check and scan the part; GraftError where it is unsound."""
        if data.count(b"<") > _MOST_TAGS:
            raise GraftError(
                f"The part {part!r} of the file lists more than any workbook; delete what is not "
                "needed in a spreadsheet program and run again."
            )
        check(data, part)
        self.text, self._encoding = decode(data)
        self.root = scan(self.text)
        if self.root.close == self.root.end:  # <a/>: give it room for children
            head = self.text[: self.root.end].rstrip()[:-2]
            self.text = f"{head}></{self.root.tag}>{self.text[self.root.end :]}"
            self.root = scan(self.text)
        self._edits: list[tuple[int, int, str]] = []

    def inside(self, node: Node) -> str:
        """The raw text between an element's tags."""
        return self.text[node.inner : node.close] if node.close != node.end else ""

    def replace(self, start: int, end: int, new: str) -> None:
        """Replace one slice of the original text."""
        self._edits.append((start, end, new))

    def remove(self, node: Node) -> None:
        """Take an element out."""
        self.replace(node.start, node.end, "")

    def append(self, node: Node, xml: str) -> None:
        """Add text at the end of an element (once for an element written as <a/>)."""
        if node.close == node.end:
            head = self.text[node.start : node.end].rstrip()[:-2]
            self.replace(node.start, node.end, f"{head}>{xml}</{node.tag}>")
        else:
            self.replace(node.close, node.close, xml)

    def set_attribute(self, node: Node, name: str, value: str) -> None:
        """Change the value of an attribute that the element has."""
        pattern = re.compile(rf"\s{re.escape(name)}\s*=\s*(\"[^\"]*\"|'[^']*')")
        match = pattern.search(self.text, node.start, node.inner)
        if match:
            self.replace(match.start(1), match.end(1), quoteattr(value))

    def insert_ordered(self, xml: str, later: tuple[str, ...]) -> None:
        """Insert a child of the root before the first of the children that must follow it."""
        for child in self.root.children:
            if child.local in later:
                self.replace(child.start, child.start, xml)
                return
        self.replace(self.root.close, self.root.close, xml)

    def encoded(self) -> bytes:
        """The part's bytes with all edits made."""
        pieces, at = [], 0
        for start, end, new in sorted(self._edits, key=lambda e: (e[0], e[1])):
            pieces += [self.text[at:start], new]
            at = end
        pieces.append(self.text[at:])
        return "".join(pieces).encode(self._encoding, "xmlcharrefreplace")


def attribute(value: str) -> str:
    """A value quoted for use as an attribute."""
    return quoteattr(value)


def content(value: str) -> str:
    """A value escaped for use as element text."""
    return escape(value)
