"""Where each rule begins and ends: a value on the limit is none, and one just beyond it is said."""

from __future__ import annotations

import datetime as dt
import math
from itertools import pairwise, product
from typing import Any

import pytest

from siltbook.checks.context import _second, join_lists
from siltbook.checks.gauges import (
    GaugeFitness,
    class_part,
    drop_uncertainty,
    gauge_advice,
    gauge_fitness,
    outlet_slack,
    probability_over,
    reading_again_helps,
    reading_part,
    smallest_excess,
)
from siltbook.checks.labour import most_flush_inlet, usual_inlet
from siltbook.checks.lastday import latest_day
from siltbook.checks.register import near_name
from siltbook.checks.schemas import _until_then, bounds
from siltbook.checks.slipped import (
    EXCHANGED,
    OTHER_EPOCH,
    OTHER_YEAR,
    _explained,
    _longest_rise,
    _of_station,
    _years,
)
from siltbook.checks.wording import clock, label, listed, number, rows_named, unit_for
from siltbook.templates.contract import READINGS, STATIONS, WATER, WORK
from tests.checks.builders import book, job, reading
from tests.checks.helpers import found, messages

Z = 1.6448536269514722
METRES = {"pressure_unit": "m"}


def told(made: Any, code: str, as_of: dt.date | None = None) -> list[str]:
    """The cells at which a rule found something."""
    return [one.cell for one in found(made, code, as_of)]


def station(**more: Any) -> list[dict[str, Any]]:
    return [{"station": "North 1", **more}]


def test_what_a_gauge_can_tell_in_metres() -> None:
    assert reading_part(0.6) == pytest.approx(0.6 / math.sqrt(6), rel=1e-12)
    one = class_part(3.0, gauges="one gauge", full_scale=8.0, gauge_class=2.0)
    assert one == pytest.approx(0.02 / math.sqrt(3) * math.sqrt(9 + 4), rel=1e-12)
    alone = class_part(3.0, gauges="one gauge", full_scale=None, gauge_class=2.0)
    assert alone == pytest.approx(0.06 / math.sqrt(3), rel=1e-12)
    two = class_part(3.0, gauges="two gauges", full_scale=8.0, gauge_class=2.0)
    assert two == pytest.approx(0.16 / math.sqrt(3) * math.sqrt(2), rel=1e-12)
    gauge: dict[str, Any] = {"gauges": "two gauges", "full_scale": 8.0, "gauge_class": 2.0}
    both = math.hypot(0.6 / math.sqrt(6), two or 0)
    assert drop_uncertainty(3.0, division=0.6, **gauge) == pytest.approx(both, rel=1e-12)
    assert smallest_excess(3.0, division=0.6, **gauge) == pytest.approx(Z * both, rel=1e-12)
    assert outlet_slack(division=0.6, **gauge) == pytest.approx(1e-6 + Z * both, rel=1e-12)


@pytest.mark.parametrize("lacking", ["gauges", "full_scale", "gauge_class", "division"])
def test_without_one_of_its_data_a_gauge_tells_nothing_but_its_division(lacking: str) -> None:
    gauge: dict[str, Any] = {
        "gauges": "two gauges", "full_scale": 8.0, "gauge_class": 2.0, "division": 0.6,
    } | {lacking: None}  # fmt: skip
    assert drop_uncertainty(3.0, **gauge) is None
    assert smallest_excess(3.0, **gauge) is None
    division = 0.0 if lacking == "division" else 0.6
    slack = 1e-6 + Z * division / math.sqrt(6)
    assert outlet_slack(**gauge) == pytest.approx(slack, rel=1e-12)
    assert gauge_fitness(5.0, **gauge) == GaugeFitness(None, None, None, None)


def test_the_probability_that_a_drop_is_over_its_limit() -> None:
    """Values of the normal distribution: Phi(0.5) = 0.6914625, Phi(-1.5) = 0.0668072."""
    assert probability_over(3.0, 1.0, 4.0) == pytest.approx(0.6914625, abs=1e-7)
    assert probability_over(1.0, 4.0, 2.0) == pytest.approx(0.0668072, abs=1e-7)


@pytest.mark.parametrize(
    ("drop", "border", "helps"),
    [(5.0, 0.05, False), (5.0, 0.5, False), (4.8, 0.05, False), (4.7, 0.05, True),
     (5.2, 0.05, False), (5.3, 0.05, True)],
)  # fmt: skip
def test_on_either_side_of_the_limit_further_readings_help_where_the_class_lets_them(
    drop: float, border: float, helps: bool
) -> None:
    assert reading_again_helps(drop, 5.0, border, 0.15) is helps


