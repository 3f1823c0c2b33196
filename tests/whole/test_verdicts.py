"""Filled workbooks that were once judged wrongly: the verdict and the sentence that people see."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.whole.verdicts import day, filled, judged, messages, reading, said, station, work

OVER, FINE = (3.2, 2.5), (3.2, 3.0)  # inlet and outlet [bar]: drops of 7.14 and 2.04 m
DROP_OVER = "Drop 7.14 m on 2026-06-01, 2.14 m over the limit of 5.00 m"


@pytest.mark.parametrize("outlet", [0, 0.0])
@pytest.mark.parametrize("flow", [None, 40])
def test_a_zero_inlet_is_no_reading_of_a_drop(outlet: float, flow: float | None) -> None:
    book = filled(Readings=[reading(day(1), *FINE), reading(day(3), 0, outlet, Flow=flow)])
    assert said(book) == (
        "re-read",
        "The reading of 2026-06-03 cannot be judged (no pressure at the inlet: pump off, or a dead"
        " gauge); before it: drop 2.04 m on 2026-06-01, within the limit of 5.00 m.",
    )
    assert messages(book, "no-inlet-pressure") == [
        "Readings!C3: no pressure at the inlet: read 0 bar: pump off, or a dead gauge; not used;"
        " accepted: a reading taken while the pump runs. Read again while the pump runs; try the"
        " gauge."
    ]


def test_a_zero_ends_no_episode_and_before_an_opening_it_is_what_has_to_be_seen() -> None:
    rows = [reading(day(1), *OVER), reading(day(2), 0, 0)]
    assert said(filled(Readings=rows))[0] == "flush"
    opened = [work(day(2), "hand cleaning", Gauge_zero_before_opening="yes")]
    assert messages(filled(Readings=rows, Work_done=opened), "no-inlet-pressure") == []


ALIKE = "(inlet and outlet the same: valves shut, or the selector not turned)"


def test_both_sides_alike_after_a_flush_is_read_once_more_and_then_counts() -> None:
    over, flush = reading(day(1), *OVER), [work(day(2))]
    once = filled(Readings=[over, reading(day(2), 3, 3, Occasion="after flush")], Work_done=flush)
    assert said(once) == (
        "re-read",
        "Flushed on 2026-06-02, no usable reading since; the reading of 2026-06-02 cannot be"
        f" judged {ALIKE}; drop 7.14 m on 2026-06-01, 2.14 m over the limit of 5.00 m.",
    )
    same_day = [over, *(reading(day(2), 3, 3, Occasion="after flush") for _ in range(2))]
    assert said(filled(Readings=same_day, Work_done=flush))[0] == "re-read"
    twice = [over, reading(day(2), 3, 3, Occasion="after flush"), reading(day(3), 3, 3)]
    book = filled(Readings=twice, Work_done=flush)
    assert said(book)[0] == "in-range"
    assert [m.split("; accepted")[0] for m in messages(book, "both-sides-alike")] == [
        "Readings!D3: inlet and outlet the same after work, or while the drop stood high:"
        " read inlet and outlet"
        " the same on 2026-06-02, after work, or while the drop stood over half the limit, and no"
        " flow read; not used",
        "Readings!D4: inlet and outlet the same after work, or while the drop stood high:"
        " read inlet and outlet"
        " the same on 2026-06-03, as on 2026-06-02, and no flow read; this second one was used",
    ]


def test_both_sides_alike_with_a_flow_or_with_nothing_at_stake_is_a_reading() -> None:
    assert said(filled(Readings=[reading(day(1), 3, 3)]))[0] == "in-range"
    flow = [reading(day(1), *OVER), reading(day(2), 3, 3, Flow=40)]
    assert said(filled(Readings=flow))[0] == "watch"  # back by one reading alone
    open_ = filled(Readings=[reading(day(1), *OVER), reading(day(2), 3, 3)])
    assert judged(open_).judgement.episodes[-1].closed is None
    planned = filled(Readings=[reading(day(1), *FINE), reading(day(3), 3, 3)],
                     Work_done=[work(day(2), "hand cleaning")])  # fmt: skip
    assert said(planned)[0] == "re-read"
    assert ALIKE in said(planned)[1]


def test_a_drop_over_the_limit_at_the_usual_flow_is_watched() -> None:
    register = station(Reference_flow=40, **{"Clean drop (m)": 1.5})
    row = reading(day(1), 3.0, 3.0 - 2.45 / 10.19716, Flow=22)
    assert said(filled(Stations=register, Readings=[row])) == (
        "watch",
        "Drop 2.45 m on 2026-06-01, within the limit of 5.00 m; it was read at 55 % of the"
        " reference flow, where 8.10 m is over the limit: read again at the usual flow.",
    )


def test_a_supply_too_low_to_flush_comes_before_the_flush() -> None:
    result = judged(filled(Readings=[reading(day(1), 1.8, 1.1)]))
    assert (result.verdict, result.judgement.also) == ("check-supply", ("flush",))
    assert result.judgement.reason == (
        "Inlet 18.4 m on 2026-06-01, and a flush needs at least 20.4 m: it cannot work until the"
        " supply is back; drop 7.14 m on 2026-06-01, 2.14 m over the limit of 5.00 m."
    )


def test_a_low_inlet_that_still_flushes_is_named_in_the_flush() -> None:
    register = station(Lowest_working_inlet=2.4)
    result = judged(filled(Stations=register, Readings=[reading(day(1), 2.2, 1.5)]))
    assert (result.verdict, result.judgement.also) == ("flush", ("check-supply",))
    assert result.judgement.reason == (
        f"{DROP_OVER}; no complete flush since; inlet 22.4 m on 2026-06-01, lowest working inlet"
        " is 24.5 m."
    )


@pytest.mark.parametrize("missing", ["Click_heard", "Water_heard", "Water_at_outlet"])
def test_no_sign_at_too_low_an_inlet_suspects_the_supply_and_no_gear(missing: str) -> None:
    flush = work(day(1), Lowest_inlet_in_flush=1.5, **{missing: "no"})
    result = judged(filled(Readings=[reading(day(1), *OVER)], Work_done=[flush]))
    assert (result.verdict, result.judgement.also) == ("check-supply", ("flush",))
    assert result.judgement.reason.startswith(
        "Inlet fell to 15.3 m in the flush of 2026-06-01, at least 20.4 m is needed; at that"
        " inlet 'no "
    )
    assert "says nothing about solenoid or controller" in result.judgement.reason


def test_a_short_flush_at_too_low_an_inlet_is_the_supply_too() -> None:
    flush = work(day(1), Lowest_inlet_in_flush=1.5, Cycles=1)
    result = judged(filled(Readings=[reading(day(1), *OVER)], Work_done=[flush]))
    assert (result.verdict, result.judgement.also) == ("check-supply", ("flush",))


def test_click_and_water_prove_the_gear_even_where_the_inlet_fell_too_low() -> None:
    rows = [reading(day(1), *OVER)]
    failed, new = work(day(2), Click_heard="no"), work(day(3), "solenoid replaced")
    low = work(day(4), Lowest_inlet_in_flush=1.5)
    result = judged(filled(Readings=rows, Work_done=[failed, new, low]))
    assert (result.verdict, result.judgement.also) == ("check-supply", ("flush",))
    assert result.judgement.reason == (
        "Inlet fell to 15.3 m in the flush of 2026-06-04, at least 20.4 m is needed; drop 7.14 m"
        " on 2026-06-01, 2.14 m over the limit of 5.00 m."
    )
    unseen = low | {"Water at outlet": None}
    still = judged(filled(Readings=rows, Work_done=[failed, new, unseen]))
    assert (still.verdict, "not yet proven" in still.judgement.reason) == ("flush", True)


def test_work_logged_while_clear_is_evidence_in_no_later_episode() -> None:
    rows = [reading(day(1), *FINE), reading(day(5), *OVER)]
    clear = [work(day(2)), work(day(3), "hand cleaning"), work(day(3), "called out")]
    cleaned = [*clear, work(day(6), "hand cleaning")]
    book = filled(Readings=[*rows, reading(day(7), *OVER)], Work_done=cleaned)
    assert said(book) == (
        "escalate",
        "Drop 7.14 m on 2026-06-07, 2.14 m over the limit of 5.00 m; the hand cleaning of"
        " 2026-06-06 did not help.",
    )
    back = filled(Readings=[*rows, reading(day(8), *FINE)], Work_done=clear)
    assert judged(back).judgement.episodes[-1].closed_by == "no work logged"


def test_one_day_without_times_is_put_into_the_one_order_that_makes_sense() -> None:
    book = filled(Readings=[reading(day(1), *OVER), reading(day(1), *FINE)],
                  Work_done=[work(day(1))])  # fmt: skip
    result = judged(book)
    assert (result.verdict, result.judgement.episodes[-1].closed_by) == ("in-range", "flush")
    assert messages(book, "order-taken") == [
        "Readings!A2: a day without times, put into the one order that makes sense: read over,"
        " flush and in range on 2026-06-01, not all with a time; taken in that order; accepted: a"
        " time on each of them. Nothing to do, unless it was otherwise: then add the times."
    ]
    assert messages(book, "drop-fell-unexplained") == []


def test_rows_that_say_otherwise_make_another_order_of_sense() -> None:
    """In range, over, then flushed: nobody has read since."""
    rows = [reading(day(8), *FINE), reading(day(8), *OVER)]
    book = filled(Readings=[reading(day(1), *FINE), *rows], Work_done=[work(day(8))])
    assert messages(book, "order-taken") == []
    assert said(book)[0] == "re-read"
    newest_on_top = filled(Readings=[*rows, reading(day(1), *FINE)], Work_done=[work(day(8))])
    assert len(messages(newest_on_top, "order-taken")) == 1
    assert judged(newest_on_top).judgement.episodes[-1].closed_by == "flush"


@pytest.mark.parametrize("rows", [(OVER, FINE), (FINE, OVER)])
@pytest.mark.parametrize("more", [{}, {"Time": "15:00"}])
def test_of_two_readings_of_a_day_without_work_the_one_over_is_the_later(
    rows: tuple[tuple[float, float], ...], more: dict[str, str]
) -> None:
    """Whichever row stands first: nobody knows, and no work says why it fell."""
    first, second = (reading(day(8), *pair) for pair in rows)
    last = second | (more if rows[1] == FINE else {})
    book = filled(Readings=[reading(day(1), *FINE), first, last])
    assert said(book)[0] == "flush"
    timed = filled(Readings=[first | {"Time": "07:00"}, second | {"Time": "09:00"}])
    assert (said(timed)[0] == "flush") is (rows[1] == OVER)


def test_a_flush_and_a_reading_in_range_of_one_day_close_yesterdays_episode() -> None:
    book = filled(Readings=[reading(day(1), *OVER), reading(day(2), *FINE)],
                  Work_done=[work(day(2))])  # fmt: skip
    assert judged(book).judgement.episodes[-1].closed_by == "flush"
    assert len(messages(book, "order-taken")) == 1


def test_times_that_say_otherwise_are_believed() -> None:
    rows = [reading(day(1), *FINE, Time="06:00"), reading(day(1), *OVER, Time="09:00")]
    book = filled(Readings=rows, Work_done=[work(day(1))])
    assert messages(book, "order-taken") == []
    assert said(book)[0] == "re-read"


def test_it_never_fell_with_no_work_logged_on_a_day_with_logged_work() -> None:
    """Two flushes leave more than one order; the day still has its work."""
    rows = [reading(day(1), *OVER), reading(day(1), *FINE)]
    book = filled(Readings=rows, Work_done=[work(day(1)), work(day(1))])
    assert messages(book, "drop-fell-unexplained") == []
    assert judged(book).judgement.episodes[-1].closed_by == "flush"


def test_a_date_cell_with_a_time_of_day_gives_the_time() -> None:
    at = [dt.datetime(2026, 6, 1, hour) for hour in (7, 8, 9)]
    book = filled(Readings=[reading(at[2], *FINE), reading(at[0], *OVER)],
                  Work_done=[work(at[1])])  # fmt: skip
    assert messages(book, "several-without-time") == messages(book, "order-taken") == []
    assert judged(book).judgement.episodes[-1].closed_by == "flush"


def test_back_in_range_by_less_than_the_gauge_can_tell_stays_watched() -> None:
    gauge = station(Gauge_arrangement="two gauges", Gauge_full_scale=10, **{"Gauge class (%)": 1.6},
                    Gauge_division=0.1)  # fmt: skip
    over, back = reading(day(1), 3.2, 2.6), reading(day(3), 3.2, 2.8)
    book = filled(Stations=gauge, Readings=[over, back])
    assert said(book) == (
        "watch",
        "Drop 4.08 m on 2026-06-03, within the limit of 5.00 m; back in range with no work logged,"
        " by less than the gauge can tell.",
    )
    worked = filled(Stations=gauge, Readings=[over, back], Work_done=[work(day(2))])
    assert "no work logged" not in said(worked)[1]


WEEKS = [reading(day(n), 3.2 + n % 3 / 20, 3.0 + n % 3 / 20) for n in range(1, 6)]


@pytest.mark.parametrize(
    ("inlet", "outlet", "looks"),
    [
        (33, 3.0, "inlet 33 bar looks like 3.3 bar or 33 m"),
        (32, 3.0, "inlet 32 bar looks like 3.2 bar or 32 m"),
        (46, 43, "inlet 46 bar looks like 46 psi"),
        (320, 300, "inlet 320 bar looks like 320 kPa or 3.2 bar"),
        (3.2, 0.3, "outlet 0.3 bar looks like 3 bar"),
        (0.32, 0.3, "inlet 0.32 bar looks like 3.2 bar; outlet 0.3 bar looks like 3 bar"),
    ],
)
def test_a_slip_of_unit_or_decimal_is_read_again_and_named(
    inlet: float, outlet: float, looks: str
) -> None:
    judgement = judged(filled(Readings=[*WEEKS, reading(day(9), inlet, outlet)])).judgement
    verdict, sentence = judgement.verdict, judgement.reason
    assert verdict == "re-read"
    assert judgement.steps[0].words.startswith("Look at what was typed: is its unit right")
    assert not any("irrigates" in step.words for step in judgement.steps)
    assert sentence.startswith(f"The reading of 2026-06-09 cannot be judged ({looks}")
    assert sentence.endswith("before it: drop 2.04 m on 2026-06-05, within the limit of 5.00 m.")


def test_a_first_reading_in_psi_on_a_bar_gauge_is_no_drop_of_300_metres() -> None:
    assert said(filled(Readings=[reading(day(1), 33, 2.9)])) == (
        "re-read",
        "The reading of 2026-06-01 cannot be judged (inlet 33 bar looks like 33 psi).",
    )


@pytest.mark.parametrize(("inlet", "outlet"), [(3.3, 0.9), (1.0, 0.9), (6.0, 3.0)])
def test_ordinary_days_are_no_slips(inlet: float, outlet: float) -> None:
    result = judged(filled(Readings=[*WEEKS, reading(day(9), inlet, outlet)]))
    assert result.latest is not None
    assert result.latest.date == day(9)


def test_a_unit_of_the_register_that_contradicts_the_earlier_readings_is_a_finding() -> None:
    later = [reading(day(n), 320, 300) for n in range(11, 15)]
    book = filled(Stations=station(Pressure_unit="kPa"), Readings=[*WEEKS, *later])
    assert said(book)[0] == "in-range"
    assert messages(book, "unit-contradicts") == [
        "Stations!B2: unit contradicts the earlier readings: read kPa, while the 5 readings up to"
        " 2026-06-05 look typed in bar; they were not used; accepted: the unit of every reading."
        " If the gauge was changed, give the register the old one's unit, and the new gauge a row"
        " on the sheet Gauges with its first day; else correct the unit."
    ]


def test_a_row_that_could_not_be_read_is_named_in_the_sentence() -> None:
    flushed = [work(day(2), "rinsed it somehow"), work("3.6."), work(day(4), Click_heard="perhaps")]
    book = filled(Readings=[reading(day(1), *OVER)], Work_done=flushed)
    assert said(book) == (
        "check-flush-gear",
        "Flush of 2026-06-04: 'perhaps' in 'Click heard', which cannot be read; drop 7.14 m on"
        " 2026-06-01, 2.14 m over the limit of 5.00 m. Could not be read: Work done row 2, Work"
        " 'rinsed it somehow': not used; Work done row 3, Date '3.6.': not used; and 1 more, on the"
        " sheet Findings.",
    )
    both = filled(Readings=[reading(day(1), *OVER)], Work_done=flushed[:2])
    assert said(both)[1].endswith(" Work done row 3, Date '3.6.': not used.")
    bad = [reading(day(1), *FINE), reading("somewhen", 3.2, 2.4)]
    assert said(filled(Readings=bad))[1].endswith(
        " Could not be read: Readings row 3, Date 'somewhen': not used."
    )


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("yes", ["x", "X", "ok", "OK", "✓", "✔", "ja", "si", "sí", "oui", "Oui"])
def test_words_that_mean_yes_are_taken_and_noted(yes: str) -> None:
    flush = work(day(2), Click_heard=yes, Water_at_outlet=yes)
    failed = work(day(1), Click_heard="no")
    rows = [reading(day(1), *OVER, Time="06:00")]
    book = filled(Readings=rows, Work_done=[failed, work(day(1), "solenoid replaced"), flush])
    assert said(book)[0] == "re-read"
    assert messages(book, "cell-other-word")[0] == (
        f"Work done!E4: a choice in other words: read '{yes}'; accepted: yes, no; taken as yes."
        " Nothing to do: it was taken as said; pick from the list next time."
    )


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize(
    ("written", "verdict", "taken"),
    [
        ("backflush", "re-read", "flush"),
        ("cleaning", "re-read", "hand cleaning"),
        ("Solenoid", "flush", "solenoid replaced"),
        ("flush 3x", "re-read", "flush with 3 cycles"),
        ("Flush x 3", "re-read", "flush with 3 cycles"),
        ("3x flush", "re-read", "flush with 3 cycles"),
        ("flush 1x", "flush", "flush with 1 cycle"),
        ("backflush (2 cycles)", "flush", "flush with 2 cycles"),
    ],
)
def test_words_that_mean_a_work_are_taken_and_noted(written: str, verdict: str, taken: str) -> None:
    row = {"Station": "North 1", "Date": day(2), "Work": written}
    book = filled(Readings=[reading(day(1), *OVER)], Work_done=[row])
    assert said(book)[0] == verdict
    assert messages(book, "cell-other-word")[0].endswith(
        f"; taken as {taken}. Nothing to do: it was taken as said; pick from the list next time."
    )


def test_cycles_in_their_own_cell_count_before_those_in_the_words() -> None:
    row = work(day(2), "flush 3x") | {"Cycles": 1}
    assert "2 cycles short" in said(filled(Readings=[reading(day(1), *OVER)], Work_done=[row]))[1]


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("unclear", ["no idea", "flush?", "nothing", "3x 2x flush", "checked"])
def test_words_that_leave_a_doubt_are_no_work(unclear: str) -> None:
    row = {"Station": "North 1", "Date": day(2), "Work": unclear}
    book = filled(Readings=[reading(day(1), *OVER)], Work_done=[row])
    assert said(book)[0] == "flush"
    assert f"Work '{unclear}': not used" in said(book)[1]


def test_a_near_name_is_offered_for_an_orphan() -> None:
    register = [{"Station": "North 1"}, {"Station": "South pump"}]
    orphans = [reading(day(1), *FINE) | {"Station": name} for name in ("Nort1", "North 2", "Hill")]
    found = messages(filled(Stations=register, Readings=orphans), "station-unknown")
    assert [m.split("; accepted: ")[1] for m in found] == [
        "a station of the sheet Stations (North 1, South pump) (did you mean 'North 1'?). Correct"
        " the name, or add it to the sheet Stations.",
        "a station of the sheet Stations (North 1, South pump) (did you mean 'North 1'?). Correct"
        " the name, or add it to the sheet Stations.",
        "a station of the sheet Stations (North 1, South pump). Correct the name, or add it to the"
        " sheet Stations.",
    ]


def test_no_name_is_offered_where_two_come_equally_near() -> None:
    register = [{"Station": "Station 11"}, {"Station": "Station 12"}]
    orphan = reading(day(1), *FINE) | {"Station": "Station 13"}
    (found,) = messages(filled(Stations=register, Readings=[orphan]), "station-unknown")
    assert "did you mean" not in found
