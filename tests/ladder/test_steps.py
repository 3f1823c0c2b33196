"""Each row of the ladder's table, each condition of the verdict list."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from siltbook.batch.ladder.doubts import alike_on_end
from siltbook.batch.ladder.facts import came_back_alone, facts_of
from siltbook.batch.ladder.replay import Gear, replay_ladder
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import CarriedOver, ChangedGauge, History, Verdict
from siltbook.checks.slipped import EXCHANGED, Slipped
from siltbook.templates.book import Elsewhere
from tests.ladder.histories import DAY0, SETTINGS, read, station, verdict_of, work

OVER, FINE = 6.0, 2.0
DAY = dt.timedelta(days=1)
FLUSHED = (read(0, OVER), work(1))
CLEANED = (*FLUSHED, read(2, OVER, "after flush"), work(3, "hand cleaning"))


def test_clear_over_opens_an_episode_and_needs_a_flush() -> None:
    judged = verdict_of(read(0, OVER))
    assert judged.verdict is Verdict.FLUSH
    assert judged.reason == (
        "Drop 6.00 m on 2026-06-01, 1.00 m over the limit of 5.00 m; no complete flush since."
    )
    assert judged.episodes[-1].opened == DAY0
    assert judged.episodes[-1].closed is None
    assert judged.steps[2].words == "Watch the inlet: it must stay at or above 2.0 bar."
    in_psi = verdict_of(read(0, OVER), at=station(unit="psi"))
    assert in_psi.steps[2].words == "Watch the inlet: it must stay at or above 29.1 psi."


def test_a_drop_equal_to_the_limit_is_in_range() -> None:
    assert verdict_of(read(0, 5.0 + 1e-9)).verdict is Verdict.WATCH
    assert verdict_of(read(0, 5.0 + 1e-5)).verdict is Verdict.FLUSH


@pytest.mark.parametrize(
    ("entries", "by"),
    [
        (FLUSHED, "flush"),
        (CLEANED, "hand cleaning"),
        ((read(0, OVER),), "no work logged"),
        (
            (*CLEANED, read(4, OVER, "after cleaning"), work(5, "screen replaced")),
            "screen replaced",
        ),
    ],
)
def test_in_range_closes_with_what_closed_it(entries: tuple, by: str) -> None:
    judged = verdict_of(*entries, read(6, FINE))
    assert judged.verdict is (Verdict.WATCH if by == "no work logged" else Verdict.IN_RANGE)
    assert judged.episodes[-1].closed == DAY0 + dt.timedelta(days=6)
    assert judged.episodes[-1].closed_by == by


def test_complete_flush_awaits_its_reading() -> None:
    judged = verdict_of(*FLUSHED)
    assert judged.verdict is Verdict.RE_READ
    assert "Flushed on 2026-06-02, no usable reading since" in judged.reason


def test_over_after_a_proven_flush_needs_hand_cleaning() -> None:
    judged = verdict_of(*FLUSHED, read(2, OVER, "after flush"))
    assert judged.verdict is Verdict.HAND_CLEAN
    assert "the flush of 2026-06-02 with 3 cycles did not bring it down" in judged.reason
    assert "flush cycle" in judged.steps[3].words
    assert "zero on both sides" in judged.steps[4].words


def test_cleaning_awaits_its_reading_then_escalates() -> None:
    assert verdict_of(*CLEANED).verdict is Verdict.RE_READ
    judged = verdict_of(*CLEANED, read(4, OVER, "after cleaning"))
    assert judged.verdict is Verdict.ESCALATE
    assert "the flush of 2026-06-02 and hand cleaning of 2026-06-04 did not help" in judged.reason


def test_partial_flush_stays_and_says_how_many_cycles_are_missing() -> None:
    judged = verdict_of(read(0, OVER), work(1, cycles=1.0))
    assert judged.verdict is Verdict.FLUSH
    assert "the flush of 2026-06-02 was 2 cycles short" in judged.reason


def test_flush_without_cycles_counts_as_complete() -> None:
    assert verdict_of(read(0, OVER), work(1, cycles=None)).verdict is Verdict.RE_READ


def test_low_inlet_in_the_flush_points_to_the_supply() -> None:
    judged = verdict_of(read(0, OVER), work(1, flush_inlet=15.0))
    assert judged.verdict is Verdict.CHECK_SUPPLY
    assert Verdict.FLUSH in judged.also
    assert "Inlet fell to 15.0 m in the flush of 2026-06-02, at least 20.4 m" in judged.reason


def test_supply_is_cleared_by_a_complete_flush_and_by_a_drop_in_range() -> None:
    low = (read(0, OVER), work(1, flush_inlet=15.0))
    assert verdict_of(*low, work(2)).verdict is Verdict.RE_READ
    assert verdict_of(*low, read(2, FINE)).verdict is Verdict.IN_RANGE


@pytest.mark.parametrize("sign", ["click", "water_heard", "water"])
def test_missing_sign_suspects_the_solenoid_in_any_state(sign: str) -> None:
    for before in ((read(0, FINE),), (read(0, OVER),), CLEANED):
        judged = verdict_of(*before, work(5, **{sign: False}))
        assert Verdict.CHECK_FLUSH_GEAR in (judged.verdict, *judged.also)
    said = {
        "click": "no click heard",
        "water_heard": "no water heard in the filter",
        "water": "no water at the outlet",
    }[sign]
    assert said in verdict_of(read(0, OVER), work(5, **{sign: False})).reason


def test_blank_signs_are_not_a_no() -> None:
    assert verdict_of(read(0, OVER), work(1, click=None, water=None)).verdict is Verdict.RE_READ


def test_new_solenoid_awaits_proof_and_a_complete_flush_proves_it() -> None:
    failed = (read(0, OVER), work(1, click=False), work(2, "solenoid replaced"))
    judged = verdict_of(*failed)
    assert judged.verdict is Verdict.FLUSH
    assert "Solenoid replaced on 2026-06-03, not yet proven" in judged.reason
    assert verdict_of(*failed, work(3)).verdict is Verdict.RE_READ


def test_new_solenoid_that_does_not_help_suspects_the_controller() -> None:
    failed = (read(0, OVER), work(1, click=False), work(2, "solenoid replaced"))
    judged = verdict_of(*failed, work(3, click=False))
    assert judged.verdict is Verdict.ESCALATE
    assert "a new solenoid (2026-06-03) did not help; the controller is suspect" in judged.reason
    assert judged.steps[1].words.startswith("Take the controller's battery out first")
    replaced = verdict_of(*failed, work(3, click=False), work(4, "controller replaced"))
    assert replaced.verdict is Verdict.FLUSH


def test_call_is_recorded() -> None:
    judged = verdict_of(*CLEANED, read(4, OVER, "after cleaning"), work(5, "called out"))
    assert judged.verdict is Verdict.ESCALATE
    assert "help was called on 2026-06-06" in judged.reason


def test_a_call_for_help_belongs_to_its_episode_alone() -> None:
    """Help that was called for an episode that closed is none for the next one."""
    first = (*CLEANED, read(4, OVER, "after cleaning"), work(5, "called out"), read(9, FINE))
    again = (
        read(20, OVER), work(21), read(22, OVER, "after flush"), work(23, "hand cleaning"),
        read(24, OVER, "after cleaning"),
    )  # fmt: skip
    judged = verdict_of(*first, *again)
    assert judged.verdict is Verdict.ESCALATE
    assert "help was called" not in judged.reason
    assert (
        "help was called on 2026-06-26" in verdict_of(*first, *again, work(25, "called out")).reason
    )


@pytest.mark.parametrize("sign", ["click", "water_heard", "water"])
def test_only_the_sign_that_was_missed_is_named(sign: str) -> None:
    """A sign that was left blank, or seen, is never called missing."""
    words = {
        "click": "no click heard",
        "water_heard": "no water heard in the filter",
        "water": "no water at the outlet",
    }
    for others in (None, True):
        signs = {**dict.fromkeys(words, others), sign: False}
        reason = verdict_of(read(0, OVER), work(5, **signs)).reason
        assert [name for name, said in words.items() if said in reason] == [sign]


def test_signs_that_were_missed_are_listed_as_in_a_sentence() -> None:
    heard = verdict_of(read(0, OVER), work(5, click=False, water_heard=False)).reason
    assert heard.startswith(
        "Flush of 2026-06-06: no click heard and no water heard in the filter; drop 6.00 m"
    )
    missed = work(5, click=False, water_heard=False, water=False)
    assert verdict_of(read(0, OVER), missed).reason.startswith(
        "Flush of 2026-06-06: no click heard, no water heard in the filter and no water at the"
        " outlet; drop 6.00 m"
    )


def test_a_flush_does_not_send_the_ladder_down() -> None:
    judged = verdict_of(*FLUSHED, read(2, OVER, "after flush"), work(3))
    assert judged.verdict is Verdict.HAND_CLEAN


def test_cleaning_out_of_an_episode_awaits_nothing() -> None:
    assert verdict_of(read(0, FINE), work(1, "hand cleaning")).verdict is Verdict.IN_RANGE


def test_unusable_reading_satisfies_nothing_and_asks_to_read_again() -> None:
    bad = read(2, FINE, "after flush", why_unusable="outlet above inlet")
    assert verdict_of(*FLUSHED, bad).verdict is Verdict.RE_READ
    judged = verdict_of(read(0, FINE), bad)
    assert judged.verdict is Verdict.RE_READ
    assert "cannot be judged (outlet above inlet)" in judged.reason
    assert judged.steps[0].words == "Check the selector: inlet first, then outlet."


def test_resting_comes_first_and_lists_the_rest() -> None:
    judged = verdict_of(read(0, OVER), at=station(in_service=False))
    assert judged.verdict is Verdict.RESTING
    assert judged.also == (Verdict.FLUSH,)


def test_torn_screen() -> None:
    at = station(reference_flow=40.0, clean_drop=1.5)
    assert verdict_of(read(0, 0.5, flow=38.0), at=at).verdict is Verdict.INSPECT_SCREEN
    assert verdict_of(read(0, 0.5, flow=19.0), at=at).verdict is not Verdict.INSPECT_SCREEN
    assert verdict_of(read(0, 0.8, flow=40.0), at=at).verdict is not Verdict.INSPECT_SCREEN
    coarse = station(
        reference_flow=40.0, clean_drop=1.5, gauges="one gauge", gauge_class=1.6, division=2.0
    )
    assert verdict_of(read(0, 0.5, flow=38.0), at=coarse).verdict is not Verdict.INSPECT_SCREEN


def test_low_inlet_in_service() -> None:
    judged = verdict_of(read(0, FINE, inlet=18.0), at=station(working_inlet=22.0))
    assert judged.verdict is Verdict.CHECK_SUPPLY
    assert "Inlet 18.0 m on 2026-06-01, lowest working inlet is 22.0 m" in judged.reason


@pytest.mark.parametrize(
    ("drop", "inlet", "words"),
    [
        (FINE, 18.0, "the supply explains it (inlet low)"),
        (OVER, 30.0, "the filter explains it (drop over the limit)"),
        (FINE, 30.0, "supply is fine and drop 2.00 m"),
    ],
)
def test_low_field_pressure_is_explained(drop: float, inlet: float, words: str) -> None:
    at = station(working_inlet=22.0, wanted_field=15.0)
    assert words in verdict_of(read(0, drop, inlet=inlet, field=10.0), at=at).reason


def test_leak_is_named() -> None:
    at = station(working_inlet=22.0, reference_flow=40.0)
    judged = verdict_of(read(0, FINE, inlet=18.0, flow=50.0), at=at)
    assert judged.reason.endswith("Flow is 25 % above the reference flow: look for a leak.")


def test_no_reading_for_longer_than_the_interval() -> None:
    assert verdict_of(read(0, FINE), as_of=7).verdict is Verdict.IN_RANGE
    judged = verdict_of(read(0, FINE), as_of=8)
    assert judged.verdict is Verdict.NO_READING
    assert "Last usable reading 8 days ago, asked every 7 days" in judged.reason
    assert verdict_of(as_of=0).reason == "No usable reading in this book."


def test_watch_by_share_and_by_rise() -> None:
    assert verdict_of(read(0, 3.99)).verdict is Verdict.IN_RANGE
    assert "80 % of the limit" in verdict_of(read(0, 4.0)).reason
    risen = verdict_of(read(0, 3.9), at=station(clean_drop=0.3))
    assert risen.verdict is Verdict.WATCH
    assert "risen 3.60 m over the clean drop" in risen.reason


def test_a_limit_beyond_all_filters_reassures_nobody() -> None:
    """50 in a column of metres, meant in kPa: nothing would ever be over it."""
    asked = "A filter usually counts as clogged at 5.00 m: check the unit of this limit."
    for drop, verdict in ((4.9, Verdict.IN_RANGE), (5.1, Verdict.WATCH)):
        judged = verdict_of(read(0, drop), at=station(limit=50.0, clean_drop=None))
        assert judged.verdict is verdict
        assert judged.reason.endswith(f" within the limit of 50.00 m. {asked}")
    high = verdict_of(read(0, 5.1), at=station(limit=15.0, clean_drop=None))
    assert high.verdict is Verdict.IN_RANGE
    assert "check the unit" not in high.reason


def test_an_old_return_from_over_the_limit_that_nobody_worked_for_is_said() -> None:
    """An outlet gauge that reads higher since: the second reading was *In range* without a word."""
    came = (read(0, 5.6), read(7, 2.1), read(14, 2.2), read(21, 2.3))
    judged = verdict_of(*came)
    assert judged.verdict is Verdict.IN_RANGE
    assert judged.doubts.endswith(
        "It was 5.60 m on 2026-06-01, over the limit, and came back with no work logged: a gauge"
        " that was changed looks so, too (sheet Gauges)."
    )
    assert "came back" not in verdict_of(came[0], work(1), *came[1:]).reason


def test_nothing_is_opened_on_a_flush_that_nobody_saw() -> None:
    blank = work(1, click=None, water=None)
    judged = verdict_of(read(0, 6.0), blank, read(2, 6.0))
    assert judged.verdict is Verdict.HAND_CLEAN
    assert judged.reason.endswith("; whether it happened was not written down.")
    assert judged.steps[0].words.startswith(
        "Nobody wrote down whether the flush happened: before anything is opened flush once more:"
        " see that nobody works there; close the downstream valve; "
    )
    seen = verdict_of(read(0, 6.0), work(1, click=None, water=True), read(2, 6.0))
    assert "written down" not in seen.reason
    assert seen.steps[0].task is not judged.steps[0].task


def test_an_outlet_of_zero_is_looked_at_before_any_work() -> None:
    dead = read(2, 30.0, inlet=30.0, outlet=0.0)
    for entries in ((dead,), (read(0, 6.0), work(1), dead)):
        judged = verdict_of(*entries)
        assert judged.reason.endswith(
            " The outlet reads zero: a dead gauge or a shut valve looks the same."
        )
        assert judged.steps[0].words.startswith("The outlet reads zero: look whether the valves")
    assert "outlet reads zero" not in verdict_of(read(0, 6.0)).reason


def test_a_high_drop_is_not_gone_because_both_sides_read_the_same() -> None:
    alike = read(1, 0.0)
    judged = verdict_of(read(0, 2.6), alike)
    assert judged.verdict is Verdict.RE_READ
    assert "inlet and outlet the same" in judged.reason
    assert verdict_of(read(0, 2.6), alike, read(2, 0.0)).verdict is Verdict.IN_RANGE
    assert verdict_of(read(0, 2.6), read(1, 0.0, flow=30.0)).verdict is Verdict.IN_RANGE
    for low in (2.5, 0.4):
        assert verdict_of(read(0, low), alike).verdict is Verdict.IN_RANGE
    assert verdict_of(read(0, 2.6), read(1, 1.0), read(2, 0.0)).verdict is Verdict.IN_RANGE


def test_an_inlet_that_has_fallen_far_is_no_place_for_a_small_drop() -> None:
    """Where nobody filled in the lowest working inlet."""
    usual = [read(day, 2.0) for day in range(3)]
    weak = read(3, 0.5, inlet=5.0, outlet=4.5)
    judged = verdict_of(*usual, weak)
    assert judged.verdict is Verdict.CHECK_SUPPLY
    assert judged.reason.startswith("Inlet 5.0 m on 2026-06-04, under half of the usual 30.0 m;")
    assert verdict_of(*usual[2:], weak).verdict is Verdict.CHECK_SUPPLY  # of one reading, too
    alone = verdict_of(weak)
    assert alone.verdict is Verdict.WATCH  # of none, the unit is in doubt
    assert alone.reason.endswith(
        "The inlet was 5.0 m, under half of the 20.4 m that a flush needs: look whether its unit is"
        " right, or fill in the lowest working inlet."
    )
    first, then = (step.words for step in alone.steps)
    assert first.endswith("(sheet Stations). No flush can be planned before.")
    assert then.startswith("Read again by 2026-06-")
    assert "plan" not in then
    for entries, at in (
        ((*usual, read(3, 0.5, inlet=10.5, outlet=10.0)), station()),  # half of what a flush needs
        ((*usual, weak), station(working_inlet=4.0)),
    ):
        assert verdict_of(*entries, at=at).verdict is Verdict.IN_RANGE


@pytest.mark.parametrize("p", [0.05, 0.5, 0.95])
def test_borderline_asks_to_read_once_more(p: float) -> None:
    judged = verdict_of(*FLUSHED, read(2, 5.1, "after flush", p_over=p))
    assert judged.borderline
    assert judged.verdict is Verdict.HAND_CLEAN
    assert judged.steps[0].words.startswith("Read once more first")
    sure = verdict_of(*FLUSHED, read(2, 8.0, "after flush", p_over=0.999))
    assert not sure.borderline
    assert not sure.steps[0].words.startswith("Read once more")


def test_the_gauge_of_the_day_says_whether_reading_again_can_tell() -> None:
    entries = (*FLUSHED, read(2, 5.1, "after flush", p_over=0.6))
    fine = {"gauges": "two gauges", "full_scale": 40.0, "gauge_class": 0.1}
    coarse = ChangedGauge(2, DAY0, None, 100.0, 2.5, None, None)
    later = replace(coarse, since=DAY0 + 9 * DAY)
    once, never = "Read once more first", "Reading again on the same gauges cannot tell"
    for changed, words in (((), once), ((coarse,), never), ((later,), once)):
        judged = verdict_of(*entries, at=station(**fine, changed=changed))
        assert judged.steps[0].words.startswith(words)


@pytest.mark.parametrize(("typed", "doubted"), [(-40, False), (1, False), (2, True), (9, True)])
def test_a_mistyped_date_counts_where_it_may_be_the_latest(typed: int, doubted: bool) -> None:
    slip = Slipped(7, DAY0 + typed * DAY, DAY0 - 80 * DAY, EXCHANGED)
    history = History(station(), (read(0, FINE), read(2, FINE)), slipped=(slip,))
    judged = judge(history, SETTINGS, DAY0 + 10 * DAY)
    assert (judged.verdict is Verdict.RE_READ) is doubted
    assert ("row 7 is dated" in judged.reason) is doubted


def test_it_is_the_last_episode_that_ended_without_work() -> None:
    first = (read(0, OVER), work(1), read(2, FINE))
    alone = (read(20, OVER), read(21, 4.9, p_over=0.4))
    assert verdict_of(*first, *alone).came_back_alone
    after = (read(20, OVER), work(21), read(22, 4.9, p_over=0.4))
    assert not verdict_of(read(0, OVER), read(2, 4.9), *after).came_back_alone


def test_a_station_that_was_carried_over_clear_has_no_open_episode() -> None:
    carried = CarriedOver(2, "clear", opened=DAY0 - 200 * DAY, flushed=DAY0 - 190 * DAY)
    standing = replay_ladder(
        History(station(), (), carried=carried), flush_cycles=3, flush_inlet=20.0
    )
    assert standing.episodes == ()


def test_a_borderline_flush_is_not_put_off() -> None:
    """A flush costs little: only opening a filter or calling for help waits for a reading."""
    judged = verdict_of(read(0, 5.1, p_over=0.6))
    assert (judged.verdict, judged.borderline) == (Verdict.FLUSH, True)
    assert not any("once more" in step.words for step in judged.steps)


@pytest.mark.parametrize("gear", Gear)
@pytest.mark.parametrize("part", ["controller", "solenoid"])
def test_only_gear_that_awaits_proof_carries_the_part_that_was_replaced(
    gear: Gear, part: str
) -> None:
    day = DAY0 - dt.timedelta(days=200)
    carried = CarriedOver(2, "needs flush", str(gear), opened=day, failed=day, **{part: day})
    standing = replay_ladder(
        History(station(), (), carried=carried), flush_cycles=3, flush_inlet=20.0
    )
    replaced = standing.replaced and (standing.replaced.work, standing.replaced.date)
    wanted = (f"{part} replaced", day) if gear is Gear.AWAITS_PROOF else None
    assert replaced == wanted


READ = (read(0, FINE), read(7, FINE))
LATER, ITS_DAY = DAY0 + 8 * DAY, DAY0 + 7 * DAY


@pytest.mark.parametrize(
    ("lost", "verdict"),
    [
        ({"unplaced": (9,)}, Verdict.RE_READ),
        ({"unplaced_work": ((9, ITS_DAY),)}, Verdict.RE_READ),
        ({"unplaced_work": ((9, DAY0 - DAY),)}, Verdict.IN_RANGE),
        ({"elsewhere": (Elsewhere("June", "Readings", (LATER,)),)}, Verdict.RE_READ),
        ({"elsewhere": (Elsewhere("June", "Readings", (ITS_DAY,)),)}, Verdict.IN_RANGE),
        ({"elsewhere": (Elsewhere("", "Readings", (ITS_DAY,)),)}, Verdict.RE_READ),
        ({"elsewhere": (Elsewhere("June", "Work done", (DAY0,)),)}, Verdict.RE_READ),
        ({"elsewhere": (Elsewhere("June", "Work done", (DAY0 - DAY,)),)}, Verdict.IN_RANGE),
        ({"elsewhere": (Elsewhere("June", "Work done", (DAY0 + 3 * DAY,)),)}, Verdict.IN_RANGE),
    ],
)
def test_each_thing_that_was_not_read_makes_the_latest_uncertain(
    lost: dict[str, Any], verdict: Verdict
) -> None:
    """Rows that could not be placed, and those of a sheet or second table that was not read."""
    entries = (READ[0], work(3), READ[1])
    history = History(station(), entries, **lost)
    assert judge(history, SETTINGS, ITS_DAY).verdict is verdict


@pytest.mark.parametrize(
    ("step", "clean", "days", "found"),
    [
        (0.6, 0.1, (0, 1, 2, 3, 4), True),
        (0.61, 0.1, (0, 1, 2, 3, 4), False),  # a clean filter may always read so
        (0.61, 0.7, (0, 1, 2, 3, 4), True),
        (0.6, 0.1, (0, 1, 2, 3, 3), False),  # two of one day
        (0.5, 1.0, (0, 1, 2), True),
        (0.51, 1.0, (0, 1, 2), False),
    ],
)
def test_when_sides_alike_on_end_are_no_clean_filter(
    step: float, clean: float, days: tuple[int, ...], found: bool
) -> None:
    entries = (read(-1, FINE), *(read(day, 0.0) for day in days))
    alike = alike_on_end(History(station(division=step, clean_drop=clean), entries))
    assert (alike is not None) is found


@pytest.mark.parametrize(("p", "alone"), [(0.049, False), (0.05, True), (None, False)])
def test_a_return_by_less_than_the_gauge_tells_begins_at_one_in_twenty(
    p: float | None, alone: bool
) -> None:
    entries = (read(0, OVER), read(1, 4.9, p_over=p))
    facts = facts_of(History(station(), entries), SETTINGS, DAY0 + DAY)
    assert came_back_alone(facts) is alone
