"""Trend statistics against printed worked examples, certified values and open data.

Marks, as on the reference page: [M] read from the source, [S] and [S2] from a secondary page,
[C] recomputed there. The data files lie outside the repository; without them those tests skip.
"""

from __future__ import annotations

import csv
import datetime as dt
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from siltbook.batch.model import History, Reading, Station
from siltbook.batch.numbers.robust import (
    least_squares,
    least_squares_through_origin,
    mann_kendall,
    theil_sen,
)
from siltbook.batch.numbers.runs import FELL, cut_runs

DATASETS = Path(__file__).parents[3] / "shared" / "reference" / "datasets"
needs_data = pytest.mark.skipif(
    not DATASETS.is_dir(), reason="../shared/reference/datasets is not here"
)

TIED = (10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15)
FIVE = (5, 6, 11, 8, 10)
TAU_X = (2, 24, 99, 197, 377, 544, 632, 3452, 6587, 53170)
TAU_Y = (1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96)
LINE_Y = (1, 2, 3, 4, 5, 16, 7)
NORRIS_X = (
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
)  # fmt: skip
NORRIS_Y = (
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
)  # fmt: skip


def test_t01_trend_with_ties() -> None:
    """EPA QA/G-9S (2006) p. 109 [S2]."""
    found = mann_kendall(TIED)
    assert found.s == 22
    assert found.variance == pytest.approx(155.3333, abs=1e-4)
    assert found.z == pytest.approx(1.684950, abs=1e-6)


def test_t02_p_and_slope_with_ties() -> None:
    """The same data; p and slope recomputed on the reference page [C]."""
    found = mann_kendall(TIED)
    assert not found.exact
    assert found.p == pytest.approx(0.091998, abs=1e-6)
    assert theil_sen(range(11), TIED).slope == pytest.approx(1.0, abs=1e-6)


def test_t03_exact_small_sample() -> None:
    """EPA QA/G-9S [M]; the normal approximation beside it [C]."""
    found = mann_kendall(FIVE)
    assert found.s == 6
    assert found.exact
    assert found.p == pytest.approx(0.233333, abs=1e-6)
    assert found.p_normal == pytest.approx(0.220671, abs=1e-6)
    assert theil_sen(range(5), FIVE).slope == pytest.approx(1.125, abs=1e-6)


def test_t04_tau() -> None:
    """Helsel and Hirsch, USGS TWRI 4-A3, chapter 8 [M]."""
    assert list(TAU_X) == sorted(TAU_X)
    found = mann_kendall(TAU_Y)
    assert found.s == 21
    assert found.tau == pytest.approx(0.466667, abs=1e-6)
    assert found.p == pytest.approx(0.072550, abs=1e-6)
    assert found.z == pytest.approx(1.788854, abs=1e-6)


def test_t05_robust_line_bears_an_outlier() -> None:
    """Helsel and Hirsch, chapter 10 [M]."""
    line = theil_sen(range(1, 8), LINE_Y)
    assert line.slope == pytest.approx(1.0, abs=1e-12)
    assert line.intercept == pytest.approx(0.0, abs=1e-12)


def test_t06_least_squares_does_not() -> None:
    """The same data through least squares [C]."""
    line = least_squares(range(1, 8), LINE_Y)
    assert line.slope == pytest.approx(1.714286, abs=1e-6)
    assert line.intercept == pytest.approx(-1.428571, abs=1e-6)


def test_t07_norris() -> None:
    """NIST StRD Norris, certified values [S2]."""
    line = least_squares(NORRIS_X, NORRIS_Y)
    assert line.slope == pytest.approx(1.00211681802045, abs=1e-10)
    assert line.intercept == pytest.approx(-0.262323073774029, abs=1e-10)
    assert line.slope_error == pytest.approx(0.429796848199937e-3, abs=1e-12)


def test_t08_through_the_origin() -> None:
    """NIST StRD NoInt1, certified values [S2]."""
    line = least_squares_through_origin(range(60, 71), range(130, 141))
    assert line.slope == pytest.approx(2.07438016528926, abs=1e-12)
    assert line.slope_error == pytest.approx(0.0165289256198347, abs=1e-12)


