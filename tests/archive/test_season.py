"""The next season begins from the archives of the last."""

from __future__ import annotations

import datetime as dt
import io
import shutil
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result

from siltbook.batch.archive.carry_register import following, next_book
from siltbook.batch.archive.compare import against, years
from siltbook.batch.archive.folder import Season, put
from siltbook.batch.archive.season import days_over, station_seasons
from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from tests.archive.conftest import PORTFOLIO, archived

BLANKS = Path(__file__).parents[2] / "templates"


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def begun(kept: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("next") / "east-2027.xlsx"
    said = siltbook("season", kept, "--template", target)
    assert said.exit_code == 0, said.output
    assert said.stdout.startswith(f"{target}: 5 stations, ")
    assert "Seasons compared: 2025, 2026" in said.stdout
    return target


@pytest.mark.at_length  # the limits below are carried so
def test_register_and_settings_are_carried_in_the_peoples_units(begun: Path) -> None:
    last = openpyxl.load_workbook(PORTFOLIO / "east-2026.xlsx", data_only=True)
    now = openpyxl.load_workbook(begun)
    filled = 0
    for row in last["Stations"].iter_rows(max_row=6):
        for before in row:
            cell = now["Stations"][before.coordinate]
            if str(cell.value).startswith("="):
                continue  # the template's own column
            filled += before.value is not None
            if isinstance(before.value, int | float):
                assert cell.value == pytest.approx(before.value, rel=1e-9), cell.coordinate
            else:
                assert cell.value == before.value, cell.coordinate
    assert filled > 50
    settings = {row[0].value: row[1].value for row in now["Farm"].rows}
    assert settings["Farm name"] == "East Farm (invented)"
    assert settings["Pressure unit"] == "psi"
    assert settings["Season"] == "2027"
    assert settings["Review date"] is None
    assert settings["Lowest flush inlet"] == pytest.approx(2.0)


@pytest.mark.at_length(keep="psi")
@pytest.mark.parametrize(
    ("name", "typed", "own"),
    [("siltbook-blank-psi.xlsx", 7.0, "Drop limit (psi)"),
     ("siltbook-blank-kpa.xlsx", 47.0, "Drop limit (kPa)"),
     ("siltbook-blank-bar.xlsx", 0.45, "Drop limit (bar)")],
)  # fmt: skip
def test_limits_are_carried_as_they_were_typed(name: str, typed: float, own: str) -> None:
    """Farm, stations and clean drops stand in the unit in which people typed them."""
    book = openpyxl.load_workbook(BLANKS / name)
    cells = {row[0].value: row for row in book["Farm"].iter_rows()}
    cells["Drop limit"][1].value = typed
    heads = {cell.value: cell.column for cell in book["Stations"][1]}
    book["Stations"].cell(2, heads["Station"]).value = "F1"
    book["Stations"].cell(2, heads[own]).value = typed - 0.05
    target = io.BytesIO()
    book.save(target)
    last = assess_bytes(target.getvalue(), name)
    now = openpyxl.load_workbook(io.BytesIO(next_book(last)))
    cells = {row[0].value: row for row in now["Farm"].iter_rows()}
    unit = own[len("Drop limit (") : -1]
    assert [cell.value for cell in cells["Drop limit"][1:3]] == [typed, unit]
    assert cells["Lowest flush inlet"][1].value == last.book.setting_raw["flush_inlet"]
    heads = {cell.value: cell.column for cell in now["Stations"][1]}
    assert now["Stations"].cell(2, heads[own]).value == pytest.approx(typed - 0.05, rel=1e-9)
    again = assess_bytes(next_book(last), "next.xlsx").book
    assert again.settings.drop_limit == pytest.approx(last.book.settings.drop_limit, rel=1e-9)
    assert again.settings.flush_inlet == pytest.approx(last.book.settings.flush_inlet, rel=1e-9)


def test_nothing_of_the_last_seasons_log_is_carried(begun: Path) -> None:
    book = assess_bytes(begun.read_bytes(), begun.name).book
    assert (book.counts["Readings"].read, book.counts["Work done"].read) == (0, 0)


def test_what_remained_open_stands_on_the_sheet_agreed(begun: Path, east: Season) -> None:
    frame = assess_bytes(begun.read_bytes(), begun.name).book.agreed.frame
    carried = set(zip(frame["station"], frame["action"], strict=True))
    agreed = east.assessment.book.agreed.frame
    still = agreed[agreed["done"].isna()]
    assert {(r["station"], r["action"]) for r in still.to_dict("records")} <= carried
    doing = [r for r in east.assessment.stations if str(r.verdict) not in ("in-range", "resting")]
    for result in doing:
        assert any(s == result.station.name and result.judgement.reason in a for s, a in carried)
    assert len(carried) == len(still) + len(doing)
    assert set(frame["remark"]) == {
        "left open from 2026; before it is done, read the cautions on the sheet Start here"
    }
    assert frame["done"].isna().all()


def test_a_station_that_fouls_twice_as_fast_is_seen(east: Season) -> None:
    """Planted: E3 comes clean no longer in 2026; the other stations are as they were."""
    before, now = years([east.assessment, archived(PORTFOLIO / "east-2025.xlsx").assessment])
    assert (before.label, now.label) == ("2025", "2026")
    then = {s.result.station.name: s for s in before.stations}
    later = {s.result.station.name: s for s in now.stations}
    assert later["E3"].by_flush is not None
    assert then["E3"].by_flush is not None
    assert later["E3"].by_flush < then["E3"].by_flush - 0.1
    assert later["E3"].days_over > then["E3"].days_over
    for name in ("E1", "E2", "E4"):
        assert not against(later[name], then[name]).startswith("fouls faster"), name


def test_rates_are_compared_only_where_the_runs_can_tell(east: Season) -> None:
    one = station_seasons(east.assessment)[0]
    base = replace(one, runs=6, rate=0.10, slowest=0.08, fastest=0.12)
    twice = replace(base, rate=0.20, slowest=0.16, fastest=0.24)
    assert against(twice, base) == "fouls faster: 2.0 times as fast"
    assert against(base, twice) == "fouls slower: 0.5 times as fast"
    assert against(replace(twice, slowest=0.11), base) == "no clear change"
    assert against(replace(twice, runs=3), base) == "too few runs (6 then, 3 now)"
    assert against(replace(twice, rate=None), base) == "too few runs (6 then, 6 now)"
    assert against(base, None) == "no season before"


def test_days_over_add_up_the_stretches(east: Season) -> None:
    result = next(r for r in east.assessment.stations if r.judgement.episodes)
    day = dt.date(2026, 7, 1)
    closed = replace(result.judgement.episodes[0], opened=day, closed=day + dt.timedelta(days=3))
    still = replace(closed, opened=day + dt.timedelta(days=10), closed=None)
    judged = replace(result, judgement=replace(result.judgement, episodes=(closed, still)))
    assert days_over(judged, day + dt.timedelta(days=12)) == 3 + 2


@pytest.mark.parametrize(
    ("season", "next_one"),
    [("2026", "2027"), ("2026/27", "2027/28"), ("2099/00", "2100/01"), ("2026-2027", "2027-2028"),
     (" 2026 ", "2027"), ("summer", ""), ("", "")],
)  # fmt: skip
def test_the_season_after(season: str, next_one: str) -> None:
    assert following(season) == next_one


def test_the_sheet_seasons_has_a_row_for_every_station_and_season(begun: Path) -> None:
    sheet = openpyxl.load_workbook(begun)["Seasons"]
    rows = [[c.value for c in row] for row in sheet.rows]
    head = next(i for i, row in enumerate(rows) if row[0] == "Station")
    found = [(row[1], row[0]) for row in rows[head + 1 :] if row[0]]
    assert found == [(y, f"E{i}") for y in ("2025", "2026") for i in range(1, 6)]
    assert len(sheet._charts) == 1


def test_the_new_book_can_be_judged(begun: Path, tmp_path: Path) -> None:
    book = Path(shutil.copy(begun, tmp_path / "next.xlsx"))
    assert siltbook("run", book).exit_code == 0


@pytest.mark.at_length  # a season given twice is refused by the same look
def test_archives_of_two_farms_are_refused(kept: Path, tmp_path: Path) -> None:
    put(archived(PORTFOLIO / "west-2025.xlsx").files, tmp_path / "west")
    target = tmp_path / "n.xlsx"
    said = siltbook("season", kept / "east-2026", tmp_path / "west", "--template", target)
    assert said.exit_code == 3
    assert said.stderr == (
        f"siltbook: {tmp_path / 'west'}: is of the farm 'West Farm (invented)', and "
        f"{kept / 'east-2026'} of 'East Farm (invented)'. Give the archives of one farm.\n"
    )
    assert not target.exists()


def test_a_season_given_twice_is_refused(kept: Path, archive: Path, tmp_path: Path) -> None:
    said = siltbook("season", kept, archive, "--template", tmp_path / "n.xlsx")
    assert said.exit_code == 3
    assert "Give each season once. Copies of one season's book are" in said.stderr


def test_an_archive_that_is_not_whole_begins_nothing(archive: Path, tmp_path: Path) -> None:
    (archive / "verdicts.json").write_text("{}")
    said = siltbook("season", archive, "--template", tmp_path / "n.xlsx")
    assert said.exit_code == 3
    assert "this archive is not whole: verdicts.json: changed" in said.stderr
    assert not (tmp_path / "n.xlsx").exists()


@pytest.mark.at_length  # test_whole_folders.py: saved while they were judged
def test_the_target_is_not_overwritten_without_being_told(kept: Path, tmp_path: Path) -> None:
    target = tmp_path / "n.xlsx"
    target.write_text("mine")
    assert siltbook("season", kept, "--template", target).exit_code == 2
    assert target.read_text() == "mine"
    assert siltbook("season", kept, "--template", tmp_path / "n.ods").exit_code == 2
    assert siltbook("season", kept, "--template", target, "--force").exit_code == 0
