"""Rules about the register."""

from __future__ import annotations

import pytest

from siltbook.checks.register import near_name
from tests.checks.builders import book, job, reading
from tests.checks.helpers import found, messages


def test_unknown_station_on_each_list() -> None:
    faulty = book(
        [reading(1), reading(2, station="Nroth 1")],
        work=[job(station="South 9")],
        agreed=[{"station": "East", "action": "Look"}],
    )
    assert messages(faulty, "station-unknown") == [
        'Readings!A3: station not in the register: read "Nroth 1"; accepted: a station of the '
        "sheet Stations (North 1) (did you mean 'North 1'?). Correct the name, or add it "
        "to the sheet Stations.",
        'Work done!A2: station not in the register: read "South 9"; accepted: a station of the '
        "sheet Stations (North 1). Correct the name, or add it to the sheet Stations.",
        'Agreed!A2: station not in the register: read "East"; accepted: a station of the '
        "sheet Stations (North 1). Correct the name, or add it to the sheet Stations.",
    ]
    stations = [one.station for one in found(faulty, "station-unknown")]
    assert stations == ["Nroth 1", "South 9", "East"]


def test_the_whole_farm_is_no_station_to_look_for() -> None:
    agreed = [{"station": name, "action": "Look"} for name in ("(farm)", "#3", "East")]
    stations = [one.station for one in found(book([reading(1)], agreed=agreed), "station-unknown")]
    assert stations == ["#3", "East"]


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("Nort 1", "North 1"),  # the other is 15 points behind
        ("North", ""),  # as near the one as the other
        ("East 1", ""),
    ],
)
def test_a_name_is_offered_where_one_comes_near_and_no_other_does(name: str, meant: str) -> None:
    assert near_name(name, ("North 1", "North 2")) == meant


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("Rio", "Río"), ("S\u0661", "S1"), ("s-01", "S1"), ("\u0420\u04301", "Pa1"), ("#7", "7"),
        ("7.0", "7"), ("7.1", ""), ("P", ""), ("", ""),
    ],
)  # fmt: skip
def test_a_short_name_that_is_the_same_but_for_accents_signs_and_scripts_is_near(
    name: str, meant: str
) -> None:
    known = ("7", "Pa1", "Río", "S1", "Weir")
    assert near_name(name, tuple(sorted(known))) == meant
    assert near_name("S01", ("S1", "S-1")) == ""  # as near the one as the other


def test_likeness_of_exactly_75_is_near() -> None:
    assert near_name("abcd", ("abcX",)) == "abcX"
    assert near_name("abcdefghijPQRS", ("abcdefghijXYZ",)) == ""  # 74.1


def test_unknown_station_in_many_rows_is_one_finding() -> None:
    rows = [reading(day, station="West" if day % 2 else "WEST") for day in range(1, 13)]
    (message,) = messages(book(rows), "station-unknown")
    assert 'read "West" (also in rows 3, 4, 5, 6, 7, 8 and 5 more);' in message


def test_case_and_spacing_of_a_known_station_do_not_count() -> None:
    assert messages(book([reading(1, station=" north  1")]), "station-unknown") == []


def test_missing_name_is_not_an_unknown_station() -> None:
    assert messages(book([reading(1, station=None)]), "station-unknown") == []


def test_empty_register_says_so() -> None:
    (message,) = messages(book([reading(1)], stations=[]), "station-unknown")
    assert "accepted: a station of the sheet Stations, which names none." in message


def test_station_repeated_in_other_case() -> None:
    register = [{"station": "North 1"}, {"station": "South"}, {"station": "north 1"}]
    assert messages(book(stations=register), "station-repeated") == [
        'Stations!A4: station stands twice in the register: read "north 1", in row 2 already; '
        "accepted: each station once; row 2 was used. Keep one row per station."
    ]


def test_two_stations_and_two_nameless_rows_are_not_repeated() -> None:
    register = [{"station": "North 1"}, {"station": "North 11"}, {"block": "B"}, {"block": "C"}]
    assert messages(book(stations=register), "station-repeated") == []


