"""What placing does to one part, asked of small texts: our sheets, the book's list, its names."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import pytest

from siltbook.batch.graft.opening import _retitle, deselect, list_titles, open_at
from siltbook.batch.graft.place import _Graft, _highest, _next_number
from siltbook.batch.graft.sheets import (
    Renumbering,
    carries_mark,
    rewrite_sheet,
    rewrite_table,
    shared_strings,
    strict_part,
)
from siltbook.batch.graft.styles import (
    StyleMap,
    _merge_differential,
    _NumberFormats,
    _Pool,
    merge_styles,
)
from siltbook.batch.graft.workbook import DefinedName, Target, sheet_xml, write_names
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.relations import relations_part
from siltbook.batch.package.spans import Document
from siltbook.templates.contract import RESULT_MARK
from tests.graft.packs import packed

STRINGS = (b"<t>x</t>", b"<t/>", b"<r><t>z</t></r>")
OURS = Renumbering(StyleMap((0, 15, 27), (4, 9)), STRINGS, {"T": "T_2"})


def test_every_shared_text_of_ours_is_found_in_its_order() -> None:
    data = b"<sst><si><t>x</t></si><si/><si><r><t>z</t></r></si></sst>"
    assert shared_strings(data) == STRINGS


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ('<c r="A1" s="1" t="s"><v>2</v></c>',
         '<c r="A1" s="15" t="inlineStr"><is><r><t>z</t></r></is></c>'),
        ('<c r="AB12" t="s"><v>1</v></c>', '<c r="AB12" t="inlineStr"><is><t/></is></c>'),
        ('<c r="A1" s="2"><v>2</v></c>', '<c r="A1" s="27"><v>2</v></c>'),
        ('<row r="1" s="1" x="2">', '<row r="1" s="15" x="2">'),
        ('<col min="1" style="2"/>', '<col min="1" style="27"/>'),
        ('<c r="A1" s="1" cm="1"><v>1</v></c>', '<c r="A1" s="15"><v>1</v></c>'),
        ('<c r="A1" cm="1"><v>1</v></c>', '<c r="A1"><v>1</v></c>'),
        ('<cfRule type="x" dxfId="1" y="0">', '<cfRule type="x" dxfId="9" y="0">'),
        ('<sortCondition dxfId="0"/>', '<sortCondition dxfId="4"/>'),
        ('<f>T[Drop]*2</f>', '<f>T_2[Drop]*2</f>'),
        ('<formula1 a="b">t[x]</formula1>', '<formula1 a="b">T_2[x]</formula1>'),
        ('<f>XT[x]+T+a.T[x]+!T[x]+\'T[x]</f>', '<f>XT[x]+T+a.T[x]+!T[x]+\'T[x]</f>'),
        ('<v>T[x]</v>', '<v>T[x]</v>'),
    ],
)  # fmt: skip
def test_a_sheet_of_ours_asks_for_the_formats_texts_and_tables_of_the_book(
    ours: str, theirs: str
) -> None:
    assert rewrite_sheet(ours.encode(), OURS, opens=False) == theirs.encode()
    plain = Renumbering(OURS.styles, OURS.strings, {})
    if "T_2" in theirs:
        assert rewrite_sheet(ours.encode(), plain, opens=False) == ours.encode()


def test_only_the_sheet_on_which_the_book_opens_stays_selected() -> None:
    view = b'<sheetView showGridLines="0" tabSelected="1" x="2"/><sheetView tabSelected="1"/>'
    assert rewrite_sheet(view, OURS, opens=True) == view
    let_go = b'<sheetView showGridLines="0" x="2"/><sheetView/>'
    assert rewrite_sheet(view, OURS, opens=False) == let_go


def test_a_table_of_ours_gets_its_number_name_formats_and_formulas() -> None:
    table = (
        '<table xmlns="m" id="1" name="T" displayName="T" dataDxfId="1"><a headerRowDxfId="0"/>'
        "<calculatedColumnFormula>T[x]</calculatedColumnFormula>"
        "<totalsRowFormula>2*T[y]</totalsRowFormula><b name='T'/></table>"
    )
    assert rewrite_table(table, 7, "T & 2", OURS) == (
        '<table xmlns="m" id="7" name="T &amp; 2" displayName="T &amp; 2" dataDxfId="9">'
        '<a headerRowDxfId="4"/><calculatedColumnFormula>T_2[x]</calculatedColumnFormula>'
        "<totalsRowFormula>2*T_2[y]</totalsRowFormula><b name='T'/></table>"
    )


LOOSE = b'="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
STRICT = b'="http://purl.oclc.org/ooxml/spreadsheetml/main"'


@pytest.mark.parametrize(
    ("tag", "length", "whole"),
    [
        (b"<worksheet", 40_000, True), (b"<worksheet", 40_001, False),
        (b"<worksheet", 80_000, False), (b"<chart", 80_000, True), (b"<worksheet", 4_100, True),
    ],
)  # fmt: skip
def test_a_long_sheet_is_made_strict_at_its_head_alone(
    tag: bytes, length: int, whole: bool
) -> None:
    head = tag + b" xmlns" + LOOSE
    head += b" " * (3_999 - len(head)) + "ü".encode()  # cut in two where the head ends
    data = head + b" " * (length - len(head) - len(LOOSE)) + LOOSE
    assert len(data) == length
    made = data.replace(LOOSE, STRICT) if whole else data.replace(LOOSE, STRICT, 1)
    assert strict_part(data) == made


def sheet(*rows: str, end: str = "</sheetData></worksheet>") -> bytes:
    return f'<worksheet xmlns="m"><sheetData>{"".join(rows)}{end}'.encode()


def row(at: str, text: str = RESULT_MARK, kind: str = "inlineStr") -> str:
    value = f"<v>{text}</v>" if kind == "s" else f"<is><t>{text}</t></is>"
    return f'<row><c r="{at}" t="{kind}">{value}</c></row>'


@pytest.mark.parametrize(
    ("data", "ours"),
    [
        (sheet(row("A1")), True),
        (sheet(row("A1", "title"), row("A2", f"  {RESULT_MARK}, again")), True),
        (sheet(row("A1", "title"), row("A2", "x"), row("A3")), True),
        (sheet(row("A1", "title"), row("A2", "x"), row("A3", "x"), row("A4")), False),
        (sheet(row("B1")), False),
        (sheet(row("A1", f"Not {RESULT_MARK}")), False),
        (sheet(row("A1", "1", "s")), True),
        (sheet(row("A1", "0", "s")), False),
        (sheet(row("A1", "2", "s")), False),
        (sheet(row("A1", RESULT_MARK, "z")), True),  # a kind that nobody knows holds its text
        (sheet(row("A1", "1", "a")), False),
        (sheet(row("A1", "x", "s")), False),
        (sheet(row("A1"), end=""), False),
        (sheet(), False),
    ],
)  # fmt: skip
def test_a_sheet_is_ours_by_the_mark_in_its_first_three_cells(data: bytes, ours: bool) -> None:
    strings = f'<sst xmlns="m"><si><t>no</t></si><si><r><t>{RESULT_MARK[:3]}</t></r><r><t>'
    strings += f"{RESULT_MARK[3:]}</t></r></si><si><t>no</t></si></sst>"
    assert carries_mark(data, strings.encode(), "s.xml") is ours
    assert carries_mark(data, None, "s.xml") is (ours and b't="s"' not in data)


def test_a_sheet_is_not_read_behind_its_third_row_to_find_the_mark() -> None:
    long = sheet(row("A1", "a"), row("A2", "b"), row("A3"), end=" " * 200_000 + "<")
    assert carries_mark(long, None, "s.xml")


def book(text: str) -> Any:
    """The workbook part alone."""
    document = Document(text.encode(), "w.xml")
    return SimpleNamespace(document=document, sheets=document.root.child("sheets"))


@pytest.mark.parametrize(
    ("views", "place", "made"),
    [
        ("<bookViews><workbookView/></bookViews>", 2,
         '<bookViews><workbookView activeTab="2"/></bookViews>'),
        ("<bookViews><workbookView/></bookViews>", 0, "<bookViews><workbookView/></bookViews>"),
        ('<bookViews><workbookView a="1" activeTab="7"/><workbookView firstSheet="3"/></bookViews>',
         2,
         '<bookViews><workbookView a="1" activeTab="2"/><workbookView activeTab="2"'
         ' firstSheet="0"/></bookViews>'),
        ("<bookViews/>", 2, '<bookViews><workbookView activeTab="2"/></bookViews>'),
        ("<bookViews/>", 0, "<bookViews/>"),
        ("", 1, '<bookViews><workbookView activeTab="1"/></bookViews>'),
        ("", 0, ""),
    ],
)  # fmt: skip
def test_every_window_of_the_book_opens_on_ours(views: str, place: int, made: str) -> None:
    for prefix in ("", "x:"):
        text = '<workbook xmlns:x="m"><workbookPr/>{}<sheets/></workbook>'
        before, after = (
            re.sub(r"<(/?)(\w)", rf"<\1{prefix}\2", text.format(part)) for part in (views, made)
        )
        one = book(before)
        open_at(one, place)
        assert one.document.encoded().decode() == after


TITLES = (
    "<Properties><HeadingPairs><vector><lpstr>Blätter</lpstr><{tag}>{many}</{tag}><lpstr>N</lpstr>"
    '<{tag}>1</{tag}></vector></HeadingPairs><TitlesOfParts><vector size="{size}">{titles}</vector>'
    "</TitlesOfParts></Properties>"
)


def titles(many: str, *names: str, tag: str = "i4") -> Document:
    listed = "".join(f"<s>{name}</s>" for name in names)
    text = TITLES.format(tag=tag, many=many, size=len(names), titles=listed)
    return Document(text.encode(), "app.xml")


@pytest.mark.parametrize("tag", ["i4", "int"])
@pytest.mark.parametrize(("many", "kept"), [("2", ("Name",)), (" 3 ", ()), ("1", ("Old", "Name"))])
def test_the_list_of_sheets_in_the_properties_is_ours_and_the_rest_of_it_stays(
    tag: str, many: str, kept: tuple[str, ...]
) -> None:
    document = titles(many, "Farm", "Old", "Name", tag=tag)
    assert _retitle(document, ["A & B", "C", "D", "E", "F"])
    made = titles("5", "A &amp; B", "C", "D", "E", "F", *kept, tag=tag)
    assert document.encoded() == made.encoded()


@pytest.mark.parametrize("many", ["0", "4", "", "x", "-1", "0000003", "3333333"])
def test_a_list_that_does_not_fit_its_number_is_left_alone(many: str) -> None:
    document = titles(many, "Farm", "Old", "Name")
    before = document.encoded()
    assert not _retitle(document, ["A"])
    assert document.encoded() == before


def test_six_digits_are_a_number_of_sheets() -> None:
    assert _retitle(titles("000003", "Farm", "Old", "Name"), ["A"])


MAIN = "xl/workbook.xml"
TYPE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
NAMESPACE = f'xmlns:r="{TYPE}"'


def rels(*items: tuple[str, str, str]) -> bytes:
    body = "".join(
        f'<Relationship Id="{id_}" Type="t/{kind}" Target="{target}"/>'
        for id_, kind, target in items
    )
    return f"<Relationships>{body}</Relationships>".encode()


def small(text: str, parts: dict[str, bytes], *more: tuple[str, str, str]) -> Target:
    """A package with this workbook part; its sheets are worksheets/ID.xml."""
    sheets = [(name, "worksheet", f"worksheets/{name}.xml") for name in parts]
    content = {f"xl/worksheets/{name}.xml": body for name, body in parts.items()}
    top = [("w", "officeDocument", MAIN), *more]
    lists = {relations_part(MAIN): rels(*sheets), relations_part(""): rels(*top)}
    return Target(packed({MAIN: text.encode(), **lists, **content, "app.xml": APP}))


APP = titles("1", "Old").encoded()


def test_no_sheet_stays_selected_and_nothing_else_in_it_changes() -> None:
    text = ' tabSelected="1"'
    view = '<x:sheetView a="1"{0} b="2"/><sheetView{0}/><sheetData><c>&lt;sheetView{1}</c>'
    odd = "<sheetData><sheetView{0}/>"
    shapes = (view, "<sheetView{0}/>", odd)
    for shape in shapes:
        shut = shape if shape is odd else shape.replace("{0}", "")
        for encode in (str.encode, lambda t: ("\ufeff" + t).encode("utf-16-be")):
            if shape is odd and encode is not str.encode:
                continue
            parts = {"a": encode(shape.format(text, text)), "b": encode("<sheetData/>")}
            listed = '<sheet r:id="a"/><sheet r:id="none"/><sheet r:id="b"/>'
            target = small(f"<workbook {NAMESPACE}><sheets>{listed}</sheets></workbook>", parts)
            deselect(target, target.sheets.children)
            assert target.package.read("xl/worksheets/a.xml") == encode(shut.format(text, text))
            assert target.package.read("xl/worksheets/b.xml") == parts["b"]


def test_the_properties_are_found_among_other_parts_that_the_package_names() -> None:
    others = [("a", "aaa", "app2.xml"), ("c", "extended-properties", "gone.xml"),
              ("z", "zzz", "app3.xml"), ("b", "extended-properties", "app.xml")]  # fmt: skip
    target = small("<workbook><sheets/></workbook>", {}, *others)
    target.package.put("app2.xml", APP)
    target.package.put("app3.xml", APP)
    list_titles(target, ["A", "B"])
    made = titles("2", "A", "B").encoded()
    read = [target.package.read(f"app{n}.xml") for n in ("", 2, 3)]
    assert read == [made, APP, APP]


@pytest.mark.parametrize("root", ["notebook", "xworkbook", "Workbook"])
def test_a_main_part_that_is_no_workbook_is_refused(root: str) -> None:
    with pytest.raises(
        GraftError, match=r"^The file is not a workbook: it has no list of sheets\."
    ):
        small(f"<{root}><sheets/></{root}>", {})
    with pytest.raises(
        GraftError, match=r"^The file is not a workbook: it has no list of sheets\."
    ):
        small("<workbook/>", {})


def test_the_prefix_of_relationships_is_that_of_the_innermost_who_declares_it() -> None:
    text = (
        f'<workbook xmlns:rel="{TYPE}" xmlns:no="other"><sheets xmlns:in="{TYPE}">'
        f'<sheet name="A" in:id="1"/><sheet name="b" xmlns:s="{TYPE}" s:id="2"/>'
        "<sheet/></sheets></workbook>"
    )
    target = small(text, {})
    first, second, third = target.sheets.children
    assert target.relation_prefix() == target.relation_prefix(first) == "in"
    assert [target.relation_id(node) for node in (first, second, third)] == ["1", "2", ""]
    assert target.names() == ["A", "b", ""]
    assert list(target.by_name()) == ["a", "b", ""]
    assert target.target(first) is None
    assert small("<workbook><sheets/></workbook>", {}).relation_prefix() == ""


def test_a_new_sheet_in_the_list_declares_what_the_book_does_not() -> None:
    bare = small('<x:workbook xmlns:x="m"><x:sheets/></x:workbook>', {})
    assert sheet_xml(bare, "A&B", 3, "r9", "hidden") == (
        f'<x:sheet xmlns:r="{TYPE}" name="A&amp;B" sheetId="3" state="hidden" r:id="r9"/>'
    )
    strict = small('<workbook xmlns="http://purl.oclc.org/ooxml/x"><sheets/></workbook>', {})
    assert sheet_xml(strict, "A", 3, "r9", "visible") == (
        '<sheet xmlns:r="http://purl.oclc.org/ooxml/officeDocument/relationships" name="A"'
        ' sheetId="3" r:id="r9"/>'
    )
    known = small(f'<workbook xmlns:q="{TYPE}"><sheets/></workbook>', {})
    assert sheet_xml(known, "A", 3, "r9", "") == '<sheet name="A" sheetId="3" q:id="r9"/>'


NAMED = "<workbook><sheets/>{}<calcPr/></workbook>"


def names(*items: tuple[str, str, str]) -> str:
    body = "".join(
        f'<definedName name="{name}"{f" localSheetId={at!r}" if at else ""}>{formula}</definedName>'
        for name, at, formula in items
    ).replace("'", '"')
    return NAMED.format(f"<definedNames>{body}</definedNames>" if items else "")


AREA = DefinedName("Area", 1, (("hidden", "1"),), "A!$B&amp;1")
OWN = DefinedName("Own", None, (), "A!$A$1")


@pytest.mark.parametrize(
    ("theirs", "ours", "places", "ahead", "made", "taken"),
    [
        # Moved back by two places; one that says no place keeps what it says.
        (names(("N", "0", "x"), ("M", "-1", "y"), ("G", "", "z")), [], [0, 1], 2,
         names(("N", "2", "x"), ("M", "-1", "y"), ("G", "", "z")), {"n", "m", "g"}),
        (names(("N", "0", "x"), ("L", "1", "y")), [], [3], 0,
         names(("N", "0", "x"), ("L", "1", "y")), {"n", "l"}),
        # Those of replaced sheets go, the first place as well.
        (names(("N", "0", "x"), ("L", "2", "y")), [], [0, 3], 0,
         names(("L", "2", "y")), {"l"}),
        (names(("N", "1", "x"), ("L", "0", "y")), [], [2], 1,
         names(("L", "1", "y")), {"l"}),
        (names(("N", "0", "x")), [], [0], 0, NAMED.format(""), set()),
        # Ours for the whole book is there already.
        (names(("own", "", "A!$A$1"), ("Z", "", "z")), [OWN], [0], 1,
         names(("Z", "", "z"), ("Own", "", "A!$A$1")), {"z"}),
        (names(("own", "5", "other")), [OWN], [0], 0,
         names(("own", "5", "other"), ("Own", "", "A!$A$1")), {"own"}),
        (NAMED.format(""), [OWN], [0], 1, names(("Own", "", "A!$A$1")), set()),
        (NAMED.format(""), [], [0], 1, NAMED.format(""), set()),
    ],
)  # fmt: skip
def test_defined_names_follow_their_sheets(
    theirs: str, ours: list[DefinedName], places: list[int], ahead: int, made: str, taken: set[str]
) -> None:
    target = small(theirs, {})
    assert write_names(target, ours, places, ahead) == taken
    assert target.document.encoded().decode() == made


def test_a_name_of_ours_says_the_place_of_its_sheet_and_all_that_it_said() -> None:
    target = small(NAMED.format(""), {})
    write_names(target, [AREA], [4, 7], 1)
    assert (
        '<definedName name="Area" localSheetId="7" hidden="1">A!$B&amp;1</definedName>'
        in target.document.encoded().decode()
    )
    text = '<workbook><sheets/><definedNames><definedName name="Area" localSheetId="1" hidden="1">'
    text += "A!$B&amp;1</definedName><definedName/></definedNames></workbook>"
    assert small(text, {}).own_names() == [AREA, DefinedName("", None, (), "")]


@pytest.mark.parametrize("theirs", ["A!$A$0", "A!$A$2"])
def test_a_name_that_means_something_else_is_not_taken(theirs: str) -> None:
    with pytest.raises(GraftError, match="The book already uses the name 'Own' for something else"):
        write_names(small(names(("OWN", "", theirs)), {}), [OWN], [0])


def test_numbers_go_on_behind_the_highest_and_fill_gaps_at_the_end_of_the_range() -> None:
    assert _next_number([]) == 1
    assert _next_number([3, 1]) == 4
    assert _next_number([2_147_483_646]) == 2_147_483_647
    assert _next_number({2_147_483_647}) == 1
    assert _next_number({1, 2, 4, 2_147_483_647}) == 3
    assert _highest(r"rId([0-9]{1,6})", ["rId3", "rId12", "xrId99", "rId1234567", "a"]) == 12
    assert _highest(r"rId([0-9]{1,6})", []) == 0


def related(*ids: str, strict: bool = False) -> tuple[list[str], list[str]]:
    """The ids that two new relationships of a workbook get, and their texts."""
    document = Document(b"<Relationships/>", "r.xml")
    one: Any = SimpleNamespace(
        book=SimpleNamespace(relations=ids, part=MAIN, strict=strict),
        rels=document,
        new_relations=[],
        _relation_numbers=_highest(r"rId([0-9]{1,6})", list(ids)),
    )
    return [_Graft._relate(one, "worksheet", "xl/a/s.xml") for _ in range(2)], one.new_relations


def test_a_new_relationship_of_the_workbook_has_an_id_that_nothing_has() -> None:
    assert related()[0] == ["rId1", "rId2"]
    assert related("rId7", "other")[0] == ["rId8", "rId9"]
    assert related("rId999999", "rId1000000", "rId1000001")[0] == ["rId1000002", "rId1000003"]
    assert (
        related("a")[1][1] == f'<Relationship Id="rId2" Type="{TYPE}/worksheet" Target="a/s.xml"/>'
    )


def free(stem: str, *parts: str, used: set[str] | None = None) -> str:
    one: Any = SimpleNamespace(package=parts)
    return _Graft._free(one, "xl", stem, ".xml", set() if used is None else used)


def test_a_new_part_takes_the_first_name_that_is_free() -> None:
    used: set[str] = set()
    assert free("styles", used=used) == "xl/styles.xml"
    assert free("styles", used=used) == "xl/styles1.xml"
    assert free("sheet", "xl/sheet1.xml", "xl/sheet3.xml") == "xl/sheet2.xml"
    assert free("zebra", "xl/zebra.xml") == "xl/zebra1.xml"
    assert free("a") == "xl/a1.xml"


@pytest.mark.parametrize(
    ("theirs", "ours", "places", "made"),
    [
        (["Farm", "Notes"], ["A", "T"], [0, 1], ["A", "T", "Farm", "Notes"]),
        (["t", "Farm"], ["A", "T"], [0, 1], ["A", "T", "Farm"]),
        (["Farm", "A", "T"], ["A", "T"], [2, 1], ["Farm", "T", "A"]),
        (["Farm"], ["A", "T"], [1, 2], ["Farm", "A", "T"]),
    ],
)
def test_all_sheets_are_named_in_the_order_in_which_they_stand(
    theirs: list[str], ours: list[str], places: list[int], made: list[str]
) -> None:
    one: Any = SimpleNamespace(names=ours, book=SimpleNamespace(names=lambda: theirs))
    assert _Graft._titles(one, places) == made


@pytest.mark.parametrize(
    ("old", "macros", "places", "ahead", "numbers", "order"),
    [
        ({}, False, [0, 1], 2, "8 9", "8 9 7 2"),
        ({}, True, [2, 3], 0, "8 9", "7 2 8 9"),
        ({1: 0}, False, [0, 1], 1, "8", "8 7 2"),
        ({1: 1}, True, [2, 1], 0, "8", "7 2 8"),
        ({0: 1, 1: 0}, False, [1, 0], 0, "", "7 2"),
    ],
)  # fmt: skip
def test_where_our_sheets_stand_in_the_list(
    old: dict[int, int], macros: bool, places: list[int], ahead: int, numbers: str, order: str
) -> None:
    target: Any = small(
        '<workbook><sheets><s sheetId="7"/><s sheetId="2"/></sheets></workbook>', {}
    )
    node = SimpleNamespace(attrs={})
    one: Any = SimpleNamespace(
        book=target, names=["A", "T"], _point=lambda *_: None, _relate=lambda *_: "r",
        results=SimpleNamespace(sheets=SimpleNamespace(children=[node, node])),
    )  # fmt: skip
    if macros:
        target.relations["v"] = SimpleNamespace(kind="vbaProject")
    nodes = {ours: target.sheets.children[at] for ours, at in old.items()}
    parts: Any = [SimpleNamespace(name="a"), SimpleNamespace(name="t")]
    assert _Graft._list_sheets(one, nodes, parts) == (places, ahead)
    text = target.document.encoded().decode()
    assert re.findall(r'sheetId="(\d)"', text) == order.split()
    assert re.findall(r'<sheet [^>]*sheetId="(\d)"', text) == numbers.split()


def test_a_number_format_of_ours_takes_the_first_number_that_programs_leave_free() -> None:
    """Programs keep ids up to 163 for themselves: common practice, no published source at hand."""
    most = 2_147_418_112  # a stray number behind it leaves too little room, and is not counted on
    for listed, first in ((0, 164), (14, 164), (200, 201), (most, most + 1), (most + 1, 164)):
        numbers = _NumberFormats(Document(f'<a><x numFmtId="{listed}"/></a>'.encode(), "s.xml"))
        assert [numbers.id_of(code) for code in ("0.0", "0.00", "0.0")] == [
            str(first), str(first + 1), str(first),
        ]  # fmt: skip


def test_the_number_formats_of_our_rules_are_renumbered_and_built_in_ones_are_not() -> None:
    body = "".join(
        f'<dxf><numFmt numFmtId="{at}" formatCode="{code}"/></dxf>'
        for at, code in ((164, "0.0"), (165, "0.000"), (163, "a"), (14, "b"))
    )
    ours = Document(f"<a><dxfs>{body}<dxf><font/></dxf></dxfs></a>".encode(), "ours.xml")
    theirs = Document(b'<a><x numFmtId="170"/><dxfs><dxf><font/></dxf></dxfs></a>', "s.xml")
    pool = _Pool(theirs, "dxfs")
    assert _merge_differential(ours, pool, _NumberFormats(theirs)) == [1, 2, 3, 4, 0]
    numbers = [re.findall(r'numFmtId="(\d+)"', xml)[0] for xml in pool.added]
    assert numbers == ["171", "172", "163", "14"]


def test_sixty_four_thousand_cell_formats_are_the_most_that_a_book_may_hold() -> None:
    """What spreadsheet programs take, rounded down: common practice, no published source."""
    ours = b'<a><cellXfs><xf/><xf fontId="0"/><xf xfId="0" quotePrefix="1"/></cellXfs></a>'
    theirs = f"<a><cellXfs>{'<xf/>' * 63_999}</cellXfs></a>".encode()
    with pytest.raises(
        GraftError,
        match=r"^The book already holds 63999 cell formats and a workbook can hold 64000; copy its"
        r" sheets into a new book and run again\.$",
    ):
        merge_styles(theirs, ours, "s.xml", Asked())
