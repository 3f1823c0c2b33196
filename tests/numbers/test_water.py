"""Clogging hazard and grade against passage: edges, what is missing, what is only 'less than'."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.model import Station
from siltbook.batch.numbers.history import stations
from siltbook.batch.numbers.water import (
    CONSTITUENTS,
    PASSAGE_RULES,
    TABLES,
    Bounds,
    Hazard,
    Rating,
    grade_fit,
    rate,
    water_review,
)
from siltbook.templates.book import Book
from siltbook.templates.contract import CLOGGING_TABLES, WATER
from siltbook.templates.contract import PASSAGE_RULES as RULE_NAMES
from tests.checks.builders import book, table

DAY = dt.date(2026, 5, 4)
OUTSIDE = "outside what is possible: see Findings"
METHOD = Path(__file__).parents[2] / "docs" / "method.md"


def with_water(*rows: dict[str, Any], **settings: Any) -> Book:
    return replace(book(**settings), water=table(WATER, list(rows), {"": "bar"}))


def of(found: tuple[Rating, ...], constituent: str, source: str = "Well") -> Rating:
    (one,) = (r for r in found if (r.constituent, r.source) == (constituent, source))
    return one


@pytest.mark.parametrize(
    ("value", "hazard"),
    [
        (0.0, Hazard.LOW), (0.1999, Hazard.LOW), (0.2, Hazard.MODERATE), (1.5, Hazard.MODERATE),
        (1.5001, Hazard.SEVERE), (900.0, Hazard.SEVERE),
    ],
)  # fmt: skip
def test_a_value_on_a_bound_is_moderate(value: float, hazard: Hazard) -> None:
    assert rate(value, Bounds(0.2, 1.5)) is hazard


def test_under_and_over_are_rated_only_where_that_settles_it() -> None:
    assert rate(0.2, Bounds(0.2, 1.5), "<") is Hazard.LOW
    assert rate(0.21, Bounds(0.2, 1.5), "<") is None
    assert rate(1.5, Bounds(0.2, 1.5), ">") is Hazard.SEVERE
    assert rate(1.4, Bounds(0.2, 1.5), ">") is None


def test_every_choice_of_the_farm_has_its_table_and_its_rule() -> None:
    assert tuple(TABLES) == CLOGGING_TABLES
    assert tuple(PASSAGE_RULES) == RULE_NAMES
    for one in TABLES.values():
        assert set(one.bounds) == set(CONSTITUENTS)
        assert all(0 < b.low < b.severe for b in one.bounds.values())
        assert "printed" in one.source or "memory" in one.source


def test_latest_and_worst_of_each_source() -> None:
    found = water_review(
        with_water(
            {"date": DAY, "source": "Well", "iron": 2.0},
            {"date": DAY + dt.timedelta(9), "source": "Pond", "iron": 0.1},
            {"date": DAY + dt.timedelta(3), "source": " WELL ", "iron": 0.3, "ph": 6.9},
            {"date": DAY + dt.timedelta(5), "source": "well", "ph": 7.1},
        ),
        None,
    )
    assert list(dict.fromkeys(r.source for r in found)) == ["Well", "Pond"]
    assert len(found) == 2 * len(CONSTITUENTS)
    iron = of(found, "iron")
    assert iron.latest is not None
    assert iron.worst is not None
    assert (iron.latest.value, iron.latest.on) == (0.3, DAY + dt.timedelta(3))
    assert (iron.hazard, iron.worst.value, iron.worst_hazard) == (
        Hazard.MODERATE, 2.0, Hazard.SEVERE,
    )  # fmt: skip
    assert of(found, "ph").hazard is Hazard.MODERATE
    assert of(found, "iron", "Pond").hazard is Hazard.LOW


def test_the_lower_of_two_rows_on_one_day_is_the_later() -> None:
    rows = [{"date": DAY, "source": "Well", "iron": value} for value in (0.1, 0.4)]
    latest = of(water_review(with_water(*rows), None), "iron").latest
    assert latest is not None
    assert (latest.value, latest.row) == (0.4, 3)


def test_what_was_not_measured_says_so() -> None:
    found = water_review(with_water({"date": DAY, "iron": 0.1}), None)
    manganese = of(found, "manganese", "(source not named)")
    assert (manganese.why, manganese.hazard, manganese.worst) == ("not tested", None, None)
    assert of(found, "iron", "(source not named)").why == ""


def test_an_impossible_value_is_not_rated() -> None:
    found = water_review(
        with_water({"date": DAY, "source": "Well", "ph": 72.0, "iron": -0.1}), None
    )
    for key in ("ph", "iron"):
        assert of(found, key).why == "no usable value: see Findings"
        assert of(found, key).hazard is None


def test_tests_after_the_as_of_date_are_left_out() -> None:
    given = with_water(
        {"date": DAY, "source": "Well", "iron": 0.1},
        {"date": DAY + dt.timedelta(1), "source": "Well", "iron": 9.0},
    )
    assert of(water_review(given, DAY), "iron").worst_hazard is Hazard.LOW
    assert of(water_review(given, DAY + dt.timedelta(1)), "iron").worst_hazard is Hazard.SEVERE
    assert water_review(with_water(), None) == ()


def test_less_than_a_bound_too_high_is_not_known() -> None:
    given = with_water({"date": DAY, "source": "Well", "iron": 0.5})
    given.water.raw["iron"][2] = "<0.5"
    iron = of(water_review(given, None), "iron")
    assert (iron.hazard, iron.why) == (None, "not known: only reported as under 0.5")


def test_a_known_value_outranks_one_that_is_only_a_bound() -> None:
    given = with_water(
        {"date": DAY, "source": "Well", "iron": 0.1},
        {"date": DAY + dt.timedelta(1), "source": "Well", "iron": 5.0},
    )
    given.water.raw["iron"][3] = "<5"
    iron = of(water_review(given, None), "iron")
    assert iron.worst is not None
    assert (iron.worst.value, iron.worst_hazard) == (0.1, Hazard.LOW)
    assert iron.hazard is None
    assert iron.unsure == "under 5 on 2026-05-05 may have been worse"


def test_too_many_to_count_is_severe_where_the_count_says_so() -> None:
    given = with_water(
        {"date": DAY, "source": "Well", "bacteria": 50_000.0},
        {"date": DAY + dt.timedelta(1), "source": "Well", "bacteria": 300.0},
    )
    given.water.raw["bacteria"] |= {2: ">50000", 3: ">300"}
    bacteria = of(water_review(given, None), "bacteria")
    assert bacteria.worst is not None
    assert (bacteria.worst_hazard, bacteria.worst.words()) == (Hazard.SEVERE, "over 50000")
    assert (bacteria.hazard, bacteria.why) == (None, "not known: only reported as over 300")
    assert bacteria.unsure == ""


def test_where_the_tables_disagree_it_says_so() -> None:
    rows = (
        {"date": DAY, "source": "Well", "iron": 0.15, "sulphide": 0.3},
        {"date": DAY + dt.timedelta(1), "source": "Well", "iron": 0.05, "ph": 7.7},
    )
    found = water_review(with_water(*rows), None)
    assert of(found, "sulphide").others == "by Bucks 1979 or Pitts 1990 it would be moderate"
    assert of(found, "iron").others == (
        "the worst: by Ayers and Westcot 1985 or Pitts 1990 it would be moderate"
    )
    assert of(found, "ph").others == "by Pitts 1990 it would be severe"
    found = water_review(with_water(*rows, clogging_table="Ayers and Westcot 1985"), None)
    assert of(found, "iron").others == "the worst: by Haman 2017 or Bucks 1979 it would be low"
    assert of(found, "manganese").others == ""


def station(**more: Any) -> Station:
    return stations(book(stations=[{"station": "North 1", **more}]))[0]


@pytest.mark.parametrize(
    ("grade", "passage", "rule", "fits", "why"),
    [
        (100.0, 1.0, "one tenth", True, "100 µm, allowed up to 100 µm"),
        (101.0, 1.0, "one tenth", False, "101 µm, allowed only up to 100 µm"),
        (70.0, 0.7, "one tenth", True, "70 µm, allowed up to 70 µm"),
        (100.0, 0.7, "one seventh", True, "100 µm, allowed up to 100 µm"),
        (None, 1.0, "one tenth", None, "no filtration grade"),
        (0.0, 1.0, "one tenth", None, f"filtration grade {OUTSIDE}"),
        (130.0, 1400.0, "one tenth", None, f"emitter passage {OUTSIDE}"),
        (100.0, None, "one tenth", None, "no emitter passage"),
        (None, None, "one tenth", None, "no emitter passage, no filtration grade"),
    ],
)  # fmt: skip
def test_grade_against_passage(
    grade: float | None, passage: float | None, rule: str, fits: bool | None, why: str
) -> None:
    found = grade_fit(station(grade=grade, emitter_passage=passage), rule)
    assert (found.fits, found.why) == (fits, why)
    assert (found.largest is None) is (passage not in (0.7, 1.0))


def test_120_mesh_is_two_openings_and_only_said_where_it_matters() -> None:
    at_125 = grade_fit(station(grade=125.0, emitter_passage=1.0), "one eighth")
    at_130 = grade_fit(station(grade=130.0, emitter_passage=1.0), "one eighth")
    assert (at_125.fits, at_130.fits) == (True, False)
    for found in (at_125, at_130):
        assert found.why.endswith(
            "; 120 mesh is 125 µm in ASTM E11 and 130 µm in irrigation use: see which the"
            " element's maker means"
        )
    assert "mesh" not in grade_fit(station(grade=130.0, emitter_passage=1.4), "one tenth").why
    assert "mesh" not in grade_fit(station(grade=128.0, emitter_passage=1.0), "one eighth").why


def test_the_written_table_is_the_one_that_rates() -> None:
    lines = METHOD.read_text().split("| constituent |")[1].split("\n\n")[0].splitlines()
    names = [name.strip() for name in lines[0].strip(" |").split("|")]
    assert tuple(names) == tuple(TABLES)
    written = {}
    for line in lines[2:]:
        header, *cells = (cell.strip() for cell in line.strip("|").split("|"))
        written[header] = [tuple(map(float, cell.split(" – "))) for cell in cells]
    assert len(written) == len(CONSTITUENTS)
    for key in CONSTITUENTS:
        used = [(t.bounds[key].low, t.bounds[key].severe) for t in TABLES.values()]
        assert written[WATER.column(key).header] == used
