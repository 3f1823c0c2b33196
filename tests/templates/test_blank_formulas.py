"""The calculated columns: LibreOffice must find what Python stored in the cells."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from functools import cache
from io import BytesIO
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siltbook.templates import contract
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.blank_formulas import reading_values, station_values
from siltbook.templates.blank_gauges import MANY
from siltbook.templates.units import metres_per
from tests.amount import whole
from tests.office import Shared, needs_office

STATIONS: list[dict[str, object]] = [
    {"station": "North 1"},
    {"station": "South", "unit": "psi", "drop_limit": 4.0},
    {"station": "A?1", "unit": "kPa"},
    {"station": "A11", "unit": "kg/cm2"},
    {"station": "~*2", "unit": "furlong"},
    {"station": "Text limit", "drop_limit": "five"},
    {},
    {"station": "Metre", "unit": " M "},
    {"station": "North 1", "unit": "kPa"},
    {"station": "No limit", "drop_limit": 0},
    {"station": "High limit", "unit": "m", "drop_limit": 60.1},
]


def reading(station: object, inlet: object, outlet: object) -> dict[str, object]:
    return {"station": station, "date": dt.date(2026, 5, 1), "inlet": inlet, "outlet": outlet}


# reading, drop [m] (rounded) or text, shown
CASES: list[tuple[dict[str, object], float | str | None, str | None]] = [
    (reading("North 1", 3.0, 2.5), 5.0986, "OVER"),
    (reading("north 1 ", 3.0, 2.6), 4.0789, "in range"),
    (reading("South", 40, 34.0), 4.2184, "OVER"),
    (reading("South", 40, 35), 3.5153, "in range"),
    (reading("A?1", 300, 200), 10.1972, "OVER"),
    (reading("A11", 3, 2), 10.0, "OVER"),
    (reading("~*2", 3, 2), "?", "?"),
    (reading("Text limit", 3, 2), 10.1972, "?"),
    (reading("Metre", 25, 20.0), 5.0, "in range"),  # exactly at the limit
    (reading("Metre", 25.0000005, 20.0), 5.0, "in range"),  # within arithmetic noise
    (reading("Metre", 25.000002, 20.0), 5.0, "OVER"),
    (reading("North 1", 0.4903325, 0.0), 5.0, "in range"),  # 5 m in bar
    (reading("No limit", 3.0, 2.6), 4.0789, "in range"),  # the farm's limit stands in
    (reading("High limit", 16, 10), 6.0, "OVER"),
    (reading("Nobody", 3, 2), "?", "?"),
    (reading("North 1", "2,5", 2), "?", "?"),
    (reading("North 1", None, "x"), "?", "?"),
    (reading("North 1", 2, None), None, None),
    (reading("North 1", 2, " "), None, None),
    (reading("North 1", 2.0, 2.5), -5.0986, "?"),
    (reading(None, 3, 2), "?", "?"),
    # the drop alone, in the station's unit; never beside a pressure
    ({**reading("North 1", None, None), "drop": 0.5}, 5.0986, "OVER"),
    ({**reading("South", None, " "), "drop": 6}, 4.2184, "OVER"),
    ({**reading("North 1", 3, None), "drop": 0.5}, None, None),
    ({**reading("North 1", None, "x"), "drop": 0.5}, "?", "?"),
    ({**reading("North 1", None, None), "drop": "0,5 x"}, "?", "?"),
    ({}, None, None),
]
GAUGES: list[dict[str, object]] = [
    {"station": "south ", "since": dt.date(2026, 5, 10), "unit": "kPa"},
    {"station": "South", "since": dt.date(2026, 6, 1), "unit": "bar"},
    {"station": "South", "since": dt.date(2026, 5, 20), "division": 1},  # the unit stays as before
    {"station": "Metre", "since": dt.date(2026, 5, 10), "unit": "bar"},
    {"station": "Metre", "since": dt.date(2026, 5, 10), "unit": "psi"},
    {"unit": "bar"},
]


def on(month: int, day: int, station: str, inlet: float, outlet: float) -> dict[str, object]:
    return reading(station, inlet, outlet) | {"date": dt.date(2026, month, day)}


CASES += [
    (on(5, 9, "South", 40, 34), 4.2184, "OVER"),  # psi, as registered
    (on(5, 10, "South", 280, 230), 5.0986, "OVER"),
    (on(5, 25, "South", 280, 250), 3.0591, "in range"),
    (on(6, 2, "South", 2.8, 2.5), 3.0591, "in range"),
    (on(5, 9, "Metre", 25, 20), 5.0, "in range"),
    (on(5, 11, "Metre", 25, 20), "?", "?"),  # two gauges from one day on
    (on(6, 2, "South", 2.8, 2.5) | {"date": "2 June"}, "?", "?"),
    (on(6, 2, "North 1", 3.0, 2.5), 5.0986, "OVER"),
]
ROWS = [case[0] for case in CASES]


def without_stored_values(content: bytes) -> bytes:
    """The workbook with no formula's value stored, so that they must be calculated anew."""
    target = BytesIO()
    with zipfile.ZipFile(BytesIO(content)) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                part = re.sub(rb"</f><v>[^<]*</v>", b"</f>", part)
            new.writestr(zipfile.ZipInfo(name), part)  # the same bytes whoever makes it
    return target.getvalue()


