"""Sheets, header rows, columns and settings."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.reading.book import read_book
from siltbook.checks.findings import CATALOGUE
from siltbook.templates.book import Elsewhere
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per
from tests.reading.books import NAME, clean_sheets, reading, workbook, zipped

DAY = dt.date(2026, 5, 31)


def test_a_clean_book():
    result = read_book(workbook(clean_sheets()), f"folder/{NAME}")
    book = result.book
    assert result.findings == ()
    assert book.path == f"folder/{NAME}"
    assert book.settings.farm == "Invented farm"
    assert book.readings.frame.station.tolist() == ["F2", "F1", "F2", "F1"]
    assert book.readings.frame.inlet.tolist() == pytest.approx(
        [3 * metres_per("psi"), 3 * metres_per("bar")] * 2
    )
    assert book.readings.cell("inlet", 3) == "D3"
    assert book.work.frame.click.tolist() == ["yes"]
    assert book.agreed.frame.due.tolist() == [dt.date(2026, 6, 3)]
    assert all(c.read == c.used + c.set_aside for c in book.counts.values())


def test_only_stations_and_readings_are_needed():
    sheets = clean_sheets()
    for name in ("Farm", "Work done", "Agreed"):
        del sheets[name]
    book = read_book(workbook(sheets), NAME).book
    assert (book.settings.drop_limit, len(book.work.frame), len(book.agreed.frame)) == (5.0, 0, 0)
    assert "click" in book.work.frame.columns


def test_sheet_names_ignore_case_and_spaces():
    sheets = {f" {k.upper()}\u00a0": v for k, v in clean_sheets().items()}
    assert len(read_book(workbook(sheets), NAME).book.readings.frame) == 4


def test_a_missing_sheet_names_the_one_that_looks_like_it():
    sheets = clean_sheets()
    sheets["Log 2026"] = sheets.pop("Readings")
    with pytest.raises(BookError) as caught:
        read_book(workbook(sheets), NAME)
    assert str(caught.value) == (
        "invented.xlsx has no sheet Readings (its sheets: Farm, Stations, Work done, Agreed,"
        " Log 2026): the sheet Log 2026 looks like it by its headers, rename it to Readings."
    )


def test_a_missing_column_is_named():
    with pytest.raises(BookError) as caught:
        reading(["F1", DAY, 3], headers=["Station", "Date", "Inlet pressure"])
    assert str(caught.value) == (
        "invented.xlsx, sheet Readings: no column Outlet pressure (its headers were found in row"
        " 1): add the header, spelt as in the template, in one of the first 30 rows, or run"
        " 'siltbook adopt invented.xlsx', which reads books kept in other forms."
    )


def test_title_above_moved_extra_and_computed_columns_blank_and_repeated_rows():
    head = ["Mine", "DATE ", "Drop (m)", "outlet  pressure", "Inlet\u00a0pressure", "station"]
    rows = [["Visits of the season"], [], head, [1, DAY, 5.1, 2, 3, "F1"], [], [None, None, 0.0],
            head, ["note", DAY, None, 2.5, 3, "F1"]]  # fmt: skip
    book = reading(Readings=rows).book
    assert book.readings.header_row == 3
    assert list(book.readings.frame.index) == [4, 8]
    assert book.readings.cell("inlet", 8) == "E8"
    assert book.counts["Readings"].read == 2


def test_a_unit_in_the_header_holds_for_its_column():
    head = ["Station", "Date", "Inlet pressure [psi]", "Outlet pressure (kPa)", "Flow (L/s)"]
    table = reading(["F1", DAY, 30, 150, 2], headers=head).book.readings
    assert table.frame.inlet[2] == pytest.approx(30 * metres_per("psi"))
    assert table.frame.outlet[2] == pytest.approx(150 * metres_per("kPa"))
    assert table.frame.flow[2] == pytest.approx(2 * cubic_metres_per_hour_per("L/s"))
    assert table.units == {"inlet": "psi", "outlet": "kPa", "flow": "L/s"}


def test_a_header_that_stands_twice():
    head = ["Station", "Date", "Inlet pressure", "Outlet pressure", "Inlet pressure"]
    result = reading(["F1", DAY, 3, 2, 9], headers=head)
    assert result.book.readings.frame.inlet[2] == pytest.approx(3 * metres_per("bar"))
    assert [f.message for f in result.findings] == [
        "Readings!E1: header stands twice: read 'Inlet pressure'; accepted: each header once."
        f" {CATALOGUE['column-twice'].do}"
    ]


def test_farm_settings_with_units_and_percent():
    farm = [["Settings"], ["Lowest flush inlet", 29, "psi"], ["Pressure unit", "PSI"],
            ["Season", 2026],
            ["Watch share", "80 %"], ["Drop limit", "0,5 bar"], ["Flush cycles:", 4],
            ["Review date", DAY], ["Reading interval", "2 weeks"]]  # fmt: skip
    result = reading(Farm=farm)
    s = result.book.settings
    assert (s.pressure_unit, s.season, s.flush_cycles, s.review_date) == ("psi", "2026", 4, DAY)
    assert s.flush_inlet == pytest.approx(29 * metres_per("psi"))
    assert s.watch_share == pytest.approx(0.8)
    assert s.drop_limit == pytest.approx(0.5 * metres_per("bar"))
    assert s.interval == 14
    assert result.book.setting_cells["flush_inlet"] == "B2"


def test_settings_that_cannot_be_used_keep_their_default_and_say_so():
    farm = [["Pressure unit", "baar"], ["Drop limit", "five"], ["Watch share", 80],
            ["Lowest flush inlet", 2, "inch"]]  # fmt: skip
    result = reading(Farm=farm)
    assert result.book.settings.drop_limit == 5.0
    assert sorted(f.message for f in result.findings) == [
        "Farm!B1: not one of the choices: read 'baar'; accepted: bar, kPa, psi, m, kgf/cm2; until"
        " then no pressure is used that has no unit of its own. Pick from the list.",
        "Farm!B2: not a number: read 'five'; accepted: a number in m; until then 5 m is used."
        " Type the number again.",
        "Farm!B3: value outside what is possible: read 80; accepted: 0.05 to 1; until then 0.8 is"
        " used. Check the value and its unit.",
        "Farm!B4: unit not known: read 'inch'; accepted: bar, kPa, psi, m, kgf/cm2; until then 2"
        " bar is used. Write one of the units listed.",
    ]


def findings_of(sheets: dict, rule: str) -> list[str]:
    found = read_book(workbook(sheets), NAME).findings
    return [finding.message for finding in found if finding.rule == rule]


def test_a_renamed_list_is_named_and_not_silently_left_out():
    sheets = clean_sheets()
    sheets["Work log"] = sheets.pop("Work done")
    assert findings_of(sheets, "sheet-not-read") == [
        "Work log: sheet was not read: read a sheet that looks like Work done by its headers;"
        " accepted: the name Work done. Rename it, or move its rows, if they are meant to count."
    ]


def test_a_second_list_beside_the_one_that_is_read_is_named():
    sheets = clean_sheets()
    sheets["Readings May"] = sheets["Readings"]
    (message,) = findings_of(sheets, "sheet-not-read")
    assert "looks like Readings by its headers; accepted: rows on the sheet Readings." in message


def test_a_renamed_farm_sheet_is_named():
    sheets = clean_sheets()
    sheets["My farm"] = sheets.pop("Farm")
    (message,) = findings_of(sheets, "sheet-not-read")
    assert message.startswith("My farm: sheet was not read: read a sheet that looks like Farm by")


def test_a_farm_sheet_in_other_words_is_no_silent_default():
    sheets = clean_sheets()
    sheets["Farm"] = [["Naam", "Boerderij"], ["Drukeenheid", "psi"]]
    assert findings_of(sheets, "column-missing") == [
        "Farm: column not found: read no setting that is known; accepted: the labels of the"
        " template, for example Pressure unit. Add the header, spelt as in the template."
    ]


def translated(*rows: list[object]) -> list[list[object]]:
    return [["Estación", "Fecha", "Entrada", "Salida"], *rows]


NAMES = ("F1", "F2", "F3") * 3
VISITS = translated(*[[n, dt.date(2026, 5, i), 3.0, 2.5] for i, n in enumerate(NAMES, 1)])


def test_translated_readings_are_known_by_what_they_hold():
    sheets = clean_sheets()
    del sheets["Readings"]
    sheets["Lecturas"] = VISITS
    with pytest.raises(BookError) as caught:
        read_book(workbook(sheets), NAME)
    assert str(caught.value).endswith(
        "the sheet Lecturas looks like it by what it holds (a column of dates, one of names and"
        " two of numbers), rename it to Readings and give it the headers of the template,"
        " or run 'siltbook adopt invented.xlsx', which reads books kept in other forms."
    )


def test_a_translated_register_is_known_by_what_it_holds():
    sheets = clean_sheets()
    del sheets["Stations"]
    sheets["Notas"] = [["Nota"], ["a"], ["b"], ["c"]]
    sheets["Estaciones"] = [["Nombre", "Tipo"], *[[f"F{i}", "malla"] for i in range(1, 4)]]
    visits = [[name, day, None, inlet, outlet] for name, day, inlet, outlet in VISITS[1:]]
    sheets["Readings"] = [sheets["Readings"][0], *visits]
    with pytest.raises(BookError) as caught:
        read_book(workbook(sheets), NAME)
    assert "the sheet Estaciones looks like it by what it holds (every name of the" in str(
        caught.value
    )


def test_a_translated_work_log_is_known_by_what_it_holds():
    sheets = clean_sheets()
    del sheets["Work done"]
    rows = [["F1" if i % 2 else "F2", dt.date(2026, 5, i), "lavado"] for i in range(1, 6)]
    sheets["Trabajos"] = [["Estación", "Fecha", "Trabajo"], *rows]
    (message,) = findings_of(sheets, "sheet-not-read")
    assert "looks like Work done by its content (dates, stations and a few words" in message


def test_your_own_sheets_are_nobody_elses_business():
    sheets = clean_sheets()
    sheets["Weather"] = [["Date", "Rain (mm)"], *[[dt.date(2026, 5, i), 1.5] for i in range(1, 9)]]
    sheets["Phone list"] = [["Name", "Number"], ["Ana", 12], ["Bo", 13], ["Cy", 14]]
    assert read_book(workbook(sheets), NAME).findings == ()


def test_a_damaged_sheet_that_is_not_read_does_not_spoil_the_book():
    sheets = clean_sheets()
    sheets["Spare"] = [["x"]]
    with zipfile.ZipFile(io.BytesIO(workbook(sheets))) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet6.xml"] = b"<worksheet><broken"
    assert read_book(zipped(parts), NAME).findings == ()


def test_readings_under_translated_headers_beside_the_real_ones_are_named_and_counted():
    """They were passed over, and their later readings with them."""
    sheets = clean_sheets()
    later = dt.date(2026, 7, 1)
    sheets["Julio"] = translated(["F1", later, 3.0, 1.5], ["F1", later, None, None])
    (message,) = findings_of(sheets, "sheet-not-read")
    assert message.startswith(
        "Julio: sheet was not read: read a sheet that looks like Readings by its headers, in other"
        " words; accepted: rows on the sheet Readings."
    )
    book = read_book(workbook(sheets), NAME).book
    assert book.elsewhere == {"F1": (Elsewhere("Julio", "Readings", (later,)),)}
    sheets["Julio"] = translated(["Tank", later, 3.0, 1.5])
    assert findings_of(sheets, "sheet-not-read") == []


def test_a_station_far_down_in_the_register_is_known_on_another_sheet():
    sheets = clean_sheets()
    sheets["Stations"] += [[f"Extra {n}"] for n in range(300)]
    rows = [["Extra 290", dt.date(2026, 7, day), 3.0, 2.2] for day in (2, 9)]
    sheets["Julio"] = [["Estación", "Fecha", "Entrada", "Salida"], *rows]
    (message,) = findings_of(sheets, "sheet-not-read")
    assert "Julio: sheet was not read: read a sheet that looks like Readings" in message


@pytest.mark.parametrize(
    ("name", "counts"),
    [("Work plan", False), ("To do", False), ("Trabajos programados", False), ("Plant", True)],
)
def test_what_is_planned_is_no_work_that_was_left_out(name: str, counts: bool):
    """Every station of a plan was to be read again for ever."""
    sheets = clean_sheets()
    head = sheets["Work done"][0]
    row = dict.fromkeys(head) | {"Station": "F1", "Date": dt.date(2026, 9, 1), "Work": "flush"}
    sheets[name] = [head, [row[key] for key in head]]
    assert len(findings_of(sheets, "sheet-not-read")) == 1
    assert bool(read_book(workbook(sheets), NAME).book.elsewhere) == counts


def test_a_row_without_a_pressure_on_another_sheet_is_no_reading():
    sheets = clean_sheets()
    head = sheets["Readings"][0]
    row = dict.fromkeys(head) | {"Station": "F1", "Date": dt.date(2026, 9, 1)}
    sheets["Next round"] = [head, [row[key] for key in head]]
    assert len(findings_of(sheets, "sheet-not-read")) == 1
    assert read_book(workbook(sheets), NAME).book.elsewhere == {}


@pytest.mark.parametrize(
    ("inlet", "outlet", "aside"),
    [(3.0666666666666664, 2.4333333333333336, False), (3.07, 2.43, False), (3.1, 2.4, True),
     (3.07, 2.1, True), (3.07, None, True)],
)  # fmt: skip
def test_unlabelled_averages_below_the_list_are_no_reading(
    inlet: float, outlet: float | None, aside: bool
):
    """They counted as a reading that could not be placed, and a station was to be read again."""
    sheets = clean_sheets()
    head = ["Station", "Date", "Inlet pressure", "Outlet pressure"]
    rows = [
        ["F1", dt.date(2026, 5, n), *p]
        for n, p in enumerate(((3.0, 2.5), (3.1, 2.4), (3.1, 2.4)), 1)
    ]
    sheets["Readings"] = [head, *rows, [None, None, inlet, outlet]]
    book = read_book(workbook(sheets), NAME).book
    assert bool(book.readings.aside) == aside
