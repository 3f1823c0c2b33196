"""The blank workbook: what stands in it, that it never blocks, and that the shipped files match."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from openpyxl.formula.translate import Translator
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.reading.book import read_book
from siltbook.templates import contract
from siltbook.templates.blank import SHIPPED, BlankOptions, build
from siltbook.templates.blank_look import PAIRS
from siltbook.templates.blank_sheets import CAUTIONS, STEPS
from siltbook.templates.book import column_letters
from siltbook.templates.own_unit import rounded
from siltbook.templates.units import metres_per
from tests.lean import all_rows


def opened(content: bytes) -> Workbook:
    return openpyxl.load_workbook(BytesIO(content))


@pytest.fixture(scope="module")
def blank() -> Iterator[Workbook]:
    with pytest.MonkeyPatch.context() as patch:
        all_rows(patch)
        yield opened(build())


def headers(sheet: Worksheet) -> list[object]:
    return [cell.value for cell in sheet[1]]


def test_sheets_stand_in_order_and_only_units_is_hidden(blank: Workbook) -> None:
    names = ["Start here", "Farm", "Stations", "Readings", "Work done", "Agreed", "Water tests"]
    names += ["Gauges", "Carried over", "Units"]
    assert blank.sheetnames == names
    assert [s.title for s in blank if s.sheet_state != "visible"] == ["Units"]


def test_nothing_is_locked(blank: Workbook) -> None:
    assert not any(sheet.protection.sheet for sheet in blank)


@pytest.mark.parametrize("sheet", contract.LISTS, ids=lambda s: s.name)
def test_list_headers_are_the_contract_s(blank: Workbook, sheet: contract.Sheet) -> None:
    expected = [column.header for column in sheet.columns] + list(sheet.computed)
    assert headers(blank[sheet.name]) == expected


@pytest.mark.parametrize(
    ("name", "table", "last"),
    [
        ("Stations", "StationsTable", "Z101"),
        ("Readings", "ReadingsTable", "M2001"),
        ("Work done", "WorkTable", "L501"),
        ("Agreed", "AgreedTable", "F201"),
        ("Water tests", "WaterTable", "J101"),
        ("Gauges", "GaugesTable", "I51"),
        ("Carried over", "CarriedTable", "L51"),
    ],
)
def test_lists_are_tables_that_grow(blank: Workbook, name: str, table: str, last: str) -> None:
    assert blank[name].tables[table].ref == f"A1:{last}"


def test_calculated_columns_grow_with_the_table(blank: Workbook) -> None:
    for name in ("Stations", "Readings"):
        (table,) = blank[name].tables.values()
        sheet = blank[name]
        for column in table.tableColumns[-2:]:
            formula = column.calculatedColumnFormula.attr_text
            at = headers(sheet).index(column.name) + 1
            for row in (2, 3, sheet.max_row):
                moved = Translator(f"={formula}", "A2").translate_formula(f"A{row}")
                assert sheet.cell(row, at).value == moved


@pytest.mark.usefixtures("prepared_rows")
def test_tables_stretch_for_many_rows() -> None:
    rows = [{"station": "A", "date": dt.date(2026, 5, 1), "inlet": 3.0, "outlet": 2.9}] * 1800
    book = opened(build(rows={"Readings": rows}))
    assert book["Readings"].tables["ReadingsTable"].ref == "A1:M2301"


def test_farm_shows_defaults_units_and_help(blank: Workbook) -> None:
    farm = blank["Farm"]
    shown = {row[0]: row[1:4] for row in farm.iter_rows(min_row=2, max_col=4, values_only=True)}
    assert list(shown) == [column.header for column in contract.FARM.columns]
    assert shown["Drop limit"][:2] == (5, "m")
    assert shown["Lowest flush inlet"][:2] == (2, "bar")
    assert shown["Reading interval"][:2] == (7, "days")
    assert shown["Farm name"] == (None, None, "Shown on every result sheet.")


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("unit", contract.PRESSURE_UNITS)
def test_lowest_flush_inlet_stays_two_bar_in_every_unit(unit: str) -> None:
    farm = opened(build(BlankOptions(pressure_unit=unit)))["Farm"]
    assert (farm["B4"].value, farm["B8"].value, farm["C8"].value) == (unit, 2, "bar")


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("unit", contract.PRESSURE_UNITS)
def test_a_blank_speaks_one_unit_and_is_read_back_in_it(unit: str) -> None:
    register: list[dict[str, object]] = [{"station": "A", "clean_drop": 1.5, "drop_limit": 6}]
    if unit == "kPa":
        register[0] |= {"clean_drop": 15, "drop_limit": 60}
    elif unit in ("bar", "kgf/cm2"):
        register[0] |= {"clean_drop": 0.15, "drop_limit": 0.6}
    data = build(BlankOptions(unit, limits_in=unit), {"Stations": register})
    farm, stations = opened(data)["Farm"], opened(data)["Stations"]
    headers = [cell.value for cell in stations[1]]
    assert {f"Clean drop ({unit})", f"Drop limit ({unit})", f"Limit used ({unit})"} < {*headers}
    assert (farm["C6"].value, farm["B6"].value) == (unit, rounded(unit).limit)
    result = read_book(data, "blank.xlsx")
    assert not result.findings
    book, per = result.book, metres_per(unit)
    # A round limit never lies over 5 m, and the flush inlet not under 2 bar by more than 0.05 %.
    assert 4.9 < book.settings.drop_limit <= 5.0 + 1e-9
    assert book.settings.flush_inlet > 0.9995 * 2 * metres_per("bar")
    assert book.settings.shown.unit == unit
    (row,) = book.stations.frame.to_dict("records")
    assert row["clean_drop"] == pytest.approx(float(str(register[0]["clean_drop"])) * per)
    assert row["drop_limit"] == pytest.approx(float(str(register[0]["drop_limit"])) * per)


def test_start_here_says_what_to_do_and_warns_in_a_box_of_its_own(blank: Workbook) -> None:
    sheet = blank["Start here"]
    texts = [cell.value for cell in sheet["B"] if cell.value]
    assert 8 <= len(STEPS) <= 11
    assert [t for t in texts if t in STEPS] == list(STEPS)
    boxed = [c.value for c in sheet["B"] if c.fill.fgColor.rgb == "FFF4DFA8"]
    assert boxed == ["Cautions", *CAUTIONS]
    for word in ("zero on both sides", "flush cycle", "above zero", "battery", "acid and"
                 " chlorine", "protective gear", "Local codes", "maker's manual"):  # fmt: skip
        assert word in " ".join(CAUTIONS)


def test_checks_warn_and_never_block(blank: Workbook) -> None:
    checks = [c for sheet in blank for c in sheet.data_validations.dataValidation]
    assert len(checks) > 50
    assert {c.errorStyle for c in checks if c.type} <= {"warning", "information"}
    for check in checks:
        assert check.promptTitle
        assert len(check.promptTitle) <= 32
        assert 0 < len(check.prompt) <= 255
        assert len(check.error or "") <= 255
        assert len(check.formula1 or "") <= 255


def check_at(sheet: Worksheet, cell: str) -> openpyxl.worksheet.datavalidation.DataValidation:
    (found,) = (c for c in sheet.data_validations.dataValidation if cell in c.sqref)
    return found


def test_stations_are_picked_from_the_register(blank: Workbook) -> None:
    for name in ("Readings", "Work done", "Agreed"):
        check = check_at(blank[name], "A2")
        assert check.type == "list"
        assert check.formula1 == "OFFSET(Stations!$A$1,1,0,Units!$E$2,1)"
        assert "add the station there" in check.error


def test_the_drop_down_reaches_the_last_station_whatever_stands_between() -> None:
    """Also where a row was left empty, and to the end where the register is a very long one."""
    for places, count in (((1, 2, 5), 5), ((), 1), ((1, 401), 4999)):
        rows: list[dict[str, object]] = [{} for _ in range(max([0, *places]))]
        for at in places:
            rows[at - 1] = {"station": f"S{at}"}
        made = build(rows={"Stations": rows})
        book = openpyxl.load_workbook(BytesIO(made), data_only=True)
        assert book["Units"]["E2"].value == count
        assert [r for r in range(2, 502) if book["Units"].cell(r, 4).value] == [
            at + 1 for at in places
        ]


def test_outlet_above_inlet_asks_for_the_selector(blank: Workbook) -> None:
    check = check_at(blank["Readings"], "E2")
    assert check.error.startswith("Outlet is above inlet: selector swapped?")
    assert "$E2<=$D2" in check.formula1


def test_choices_come_from_the_contract(blank: Workbook) -> None:
    check = check_at(blank["Work done"], "D2")
    assert check.formula1 == f'"{",".join(contract.WORKS)}"'
    assert check_at(blank["Farm"], "B4").formula1 == f'"{",".join(contract.PRESSURE_UNITS)}"'


def test_bounds_come_from_the_contract(blank: Workbook) -> None:
    check = check_at(blank["Stations"], "G2")
    assert (float(check.formula1), float(check.formula2)) == (0.1, 60)
    assert check.error == "Drop limit (m): expected a number from 0.1 to 60."


def test_messages_name_the_unit_and_headers_do_not() -> None:
    book = opened(build(BlankOptions("psi", "gpm")))
    prompt = check_at(book["Readings"], "D2").prompt
    assert prompt == (
        "Required. Read first, on the inlet side. In psi, unless the station has a unit of its own."
    )
    assert check_at(book["Readings"], "F2").prompt == "If there is a meter. In gpm."
    assert not any("psi" in str(header) for header in headers(book["Readings"]))


def test_people_s_text_stays_text_and_dates_show_year_first() -> None:
    row = {
        "station": "007", "date": dt.date(2026, 5, 1), "time": dt.time(7, 30),
        "inlet": "2,5", "outlet": 2.0, "remark": "=cmd|x",
    }  # fmt: skip
    sheet = opened(build(rows={"Readings": [row]}))["Readings"]
    cells = [sheet[f"{letter}2"] for letter in "ABCDEJ"]
    assert [cell.data_type for cell in cells] == ["s", "d", "d", "s", "n", "s"]
    assert (cells[0].value, cells[3].value, cells[5].value) == ("007", "2,5", "=cmd|x")
    assert cells[1].number_format == "yyyy-mm-dd"
    assert cells[2].number_format == "hh:mm"


def test_settings_win_over_options() -> None:
    book = opened(build(BlankOptions(farm="One"), settings={"farm": "Two", "drop_limit": 4.0}))
    assert (book["Farm"]["B2"].value, book["Farm"]["B6"].value) == ("Two", 4)


def test_option_stations_fill_the_register() -> None:
    options = BlankOptions(pressure_unit="PSI", stations=("North", "South"))
    book = opened(build(options, rows={"Stations": [{"station": "South", "block": "B"}]}))
    cells = [(row[0], row[1]) for row in book["Stations"].iter_rows(2, 4, 1, 2, values_only=True)]
    assert cells == [("South", "B"), ("North", None), (None, None)]
    assert book["Farm"]["B4"].value == "psi"


def test_pages_are_a4_landscape_with_header_and_numbers(blank: Workbook) -> None:
    for sheet in contract.LISTS:
        page = blank[sheet.name]
        assert (page.page_setup.orientation, page.page_setup.paperSize) == ("landscape", 9)
        assert page.print_title_rows == "$1:$1"
        assert page.oddFooter.right.text == "Page &P of &N"
        assert page.freeze_panes == "B2"
        last = column_letters(len(sheet.columns) - 1)
        assert page.print_area.endswith(f"!$A$1:${last}$1048576")  # programs stop at the last row


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("pair", PAIRS)
def test_text_is_readable_on_its_background(pair: tuple[str, str]) -> None:
    low, high = sorted(luminance(colour) for colour in pair)
    assert (high + 0.05) / (low + 0.05) >= 4.5


def test_over_is_said_in_bold_words_not_in_colour_alone(blank: Workbook) -> None:
    (area,) = blank["Readings"].conditional_formatting
    (rule,) = area.rules
    assert rule.formula == ['$M2="OVER"']
    assert rule.dxf.font.b


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (
            BlankOptions(pressure_unit="atm"),
            "Pressure unit 'atm' is not known: use one of bar, kPa, psi, m, kgf/cm2.",
        ),
        (
            BlankOptions(flow_unit="bar"),
            "Flow unit 'bar' is not known: use one of m3/h, L/s, L/min, gpm.",
        ),
        (
            BlankOptions(stations=("x" * 32,)),
            f"Station name '{'x' * 32}' has 32 characters: use 31 or fewer.",
        ),
        (
            BlankOptions(stations=("North", " north")),
            "Station 'North' is named twice: give every station its own name.",
        ),
        (
            BlankOptions(stations=("North", " ")),
            "A station's name is empty: give every station a name.",
        ),
    ],
)
def test_wrong_options_give_one_sentence(options: BlankOptions, sentence: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011  the whole text is compared
        build(options)
    assert str(caught.value) == sentence


def test_wrong_sheet_and_key_give_one_sentence() -> None:
    with pytest.raises(ValueError, match=r"^There is no list sheet 'Log': use Stations, Readings"):
        build(rows={"Log": []})
    with pytest.raises(ValueError, match=r"^Sheet Agreed has no column 'Who': use station, act"):
        build(rows={"Agreed": [{"Who": "A"}]})
    with pytest.raises(ValueError, match=r"^Agreed: cannot write \['A'\]; give a text, number"):
        build(rows={"Agreed": [{"who": ["A"]}]})


def test_31_characters_are_accepted() -> None:
    book = opened(build(BlankOptions(stations=("x" * 31,))))
    assert book["Stations"]["A2"].value == "x" * 31


@pytest.mark.usefixtures("prepared_rows")
@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_blanks_are_what_the_builder_makes(name: str) -> None:
    shipped = Path(contract.__file__).with_name(name)
    pressure, flow = SHIPPED[name]
    assert shipped.read_bytes() == build(BlankOptions(pressure, flow, limits_in=pressure)), (
        f"{name} is out of date: run python -m siltbook.templates.blank"
    )