def computed(content: bytes) -> dict[str, list[tuple[object, object]]]:
    book = openpyxl.load_workbook(BytesIO(content), read_only=True, data_only=True)
    return {
        name: [
            (row[0] or None, row[1] or None)
            for row in book[name].iter_rows(2, 41, first, first + 1, values_only=True)
        ]
        for name, first in (
            (sheet.name, len(sheet.columns) + 1) for sheet in (contract.STATIONS, contract.READINGS)
        )
    }


def filled(
    unit: str = "bar", gauges: list[dict[str, object]] = GAUGES, **settings: object
) -> bytes:
    rows = {"Stations": STATIONS, "Readings": ROWS, "Gauges": gauges}
    return build(BlankOptions(unit), rows, settings)


@pytest.fixture(scope="module")
def stored_readings() -> list[tuple[object, object]]:
    return computed(filled())["Readings"]


@pytest.mark.parametrize("case", range(len(CASES)))
def test_stored_values_are_right(case: int, stored_readings: list[tuple[object, object]]) -> None:
    _, drop, shown = CASES[case]
    found = stored_readings[case]
    expected = drop if drop is None or isinstance(drop, str) else pytest.approx(drop, abs=5e-5)
    assert found == (expected, shown)


def test_stations_use_their_own_unit_and_limit_else_the_farm_s() -> None:
    values = station_values(STATIONS[:4], {"pressure_unit": "kPa", "drop_limit": 6.0})
    assert [limit for _, limit in values] == [6.0, 4.0, 6.0, 6.0]
    # 1 kPa = 1000 / 9806.65 m, 1 psi = 6894.757 / 9806.65 m, 1 kgf/cm2 = 10 m.
    factors = [factor for factor, _ in values]
    assert factors == pytest.approx([0.1019716, 0.7030696, 0.1019716, 10.0], rel=1e-6)


def test_empty_farm_cells_mean_the_defaults() -> None:
    assert station_values([{"station": "A"}], {}) == [(pytest.approx(10.19716), 5.0)]


def test_a_limit_that_cannot_be_gives_way_to_the_farms_and_that_to_the_usual_one() -> None:
    register = [{"station": "A", "drop_limit": 0}, {"station": "B", "drop_limit": 60.1}]
    assert [limit for _, limit in station_values(register, {"drop_limit": 4.5})] == [4.5, 4.5]
    assert [limit for _, limit in station_values(register, {"drop_limit": 0})] == [5.0, 5.0]


