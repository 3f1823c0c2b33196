"""Which part leads to which, and what each is: told as the format says, whoever wrote it."""

from __future__ import annotations

import pytest

from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.opened import Package, open_archive
from siltbook.batch.package.parts import Parts
from siltbook.batch.package.relations import (
    STRICT,
    Relation,
    content_type,
    content_types,
    key_of,
    main_part,
    reachable,
    relation_of,
    relations_part,
    relations_xml,
    target_between,
    to_strict,
)
from siltbook.batch.package.spans import Document, Node, check, decode, scan, unescape
from tests.graft.packs import packed


@pytest.mark.parametrize(
    ("part", "kind", "target", "last", "leads"),
    [
        ("xl/workbook.xml", "http://x/y/worksheet", "worksheets/s1.xml", "worksheet",
         "xl/worksheets/s1.xml"),
        ("xl/worksheets/s1.xml", "http://x/image/", "..\\media\\a%20b.png#x", "image",
         "xl/media/a b.png"),
        ("", "styles", "/xl/styles.xml", "styles", "xl/styles.xml"),
        ("", "", "xl/./a.xml", "", "xl/a.xml"),
    ],
)  # fmt: skip
def test_where_a_relationship_leads(
    part: str, kind: str, target: str, last: str, leads: str
) -> None:
    found = relation_of({"Id": "r", "Type": kind, "Target": target}, part)
    assert found == Relation("r", last, kind, leads, False)
    outside = relation_of({"Type": kind, "Target": target, "TargetMode": "EXTERNAL"}, part)
    assert outside == Relation("", last, kind, target, True)


def test_what_else_stands_among_relationships_is_none() -> None:
    body = '<Alien Id="a" Target="a.xml"/><Relationship Id="b" Target="b.xml"/><Zebra Id="c"/>'
    data = packed({"_rels/.rels": RELS.format(body).encode()})
    for package in (Package(open_archive(data)), Parts(data)):
        assert [one.id for one in package.relations("")] == ["b"]
    parts = Parts(data)
    parts.put("_rels/.rels", RELS.format(body.replace('"b"', '"d"')).encode())
    assert [one.id for one in parts.relations("")] == ["d"]


def test_names_of_parts() -> None:
    assert key_of("\\XL\\Styles.xml") == key_of("/xl/styles.xml") == "xl/styles.xml"
    assert relations_part("xl/workbook.xml") == "xl/_rels/workbook.xml.rels"
    assert relations_part("") == "_rels/.rels"
    assert target_between("xl/worksheets/s1.xml", "xl/media/a.png") == "../media/a.png"
    assert target_between("", "xl/workbook.xml") == "xl/workbook.xml"


def test_relationships_are_written_relative_and_an_address_stays_one() -> None:
    items = [
        Relation("a", "image", "t/image", "xl/media/a.png", False),
        Relation("b", "hyperlink", "t/hyperlink", "https://example.org/?a&b", True),
    ]
    assert relations_xml(items, "xl/drawings/d.xml").decode().partition("\n")[2] == (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="a" Type="t/image" Target="../media/a.png"/>'
        '<Relationship Id="b" Type="t/hyperlink" Target="https://example.org/?a&amp;b"'
        ' TargetMode="External"/></Relationships>'
    )


RELS = "<Relationships>{}</Relationships>"
REL = '<Relationship Id="{}" Type="t/{}" Target="{}"{}/>'


def with_rels(rels: dict[str, list[tuple[str, str, str]]], *parts: str) -> Parts:
    """A package of empty parts, and the relationships of some: kind, target, further words."""
    content = dict.fromkeys(parts, b"<a/>")
    for part, items in rels.items():
        body = "".join(REL.format(f"r{n}", *item) for n, item in enumerate(items))
        content[relations_part(part)] = RELS.format(body).encode()
    return Parts(packed(content))


OUT = ' TargetMode="External"'


def test_the_workbook_is_the_first_that_the_package_calls_so() -> None:
    rels = [
        ("aaa", "a.xml", ""), ("zzz", "z.xml", ""), ("officeDocument", "http://x", OUT),
        ("officeDocument", "xl/wb.xml", ""), ("officeDocument", "xl/second.xml", ""),
    ]  # fmt: skip
    assert main_part(with_rels({"": rels})) == "xl/wb.xml"
    with pytest.raises(GraftError, match="it does not say which of its parts is the book"):
        main_part(with_rels({"": rels[:3]}))
    with pytest.raises(GraftError, match=r"^The file is a binary workbook \(\.xlsb\); save it as"):
        main_part(with_rels({"": [("officeDocument", "xl/wb.bin", "")]}))


def test_what_can_be_reached_without_what_is_cut() -> None:
    rels = {
        "a": [("x", "b", ""), ("x", "gone", ""), ("x", "far", OUT)],
        "b": [("x", "a", ""), ("x", "C", ""), ("x", "cut", "")],
        "cut": [("x", "behind", "")],
    }
    package = with_rels(rels, "a", "b", "c", "cut", "behind", "far")
    assert reachable(package, ["a"], frozenset({"cut"})) == {"a": "a", "b": "b", "c": "C"}
    assert set(reachable(package, ["a"], frozenset())) == {"a", "b", "c", "cut", "behind"}


