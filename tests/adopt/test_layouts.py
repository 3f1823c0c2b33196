"""Every layout, in every language and several units and ways of writing: the same readings."""

from __future__ import annotations

from pathlib import Path

import pytest

from sample_workbooks.as_kept import LAYOUTS, WORDS, Style, as_csv, as_xlsx, drop_of
from siltbook.batch.adopt.job import Source, look
from tests.adopt.farms import adopted, kept, season

STYLES = [
    {},
    {"unit": "kPa", "dates": "dmy", "unit_in": "row", "title": True, "junk": True, "extra": True},
    {"unit": "psi", "dates": "named", "texts": ",", "title": True, "junk": True},
    {"unit": "m", "dates": "iso", "texts": ",", "times": True, "junk": True},
]


def expected(style: Style) -> list[tuple[object, ...]]:
    only = style.layout.startswith("drop")
    return sorted(
        (r["station"], r["date"], None if only else r["inlet"], None if only else r["outlet"],
         drop_of(r) if only else None)
        for r in season(style.unit)
    )  # fmt: skip


@pytest.mark.at_length(usual=26)
@pytest.mark.parametrize("language", WORDS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_readings_arrive_as_they_were_kept(layout: str, language: str) -> None:
    for options in STYLES:
        style = Style(layout, language, **options)
        if style.unit_in == "row" and layout in ("dates across", "side by side"):
            continue  # no row of units is written there
        assert adopted(style) == expected(style), options


@pytest.mark.parametrize("delimiter", [";", ",", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "cp850"])
def test_text_tables_in_any_encoding_and_delimiter(delimiter: str, encoding: str) -> None:
    style = Style("wide two headers", "de", dates="dmy", texts="." if delimiter == "," else ",")
    data = as_csv(kept(style), delimiter, encoding)
    seen = look([Source(Path("own.csv"), data)])
    assert len(seen.rows.readings) == 15
    assert seen.asked == []
    assert {c.header for c in seen.made.forms[0].columns if c.role == "note"} == {"Bemerkungen"}


@pytest.mark.parametrize("encoding", ["cp1252", "mac_roman", "cp850", "utf-8"])
def test_accents_are_read_in_any_western_encoding(encoding: str) -> None:
    made = kept(Style("list", "pt", dates="iso"))
    head = made.sheets["Readings"][0]
    made.sheets["Readings"][0] = [str(text).upper() for text in head]
    seen = look([Source(Path("own.csv"), as_csv(made, ";", encoding))])
    assert "ESTAÇÃO" in [c.header for c in seen.made.forms[0].columns if c.role == "station"]


def test_every_row_is_counted_once_and_the_counts_add_up() -> None:
    for layout in LAYOUTS:
        style = Style(layout, title=True, junk=True)
        rows = look([Source(Path("own.xlsx"), as_xlsx(kept(style)))]).rows
        assert rows.read == rows.used + rows.proposed + rows.not_used > 0


def test_a_unit_that_is_nowhere_is_asked_about_once() -> None:
    seen = look([Source(Path("own.xlsx"), as_xlsx(kept(Style(unit_in="nowhere"))))])
    assert [q.text for q in seen.asked] == ["In which unit are 'Inlet', 'Outlet' (3, 3.1, 3.2)?"]
    assert seen.asked[0].choices == ("bar", "kPa", "psi", "m", "kgf/cm2")


def test_a_unit_that_cannot_be_is_asked_about() -> None:
    made = kept(Style(unit="kPa"))
    made.sheets["Readings"][0] = ["Date", "Station", "Inlet (bar)", "Outlet (bar)", "Notes"]
    seen = look([Source(Path("own.xlsx"), as_xlsx(made))])
    assert seen.asked[0].text == (
        "'Inlet (bar)' is usually 310 bar, where 0.2 to 16 bar is usual: is that its unit?"
    )


def test_dates_that_can_be_read_two_ways_are_asked_about() -> None:
    made = kept(Style(dates="dmy"))
    rows = made.sheets["Readings"]
    made.sheets["Readings"] = [rows[0], *(["03/04/2026", *r[1:]] for r in rows[1:4])]
    seen = look([Source(Path("own.xlsx"), as_xlsx(made))])
    assert [q.text for q in seen.asked] == [
        "Is '03/04/2026' written with the day first or with the month first?"
    ]
    assert seen.rows.readings == []
    assert {one.why for one in seen.rows.left_out} == {"the date '03/04/2026' cannot be read"}


def test_pressures_without_a_side_are_asked_about() -> None:
    made = kept(Style())
    made.sheets["Readings"][0] = ["Date", "Station", "P1 (bar)", "P2 (bar)", "Notes"]
    seen = look([Source(Path("own.xlsx"), as_xlsx(made))])
    assert [q.text for q in seen.asked] == [
        "What is the column 'P1 (bar)' (3, 3.1, 3.2)? A pressure, but on which side is not said.",
        "What is the column 'P2 (bar)' (2.7, 2.7, 2.7)? A pressure, but on which side is not said.",
    ]


def test_names_that_may_be_one_station_are_asked_about() -> None:
    made = kept(Style())
    made.sheets["Readings"][3][1] = "North1"
    seen = look([Source(Path("own.xlsx"), as_xlsx(made))])
    assert [q.text for q in seen.asked] == ["Is 'North1' the same station as 'North 1'?"]


def test_headers_in_exchanged_order_are_asked_about() -> None:
    made = kept(Style())
    made.sheets["Readings"][0] = ["Date", "Station", "Outlet (bar)", "Inlet (bar)", "Notes"]
    seen = look([Source(Path("own.xlsx"), as_xlsx(made))])
    assert [q.text for q in seen.asked] == [
        "The outlet is mostly above the inlet: are the two headers right?"
    ]
