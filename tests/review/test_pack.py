"""The pack as a workbook: opened by another library, linted, printed, and traced to rows."""

from __future__ import annotations

import datetime as dt
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.review.farm import FarmMonth, read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.templates import safety
from tests.checks.builders import book, reading
from tests.lint import lint
from tests.office import convert, needs_office
from tests.review.farms import JULY, month, opened, pack, pack_file, rows
from tests.review.farms import book as farm_book

SHEETS = [
    "Agenda", "What changed", "Days over limit", "Episodes", "Flushes", "Agreed", "Cost of dirt",
    "Forecast", "Data questions", "Fouling compared", "About this pack",
]  # fmt: skip


def test_the_agenda_comes_first_and_holds_the_few_that_need_a_decision() -> None:
    names = opened(pack_file()).sheetnames
    assert names == SHEETS
    listed = [row for row in rows(pack_file(), "Agenda") if row["Station"]]
    assert [(row["Station"], row["Then"], row["Now"], row["Days over"]) for row in listed] == [
        ("E3", "△ Watch", "▲ Escalate", 25),
        ("N2 Screen", "△ Watch", "◆ Check flush gear", 18),
        ("S1 Well", "● Flush", "● Flush", 4),
        ("H4", "○ No reading", "○ No reading", None),
    ]
    assert all(row["Action"] is row["Who"] is row["By when"] is None for row in listed)
    assert [row["Book"] for row in listed] == ["1", "3", "4", "2"]
    assert listed[1]["Why"].endswith(
        "\nAgreed: Check the solenoid (Reader A, due 2026-07-24): not done."
    )


def test_the_agenda_counts_then_and_now_and_what_was_agreed() -> None:
    sheet = opened(pack_file())["Agenda"]
    said = [sheet.cell(row, 1).value for row in range(3, 12)]
    assert said[0] == (
        "2026-07-31, 24 stations:   ▲ Escalate 1   ◆ Check flush gear 1   ● Flush 1   "
        "○ No reading 1   △ Watch 11   ✓ In range 9"
    )
    assert said[1].startswith("2026-06-30:   ● Flush 3   ○ No reading 4")
    assert said[2] == (
        "Agreed before: 3 not done, 1 done without effect, 2 done late, 1 not due yet, "
        "2 done in time (sheet Agreed)."
    )
    assert said[4] == safety.EMERGENCY
    assert {safety.BEFORE_OPENING, safety.WIRING} <= set(said)


def test_the_pack_is_a_sound_package_without_a_formula() -> None:
    assert lint(pack_file()) == []
    cells = (c for s in opened(pack_file()).worksheets for row in s.iter_rows() for c in row)
    assert not [c.coordinate for c in cells if c.data_type == "f"]


def test_the_same_books_give_the_same_bytes() -> None:
    assert pack_bytes(pack()) == pack_file()


def test_every_row_number_leads_to_the_figure_in_the_book() -> None:
    cells = opened(farm_book("north"))
    for row in rows(pack_file(), "Flushes"):
        if row["Farm"] != "North Farm (invented)":
            continue
        readings, work = row["Rows of the book"].split("; ")
        number = int(work.removeprefix("Work done "))
        assert cells["Work done"].cell(number, 1).value == row["Station"]
        assert cells["Work done"].cell(number, 2).value == row["Date"]
        before = int(readings.removeprefix("Readings ").split(", ")[0])
        inlet, outlet = (cells["Readings"].cell(before, col).value for col in (4, 5))
        drop = (float(str(inlet)) - float(str(outlet))) * 10.19716
        assert row["Drop before (m)"] == pytest.approx(drop, abs=1e-3)


def test_stations_stand_by_days_over_the_limit() -> None:
    listed = rows(pack_file(), "Days over limit")
    totals = [row["Together"] for row in listed if row["Together"] is not None]
    assert totals == sorted(totals, reverse=True)
    assert (listed[0]["Station"], listed[0]["Days over"]) == ("E3", 25)
    h3 = next(row for row in listed if row["Station"] == "H3")
    assert h3["Days unnoticed"] is None
    assert h3["Note"].startswith("the beginning of an episode cannot be told")


