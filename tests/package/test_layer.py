"""One layer for reading and placing: a book is opened once, and what was seen is not looked for."""

from __future__ import annotations

import io
import struct
import zipfile
from pathlib import Path

import pytest

from siltbook.batch.graft import GraftError, graft
from siltbook.batch.job import review_bytes
from siltbook.batch.package.formats import Asked
from siltbook.batch.package.limits import MAX_BOOK_TEXT, MAX_TAGS, BeyondMeasureError
from siltbook.batch.package.opened import open_package
from siltbook.batch.package.parts import Parts
from siltbook.batch.package.spans import Node
from siltbook.batch.reading.book import read_book
from tests.graft.packs import NAMES, results

SAMPLES = Path(__file__).resolve().parents[2] / "sample_workbooks"
BOOK = SAMPLES / "twelve-stations.xlsx"


def with_rows(book: bytes, part: str, old: bytes, new: bytes) -> bytes:
    """The book with a piece of one part replaced."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as source, zipfile.ZipFile(made, "w") as target:
        for info in source.infolist():
            data = source.read(info)
            if info.filename == part:
                assert old in data
                data = data.replace(old, new, 1)
            target.writestr(info.filename, data, zipfile.ZIP_DEFLATED)
    return made.getvalue()


def test_a_book_is_opened_once(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[bytes] = []
    plain = zipfile.ZipFile.__init__

    def counting(self: zipfile.ZipFile, file: object, *more: object, **named: object) -> None:
        if isinstance(file, io.BytesIO) and (not more or more[0] == "r"):
            opened.append(file.getvalue())
        plain(self, file, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(zipfile.ZipFile, "__init__", counting)
    data = BOOK.read_bytes()
    review_bytes(data, str(BOOK), BOOK.name)
    assert opened.count(data) == 1


@pytest.mark.parametrize("name", ["twelve-stations", "real-life-psi", "mixed-units"])
def test_the_formats_that_reading_saw_are_those_that_a_look_finds(name: str) -> None:
    package = open_package((SAMPLES / f"{name}.xlsx").read_bytes(), name)
    read_book(package, name)
    assert len(package.archive.asked) >= 3
    for part, seen in package.archive.asked.items():
        found = Asked()
        found.look_into(Parts(package.archive.data).read(part))
        assert seen == found


def test_formats_of_blank_rows_that_were_left_out_are_asked_for_all_the_same() -> None:
    rows = b"".join(b'<row r="%d" s="7" customFormat="1"/>' % n for n in range(3_000, 60_000))
    data = BOOK.read_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        part = max(parts.infolist(), key=lambda info: info.file_size).filename
    package = open_package(with_rows(data, part, b"</sheetData>", rows + b"</sheetData>"), "b.xlsx")
    read_book(package, "b.xlsx")
    assert 7 in package.archive.asked[part].cellXfs


def test_relations_that_were_set_are_the_new_ones() -> None:
    package = open_package(BOOK.read_bytes(), BOOK.name)
    parts = Parts(package)
    before = parts.relations("xl/workbook.xml")
    assert [r.id for r in before] == [r.id for r in package.relations("xl/workbook.xml")]
    one = b'<Relationships><Relationship Id="a" Type="t/x" Target="y.xml"/></Relationships>'
    parts.put("xl/_rels/workbook.xml.rels", one)
    assert [(r.id, r.kind, r.target) for r in parts.relations("xl/workbook.xml")] == [
        ("a", "x", "xl/y.xml")
    ]
    assert package.relations("xl/workbook.xml") == before


def test_a_part_that_stands_twice_is_read_and_refused_where_sheets_are_placed() -> None:
    made = io.BytesIO(BOOK.read_bytes())
    with zipfile.ZipFile(made, "a") as target, pytest.warns(UserWarning, match="Duplicate name"):
        target.writestr("docProps/app.xml", "<Properties/>")
    package = open_package(made.getvalue(), BOOK.name)
    assert read_book(package, BOOK.name).book.stations.frame.size
    with pytest.raises(GraftError, match=r"holds the part 'docProps/app.xml' twice"):
        graft(package, results(), list(NAMES))


def test_relations_that_cannot_be_parsed_name_their_part() -> None:
    data = with_rows(BOOK.read_bytes(), "xl/_rels/workbook.xml.rels", b"<Relationships", b"<Rel")
    with pytest.raises(GraftError, match=r"The part 'xl/_rels/workbook.xml.rels' of the file is"):
        graft(data, results(), list(NAMES))


@pytest.mark.parametrize(
    ("said", "read"), [("0", 0), ("4294967295", 4294967295), ("12345678901", 7), ("-1", 7), ("", 7)]
)
def test_a_number_of_the_format_is_one_of_at_most_32_bits(said: str, read: int) -> None:
    assert Node("xf", {"numFmtId": said}, 0, 0).number("numFmtId", 7) == read


def test_a_part_keeps_the_day_and_time_that_the_archive_gives_it() -> None:
    stamp = (2021, 11, 29, 23, 58, 42)
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr(zipfile.ZipInfo("a.txt", stamp), b"a")
        archive.writestr(zipfile.ZipInfo("b.txt", stamp), b"b")
    package = Parts(made.getvalue())
    package.put("b.txt", b"changed")
    data = package.save()
    with zipfile.ZipFile(io.BytesIO(data)) as saved:
        assert saved.getinfo("a.txt").date_time == stamp
    # One archive of two parts, on the first of its one disk.
    assert struct.unpack("<4s4H", data[-22:-10]) == (b"PK\x05\x06", 0, 0, 2, 2)


def test_the_most_that_a_book_may_hold_is_taken_and_no_more() -> None:
    package = open_package(BOOK.read_bytes(), BOOK.name)
    package.spend(MAX_TAGS)
    package.spend_text(MAX_BOOK_TEXT)
    with pytest.raises(BeyondMeasureError, match="holds more cells than any season's workbook"):
        package.spend(1)
    with pytest.raises(BeyondMeasureError, match="holds more text than any season's workbook"):
        package.spend_text(1)
    package.anew().spend(MAX_TAGS)
