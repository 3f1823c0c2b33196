"""Relationships between parts, and the content types of parts."""

from __future__ import annotations

import posixpath
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import unquote

from siltbook.batch.graft.package import GraftError, Package, key_of
from siltbook.batch.graft.spans import Document, Node, attribute

CONTENT_TYPES = "[Content_Types].xml"
PACKAGE_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_LOOSE = "http://schemas.openxmlformats.org/"
STRICT = "http://purl.oclc.org/ooxml/"
# Every namespace of our parts that the strict variant spells differently, longest first.
_STRICT_NAMES = tuple(
    (f'="{_LOOSE}{path}/2006/{name}', f'="{STRICT}{path}/{name}')
    for path, name in (
        ("spreadsheetml", "main"),
        ("officeDocument", "relationships"),
        ("drawingml", "main"),
        ("drawingml", "chartDrawing"),
        ("drawingml", "chart"),
        ("drawingml", "spreadsheetDrawing"),
    )
)


@dataclass(frozen=True)
class Relation:
    """One relationship; `target` is a part name, or an address where it is external."""

    id: str
    kind: str  # last step of the type, for example 'worksheet'
    type: str
    target: str
    external: bool


def relations_part(part: str) -> str:
    """Where the relationships of a part stand ('' for those of the package)."""
    head, tail = posixpath.split(part)
    return posixpath.join(head, "_rels", f"{tail}.rels")


def relation_of(node: Node, part: str) -> Relation:
    """The relationship that an element of the relationships of `part` describes."""
    kind = node.attrs.get("Type", "")
    target = node.attrs.get("Target", "")
    external = node.attrs.get("TargetMode", "").lower() == "external"
    if not external:
        path = unquote(target.replace("\\", "/").partition("#")[0])
        base = "/" + posixpath.dirname(part)
        target = posixpath.normpath(posixpath.join(base, path)).lstrip("/")
    return Relation(node.attrs.get("Id", ""), kind.rsplit("/", 1)[-1], kind, target, external)


def relations(package: Package, part: str) -> list[Relation]:
    """All relationships of a part; none where it has no such part."""
    name = relations_part(part)
    if name not in package:
        return []
    document = Document(package.read(name), name)
    return [relation_of(n, part) for n in document.root.named("Relationship")]


def target_between(part: str, target: str) -> str:
    """The relative address from one part to another."""
    return posixpath.relpath("/" + target, "/" + posixpath.dirname(part))


def relationship_xml(relation: Relation, part: str, prefix: str = "") -> str:
    """The element that describes a relationship of `part`."""
    target = relation.target if relation.external else target_between(part, relation.target)
    mode = ' TargetMode="External"' if relation.external else ""
    return (
        f"<{prefix}Relationship Id={attribute(relation.id)} Type={attribute(relation.type)} "
        f"Target={attribute(target)}{mode}/>"
    )


def relations_xml(items: Iterable[Relation], part: str) -> bytes:
    """A whole relationships part."""
    body = "".join(relationship_xml(item, part) for item in items)
    return (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<Relationships xmlns="{PACKAGE_RELATIONS}">{body}</Relationships>'
    ).encode()


def reachable(package: Package, starts: Iterable[str], cut: frozenset[str]) -> dict[str, str]:
    """Parts that can be reached from `starts` without entering `cut`: key -> name."""
    found: dict[str, str] = {}
    waiting = list(starts)
    while waiting:
        part = waiting.pop()
        key = key_of(part)
        if key in found or key in cut or (part and part not in package):
            continue
        found[key] = part
        waiting += [r.target for r in relations(package, part) if not r.external]
    return found


def main_part(package: Package) -> str:
    """The name of the workbook part; GraftError where the file is no such workbook."""
    for relation in relations(package, ""):
        if relation.kind == "officeDocument" and not relation.external:
            if relation.target.endswith(".bin"):
                raise GraftError(
                    "The file is a binary workbook (.xlsb); save it as .xlsx and run again."
                )
            return relation.target
    raise GraftError("The file is not a workbook: it does not say which of its parts is the book.")


def content_type(types: Document, part: str) -> str:
    """The content type of a part, or ''."""
    return content_types(types, [part])[0]


def content_types(types: Document, parts: Iterable[str]) -> list[str]:
    """The content type of each part, or ''; the list of types is gone through once."""
    named: dict[str, str] = {}
    endings: dict[str, str] = {}
    for node in types.root.children:
        if node.local == "Override":
            kind = node.attrs.get("ContentType", "")
            named.setdefault(key_of(node.attrs.get("PartName", "")), kind)
        elif node.local == "Default":
            ending = node.attrs.get("Extension", "").casefold()
            endings[ending] = node.attrs.get("ContentType", "")
    return [
        named.get(key_of(p), endings.get(p.rpartition(".")[2].casefold(), "")) for p in parts
    ]


def to_strict(text: str) -> str:
    """Our part with the namespaces of the strict variant; only whole attribute values change."""
    for old, new in _STRICT_NAMES:
        text = text.replace(old, new)
    return text
