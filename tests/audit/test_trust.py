"""Each planted fault is found, at its place; the same farm without it is quiet."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.audit.model import Question, State
from siltbook.batch.audit.rules import RULES
from tests.audit.farm import NAMES, Farm, day, honest, looks, open_places, planted


def rounds(farm: Farm, week: int) -> list[dict[str, object]]:
    return [r for r in farm.readings if r["date"] == day(week) and r["occasion"] == "routine"]


def test_the_honest_farm_is_quiet() -> None:
    results = honest().results()
    assert looks(results) == set()
    # Everything can be asked of this book, so that the plants below are found by the right rule.
    on_data = {code for code, rule in RULES.items() if rule.question is Question.TRUST}
    # Of the job, which has findings, witnesses and visits.
    on_data -= {"book-findings", "witness-rows", "nobody-there"}
    assert {code for code, r in results.items() if r.state is State.QUIET} >= on_data


def test_a_copied_week() -> None:
    def copy(farm: Farm) -> None:
        old = {r["station"]: r for r in rounds(farm, 11)}
        for row in rounds(farm, 12):
            row.update({k: old[row["station"]][k] for k in ("inlet", "outlet", "flow")})

    results = planted(copy)
    assert "copied-round" in looks(results)
    (place,) = open_places(results["copied-round"])
    assert place.said == (f"Round of {day(12)}: 6 of 6 stations read exactly as on {day(11)}")
    assert place.p is not None
    assert place.p < 0.01


def test_one_station_copied_down_and_a_block_repeated() -> None:
    def fill(farm: Farm) -> None:
        own = farm.of("Maple", "routine")
        for row in own[10:15]:
            row.update({k: own[9][k] for k in ("inlet", "outlet", "flow")})

    results = planted(fill)
    assert "copied-block" in looks(results)
    assert "6 readings the same in every column" in results["copied-block"].said

    def repeat(farm: Farm) -> None:
        own = farm.of("Maple", "routine")
        for old, new in zip(own[3:8], own[18:23], strict=True):
            new.update({k: old[k] for k in ("inlet", "outlet", "flow")})

    results = planted(repeat)
    (place,) = open_places(results["copied-block"])
    assert place.station == "Maple"
    assert "5 readings in a row" in place.said


def test_a_stuck_gauge_and_only_that_side() -> None:
    def stick(farm: Farm) -> None:
        own = farm.of("Elm")
        for row in own[14:]:
            row["inlet"] = own[13]["inlet"]

    results = planted(stick)
    assert "stuck-gauge" in looks(results)
    (place,) = open_places(results["stuck-gauge"])
    assert place.station == "Elm"
    assert place.said.startswith("Elm: inlet ")
    assert "readings running" in place.said


@pytest.mark.at_length  # test_a_stuck_gauge and test_series_limits.py
def test_a_gauge_stuck_all_season_is_seen_against_its_neighbours() -> None:
    def stick(farm: Farm) -> None:
        for row in farm.of("Elm"):
            row["inlet"] = 3.2

    assert open_places(planted(stick)["stuck-gauge"])[0].station == "Elm"

    def alone(farm: Farm) -> None:
        stick(farm)
        farm.stations[NAMES.index("Elm")]["block"] = "Block of its own"

    # Nothing tells a stuck gauge from a regulator here, and nothing is claimed.
    assert planted(alone)["stuck-gauge"].state is State.QUIET


def test_swapped_columns() -> None:
    def swap(farm: Farm) -> None:
        for row in farm.of("Cedar")[8:14]:
            row["inlet"], row["outlet"] = row["outlet"], row["inlet"]

    results = planted(swap)
    (place,) = open_places(results["swapped"])
    assert place.said.startswith("Cedar: outlet above inlet in ")


def test_one_swapped_reading_is_a_slip() -> None:
    def swap(farm: Farm) -> None:
        row = farm.of("Cedar")[8]
        row["inlet"], row["outlet"] = row["outlet"], row["inlet"]

    assert planted(swap)["swapped"].state is State.QUIET


def test_a_late_entry_that_decides_nothing_is_for_the_record_and_one_in_a_gap_is_not() -> None:
    """An unusable reading between two visits excuses nothing; in a gap it would."""
    farm = honest()
    own = [r for r in farm.of("Alder") if r["occasion"] == "routine"]
    stray = {**own[9], "date": own[9]["date"] + dt.timedelta(days=3), "inlet": 0.0, "outlet": 0.0}
    farm.readings.append(stray)
    result = farm.results()["back-dated"]
    assert result.state is State.QUIET
    (place,) = result.places
    assert place.said.endswith("; no verdict can use it, and it fills no gap")
    for reading in own[8:12]:
        farm.readings.remove(reading)
    assert farm.results()["back-dated"].state is State.LOOK


def test_a_back_dated_entry_and_a_slip_of_paper_found_a_week_late() -> None:
    def move(farm: Farm, later: int) -> int:
        row = next(r for r in farm.of("Birch") if r["date"] == day(5))
        farm.readings.remove(row)
        behind = next(i for i, r in enumerate(farm.readings) if r["date"] == day(5 + later))
        farm.readings.insert(behind, row)
        return behind + 2

    late = honest()
    sheet_row = move(late, 12)
    (place,) = open_places(late.results()["back-dated"])
    assert place.cell == f"B{sheet_row}"
    assert f"the entry of {day(5)} stands below" in place.said
    slip = honest()
    move(slip, 3)
    assert slip.results()["back-dated"].state is State.QUIET


def test_rows_in_no_order_say_nothing_about_entry() -> None:
    def shuffle(farm: Farm) -> None:
        farm.readings.sort(key=lambda r: (r["station"], r["date"].day, r["date"].month))
        farm.work.clear()

    assert planted(shuffle)["back-dated"].state is State.CANNOT


def test_newest_rows_on_top_are_an_order_too() -> None:
    assert planted(lambda farm: farm.readings.reverse())["back-dated"].state is State.QUIET


def test_too_many_round_digits() -> None:
    def blunt(farm: Farm) -> None:
        for row in farm.of("Alder"):
            row["outlet"] = round(row["outlet"], 1)

    results = planted(blunt)
    (place,) = open_places(results["round-digits"])
    assert place.station == "Alder"
    assert "outlet readings are round where 20 % would be on a division of 0.02 bar" in place.said


def test_the_same_digits_are_no_news_on_a_coarse_gauge() -> None:
    def blunt(farm: Farm) -> None:
        farm.stations[0]["division"] = 0.1
        for row in farm.of("Alder"):
            row["inlet"], row["outlet"] = round(row["inlet"], 1), round(row["outlet"], 1)

    assert "round-digits" not in looks(planted(blunt))


def test_two_stations_with_one_series() -> None:
    def copy(farm: Farm) -> None:
        others = {r["date"]: r for r in farm.of("Maple", "routine")}
        for row in farm.of("Hazel", "routine"):
            row.update({k: others[row["date"]][k] for k in ("inlet", "outlet", "flow")})

    results = planted(copy)
    (place,) = open_places(results["same-series"])
    assert place.said.startswith("Maple reads as Hazel on ")


def test_one_minute_for_a_whole_round() -> None:
    def stamp(farm: Farm) -> None:
        for row in rounds(farm, 9):
            row["time"] = dt.time(17, 0)

    (place,) = open_places(planted(stamp)["same-time"])
    assert place.said.startswith(f"{day(9)}: 6 of 6 stations at 17:00")

    def habit(farm: Farm) -> None:
        for row in farm.readings:
            row["time"] = dt.time(7, 0)

    result = planted(habit)["same-time"]
    assert result.state is State.CANNOT
    assert "a habit" in result.said


def test_a_reading_after_the_flush_before_the_flush() -> None:
    def early(farm: Farm) -> None:
        row = next(r for r in farm.readings if r["occasion"] == "after flush")
        row["time"] = dt.time(5, 0)

    (place,) = open_places(planted(early)["step-order"])
    assert "a reading 'after flush' at 05:00, before the flush at " in place.said
    assert place.cell.startswith("H")


def test_readings_while_the_station_rested() -> None:
    def dry(farm: Farm) -> None:
        farm.of("Birch", "routine")[4]["flow"] = 0.0

    (place,) = open_places(planted(dry)["resting"])
    assert "at a flow of 0" in place.said

    def remark(farm: Farm) -> None:
        farm.stations[1].update(in_service="no", remark=f"resting since {day(20)}, not planted")

    found = open_places(planted(remark)["resting"])
    assert len(found) >= 9
    assert found[0].said.endswith(f"read, though resting since {day(20)}")


def test_not_in_service_without_a_date_is_said_and_not_held_against_anybody() -> None:
    result = planted(lambda farm: farm.stations[1].update(in_service="no"))["resting"]
    assert result.state is State.QUIET
    assert "1 not in service today; since when, the register does not say." in result.said


def test_an_inlet_that_contradicts_its_neighbours() -> None:
    def drift(farm: Farm) -> None:
        for row in farm.of("Cedar", "routine")[3:24:3]:
            row["inlet"] = round(row["inlet"] + 0.8, 2)

    (place,) = open_places(planted(drift)["neighbours"])
    assert place.said == "Cedar: inlet far from its neighbours' on 7 of 30 common days"


@pytest.mark.parametrize(("first", "last", "found"), [(9, 13, True), (10, 12, False)])
def test_coverage_of_the_plan(first: int, last: int, found: bool) -> None:
    def gap(farm: Farm) -> None:
        gone = {day(week) for week in range(first, last)}
        own = [r for r in farm.of("Birch") if r["date"] in gone]
        farm.readings = [r for r in farm.readings if r not in own]

    result = planted(gap)["coverage"]
    assert (result.state is State.LOOK) == found
    assert result.of == 180
    assert result.kept == 180 - (last - first)
    if found:
        assert "2026-05 0 of 4" in result.said
