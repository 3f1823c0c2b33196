"""The forecast: what it says, when it keeps silent, and that it learns."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.model import Reading, Work
from siltbook.batch.numbers.forecast import Forecast, forecast
from siltbook.batch.numbers.runs import Run, cut_runs
from tests.numbers.logs import log, on, read, work

LIMIT = 5.0


def ramp(first: int, length: int, step: int = 4, power: float = 1.0) -> list[Reading]:
    """Readings from 1 m that would reach 5 m after `length` days."""
    return [read(first + d, 1 + 4 * (d / length) ** power) for d in range(0, length - 1, step)]


def season(lengths: list[int], power: float = 1.0, keep: int = 100) -> tuple[Run, ...]:
    """One run after another, each cleaned by hand at the limit.

    Of the last one only `keep` readings are taken.
    """
    entries: list[Reading | Work] = []
    day = 0
    for number, length in enumerate(lengths):
        readings = ramp(day, length, power=power)
        last = number == len(lengths) - 1
        entries += readings[:keep] if last else [*readings, work(day + length)]
        day += length
    return cut_runs(log(*entries), 3)


def days_from(found: Forecast, start: dt.date) -> tuple[int, int, int]:
    """Low, date and high in days from `start`."""
    assert found.low is not None
    assert found.date is not None
    assert found.high is not None
    return (found.low - start).days, (found.date - start).days, (found.high - start).days


def test_a_straight_run_goes_on_straight() -> None:
    """Ten readings, and earlier runs like it."""
    runs = season([44, 44, 44, 44], keep=8)
    low, middle, high = days_from(forecast(runs, [], LIMIT, on(132 + 28), 0.05), on(132))
    assert middle == pytest.approx(44, abs=2)
    assert low <= middle <= high
    assert high - low <= 10


def test_a_short_run_leans_on_earlier_ones() -> None:
    """Three readings of a run that always creeps first: a straight line would say far later."""
    runs = season([60, 60, 60, 60], power=3.0, keep=6)
    low, middle, high = days_from(forecast(runs, [], LIMIT, on(200), 0.05), on(180))
    straight = 4 * runs[-1].days[-1] / (runs[-1].drops[-1] - 1)
    assert straight > 150
    assert middle == pytest.approx(60, abs=8)
    assert low <= 60 <= high


def test_other_stations_teach_the_shape() -> None:
    """The station's own first run, on a farm where filters creep and then climb."""
    own = season([60], power=3.0, keep=8)
    farm = season([50, 55, 60, 65, 70], power=3.0)
    alone = forecast(own, [], LIMIT, on(28), 0.05)
    taught = forecast(own, farm, LIMIT, on(28), 0.05)
    assert abs(days_from(taught, on(0))[1] - 60) < abs(days_from(alone, on(0))[1] - 60)
    assert days_from(taught, on(0))[1] == pytest.approx(60, abs=10)


def test_more_readings_narrow_the_interval() -> None:
    """Every reading counts."""
    widths = []
    for keep in (2, 5, 9):
        low, _, high = days_from(forecast(season([60], keep=keep), [], LIMIT, on(32), 0.1), on(0))
        widths.append(high - low)
    assert widths[0] > widths[1] > widths[2]


def test_a_fresh_filter_is_forecast_from_earlier_runs() -> None:
    """Cleaned and not read since."""
    runs = cut_runs(log(*ramp(0, 40), work(40), *ramp(40, 40), work(80)), 3)
    assert not runs[-1].open
    low, middle, high = days_from(forecast(runs, [], LIMIT, on(82), 0.1), on(80))
    assert middle == pytest.approx(40, abs=6)
    assert low < 40 < high


def test_one_reading_and_earlier_runs_are_enough() -> None:
    """The past stands in."""
    found = forecast(season([40, 40, 40], keep=1), [], LIMIT, on(80), 0.1)
    assert days_from(found, on(80))[1] == pytest.approx(40, abs=6)


def test_a_partly_cleaned_filter_gets_there_sooner() -> None:
    """It starts half-way up."""
    whole: list[Reading | Work] = [*ramp(0, 40), work(40), *ramp(40, 40), work(80)]
    fresh = cut_runs(log(*whole, read(80, 1.0), read(82, 1.2)), 3)
    dirty = cut_runs(log(*whole, read(80, 3.0), read(82, 3.2)), 3)
    late, soon = (days_from(forecast(r, [], LIMIT, on(82), 0.1), on(80))[1] for r in (fresh, dirty))
    assert soon == pytest.approx(20, abs=4)
    assert late > soon + 10


