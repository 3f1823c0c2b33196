"""What one drop says on one gauge and on two, against the limit and against other drops."""

from __future__ import annotations

from dataclasses import replace

import pytest

from siltbook.batch.assess import days_over
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import History, Reading, Station, Verdict
from siltbook.batch.numbers.drops import implausibly_low
from siltbook.batch.numbers.effectiveness import cleaning_effectiveness
from siltbook.batch.numbers.outlook import outlooks
from siltbook.batch.numbers.runs import cut_runs
from siltbook.checks.gauges import class_part, drop_uncertainty, reading_again_helps, reading_part
from siltbook.templates.book import Settings
from siltbook.templates.safety import GAUGES_CANNOT_TELL, READ_ONCE_MORE
from tests.numbers.logs import STATION, log, on, read, work

TWO = replace(STATION, gauges="two gauges", full_scale=60.0, gauge_class=1.6, division=0.5)


def seen(day: int, drop: float, at: Station, flow: float | None = None) -> Reading:
    """A reading with the uncertainties that the book would give it."""
    gauge = {"gauges": at.gauges, "full_scale": at.full_scale, "gauge_class": at.gauge_class}
    u = drop_uncertainty(drop, **gauge, division=at.division)  # type: ignore[arg-type]
    return replace(read(day, drop, flow=flow, u=u), u_read=reading_part(at.division))


def test_the_class_of_two_gauges_does_not_hide_a_torn_screen() -> None:
    """Against the limit such gauges tell 0.8 m, in differences 0.2 m."""
    torn = seen(0, 0.3, TWO, flow=40.0)
    assert torn.u_drop is not None
    assert torn.u_between is not None
    assert torn.u_drop > 0.75 > 0.21 > torn.u_between
    assert implausibly_low(History(TWO, (torn,)), torn)


def test_half_of_the_reference_flow_is_enough_to_call_a_drop_too_low() -> None:
    half, less = (read(0, 0.05, flow=flow, u=0.01) for flow in (20.0, 19.9))
    assert implausibly_low(log(half), half)
    assert not implausibly_low(log(less), less)


def test_a_fall_is_told_on_two_gauges() -> None:
    """By 1.5 m: twice what their class leaves open, but the class is in both readings."""
    history = History(TWO, (seen(0, 2.6, TWO), seen(7, 1.1, TWO)))
    assert len(cut_runs(history, 3)) == 2


def test_near_zero_a_drop_that_halves_is_no_cleaning() -> None:
    fine = replace(STATION, clean_drop=0.1)
    drops = (0.4, 0.1, 0.5, 0.2)
    entries = tuple(replace(read(7 * i, d), u_drop=0.02) for i, d in enumerate(drops))
    assert len(cut_runs(History(fine, entries), 3)) == 1


def test_a_torn_element_gave_nothing_back_and_has_no_expected_day() -> None:
    entries = (
        read(0, 1.0, flow=40.0), read(7, 3.0, flow=40.0), work(7), read(8, 0.2, flow=40.0),
        read(15, 0.3, flow=40.0),
    )  # fmt: skip
    history = log(*entries)
    assert cut_runs(history, 3)[0].given_back is None
    (outlook,) = outlooks([history], Settings(), on(16))
    assert outlook.forecast.silent == "the drop is implausibly low: see to the element first"


def test_a_share_over_one_is_not_shown_and_said() -> None:
    """The element came out 0.5 m cleaner than the register says, which the gauge can tell."""
    history = log(read(0, 1.0), read(7, 3.0), work(7), read(8, 0.6), read(15, 1.0))
    runs = cut_runs(history, 3)
    assert runs[0].given_back is None
    assert cleaning_effectiveness(history.station, runs, 7.0).notes == (
        "After one work the drop was under the clean drop of the register by more than the gauge "
        "can err: look whether the element is whole, and if it is, enter the lower clean drop.",
    )
    within = log(read(0, 1.0), read(7, 3.0), work(7), read(8, 0.9), read(15, 1.0))
    assert cut_runs(within, 3)[0].given_back == 1.0


def test_a_fall_that_no_work_explains_asks_for_no_lower_clean_drop() -> None:
    """It said 'After one work', and to enter the clean drop of a selector that was not turned."""
    history = log(read(0, 1.0), read(7, 3.0), read(8, 0.6), read(15, 0.7))
    runs = cut_runs(history, 3)
    assert runs[0].left_cleaner
    assert cleaning_effectiveness(history.station, runs, 7.0).notes == ()


def test_a_rise_made_of_rounding_gives_nothing_back() -> None:
    """0.3 m of rise on a gauge that tells 0.2 m."""
    coarse = [replace(r, u_drop=0.2) for r in (read(0, 1.0), read(7, 1.3), read(8, 1.3))]
    history = log(coarse[0], coarse[1], work(7), coarse[2])
    assert cut_runs(history, 3)[0].given_back is None


def cleaned(at: Station, drop: float) -> History:
    """A proven flush that did not help, read again at `drop`."""
    flush = replace(work(0, "flush", cycles=3), click=True, water=True)
    return History(at, (seen(0, drop, at), flush, seen(1, drop, at)))


@pytest.mark.parametrize(
    ("gauges", "words"),
    [
        ("one gauge", READ_ONCE_MORE),
        ("two gauges", GAUGES_CANNOT_TELL.format(
            better="one gauge with a selector valve, or a gauge of a better class")),
    ],
)  # fmt: skip
def test_reading_once_more_is_asked_for_only_where_it_can_tell(gauges: str, words: str) -> None:
    at = replace(TWO, gauges=gauges, full_scale=60.0 if gauges == "two gauges" else None)
    history = cleaned(at, 5.2)
    readings = [replace(r, p_over=0.6) for r in history.readings]  # borderline, whatever the gauge
    entries = (readings[0], *history.work, readings[1])
    judged = judge(History(at, entries), Settings(), on(1))
    assert judged.verdict is Verdict.HAND_CLEAN
    assert judged.steps[0].words == words


def test_which_part_reading_again_takes_away() -> None:
    fixed = class_part(5.2, gauges="two gauges", full_scale=60.0, gauge_class=1.6)
    assert fixed is not None
    assert not reading_again_helps(5.2, 5.0, 0.05, fixed)
    assert reading_again_helps(5.2, 5.0, 0.05, 0.05)
    assert reading_again_helps(5.2, 5.0, 0.05, 0.0)


def test_days_over_count_as_far_as_was_read() -> None:
    over = log(read(0, 2.0), read(7, 5.5), read(14, 5.6))
    judged = judge(over, Settings(), on(16))
    assert days_over(over, judged, Settings(), on(16)) == (9, False)
    assert days_over(over, judged, Settings(), on(30)) == (7, True)
    worked = log(read(0, 2.0), read(7, 5.5), read(14, 5.6), work(15))
    assert days_over(worked, judge(worked, Settings(), on(16)), Settings(), on(16)) == (7, True)
