"""What a finding refuses decides nothing: neither a verdict nor a number."""

from __future__ import annotations

import datetime as dt
import warnings
from dataclasses import replace
from io import BytesIO

import openpyxl
import pytest

from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment
from siltbook.templates.contract import FARM, READINGS, STATIONS, WORK, Kind, Sheet
from tests.reading.books import Rows, clean_sheets, workbook

DAY = dt.date(2026, 5, 1)
NUMERIC = (Kind.PRESSURE, Kind.METRES, Kind.FLOW, Kind.NUMBER)


def row(sheet: Sheet, **values: object) -> list[object]:
    return [values.get(column.key) for column in sheet.columns]


def farm(
    register: dict[str, object] | None = None,
    settings: Rows | None = None,
    readings: list[dict[str, object]] | None = None,
    work: list[dict[str, object]] | None = None,
) -> bytes:
    """One station F1 with drops of 1.02 m and 3.06 m at 40 m3/h, all else as given."""
    sheets = clean_sheets()
    sheets["Farm"] = [*sheets["Farm"], *(settings or [])]
    sheets["Stations"] = [sheets["Stations"][0], row(STATIONS, station="F1", **(register or {}))]
    visits = [
        {"date": DAY, "inlet": 3.0, "outlet": 2.9, "flow": 40},
        {"date": DAY + dt.timedelta(days=6), "inlet": 3.0, "outlet": 2.7, "flow": 40},
    ]
    sheets["Readings"] = [
        sheets["Readings"][0],
        *(row(READINGS, station="F1", **visit) for visit in readings or visits),
    ]
    sheets["Work done"] = [
        sheets["Work done"][0], *(row(WORK, station="F1", **done) for done in work or []),
    ]  # fmt: skip
    return workbook(sheets)


def judged(**given: object) -> Assessment:
    return assess_bytes(farm(**given), "farm.xlsx")  # type: ignore[arg-type]


def refusals(assessment: Assessment) -> list[str]:
    rules = ("value-out-of-bounds", "pressure-negative", "pressure-beyond-gauge")
    return [f.message for f in assessment.findings if f.rule in rules]


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("limit", [0, -3, 0.05, 61])
def test_a_stations_own_limit_that_cannot_be_gives_way_to_the_farms(limit: float) -> None:
    assessment = judged(register={"drop_limit": limit}, settings=[["Drop limit", 4, "m"]])
    (result,) = assessment.stations
    assert result.station.limit == 4.0
    assert "within the limit of 4 m (0.39 bar)" in result.judgement.reason
    assert outcome(assessment) == outcome(judged(settings=[["Drop limit", 4, "m"]]))
    assert refusals(assessment) == [
        f"Stations!G2: value outside what is possible: read {limit} m; accepted: drop limit from "
        "0.1 to 60 m; until then the farm's limit of 4 m (0.39 bar) is used. Check the value "
        "and its unit."
    ]


def test_a_stations_own_limit_that_is_no_number_gives_way_too() -> None:
    assessment = judged(register={"drop_limit": "five"}, settings=[["Drop limit", 4, "m"]])
    assert assessment.stations[0].station.limit == 4.0
    assert [f.message for f in assessment.findings] == [
        "Stations!G2: not a number: read 'five'; accepted: a number in m; until then the farm's "
        "limit is used. Type the number again."
    ]


def test_a_farms_limit_that_cannot_be_gives_way_to_the_usual_one() -> None:
    assessment = judged(settings=[["Drop limit", 0, "m"]])
    assert [r.station.limit for r in assessment.stations] == [5.0]
    (message,) = refusals(assessment)
    assert "Farm!B3: " in message
    assert "0.1 to 60 m; until then 5 m is used" in message


def limit_in_workings(limit: float, unit: str) -> object:
    """What the first reading's row says, where the sheet Farm has this limit."""
    book = farm(settings=[["Drop limit", limit, unit]])
    review = review_bytes(book, "farm.xlsx", "farm.xlsx")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        sheet = openpyxl.load_workbook(BytesIO(review.package))["Workings"]
    column = next(cell.column for cell in sheet[4] if cell.value == "Limit (m)")
    return sheet.cell(5, column).value


