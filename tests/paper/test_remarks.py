"""What people wrote beside a station, a reading or a piece of work stands on the papers."""

from __future__ import annotations

import datetime as dt
import shutil
from functools import cache
from pathlib import Path

import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.paper.round_sheet import round_of
from siltbook.batch.paper.station_card import station_cards
from siltbook.batch.remarks import MOST
from siltbook.batch.results import Assessment
from siltbook.batch.tables.stations import KNOWN
from siltbook.templates.blank import BlankOptions, build
from tests.paper.test_paper import LACKING, text

LONG = "the gate at the canal is locked on Sundays, ask for the key; " * 400
STATIONS = [
    {"station": "Weir", "remark": "Left valve sticks: open slowly."},
    {"station": "Pond", "in_service": "no", "remark": LONG},
]


def on(day: int) -> dt.date:
    return dt.date(2026, 5, day)


@cache
def judged(remark: str = "outlet needle\nsticks") -> Assessment:
    readings = [
        {
            "station": "Weir",
            "date": on(1),
            "inlet": 3,
            "outlet": 2.4,
            "remark": "first of the year",
        },
        {"station": "Weir", "date": on(9), "inlet": 3, "outlet": 2.4, "remark": remark},
    ]
    work = {"station": "Weir", "date": on(5), "work": "flush", "remark": "cover bolt cracked"}
    rows = {
        "Stations": STATIONS, "Readings": readings, "Work done": [work],
        "Agreed": [{"station": "Weir", "action": LONG, "who": "Ana"}],
    }  # fmt: skip
    return assess_bytes(build(BlankOptions(), rows), "farm.xlsx")


def test_the_round_sheet_says_the_stations_remark_the_last_readings_and_who_rests() -> None:
    (_, weir), (_, pond) = round_of(judged(), "farm.xlsx", due=None, names=()).stations
    assert 'Noted 2026-05-09: "outlet needle sticks"' in weir
    assert 'Noted 2026-05-05, flush: "cover bolt cracked"' in weir
    assert "Remark: Left valve sticks: open slowly." in weir
    assert "Not in service." in pond
    assert "Not in service." not in weir


def test_the_station_review_says_what_was_noted_and_first_what_is_broken() -> None:
    weir, pond = sorted(judged().stations, key=lambda r: r.station.name, reverse=True)
    work, reading = (
        'Noted 2026-05-05, flush: "cover bolt cracked"',
        'Noted 2026-05-09: "outlet needle sticks"',
    )
    told = str(KNOWN["notes"].source(weir)).splitlines()
    assert told[-4:] == [
        "Remark: Left valve sticks: open slowly.", reading, work, "Noted earlier: Readings row 2.",
    ]  # fmt: skip
    assert str(KNOWN["notes"].source(pond)).startswith("Remark: the gate at the canal")


def test_a_text_longer_than_a_page_has_room_for_ends_with_dots() -> None:
    (_, weir), (_, pond) = round_of(judged(), "farm.xlsx", due=None, names=()).stations
    (remark,) = (line for line in pond if line.startswith("Remark: "))
    assert len(remark) <= len("Remark: ") + MOST
    assert remark.startswith("Remark: the gate at the canal")
    assert remark.endswith("…")
    (agreed,) = (line for line in weir if line.startswith("Agreed"))
    assert agreed.endswith("… (Ana)")


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext is missing")
def test_the_card_says_what_was_noted_at_each_visit_on_one_page(tmp_path: Path) -> None:
    made = station_cards(judged(), "farm.xlsx", "0", ["Weir"])
    assert made.count(b"/Type /Page\n") == 1
    said = text(made, tmp_path)
    for words in (
        "Left valve sticks: open slowly.",
        '"outlet needle sticks"',
        "cover bolt cracked",
    ):
        assert words in said, words
    crowded = station_cards(judged(LONG), "farm.xlsx", "0", ["Weir"])
    assert crowded.count(b"/Type /Page\n") == 1


def test_letters_that_the_font_lacks_are_said_and_the_station_is_told_by_its_row(
    tmp_path: Path,
) -> None:
    stations = [
        {"station": name, "remark": "→ gate" if name == "Größe" else ""} for name in LACKING
    ]
    found = assess_bytes(build(BlankOptions(), {"Stations": stations}), "farm.xlsx")
    said = text(station_cards(found, "farm.xlsx", "0", LACKING), tmp_path)
    for row in (2, 3):
        assert f"Station card: ???????? (Stations row {row})" in said
    assert said.count("Letters that the font of this page lacks stand as ?") == 2  # not for Größe
    first, second, third = (title for title, _ in round_of(found, "f", due=None, names=()).stations)
    assert first.endswith("Северная (Stations row 2)")
    assert third.endswith("Größe")
    assert second != first
