"""Whatever stands in a cell, whatever happens to a file: a book whose counts add up, or a refusal.

A few seconds in every run; other examples, and more, with
`SILTBOOK_FUZZ=5000 pytest -n 0 tests/reading/test_fuzz.py` (the number of examples for each test).
"""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from xml.sax.saxutils import escape

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.job import review_bytes
from siltbook.batch.reading import oldbook
from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.batch.reading.cells import clean_text
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import FARM, LISTS, STATIONS, Kind, Sheet
from tests.amount import LONG, whole
from tests.reading.books import NAME, OFFICE, clean_sheets, raw_book, raw_sheet, workbook
from tests.reading.test_other_formats import other

EXAMPLES = int(LONG or (24 if whole() else 9))
# The usual run takes the same examples each time: a change never fails for another's reason. It
# does not look for the smallest example of a failure, which takes minutes: the long run does.
FUZZ = settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=not LONG,
    phases=list(Phase) if LONG else [Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)

NEAR = st.text("0123456789.,'-/:+ <>%eEhpambrsixyn\u00a0\u2212µ", max_size=16)
TEXT = st.text(max_size=24) | NEAR | st.sampled_from(["", " ", "=1+1", "yes", "flush", "35 psi"])
NUMBER = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-10, 60_000)
DAYS = st.dates(dt.date(1899, 1, 1), dt.date(2200, 1, 1)).map(str)


def _legal(text: str) -> str:
    """Without what XML cannot hold; the reader gets the rest as it is."""
    held = (c for c in text if c in "\t\n\r" or " " <= c < "\ud800" or "\udfff" < c < "\ufffe")
    return escape("".join(held))


CELL = st.one_of(
    st.just("<c/>"),
    TEXT.map(lambda t: f'<c t="inlineStr"><is><t xml:space="preserve">{_legal(t)}</t></is></c>'),
    TEXT.map(lambda t: f'<c t="str"><f>A1</f><v>{_legal(t)}</v></c>'),
    NUMBER.map(lambda n: f"<c><v>{n!r}</v></c>"),
    NUMBER.map(lambda n: f'<c s="1"><v>{n!r}</v></c>'),
    NUMBER.map(lambda n: f'<c s="2"><v>{n!r}</v></c>'),
    NUMBER.map(lambda n: f"<c><f>A1</f><v>{n!r}</v></c>"),
    DAYS.map(lambda d: f'<c t="d"><v>{d}</v></c>'),
    st.sampled_from(["#DIV/0!", "#N/A", "?"]).map(lambda e: f'<c t="e"><v>{e}</v></c>'),
    st.booleans().map(lambda b: f'<c t="b"><v>{int(b)}</v></c>'),
    st.just("<c><f>A1</f></c>"),
)


def package(sheet: Sheet, rows: list[list[str]]) -> bytes:
    """A book with these cells on one of the contract's list sheets, under all its headers."""
    heads = [f'<c t="inlineStr"><is><t>{escape(c.header)}</t></is></c>' for c in sheet.columns]
    made = raw_sheet(*["<row>" + "".join(cells) + "</row>" for cells in (heads, *rows)])
    part = {"Stations": "sheet1", "Readings": "sheet2"}.get(sheet.name)
    if part:
        return raw_book(made if part == "sheet2" else _readings(), extra=(
            {"xl/worksheets/sheet1.xml": made} if part == "sheet1" else None))  # fmt: skip
    data = raw_book(_readings(), extra={"xl/worksheets/sheet3.xml": made})
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    listed = f'<sheet name="{sheet.name}" sheetId="3" r:id="r3"/></sheets>'
    related = f'<Relationship Id="r3" Type="{OFFICE}/worksheet" Target="worksheets/sheet3.xml"/>'
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace("</sheets>", listed)
    links = "xl/_rels/workbook.xml.rels"
    parts[links] = parts[links].replace("</Relationships>", f"{related}</Relationships>")
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return target.getvalue()


def _readings() -> str:
    heads = ("Station", "Date", "Inlet pressure", "Outlet pressure")
    cells = "".join(f'<c t="inlineStr"><is><t>{h}</t></is></c>' for h in heads)
    return raw_sheet(f"<row>{cells}</row>")


def adds_up(result: ReadResult) -> None:
    for counts in result.book.counts.values():
        assert counts.read == counts.used + counts.set_aside
    assert all(finding.message for finding in result.findings)


ROWS = st.sampled_from(LISTS).flatmap(
    lambda sheet: st.tuples(
        st.just(sheet),
        st.lists(
            st.lists(CELL, min_size=len(sheet.columns), max_size=len(sheet.columns)),
            min_size=1, max_size=4,
        ),
    )
)  # fmt: skip


@FUZZ
@given(ROWS)
def test_any_cell_in_any_column(drawn: tuple[Sheet, list[list[str]]]) -> None:
    sheet, rows = drawn
    result = read_book(package(sheet, rows), NAME)
    adds_up(result)
    filled = [r for r in rows if any("<v>" in c or "<f>" in c or "<t" in c for c in r)]
    assert result.book.counts[sheet.name].read <= len(filled)


@FUZZ
@given(st.lists(CELL, min_size=len(FARM.columns), max_size=len(FARM.columns)))
def test_any_setting(cells: list[str]) -> None:
    rows = [
        f'<row><c t="inlineStr"><is><t>{escape(column.header)}</t></is></c>{cell}</row>'
        for column, cell in zip(FARM.columns, cells, strict=True)
    ]
    made = raw_sheet(*rows)
    data = package(Sheet("Farm", STATIONS.columns), [])
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet3.xml"] = made.encode()
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    result = read_book(target.getvalue(), NAME)
    adds_up(result)
    for column in FARM.columns:
        value = getattr(result.book.settings, column.key)
        if isinstance(value, float) and column.low is not None:
            assert value == value