@pytest.mark.parametrize(
    ("least", "said"),
    [
        (0.5, "enough is half the division."),
        (0.5 - 0.5e-6, "enough is half the division."),
        (0.5 - 2e-6, "none of it is enough: take a better class or a finer division still."),
    ],
)
def test_what_is_just_enough_is_enough(least: float, said: str) -> None:
    fitness = GaugeFitness(1.0, 0.5, None, None)
    advice = gauge_advice(fitness, least, lambda value: f"{value} m")
    head = "Smallest excess told now 1.0 m; with half the division: 0.5 m; "
    assert advice == head + said
    assert gauge_advice(GaugeFitness(1.0, None, None, None), least, str) == ""


def test_a_negative_division_tells_nothing() -> None:
    above = [reading(1, 3.0, 3.06)]
    assert told(book(above, stations=station(division=-0.1)), "outlet-over-inlet") == ["E2"]
    assert told(book(above, stations=station(division=0.1)), "outlet-over-inlet") == []
    assert told(book([reading(1, 3.0, 3.001)]), "outlet-over-inlet") == ["E2"]


@pytest.mark.parametrize(
    ("typed", "scale", "beyond"),
    [(9.0, 9.0, False), (9.0 + 0.5e-6, 9.0, False), (9.0 + 2e-6, 9.0, True), (0.95, 0.9, True),
     (3.0, -1.0, False)],
)  # fmt: skip
def test_a_pressure_at_the_end_of_the_scale_is_one(
    typed: float, scale: float, beyond: bool
) -> None:
    made = book([reading(1, typed, 0.5)], stations=station(full_scale=scale), **METRES)
    assert bool(told(made, "pressure-beyond-gauge")) is beyond


def test_ends_are_said_in_three_decimals() -> None:
    made = book([reading(1, 7.0)], stations=station(full_scale=6.1234567))
    (said,) = messages(made, "pressure-beyond-gauge")
    assert "up to the gauge's full scale, 6.123 bar." in said
    flows = [reading(1, flow=1.0), reading(2, flow=200.0)]
    made = book(flows, stations=station(reference_flow=20.12345))
    assert "accepted: 4.025 m3/h or more." in messages(made, "flow-too-low")[0]
    assert "accepted: up to 100.617 m3/h; until then" in messages(made, "flow-too-high")[0]
    made = book([reading(1, 3.01234), reading(2, 3.01234)], work=[job(2, flush_inlet=30.0)])
    (said,) = messages(made, "flush-inlet-odd")
    assert "read 30 bar, while the usual inlet is 3.01 bar; accepted: up to 15.062 bar;" in said


@pytest.mark.parametrize(
    ("unit", "usual", "typed", "looks"),
    [
        ("psi", 2.0, 10.0, ""),  # five times is no other unit
        ("psi", 2.0, 10.1, "kPa"),
        ("psi", 1.42, 8.4, "kPa"),
        ("kPa", 10.0, 2.0, ""),
        ("kPa", 10.0, 1.9, "psi"),
        ("bar", 1.0, 6.7, "m"),  # within 35 % of 10.2
        ("bar", 1.0, 6.5, ""),
        ("bar", 1.0, 134.0, "kPa"),
        ("bar", 1.0, 136.0, ""),
    ],
)
def test_how_near_a_pressure_must_come_to_another_unit(
    unit: str, usual: float, typed: float, looks: str
) -> None:
    rows = [reading(day, usual, usual / 2) for day in range(1, 5)]
    made = book([*rows, reading(5, typed, usual / 2)], pressure_unit=unit)
    assert [f"which looks like {looks};" in m for m in messages(made, "pressure-other-unit")] == (
        [True] if looks else []
    )
    made = book([*rows[1:], reading(5, typed, usual / 2)], pressure_unit=unit)
    assert messages(made, "pressure-other-unit") == []  # four are no base


def test_pressures_at_or_below_zero_are_no_other_unit() -> None:
    rows = [
        reading(day, inlet, 0.0) for day, inlet in enumerate((0.0, -1.0, 3.0, 3.0, 3.0, 300), 1)
    ]
    assert told(book(rows), "pressure-other-unit") == ["D7"]
    rows = [reading(day, inlet, 0.0) for day, inlet in enumerate((-1, -1, -1, -300, -300, -1), 1)]
    assert told(book(rows), "pressure-other-unit") == []


