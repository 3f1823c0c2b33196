"""What dirt takes at the field, and the water of the flushes: by hand, and where it is silent."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siltbook.batch.model import History, Work
from siltbook.batch.numbers.costs import discharge_share_lost
from siltbook.batch.numbers.field import (
    FlushWater,
    clean_field_pressure,
    discharge_lost,
    flush_water,
)
from siltbook.templates.book import Settings
from tests.numbers.logs import log, read, work

FARM = Settings(cycle_minutes=2.0)


def station(history: History, **changes: object) -> History:
    return replace(history, station=replace(history.station, **changes))  # type: ignore[arg-type]


def emitting(history: History, x: float | None = 0.5, wanted: float | None = 15.0) -> History:
    return station(history, emitter_exponent=x, wanted_field=wanted)


def test_a_level_drop_takes_what_the_worked_example_says() -> None:
    """15 m behind a clean filter, 5 m of them lost, x = 0.5: 0.816497 is left."""
    found = discharge_lost(emitting(log(read(0, 6.0), read(10, 6.0))), FARM)
    assert found.mean == pytest.approx(1 - 0.816497, abs=1e-6)
    assert found.most == pytest.approx(1 - 0.816497, abs=1e-6)
    assert (found.pressure, found.read, found.silent) == (15.0, False, "")


def test_the_mean_of_a_rise_is_its_integral() -> None:
    """x = 1 loses in proportion: 0 to 5 of 15 m is a sixth; x = 0.5 has a closed form."""
    rise = log(read(0, 1.0), read(10, 6.0))
    assert discharge_lost(emitting(rise, 1.0), FARM).mean == pytest.approx(5 / 15 / 2)
    exact = 1 - (15**1.5 - 10**1.5) / (1.5 * 15**0.5 * 5)
    found = discharge_lost(emitting(rise), FARM)
    assert found.mean == pytest.approx(exact, abs=1e-5)
    assert found.most == pytest.approx(1 - (10 / 15) ** 0.5)


def test_field_pressures_that_were_read_outrank_the_wanted_one() -> None:
    """Behind a clean filter: what was read plus the excess; one day with a leak moves nothing."""
    readings = [replace(read(d, drop), field=field) for d, drop, field in (
        (0, 1.0, 20.0), (7, 3.0, 18.0), (14, 3.0, 9.0), (21, 5.0, 16.0),
    )]  # fmt: skip
    history = emitting(log(*readings))
    assert clean_field_pressure(history, 1.0) == (20.0, True)
    assert discharge_lost(history, FARM).read


def test_a_field_pressure_of_an_unusable_reading_is_passed_over() -> None:
    wrong = replace(read(5, 3.0, why="outlet above inlet"), field=90.0)
    assert clean_field_pressure(emitting(log(read(0, 1.0), wrong)), 1.0) == (15.0, False)


def test_compensating_emitters_lose_nothing() -> None:
    assert discharge_lost(emitting(log(read(0, 1.0), read(10, 6.0)), 0.0), FARM).mean == 0.0


@pytest.mark.parametrize(
    ("history", "why"),
    [
        (emitting(log(read(0, 2.0), read(9, 2.0)), x=None), "no emitter exponent"),
        (emitting(log(read(0, 2.0), read(9, 2.0), clean=None)), "no clean drop"),
        (
            emitting(log(read(0, 2.0), read(9, 2.0)), wanted=None),
            "no field pressure read and no wanted field pressure",
        ),
        (emitting(log(read(0, 2.0))), "no days could be counted"),
    ],
)
def test_without_what_it_needs_it_says_why(history: History, why: str) -> None:
    found = discharge_lost(history, FARM)
    assert (found.mean, found.most, found.silent) == (None, None, why)


@given(st.floats(0.0, 1.0), st.lists(st.floats(0.0, 12.0), min_size=2, max_size=12))
def test_a_mean_share_lies_between_least_and_most(x: float, drops: list[float]) -> None:
    found = discharge_lost(emitting(log(*(read(7 * n, d) for n, d in enumerate(drops))), x), FARM)
    least = discharge_share_lost(max(0.0, min(drops) - 1.0), 15.0, x)
    assert found.mean is not None
    assert found.most is not None
    assert least is not None
    assert least - 1e-9 <= found.mean <= found.most + 1e-9 <= 1.0 + 1e-9


def flush(day: int, cycles: float | None = 3.0, **signs: bool | None) -> Work:
    return replace(work(day, "flush", cycles=cycles), **signs)  # type: ignore[arg-type]


def flushing(*entries: Work) -> History:
    return station(log(*entries), flush_flow=6.0)


def test_water_is_flow_by_minutes_by_cycles() -> None:
    """6 m3/h for 2 minutes are 0.2 m3 a cycle."""
    found = flush_water(flushing(flush(0), flush(9, 5.0), work(12)), FARM)
    assert found == FlushWater(pytest.approx(1.6), 2, 0, "")


def test_no_flush_logged_took_no_water() -> None:
    assert flush_water(flushing(work(3)), FARM) == FlushWater(0.0, 0, 0, "")


def test_a_flush_without_water_took_none_whatever_its_cycles() -> None:
    found = flush_water(flushing(flush(0, water=False), flush(1, None, water=False)), FARM)
    assert found == FlushWater(0.0, 2, 0, "")


def test_what_nobody_knows_is_left_out_and_counted() -> None:
    """No cycles; or no click, and no word on the water. Water seen counts without a click."""
    unsure = [flush(0, None), flush(1, click=False), flush(2, click=False, water=True)]
    found = flush_water(flushing(*unsure), FARM)
    assert found == FlushWater(pytest.approx(0.6), 1, 2, "")
    none = flush_water(flushing(*unsure[:2]), FARM)
    assert none == FlushWater(None, 0, 2, "no flush with its cycles and signs")


def test_without_flow_or_minutes_it_says_so() -> None:
    assert flush_water(log(flush(0)), FARM).silent == "no flush flow"
    why = "no minutes per flush cycle on the Farm sheet"
    assert flush_water(flushing(flush(0)), Settings()).silent == why
