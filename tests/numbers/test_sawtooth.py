"""Open records read through a gauge: cut where they were cleaned, and rated run by run."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.numbers.robust import theil_sen
from siltbook.batch.numbers.runs import FELL, Run, cut_runs
from tests.benchmarks import records
from tests.benchmarks.farms import LIMIT

needs_data = pytest.mark.skipif(
    not records.DATASETS.is_dir(), reason="../shared/reference/datasets is not here"
)
TRUTH = (0.005, 0.002, 0.001)  # loss a day, from the fixture's generator


def runs_of(name: str) -> tuple[records.Record, tuple[Run, ...]]:
    """The record of that name and its runs, as the program cuts them."""
    record = next(r for farm in records.farms() for r in farm if r.name == name)
    return record, cut_runs(record.history(), 3)


def days(*numbers: int) -> list[dt.date]:
    return [records.DAY0 + dt.timedelta(days=n) for n in numbers]


@needs_data
def test_the_sawtooth_is_cut_on_its_two_cleanings_and_nowhere_else() -> None:
    """RdTools 3.2.1 fixture, noisy series: cleaned on its days 25 and 50, counted from 0."""
    runs = runs_of("sawtooth")[1]
    assert [run.begins for run in runs[1:]] == days(25, 50)
    assert [run.ended_by for run in runs] == [FELL, FELL, ""]
    assert all(run.believable for run in runs)


@needs_data
def test_each_runs_interval_holds_its_known_rate() -> None:
    """The intervals are 80 % ones: the fixture's truth lies in all three."""
    record, runs = runs_of("sawtooth")
    scale = (LIMIT - records.CLEAN) / record.limit
    for run, loss in zip(runs, TRUTH, strict=True):
        assert run.slowest is not None
        assert run.fastest is not None
        assert run.slowest <= loss * scale <= run.fastest


@needs_data
def test_no_rate_comes_from_across_a_cleaning() -> None:
    """Over the whole sawtooth the slope falls; each run's is that of its own readings alone."""
    runs = runs_of("sawtooth")[1]
    drops = [drop for run in runs for drop in run.drops]
    assert theil_sen(range(len(drops)), drops).slope < 0
    for run in runs:
        assert run.rate == theil_sen(run.days, run.drops).slope
        assert run.rate is not None
        assert run.rate > 0


@needs_data
@pytest.mark.parametrize(
    ("name", "cleaned"), [("manwash", (45, 61)), ("nowash", (61,))], ids=["washed", "not washed"]
)
def test_the_washed_year_has_the_washing_and_the_other_has_not(
    name: str, cleaned: tuple[int, ...]
) -> None:
    """pvlib Greensboro: washed on 15 February (day 45), rain on 2 March, seen at noon next day.

    The year's two other falls are of less than the gauge can tell and cut nothing.
    """
    runs = runs_of(name)[1]
    assert [run.begins for run in runs[1:]] == days(*cleaned)
