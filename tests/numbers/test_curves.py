"""The family of curves, the walk about them, and what ended runs teach."""

from __future__ import annotations

import math

import numpy as np
import pytest

from siltbook.batch.model import Reading, Work
from siltbook.batch.numbers import curves
from siltbook.batch.numbers.curves import FIXED, FOOT, LAWS, LIFE, POWERS
from siltbook.batch.numbers.fouling import IN_LOAD, MOST_READINGS, WALK, latest, track
from siltbook.batch.numbers.lessons import LIVES, start_and_base
from siltbook.batch.numbers.runs import Run, cut_runs
from siltbook.batch.numbers.training import learn, training_runs
from tests.numbers.logs import log, read, work

EVERY = np.arange(FIXED.count)


def test_every_curve_starts_at_the_clean_drop_and_ends_at_the_limit() -> None:
    """And rises all the way, beyond the limit too."""
    way, slope = curves.way_and_slope(FIXED, EVERY[:, None], np.array([0.0, 1.0]))
    assert way == pytest.approx(np.tile([0.0, 1.0], (FIXED.count, 1)), abs=1e-9)
    assert (slope > 0).all()
    assert (np.diff(FIXED.way, axis=1) > 0).all()


def test_each_blocking_law_holds_along_its_curve() -> None:
    """dh/dt = k h^m: the growth over h^m is the same everywhere along the curve."""
    for row, m in enumerate(LAWS, start=len(POWERS)):
        h = FOOT + (1 - FOOT) * FIXED.way[row, : len(LIFE)]
        growth = np.gradient(h, curves.STEP)[2:-8] / h[2:-8] ** m
        assert growth == pytest.approx(np.full(len(growth), growth.mean()), rel=0.05)


def test_powers_are_powers() -> None:
    """At nodes and between them."""
    for row, p in enumerate(POWERS):
        way, _ = curves.way_and_slope(FIXED, np.array([row, row]), np.array([0.5, 0.755]))
        assert way == pytest.approx([0.5**p, 0.755**p], abs=2e-4)


def test_the_load_of_a_way_undoes_the_way_of_a_load() -> None:
    """Beyond the limit as well. A way too small to be read is that of a clean filter, nearly."""
    load = np.array([0.2, 0.5, 0.9, 1.0, 1.2])
    way, _ = curves.way_and_slope(FIXED, EVERY[:, None], load)
    back = curves.load_at(FIXED, EVERY[:, None], way)
    told = way > 0.01
    assert back[told] == pytest.approx(np.tile(load, (FIXED.count, 1))[told], abs=0.02)
    assert (back[~told] <= 0.3).all()


@pytest.mark.parametrize(
    ("row", "word"), [(0, "flattening"), (1, "straight"), (2, "bent"), (5, "steep end")]
)
def test_a_curve_has_a_name(row: int, word: str) -> None:
    """By how far it has come at half of its life."""
    assert FIXED.kind(row) == word


def test_the_likelihood_is_the_gaussian_one() -> None:
    """One cell of each mode against the density written out with its full covariance."""
    days, life, sigma = np.array([0.0, 3.0, 7.0, 12.0]), 30.0, 0.02
    x = days / life
    slope, errors = 2 * x + 0.3, np.array([0.02, 0.08, 0.05, 0.11])
    passed = np.diff(days, prepend=0.0) / life
    found = track(errors, slope, passed, np.array([[sigma]]))
    for mode, q in enumerate(WALK):
        shows = slope if IN_LOAD[mode] else np.ones(4)
        cover = q * np.minimum(x[:, None], x) * np.outer(shows, shows) + sigma**2 * np.eye(4)
        expected = -0.5 * (errors @ np.linalg.solve(cover, errors) + np.linalg.slogdet(cover)[1])
        assert found.log_likelihood[mode, 0] == pytest.approx(expected, abs=1e-8)
        gain = np.linalg.solve(cover, q * np.minimum(x, x[-1]) * shows)
        assert found.mean[mode, 0] == pytest.approx(gain @ errors, abs=1e-9)
        left = q * x[-1] - gain @ (q * np.minimum(x, x[-1]) * shows)
        assert found.variance[mode, 0] == pytest.approx(left, abs=1e-9)


