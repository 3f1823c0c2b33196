"""A new season begins where the old one stood: archive, season, run, and rows typed by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates import blank_sheets
from tests.whole.verdicts import assessed, day, filled, messages, reading, said, work

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


LOW_FLUSH = {"Lowest_inlet_in_flush": 1.0}
LOW = (1.5, 0.8)  # [bar]: a drop of 7.14 m at an inlet at which no flush works
LOWS: dict[str, tuple[list[Any], list[Any], dt.date, str]] = {
    "a low flush": (
        [reading(day(1), *OVER)], [work(day(2), **LOW_FLUSH)], day(2), "needs flush",
    ),
    "a low reading": ([reading(day(1), *LOW)], [], day(1), "needs flush"),
    "a low short flush": (
        [reading(day(1), *FINE)], [work(day(2), **LOW_FLUSH, Cycles=1)], day(2), "clear",
    ),
}  # fmt: skip
NO_STEP: dict[str, tuple[dict[str, Any], str]] = {
    "one cycle short": ({"Cycles": 2}, "the flush of 2026-06-02 was 1 cycle short"),
    "two cycles short": ({"Cycles": 1}, "the flush of 2026-06-02 was 2 cycles short"),
    "low": (LOW_FLUSH, "inlet too low in the flush of 2026-06-02"),
}


def all_of_them() -> bytes:
    """One farm with a station for each of the cases above, and one that was clear."""
    cases = {name: (readings, done) for name, (readings, done, _) in LOGS.items()}
    cases |= {name: (readings, done) for name, (readings, done, *_) in LOWS.items()}
    for name, (flush, _) in NO_STEP.items():
        cases[name] = ([reading(day(1), *OVER)], [work(day(2), **flush)])
    cases["clear"] = ([reading(day(1), *FINE)], [])
    readings, done = (
        [row | {"Station": name} for name, logs in cases.items() for row in logs[which]]
        for which in (0, 1)
    )
    stations = [{"Station": name} for name in cases]
    return filled(Farm=FARM, Stations=stations, Readings=readings, Work_done=done)


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


Stood = dict[str, dict[str, Any]]


def stood(package: bytes) -> Stood:
    """What a book's sheet *Carried over* says of each station, by its headers."""
    sheet = openpyxl.load_workbook(BytesIO(package), read_only=True)["Carried over"]
    headers, *rows = sheet.iter_rows(values_only=True)
    found: Stood = {}
    for row in rows:
        filled_in = {
            header: value.date() if isinstance(value, dt.datetime) else value
            for header, value in zip(headers, row, strict=True)
            if value
        }
        if filled_in:
            assert filled_in["Station"] not in found
            found[filled_in["Station"]] = filled_in
    return found


@dataclass(frozen=True)
class Begun:
    """A season that was begun where the last one stood."""

    old: Assessment
    package: bytes
    run: str
    new: Assessment
    stood: Stood


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Begun:
    """The farm of all cases, its next season, and what a run says of that."""
    home, data = tmp_path_factory.mktemp("begun"), all_of_them()
    target = next_season(home, data)
    package = target.read_bytes()
    run = siltbook("run", target)
    return Begun(assessed(data), package, run, assessed(package), stood(package))


def of(assessment: Assessment, station: str) -> StationResult:
    (found,) = (result for result in assessment.stations if result.station.name == station)
    return found


@pytest.mark.parametrize("verdict", LOGS)
def test_a_station_stands_in_march_where_it_stood_in_august(verdict: str, begun: Begun) -> None:
    assert str(of(begun.old, verdict).verdict) == verdict
    result = of(begun.new, verdict)
    assert str(result.verdict) == verdict
    assert LOGS[verdict][2] in result.judgement.reason
    assert "Carried over from last season" in result.judgement.reason


@pytest.mark.parametrize("name", LOWS)
def test_an_inlet_too_low_for_a_flush_is_checked_on_day_one_too(name: str, begun: Begun) -> None:
    """It stood in the remark alone, and the station was to be flushed at that inlet."""
    *_, on, step = LOWS[name]
    assert str(of(begun.old, name).verdict) == "check-supply"
    assert begun.stood[name]["Stood at"] == step
    assert begun.stood[name]["Inlet too low"] == on
    result = of(begun.new, name)
    assert str(result.verdict) == "check-supply"
    assert result.judgement.reason.startswith(
        f"Inlet too low for a flush on {on}, in last season's book; at least 2.00 bar is needed"
    )
    assert not [f for f in begun.new.findings if f.rule == "carried-odd"]


def test_a_season_in_which_nobody_worked_carries_it_on(begun: Begun, tmp_path: Path) -> None:
    again = stood(next_season(tmp_path, begun.package).read_bytes())
    assert {name: again[name]["Inlet too low"] for name in LOWS} == {
        name: on for name, (*_, on, _) in LOWS.items()
    }


def test_a_complete_flush_ends_what_was_carried_of_the_inlet(begun: Begun) -> None:
    book = openpyxl.load_workbook(BytesIO(begun.package))
    for column, value in enumerate(("a low reading", dt.date(2027, 3, 1), None, "flush", 3), 1):
        book["Work done"].cell(2, column, value)
    flushed = BytesIO()
    book.save(flushed)
    assert str(of(assessed(flushed.getvalue()), "a low reading").verdict) == "re-read"


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


def test_the_sheet_is_there_to_be_seen_and_changed(begun: Begun) -> None:
    sheet = openpyxl.load_workbook(BytesIO(begun.package))["Carried over"]
    assert sheet.sheet_state == "visible"
    assert begun.stood["escalate"] == {
        "Station": "escalate", "Stood at": "needs escalation", "Flush gear": "trusted",
        "Over since": day(1), "Flushed": day(2), "Cleaned": day(4), "Help called": day(6),
        "Remark": "from 2026",
    }  # fmt: skip
    assert sheet.max_row == 1 + len(begun.stood)
    prepared = blank_sheets.TABLE_ROWS["Carried over"]
    spare = len(begun.stood) + blank_sheets.SPARE_ROWS["Carried over"]
    assert sheet.tables["CarriedTable"].ref == f"A1:L{1 + max(prepared, spare)}"


@pytest.mark.parametrize("name", NO_STEP)
def test_a_flush_that_is_no_step_of_the_ladder_is_named_in_the_remark(
    name: str, begun: Begun
) -> None:
    row = begun.stood[name]
    assert (row["Stood at"], row["Remark"]) == ("needs flush", f"from 2026; {NO_STEP[name][1]}")
    assert "Flushed" not in row


def test_a_station_that_was_clear_is_not_carried(begun: Begun) -> None:
    assert str(of(begun.old, "clear").verdict) == "in-range"
    assert begun.stood.keys() == {*LOGS, *LOWS, *NO_STEP}


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
