"""Column by column: required cells, choices, types and bounds."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from decimal import Decimal

import pandas as pd
import pytest

from siltbook.checks import schemas
from siltbook.checks.fitness import check_book
from siltbook.checks.schemas import failures
from siltbook.templates.book import Table
from siltbook.templates.contract import LISTS, READINGS, STATIONS, Sheet
from tests.checks.builders import book, job, reading
from tests.checks.helpers import found, messages


def test_clean_book_has_no_findings() -> None:
    readings = [reading(1), reading(2, 3.1), reading(3, 2.9, 2.5, flow=18, field=2.1)]
    clean = book(readings, work=[job(4)], agreed=[{"station": "North 1", "action": "Flush"}])
    assert check_book(clean, None) == ()


def test_empty_book_has_no_findings() -> None:
    assert check_book(book([], stations=[]), None) == ()
    assert check_book(book([], stations=[]), dt.date(2026, 5, 1)) == ()


def test_required_cell_empty() -> None:
    assert messages(book([reading(1, None)]), "cell-missing") == [
        "Readings!D2: required cell is empty: read nothing; accepted: inlet pressure as a "
        "number in bar. Fill the cell or delete the row."
    ]


def test_both_pressures_empty_are_one_sentence() -> None:
    assert messages(book([reading(1, None, None), reading(2, None)]), "cell-missing") == [
        "Readings!D2: required cell is empty: read nothing in D2 and E2; accepted: inlet pressure"
        " as a number in bar and outlet pressure as a number in bar. Fill the cell or delete the"
        " row.",
        "Readings!D3: required cell is empty: read nothing; accepted: inlet pressure as a number in"
        " bar. Fill the cell or delete the row.",
    ]


def test_required_date_and_work_empty() -> None:
    faulty = book([reading() | {"date": None}], work=[job() | {"work": None}])
    first, second = messages(faulty, "cell-missing")
    assert "Readings!B2: " in first
    assert "accepted: date as a date, for example 2026-05-31" in first
    assert "Work done!D2: " in second
    assert "accepted: flush, hand cleaning, solenoid replaced" in second


def test_cell_that_the_reader_refused_is_not_reported_as_empty() -> None:
    assert messages(book([reading(1, "about 3")]), "cell-missing") == []


def test_absent_column_is_not_reported_cell_by_cell() -> None:
    plain = book([reading(1, None), reading(2, None)])
    places = {key: at for key, at in plain.readings.places.items() if key != "inlet"}
    without = dataclasses.replace(plain.readings, places=places)
    assert messages(dataclasses.replace(plain, readings=without), "cell-missing") == []


def test_optional_cells_may_be_empty() -> None:
    assert messages(book([reading(flow=None, field=None, occasion=None)]), "cell-missing") == []


def test_choice_not_on_the_list() -> None:
    assert messages(book([reading(occasion="sometimes")]), "cell-not-choice") == [
        'Readings!H2: not one of the choices: read "sometimes"; accepted: routine, after flush, '
        "after cleaning. Pick from the list."
    ]


def test_bounds_name_value_unit_and_range() -> None:
    register = [{"station": "North 1", "grade": 7000}]
    assert messages(book(stations=register), "value-out-of-bounds") == [
        "Stations!D2: value outside what is possible: read 7000 µm; accepted: filtration grade "
        "from 1 to 5000 µm; until then the cell counts as empty. Check the value and its unit."
    ]


@pytest.mark.parametrize("grade", [1, 5000])
def test_value_on_the_bound_is_accepted(grade: float) -> None:
    register = [{"station": "North 1", "grade": grade}]
    assert messages(book(stations=register), "value-out-of-bounds") == []


def test_setting_out_of_bounds_points_to_its_cell() -> None:
    assert messages(book(drop_limit=80.0), "value-out-of-bounds") == [
        "Farm!B5: value outside what is possible: read 80 m; accepted: drop limit from 0.1 to "
        "60 m. Check the value and its unit."
    ]
    fine = book(drop_limit=60.0, watch_share=1.0, efficiency=None)
    assert messages(fine, "value-out-of-bounds") == []


def test_negative_pressure_of_a_reading_has_its_own_rule() -> None:
    faulty = book([reading(1, 3.0, -0.2)], pressure_unit="bar")
    assert messages(faulty, "pressure-negative") == [
        "Readings!E2: negative pressure: read -0.2 bar; accepted: outlet pressure 0 or more. "
        "Check the sign and the gauge."
    ]
    assert messages(faulty, "value-out-of-bounds") == []
    assert messages(book([reading(1, 0.0, 0.0)]), "pressure-negative") == []


def test_negative_pressure_elsewhere_is_out_of_bounds() -> None:
    faulty = book(work=[job(flush_inlet=-1)])
    (message,) = messages(faulty, "value-out-of-bounds")
    assert "Work done!F2: " in message
    assert "read -1 bar; accepted: lowest inlet in flush 0 or more" in message


def test_value_is_shown_in_the_stations_own_unit() -> None:
    register = [{"station": "North 1", "unit": "psi"}]
    (message,) = messages(book([reading(1, -5, None)], stations=register), "pressure-negative")
    assert "read -5 psi;" in message


def test_value_is_shown_in_the_unit_that_its_header_named() -> None:
    plain = book([reading(1, -5, -5, flow=0)])
    plain.readings.frame["inlet"] *= 0.01  # the reader took the column as kPa
    inlet, outlet = messages(plain, "pressure-negative")
    assert "read -5 kPa;" in inlet
    assert "read -5 bar;" in outlet
    assert "read 0 m3/h;" in messages(plain, "flow-not-positive")[0]


def test_canonical_value_is_shown_where_nothing_was_kept() -> None:
    plain = book([reading(1, -1.0)])
    bare = dataclasses.replace(plain.readings, raw={})
    (message,) = messages(dataclasses.replace(plain, readings=bare), "pressure-negative")
    assert "read -10.197 m;" in message


def test_text_that_slipped_into_a_number_column_is_found_without_library_words() -> None:
    plain = book([reading(1), reading(2)])
    plain.readings.frame["flow"] = plain.readings.frame["flow"].astype("object")
    plain.readings.frame.loc[3, "flow"] = "lots"
    assert messages(plain, "cell-not-number") == [
        'Readings!F3: not a number: read "lots"; accepted: flow as a number in m3/h. '
        "Type the number again."
    ]
    assert len(check_book(plain, None)) == 1


def test_text_in_date_and_time_columns() -> None:
    plain = book([reading(1, date="soon", time="early")])
    assert 'read "soon"; accepted: date as a date' in messages(plain, "cell-not-date")[0]
    assert 'read "early"; accepted: time as a time' in messages(plain, "cell-not-time")[0]


def test_every_fault_is_reported_at_once() -> None:
    table = book([reading(1, None, -1, occasion="x"), reading(2, -2, None)]).readings
    assert sorted(failures(READINGS, table)) == [
        ("cell-missing", "inlet", 2),
        ("cell-missing", "outlet", 3),
        ("cell-not-choice", "occasion", 2),
        ("pressure-negative", "inlet", 3),
        ("pressure-negative", "outlet", 2),
    ]


def test_validation_cannot_be_switched_off_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    from pandera.config import config_context

    table = book(stations=[{"station": None}]).stations
    with config_context(validation_enabled=False):
        assert failures(STATIONS, table) == [("cell-missing", "station", 2)]


def test_data_are_never_changed() -> None:
    faulty = book([reading(1, -1), reading(1, -1, station="north  1")], work=[job()])
    tables = (faulty.stations, faulty.readings, faulty.work, faulty.agreed)
    before = [table.frame.copy(deep=True) for table in tables]
    check_book(faulty, None)
    for table, frame in zip(tables, before, strict=True):
        assert table.frame.equals(frame)
        assert list(table.frame.columns) == list(frame.columns)


def test_findings_come_in_the_order_of_sheets_and_rows() -> None:
    faulty = book(
        [reading(1, -1), reading(2, -1)], stations=[{"station": "North 1", "grade": 0}],
        work=[job(cycles=-1)], drop_limit=99.0,
    )  # fmt: skip
    cells = [(one.sheet, one.cell) for one in check_book(faulty, None) if "bounds" in one.rule]
    assert cells == [("Farm", "B5"), ("Stations", "D2"), ("Work done", "E2")]


@pytest.mark.parametrize("sheet", LISTS, ids=lambda sheet: sheet.name)
def test_required_columns_of_the_contract_are_required_by_the_schema(sheet) -> None:  # type: ignore[no-untyped-def]
    from siltbook.checks.schemas import schema

    required = {key for key, column in schema(sheet).columns.items() if not column.nullable}
    assert required == {column.key for column in sheet.columns if column.required}


def test_station_is_carried_as_the_register_spells_it() -> None:
    (one,) = found(book([reading(1, -1, None, station="NORTH 1")]), "pressure-negative")
    assert one.station == "North 1"


ODD = [
    None, math.nan, -1.0, 0.0, 1e12, math.inf, True, "x", "yes", "flush", 5, dt.time(7, 30),
    dt.date(2026, 5, 1), dt.datetime(2026, 5, 1, 7, 30), Decimal("0.5"), (1, 2),
]  # fmt: skip


@pytest.mark.at_length(keep=("Readings", "Gauges"))
@pytest.mark.parametrize("sheet", LISTS, ids=lambda sheet: sheet.name)
def test_no_column_passes_as_sound_in_which_the_schema_finds_a_fault(
    sheet: Sheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_key = {column.key: column for column in sheet.columns}
    passed = set()
    for value in ODD:
        odd = {key: pd.Series([value] * 2, [2, 3], dtype="object") for key in by_key}
        for frame in (pd.DataFrame(odd), pd.DataFrame(odd).infer_objects()):
            typed = Table(sheet.name, 1, {}, frame).values
            sound = [key for key in by_key if schemas._sound(sheet, by_key[key], typed[key])]
            passed.update(sound)
            with monkeypatch.context() as whole:
                whole.setattr(schemas, "_sound", lambda *_: False)
                table = Table(sheet.name, 1, {}, frame[sound])
                assert failures(sheet, table) == [], value
    assert passed == set(by_key)
