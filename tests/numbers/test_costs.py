"""What dirt costs: the line of the excess head, the energy under it, and when it is silent."""

from __future__ import annotations

import datetime as dt
import itertools
import math
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from siltbook.batch.model import History, Reading, Work
from siltbook.batch.numbers.costs import (
    DirtCost,
    dirt_cost,
    discharge_share_lost,
    monthly,
    pump_energy,
)
from siltbook.templates.book import Settings
from tests.amount import examples
from tests.numbers.logs import log, read, work

FARM = Settings(hours=10.0, efficiency=0.65, price=0.2, currency="coins")
KWH = 9806.65 / 3.6e6  # [kWh per m3 and m of water]


def energy(excess_days: float, flow: float = 40.0) -> float:
    """What so many metres times days cost at ten hours a day and 65 % [kWh]."""
    return KWH * flow * excess_days * 10.0 / 0.65


def test_a_straight_rise_costs_the_triangle_under_it() -> None:
    """From the clean drop of 1 m to 5 m in ten days: 2 m on average, at the reference flow."""
    found = dirt_cost(log(read(0, 1.0), read(10, 5.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(20.0))
    assert found.energy_kwh == pytest.approx(33.5270, abs=1e-4)
    assert found.energy_cost == pytest.approx(33.5270 * 0.2, abs=1e-4)
    assert found.mean_excess_m == pytest.approx(2.0)
    assert (found.days_counted, found.gaps_left_out, found.silent) == (10.0, 0, "")


def test_a_drop_under_the_clean_one_earns_nothing() -> None:
    """Excess head is never under zero."""
    found = dirt_cost(log(read(0, 0.2), read(5, 0.9), read(10, 1.0)), FARM)
    assert (found.energy_kwh, found.energy_cost, found.mean_excess_m) == (0.0, 0.0, 0.0)
    half = dirt_cost(log(read(0, 0.2), read(5, 3.0)), FARM)
    assert half.energy_kwh == pytest.approx(energy(5.0))


@pytest.mark.parametrize("kind", ["flush", "hand cleaning", "screen replaced"])
def test_a_fall_explained_by_work_is_a_step_on_its_day(kind: str) -> None:
    """4 m for eight days, then 0.5 m for two; a slope would have said 22.5 m days."""
    found = dirt_cost(log(read(0, 5.0), work(8, kind), read(10, 1.5)), FARM)
    assert found.energy_kwh == pytest.approx(energy(4.0 * 8 + 0.5 * 2))
    assert found.mean_excess_m == pytest.approx(3.3)


@pytest.mark.parametrize("kind", ["other", "called out", "solenoid replaced"])
def test_work_that_takes_no_dirt_away_explains_no_fall(kind: str) -> None:
    """The fall stays a slope."""
    found = dirt_cost(log(read(0, 5.0), work(8, kind), read(10, 1.5)), FARM)
    assert found.energy_kwh == pytest.approx(energy(22.5))


def test_a_fall_without_work_is_a_slope() -> None:
    """Nobody knows when it fell."""
    found = dirt_cost(log(read(0, 5.0), read(10, 1.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(20.0))


def test_work_that_did_not_help_makes_no_step() -> None:
    """The drop rose all the same."""
    found = dirt_cost(log(read(0, 1.0), work(8, "flush", cycles=3), read(10, 5.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(20.0))


def test_work_counts_only_between_its_own_readings() -> None:
    """The cleaning of day 2 does not explain the fall after day 5."""
    found = dirt_cost(log(read(0, 3.0), work(2), read(5, 2.0), read(10, 1.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(2.0 * 2 + 1.0 * 3 + 2.5))


def test_of_several_works_the_opening_of_the_filter_makes_the_step() -> None:
    """A flush before it or after it does not outrank it; of two flushes the later one counts."""
    history = log(read(0, 5.0), work(2, "flush"), work(6), work(8, "flush"), read(10, 1.0))
    assert dirt_cost(history, FARM).energy_kwh == pytest.approx(energy(4.0 * 6))
    history = log(read(0, 5.0), work(2, "flush"), work(8, "flush"), read(10, 1.0))
    assert dirt_cost(history, FARM).energy_kwh == pytest.approx(energy(4.0 * 8))


def test_work_on_the_day_of_a_reading_steps_at_that_reading() -> None:
    """Routine reading, cleaning and the reading after it on day 10: the slope ends at the first."""
    after = replace(read(10, 1.0), occasion="after cleaning")
    history = log(read(0, 1.0), read(10, 5.0), work(10), after, read(15, 1.0))
    found = dirt_cost(history, FARM)
    assert found.energy_kwh == pytest.approx(energy(20.0))
    assert found.days_counted == 15.0


def test_a_small_fall_after_work_is_a_step_too() -> None:
    """From 4 m to 3.9 m of excess; level counts as no fall, and costs the same either way."""
    found = dirt_cost(log(read(0, 5.0), work(8), read(10, 4.9)), FARM)
    assert found.energy_kwh == pytest.approx(energy(4.0 * 8 + 3.9 * 2))


def test_an_untimed_cleaning_does_not_turn_the_day_back() -> None:
    """The reading after it bears an early hour; no part of the day counts twice."""
    after = replace(read(10, 1.0, at="08:00"), occasion="after cleaning")
    found = dirt_cost(log(read(0, 5.0), work(10), after, read(15, 1.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(4.0 * 10))
    assert found.days_counted == 15.0


def test_times_of_day_count() -> None:
    """Six hours at 4 m, twelve at 1 m."""
    history = log(read(0, 5.0, at="06:00"), work(0, at="12:00"), read(1, 2.0, at="00:00"))
    found = dirt_cost(history, FARM)
    assert found.energy_kwh == pytest.approx(energy(4.0 * 0.25 + 1.0 * 0.5))
    assert found.days_counted == pytest.approx(0.75)


def test_gaps_over_three_reading_intervals_are_left_out_and_counted() -> None:
    """Seven days an interval: 21 days count, 22 do not."""
    found = dirt_cost(log(read(0, 2.0), read(21, 2.0), read(43, 9.0), read(50, 9.0)), FARM)
    assert (found.days_counted, found.gaps_left_out) == (28.0, 1)
    assert found.energy_kwh == pytest.approx(energy(21.0 + 7 * 8.0))
    wider = dirt_cost(log(read(0, 2.0), read(22, 2.0)), replace(FARM, interval=8.0))
    assert (wider.days_counted, wider.gaps_left_out) == (22.0, 0)


def test_unusable_readings_are_passed_over() -> None:
    """The gap between the usable ones counts; a reading without a drop is none."""
    wrong = read(5, 30.0, why="outlet above inlet")
    found = dirt_cost(log(read(0, 2.0), wrong, read(7, None), read(10, 2.0)), FARM)
    assert found.energy_kwh == pytest.approx(energy(10.0))


@pytest.mark.parametrize(
    ("first", "last", "reference", "used"),
    [
        (None, None, 40.0, 40.0),
        (20.0, 30.0, 40.0, 25.0),
        (20.0, None, 40.0, 30.0),
        (20.0, None, None, 20.0),
        (20.0, None, 0.0, 20.0),
    ],
)
def test_flow_of_a_stretch(
    first: float | None, last: float | None, reference: float | None, used: float
) -> None:
    # Drops that stand 1 m over what a clean element takes at their flow.
    clean = [1.0 if not (f and reference) else (f / reference) ** 2 for f in (first, last)]
    history = log(read(0, 1 + clean[0], flow=first), read(10, 1 + clean[1], flow=last))
    station = replace(history.station, reference_flow=reference)
    found = dirt_cost(replace(history, station=station), FARM)
    assert found.energy_kwh == pytest.approx(energy(10.0, used))


def test_a_drop_read_at_half_the_flow_costs_by_the_clean_drop_there() -> None:
    """1.0 m clean at 40 m³/h is 0.25 m at 20: a drop of 1 m there is 0.75 m of dirt."""
    found = dirt_cost(log(read(0, 1.0, flow=20.0), read(10, 1.0, flow=20.0)), FARM)
    assert found.mean_excess_m == pytest.approx(0.75)


def test_without_a_price_there_is_energy_and_no_money() -> None:
    found = dirt_cost(log(read(0, 2.0), read(10, 2.0)), replace(FARM, price=None))
    assert found.energy_kwh == pytest.approx(energy(10.0))
    assert (found.energy_cost, found.silent) == (None, "")


def test_no_irrigation_costs_nothing() -> None:
    """Zero hours are a number, not a missing one."""
    found = dirt_cost(log(read(0, 2.0), read(10, 2.0)), replace(FARM, hours=0.0))
    assert (found.energy_kwh, found.silent) == (0.0, "")


@pytest.mark.parametrize(
    ("history", "gaps", "why"),
    [
        (log(read(0, 2.0), read(5, 3.0), clean=None), 0, "the station has no clean drop"),
        (log(), 0, "fewer than two usable readings"),
        (log(read(0, 2.0), read(5, 2.0, why="no flow")), 0, "fewer than two usable readings"),
        (log(read(0, 2.0), read(30, 2.0)), 1, "no two readings in a row lie within 21 days"),
        (log(read(0, 2.0), read(0, 3.0)), 0, "all usable readings were taken at the same time"),
    ],
)
def test_without_a_line_it_says_why(history: History, gaps: int, why: str) -> None:
    assert dirt_cost(history, FARM) == DirtCost(None, None, None, 0.0, gaps, why)
    assert monthly(history, FARM) == ()


HOURS = "no irrigation hours per day on the Farm sheet"
PUMP = "no pump efficiency on the Farm sheet"


@pytest.mark.parametrize(
    ("farm", "why"),
    [
        (replace(FARM, hours=None), HOURS),
        (replace(FARM, efficiency=None), PUMP),
        (Settings(), f"{HOURS}; {PUMP}"),
    ],
)
def test_without_hours_or_efficiency_the_mean_excess_remains(farm: Settings, why: str) -> None:
    history = log(read(0, 2.0), read(10, 4.0))
    assert dirt_cost(history, farm) == DirtCost(None, None, 2.0, 10.0, 0, why)
    assert [cost.silent for _, cost in monthly(history, farm)] == [why]


def test_without_any_flow_it_says_so() -> None:
    """One stretch without a flow silences the whole, for a part would pass for all of it."""
    bare = log(read(0, 2.0), read(10, 2.0), read(20, 2.0))
    bare = replace(bare, station=replace(bare.station, reference_flow=None))
    why = "no flow was read and the station has no reference flow"
    assert dirt_cost(bare, FARM) == DirtCost(None, None, 1.0, 20.0, 0, why)
    some = replace(bare, entries=(read(0, 2.0, flow=9.0), *bare.entries[1:]))
    why = "some readings have no flow and the station has no reference flow"
    assert dirt_cost(some, FARM) == DirtCost(None, None, 1.0, 20.0, 0, why)


def test_months_share_a_stretch_by_their_days() -> None:
    """From 26 April noon to 6 May noon: 4.5 days in April, 5.5 in May, on one slope."""
    history = log(read(25, 1.0), read(35, 5.0))
    (april, first), (may, second) = monthly(history, FARM)
    assert (april, may) == ("2026-04", "2026-05")
    assert (first.days_counted, second.days_counted) == (4.5, 5.5)
    assert first.mean_excess_m == pytest.approx(0.9)
    assert second.mean_excess_m == pytest.approx(2.9)
    assert first.energy_kwh == pytest.approx(energy(4.5 * 0.9))
    assert second.energy_kwh == pytest.approx(energy(5.5 * 2.9))


def test_months_cross_the_turn_of_the_year() -> None:
    """1 April is day 0, so 31 December is day 274."""
    months = [name for name, _ in monthly(log(read(270, 2.0), read(280, 2.0)), FARM)]
    assert months == ["2026-12", "2027-01"]


def test_a_month_inside_a_gap_is_listed_and_says_so() -> None:
    """The gap from 11 April to 10 June counts in April, where it begins."""
    history = log(read(0, 2.0), read(10, 2.0), read(70, 2.0), read(80, 2.0))
    by_month = dict(monthly(history, FARM))
    assert list(by_month) == ["2026-04", "2026-05", "2026-06"]
    why = "no two readings in a row within 21 days cover this month"
    assert by_month["2026-05"] == DirtCost(None, None, None, 0.0, 0, why)
    assert [c.gaps_left_out for c in by_month.values()] == [1, 0, 0]


def test_a_gap_at_either_end_still_counts_in_its_month() -> None:
    """Nothing of April can be counted, yet its gap adds up with the rest."""
    by_month = dict(monthly(log(read(0, 2.0), read(40, 2.0), read(45, 2.0)), FARM))
    assert list(by_month) == ["2026-04", "2026-05"]
    assert by_month["2026-04"].gaps_left_out == 1
    ending = dict(monthly(log(read(0, 2.0), read(5, 2.0), read(40, 2.0)), FARM))
    assert [(c.gaps_left_out, c.days_counted) for c in ending.values()] == [(1, 5.0), (0, 0.0)]


DROPS = st.floats(0.0, 12.0)
FLOWS = st.none() | st.floats(1.0, 90.0)
KINDS = st.sampled_from(["flush", "hand cleaning", "screen replaced", "other"])
READINGS = st.builds(lambda day, drop, flow: read(day, drop, flow=flow),
                     st.integers(0, 300), DROPS, FLOWS)  # fmt: skip
WORKS = st.builds(work, st.integers(0, 300), KINDS)


@st.composite
def histories(draw: st.DrawFn) -> History:
    """A season's log with rows numbered as in a workbook."""
    entries = draw(st.lists(READINGS, min_size=2, max_size=40)) + draw(st.lists(WORKS, max_size=8))
    return log(*(replace(e, row=i) for i, e in enumerate(entries, 2)))


@given(histories())
@effort(max_examples=examples(150), deadline=None)
def test_months_add_up_to_the_whole(history: History) -> None:
    whole = dirt_cost(history, FARM)
    months = [cost for _, cost in monthly(history, FARM)]
    if whole.energy_kwh is None or whole.energy_cost is None:
        assert not months
        return
    assert math.fsum(m.days_counted for m in months) == pytest.approx(whole.days_counted)
    assert sum(m.gaps_left_out for m in months) == whole.gaps_left_out
    kwh = math.fsum(m.energy_kwh or 0.0 for m in months)
    assert kwh == pytest.approx(whole.energy_kwh, rel=1e-9, abs=1e-9)
    money = math.fsum(m.energy_cost or 0.0 for m in months)
    assert money == pytest.approx(whole.energy_cost, rel=1e-9, abs=1e-9)
    metre_days = math.fsum((m.mean_excess_m or 0.0) * m.days_counted for m in months)
    mean = (whole.mean_excess_m or 0.0) * whole.days_counted
    assert metre_days == pytest.approx(mean, rel=1e-9, abs=1e-9)


@pytest.mark.at_length  # tests/whole/test_same_answer.py shuffles rows
@given(histories(), st.randoms(use_true_random=False))
@effort(max_examples=examples(100), deadline=None)
def test_the_order_of_rows_does_not_matter(history: History, chance: random.Random) -> None:
    """Rows keep their numbers, only their place in the list changes."""
    mixed: list[Reading | Work] = list(history.entries)
    chance.shuffle(mixed)
    shuffled = replace(history, entries=tuple(mixed))
    assert dirt_cost(shuffled, FARM) == dirt_cost(history, FARM)
    assert monthly(shuffled, FARM) == monthly(history, FARM)


@given(histories(), st.floats(0.5, 12.0))
@effort(max_examples=examples(100), deadline=None)
def test_energy_scales_with_hours_and_against_efficiency(history: History, hours: float) -> None:
    once = dirt_cost(history, replace(FARM, hours=hours)).energy_kwh
    twice = dirt_cost(history, replace(FARM, hours=2 * hours)).energy_kwh
    poorer = dirt_cost(history, replace(FARM, hours=hours, efficiency=0.325)).energy_kwh
    if once is None:
        assert twice is None
        assert poorer is None
        return
    assert twice == pytest.approx(2 * once, rel=1e-12)
    assert poorer == pytest.approx(2 * once, rel=1e-12)


@given(histories())
@effort(max_examples=examples(100), deadline=None)
def test_days_counted_and_gaps_make_up_the_season(history: History) -> None:
    """And the mean excess lies between the least and the most that was read."""
    whole = dirt_cost(history, FARM)
    days = sorted(r.date.toordinal() for r in history.readings)
    steps = [b - a for a, b in itertools.pairwise(days)]
    assert whole.gaps_left_out == sum(step > 21 for step in steps)
    assert whole.days_counted == sum(step for step in steps if step <= 21)
    if whole.mean_excess_m is not None:
        clean = [1.0 if not r.flow else (r.flow / 40.0) ** 2 for r in history.readings]
        drops = [r.drop or 0.0 for r in history.readings]
        excess = [max(0.0, d - c) for d, c in zip(drops, clean, strict=True)]
        assert min(excess) - 1e-9 <= whole.mean_excess_m <= max(excess) + 1e-9


@given(histories(), st.integers(-3000, 3000))
@effort(max_examples=examples(50), deadline=None)
def test_the_calendar_does_not_change_the_whole(history: History, days: int) -> None:
    shift = dt.timedelta(days=days)
    moved = replace(
        history, entries=tuple(replace(e, date=e.date + shift) for e in history.entries)
    )
    assert dirt_cost(moved, FARM) == dirt_cost(history, FARM)


@pytest.mark.parametrize("efficiency", [0.0, -0.5, 65.0, float("nan")])
def test_an_impossible_efficiency_is_refused(efficiency: float) -> None:
    with pytest.raises(ValueError, match="a pump efficiency lies over 0 and up to 1, not at"):
        pump_energy(50.0, 5.0, 1.0, efficiency)


@pytest.mark.parametrize(
    ("excess", "field", "exponent", "lost"),
    [
        (5.0, 10.0, 1.0, 0.5),
        (5.0, 10.0, 0.0, 0.0),
        (0.0, 10.0, 0.5, 0.0),
        (-1.0, 10.0, 0.5, 0.0),
        (7.5, 10.0, 0.5, 0.5),
        (10.0, 10.0, 0.5, 1.0),
        (10.0, 10.0, 0.0, 1.0),
        (12.0, 10.0, 0.0, 1.0),
        (None, 10.0, 0.5, None),
        (5.0, None, 0.5, None),
        (5.0, 0.0, 0.5, None),
    ],
)
def test_share_of_discharge_lost(
    excess: float | None, field: float | None, exponent: float, lost: float | None
) -> None:
    found = discharge_share_lost(excess, field, exponent)
    assert found is None if lost is None else found == pytest.approx(lost)


@pytest.mark.parametrize("exponent", [-0.1, 1.1, float("nan")])
def test_an_impossible_exponent_is_refused(exponent: float) -> None:
    with pytest.raises(ValueError, match="an emitter exponent lies between 0 and 1, not at"):
        discharge_share_lost(1.0, 10.0, exponent)
