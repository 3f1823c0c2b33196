"""Which numeric check case of the reference page is checked by which test, and which is not.

The page is ../shared/reference/published-values.md; a case that this register does not know makes
its test fail, and so does a test that is no longer there.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from siltbook.templates.units import cubic_metres_per_hour_per

HERE = Path(__file__).parent
PAGE = HERE.parents[2] / "shared" / "reference" / "published-values.md"

CHECKED = {
    "test_units": {
        "test_pressure_in_metres_of_water": "U01 U02 U03 U05 U06 U08 U09 U13 U14",
        "test_half_a_bar_is_over_a_limit_of_five_metres": "U04",
        "test_factors_agree_with_a_reference_library": "U07",
        "test_flow_in_cubic_metres_per_hour": "U11",
    },
    "test_register": {"test_u12_one_gallon_a_minute_in_litres_a_second": "U12"},
    "test_water_density": {
        "test_the_conventional_metre_is_within_one_percent": "D01 D02 D03",
        "test_d04_d05_kell_and_the_misprint_of_its_reprint": "D04 D05",
        "test_d06_a_water_property_library": "D06",
        "test_d07_five_metres_of_warm_water_in_bar": "D07",
        "test_d08_half_a_bar_of_hot_water_in_metres": "D08",
    },
    "test_gauge_errors": {
        "test_the_class_is_a_share_of_full_scale": "G01 G02 G03 G04",
        "test_g05_two_gauges_add_in_squares": "G05",
        "test_g06_an_offset_leaves_the_drop_as_it_is": "G06",
        "test_g07_a_gain_error_does_not_cancel": "G07",
    },
    "test_conformity": {"test_probability_over": "C01 C02 C08 C09 C10 C11"},
    "test_decision_risks": {
        "test_c03_a_two_sided_limit_is_two_one_sided_ones": "C03",
        "test_c04_the_speed_that_is_surely_over": "C04",
        "test_c05_share_of_balls_over_the_limit": "C05",
        "test_c06_balls_accepted_although_over": "C06",
        "test_c07_the_acceptance_limit_for_one_in_a_thousand": "C07",
    },
    "test_water_and_mesh": {
        "test_mesh_in_micrometres": "M01 M02 M03",
        "test_m04_120_mesh_with_130_micrometres_is_no_error": "M04",
        "test_largest_grade_for_an_emitter": "M05 M06",
        "test_where_the_tables_disagree": "W01 W02",
    },
    "test_flow_exponent": {
        "test_h01_the_librarys_own_example": "H01",
        "test_h02_and_h04_sand_of_eight_tenths": "H02 H04",
        "test_power_law_values": "H03",
    },
    "test_energy_and_emitters": {
        "test_e01_head_for_more_discharge": "E01",
        "test_e06_head_from_15_to_10_metres": "E06",
        "test_p01_a_day_of_lifting": "P01",
        "test_p02_a_filter_at_the_limit": "P02",
        "test_p03_an_audited_pump": "P03",
        "test_p04_water_horsepower": "P04",
    },
    "test_trend_statistics": {
        "test_t01_variance_with_ties": "T01",
        "test_t02_slope_with_ties": "T02",
        "test_t03_slope_of_a_small_sample": "T03",
        "test_t05_robust_line_bears_an_outlier": "T05",
        "test_s01_the_known_wash": "S01",
        "test_s02_s03_runs_start_at_the_known_resets": "S02 S03",
        "test_s04_the_cleanings": "S04",
        "test_s05_slope_within_each_run": "S05",
        "test_s06_whole_series_slope_has_the_wrong_sign": "S06",
        "test_s09_few_readings_at_irregular_times": "S09",
    },
    "test_stuck_series": {
        "test_s08_the_columns_that_never_change_are_found_and_no_others": "S08",
    },
}
LEFT_OUT = {
    "U10": "feet of water are not a unit of the workbook",
    "U15": "flow over screen area is not computed",
    "G08": "a sum of ten resistors; only the difference of two readings is computed",
    "T04": "no test for a trend is made",
    "T06": "no plain least-squares line is drawn",
    "T07": "no plain least-squares line is drawn",
    "T08": "no line through the origin is drawn",
    "S07": "no test for a trend is made",
    "E02": "uniformity of emission is not computed",
    "E03": "uniformity of emission is not computed",
    "E04": "uniformity of emission is not computed",
    "E05": "uniformity of emission is not computed",
}


def checked() -> list[str]:
    cases = (cases for tests in CHECKED.values() for cases in tests.values())
    return " ".join(cases).split()


@pytest.mark.parametrize("module", CHECKED)
def test_every_named_test_is_there(module: str) -> None:
    tree = ast.parse((HERE / f"{module}.py").read_text())
    there = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    assert set(CHECKED[module]) <= there


@pytest.mark.skipif(not PAGE.is_file(), reason="../shared/reference is not here")
def test_every_case_of_the_page_is_checked_once_or_left_out_with_a_reason() -> None:
    table = PAGE.read_text().split("## Numeric check cases")[1]
    cases = re.findall(r"^\| ([A-Z]\d\d) \|", table, re.MULTILINE)
    assert len(cases) > 70
    assert sorted([*checked(), *LEFT_OUT]) == sorted(cases)


def test_a_mark_has_one_meaning() -> None:
    """It is explained in one place, every mark in use is explained, and memory is marked [M]."""
    explained = set(re.findall(r"^- (\[\w+\]) ", (HERE / "__init__.py").read_text(), re.MULTILINE))
    assert explained == {"[S]", "[S2]", "[M]", "[I]", "[C]"}
    for path in sorted(HERE.glob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        text = path.read_text()
        assert set(re.findall(r"(?<!\w)\[[A-Z]\d?\]", text)) <= explained, path.name
        own_words = r"from memory|\(seen\)|second-hand|reference page: \["
        assert not re.findall(own_words, text), path.name


def test_u12_one_gallon_a_minute_in_litres_a_second() -> None:
    """0.0630901964 L/s: 231 cubic inches, exact (NIST SP 811 B.8 [M], [C])."""
    found = cubic_metres_per_hour_per("gpm") / cubic_metres_per_hour_per("L/s")
    assert found == pytest.approx(0.0630901964, abs=1e-11)
