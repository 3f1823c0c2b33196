"""A new season begins where the old one stood: archive, season, run, and rows typed by hand."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from tests.whole.verdicts import day, filled, messages, reading, said, work

OVER, FINE = (3.2, 2.5), (3.2, 3.0)  # inlet and outlet [bar]: drops of 7.14 and 2.04 m
FARM = [{"Farm name": "Invented Farm", "Season": "2026"}]
LOGS: dict[str, tuple[list[Any], list[Any], str]] = {
    "flush": ([reading(day(1), *OVER)], [], "over since 2026-06-01"),
    "re-read": ([reading(day(1), *OVER)], [work(day(2))], "Flushed on 2026-06-02"),
    "hand-clean": (
        [reading(day(1), *OVER), reading(day(3), *OVER)], [work(day(2))],
        "the flush of 2026-06-02 did not bring it down",
    ),
    "escalate": (
        [reading(day(1), *OVER), reading(day(3), *OVER), reading(day(5), *OVER)],
        [work(day(2)), work(day(4), "hand cleaning"), work(day(6), "called out")],
        "the flush of 2026-06-02 and hand cleaning of 2026-06-04 did not help; help was called on"
        " 2026-06-06",
    ),
    "check-flush-gear": (
        [reading(day(1), *FINE)], [work(day(2), Click_heard="no")], "Flush of 2026-06-02",
    ),
}  # fmt: skip


def siltbook(*arguments: object) -> str:
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 0, done.output
    return done.output


def next_season(home: Path, data: bytes) -> Path:
    """The next season's book of a book, through the commands."""
    book, target = home / "old.xlsx", home / "new.xlsx"
    book.write_bytes(data)
    siltbook("archive", book, "--to", home / "kept")
    siltbook("season", home / "kept", "--template", target)
    return target


@pytest.mark.at_length(keep="escalate")
@pytest.mark.parametrize("verdict", LOGS)
def test_a_station_stands_in_march_where_it_stood_in_august(verdict: str, tmp_path: Path) -> None:
    readings, done, words = LOGS[verdict]
    old = filled(Farm=FARM, Readings=readings, Work_done=done)
    assert said(old)[0] == verdict
    new = next_season(tmp_path, old)
    siltbook("run", new)
    (result,) = assess_bytes(new.read_bytes(), "new.xlsx").stations
    assert str(result.verdict) == verdict
    assert words in result.judgement.reason
    assert "Carried over from last season" in result.judgement.reason


LOW_FLUSH = {"Lowest_inlet_in_flush": 1.0}
LOW = (1.5, 0.8)  # [bar]: a drop of 7.14 m at an inlet at which no flush works


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("readings", "done", "on", "step"),
    [
        ([reading(day(1), *OVER)], [work(day(2), **LOW_FLUSH)], day(2), "needs flush"),
        ([reading(day(1), *LOW)], [], day(1), "needs flush"),
        ([reading(day(1), *FINE)], [work(day(2), **LOW_FLUSH, Cycles=1)], day(2), "clear"),
    ],
)
def test_an_inlet_too_low_for_a_flush_is_checked_on_day_one_too(
    readings: list[Any], done: list[Any], on: dt.date, step: str, tmp_path: Path
) -> None:
    """It stood in the remark alone, and the station was to be flushed at that inlet."""
    old = filled(Farm=FARM, Readings=readings, Work_done=done)
    assert said(old)[0] == "check-supply"
    new = next_season(tmp_path, old)
    sheet = openpyxl.load_workbook(new)["Carried over"]
    row = {c.value: v.value for c, v in zip(sheet[1], sheet[2], strict=True)}
    assert row["Stood at"] == step
    assert row["Inlet too low"].date() == on
    judged = assess_bytes(new.read_bytes(), "new.xlsx")
    (result,) = judged.stations
    assert str(result.verdict) == "check-supply"
    assert result.judgement.reason.startswith(
        f"Inlet too low for a flush on {on}, in last season's book; at least 2.00 bar is needed"
    )
    assert not [f for f in judged.findings if f.rule == "carried-odd"]
    # A season in which nobody worked carries it on.
    (tmp_path / "again").mkdir()
    again = next_season(tmp_path / "again", new.read_bytes())
    assert openpyxl.load_workbook(again)["Carried over"]["K2"].value.date() == on


def test_a_complete_flush_ends_what_was_carried_of_the_inlet(tmp_path: Path) -> None:
    new = next_season(tmp_path, filled(Farm=FARM, Readings=[reading(day(1), *LOW)]))
    book = openpyxl.load_workbook(new)
    for column, value in enumerate(("North 1", dt.date(2027, 3, 1), None, "flush", 3), 1):
        book["Work done"].cell(2, column, value)
    book.save(new)
    (result,) = assess_bytes(new.read_bytes(), "new.xlsx").stations
    assert str(result.verdict) == "re-read"


