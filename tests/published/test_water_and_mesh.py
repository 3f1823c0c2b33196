"""Clogging hazard, mesh and passage against published tables.

Sources:

- A "Haman 2017": Handbook for Irrigation of Wine Grapes in South Africa, Table 4.6, p. 96 [S];
- B "Ayers and Westcot 1985": FAO Irrigation and Drainage Paper 29 Rev. 1, Table 20 [M];
- C "Bucks 1979": Bucks, Nakayama and Gilbert, Agric. Water Manage. 2:149-162, table [M];
- D "Pitts 1990": Florida Automated Weather Network, Table 1 after Pitts et al. [S];
- ASTM E11 openings through the library fluids [S2]; Agriculture Victoria on 120 mesh [S];
- Merkley and Allen, Sprinkle and Trickle Irrigation Lectures, Utah State University, lecture 17,
  pp. 197-198 [S];
- Victoria Department of Primary Industries, Filtration of Micro-Irrigation Systems, Agriculture
  Note AG0136, March 1995, updated December 2009, section "Outlet size" [S]: it names one eighth
  as what others recommend, and is itself for one fifth with regular chlorination.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from fluids.particle_size_distribution import ASTM_E11_sieves

from siltbook.batch.numbers.history import stations
from siltbook.batch.numbers.water import PASSAGE_RULES, TABLES, grade_fit, rate, water_review
from siltbook.checks.fitness import check_book
from siltbook.templates.contract import WATER
from siltbook.templates.mesh import E11_OPENINGS, RULE_OF_THUMB, opening
from tests.checks.builders import book, table
from tests.reading.books import NAME, clean_sheets, workbook

A, B, C, D = TABLES


@pytest.mark.parametrize(
    ("key", "value", "expected"),
    [
        pytest.param("iron", 0.15, {A: "low", B: "moderate", C: "low", D: "moderate"},
                     id="W01 iron 0.15: A low [S], B moderate [M]"),
        pytest.param("sulphide", 0.3, {A: "low", B: "low", C: "moderate", D: "moderate"},
                     id="W02 hydrogen sulphide 0.3: A low [S], D moderate [S]"),
        pytest.param("ph", 7.7, {A: "moderate", B: "moderate", C: "moderate", D: "severe"},
                     id="pH 7.7: D is severe over 7.5 [S]"),
    ],
)  # fmt: skip
def test_where_the_tables_disagree(key: str, value: float, expected: dict[str, str]) -> None:
    for name, hazard in expected.items():
        assert rate(value, TABLES[name].bounds[key]) == hazard, name
        row = {"date": dt.date(2026, 5, 1), "source": "Well", key: value}
        given = replace(book(clogging_table=name), water=table(WATER, [row], {"": "bar"}))
        (found,) = (r for r in water_review(given, None) if r.constituent == key)
        assert found.hazard == hazard
        for other in expected:
            assert (other in found.others) is (expected[other] != hazard)


@pytest.mark.parametrize(
    ("key", "low", "severe"),
    [
        ("suspended_solids", 50, 100), ("dissolved_solids", 500, 2000), ("manganese", 0.1, 1.5),
        ("bacteria", 10_000, 50_000),
    ],
)  # fmt: skip
def test_where_the_tables_agree(key: str, low: float, severe: float) -> None:
    """The same in A [S], B and C [M] and D [S]."""
    for each in TABLES.values():
        assert (each.bounds[key].low, each.bounds[key].severe) == (low, severe)


def test_the_swapped_column_of_the_reprint_is_put_right() -> None:
    """D prints 'severe' as suspended solids > 2000 and dissolved solids > 100 [S]: swapped.

    Taken as printed, 150 mg/L of dissolved solids would be severe although low ends at 500.
    """
    bounds = TABLES[D].bounds
    assert rate(150.0, bounds["suspended_solids"]) == "severe"
    assert rate(150.0, bounds["dissolved_solids"]) == "low"
    assert "swapped: here in the right order" in TABLES[D].source


@pytest.mark.parametrize(
    ("mesh", "micrometres", "older"),
    [
        pytest.param(120, 125.0, 130.0, id="M01 No. 120 is 125 µm, not 130 [S2]"),
        pytest.param(200, 75.0, 74.0, id="M02 No. 200 is 75 µm, not 74 [S2]"),
        pytest.param(40, 425.0, 420.0, id="M03 No. 40 is 425 µm, not 420 [S2]"),
    ],
)
def test_mesh_in_micrometres(mesh: int, micrometres: float, older: float) -> None:
    found = opening(mesh)
    assert found is not None
    assert found.micrometres == micrometres != older
    assert not found.approximate


def test_the_whole_table_against_a_reference_library() -> None:
    """fluids: only the openings are right there; its wires and inches are 1000 times too small."""
    theirs = {s.old_designation: s.opening * 1e6 for s in ASTM_E11_sieves.values()}
    for mesh, micrometres in E11_OPENINGS.items():
        assert theirs[f"No. {mesh}"] == pytest.approx(micrometres, rel=1e-9)


def test_the_rule_of_thumb_serves_only_between_the_sieves() -> None:
    """14900 / mesh: within about 5 % from 50 to 400 mesh [S], 7 to 17 % low from 30 to 45 [C]."""
    for mesh, micrometres in E11_OPENINGS.items():
        off = RULE_OF_THUMB / mesh / micrometres - 1
        if 50 <= mesh <= 400:
            assert abs(off) < 0.05
        elif 30 <= mesh < 50:
            assert -0.175 < off < -0.06
    between = opening(155)
    assert between is not None
    assert between.approximate
    assert "about 96 µm" in between.words(155)


def test_m04_120_mesh_with_130_micrometres_is_no_error() -> None:
    """Agriculture Victoria: 120 mesh removes particles down to 130 µm [S]; never an error [I]."""
    from siltbook.batch.reading.book import read_book

    sheets = clean_sheets()
    sheets["Stations"][1][3], sheets["Stations"][2][3] = "120 mesh", 130
    result = read_book(workbook(sheets), NAME)
    assert result.book.stations.frame["grade"].tolist() == [125.0, 130.0]
    found = (*result.findings, *check_book(result.book, None))
    assert {f.severity for f in found if f.sheet == "Stations"} == {"note"}


@pytest.mark.parametrize(
    ("rule", "largest"),
    [
        pytest.param("one tenth", 100.0, id="M05 1.0 mm, one tenth: 100 µm; Utah State L17 [S]"),
        pytest.param("one eighth", 125.0, id="M06 1.0 mm, one eighth: 125 µm; AG0136 [S]"),
        pytest.param("one seventh", 1000 / 7, id="1.0 mm, one seventh: 142.9 µm [M]"),
    ],
)
def test_largest_grade_for_an_emitter(rule: str, largest: float) -> None:
    (one,) = stations(
        book(stations=[{"station": "North 1", "grade": largest, "emitter_passage": 1.0}])
    )
    found = grade_fit(one, rule)
    assert found.largest == pytest.approx(largest, abs=1e-9)
    assert found.fits is True
    assert grade_fit(replace(one, grade=largest + 0.1), rule).fits is False


def test_the_rule_of_one_eighth_says_that_its_source_prefers_another() -> None:
    source = PASSAGE_RULES["one eighth"].source
    assert "note AG0136, 1995, updated 2009; named there as what others recommend" in source
    assert "the note itself is for one fifth together with treatment of the water" in source
