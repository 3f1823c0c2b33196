"""The robust line and the cutting of runs against printed worked examples and open data.

The data files lie outside the repository; without them those tests skip.
"""

from __future__ import annotations

import csv
import datetime as dt
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from siltbook.batch.model import History, Reading, Station
from siltbook.batch.numbers.robust import theil_sen, tie_term
from siltbook.batch.numbers.runs import FELL, cut_runs

DATASETS = Path(__file__).parents[3] / "shared" / "reference" / "datasets"
needs_data = pytest.mark.skipif(
    not DATASETS.is_dir(), reason="../shared/reference/datasets is not here"
)

TIED = (10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15)
FIVE = (5, 6, 11, 8, 10)
LINE_Y = (1, 2, 3, 4, 5, 16, 7)


def test_t01_variance_with_ties() -> None:
    """155.3333, EPA QA/G-9S (2006) p. 109 [S2]: the variance of the robust line's interval."""
    n = len(TIED)
    assert (n * (n - 1) * (2 * n + 5) - tie_term(TIED)) / 18 == pytest.approx(155.3333, abs=1e-4)


def test_t02_slope_with_ties() -> None:
    """The same data [C]."""
    assert theil_sen(range(11), TIED).slope == pytest.approx(1.0, abs=1e-6)


def test_t03_slope_of_a_small_sample() -> None:
    """EPA QA/G-9S: the data [M], the slope [C]."""
    assert theil_sen(range(5), FIVE).slope == pytest.approx(1.125, abs=1e-6)


def test_t05_robust_line_bears_an_outlier() -> None:
    """Helsel and Hirsch, chapter 10 [M]."""
    line = theil_sen(range(1, 8), LINE_Y)
    assert line.slope == pytest.approx(1.0, abs=1e-12)
    assert line.intercept == pytest.approx(0.0, abs=1e-12)


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
def test_s09_few_readings_at_irregular_times() -> None:
    """mirror-soiling-data 0.1.2, Wodonga, column OE_M1_T00."""
    rows = _rows("mirror_soiling_wodonga_20230209_20230215_reflectance_average.csv")
    times = [dt.datetime.fromisoformat(r["Time"]) for r in rows]
    days = [(t - times[0]).total_seconds() / 86400 for t in times]
    slope = theil_sen(days, [float(r["OE_M1_T00"]) for r in rows]).slope
    assert slope == pytest.approx(-1.1387, abs=1e-4)