@pytest.mark.at_length  # tests/ladder climbs from what was carried
def test_the_climb_goes_on_with_the_new_seasons_entries(tmp_path: Path) -> None:
    readings, done, _ = LOGS["hand-clean"]
    new = next_season(tmp_path, filled(Farm=FARM, Readings=readings, Work_done=done))
    for outlet, verdict in ((2.5, "escalate"), (3.0, "in-range")):
        book = openpyxl.load_workbook(new)
        book["Work done"].cell(2, 1, "North 1"), book["Readings"].cell(2, 1, "North 1")
        book["Work done"].cell(2, 2, dt.date(2027, 3, 1))
        book["Work done"].cell(2, 4, "hand cleaning")
        for column, value in ((2, dt.date(2027, 3, 2)), (4, 3.2), (5, outlet)):
            book["Readings"].cell(2, column, value)
        target = tmp_path / f"{verdict}.xlsx"
        book.save(target)
        (result,) = assess_bytes(target.read_bytes(), target.name).stations
        assert str(result.verdict) == verdict
        (episode,) = result.judgement.episodes
        assert episode.opened == day(1)
        assert episode.closed == (dt.date(2027, 3, 2) if verdict == "in-range" else None)
        assert ("Carried over" in result.judgement.reason) == (verdict == "escalate")


def test_the_sheet_is_there_to_be_seen_and_changed(tmp_path: Path) -> None:
    readings, done, _ = LOGS["escalate"]
    new = next_season(tmp_path, filled(Farm=FARM, Readings=readings, Work_done=done))
    sheet = openpyxl.load_workbook(new)["Carried over"]
    assert sheet.sheet_state == "visible"
    shown = {c.value: v.value for c, v in zip(sheet[1], sheet[2], strict=True) if v.value}
    assert {k: v.date() if isinstance(v, dt.datetime) else v for k, v in shown.items()} == {
        "Station": "North 1", "Stood at": "needs escalation", "Flush gear": "trusted",
        "Over since": day(1), "Flushed": day(2), "Cleaned": day(4), "Help called": day(6),
        "Remark": "from 2026",
    }  # fmt: skip
    assert sheet.max_row == 2
    assert sheet.tables["CarriedTable"].ref == "A1:L51"


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("flush", "remark"),
    [
        ({"Cycles": 2}, "from 2026; the flush of 2026-06-02 was 1 cycle short"),
        ({"Cycles": 1}, "from 2026; the flush of 2026-06-02 was 2 cycles short"),
        ({"Lowest_inlet_in_flush": 1.0}, "from 2026; inlet too low in the flush of 2026-06-02"),
    ],
)
def test_a_flush_that_is_no_step_of_the_ladder_is_named_in_the_remark(
    flush: dict[str, Any], remark: str, tmp_path: Path
) -> None:
    old = filled(Farm=FARM, Readings=[reading(day(1), *OVER)], Work_done=[work(day(2), **flush)])
    sheet = openpyxl.load_workbook(next_season(tmp_path, old))["Carried over"]
    shown = {c.value: v.value for c, v in zip(sheet[1], sheet[2], strict=True)}
    assert (shown["Stood at"], shown["Remark"]) == ("needs flush", remark)
    assert shown["Flushed"] is None


def test_a_station_that_was_clear_is_not_carried(tmp_path: Path) -> None:
    new = next_season(tmp_path, filled(Farm=FARM, Readings=[reading(day(1), *FINE)]))
    assert openpyxl.load_workbook(new)["Carried over"]["A2"].value is None


def carried(*rows: dict[str, Any]) -> bytes:
    named = [{"Station": "North 1"} | {k.replace("_", " "): v for k, v in r.items()} for r in rows]
    return filled(Readings=[reading(day(9), *OVER)], Carried_over=named)


def test_rows_that_contradict_themselves_are_told_and_used_all_the_same() -> None:
    book = carried({"Stood_at": "needs hand cleaning"}, {"Stood_at": "needs flush"})
    assert said(book)[0] == "hand-clean"
    assert messages(book, "carried-twice") == [
        'Carried over!A3: station carried over twice: read "North 1", in row 2 already; accepted:'
        " one row; row 2 was used. Keep one row per station."
    ]
    assert messages(book, "carried-odd")[0] == (
        "Carried over!B2: what was carried over contradicts itself: read 'needs hand cleaning'"
        " without a day in Flushed; accepted: the day in Flushed. Look it up in last season's book"
        " and correct the row."
    )
    late = carried({"Stood_at": "needs flush", "Over_since": day(20)})
    assert messages(late, "carried-odd") == [
        "Carried over!C2: what was carried over contradicts itself: read 2026-06-20, after the"
        " station's first entry of 2026-06-09 in this book; accepted: a day of last season; later"
        " ones belong on Readings and Work done. Look it up in last season's book and correct the"
        " row."
    ]


def test_an_unknown_rung_or_station_is_told() -> None:
    assert "read 'half way'" in messages(carried({"Stood_at": "half way"}), "cell-not-choice")[0]
    stranger = filled(Readings=[], Carried_over=[{"Station": "North 11", "Over since": day(1)}])
    assert "Carried over!A2" in messages(stranger, "station-unknown")[0]