@pytest.mark.parametrize(
    ("flow", "low", "high"),
    [(2.0, False, False), (2.0 - 0.5e-9, False, False), (2.0 - 2e-9, True, False),
     (0.5, True, False), (0.0, False, False), (50.0, False, False), (50.0 + 0.5e-9, False, False),
     (50.0 + 4e-9, False, True)],
)  # fmt: skip
def test_a_fifth_and_five_times_the_reference_flow_are_accepted(
    flow: float, low: bool, high: bool
) -> None:
    made = book([reading(1, flow=flow)], stations=station(reference_flow=10.0))
    assert (bool(told(made, "flow-too-low")), bool(told(made, "flow-too-high"))) == (low, high)
    made = book([reading(1, flow=flow)], stations=station(reference_flow=0.0))
    assert told(made, "flow-too-high") == []


def test_four_flows_are_a_usual_one_and_three_are_none() -> None:
    rows = [reading(day, flow=flow) for day, flow in enumerate((10.0, 12.0, 10.0, 1.9), 1)]
    assert messages(book(rows), "flow-too-low") == [
        "Readings!F5: flow under a fifth of the reference flow: read 1.9 m3/h, while the usual flow"
        " is 10 m3/h; accepted: 2 m3/h or more. Read again while the station irrigates."
    ]
    (said,) = messages(book(rows, flow_unit="L/s"), "flow-too-low")
    assert "1.9 L/s, while the usual flow is 10 L/s; accepted: 2 L/s or more." in said
    assert told(book(rows[1:]), "flow-too-low") == []
    assert told(book([*rows[1:], reading(5, flow=0)]), "flow-too-low") == []


def test_a_dead_side_is_one_at_zero_and_not_one_below_it() -> None:
    rows = [
        reading(1, 0.05, 0.0),
        reading(2, 3.0, -0.2),
        reading(3, -1.0, -1.0),
        reading(4, 0.0, 0),
    ]
    assert told(book(rows), "no-outlet-pressure") == ["E2"]
    assert messages(book(rows), "no-inlet-pressure") == [
        "Readings!D5: no pressure at the inlet: read 0 bar: pump off, or a dead gauge; not used;"
        " accepted: a reading taken while the pump runs. Read again while the pump runs; try the"
        " gauge."
    ]
    opened = book(rows, work=[job(4, "screen replaced"), job(1)])
    assert told(opened, "no-inlet-pressure") == []
    assert told(opened, "no-outlet-pressure") == ["E2"]  # a flush opens nothing


def test_no_drop_at_a_small_flow_is_one_and_an_outlet_above_the_inlet_is_another() -> None:
    rows = [reading(1, 3.0, 3.0, flow=0.5), reading(2, 2.9, 3.0, flow=12)]
    assert told(book(rows), "zero-drop-flowing") == ["E2"]


def test_the_inlets_that_make_the_usual_one() -> None:
    assert usual_inlet([3.0, 0.0, -9.0, 0.5, 5.0]) == 3.0
    assert usual_inlet([0.0, -1.0]) is None
    assert most_flush_inlet(20.0, 900.0) == 100.0
    assert most_flush_inlet(20.0, math.nan) == 100.0
    assert most_flush_inlet(0.1, 0.4) == 0.4


@pytest.mark.parametrize(
    ("typed", "odd"), [(8.0, False), (8.0 + 0.5e-6, False), (8.0 + 2e-6, True), (0.0, False)]
)
def test_the_lowest_inlet_in_a_flush_may_be_the_whole_scale(typed: float, odd: bool) -> None:
    made = book(work=[job(flush_inlet=typed)], stations=station(full_scale=8.0), **METRES)
    assert bool(told(made, "flush-inlet-odd")) is odd


def test_a_flush_on_an_unknown_station_is_not_compared_and_a_small_one_is() -> None:
    west = {"station": "West"}
    made = book([reading(1, **west)], work=[job(2, flush_inlet=30.0, **west)])
    assert told(made, "flush-inlet-odd") == []
    made = book(work=[job(flush_inlet=0.9)], stations=station(full_scale=0.5), **METRES)
    assert told(made, "flush-inlet-odd") == ["F2"]


def test_undated_work_on_a_resting_station_is_said_without_a_day() -> None:
    resting = station(in_service="no")
    (said,) = messages(book(work=[job() | {"date": None}], stations=resting), "work-out-of-service")
    assert "read flush; accepted: work on stations that are in service." in said


