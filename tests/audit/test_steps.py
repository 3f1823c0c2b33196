"""Steps that the ladder asked for: the last day that is in time, and what is said beyond it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.audit.model import RuleResult, State, Taken
from siltbook.batch.audit.procedure import procedure
from siltbook.batch.audit.steps_taken import CALL_WITHIN, CLEAN_WITHIN, GEAR_WITHIN
from siltbook.batch.numbers.history import histories
from tests.checks.builders import Row, book, job, reading

OVER: dict[str, Any] = {"inlet": 3.0, "outlet": 2.4}
FINE: dict[str, Any] = {"inlet": 3.0, "outlet": 2.8}
FLUSHED: dict[str, Any] = {"flush_inlet": 2.4}
SAME_DAY: dict[str, Any] = {**OVER, "occasion": "after flush"}


def asked(
    code: str, readings: list[Row], work: list[Row], until: int = 31, **station: object
) -> RuleResult:
    """One rule on the procedure of North 1 in May 2026."""
    register: list[Row] = [{"station": "North 1", **station}]
    one = book(readings, work=work, stations=register)
    on = dt.date(2026, 5, until)
    return next(r for r in procedure(one, histories(one, on), on) if r.rule.code == code)


def told(result: RuleResult) -> tuple[Taken | None, int, str]:
    """What became of the one step, its days, and what is said behind station and day."""
    (place,) = result.places
    return place.taken, place.days, place.said.partition(": ")[2]


WHY = "drop 6.12 m over the limit"


@pytest.mark.parametrize(
    ("flushed", "taken", "said"),
    [
        (4, Taken.IN_TIME, "flush on 2026-05-04"),
        (5, Taken.IN_TIME, "flush on 2026-05-05"),
        (6, Taken.LATE, "flush on 2026-05-06, 2 days later"),
    ],
)
def test_a_flush_is_in_time_up_to_the_next_day(flushed: int, taken: Taken, said: str) -> None:
    found = asked("flush-in-a-day", [reading(4, **OVER)], [job(flushed, **FLUSHED)])
    assert told(found) == (taken, flushed - 4, f"{WHY}, {said}")
    assert found.late == (taken is Taken.LATE)


@pytest.mark.parametrize(("until", "waits"), [(5, None), (6, 2), (31, 27)])
def test_a_flush_that_nobody_made_waits_from_the_second_day(until: int, waits: int | None) -> None:
    found = asked("flush-in-a-day", [reading(4, **OVER)], [], until)
    if waits is None:
        assert found.said == "Nothing in this book calls for it."
    else:
        said = f"{WHY}, no flush since, for {waits} days"
        assert told(found) == (Taken.NOT_TAKEN, waits, said)


def proven(cleaned: list[Row], until: int = 31, *later: Row) -> RuleResult:
    """A flush on the 4th that did not help; then this work."""
    readings = [reading(4, **OVER), reading(4, **SAME_DAY), *later]
    return asked("cleaned-in-time", readings, [job(4, **FLUSHED), *cleaned], until)


@pytest.mark.parametrize(
    ("day", "taken"), [(4 + CLEAN_WITHIN, Taken.IN_TIME), (5 + CLEAN_WITHIN, Taken.LATE)]
)
def test_a_cleaning_is_in_time_up_to_the_third_day(day: int, taken: Taken) -> None:
    later = f", {day - 4} days later" if taken is Taken.LATE else ""
    said = f"drop 6.12 m after a proven flush, hand cleaning on 2026-05-{day:02d}{later}"
    assert told(proven([job(day, "hand cleaning")])) == (taken, day - 4, said)
    assert told(proven([job(day, "screen replaced")]))[0] is taken
    assert CLEAN_WITHIN == 3


@pytest.mark.parametrize(("until", "waits"), [(7, False), (8, True)])
def test_a_cleaning_waits_from_the_fourth_day(until: int, waits: bool) -> None:
    found = proven([], until)
    assert (found.state is State.LOOK) is waits
    if waits:
        said = "drop 6.12 m after a proven flush, no hand cleaning since, for 4 days"
        assert told(found) == (Taken.NOT_TAKEN, 4, said)


@pytest.mark.parametrize(("day", "asks"), [(7, False), (8, True)])
def test_a_station_in_range_again_within_the_time_needs_no_cleaning(day: int, asks: bool) -> None:
    found = proven([], 31, reading(day, **FINE))
    assert (found.state is State.LOOK) is asks
    if asks:
        said = "drop 6.12 m after a proven flush, no hand cleaning until 2026-05-08, when it was"
        assert told(found) == (Taken.NOT_TAKEN, 4, f"{said} in range again")
    else:
        assert found.state is State.CANNOT


def failed(gear: list[Row], until: int = 31, **signs: object) -> RuleResult:
    """A flush on the 4th without its signs; then this work."""
    first = job(4, **(FLUSHED | {"click": "no", "water": "no"} | signs))
    return asked("gear-in-time", [reading(4, **OVER)], [first, *gear], until)


@pytest.mark.parametrize(
    ("day", "taken"), [(4 + GEAR_WITHIN, Taken.IN_TIME), (5 + GEAR_WITHIN, Taken.LATE)]
)
def test_flush_gear_is_seen_to_in_time_up_to_the_third_day(day: int, taken: Taken) -> None:
    later = f", {day - 4} days later" if taken is Taken.LATE else ""
    said = f"a flush without its signs, work on the flush gear on 2026-05-{day:02d}{later}"
    for work in (job(day, "solenoid replaced"), job(day, "controller replaced"),
                 job(day, **FLUSHED)):  # fmt: skip
        assert told(failed([work])) == (taken, day - 4, said)


@pytest.mark.parametrize("signs", [{"click": None}, {"water": None}, {"click": "no"}])
def test_a_flush_with_one_sign_alone_sees_to_no_gear(signs: dict[str, object]) -> None:
    found = failed([job(5, **(FLUSHED | signs))], 8)
    assert told(found)[0] is Taken.NOT_TAKEN
    assert (
        told(found)[2] == "a flush without its signs, no work on the flush gear since, for 4 days"
    )


def helpless(calls: list[Row], until: int = 31) -> RuleResult:
    """A cleaning on the 5th that did not help; then these calls."""
    readings = [reading(4, **OVER), reading(4, **SAME_DAY),
                reading(5, **OVER, occasion="after cleaning")]  # fmt: skip
    work = [job(4, **FLUSHED), job(5, "hand cleaning"), *calls]
    return asked("called-in-time", readings, work, until)


@pytest.mark.parametrize(
    ("day", "taken"), [(5 + CALL_WITHIN, Taken.IN_TIME), (6 + CALL_WITHIN, Taken.LATE)]
)
def test_a_call_is_in_time_up_to_the_third_day(day: int, taken: Taken) -> None:
    later = f", {day - 5} days later" if taken is Taken.LATE else ""
    said = f"drop 6.12 m after hand cleaning, call for help on 2026-05-{day:02d}{later}"
    assert told(helpless([job(day, "called out")])) == (taken, day - 5, said)


@pytest.mark.parametrize(("until", "waits"), [(8, False), (9, True)])
def test_a_call_waits_from_the_fourth_day(until: int, waits: bool) -> None:
    found = helpless([], until)
    assert (found.state is State.LOOK) is waits
    if waits:
        assert told(found)[1:] == (
            4, "drop 6.12 m after hand cleaning, no call for help since, for 4 days",
        )  # fmt: skip


def test_who_called_before_the_cleaning_is_not_asked_to_call_again() -> None:
    readings = [reading(4, **OVER), reading(4, **SAME_DAY),
                reading(7, **OVER, occasion="after cleaning")]  # fmt: skip
    work = [job(4, **FLUSHED), job(5, "called out"), job(7, "hand cleaning")]
    assert asked("called-in-time", readings, work).state is State.CANNOT


@pytest.mark.parametrize(
    ("day", "taken", "later"),
    [(4, Taken.IN_TIME, ""), (5, Taken.IN_TIME, ""), (6, Taken.LATE, ", 2 days later")],
)
def test_a_flush_is_read_again_up_to_the_next_day(day: int, taken: Taken, later: str) -> None:
    after = reading(day, **OVER, occasion="after flush")
    found = asked("read-after", [reading(4, **OVER), after], [job(4, **FLUSHED)])
    said = f"flush, reading on 2026-05-{day:02d}{later}"
    assert told(found) == (taken, day - 4, said)


def test_the_next_step_without_a_reading_between_is_said_and_other_work_is_none() -> None:
    work = [job(4, **FLUSHED), job(5, "other"), job(6, "hand cleaning")]
    found = asked("read-after", [reading(4, **OVER), reading(7, **OVER)], work)
    flushed, cleaned = found.places
    assert flushed.said.endswith(
        ": flush, no reading before the next step (hand cleaning, 2026-05-06)"
    )
    assert (flushed.taken, cleaned.taken) == (Taken.NOT_TAKEN, Taken.IN_TIME)


# In range again, with or without something that explains it.


def back(
    outlet: float, work: list[Row], day: int = 5, division: float | None = 0.1, **more: object
) -> RuleResult:
    """Over the limit by 4.97 m against 5 on the 4th, and this reading after it; in metres."""
    first = reading(4, inlet=30.0, outlet=24.8)
    last = reading(day, inlet=30.0, outlet=outlet, **more)
    return asked("recovery-shown", [first, last], work, division=division, unit="m")


@pytest.mark.parametrize(
    ("work", "taken", "said"),
    [
        (job(4, **FLUSHED), Taken.IN_TIME, " after flush on 2026-05-04"),
        (job(5, "hand cleaning"), Taken.IN_TIME, " after hand cleaning on 2026-05-05"),
        (job(4, "other"), Taken.CANNOT,
         "; the log has 'other', which does not say whether it explains it"),
        (job(4, click="no", water="no"), Taken.CANNOT,
         "; the log has 'flush', which does not say whether it explains it"),
        (job(9, **FLUSHED), Taken.NOT_TAKEN,
         " with nothing in the log that explains it: recovery not shown"),
    ],
)  # fmt: skip
def test_a_return_to_range_is_explained_by_work_before_it(
    work: Row, taken: Taken, said: str
) -> None:
    assert told(back(28.0, [work])) == (taken, 0, f"in range again at 2.00 m{said}")


@pytest.mark.parametrize(("outlet", "near"), [(25.04, True), (25.05, False), (25.3, False)])
def test_a_drop_that_fell_by_the_gauge_s_reading_error_explains_itself(
    outlet: float, near: bool
) -> None:
    """A division of 0.2 m: two readings differ by up to 0.24 m and mean the same."""
    found = back(outlet, [], division=0.2)
    said = f"in range again at {30 - outlet:.2f} m"
    if near:
        said += ", by no more than the gauge's reading error"
        assert told(found) == (Taken.IN_TIME, 0, said)
    else:
        said += " with nothing in the log that explains it: recovery not shown"
        assert told(found) == (Taken.NOT_TAKEN, 0, said)
    unknown = back(outlet, [], division=None)
    assert told(unknown)[0] is Taken.NOT_TAKEN
    after = back(outlet, [], division=0.2, occasion="after flush")
    assert told(after)[0] is Taken.NOT_TAKEN


def test_a_flush_is_missed_where_the_next_day_was_in_range_by_more_than_the_gauge_errs() -> None:
    readings = [reading(4, inlet=30.0, outlet=24.8), reading(5, inlet=30.0, outlet=28.0)]
    found = asked("flush-in-a-day", readings, [], division=0.1, unit="m")
    assert told(found) == (
        Taken.CANNOT, 1,
        "drop 5.20 m over the limit, in range again on 2026-05-05 with no flush in the log",
    )  # fmt: skip
    assert found.untold == 1
    readings[1] = reading(5, inlet=30.0, outlet=25.0)
    near = asked("flush-in-a-day", readings, [], division=0.2, unit="m")
    assert near.state is State.CANNOT
    assert near.of == 0
    readings[1] = reading(6, inlet=30.0, outlet=28.0)
    late = asked("flush-in-a-day", readings, [], division=0.1, unit="m")
    assert told(late)[:2] == (Taken.NOT_TAKEN, 2)


def test_work_of_an_episode_before_explains_no_return() -> None:
    readings = [reading(1, **OVER), reading(2, **FINE), reading(10, **OVER), reading(12, **FINE)]
    found = asked("recovery-shown", readings, [job(1, **FLUSHED)])
    assert [p.taken for p in found.places] == [Taken.NOT_TAKEN, Taken.IN_TIME]
    assert found.places[0].said.startswith("North 1, 2026-05-12: ")
