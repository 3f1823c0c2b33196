"""How dates are shown is read from the Farm sheet, and changes nothing of how dates are read."""

from __future__ import annotations

import datetime as dt
from io import BytesIO

import openpyxl
import pytest

from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.days import ISO, WAYS, way
from tests.reading.books import NAME, clean_sheets, workbook


def read(value: object, visit: object = None) -> ReadResult:
    sheets = clean_sheets()
    sheets["Farm"].append(["Show dates as", value])
    if visit is not None:
        sheets["Readings"][1][1] = visit
    return read_book(workbook(sheets), NAME)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        *((choice, choice) for choice in WAYS),
        (None, ""),
        ("dd/mm/yyyy", "30/08/2026"),
        ("D/M/Y", "30/08/2026"),
        (" MM/DD/YYYY ", "08/30/2026"),
        ("yyyy-mm-dd", ISO),
    ],
)
def test_each_way_is_known_by_its_example_and_by_its_letters(typed: str, meant: str) -> None:
    found = read(typed)
    assert found.book.settings.show_dates == meant
    assert found.findings == ()
    assert found.book.settings.shown.dates == (meant or ISO)


def test_a_choice_that_became_a_date_is_asked_for_and_never_guessed() -> None:
    found = read(dt.date(2026, 8, 30))
    assert found.book.settings.shown.dates == ISO
    assert [f.message for f in found.findings] == [
        "Farm!B3: not one of the choices: read a date; accepted: 2026-08-30, 30/08/2026,"
        " 08/30/2026, as text: format the cell as text first; until then dates are shown as"
        " 2026-08-30. Pick from the list."
    ]


@pytest.mark.parametrize("choice", WAYS)
def test_a_typed_date_that_can_be_read_two_ways_is_never_settled_by_it(choice: str) -> None:
    found = read(choice, "08/09/2026")
    assert [f.rule for f in found.findings] == ["cell-ambiguous-date"]
    assert len(found.book.readings.frame) == 3  # of four: the row is set aside
    assert read(choice, "09/30/2026").book.readings.frame["date"].iloc[0] == dt.date(2026, 9, 30)


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("choice", WAYS)
def test_a_blank_offers_the_setting_and_its_dates_look_so(choice: str) -> None:
    day = dt.date(2026, 9, 8)
    rows = {
        "Stations": [{"station": "F1"}],
        "Readings": [{"station": "F1", "date": day, "inlet": 3.0, "outlet": 2.8}],
    }
    data = build(BlankOptions(dates=choice), rows)
    found = read_book(data, NAME)
    assert found.book.settings.show_dates == choice
    assert found.book.readings.frame["date"].tolist() == [day]
    book = openpyxl.load_workbook(BytesIO(data))
    row = next(r for r in book["Farm"].iter_rows() if r[0].value == "Show dates as")
    assert (row[1].value, row[1].number_format) == (choice, "@")
    assert book["Readings"]["B2"].number_format == way(choice).cells
    offered = [v.formula1 for v in book["Farm"].data_validations.dataValidation]
    assert '"2026-08-30,30/08/2026,08/30/2026"' in offered
    start = " ".join(str(c.value) for r in book["Start here"].iter_rows() for c in r)
    assert f"({way(choice).order}); typed as 2026-05-31" in start or choice == ISO


def test_a_blank_in_an_unknown_way_is_refused() -> None:
    with pytest.raises(ValueError, match=r"'30.08.2026': use one of 2026-08-30, 30/08/2026,"):
        build(BlankOptions(dates="30.08.2026"))