def test_what_changed_has_every_station_worse_ones_first() -> None:
    listed = rows(pack_file(), "What changed")
    assert len(listed) == 24
    words = [row["Change"] for row in listed]
    assert words == sorted(words, key=["worse", "better", "same"].index)
    e3 = listed[0]
    assert (e3["Station"], e3["Change"]) == ("E3", "worse")


def test_costs_are_the_months_and_a_gap_has_no_number() -> None:
    sheet = opened(pack_file())["Cost of dirt"]
    table = {str(r[0]): r for r in sheet.iter_rows(values_only=True) if str(r[0])[:5] == "2026-"}
    assert table["2026-06"][2] is None  # Hill, where nobody read
    assert table["2026-05"][2] > 200
    from siltbook.batch.numbers.costs import monthly

    own = [
        dict(monthly(r.history, f.book.settings))["2026-07"].energy_kwh
        for f in pack().farms if f.file.startswith("north")
        for r in f.now.stations
    ]  # fmt: skip
    assert table["2026-07"][3] == pytest.approx(sum(e or 0 for e in own))
    north = next(row for row in rows(pack_file(), "Cost of dirt") if row["Station"] == "H4")
    assert north["Note"] == (
        "no energy price on the Farm sheet; only 7 of 31 days could be counted"
    )
    assert north["Money"] is None


def test_the_calendar_marks_the_expected_day_and_shades_its_span() -> None:
    sheet = opened(pack_file())["Forecast"]
    by_name = {row[1].value: row for row in sheet.iter_rows(min_row=5)}
    for farm in pack().farms:
        for station in farm.now.stations:
            forecast = station.outlook.forecast if station.outlook else None
            row = by_name.get(station.station.name)
            if row is None or forecast is None or forecast.date is None:
                continue
            marked = [n for n, cell in enumerate(row[6:], 1) if cell.value == "●"]
            assert marked == ([forecast.date.day] if forecast.date in JULY.next else [])
    assert by_name["N2 Screen"][6].value == "over the limit since 2026-07-13"
    assert by_name["S2 Well"][6].value == "expected before 2026-08-01, not read since"


def test_questions_on_data_have_counts_and_cells() -> None:
    listed = rows(pack_file(), "Data questions")
    third = next(row for row in listed if row["Question"] == "Third time over the limit in 30 days")
    assert (third["Farm"], third["Count"], third["Stations"]) == ("East Farm (invented)", 2, "E3")
    assert third["Cells of the book"].startswith("Readings!D")
    assert not [row for row in listed if row["Question"] == "Entries after the as-of date"]


def test_a_book_that_ends_before_the_month_is_named() -> None:
    from siltbook.batch.review.agenda import entries_end

    assert entries_end(pack()) == ""
    early = replace(month("north", 2026, 7), then=month("north", 2026, 6).then,
                    now=month("north", 2026, 6).now)  # fmt: skip
    said = entries_end(make_pack([early, month("south")], JULY, "test"))
    assert said == "Entries end before the month does: North Farm (invented) 2026-06-29."


def test_one_farm_has_a_pack_of_its_own() -> None:
    one = pack_bytes(make_pack([month("north")], JULY, "test"))
    assert lint(one) == []
    assert [row["Station"] for row in rows(one, "Agenda") if row["Station"]] == ["N2 Screen"]