def _rows(name: str) -> list[dict[str, str]]:
    with (DATASETS / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _station() -> Station:
    return Station(
        "Data", 2, "", "other", None, None, None, 5.0, None, None, None, None, None, None, "m", True
    )


def _history(days: list[dt.date], drops: list[float], u: float) -> History:
    entries = tuple(
        Reading(i + 2, day, None, None, None, drop, None, None, "routine", u)
        for i, (day, drop) in enumerate(zip(days, drops, strict=True))
    )
    return History(_station(), entries)


def _hourly(name: str) -> tuple[list[str], list[float]]:
    rows = _rows(name)
    return [r["timestamp"] for r in rows], [float(r["soiling"]) for r in rows]


def _fallen(name: str) -> list[str]:
    stamps, values = _hourly(name)
    return [stamps[i][:10] for i in np.flatnonzero(np.diff(values) < -0.001) + 1]


@needs_data
def test_s01_the_known_wash() -> None:
    """pvlib 0.16.1, Greensboro with a manual wash on 1990-02-15."""
    stamps, values = _hourly("greensboro_kimber_soil_manwash.dat")
    at = next(i for i, s in enumerate(stamps) if s.startswith("1990-02-15 00:00"))
    assert values[at] == pytest.approx(0.0, abs=1e-12)
    assert values[at - 1] == pytest.approx(0.008, abs=1e-12)


@needs_data
@pytest.mark.parametrize(
    ("name", "resets"),
    [
        ("manwash", ["1990-01-17", "1990-02-15", "1990-03-02", "1990-12-28"]),
        ("nowash", ["1990-01-17", "1990-03-02", "1990-12-28"]),
    ],
    ids=["S02", "S03"],
)
def test_s02_s03_runs_start_at_the_known_resets(name: str, resets: list[str]) -> None:
    """The same data: where it falls, and where the runs are cut once read daily at noon."""
    file = f"greensboro_kimber_soil_{name}.dat"
    assert _fallen(file) == resets
    stamps, values = _hourly(file)
    noons = [i for i, s in enumerate(stamps) if s[11:13] == "12"]
    days = [dt.date.fromisoformat(stamps[i][:10]) for i in noons]
    runs = cut_runs(_history(days, [1e4 * values[i] for i in noons], u=1.0), 3)
    starts = [run.begins for run in runs[1:]]
    assert all(run.ended_by == FELL and run.concluded for run in runs[:-1])
    missed = [dt.date.fromisoformat(d) for d in resets]
    assert len(starts) == len(missed)
    assert all(abs((a - b).days) <= 1 for a, b in zip(starts, missed, strict=True))


CLEANED = (dt.date(2019, 1, 26), dt.date(2019, 2, 20))


def _sawtooth() -> tuple[list[dt.date], list[float], list[float]]:
    rows = _rows("rdtools_soiling_fixture_sawtooth.csv")
    days = [dt.date.fromisoformat(r["date"]) for r in rows]
    profile = [float(r["clean_profile"]) for r in rows]
    return days, profile, [float(r["normalized_daily"]) for r in rows]


@needs_data
def test_s04_the_cleanings() -> None:
    """RdTools 3.2.1 test fixture: its profile jumps back to 1 on two known days."""
    days, profile, _ = _sawtooth()
    loss = [1 - value for value in profile]  # rises with dirt, as a drop does
    runs = cut_runs(_history(days, [100 * value for value in loss], u=1e-4), 3)
    assert tuple(run.begins for run in runs[1:]) == CLEANED
    assert [run.rate for run in runs] == pytest.approx([0.5, 0.2, 0.1], abs=1e-7)


@needs_data
def test_s05_slope_within_each_run() -> None:
    """The same fixture, noisy series cut at the cleanings."""
    days, _, values = _sawtooth()
    edges = [0, *(days.index(day) for day in CLEANED), len(days)]
    slopes = [theil_sen(range(b - a), values[a:b]).slope for a, b in pairwise(edges)]
    assert slopes == pytest.approx([-0.005004, -0.001986, -0.000817], abs=1e-6)


@needs_data
def test_s06_whole_series_slope_has_the_wrong_sign() -> None:
    """The same fixture uncut: why a slope is never fitted across a cleaning."""
    values = _sawtooth()[2]
    assert theil_sen(range(75), values).slope == pytest.approx(0.000213926, abs=1e-9)


@needs_data
def test_s07_whole_series_shows_no_trend() -> None:
    """The same fixture uncut."""
    found = mann_kendall(_sawtooth()[2])
    assert found.s == 367
    assert found.z == pytest.approx(1.674191, abs=1e-6)
    assert found.p == pytest.approx(0.094093, abs=1e-6)


@needs_data
def test_s09_few_readings_at_irregular_times() -> None:
    """mirror-soiling-data 0.1.2, Wodonga, column OE_M1_T00."""
    rows = _rows("mirror_soiling_wodonga_20230209_20230215_reflectance_average.csv")
    times = [dt.datetime.fromisoformat(r["Time"]) for r in rows]
    days = [(t - times[0]).total_seconds() / 86400 for t in times]
    slope = theil_sen(days, [float(r["OE_M1_T00"]) for r in rows]).slope
    assert slope == pytest.approx(-1.1387, abs=1e-4)