def seen(*rows: dict[str, Any], time: dt.time | None = None, day: int = 9) -> bool:
    """Whether an opening with 'yes' is believed after these readings."""
    work = [job(day, "hand cleaning", gauge_zero="yes", time=time)]
    return told(book(list(rows), work=work), "zero-not-shown") == []


def test_readings_and_work_without_a_time_stand_where_the_day_puts_them() -> None:
    zero = {"inlet": 0.0, "outlet": 0.0}
    last, midnight = {"time": dt.time(23, 59, 59)}, {"time": dt.time(0, 0)}
    assert not seen(reading(8), reading(9, **zero, **last))  # work stands at the end of its day
    assert seen(reading(8), reading(10, **zero, **midnight))
    after = {"occasion": "after cleaning"}
    assert seen(reading(8), reading(9, **zero, **after))
    assert not seen(reading(9, **zero, **after), time=dt.time(0, 0), day=10)
    assert not seen(reading(8), reading(9, **zero), time=dt.time(0, 0))
    assert seen(reading(8), reading(9, **zero, time=dt.time(9, 0)), time=dt.time(8, 59))
    assert not seen(reading(8), reading(9, **zero, time=dt.time(9, 0)), time=dt.time(9, 0))


def test_the_seconds_of_a_day() -> None:
    assert _second(dt.time(1, 2, 3)) == 3_723.0
    assert _second(dt.time(23, 59, 59)) == 86_399.0
    assert math.isnan(_second("07:30"))


def test_names_of_the_register_are_six_at_most() -> None:
    for count, more in ((6, ""), (7, ", …")):
        names = [f"N{n}" for n in range(1, count + 1)]
        made = book([reading(station="Zebra")], stations=[{"station": name} for name in names])
        (said,) = messages(made, "station-unknown")
        assert f"a station of the sheet Stations (N1, N2, N3, N4, N5, N6{more})." in said


def test_a_name_is_clearly_nearer_from_five_points_on() -> None:
    name = "abcdefghijklmnopqrst"
    assert near_name(name, (f"{name[:17]}XYZ", f"{name[:18]}XY")) == f"{name[:18]}XY"  # 85, 90
    name += "uvwxy"
    assert near_name(name, (f"{name[:22]}123", f"{name[:23]}12")) == ""  # 88, 92


@pytest.mark.parametrize(
    ("limit", "odd"), [(0.99, True), (1.0, False), (15.0, False), (15.1, True)]
)
def test_the_farms_limit_on_its_bounds(limit: float, odd: bool) -> None:
    assert told(book(drop_limit=limit), "limit-odd") == (["B5"] if odd else [])


def test_bounds_in_words() -> None:
    limit = STATIONS.column("drop_limit")
    assert bounds(limit, "kPa") == "drop limit from 0.9807 to 588.4 kPa"
    assert bounds(limit, "m") == "drop limit from 0.1 to 60 m"
    assert bounds(READINGS.column("inlet"), "bar") == "inlet pressure 0 or more"


def test_what_stands_in_for_a_number_beyond_its_bounds() -> None:
    joined = join_lists(book(), None)

    def until(sheet: Any, key: str, code: str = "value-out-of-bounds") -> str:
        return _until_then(joined, sheet, sheet.column(key), code)

    empty = "; until then the cell counts as empty"
    assert until(STATIONS, "drop_limit") == "; until then the farm's limit of 5.00 m is used"
    assert until(STATIONS, "clean_drop") == until(STATIONS, "grade") == empty
    assert until(READINGS, "inlet", "pressure-negative") == until(READINGS, "outlet") == ""
    assert until(READINGS, "field", "pressure-negative") == empty
    assert until(WORK, "cycles") == empty
    assert until(WATER, WATER.columns[-2].key) == "; until then it is not rated"
    assert until(STATIONS, "grade", "cell-not-number") == until(STATIONS, "grade", "a") == ""