def test_two_stations_that_look_alike_in_letters_of_two_scripts_are_a_doubt() -> None:
    register = [{"station": "A 1"}, {"station": "North"}, {"station": "А 1"}, {"station": "Α 1"}]
    assert messages(book(stations=register), "station-look-alike") == [
        f"Stations!A{row}: two stations look alike: read \"{name}\", with '{name[0]}' ({letter}), "
        "beside row 2, with 'A' (Latin capital letter a); accepted: names that a person can tell "
        "apart. If they are one, write the name alike everywhere and keep one row; else add "
        "something that tells them apart."
        for row, name, letter in [
            (4, "А 1", "Cyrillic capital letter a"),
            (5, "Α 1", "Greek capital letter alpha"),
        ]
    ]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("B2", "в2"), ("Pump", "Рump"), ("SHOP", "ЅНОР"), ("S-01", "S\u201101"), ("S1", "Ｓ1"),
        ("Нива", "HИBA"),
    ],
)  # fmt: skip
def test_letters_signs_and_widths_that_look_alike(one: str, other: str) -> None:
    register = [{"station": one}, {"station": other}]
    (message,) = messages(book(stations=register), "station-look-alike")
    assert "beside row 2" in message


def test_names_of_one_script_or_that_differ_to_the_eye_do_not_look_alike() -> None:
    names = ["A1", "A2", "Б1", "Пруд", "Prud", "a-1", "a1", "Насос", "Λ1", "01", "O1", "Pond"]
    register = [{"station": name} for name in names]
    assert messages(book(stations=register), "station-look-alike") == []


def test_an_unknown_name_that_looks_the_same_says_which_letter_differs() -> None:
    register = [{"station": "A1"}]
    (message,) = messages(book([reading(1, station="А1")], stations=register), "station-unknown")
    assert (
        "accepted: a station of the sheet Stations (A1) (did you mean 'A1'? It looks the same and "
        "has 'A' (Latin capital letter a) where this has 'А' (Cyrillic capital letter a))."
    ) in message


def test_clean_drop_above_seventy_percent_of_the_farms_limit() -> None:
    register = [{"station": "North 1", "clean_drop": 3.6}]
    assert messages(book(stations=register), "clean-drop-high") == [
        "Stations!F2: clean drop above 70 % of the limit: read 3.6 m at a limit of 5 m; "
        "accepted: up to 3.5 m. Check the element's size, or clean it properly and read again."
    ]


def test_clean_drop_at_seventy_percent_or_unknown_is_accepted() -> None:
    register = [{"station": "North 1", "clean_drop": 3.5}, {"station": "South"}]
    assert messages(book(stations=register), "clean-drop-high") == []


def test_clean_drop_is_judged_by_the_stations_own_limit() -> None:
    high = [{"station": "North 1", "clean_drop": 3.0, "drop_limit": 4.0}]
    fine = [{"station": "North 1", "clean_drop": 4.0, "drop_limit": 8.0}]
    assert "at a limit of 4 m" in messages(book(stations=high), "clean-drop-high")[0]
    assert messages(book(stations=fine), "clean-drop-high") == []


@pytest.mark.parametrize("limit", [0.5, 0.99, 15.1, 50.0])
def test_a_limit_that_looks_typed_in_another_unit(limit: float) -> None:
    register = [{"station": "North 1", "drop_limit": limit}]
    assert messages(book(stations=register), "limit-odd") == [
        f"Stations!G2: drop limit looks typed in another unit: read {limit:g} m; accepted: as a"
        " rule 1 m to 15 m; a filter usually counts as clogged at 5 m. Check the unit of the limit."
    ]


def test_ordinary_limits_are_accepted() -> None:
    register = [{"station": f"N {n}", "drop_limit": n} for n in (1.0, 2.1, 5.0, 7.0, 15.0)]
    assert messages(book(stations=register), "limit-odd") == []


def test_the_farms_limit_is_asked_in_its_cell() -> None:
    (said,) = messages(book(drop_limit=0.5), "limit-odd")
    assert said.startswith("Farm!B5: drop limit looks typed in another unit: read 0.5 m")
