"""Long tables: rows made from a swatch, one for each value, and nothing else of the sheet moved."""

from __future__ import annotations

import dataclasses
import datetime as dt
from functools import partial
from xml.etree import ElementTree

import pytest

from siltbook.batch.model import Reading
from siltbook.batch.sheets import workings
from siltbook.batch.sheets.actions import MOST_LISTED, calm_lines
from siltbook.batch.sheets.alike import kind_of, linked
from siltbook.batch.sheets.links import Source, fixed_of, source_of
from siltbook.batch.sheets.rows import (
    READ,
    ROW,
    SLOT,
    LongTable,
    Value,
    fill,
    filled,
    line,
    pattern,
)
from siltbook.batch.tables.workings import workings as columns_of
from siltbook.templates.shown import shown_in
from tests.sheets.example import build

HEAD = (
    '<worksheet><dimension ref="A1:E9"/><sheetData><row r="1"><c r="A1" s="7"/></row>'
    '<row r="2"><c r="A2" s="1"/><c r="B2" s="2"/><c r="C2" s="3"/></row>'
    '<row r="9"><c r="A9" s="4"/></row></sheetData>'
    '<mergeCells count="1"><mergeCell ref="A1:B1"/></mergeCells></worksheet>'
)


def _make(first: int, count: int, styles: list[str]) -> list[str]:
    return [line(n, styles[:2], [f"n{n}", n]) for n in range(first, first + count)]


def _filled(*tables: LongTable) -> ElementTree.Element:
    return ElementTree.fromstring(b"".join(filled(HEAD.encode(), "B", tables)))


def test_a_line_has_a_cell_for_every_kind_of_value() -> None:
    values: list[Value] = ["a & <b>", 1.5, None, "", float("nan"), ("A1*2", 3.0), " x"]
    row = ElementTree.fromstring(line(4, list("1234567"), values, 17.0))
    assert row.attrib == {"r": "4", "ht": "17.25", "customHeight": "1"}
    cells = list(row)
    assert [c.get("r") for c in cells] == ["A4", "B4", "C4", "D4", "E4", "F4", "G4"]
    assert [c.get("s") for c in cells] == list("1234567")
    assert ["".join(c.itertext()) for c in cells] == [
        "a & <b>", "1.5", "", "", "", "A1*23.0", " x",
    ]  # fmt: skip
    assert cells[0].get("t") == cells[6].get("t") == "inlineStr"
    assert cells[6][0][0].attrib  # the space in front is kept


def test_a_pattern_gives_the_same_row_as_a_line() -> None:
    values: list[Value] = ["5 % {0}", ("100%", 2.5), None, (f"S!B{READ}*A{ROW}", SLOT), SLOT]
    made = pattern(list("12345"), values)
    shown: list[Value] = ["5 % {0}", ("100%", 2.5), None, ("S!B7*A31", 0.1), 4]
    again: list[Value] = ["5 % {0}", ("100%", 2.5), None, ("S!B9*A44", 0.5), 6]
    assert [*fill(made, [31, 44], [7, 9], [(0.1, 0.5), (4, 6)])] == [
        line(31, list("12345"), shown), line(44, list("12345"), again),
    ]  # fmt: skip


@pytest.mark.parametrize("shown", ["m", "psi"])
def test_every_kind_of_reading_has_the_row_that_its_values_give(shown: str) -> None:
    whole, unit = build(), shown_in(shown)
    table = whole.book.readings
    inlet, outlet, alone = (source_of(table, key) for key in ("inlet", "outlet", "drop"))
    sources = (inlet, outlet, Source("Readings!F", dict.fromkeys(range(1_000), 12.5)), alone)
    styles = [str(i) for i in range(columns_of(unit).last + 1)]
    changes: list[dict[str, object]] = [
        {}, {"time": None}, {"time": dt.time(6, 45)}, {"u_drop": None, "p_over": None},
        {"u_drop": float("nan")}, {"flow": 1234.5}, {"flow": 12.5},
        {"flow": None}, {"why_unusable": "no flow"},
        {"inlet": None, "drop": None}, {"inlet": 99.0}, {"outlet": 0.0},
    ]  # fmt: skip
    kinds = set()
    for result in whole.stations:
        fixed = fixed_of(whole, result.history, result.station)
        odd: list[Reading] = [
            dataclasses.replace(reading, **change)  # type: ignore[arg-type]
            for reading in result.history.readings
            for change in changes
        ]
        said = [
            line(n, styles, workings._both(n, workings._values(n, fixed, sources, one), unit))
            for n, one in enumerate(odd, 5)
        ]
        assert workings._of_gauge(5, styles, fixed, sources, odd, unit) == said
        kinds |= {kind_of(fixed, one) for one in linked(fixed, sources, odd)}
    assert None in kinds
    assert len(kinds) > 8


def test_a_number_is_linked_only_where_its_cell_holds_the_value_that_was_used() -> None:
    raw: dict[int, object] = {2: 3.0, 3: 3.0, 4: "3", 5: True, 7: 4.0, 8: 3.0}
    used = [30.0, 31.0, 30.0, 10.0, 30.0, None, 30.00000001]
    rows = [2, 3, 4, 5, 6, 7, 8]
    assert Source("S!B", raw).numbers(rows, 10.0, used) == [3.0, *[None] * 5, 3.0]
    assert Source("", raw).numbers(rows, 10.0, used) == [None] * 7


def test_rows_take_the_place_of_the_swatch() -> None:
    sheet = _filled(LongTable(2, 3, partial(_make, 2, 3)))
    rows = sheet.findall("sheetData/row")
    assert [row.get("r") for row in rows] == ["1", "2", "3", "4", "9"]
    assert [[c.get("s") for c in row] for row in rows[1:4]] == [["1", "2"]] * 3
    # The swatch reached to column C, the table does not.
    assert sheet[0].get("ref") == "A1:B9"


def test_two_tables_in_one_sheet_and_their_merged_cells() -> None:
    first = LongTable(2, 2, partial(_make, 2, 2), ("A", "B"))
    second = LongTable(9, 4, partial(_make, 9, 4))
    sheet = _filled(first, second)
    rows = sheet.findall("sheetData/row")
    assert [row.get("r") for row in rows] == ["1", "2", "3", "9", "10", "11", "12"]
    assert sheet[0].get("ref") == "A1:B12"
    merged = sheet.find("mergeCells")
    assert merged is not None
    assert merged.get("count") == "3"
    assert sorted(str(m.get("ref")) for m in merged) == ["A1:B1", "A2:B2", "A3:B3"]


def test_a_swatch_that_is_not_there_is_no_table() -> None:
    with pytest.raises(ValueError, match="row 5 is not in the sheet"):
        _filled(LongTable(5, 1, partial(_make, 5, 1)))


def test_names_beyond_a_row_are_counted_not_cut() -> None:
    calm = [r for r in build().stations if r.verdict == "in-range"]
    assert calm_lines(tuple(calm)) == ["✓ In range (1): " + calm[0].station.name]
    (said,) = calm_lines(tuple(calm * 2_000))
    shown, _, rest = said.partition(" and ")
    names = shown.split(": ")[1].split(", ")
    assert set(names) == {calm[0].station.name}
    assert rest == f"{2_000 - len(names):,} more, all on Station review"
    assert MOST_LISTED - 50 < len(shown) < MOST_LISTED + 50
