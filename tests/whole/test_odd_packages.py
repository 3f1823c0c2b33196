"""Packages with numbers, encodings and ranges that no program writes: mended at their root."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable

import pytest

from siltbook.batch.errors import SiltbookError
from siltbook.batch.job import review_bytes
from siltbook.batch.reading.book import read_book
from tests.lint import lint
from tests.reading.books import clean_sheets, reading, workbook
from tests.review.test_agree import small
from tests.review.test_append import added, edited

HUGE = "9" * 5_000
Edit = Callable[[str], str]
NAMES = (
    '<definedNames><definedName name="mine" localSheetId="{}">Farm!$A$1</definedName>'
    "</definedNames><calcPr"
)
RELATION = '<Relationship Id="rId{}" Type="x" Target="y"/>'
BOOK, STYLES, RELS = "xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels"


def placed(part: str, edit: Edit) -> bytes:
    """The small book with one part edited, and the result sheets in it."""
    data = edited(workbook(clean_sheets()), edit, part)
    return review_bytes(data, "odd.xlsx", "odd.xlsx").package


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(
    ("part", "edit"),
    [
        (BOOK, lambda x: x.replace('sheetId="2"', f'sheetId="{HUGE}"')),
        (BOOK, lambda x: x.replace('sheetId="2"', 'sheetId="4294967295"')),
        (BOOK, lambda x: x.replace("<calcPr", NAMES.format(HUGE))),
        (STYLES, lambda x: x.replace("<cellStyles", f'<x numFmtId="{HUGE}"/><cellStyles')),
        (RELS, lambda x: x.replace("</Rel", f'{RELATION.format(HUGE)}</Rel')),
    ],
    ids=["sheetId", "last sheetId", "localSheetId", "numFmtId", "rId"],
)  # fmt: skip
def test_a_number_of_five_thousand_digits_counts_as_none(part: str, edit: Edit) -> None:
    with zipfile.ZipFile(io.BytesIO(placed(part, edit))) as archive:
        ids = re.findall(r' sheetId="(\d+)"', archive.read(BOOK).decode())
        relations = re.findall(r' Id="(\w+)"', archive.read(RELS).decode())
    assert len(set(ids)) == len(ids)
    assert len(set(relations)) == len(relations)
    assert HUGE not in ids or ids.count(HUGE) == 1
    ours = [i for i in ids if i not in ("1", "2", "3", "4", "5", HUGE, "4294967295")]
    assert all(int(i) < 2**31 for i in ours)


def test_a_table_with_a_number_of_five_thousand_digits_leaves_room_for_ours() -> None:
    target = io.BytesIO()
    import xlsxwriter

    with xlsxwriter.Workbook(target, {"in_memory": True}) as book:
        for name, rows in clean_sheets().items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for column, value in enumerate(row):
                    shown = value.isoformat() if isinstance(value, dt.date) else value
                    sheet.write(number, column, shown)
        book.add_worksheet("mine").add_table("A1:B3")
    table = "xl/tables/table1.xml"
    data = edited(target.getvalue(), lambda x: x.replace(' id="1"', f' id="{HUGE}"', 1), table)
    made = review_bytes(data, "odd.xlsx", "odd.xlsx").package
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        tables = [n for n in archive.namelist() if n.startswith("xl/tables/")]
        ids = [re.search(r'<table [^>]*? id="(\d+)"', archive.read(n).decode()) for n in tables]
    assert sorted(len(i[1]) for i in ids if i)[-1] == 5_000
    assert len({i[1] for i in ids if i}) == len(tables)


@pytest.mark.at_length(usual=8)
@pytest.mark.parametrize("encoding", ["x-nowhere", "utf-7", "punycode", "base64", "ucs-2-odd"])
@pytest.mark.parametrize(
    "part", [BOOK, STYLES, RELS, "[Content_Types].xml", "xl/worksheets/sheet2.xml"]
)
def test_an_encoding_that_does_not_exist_is_one_sentence(encoding: str, part: str) -> None:
    data = edited(
        workbook(clean_sheets()), lambda x: x.replace('encoding="UTF-8"', f'encoding="{encoding}"'),
        part,
    )  # fmt: skip
    try:
        review_bytes(data, "odd.xlsx", "odd.xlsx")
    except SiltbookError as error:
        assert "damaged" in str(error) or "encoding" in str(error)  # noqa: PT017 - both may come
        assert "\n" not in str(error)  # noqa: PT017


@pytest.mark.parametrize("value", [5e-324, 1e-310, 1e308, -5e-324])
def test_a_pressure_at_the_edge_of_numbers_is_judged_or_doubted(value: float) -> None:
    rows: list[list[object]] = [
        ["F1", dt.date(2026, 5, day), None, value if day == 9 else 3.0, 2.0] for day in range(1, 12)
    ]
    assert reading(*rows).book.counts["Readings"].read == 11
    data = workbook({**clean_sheets(), "Readings": [clean_sheets()["Readings"][0], *rows]})
    assert review_bytes(data, "odd.xlsx", "odd.xlsx").assessment.stations


def test_a_merged_range_that_is_none_is_said_and_a_senseless_size_stays() -> None:
    merged = edited(
        small(2), lambda x: x.replace("</sheetData>", '</sheetData><mergeCells count="1">'
                                      '<mergeCell ref="1.5"/></mergeCells>'),
    )  # fmt: skip
    with pytest.raises(SiltbookError, match=r"The sheet Agreed speaks of a cell '1\.5', which is"):
        added(merged)
    size = '<dimension ref="A1:A0"'
    sized = edited(small(2), lambda x: re.sub(r'<dimension ref="[^"]*"', size, x))
    done, numbers = added(sized)
    assert numbers == [6]
    assert len(read_book(done, "small.xlsx").book.agreed.frame) == 3
    assert not [fault for fault in lint(done) if "dimension" not in str(fault)]
