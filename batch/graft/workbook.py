"""The workbook part: its list of sheets, its defined names and its table names."""

from __future__ import annotations

from dataclasses import dataclass

from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.opened import Package
from siltbook.batch.package.parts import Parts
from siltbook.batch.package.relations import STRICT, Relation, main_part, relations_part
from siltbook.batch.package.spans import Document, Node, attribute, content, unescape

RELATIONSHIPS = (
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships",
    "http://purl.oclc.org/ooxml/officeDocument/relationships",
)
_AFTER_NAMES = (
    "calcPr", "oleSize", "customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes",
    "webPublishing", "fileRecoveryPr", "webPublishObjects", "extLst",
)  # fmt: skip


@dataclass(frozen=True)
class DefinedName:
    """One defined name of ours; `sheet` is its place among our sheets, None for the whole book."""

    name: str
    sheet: int | None
    attrs: tuple[tuple[str, str], ...]
    formula: str  # escaped, as it stands in the part


class Target:
    """A package into which something is placed, with its workbook part found and scanned."""

    def __init__(self, book: bytes | Package) -> None:
        """Take a package apart; GraftError where it is no workbook that can be added to."""
        self.package = Parts(book)
        self.part = main_part(self.package)
        self.document = Document(self.package.read(self.part), self.part)
        self.relations = {r.id: r for r in self.package.relations(self.part)}
        self.relations_part = relations_part(self.part)
        sheets = self.document.root.child("sheets")
        if self.document.root.local != "workbook" or sheets is None:
            raise GraftError("The file is not a workbook: it has no list of sheets.")
        self.sheets: Node = sheets

    @property
    def strict(self) -> bool:
        """Whether the book is of the strict variant."""
        return self.document.root.namespace.startswith(STRICT)

    def names(self) -> list[str]:
        """The sheets' names in order."""
        return [node.attrs.get("name", "") for node in self.sheets.children]

    def by_name(self) -> dict[str, Node]:
        """Sheet elements by name; case does not count."""
        return {n.attrs.get("name", "").casefold(): n for n in self.sheets.children}

    def relation_id(self, node: Node) -> str:
        """The relationship id of a sheet element, whatever its prefix."""
        prefix = self.relation_prefix(node)
        return node.attrs.get(f"{prefix}:id", "")

    def relation_prefix(self, node: Node | None = None) -> str:
        """The prefix of the relationships namespace that holds at `node`, or ''."""
        scopes = [self.document.root, self.sheets, *([node] if node else [])]
        found = ""
        for scope in scopes:
            for name, value in scope.attrs.items():
                if name.startswith("xmlns:") and value in RELATIONSHIPS:
                    found = name[6:]
        return found

    def target(self, node: Node) -> Relation | None:
        """The relationship that leads to a sheet's part."""
        return self.relations.get(self.relation_id(node))

    def single(self, kind: str) -> Relation | None:
        """The workbook's only relationship of a kind, for example 'styles'."""
        return next((r for r in self.relations.values() if r.kind == kind), None)

    def defined_names(self) -> list[Node]:
        """The elements of all defined names."""
        node = self.document.root.child("definedNames")
        return node.children if node else []

    def own_names(self) -> list[DefinedName]:
        """All defined names, as they can be carried to another book."""
        found = []
        for node in self.defined_names():
            local = "localSheetId" in node.attrs
            rest = tuple((k, v) for k, v in node.attrs.items() if k not in ("name", "localSheetId"))
            found.append(
                DefinedName(
                    node.attrs.get("name", ""),
                    node.number("localSheetId") if local else None,
                    rest,
                    self.document.inside(node),
                )
            )
        return found


def write_names(
    book: Target, ours: list[DefinedName], places: list[int], ahead: int = 0
) -> set[str]:
    """Put our defined names into the book in place of those of replaced sheets.

    `places` gives the position in the book of each of our sheets, `ahead` by how many places
    the sheets that were there have moved back. Returns the names (lower
    case) that the book then has for itself, so that tables avoid them. GraftError where a
    name of ours for the whole book already stands for something else.
    """
    fresh, taken, drop = [], set(), []
    ours_here = set(places)
    wanted = {n.name.casefold(): n for n in ours if n.sheet is None}
    for node in book.defined_names():
        name = node.attrs.get("name", "").casefold()
        local = "localSheetId" in node.attrs
        at = node.number("localSheetId", -1) if local else -1
        if at >= 0 and at + ahead in ours_here:
            drop.append(node)
        elif not local and name in wanted:
            if unescape(book.document.inside(node)) != unescape(wanted[name].formula):
                raise GraftError(
                    f"The book already uses the name {wanted[name].name!r} for something else; "
                    "rename it in the name manager and run again."
                )
            drop.append(node)
        else:
            taken.add(name)
            if at >= 0 and ahead:
                book.document.set_attribute(node, "localSheetId", str(at + ahead))
    prefix = book.document.root.prefix
    for item in ours:
        attrs = {"name": item.name}
        if item.sheet is not None:
            attrs["localSheetId"] = str(places[item.sheet])
        text = "".join(f" {k}={attribute(v)}" for k, v in {**attrs, **dict(item.attrs)}.items())
        fresh.append(f"<{prefix}definedName{text}>{item.formula}</{prefix}definedName>")
    _replace_names(book, drop, "".join(fresh))
    return taken


def _replace_names(book: Target, drop: list[Node], xml: str) -> None:
    """Take names out and add others, keeping the element valid or leaving it out."""
    document, prefix = book.document, book.document.root.prefix
    element = document.root.child("definedNames")
    if element is None:
        if xml:
            whole = f"<{prefix}definedNames>{xml}</{prefix}definedNames>"
            document.insert_ordered(whole, _AFTER_NAMES)
        return
    if not xml and len(drop) == len(element.children):
        document.remove(element)  # an empty list of names is not valid
        return
    for node in drop:
        document.remove(node)
    if xml:
        document.append(element, xml)


def sheet_xml(book: Target, name: str, number: int, relation: str, state: str) -> str:
    """The element of a new sheet in the book's list."""
    prefix = book.relation_prefix()
    declare = ""
    if not prefix:
        prefix = "r"
        declare = f' xmlns:r="{RELATIONSHIPS[1 if book.strict else 0]}"'
    shown = f' state="{content(state)}"' if state not in ("", "visible") else ""
    return (
        f'<{book.document.root.prefix}sheet{declare} name={attribute(name)} sheetId="{number}"'
        f"{shown} {prefix}:id={attribute(relation)}/>"
    )
