"""Relationships between parts, and the content types of parts."""

from __future__ import annotations

import posixpath
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import unquote

from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.spans import Document, attribute

if TYPE_CHECKING:
    from siltbook.batch.package.parts import Parts

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


def key_of(name: str) -> str:
    """A part name as it is compared: no leading slash, forward slashes, case ignored."""
    return name.replace("\\", "/").lstrip("/").casefold()


def relation_of(attrs: Mapping[str, str], part: str) -> Relation:
    """The relationship that an element of the relationships of `part` describes."""
    kind = attrs.get("Type", "")
    target = attrs.get("Target", "")
    external = attrs.get("TargetMode", "").casefold() == "external"
    if not external:
        path = unquote(target.replace("\\", "/").partition("#")[0])
        base = "/" + posixpath.dirname(part)
        target = posixpath.normpath(posixpath.join(base, path)).lstrip("/")
    last = kind.rstrip("/").rpartition("/")[2]
    return Relation(attrs.get("Id", ""), last, kind, target, external)


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


def reachable(package: Parts, starts: Iterable[str], cut: frozenset[str]) -> dict[str, str]:
    """Parts that can be reached from `starts` without entering `cut`: key -> name."""
    found: dict[str, str] = {}
    waiting = list(starts)
    while waiting:
        part = waiting.pop()
        key = key_of(part)
        if key in found or key in cut or (part and part not in package):
            continue
        found[key] = part
        waiting += [r.target for r in package.relations(part) if not r.external]
    return found


def main_part(package: Parts) -> str:
    """The name of the workbook part; GraftError where the file is no such workbook."""
    for relation in package.relations(""):
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
    return [named.get(key_of(p), endings.get(p.rpartition(".")[2].casefold(), "")) for p in parts]


def to_strict(text: str) -> str:
    """Our part with the namespaces of the strict variant; only whole attribute values change."""
    for old, new in _STRICT_NAMES:
        text = text.replace(old, new)
    return text
