"""Where a book opens once our sheets are in it, and the list of sheets in its properties."""

from __future__ import annotations

import re

from siltbook.batch.graft.workbook import Target
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.spans import Document, Node, content, decode

_SELECTED = re.compile(
    r"""(<(?:[\w.-]+:)?sheetView\b[^<>]*?)\s+tabSelected\s*=\s*(?:"(?:1|true)"|'(?:1|true)')"""
)
_SELECTED_BYTES = re.compile(_SELECTED.pattern.encode())
# [bytes]; most sheets say all before their rows in fewer
_HEAD = 65536
_ROWS = re.compile(rb"<(?:[\w.-]+:)?sheetData[\s/>]")
_AFTER_VIEWS = (
    "sheets", "functionGroups", "externalReferences", "definedNames", "calcPr", "extLst",
)  # fmt: skip


def deselect(book: Target, sheets: list[Node]) -> None:
    """Let none of the sheets be selected: two that are would both take what is typed into one."""
    for node in sheets:
        relation = book.target(node)
        if relation is None or relation.external or relation.target not in book.package:
            continue
        head = book.package.head(relation.target, _HEAD)
        if _ROWS.search(head) and b"tabSelected" not in head:
            continue  # nothing is selected in it
        data = book.package.read(relation.target)
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            text, encoding = decode(data)
            new = _SELECTED.sub(r"\1", text).encode(encoding)
        else:
            rows = _ROWS.search(data)
            end = rows.start() if rows else len(data)
            new = _SELECTED_BYTES.sub(rb"\1", data[:end]) + data[end:]
        if new != data:
            book.package.put(relation.target, new)


def open_at(book: Target, place: int) -> None:
    """Let every window of the book open on the sheet at this place, its tab in view."""
    views = book.document.root.child("bookViews")
    prefix = book.document.root.prefix
    if views is None or not views.named("workbookView"):
        if place:
            made = f'<{prefix}workbookView activeTab="{place}"/>'
            whole = f"<{prefix}bookViews>{made}</{prefix}bookViews>"
            if views is None:
                book.document.insert_ordered(whole, _AFTER_VIEWS)
            else:
                book.document.append(views, made)
        return
    for view in views.named("workbookView"):
        for name, value in (("activeTab", place), ("firstSheet", 0)):
            if name in view.attrs:
                book.document.set_attribute(view, name, str(value))
            elif value:
                at = view.start + 1 + len(view.tag)
                book.document.replace(at, at, f' {name}="{value}"')


def list_titles(book: Target, names: list[str]) -> None:
    """Bring the list of sheets in the file's properties up to date, where it has one.

    Its first group is the sheets, whatever they are called in the program's language.
    """
    for relation in book.package.relations(""):
        if relation.kind != "extended-properties" or relation.target not in book.package:
            continue
        try:
            document = Document(book.package.read(relation.target), relation.target)
        except GraftError:
            return  # nothing depends on this part: it stays as it is
        if _retitle(document, names):
            book.package.put(relation.target, document.encoded())


def _retitle(document: Document, names: list[str]) -> bool:
    """Write the names into the list; whether there is one."""
    pairs, titles = (_vector(document.root.child(n)) for n in ("HeadingPairs", "TitlesOfParts"))
    counts = [n for n in pairs.walk() if n.local in ("i4", "int")] if pairs else []
    said = document.inside(counts[0]).strip() if counts else ""
    if titles is None or not said.isdecimal() or len(said) > 6:
        return False
    many, entries = int(said), titles.children
    if not 0 < many <= len(entries):
        return False
    tag = entries[0].tag
    document.replace(counts[0].inner, counts[0].close, str(len(names)))
    document.replace(
        entries[0].start,
        entries[many - 1].end,
        "".join(f"<{tag}>{content(name)}</{tag}>" for name in names),
    )
    document.set_attribute(titles, "size", str(len(entries) - many + len(names)))
    return True


def _vector(node: Node | None) -> Node | None:
    return node.child("vector") if node else None
