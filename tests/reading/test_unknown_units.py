"""A unit that is not known: no number is made of what stands in it, and the book says so."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.job import assess_bytes
from siltbook.batch.model import Verdict
from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.templates.contract import READINGS
from tests.reading.books import NAME, Rows, clean_sheets, reading, workbook

DAY = dt.date(2026, 5, 1)
VISIT: list[object] = ["F1", DAY, None, 3.0, 2.5, 40, 1.5]


def headers(**renamed: str) -> list[str]:
    return [renamed.get(c.key, c.header) for c in READINGS.columns]


def sheets(farm: Rows | None = None, unit: str | None = None) -> dict[str, Rows]:
    """One reading each of F1 and F2, F1 with this unit in the register."""
    made = clean_sheets()
    head = made["Stations"][0]
    row: list[object] = ["F1", "North", "screen", 130, 40, 0.8, *[None] * (len(head) - 6)]
    row[head.index("Gauge full scale")], row[head.index("Pressure unit")] = 6, unit
    made["Stations"] = [head, row, ["F2", "South", "disc"]]
    made["Work done"] = made["Work done"][:1]
    made["Readings"] = [made["Readings"][0], VISIT, ["F2", *VISIT[1:]]]
    made["Farm"] = [["Farm name", "Invented farm"], *(farm or [["Pressure unit", "bar"]])]
    return made


def read(made: dict[str, Rows]) -> ReadResult:
    return read_book(workbook(made), NAME)


def messages(result: ReadResult) -> list[str]:
    return [f.message for f in result.findings]


def test_a_stations_unknown_unit_leaves_its_pressures_unread() -> None:
    """It was named because it differs from the farm's, so the farm's cannot stand in."""
    made = sheets(unit="MPa")
    result = read(made)
    first, second = result.book.readings.frame[["inlet", "outlet", "field"]].isna().all(axis=1)
    assert (first, second) == (True, False)
    assert result.book.stations.frame["full_scale"].isna().all()
    assert messages(result) == [
        "Stations!N2: not one of the choices: read 'MPa'; accepted: bar, kPa, psi, m, kgf/cm2; "
        "until then the station's pressures are not used. Pick from the list."
    ]
    assessed = assess_bytes(workbook(made), NAME)
    verdicts = {r.station.name: r.verdict for r in assessed.stations}
    assert verdicts["F1"] is Verdict.RE_READ
    assert verdicts["F2"] is not Verdict.RE_READ
    said = [f.message for f in assessed.findings]
    assert [m for m in said if "MPa" in m] == messages(result)
    assert not [m for m in said if "required cell is empty" in m]


def test_a_cells_own_unit_is_read_all_the_same() -> None:
    made = sheets(unit="MPa")
    made["Readings"][1] = ["F1", DAY, None, "3 bar", "2.5 bar"]
    frame = read(made).book.readings.frame
    assert frame["inlet"].tolist() == pytest.approx([30.59, 30.59], abs=0.01)


def test_the_farms_unknown_pressure_unit_leaves_pressures_unread() -> None:
    result = read(sheets([["Pressure unit", "atm"]], unit="psi"))
    frame = result.book.readings.frame
    assert frame["inlet"].notna().tolist() == [True, False]
    assert messages(result) == [
        "Farm!B2: not one of the choices: read 'atm'; accepted: bar, kPa, psi, m, kgf/cm2; until "
        "then no pressure is used that has no unit of its own. Pick from the list."
    ]


def test_the_farms_unknown_flow_unit_leaves_flows_unread() -> None:
    result = read(sheets([["Flow unit", "l/h"]]))
    assert result.book.readings.frame["flow"].isna().all()
    assert result.book.stations.frame["reference_flow"].isna().all()
    assert result.book.readings.frame["inlet"].notna().all()
    (message,) = messages(result)
    assert "until then no flow is used that has no unit of its own. Pick" in message


def test_a_settings_unknown_unit_in_its_label_keeps_the_usual_value() -> None:
    result = read(sheets([["Drop limit (MPa)", 0.05]]))
    assert result.book.settings.drop_limit == 5.0
    (message,) = messages(result)
    assert message.startswith("Farm!B2: unit not known: read 'MPa'; accepted: bar, kPa, psi, m")
    assert "until then 5 m is used" in message


def test_an_optional_column_in_an_unknown_unit_is_not_read() -> None:
    result = reading(VISIT, headers=headers(flow="Flow (L/h)", field="Field pressure [mbar]"))
    frame = result.book.readings.frame
    assert frame["flow"].isna().all()
    assert frame["field"].isna().all()
    assert messages(result) == [
        "Readings!F1: unit not known: read 'Flow (L/h)', so the column was not read; accepted: "
        "m3/h, L/s, L/min, gpm. Write one of the units listed.",
        "Readings!G1: unit not known: read 'Field pressure [mbar]', so the column was not read; "
        "accepted: bar, kPa, psi, m, kgf/cm2. Write one of the units listed.",
    ]


def test_a_required_column_in_an_unknown_unit_is_one_clear_sentence() -> None:
    with pytest.raises(BookError) as refused:
        reading(VISIT, headers=headers(inlet="Inlet pressure (MPa)"))
    assert str(refused.value) == (
        "invented.xlsx, sheet Readings, cell D1: read 'Inlet pressure (MPa)', a unit that is not "
        "known; accepted: bar, kPa, psi, m, kgf/cm2. Write one of these, and the readings in it."
    )


def test_a_bracket_that_is_no_unit_is_help_as_before() -> None:
    result = reading(VISIT, headers=headers(inlet="Inlet pressure (read first)"))
    assert result.book.readings.frame["inlet"].notna().all()
    assert messages(result) == []
