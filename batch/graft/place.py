"""Places result sheets into a practitioner's workbook and leaves the rest of it alone."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count

from siltbook.batch.graft.opening import deselect, list_titles, open_at
from siltbook.batch.graft.sheets import (
    Renumbering,
    carries_mark,
    rewrite_sheet,
    rewrite_table,
    shared_strings,
    strict_part,
)
from siltbook.batch.graft.styles import BLANK_STYLES, StyleMap, merge_styles
from siltbook.batch.graft.workbook import Target, sheet_xml, write_names
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.opened import Package
from siltbook.batch.package.parts import Parts
from siltbook.batch.package.relations import (
    CONTENT_TYPES,
    Relation,
    content_type,
    content_types,
    key_of,
    reachable,
    relations_part,
    relations_xml,
    relationship_xml,
    to_strict,
)
from siltbook.batch.package.spans import Document, Node, attribute

_STYLES_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"
_RELS_TYPE = "application/vnd.openxmlformats-package.relationships+xml"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"


def taken_names(book: bytes | Package, names: Sequence[str]) -> set[str]:
    """Those of `names` whose sheet in the book is a person's own (it carries no mark).

    Names are compared ignoring case, as spreadsheet programs do. GraftError where the file is
    no workbook that can be added to.
    """
    target = Target(book)
    present = target.by_name()
    wanted = {name: present[name.casefold()] for name in names if name.casefold() in present}
    return {name for name, node in wanted.items() if not _is_ours(target, node)}


def free_names(book: bytes | Package, names: Sequence[str]) -> dict[str, str]:
    """What each result sheet will be called in the book: its own name, unless a person has it."""
    taken = taken_names(book, names)
    return {name: f"{name} (Siltbook)" if name in taken else name for name in names}


Longer = Mapping[str, Callable[[bytes], Iterable[bytes]]]


def graft(
    book: bytes | Package, results: bytes, names: Sequence[str], longer: Longer | None = None
) -> bytes:
    """The book with the result sheets `names` in it.

    `results` is a workbook that holds exactly these sheets, in this order; `longer` gives, by
    part of it, what makes the final text out of the part's, piece by piece. A sheet of the
    same name that carries our mark is replaced where it stands; the others are added in front
    of all others (behind them in a book with macros, which may count sheets), and the book then
    opens on the first of ours. Every part that is not ours stays byte-identical, except the five
    that list sheets, parts and formats, which are extended, and the mark of the sheet that was
    open. The same input gives the same bytes, and running again on the output changes nothing.
    GraftError where a person's own sheet has one of the names, or the file cannot be added to.
    """
    return _Graft(Target(book), Target(results), names, longer or {}).run()


def _is_ours(book: Target, node: Node) -> bool:
    """Whether the sheet carries our mark."""
    relation = book.target(node)
    if relation is None or relation.kind != "worksheet" or relation.target not in book.package:
        return False
    shared = book.single("sharedStrings")
    data = book.package.read(shared.target) if shared and shared.target in book.package else None
    return carries_mark(book.package.read(relation.target), data, relation.target)


@dataclass(frozen=True)
class _Part:
    """One part of ours: where it comes from, where it goes, and what it is."""

    source: str
    name: str
    type: str
    relations: tuple[Relation, ...]


class _Graft:
    """One placing of result sheets into one book."""

    def __init__(self, book: Target, results: Target, names: Sequence[str], longer: Longer) -> None:
        self.book, self.results, self.names, self.longer = book, results, list(names), longer
        if results.names() != self.names:
            raise GraftError(
                f"The result sheets are {results.names()} where {self.names} were announced."
            )
        self.package = book.package
        self.types = Document(self.package.read(CONTENT_TYPES), CONTENT_TYPES)
        self.rels = Document(self.package.read(book.relations_part), book.relations_part)
        self.removed: dict[str, str] = {}
        self.overrides: list[tuple[str, str]] = []
        self.new_relations: list[str] = []
        self._relation_numbers = _highest(r"rId([0-9]{1,6})", list(book.relations))

    def run(self) -> bytes:
        """Do it all and return the new file."""
        old = self._replaced()
        self._remove_old(old)
        kept = [n for n in self.book.sheets.children if n not in old.values()]
        styles = self._merge_styles(kept)
        parts = self._plan()
        places, ahead = self._list_sheets(old, parts)
        taken = write_names(self.book, self.results.own_names(), places, ahead)
        tables = self._name_tables(parts, taken)
        self._write_parts(parts, styles, tables)
        deselect(self.book, kept)
        open_at(self.book, places[0])
        list_titles(self.book, self._titles(places))
        self._write_lists()
        return self.package.save()

    def _replaced(self) -> dict[int, Node]:
        """Our place -> the earlier sheet of ours in the book."""
        present = self.book.by_name()
        found = {}
        for index, name in enumerate(self.names):
            node = present.get(name.casefold())
            if node is None:
                continue
            if not _is_ours(self.book, node):
                raise GraftError(
                    f"The book has a sheet {node.attrs['name']!r} that was not written by "
                    "Siltbook; it was left alone, so the result sheet needs another name."
                )
            found[index] = node
        return found

    def _remove_old(self, old: dict[int, Node]) -> None:
        """Take out earlier result sheets and whatever only they lead to."""
        if not old:
            return
        targets = [r.target for n in old.values() if (r := self.book.target(n)) is not None]
        cut = frozenset(key_of(t) for t in targets)
        kept = reachable(self.package, [""], cut)
        gone = reachable(self.package, targets, frozenset(kept))
        self.removed = gone
        for part in gone.values():
            self.package.drop(part)
            self.package.drop(relations_part(part))
        self._remove_chain({n.attrs.get("sheetId", "") for n in old.values()})
        dropped = {*gone, *(key_of(relations_part(p)) for p in gone.values())}
        for node in self.types.root.named("Override"):
            if key_of(node.attrs.get("PartName", "")) in dropped:
                self.types.remove(node)

    def _remove_chain(self, sheets: set[str]) -> None:
        """Drop the calculation chain where it names cells of replaced sheets."""
        chain = self.book.single("calcChain")
        if chain is None or chain.target not in self.package or not sheets:
            return
        root = Document(self.package.read(chain.target), chain.target).root
        if not any(cell.attrs.get("i") in sheets for cell in root.children):
            return
        self.package.drop(chain.target)
        self.removed[key_of(chain.target)] = chain.target
        for node in self.rels.root.named("Relationship"):
            if node.attrs.get("Id") == chain.id:
                self.rels.remove(node)

    def _merge_styles(self, kept: list[Node]) -> StyleMap:
        """Extend the book's styles; create them where the book has none."""
        asked = Asked()
        for node in kept:
            relation = self.book.target(node)
            if relation is not None and relation.target in self.package:
                asked.more(self.package.asked(relation.target))
        source = self.results.single("styles")
        assert source is not None  # the results are written by our own writer
        ours = self.results.package.read(source.target)
        theirs = self.book.single("styles")
        if theirs is not None and theirs.target in self.package:
            part, data = theirs.target, self.package.read(theirs.target)
        else:
            folder = posixpath.dirname(self.book.part)
            part = self._free(folder, "styles", ".xml", set())
            text = to_strict(BLANK_STYLES) if self.book.strict else BLANK_STYLES
            data = text.encode()
            self.overrides.append((part, _STYLES_TYPE))
            if theirs is None:
                self._relate("styles", part)
        merged, styles = merge_styles(data, ours, part, asked)
        self.package.put(part, merged)
        return styles

    def _relate(self, kind: str, part: str) -> str:
        """Add a relationship of the workbook; its id."""
        self._relation_numbers += 1
        while (name := f"rId{self._relation_numbers}") in self.book.relations:
            self._relation_numbers += 1
        type_ = f"{_OFFICE}{kind}"
        xml = relationship_xml(
            Relation(name, kind, type_, part, False), self.book.part, self.rels.root.prefix
        )
        self.new_relations.append(to_strict(xml) if self.book.strict else xml)
        return name

    def _free(self, folder: str, stem: str, ending: str, used: set[str]) -> str:
        """A part name that nothing has yet: the stem alone for styles, else with a number."""
        for number in count(0 if stem == "styles" else 1):
            name = posixpath.join(folder, f"{stem}{number or ''}{ending}")
            if name not in self.package and key_of(name) not in used:
                used.add(key_of(name))
                return name
        raise AssertionError

    def _plan(self) -> list[_Part]:
        """All our parts with their new names; the sheets come first and in order."""
        source = self.results.package
        types = Document(source.read(CONTENT_TYPES), CONTENT_TYPES)
        sheets = [r.target for n in self.results.sheets.children if (r := self.results.target(n))]
        order = dict.fromkeys(sheets)
        for sheet in sheets:
            order.update(dict.fromkeys(reachable(source, [sheet], frozenset()).values()))
        used: set[str] = set()
        names = {}
        for part in order:
            # Some readers know a sheet, chart or drawing by nothing but the pattern of its name.
            stem, ending = posixpath.splitext(posixpath.basename(part))
            stem = stem.rstrip("0123456789")
            names[part] = self._free(posixpath.dirname(part), stem, ending, used)
        return [
            _Part(part, names[part], content_type(types, part), _moved(source, part, names))
            for part in order
        ]

    def _list_sheets(self, old: dict[int, Node], parts: list[_Part]) -> tuple[list[int], int]:
        """Enter our sheets into the book's list: their positions, and how many stand in front."""
        nodes = self.book.sheets.children
        fresh = len(self.names) - len(old)
        ahead = 0 if self.book.single("vbaProject") else fresh
        numbers = [n.number("sheetId") for n in nodes]
        new: list[str] = []
        places: list[int] = []
        for index, name in enumerate(self.names):
            if index in old:
                places.append(nodes.index(old[index]) + ahead)
                self._point(self.book.relation_id(old[index]), parts[index].name)
                continue
            places.append(len(new) + (0 if ahead else len(nodes)))
            numbers.append(_next_number(numbers))
            state = self.results.sheets.children[index].attrs.get("state", "")
            relation = self._relate("worksheet", parts[index].name)
            new.append(sheet_xml(self.book, name, numbers[-1], relation, state))
        if new and ahead and nodes:
            self.book.document.replace(nodes[0].start, nodes[0].start, "".join(new))
        elif new:
            self.book.document.append(self.book.sheets, "".join(new))
        return places, ahead

    def _titles(self, places: list[int]) -> list[str]:
        """The names of all sheets in the order in which they now stand."""
        ours = dict(zip(places, self.names, strict=True))
        present = set(map(str.casefold, self.names))
        theirs = iter(name for name in self.book.names() if name.casefold() not in present)
        total = len({*map(str.casefold, self.book.names()), *present})
        return [ours[at] if at in ours else next(theirs) for at in range(total)]

    def _point(self, relation: str, part: str) -> None:
        """Let an existing relationship of the workbook lead to a new part."""
        for node in self.rels.root.named("Relationship"):
            if node.attrs.get("Id") == relation:
                target = posixpath.relpath("/" + part, "/" + posixpath.dirname(self.book.part))
                self.rels.set_attribute(node, "Target", target)

    def _name_tables(self, parts: list[_Part], taken: set[str]) -> dict[str, tuple[int, str, str]]:
        """Source part of each of our tables -> its id, old name and name in this book."""
        ids, used = {0}, set(taken)
        for part in _table_parts(self.types, self.package, self.removed):
            table = Document(self.package.read(part), part).root
            ids.add(table.number("id"))
            used |= {table.attrs.get(k, "").casefold() for k in ("name", "displayName")}
        found = {}
        for item in parts:
            if not item.type.endswith(".table+xml"):
                continue
            table = Document(self.results.package.read(item.source), item.source).root
            old = table.attrs["displayName"]
            name, number = old, 1
            while name.casefold() in used:
                number += 1
                name = f"{old}_{number}"
            used.add(name.casefold())
            fresh = _next_number(ids)
            ids.add(fresh)
            found[item.source] = (fresh, old, name)
        return found

    def _write_parts(
        self, parts: list[_Part], styles: StyleMap, tables: dict[str, tuple[int, str, str]]
    ) -> None:
        """Write every part of ours and its relationships."""
        shared = self.results.single("sharedStrings")
        source = self.results.package
        strings = shared_strings(source.read(shared.target)) if shared else ()
        renamed = {old: new for _, old, new in tables.values() if old != new}
        book = Renumbering(styles, strings, renamed)
        for item in parts:
            data = source.read(item.source)
            if item.type.endswith(".worksheet+xml"):
                data = rewrite_sheet(data, book, opens=item is parts[0])
            elif item.source in tables:
                number, _, name = tables[item.source]
                data = rewrite_table(data.decode(), number, name, book).encode()
            if self.book.strict and item.type.endswith("+xml"):
                data = strict_part(data)
            lengthen = self.longer.get(item.source)
            if lengthen is None:
                self.package.put(item.name, data)
            else:
                self.package.put_pieces(item.name, lengthen(data))
            self.overrides.append((item.name, item.type))
            if item.relations:
                self._write_relations(item)

    def _write_relations(self, item: _Part) -> None:
        data = relations_xml(item.relations, item.name)
        self.package.put(
            relations_part(item.name),
            to_strict(data.decode()).encode() if self.book.strict else data,
        )

    def _write_lists(self) -> None:
        """Write the workbook, its relationships and the content types."""
        prefix = self.types.root.prefix
        xml = "".join(
            f"<{prefix}Override PartName={attribute('/' + part)} ContentType={attribute(kind)}/>"
            for part, kind in self.overrides
        )
        if not content_type(self.types, "a.rels"):
            xml = f'<{prefix}Default Extension="rels" ContentType="{_RELS_TYPE}"/>{xml}'
        self.types.append(self.types.root, xml)
        if self.new_relations:
            self.rels.append(self.rels.root, "".join(self.new_relations))
        self.package.put(CONTENT_TYPES, self.types.encoded())
        self.package.put(self.book.part, self.book.document.encoded())
        self.package.put(self.book.relations_part, self.rels.encoded())


_MOST_NUMBER = 2**31 - 1


def _next_number(used: Collection[int]) -> int:
    """A number that nothing has yet: behind the highest, or the lowest free one where that ends."""
    behind = max(used, default=0) + 1
    if behind <= _MOST_NUMBER:
        return behind
    return next(number for number in count(1) if number not in used)


def _highest(pattern: str, texts: list[str]) -> int:
    """The highest number among texts that match."""
    return max((int(m[1]) for t in texts if (m := re.fullmatch(pattern, t))), default=0)


def _moved(source: Parts, part: str, names: dict[str, str]) -> tuple[Relation, ...]:
    """A part's relationships, leading to the new names."""
    return tuple(
        r if r.external else replace(r, target=names[r.target]) for r in source.relations(part)
    )


def _table_parts(types: Document, package: Parts, removed: dict[str, str]) -> list[str]:
    """The book's table parts that stay."""
    kinds = zip(package.parts, content_types(types, package.parts), strict=True)
    return [
        part for part, kind in kinds if key_of(part) not in removed and kind.endswith(".table+xml")
    ]