@pytest.mark.parametrize(
    "lost",
    [
        {"station": "Sout", "since": dt.date(2026, 5, 10), "unit": "kPa"},
        {"station": "South", "since": "10 May", "unit": "kPa"},
        {"station": "South", "since": dt.date(2026, 5, 10), "unit": "furlong"},
    ],
)
def test_a_change_that_cannot_be_placed_leaves_no_drop(lost: dict[str, object]) -> None:
    rows = [reading("North 1", 3, 2), reading("South", 30, 20)]
    assert reading_values(rows, STATIONS, {}, [lost]) == [("?", "?")] * 2


def test_first_of_two_stations_of_one_name_counts() -> None:
    register = [{"station": "A", "unit": "m"}, {"station": "A", "unit": "bar"}]
    assert reading_values([reading("a", 3, 2)], register, {}) == [(1.0, "in range")]


FARMS: dict[str, dict[str, Any]] = {
    "defaults": {},
    "lost-change": {"gauges": [{"station": "Sout", "since": dt.date(2026, 5, 10), "unit": "kPa"}]},
    "psi": {"pressure_unit": "PSI", "drop_limit": 4.5},
    "no-unit-text-limit": {"pressure_unit": None, "drop_limit": "x"},
    "no-limit": {"drop_limit": -5},
}


def in_psi() -> bytes:
    """A blank that speaks psi: limits and clean drops in it, one station on a gauge in bar."""
    register: list[dict[str, object]] = [
        {"station": "P1"}, {"station": "P2", "drop_limit": 6.5}, {"station": "B", "unit": "bar"},
        {"station": "Low", "drop_limit": 0.01}, {"station": "Text", "drop_limit": "six"},
    ]  # fmt: skip
    readings = [
        reading("P1", 40, 33), reading("P1", 40, 32.9), reading("P2", 40, 33.4),
        reading("B", 3.0, 2.5), reading("B", 3.0, 2.55), reading("Low", 40, 32.9),
        reading("Text", 40, 30), reading("P1", 30, 31),
    ]  # fmt: skip
    options = BlankOptions("psi", "gpm", limits_in="psi")
    return build(options, {"Stations": register, "Readings": readings})


def test_a_blank_in_psi_says_drops_and_limits_in_psi() -> None:
    book = openpyxl.load_workbook(BytesIO(in_psi()), data_only=True)
    headers = [c.value for c in book["Readings"][1]]
    assert headers[-2:] == ["Drop now (psi)", "Against limit"]
    assert [c.value for c in book["Stations"][1]][-1] == "Limit used (psi)"
    found = [row[-2:] for row in book["Readings"].iter_rows(2, 9, values_only=True)]
    near = pytest.approx
    assert found == [
        (near(7), "in range"), (near(7.1), "OVER"), (near(6.6), "OVER"),
        (near(7.2519, abs=1e-4), "OVER"),
        (near(6.5267, abs=1e-4), "in range"), (near(7.1), "OVER"), (near(10), "?"), (near(-1), "?"),
    ]  # fmt: skip


@cache
def book_of(farm: str) -> bytes:
    return filled(**FARMS[farm]) if farm in FARMS else in_psi()


@cache
def bare_books() -> dict[str, bytes]:
    """All that another program is to recalculate, by one start of it."""
    farms = (*FARMS, "in-psi") if whole() else ("in-psi",)
    books = {name: without_stored_values(book_of(name)) for name in farms}
    return books | {"below": without_stored_values(below_the_table())}


def recalculated(farm: str, office: Shared) -> bytes:
    bare = bare_books()
    return dict(zip(bare, office.resaved(*bare.values()), strict=True))[farm]