def test_a_limit_that_was_refused_is_not_linked_in_workings() -> None:
    """Recalculated, the link would judge by the very number that was refused."""
    assert limit_in_workings(0, "m") == 5.0
    in_bar = str(limit_in_workings(0.5, "bar"))
    assert in_bar.startswith("=IF(ISNUMBER('Farm'!B3),'Farm'!B3*10.19716")
    assert limit_in_workings(4, "m") == "=IF(ISNUMBER('Farm'!B3),'Farm'!B3,4.0)"


def outcome(assessment: Assessment) -> tuple[object, ...]:
    """All that is worked out for the station, but the words that say what was refused.

    Where a rule was refused, *Watch* stands in place of *In range* (`test_rules_not_read.py`).
    """
    (result,) = assessment.stations
    station = replace(result.station, refused=(), not_read=())
    history = replace(result.history, station=station)
    verdict = Verdict.WATCH if result.verdict is Verdict.IN_RANGE else result.verdict
    told = verdict, result.judgement.rows, result.judgement.episodes
    return history, told, result.outlook, result.days_over, assessment.bill


def said(assessment: Assessment) -> str:
    """The station's sentence."""
    return assessment.stations[0].judgement.reason


REGISTER = [c for c in STATIONS.columns if c.kind in NUMERIC]
GAUGE = {"gauges": "two gauges", "full_scale": 6, "gauge_class": 1.6, "division": 0.1}
KNOWN = GAUGE | {"reference_flow": 40, "clean_drop": 1, "flush_flow": 5, "emitter_exponent": 0.5}


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("column", REGISTER, ids=lambda c: c.key)
@pytest.mark.parametrize("beyond", [False, True])
def test_a_refused_number_of_the_register_counts_as_empty(column: object, beyond: bool) -> None:
    assert isinstance(column, type(STATIONS.columns[0]))
    if beyond and column.high is None:
        refused: float = 0 if column.positive else -1
    else:
        refused = column.high + 1 if beyond and column.high is not None else -1
    others = {key: value for key, value in KNOWN.items() if key != column.key}
    work: list[dict[str, object]] = [
        {"date": DAY, "work": "flush", "cycles": 3, "click": "yes", "water": "yes"}
    ]
    wrong = judged(register={**others, column.key: refused}, work=work)
    empty = judged(register=others, work=work)
    assert outcome(wrong) == outcome(empty)
    assert said(wrong).startswith(said(empty)), "what is refused is said behind the rest"
    (message,) = refusals(wrong)
    assert message.startswith(f"Stations!{chr(65 + STATIONS.columns.index(column))}2: ")
    assert "; until then " in message
    assert refusals(empty) == []


@pytest.mark.parametrize(("key", "refused"), [("cycles", -1), ("cycles", 200), ("flush_inlet", -1)])
def test_a_refused_number_of_a_flush_counts_as_empty(key: str, refused: float) -> None:
    visits: list[dict[str, object]] = [{"date": DAY, "inlet": 3.0, "outlet": 2.0}]
    flush: dict[str, object] = {
        "date": DAY, "work": "flush", "cycles": 3, "click": "yes", "water": "yes",
    }  # fmt: skip
    wrong = judged(readings=visits, work=[flush | {key: refused}])
    empty = judged(readings=visits, work=[flush | {key: None}])
    assert outcome(wrong) == outcome(empty)
    (message,) = refusals(wrong)
    assert "; until then the cell counts as empty" in message


@pytest.mark.parametrize("refused", [-1, 9])
def test_a_refused_field_pressure_sends_nobody_into_the_field(refused: float) -> None:
    register = {"wanted_field": 1.5, "full_scale": 6}
    visit: dict[str, object] = {"date": DAY, "inlet": 3.0, "outlet": 2.8, "field": refused}
    assessment = judged(register=register, readings=[visit])
    assert assessment.stations[0].verdict is Verdict.IN_RANGE
    (message,) = refusals(assessment)
    assert "Readings!G2: " in message


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("column", [c for c in FARM.columns if c.kind in NUMERIC])
def test_a_refused_setting_leaves_the_usual_one(column: object) -> None:
    assert isinstance(column, type(FARM.columns[0]))
    wrong = judged(settings=[[column.header, -1, column.unit]])
    assert outcome(wrong) == outcome(judged())
    assert len(refusals(wrong)) == 1