SILENT = [
    ([], "no usable reading yet"),
    ([read(0, 2.0)], "fewer than two readings in this run and no earlier run to learn from"),
    (
        [read(0, 2.0), read(0, 2.1)],
        "fewer than two readings in this run and no earlier run to learn from",
    ),
    (
        [read(0, 2.0), work(3)],
        "fewer than two readings in this run and no earlier run to learn from",
    ),
    # A day between them is enough to see that it does not rise.
    (
        [read(0, 2.0), read(1, 2.0)],
        "the drop is not rising and there is no earlier run to learn from",
    ),
    (
        [read(0, 2.0), read(5, 2.0), read(10, 1.9)],
        "the drop is not rising and there is no earlier run to learn from",
    ),
    ([read(0, 2.0), read(5, 4.0), read(10, 5.2)], "already over the limit"),
]


@pytest.mark.parametrize(("entries", "why"), SILENT, ids=range(len(SILENT)))
def test_silent_with_a_reason(entries: list[Reading | Work], why: str) -> None:
    """Where it cannot be known it says why, and no date."""
    found = forecast(cut_runs(log(*entries), 3), [], LIMIT, on(10), 0.1)
    assert found == Forecast(None, None, None, why)


def test_silent_long_after_the_last_reading() -> None:
    """A forecast from last season helps nobody."""
    found = forecast(season([60], keep=5), [], LIMIT, on(16 + 91), 0.1)
    assert found.silent == "nothing was read or cleaned for 91 days"


def test_silent_where_the_limit_is_far() -> None:
    """It rises, but by a centimetre a month."""
    entries = [read(10 * i, 1 + 0.003 * i, u=0.01) for i in range(10)]
    found = forecast(cut_runs(log(*entries), 3), [], LIMIT, on(90), 0.01)
    assert found.silent == "at the present rate the limit is not reached within a year"


def test_a_drop_equal_to_the_limit_is_not_over() -> None:
    """The limit is reached about now."""
    found = forecast(cut_runs(log(read(0, 1), read(10, 3), read(20, 5)), 3), [], LIMIT, on(20), 0.1)
    assert found.silent == ""
    assert found.date is not None
    assert 0 <= (found.date - on(20)).days <= 3


def test_never_before_the_latest_reading() -> None:
    """Not even its lower end."""
    found = forecast(season([20, 20, 60], keep=12), [], LIMIT, on(84), None)
    assert found.low is not None
    assert found.low >= on(40 + 44)


def test_own_runs_among_the_farms_do_not_count_twice() -> None:
    """The caller may pass all of the farm's runs."""
    runs, others = season([40, 50, 45], keep=3), season([30, 35])
    expected = forecast(runs, others, LIMIT, on(100), 0.1)
    assert forecast(runs, [*runs, *others], LIMIT, on(100), 0.1) == expected


def test_the_order_of_the_farms_runs_does_not_matter() -> None:
    """More runs than are looked at, many of them ending on one day."""
    runs = season([40, 50, 45], keep=3)
    others = [run for pace in range(30, 50) for run in season([pace, 80 - pace])]
    expected = forecast(runs, others, LIMIT, on(100), 0.1)
    assert forecast(runs, others[::-1], LIMIT, on(100), 0.1) == expected


def test_the_same_in_another_scale() -> None:
    """Drops, limit and uncertainty all doubled: the same day."""
    small = [read(5 * i, 1 + 0.3 * i) for i in range(5)]
    large = [read(5 * i, 2 + 0.6 * i) for i in range(5)]
    one = forecast(cut_runs(log(*small), 3), [], 5.0, on(20), 0.1)
    two = forecast(cut_runs(log(*large), 3), [], 10.0, on(20), 0.2)
    assert (one.low, one.date, one.high, one.basis) == (two.low, two.date, two.high, two.basis)
    assert two.courses[1].drops == pytest.approx([2 * drop for drop in one.courses[1].drops])


def test_refusals() -> None:
    """A limit is positive, an uncertainty not negative."""
    with pytest.raises(ValueError, match="the limit must be above 0 m, not 0"):
        forecast([], [], 0.0, on(0), None)
    with pytest.raises(ValueError, match="the uncertainty of a drop cannot be -1 m"):
        forecast([], [], 5.0, on(0), -1)