def odd(name: str, **settings: object) -> FarmMonth:
    """A book whose texts a spreadsheet would like to take for something else."""
    made = book(
        [reading(4, outlet=2.4) | {"station": name}],
        stations=[{"station": name, "block": "@block", "filter_type": "screen"}],
        agreed=[{"station": name, "action": "=1+1", "who": "+A", "due": dt.date(2026, 5, 6)}],
    )
    made = replace(made, settings=replace(made.settings, farm='=HYPERLINK("x")', **settings))
    may = Month(2026, 5)
    then, now = (assess(made, as_of=day) for day in (may.eve, may.last))
    return FarmMonth("odd.xlsx", "0" * 64, may, then, now)


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("name", ["=1+1", "<r>x</r>", "https://x.invalid", "{=1}", "-1", "a\x07b"])
def test_peoples_texts_stay_text(name: str) -> None:
    data = pack_bytes(make_pack([odd(name)], Month(2026, 5), "test"))
    assert lint(data) == []
    workbook = opened(data)
    cells = [c for s in workbook.worksheets for row in s.iter_rows() for c in row]
    assert not [c.coordinate for c in cells if c.data_type == "f" or c.hyperlink]


def test_a_book_with_nothing_in_it_still_makes_a_pack() -> None:
    made = book([])
    may = Month(2026, 5)
    then, now = (assess(made, as_of=day) for day in (may.eve, may.last))
    empty = replace(month("north"), then=then, now=now, month=may)
    from siltbook.batch.review.page import Pack

    data = pack_bytes(Pack(may, (empty,), (), "test"))
    assert lint(data) == []
    assert rows(data, "Agenda")[0]["Now"] == "○ No reading"


def test_a_long_portfolio_keeps_its_agenda_to_one_page_of_rows() -> None:
    many = [replace(month("south"), file=f"south-{n}.xlsx") for n in range(20)]
    data = pack_bytes(make_pack(many, JULY, "test"))
    listed = [row for row in rows(data, "Agenda") if row["Station"]]
    assert 6 <= len(listed) <= 12
    sheet = opened(data)["Agenda"]
    assert any(
        str(sheet.cell(row, 1).value).startswith(f"The {len(listed)} most urgent of 20 stations")
        for row in range(3, 9)
    )


@pytest.mark.at_length  # tests/sheets/test_printed.py prints a pack
@needs_office
def test_the_agenda_prints_on_two_pages_at_most_and_every_sheet_prints(tmp_path: Path) -> None:
    path = tmp_path / "pack.xlsx"
    path.write_bytes(pack_file())
    pdf = convert(path, tmp_path, to="pdf")
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True)
    pages = text.stdout.decode().split("\f")
    starts = {f"{sheet} – 5 farms": sheet for sheet in SHEETS}
    begun = [next((starts[s] for s in starts if p.lstrip().startswith(s)), "") for p in pages]
    assert 1 <= begun.count("Agenda") <= 2
    assert [s for s in SHEETS if s not in begun] == []
    assert "By when" in pages[0]
    assert "Err:" not in text.stdout.decode()


@pytest.mark.at_length  # the figures of the agenda are held above
def test_reading_once_gives_what_reading_twice_gives() -> None:
    from siltbook.batch.job import assess_bytes

    data = farm_book("east")
    once = read_month(data, "east-2026.xlsx", JULY)
    for made, day in ((once.then, JULY.eve), (once.now, JULY.last)):
        twice = assess_bytes(data, "east-2026.xlsx", day)
        assert [(s.station.name, s.verdict) for s in made.stations] == [
            (s.station.name, s.verdict) for s in twice.stations
        ]
        assert made.findings == twice.findings


def test_a_station_that_came_back_by_itself_keeps_its_place_on_the_agenda() -> None:
    from siltbook.batch.review.agenda import items
    from tests.whole.verdicts import day, filled, reading, station

    gauge = station(Gauge_arrangement="two gauges", Gauge_full_scale=10, **{"Gauge class (%)": 1.6},
                    Gauge_division=0.1)  # fmt: skip
    rows = [reading(day(24), 3.2, 2.6), reading(day(29), 3.2, 2.8)]
    month = read_month(filled(Stations=gauge, Readings=rows), "lone.xlsx", Month(2026, 6))
    (item,) = items(make_pack([month], Month(2026, 6), "test"))
    assert (item.result.verdict, item.why) == (
        "watch",
        "Drop 4.08 m on 2026-06-29, within the limit of 5.00 m; back in range with no work logged,"
        " by less than the gauge can tell.",
    )
