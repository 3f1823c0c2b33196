"""A station's own flow exponent from the filled workbook to every place that uses it."""

from __future__ import annotations

import datetime as dt
import math
import warnings
from functools import cache
from io import BytesIO

import openpyxl
import pytest

from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.report.book import station_json
from siltbook.batch.results import StationResult
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.units import cubic_metres_per_hour_per
from tests.office import Shared, cells, needs_office

DAY = dt.date(2026, 4, 6)
FLOWS = (24.0, 30.0, 36.0, 42.0, 48.0, 27.0, 45.0, 33.0, 39.0, 25.0)
EXPONENT = 1.3
UNITS = ("m3/h", "gpm")
Rows = list[dict[str, object]]


def farm(flow_unit: str = "m3/h") -> bytes:
    """One station cleaned every ten days, with flows; a second one with two gauges and none."""
    per = cubic_metres_per_hour_per(flow_unit)
    gauge: dict[str, object] = {"full_scale": 40, "gauge_class": 0.6, "division": 0.02}
    stations: Rows = [
        {"station": "Own", "reference_flow": 40.0 / per, "clean_drop": 2.0,
         "gauges": "one gauge", **gauge},
        {"station": "Two", "clean_drop": 2.0, "gauges": "two gauges", **gauge},
    ]  # fmt: skip
    readings: Rows = []
    work: Rows = []
    for i, flow in enumerate(FLOWS):
        day = DAY + dt.timedelta(days=10 * i)
        work.append({"station": "Own", "date": day, "time": dt.time(8), "work": "hand cleaning"})
        for after, level in ((1, 2.0), (8, 3.5)):
            drop = round(level * (flow / 40.0) ** EXPONENT, 2)
            readings.append(
                {"station": "Own", "date": day + dt.timedelta(days=after), "inlet": 30.0,
                 "outlet": 30.0 - drop, "flow": flow / per}
            )  # fmt: skip
        readings.append({"station": "Two", "date": day, "inlet": 30.0, "outlet": 27.0 - 0.1 * i})
    rows = {"Stations": stations, "Readings": readings, "Work done": work}
    return build(BlankOptions(pressure_unit="m", flow_unit=flow_unit), rows)


@cache
def reviewed(flow_unit: str) -> bytes:
    return review_bytes(farm(flow_unit), "book", "book.xlsx").package


def own(data: bytes) -> StationResult:
    return next(r for r in assess_bytes(data, "book").stations if r.station.name == "Own")


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("unit", ["m3/h", "L/s", "gpm"])
def test_the_exponent_is_found_and_reported_whatever_the_flow_unit(unit: str) -> None:
    found = station_json(own(farm(unit)))["flow_exponent"]
    assert found["n"] == pytest.approx(EXPONENT, abs=0.02)
    assert found["low"] < EXPONENT < found["high"]
    assert (found["readings"], found["why_default"]) == (10, None)
    assert (found["flow_low"], found["flow_high"]) == pytest.approx((24.0, 48.0))


def test_runs_and_workings_use_it() -> None:
    data = farm()
    result = own(data)
    assert result.outlook is not None
    for run in result.outlook.runs:
        assert run.drops == pytest.approx((2.0, 3.5), abs=0.06)  # with 2: 1.4 to 2.9 and more
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        package = BytesIO(reviewed("m3/h"))
        sheet = openpyxl.load_workbook(package, data_only=True)["Workings"]
    kept = {sheet.cell(row, 1).value: row for row in range(sheet.max_row, 4, -1)}
    first = kept["Own"]
    n, corrected = sheet[f"W{first}"].value, sheet[f"X{first}"].value
    assert n == result.history.exponent
    assert corrected == pytest.approx(result.outlook.runs[0].drops[0], rel=1e-9)
    # Without a flow the drop stands as read, and there is no exponent to show.
    two = kept["Two"]
    assert [sheet[f"{c}{two}"].value for c in "TUVW"] == [None] * 4
    assert sheet[f"X{two}"].value == pytest.approx(3.0)
    assert sheet[f"Z{two}"].value == pytest.approx(1.0)


@pytest.mark.at_length  # test_sample_farm.py recalculates many-flows.xlsx
@needs_office
@pytest.mark.parametrize("unit", UNITS)
def test_libreoffice_finds_the_same_drops_uncertainties_and_probabilities(
    unit: str, office: Shared
) -> None:
    book = reviewed(unit)
    again = dict(zip(UNITS, office.resaved(*map(reviewed, UNITS), recalculate=True), strict=True))
    ours, theirs = (cells(data, "Workings", values=True) for data in (book, again[unit]))
    compared = dict.fromkeys("NOTVXYZ", 0)
    for cell, formula in cells(book, "Workings", values=False).items():
        column, row = cell.rstrip("0123456789"), int(cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
        if column in compared and row >= 5 and str(formula).startswith("="):
            compared[column] += 1
            assert math.isclose(theirs[cell], ours[cell], rel_tol=1e-9, abs_tol=1e-12), cell
    # Twenty readings of the one station, with a flow, and ten of the other.
    assert compared == {"N": 30, "O": 30, "T": 20, "V": 20, "X": 30, "Y": 30, "Z": 30}
