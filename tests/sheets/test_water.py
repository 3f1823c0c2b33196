"""The Water review sheet: what a person reads on it, filled in, half filled in and empty."""

from __future__ import annotations

import datetime as dt
import io
import warnings
from dataclasses import replace
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.assess import assess
from siltbook.batch.numbers.water import TABLES, water_review
from siltbook.batch.report.water import grade_json, water_json
from siltbook.batch.sheets.book import result_book
from siltbook.batch.sheets.water import NO_GRADE, NO_TEST, cautions
from siltbook.templates import look
from siltbook.templates.contract import WATER
from siltbook.templates.safety import CHEMICALS, EMERGENCY, MAKER_FIRST, SULPHIDE
from tests.checks.builders import book, reading, table
from tests.sheets.example import whole

DAY = dt.date(2026, 5, 1)


def made(rows: list[dict[str, Any]], **register: Any) -> tuple[Worksheet, Any]:
    """The sheet, and the assessment it shows."""
    given = book([reading(1)], stations=[{"station": "=North & 1", **register}])
    given = replace(given, water=table(WATER, rows, {"": "bar"}))
    assessment = assess(given)
    package = whole(result_book(assessment, {}, "demo.xlsx", "0"))
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".* extension is not supported")
        return openpyxl.load_workbook(io.BytesIO(package))["Water review"], assessment


def column(sheet: Worksheet, letter: str) -> list[object]:
    return [cell.value for cell in sheet[letter] if cell.value is not None]


def test_an_empty_book_says_what_to_fill_in() -> None:
    sheet, assessment = made([])
    assert column(sheet, "A")[2:] == ["The water", NO_TEST, "Filter and emitter", NO_GRADE]
    assert sheet.max_row == 7
    assert water_json(assessment) == []


def test_hazards_are_said_in_words_and_colour() -> None:
    sheet, _ = made(
        [{"date": DAY, "source": "<Well>", "iron": 0.15, "sulphide": 2.5, "bacteria": 10_000}]
    )
    texts = column(sheet, "A")
    assert texts[2] == "The water"
    assert str(texts[3]).startswith(f"Rated by Haman 2017 ({TABLES['Haman 2017'].source}). A value")
    assert texts[4:8] == [EMERGENCY, CHEMICALS, SULPHIDE, MAKER_FIRST]
    rows = {str(r[1].value): r for r in sheet.iter_rows(min_row=10, max_row=16)}
    iron, sulphide = rows["Iron"], rows["Hydrogen sulphide"]
    assert [c.value for c in iron][:6] == [
        "<Well>", "Iron", 0.15, "mg/L", dt.datetime(2026, 5, 1), "✓ low",
    ]  # fmt: skip
    assert [c.value for c in iron][9:] == [
        0.2, 1.5, "by Ayers and Westcot 1985 or Pitts 1990 it would be moderate",
    ]  # fmt: skip
    assert iron[2].hyperlink.location == "'Water tests'!F2"
    assert sulphide[5].value == "▲ severe"
    severe = str(look.FORMATS["hazard severe"]["bg_color"])
    assert sulphide[5].fill.fgColor.rgb == "FF" + severe[1:]
    assert rows["Bacteria"][5].value == "△ moderate"
    assert [c.value for c in rows["Manganese"]][2:9] == [
        None, "mg/L", None, "not tested", None, None, None,
    ]  # fmt: skip


def test_a_bound_is_text_that_no_sum_takes_for_a_value() -> None:
    given = book([reading(1)])
    water = table(WATER, [{"date": DAY, "source": "Well", "iron": 0.05}], {"": "bar"})
    water.raw["iron"][2] = "<0.05"
    assessment = assess(replace(given, water=water))
    package = whole(result_book(assessment, {}, "demo.xlsx", "0"))
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".* extension is not supported")
        sheet = openpyxl.load_workbook(io.BytesIO(package))["Water review"]
    assert "under 0.05" in column(sheet, "C")


@pytest.mark.parametrize(
    ("grade", "passage", "said", "fits"),
    [
        (130.0, 1.4, ["✓ suits", "130 µm, allowed up to 140 µm"], True),
        (150.0, 1.4, ["▲ too coarse", "150 µm, allowed only up to 140 µm"], False),
    ],
)
def test_grades(grade: float, passage: float, said: list[str], fits: bool) -> None:
    sheet, assessment = made([], grade=grade, emitter_passage=passage, filter_type="disc")
    (row,) = (r for r in sheet.iter_rows() if r[0].value == "=North & 1")
    assert row[0].data_type == "s"
    assert [c.value for c in row][1:7] == ["disc", grade, passage, 140, *said]
    station = assessment.stations[0].station
    assert grade_json(station, "one tenth") == {
        "grade_fits": fits, "largest_grade_um": pytest.approx(140.0),
    }  # fmt: skip
    assert grade_json(replace(station, grade=None), "one tenth")["grade_fits"] is None


def test_clean_water_needs_no_caution() -> None:
    rows = [{"date": DAY, "source": "Well", "suspended_solids": 500, "iron": 0.01}]
    given = replace(book(), water=table(WATER, rows, {"": "bar"}))
    assert cautions(water_review(given, None)) == ()


def test_no_dose_is_prescribed() -> None:
    for words in (CHEMICALS, SULPHIDE):
        assert not any(sign.isdigit() for sign in words)
    assert "licensed practice" in CHEMICALS
    assert "never mixed" in CHEMICALS


def test_json_names_the_table_and_what_the_others_say() -> None:
    _, assessment = made([{"date": DAY, "source": "Well", "iron": 0.15}])
    (iron,) = (r for r in water_json(assessment) if r["constituent"] == "Iron")
    assert iron == {
        "source": "Well", "constituent": "Iron", "unit": "mg/L", "value": 0.15, "side": "",
        "tested_on": "2026-05-01", "hazard": "low", "worst_value": 0.15, "worst_side": "",
        "worst_tested_on": "2026-05-01", "worst_hazard": "low", "why": "", "table": "Haman 2017",
        "other_tables": "by Ayers and Westcot 1985 or Pitts 1990 it would be moderate",
        "unsure": "",
    }  # fmt: skip