def test_numbers_rows_and_lists_in_a_sentence() -> None:
    assert rows_named([7]) == "row 7"
    assert rows_named(range(1, 8)) == "rows 1, 2, 3, 4, 5, 6 and 7"
    assert rows_named(range(1, 9)) == "rows 1, 2, 3, 4, 5, 6 and 2 more"
    assert [listed(list(text)) for text in ("", "a", "ab", "abc")] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert (number(0.12345678906), number(0.12345678901)) == ("0.1234567891", "0.123456789")
    assert (clock(dt.time(7, 5, 59)), clock(None)) == ("07:05", "")
    grade = STATIONS.column("grade")
    assert (label(grade), unit_for(grade, "bar", "L/s")) == ("filtration grade", "µm")
    units = [unit_for(READINGS.column(key), "bar", "L/s") for key in ("inlet", "flow", "occasion")]
    assert units == ["bar", "L/s", ""]
    assert unit_for(STATIONS.column("drop_limit"), "bar", "L/s") == "m"


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("typed", "before", "after", "likely", "how"),
    [
        ("2026-08-06", "2026-06-06", "2026-06-20", "2026-06-08", EXCHANGED),
        ("2026-08-06", "2026-06-08", "2026-06-08", "2026-06-08", EXCHANGED),
        ("2026-08-06", "2026-06-09", "2026-06-20", None, ""),
        ("2026-08-06", "2026-05-20", "2026-06-07", None, ""),
        ("2026-08-06", "2026-08-06", "2026-08-06", None, ""),  # it stands at its place
        ("2026-08-13", "2026-06-06", "2026-06-20", None, ""),
        ("2026-08-13", "2027-08-10", "2027-08-20", "2027-08-13", OTHER_YEAR),
        ("2026-08-13", "2025-08-10", "2025-08-20", "2025-08-13", OTHER_YEAR),
        ("2026-08-13", "2024-08-10", "2024-08-20", None, ""),
        ("2026-08-13", "2030-08-14", "2030-08-14", "2030-08-14", OTHER_EPOCH),
        ("2026-08-13", "2022-08-12", "2022-08-12", "2022-08-12", OTHER_EPOCH),
        ("2026-08-13", "2030-08-15", "2030-08-16", None, ""),
    ],
)
def test_in_which_way_a_date_was_mistyped(
    typed: str, before: str, after: str, likely: str | None, how: str
) -> None:
    between = (day(before).toordinal(), day(after).toordinal())
    slip = _explained(5, day(typed), *between, rare=False)
    assert (slip and (slip.row, str(slip.typed), str(slip.likely), slip.how)) == (
        likely and (5, typed, likely, how)
    )


def test_a_rare_year_may_be_a_slip_of_any_size() -> None:
    between = (day("2024-08-10").toordinal(), day("2024-08-20").toordinal())
    slip = _explained(5, day("2062-08-13"), *between, rare=True)
    assert slip
    assert (slip.likely, slip.how) == (day("2024-08-13"), OTHER_YEAR)
    assert _explained(5, day("2062-08-13"), *between, rare=False) is None


def test_years_between_two_days_are_tried_from_the_nearest_on() -> None:
    two = (day("2024-12-31").toordinal(), day("2028-01-01").toordinal())
    assert _years(day("2026-05-05"), *two) == [2026, 2025, 2027, 2024, 2028]
    assert _years(day("2030-05-05"), *two) == [2028, 2027, 2026, 2025, 2024]
    last = dt.date.max.toordinal()
    assert _years(dt.date.max, -40, 1) == [1]
    assert _years(dt.date.max, last, last + 40) == [9999]


def test_the_longest_part_of_the_rows_that_is_in_order() -> None:
    for days in product(range(4), repeat=4):
        kept = _longest_rise(days)
        assert kept == sorted(set(kept))
        assert all(days[a] <= days[b] for a, b in pairwise(kept))
        longest = max(
            len(part)
            for mask in range(16)
            if (part := [d for i, d in enumerate(days) if mask >> i & 1]) == sorted(part)
        )
        assert len(kept) == longest


def weekly(last: str, *more: str) -> list[tuple[int, dt.date]]:
    """Rows from 2 on: five weeks up to a day, and what is typed behind them."""
    days = [day(last) - dt.timedelta(days=7 * back) for back in range(4, -1, -1)]
    return list(enumerate([*days, *map(day, more)], 2))


@pytest.mark.parametrize(
    ("last", "typed", "slipped"),
    [
        ("2026-06-06", "2026-08-06", True),  # 61 days after the row before it
        ("2026-06-07", "2026-08-06", False),
        ("2026-06-06", "2025-06-20", True),  # a fortnight behind, in the year before
        ("2026-06-06", "2025-06-21", False),
    ],
)
def test_when_the_last_row_is_questioned(last: str, typed: str, slipped: bool) -> None:
    found = _of_station(weekly(last, typed))
    assert [slip.row for slip in found] == ([7] if slipped else [])
    turned = _of_station(weekly(last, typed)[::-1])
    assert [slip.row for slip in turned] == ([7] if slipped else [])