@FUZZ
@given(st.lists(st.text(min_size=1, max_size=40), min_size=1, max_size=5))
def test_no_text_is_lost(remarks: list[str]) -> None:
    """A remark comes back as typed, but for control characters and blanks at its ends."""
    sheets = clean_sheets()
    heads = ["Station", "Date", "Inlet pressure", "Outlet pressure", "Remark"]
    legal = [_plain(text) for text in remarks]
    day = dt.date(2026, 5, 1)
    sheets["Readings"] = [heads, *[["F1", day, 3, 2, text or None] for text in legal]]
    result = read_book(workbook(sheets), NAME)
    kept = result.book.readings.frame.remark.tolist()
    expected = [clean_text(t).replace("\u00a0", " ").strip() or None for t in legal]
    assert kept == expected


def _plain(text: str) -> str:
    """What a cell's text can be: no character that XML lacks, nothing spelt as an escape."""
    kept = "".join(c for c in text if c == "\n" or c.isprintable())
    return kept.replace("_x", "_ x").replace("<r>", "(r)")


VALUES = {
    Kind.TEXT: TEXT, Kind.NUMBER: st.floats(-10, 1e6), Kind.PRESSURE: st.floats(-2, 400),
    Kind.METRES: st.floats(-1, 100), Kind.FLOW: st.floats(-1, 1e4),
    Kind.DATE: st.dates(dt.date(2026, 1, 1), dt.date(2026, 12, 31)), Kind.TIME: st.times(),
}  # fmt: skip


def _row(sheet: Sheet) -> st.SearchStrategy[dict[str, object]]:
    cells: dict[str, st.SearchStrategy[object]] = {}
    for column in sheet.columns:
        one = st.sampled_from(column.choices) if column.choices else VALUES[column.kind]
        cells[column.key] = one if column.required else st.none() | one
    if sheet.has("station"):
        cells["station"] = st.sampled_from(["F1", "F2", "=f3", "f1 ", "<b>"])
    return st.fixed_dictionaries(cells)


BOOKS = st.fixed_dictionaries({s.name: st.lists(_row(s), max_size=6) for s in LISTS})


@settings(parent=FUZZ, max_examples=max(3 if whole() else 2, EXAMPLES // 8))
@given(BOOKS)
def test_any_filled_book_goes_the_whole_way(rows: dict[str, list[dict[str, object]]]) -> None:
    """Judged and written, whatever the values are; the same again on its own output."""
    clean = {
        name: [{k: _plain(v) if isinstance(v, str) else v for k, v in row.items()} for row in made]
        for name, made in rows.items()
    }
    once = review_bytes(build(BlankOptions(), clean), NAME, NAME)
    assert review_bytes(once.package, NAME, NAME).package == once.package


CLEAN = workbook(clean_sheets())
PLACES = st.lists(st.tuples(st.integers(0, 2**20), st.integers(0, 255)), min_size=1, max_size=8)


def mutated(data: bytes, places: list[tuple[int, int]], cut: int | None) -> bytes:
    made = bytearray(data)
    for place, value in places:
        made[place % len(made)] = value
    return bytes(made[: None if cut is None else cut % len(made)])


def read_or_refuse(data: bytes) -> None:
    try:
        adds_up(read_book(data, NAME))
    except BookError as error:
        assert str(error).startswith(NAME)  # noqa: PT017 - both outcomes are allowed
        assert "\n" not in str(error)  # noqa: PT017


@FUZZ
@given(PLACES, st.none() | st.integers(1, 2**20))
def test_any_change_to_the_bytes_of_a_book(places: list[tuple[int, int]], cut: int | None) -> None:
    read_or_refuse(mutated(CLEAN, places, cut))


with zipfile.ZipFile(io.BytesIO(CLEAN)) as _archive:
    PARTS = {_name: _archive.read(_name) for _name in _archive.namelist()}


@FUZZ
@given(st.sampled_from(sorted(PARTS)), PLACES, st.none() | st.integers(1, 2**20))
def test_any_change_inside_a_part(
    part: str, places: list[tuple[int, int]], cut: int | None
) -> None:
    """Past the checksum, where the XML itself is broken; the graft must refuse it as well."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in PARTS.items():
            archive.writestr(name, mutated(content, places, cut) if name == part else content)
    read_or_refuse(target.getvalue())
    try:
        review_bytes(target.getvalue(), NAME, NAME)
    except SiltbookError as error:
        assert "\n" not in str(error)  # noqa: PT017 - both outcomes are allowed


with zipfile.ZipFile(io.BytesIO(other("ods"))) as _archive:
    CONTENT = _archive.read("content.xml")


@FUZZ
@given(PLACES, st.none() | st.integers(1, 2**20))
def test_any_change_inside_an_opendocument_sheet(
    places: list[tuple[int, int]], cut: int | None
) -> None:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", mutated(CONTENT, places, cut))
    read_or_refuse(target.getvalue())


@FUZZ
@given(PLACES, st.none() | st.integers(4, 2**20))
def test_any_change_to_an_old_book(places: list[tuple[int, int]], cut: int | None) -> None:
    """What the child does; whatever it raises, the parent refuses the book as damaged."""
    data = mutated(other("xls"), places, cut)
    try:
        made, _ = oldbook.convert(data, NAME)
    except Exception as error:  # the parser's errors share no class
        assert not isinstance(error, MemoryError)  # noqa: PT017
    else:
        read_or_refuse(made)
