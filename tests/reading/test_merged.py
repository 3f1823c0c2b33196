"""Cells merged over rows: people see the value in every row, so no row is judged without it."""

from __future__ import annotations

import io

import openpyxl
import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.results import StationResult
from tests.whole.verdicts import Row, day, filled, reading

FARM = [{"Pressure unit": "kPa", "Drop limit": 49}]
BOTH = [{"Station": "North 1"}, {"Station": "South"}]


def merged(where: str, register: list[Row], readings: list[Row]) -> tuple[StationResult, list[str]]:
    """South's result, and the messages, where cells of `where` (sheet!range) are merged."""
    data = filled(Farm=FARM, Stations=register, Readings=readings)
    book = openpyxl.load_workbook(io.BytesIO(data))
    sheet, _, ref = where.partition("!")
    book[sheet].merge_cells(ref)
    target = io.BytesIO()
    book.save(target)
    found = assess_bytes(target.getvalue(), "farm.xlsx")
    (south,) = (s for s in found.stations if s.station.name == "South")
    return south, [f.message for f in found.findings if f.rule == "cell-merged"]


def south(*pressures: float, **more: float) -> Row:
    return reading(day(1), *pressures, **more) | {"Station": "South"}


def test_a_limit_merged_over_two_stations_keeps_the_second_from_being_in_range() -> None:
    """It was In range by the farm's limit, under a cell that shows 10 kPa for both."""
    register = [{**BOTH[0], "Drop limit (kPa)": 10}, BOTH[1]]
    found, said = merged("Stations!B2:B3", register, [reading(day(1), 320, 300), south(320, 300)])
    assert str(found.verdict) == "watch"
    assert found.judgement.reason.endswith(
        "Could not be read: Stations row 3, Drop limit nothing, merged with B2: the farm's limit is"
        " used."
    )
    assert said == [
        "Stations!B3: cell merged with the one above: read nothing, merged with B2; accepted: a"
        " number in kPa; until then the farm's limit is used. Unmerge them and fill every row."
    ]


def test_a_unit_merged_over_two_stations_judges_no_reading_of_the_second_in_another() -> None:
    """They were read in the farm's unit, and only their size could tell that they are not."""
    register = [{**BOTH[0], "Pressure unit": "psi"}, BOTH[1]]
    readings = [reading(day(1), 40, 38), south(40, 30)]
    found, said = merged("Stations!B2:B3", register, readings)
    assert str(found.verdict) == "re-read"
    assert "inlet pressure missing or unreadable" in found.judgement.reason
    assert said[0].startswith("Stations!B3: cell merged with the one above: read nothing, merged")


@pytest.mark.parametrize("header", ["Flow", "Field pressure"])
def test_a_flow_merged_over_two_readings_is_asked_for(header: str) -> None:
    register = [{**row, "Wanted field pressure": 100} for row in BOTH]
    readings = [{**reading(day(1), 320, 300), header: 150}, south(320, 300)]
    found, said = merged("Readings!E2:E3", register, readings)
    assert str(found.verdict) == "re-read"
    assert f"has nothing, merged with E2 in '{header}', which cannot be read" in (
        found.judgement.reason
    )
    assert len(said) == 1


def test_a_merge_over_empty_rows_or_a_text_says_nothing_more() -> None:
    readings = [reading(day(1), 320, 300, Remark="windy"), south(320, 300)]
    for where in ("Readings!E2:E3", "Readings!E3:E9", "Readings!A9:C12"):
        found, said = merged(where, [*BOTH], readings)
        assert (str(found.verdict), said) == ("in-range", [])


def test_a_header_merged_over_both_pressures_leaves_a_finding_that_names_the_other() -> None:
    """Every reading was missing its outlet, and nothing said that a column lacks its header."""
    book = openpyxl.load_workbook(io.BytesIO(filled(Readings=[reading(day(1), 3.2, 3.0, Drop="")])))
    book["Readings"].merge_cells("C1:D1")
    target = io.BytesIO()
    book.save(target)
    found = assess_bytes(target.getvalue(), "farm.xlsx")
    (said,) = (f.message for f in found.findings if f.rule == "column-missing")
    assert said == (
        "Readings!A1: column not found: read no header Outlet pressure in row 1; accepted:"
        " 'Outlet pressure', spelt as in the template. Add the header, spelt as in the template."
    )