@pytest.mark.parametrize(("second", "slipped"), [("2026-06-06", True), ("2026-06-05", False)])
def test_when_the_first_row_is_questioned(second: str, slipped: bool) -> None:
    """6 April was typed for 4 June, 61 days or 60 before the next row."""
    rest = [day(second) + dt.timedelta(days=7 * n) for n in range(4)]
    found = _of_station(list(enumerate([day("2026-04-06"), *rest], 2)))
    assert [(slip.row, str(slip.likely)) for slip in found] == [(2, "2026-06-04")] * slipped


def test_three_rows_are_enough_to_question_the_first_or_the_last() -> None:
    """Of two, nobody knows which one is out."""
    days = ["2026-05-30", "2026-06-06", "2026-08-06"]
    (last,) = _of_station(list(enumerate(map(day, days), 2)))
    assert (last.row, last.likely, last.how) == (4, day("2026-06-08"), EXCHANGED)
    days = ["2026-04-06", "2026-06-06", "2026-06-13"]
    (first,) = _of_station(list(enumerate(map(day, days), 2)))
    assert (first.row, first.likely, first.how) == (2, day("2026-06-04"), EXCHANGED)
    assert _of_station(list(enumerate(map(day, days[:2]), 2))) == []


@pytest.mark.parametrize(
    ("gap", "last"), [(20, "2026-08-06"), (21, "2026-07-16")], ids=["20 days", "21 days"]
)
def test_a_slipped_date_is_the_last_day_while_others_lie_near_it(gap: int, last: str) -> None:
    south = day("2026-08-06") - dt.timedelta(days=gap)
    rows = [reading() | {"date": date} for _, date in weekly("2026-06-06", "2026-08-06")]
    others = [day("2026-06-20"), day("2026-07-05"), south]
    rows += [reading(station="South") | {"date": date} for date in others]
    made = book(rows, stations=[{"station": "North 1"}, {"station": "South"}])
    assert latest_day(made) == day(last)


@pytest.mark.parametrize(
    ("gap", "rest", "ahead"), [(1_000, 3, False), (1_001, 3, True), (1_001, 2, False)]
)
def test_how_far_after_all_others_a_date_is_not_believed(gap: int, rest: int, ahead: bool) -> None:
    days = [day("2026-05-24") - dt.timedelta(days=7 * back) for back in range(rest)]
    far = days[0] + dt.timedelta(days=gap)
    made = book([reading() | {"date": date} for date in [*days[::-1], far]])
    (said,) = messages(made, "date-ahead") or [""]
    assert bool(said) is ahead
    assert (f"{gap:,} days after all others;" in said) is ahead
    assert latest_day(made) == (days[0] if ahead else far)


@pytest.mark.parametrize("side", ["inlet", "outlet"])
@pytest.mark.parametrize("by", [0.5e-6, -0.5e-6, 2e-6, -2e-6, 0.5, -0.5])
def test_two_readings_of_a_minute_differ_by_more_than_the_arithmetic(side: str, by: float) -> None:
    at = {"time": dt.time(8), "inlet": 30.0, "outlet": 28.0}
    made = book([reading(**at), reading(**at | {side: at[side] + by})], **METRES)
    assert bool(told(made, "readings-differ")) is (abs(by) > 1e-6)


def test_dates_after_the_review_are_counted_from_the_next_day_on() -> None:
    rows = [reading(10), reading(11)]
    assert told(book(rows), "date-after-review", dt.date(2026, 5, 10)) == ["B3"]
    assert told(book(rows), "date-after-review", dt.date(2026, 5, 11)) == []
    assert told(book(rows), "date-after-review", dt.date(2026, 5, 9)) == ["B2"]


def test_copies_are_rows_on_three_days_whatever_time_they_lack() -> None:
    rows = [reading(1), reading(2, flow=0.0), reading(2, time=dt.time(0, 0)), reading(3)]
    assert told(book(rows), "rows-copied") == []
    timed = [reading(1), reading(2, time=dt.time(0, 0)), reading(2), reading(3)]
    (said,) = messages(book(timed), "rows-copied")
    assert "in rows 2, 4, 3 and 5, 2026-05-01 to 2026-05-03;" in said


def test_a_changed_gauge_holds_from_its_day_on() -> None:
    rows = [reading(4, 7.0), reading(5, 7.0), reading(6, 7.0)]
    gauges = [{"station": "NORTH 1", "since": dt.date(2026, 5, 5), "full_scale": 6}]
    made = book(rows, stations=station(full_scale=10), gauges=gauges)
    assert told(made, "pressure-beyond-gauge") == ["D3", "D4"]
