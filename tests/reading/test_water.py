"""The list of water tests: no stations, units in headers and cells, '<' of laboratories; mesh."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest

from siltbook.batch.reading.book import ReadResult
from siltbook.checks.fitness import check_book
from siltbook.templates.contract import STATIONS, WATER
from tests.reading.books import Rows, reading

HEADERS: list[Any] = [column.header for column in WATER.columns]
DAY = dt.date(2026, 5, 4)


def water(*rows: list[object], headers: list[Any] | None = None) -> ReadResult:
    """A clean book with these water tests."""
    sheet: Rows = [headers or HEADERS, *rows]
    return reading(["F1", DAY, None, 3.0, 2.5], **{"Water tests": sheet})


def one(result: ReadResult, key: str) -> float:
    """The value of the first test."""
    return float(result.book.water.frame[key].iloc[0])


def messages(result: ReadResult) -> list[str]:
    return [f.message for f in (*result.findings, *check_book(result.book, None))]


def test_a_book_without_the_sheet_is_fine() -> None:
    result = reading(["F1", DAY, None, 3.0, 2.5])
    assert messages(result) == []
    assert result.book.water.frame.empty
    assert result.book.counts["Water tests"].read == 0


def test_tests_are_read_and_counted() -> None:
    result = water(
        [DAY, "Well", 30, 7.2, 400, 0.15, 0.05, 0.3, 9000, "invented"], [None, "Well", 30]
    )
    frame = result.book.water.frame
    assert frame["iron"].tolist() == [0.15]
    assert frame["source"].tolist() == ["Well"]
    counts = result.book.counts["Water tests"]
    assert (counts.read, counts.used, counts.set_aside) == (2, 1, 1)
    assert messages(result) == [
        "Water tests!A3: required cell is empty: read nothing; accepted: a date such as"
        " 2026-05-31. Fill the cell or delete the row."
    ]


def test_a_sheet_of_that_name_without_dates_does_not_stop_the_book() -> None:
    result = water(["Well", 7.2], headers=["Where", "pH"])
    assert messages(result) == [
        "Water tests: column not found: read no header Date; accepted: these headers in one of"
        " the first 30 rows. Add the header, spelt as in the template."
    ]
    assert result.book.water.frame.empty


def test_impossible_values_are_named_with_their_cell() -> None:
    found = messages(water([DAY, "Well", -1, 14.1]))
    assert found == [
        "Water tests!C2: value outside what is possible: read -1 mg/L; accepted: suspended solids"
        " from 0 to 100000 mg/L; until then it is not rated. Check the value and its unit.",
        "Water tests!D2: value outside what is possible: read 14.1; accepted: pH from 0 to 14;"
        " until then it is not rated. Check the value and its unit.",
    ]
    assert messages(water([DAY, "Well", 0, 14])) == []


@pytest.mark.parametrize(
    ("header", "typed", "iron"),
    [
        ("Iron (mg/L)", 0.3, 0.3),
        ("Iron", 0.3, 0.3),
        ("Iron [ppm]", 0.3, 0.3),
        ("Iron (µg/L)", 300, 0.3),
        ("Iron (Fe, ug/l)", 300, 0.3),
        ("Iron (total)", 0.3, 0.3),
        ("Iron (µg/L)", "0.3 mg/L", 0.3),
        ("Iron (mg/L)", "300 ppb", 0.3),
        ("Iron (mg/L)", "0,3", 0.3),
    ],
)
def test_units_of_headers_and_cells_are_minded(header: str, typed: object, iron: float) -> None:
    result = water([DAY, typed], headers=["Date", header])
    assert one(result, "iron") == pytest.approx(iron)


def test_bacteria_in_a_hundred_millilitres() -> None:
    assert one(water([DAY, 5e6], headers=["Date", "Bacteria (per 100 mL)"]), "bacteria") == 5e4


def test_a_header_in_another_unit_is_not_read() -> None:
    result = water([DAY, 0.9], headers=["Date", "Dissolved solids (dS/m)"])
    assert math.isnan(one(result, "dissolved_solids"))
    (message,) = messages(result)
    assert message.startswith(
        "Water tests!B1: unit not known: read 'Dissolved solids (dS/m)', so the column was not"
        " read; accepted: mg/l, "
    )


@pytest.mark.parametrize(
    ("header", "typed", "passage"),
    [
        ("Emitter passage (mm)", 1.2, 1.2),
        ("Emitter passage (µm)", 1200, 1.2),
        ("Emitter passage (inch)", 0.05, 1.27),
        ("Emitter passage [mil]", 50, 1.27),
        ("Emitter passage", "1200 µm", 1.2),
    ],
)
def test_units_of_the_passage(header: str, typed: object, passage: float) -> None:
    result = reading(
        ["F1", DAY, None, 3.0, 2.5], Stations=[["Station", header], ["F1", typed], ["F2"]]
    )
    got = result.book.stations.frame["emitter_passage"].tolist()
    assert got[0] == pytest.approx(passage)
    assert math.isnan(got[1])


def test_dates_out_of_the_season_and_after_the_review_are_named() -> None:
    result = reading(
        ["F1", DAY, None, 3.0, 2.5],
        Farm=[["Season", "2026"], ["Review date", DAY]],
        **{"Water tests": [HEADERS, [dt.date(2025, 5, 4)], [DAY], [dt.date(2026, 5, 5)]]},
    )
    said = [(f.rule, f.cell, f.read) for f in check_book(result.book, DAY)]
    assert said == [
        ("date-outside-season", "A2", "2025-05-04"),
        ("date-after-review", "A4", "1 entry (row 4), the first dated 2026-05-05"),
    ]


def test_less_than_is_a_bound_and_is_kept() -> None:
    result = water([DAY, "<0,05"], headers=["Date", "Iron (mg/L)"])
    assert one(result, "iron") == 0.05
    assert result.book.water.raw["iron"] == {2: "<0,05"}
    assert messages(result) == [
        "Water tests!B2: known only as under or over a value: read '<0,05'; accepted: a number;"
        " here it is known only on which side of it the value lies. Nothing to do: it is rated"
        " where that is enough."
    ]
    (refused,) = messages(water([DAY, "<7"], headers=["Date", "pH"]))
    assert "not a number: read '<7'" in refused


def grades(*typed: object, header: str = "Filtration grade (µm)") -> ReadResult:
    names: list[Any] = [c.header if c.key != "grade" else header for c in STATIONS.columns]
    rows: Rows = [[f"F{n}", None, None, grade] for n, grade in enumerate(typed, 1)]
    return reading(["F1", DAY, None, 3.0, 2.5], Stations=[names, *rows])


def test_a_grade_in_mesh_is_understood_and_noted() -> None:
    result = grades("120 mesh", "130 µm", 130)
    assert result.book.stations.frame["grade"].tolist() == [125.0, 130.0, 130.0]
    notes = [f.message for f in result.findings if f.rule == "grade-in-mesh"]
    assert notes == [
        "Stations!D2: grade given in mesh: read '120 mesh'; accepted: micrometres, or a mesh"
        " number from 4 to 635; 120 mesh is 125 µm (ASTM E11; 130 µm in irrigation use). Nothing"
        " to do, unless the element says another opening: then type that."
    ]


def test_a_column_in_mesh_is_understood() -> None:
    result = grades(120, "155 mesh", "130 µm", 2000, header="Filtration grade (mesh)")
    got = result.book.stations.frame["grade"].tolist()
    assert got[:3] == pytest.approx([125.0, 14900 / 155, 130.0])
    assert math.isnan(got[3])
    said = [(f.cell, f.rule, f.message) for f in result.findings]
    assert [(cell, rule) for cell, rule, _ in said] == [
        ("D2", "grade-in-mesh"), ("D3", "grade-in-mesh"), ("D4", "cell-text-number"),
        ("D5", "cell-not-number"),
    ]  # fmt: skip
    assert "155 mesh is about 96 µm (14900 / mesh: not a number of ASTM E11)" in said[1][2]
    assert "read 2000, in a column of mesh numbers" in said[3][2]