def test_what_a_part_is_by_its_name_and_else_by_its_ending() -> None:
    types = Document(
        b'<Types><Default Extension="XML" ContentType="plain"/><Default Extension="png"'
        b' ContentType="old"/><Default Extension="png" ContentType="picture"/>'
        b'<Override PartName="/xl/a.xml" ContentType="first"/><Other PartName="/xl/b.xml"'
        b' ContentType="no"/><Another Extension="gif" ContentType="no"/>'
        b'<Override PartName="/XL/A.xml" ContentType="second"/></Types>',
        "t.xml",
    )
    asked = ["xl/A.xml", "/xl/b.xml", "c.PNG", "d.gif", "e"]
    assert content_types(types, asked) == ["first", "plain", "picture", "", ""]
    assert content_type(types, "c.png") == "picture"


def test_the_strict_way_of_writing_changes_namespaces_alone() -> None:
    loose = "http://schemas.openxmlformats.org/"
    for path, name in (("drawingml", "chart"), ("drawingml", "chartDrawing"),
                       ("spreadsheetml", "main"), ("drawingml", "spreadsheetDrawing"),
                       ("officeDocument", "relationships")):  # fmt: skip
        own, kept = f'<a x="{loose}{path}/2006/{name}"/>', f"<t>{loose}{path}/2006/{name}</t>"
        assert to_strict(own + kept) == f'<a x="{STRICT}{path}/{name}"/>{kept}'


def test_an_element_says_its_name_prefix_and_namespace() -> None:
    node = scan('<q:a xmlns:q="n" xmlns="d" x:y="1&amp;2"><b/><q:b/><c/></q:a>')
    assert (node.local, node.prefix, node.namespace) == ("a", "q:", "n")
    assert [child.tag for child in node.named("b")] == ["b", "q:b"]
    first, none = node.child("b"), node.child("d")
    assert first is not None
    assert (first.tag, first.prefix, none) == ("b", "", None)
    assert node.attrs["x:y"] == "1&2"
    assert [one.tag for one in node.walk()] == ["q:a", "b", "q:b", "c"]
    assert Node("a", {"xmlns": "d", "n": "7"}, 0, 0).namespace == "d"
    assert Node("q:a", {"xmlns": "d"}, 0, 0).namespace == ""
    assert (Node("a", {}, 0, 0).number("n"), Node("a", {"n": "7"}, 0, 0).number("n")) == (0, 7)


def test_what_looks_like_an_element_in_a_comment_or_a_text_is_none() -> None:
    text = "<?xml v?><!-- <x> --><a b='>'><![CDATA[<y>]]><c/><?z <w>?></a>"
    top = scan(text)
    assert [one.tag for one in top.walk()] == ["a", "c"]
    assert text[top.start : top.inner] == "<a b='>'>"
    assert text[top.close : top.end] == "</a>"


@pytest.mark.parametrize(
    ("text", "read"),
    [("&#x41;&#66;", "AB"), ("&amp;lt;&lt;&gt;&quot;&apos;", "&lt;<>\"'"), ("a&b", "a&b")],
)
def test_references_in_a_text(text: str, read: str) -> None:
    assert unescape(text) == read


def test_a_part_is_read_in_the_encoding_that_it_says_in_its_first_kibibyte() -> None:
    for encoding in ("utf-16-le", "utf-16-be"):
        assert decode("\ufeff<ä/>".encode(encoding)) == ("\ufeff<ä/>", encoding)
    assert decode("<ä/>".encode()) == ("<ä/>", "utf-8")
    for length in (1_024, 1_025):
        head = '<?xml version="1.0"{}encoding="latin-1"'
        head = head.format(" " * (length - len(head) + 2))
        assert len(head) == length
        own = "latin-1" if length == 1_024 else "utf-8"
        assert decode(f"{head}?><a/>".encode())[1] == own
    odd = "x" * 41
    with pytest.raises(
        GraftError, match=f"in the encoding '{odd[1:]}', in which it cannot be read"
    ):
        decode(f"<?xml version='1.0' encoding='{odd}'?><a/>".encode())


def test_a_document_type_is_refused_and_so_is_what_is_not_well_formed() -> None:
    check(b"<a/>", "a.xml")
    with pytest.raises(
        GraftError, match=r"^The part 'a\.xml' of the file declares a document type"
    ):
        check(b"<!DOCTYPE a><a/>", "a.xml")
    with pytest.raises(GraftError, match=r"^The part 'a\.xml' of the file is damaged; open the"):
        check(b"<a>", "a.xml")


def test_edits_touch_nothing_but_their_places() -> None:
    head = "<?xml version='1.0' encoding='ascii'?>\n"
    text = "<a  x = '1' y=\"2\"><b/><c>t</c><d z='1'/></a><!-- e -->"
    document = Document((head + text).encode(), "a.xml")
    b, c, d = document.root.children
    assert (document.inside(b), document.inside(c)) == ("", "t")
    document.insert_ordered("<last/>", ("e", "f"))
    document.insert_ordered("<new/>", ("d", "c"))
    document.set_attribute(document.root, "x", 'ü"')
    document.set_attribute(document.root, "none", "9")
    document.append(b, "<in/>")
    document.append(c, "<in/>")
    document.remove(d)
    assert document.encoded().decode() == (
        f'{head}<a  x = \'&#252;"\' y="2"><b><in/></b><new/><c>t<in/></c><last/></a><!-- e -->'
    )


def test_what_is_put_in_where_something_goes_takes_its_place() -> None:
    document = Document(b"<a><b/></a>", "a.xml")
    (b,) = document.root.children
    document.remove(b)
    document.replace(b.start, b.start, "<c/>")
    assert document.encoded() == b"<a><c/></a>"