@pytest.mark.at_length(keep="in-psi")
@needs_office
@pytest.mark.parametrize("farm", [*FARMS, "in-psi"])
def test_libreoffice_recalculates_to_the_stored_values(farm: str, office: Shared) -> None:
    bare = bare_books()
    assert {p for pairs in computed(bare[farm]).values() for p in pairs} == {(None, None)}
    found = computed(recalculated(farm, office))
    for name, stored in computed(book_of(farm)).items():
        for row, (kept, again) in enumerate(zip(stored, found[name], strict=True), 2):
            for one, other in zip(kept, again, strict=True):
                near = pytest.approx(one, abs=1e-9) if isinstance(one, (int, float)) else one
                assert other == near, f"{name} row {row}"


UNITS_TYPED = st.sampled_from([None, "bar", " kPa", "psi", "m"])
GAUGE_ROWS = st.lists(
    st.tuples(st.sampled_from(["North 1", "south ", "Metre"]), st.integers(1, 9), UNITS_TYPED),
    max_size=9,
)


def the_unit_of(station: str, day: int, gauges: list[tuple[str, int, str | None]]) -> str | None:
    """The slow way: the unit of the last change until that day; '?' where two begin on it."""
    own = [
        (since, unit.strip())
        for name, since, unit in gauges
        if unit and name.strip().casefold() == station.casefold() and since <= day
    ]
    last = [unit for since, unit in own if since == max(own)[0]]
    return None if not own else last[0] if len(last) == 1 else "?"


@given(gauges=GAUGE_ROWS, day=st.integers(1, 10))
def test_a_reading_is_in_the_unit_of_the_last_change_until_its_day(
    gauges: list[tuple[str, int, str | None]], day: int
) -> None:
    typed = [
        {"station": name, "since": dt.date(2026, 5, since), "unit": unit}
        for name, since, unit in gauges
    ]
    for station, registered in (("North 1", "bar"), ("South", "psi"), ("Metre", "m")):
        row = reading(station, 9, 4) | {"date": dt.date(2026, 5, day)}
        ((drop, _),) = reading_values([row], STATIONS, {}, typed)
        unit = the_unit_of(station, day, gauges) or registered
        assert drop == ("?" if unit == "?" else pytest.approx(5 * metres_per(unit)))


def test_a_reading_without_a_date_has_no_drop_once_a_gauge_has_changed() -> None:
    undated = reading("North 1", 3, 2) | {"date": None}
    assert reading_values([undated], STATIONS, {}) == [(pytest.approx(10.19716), "OVER")]
    assert reading_values([undated], STATIONS, {}, [GAUGES[0]]) == [("?", "?")]


def test_more_changed_gauges_than_are_laid_out_leave_no_drop() -> None:
    kept = {"station": "South", "since": dt.date(2026, 5, 10), "unit": "bar"}
    rows = [reading("North 1", 3, 2)]
    full = [kept | {"since": dt.date(2026, 1, 1) + dt.timedelta(days=i)} for i in range(MANY)]
    assert reading_values(rows, STATIONS, {}, full) == [(pytest.approx(10.19716), "OVER")]
    assert reading_values(rows, STATIONS, {}, [*full, kept]) == [("?", "?")]


def below_the_table() -> bytes:
    """A change where no formula stands beside it: only in some programs a table grows."""
    book = openpyxl.load_workbook(BytesIO(filled(gauges=[])))
    sheet = book["Gauges"]
    at = sheet.max_row + 5
    sheet.cell(at, 1, "South"), sheet.cell(at, 2, dt.date(2026, 5, 10)), sheet.cell(at, 7, "kPa")
    target = BytesIO()
    book.save(target)
    return target.getvalue()


@needs_office
def test_a_change_typed_below_the_prepared_rows_counts(office: Shared) -> None:
    rows = computed(recalculated("below", office))["Readings"]
    at = CASES.index((on(5, 10, "South", 280, 230), 5.0986, "OVER"))
    assert rows[at] == (pytest.approx(5.0986, abs=5e-5), "OVER")