def test_readings_that_only_fill_up_say_nothing() -> None:
    """A shorter run beside a longer one."""
    errors, slope = np.array([0.02, 0.08, 9.0]), np.array([1.0, 1.2, 1.0])
    passed, sigma = np.array([0.0, 0.1, 0.0]), np.array([[0.02]])
    padded = track(errors, slope, passed, sigma, np.array([1.0, 1.0, 0.0]))
    alone = track(errors[:2], slope[:2], passed[:2], sigma)
    assert padded.log_likelihood == pytest.approx(alone.log_likelihood)
    assert padded.mean == pytest.approx(alone.mean)


def test_a_long_run_keeps_its_first_reading_and_the_latest() -> None:
    """16 in all."""
    days = np.arange(40.0)
    kept, _ = latest(days, days)
    assert len(kept) == MOST_READINGS
    assert (kept[0], kept[1], kept[-1]) == (0.0, 25.0, 39.0)


def season(lengths: list[int], power: float) -> tuple[Run, ...]:
    """Runs from 1 m to over 5 m, each cleaned by hand."""
    entries: list[Reading | Work] = []
    day = 0
    for length in lengths:
        entries += [read(day + d, 1 + 4 * (d / length) ** power) for d in range(0, length + 4, 4)]
        day += length + 4
        entries.append(work(day))
    return cut_runs(log(*entries), 3)


def test_the_life_is_read_where_runs_cross_the_limit() -> None:
    """Five runs of about 50 days: most of the weight lies near it, whatever the curve."""
    for power in (1.0, 4.0):
        runs = season([48, 52, 50, 48, 52], power)
        learnt = learn(tuple(training_runs(runs)), (), 5.0)
        life = np.exp(learnt.log_life[:, learnt.family.count - 1])
        assert math.exp(float(life @ np.log(LIVES) / life.sum())) == pytest.approx(50, rel=0.12)
        assert learnt.crossed == 5


def test_a_curve_is_learnt_from_ended_runs() -> None:
    """Runs that creep for most of their life: the averaged curve does so too."""
    learnt = learn(tuple(training_runs(season([60, 60, 60, 60], 6.0))), (), 5.0)
    assert learnt.taught_by == ("this station's ended runs",)
    own = learnt.family.count - 1
    assert learnt.family.way[own, 50] == pytest.approx(0.5**6, abs=0.05)
    assert learnt.family.kind(own) == "steep end"
    weight = np.exp(learnt.log_weight).sum(axis=1)
    steep = [k for k in range(learnt.family.count) if learnt.family.kind(k) == "steep end"]
    assert weight[steep].sum() > 0.8


def test_a_run_that_was_read_once_teaches_nothing() -> None:
    """It says neither how the drop climbed nor how long it took."""
    once, twice, last = cut_runs(
        log(work(0), read(5, 2.0), work(6), read(7, 1.0), read(12, 2.0), work(13), read(14, 1.0)), 3
    )
    assert [len(run.days) for run in (once, twice, last)] == [1, 2, 1]
    assert training_runs((once, twice, last)) == [twice]


def test_a_strangers_runs_do_not_count_as_own() -> None:
    """They teach a curve of their own."""
    farm = tuple(training_runs(season([60, 60, 60], 3.0)))
    learnt = learn((), farm, 5.0)
    assert (learnt.own, learnt.farm, learnt.crossed) == (0, 3, 0)
    assert learnt.taught_by == ("the farm's other stations",)


def test_a_flush_that_left_dirt_goes_on_from_its_level() -> None:
    """After a cleaning the first level is what ways count from, unless it is plainly dirty."""
    first: list[Reading | Work] = [read(0, 1.0), read(10, 3.0), read(20, 5.0)]
    wanted = [("flush", 3.0, 1.6, 0.15), ("hand cleaning", None, 1.6, 0.0)]
    wanted += [("flush", 3.0, 3.0, 0.5), ("hand cleaning", None, 3.0, 0.5)]
    for kind, cycles, level, begun in wanted:
        clean = [work(20, "hand cleaning"), read(21, 1.0), read(30, 5.0)]
        again = [work(30, kind, cycles=cycles), read(30, level, at="15:00"), read(35, 3.8)]
        run = cut_runs(log(*first, *clean, *again), 3)[-1]
        way, _ = start_and_base(run, np.asarray(run.drops) / 5.0, 5.0)
        assert way == pytest.approx(begun, abs=0.06)
