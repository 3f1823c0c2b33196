"""The rules on how entries stand in the book, at their limits: order, times, visits due."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import pytest
import scipy

from siltbook.batch.audit.entries import back_dated, same_time, step_order
from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.own_findings import book_findings
from siltbook.batch.audit.plan import coverage, plan_kept
from siltbook.batch.numbers.history import histories
from siltbook.checks.findings import CATALOGUE, Finding, Severity
from siltbook.templates.book import Book
from tests.audit.farm import open_places
from tests.checks.builders import Row, book, job, reading

ON = dt.date(2026, 12, 31)
START = dt.date(2026, 5, 4)


def only(result: RuleResult) -> str:
    (place,) = open_places(result)
    return place.said


def at(hour: int, minute: int = 0) -> dt.time:
    return dt.time(hour, minute)


# Steps before the reading that follows them.


def order(readings: list[Row], work: list[Row]) -> RuleResult:
    one = book(readings, work=work)
    return step_order(one, histories(one, ON))


@pytest.mark.parametrize(
    ("flushed", "time", "read", "said"),
    [
        (5, at(9), at(9), ""),
        (5, at(9), at(8, 59), "a reading 'after flush' at 08:59, before the flush at 09:00"),
        (5, None, at(8), ""),
        (5, at(9), None, ""),
        (4, at(9), at(8), ""),
        (3, at(9), at(10), "a reading 'after flush', but no flush on that day or the day before"),
        (6, at(9), at(10), "a reading 'after flush', but no flush on that day or the day before"),
    ],
)
def test_a_reading_after_a_flush_stands_behind_one_of_that_day_or_the_day_before(
    flushed: int, time: dt.time | None, read: dt.time | None, said: str
) -> None:
    found = order([reading(5, time=read, occasion="after flush")], [job(flushed, time=time)])
    if said:
        assert only(found) == f"North 1, 2026-05-05: {said}"
        assert found.places[0].cell == book([]).readings.cell("occasion", 2)
    else:
        assert found.said == "Every step comes before the reading after it."


def test_the_first_of_two_flushes_of_a_day_is_enough_and_another_work_is_none() -> None:
    after = [reading(5, time=at(9), occasion="after flush")]
    assert order(after, [job(5, time=at(11)), job(5, time=at(8))]).state is State.QUIET
    assert order(after, [job(4, time=at(23)), job(5, time=at(11))]).state is State.QUIET
    cleaned = [job(5, "hand cleaning", time=at(8))]
    assert "but no flush on that day" in only(order(after, cleaned))
    wiped = [reading(5, occasion="after cleaning")]
    assert order(wiped, [job(5, "screen replaced")]).state is State.QUIET
    assert "but no hand cleaning on that day" in only(order(wiped, [job(5)]))


# One minute for many stations.


def timed(same: Sequence[int], days: int = 12, count: int = 6) -> RuleResult:
    """Rounds of stations ten minutes apart; on each day in turn so many at one minute."""
    rows, names = [], [f"North {n}" for n in range(count)]
    for day in range(days):
        alike = same[day] if day < len(same) else 1
        for n, name in enumerate(names):
            minute = 10 * max(0, n - alike + 1)
            when = dt.datetime.combine(START, at(8)) + dt.timedelta(minutes=minute)
            rows.append(reading(station=name, date=START + dt.timedelta(days=day),
                                time=when.time(), occasion="routine"))  # fmt: skip
    one = book(rows, stations=[{"station": name} for name in names])
    return same_time(one, histories(one, ON))


@pytest.mark.parametrize(("days", "count", "told"), [(10, 3, True), (9, 3, False), (12, 2, False)])
def test_ten_rounds_of_three_timed_stations_are_needed(days: int, count: int, told: bool) -> None:
    found = timed([], days, count)
    assert found.state is (State.QUIET if told else State.CANNOT)
    if not told:
        assert found.said == "Too few rounds with times."
    else:
        assert found.said == "Times differ as a round would have them."
        assert found.p == 1.0


@pytest.mark.parametrize(("alike", "found"), [(6, True), (4, True), (3, False)])
def test_half_a_round_at_one_minute_is_looked_at(alike: int, found: bool) -> None:
    result = timed([alike])
    assert (result.state is State.LOOK) is found
    if found:
        assert only(result) == f"2026-05-04: {alike} of 6 stations at 08:00 (first row 2)"
        # In 11 other rounds none of 55 stations shares the minute of another.
        assert result.p == pytest.approx(scipy.stats.binom.sf(alike - 2, 5, 1 / 57) * 12)
    else:
        assert result.p == 1.0


@pytest.mark.parametrize(("heavy", "habit"), [(1, False), (2, True)])
def test_one_time_on_more_than_one_round_in_ten_is_a_habit(heavy: int, habit: bool) -> None:
    found = timed([6] * heavy, 10)
    assert (found.state is State.CANNOT) is habit
    if habit:
        assert found.said == (
            "One time for many stations on 2 of 10 rounds: a habit, so times cannot tell the order"
            " of a round."
        )


def test_pairs_at_one_minute_on_other_days_make_a_shared_one_less_strange() -> None:
    found = timed([4, 2, 2, 2], 12)
    assert found.p == pytest.approx(min(1.0, scipy.stats.binom.sf(2, 5, 4 / 57) * 12))
    assert found.state is State.QUIET


# Rows far below later ones.


def entered(weeks: Sequence[int], *, interval: float = 7.0, **more: object) -> RuleResult:
    """Readings of one station in the order in which they stand in the sheet."""
    rows = [reading(date=START + dt.timedelta(days=7 * week)) for week in weeks]
    for row, values in more.items():
        rows[int(row[1:])] |= values  # type: ignore[operator]
    one = book(rows, interval=interval)
    return back_dated(one, histories(one, ON), ON)


PLAIN = list(range(20))


def moved(week: int, behind: int) -> list[int]:
    rest = [one for one in PLAIN if one != week]
    place = rest.index(behind) + 1
    return [*rest[:place], week, *rest[place:]]


@pytest.mark.parametrize(("behind", "found"), [(6, False), (7, False), (8, False), (9, True)])
def test_a_row_stands_far_below_beyond_three_intervals(behind: int, found: bool) -> None:
    result = entered(moved(5, behind))
    assert (result.state is State.LOOK) is found
    if found:
        assert only(result) == (
            "North 1: the entry of 2026-06-08 stands below 4 later days, the last 2026-07-06"
        )
        assert result.places[0].cell == book([]).readings.cell("date", 11)
    else:
        assert result.said == "No entry stands far below later days of its station."


@pytest.mark.parametrize(("interval", "found"), [(4.0, True), (7.0, False)])
def test_three_intervals_or_two_weeks_are_ordinary(interval: float, found: bool) -> None:
    """Three weeks late: beyond three intervals of four days, not of seven."""
    assert (entered(moved(5, 8), interval=interval).state is State.LOOK) is found
    # Two weeks stay ordinary, however short the interval.
    assert entered(moved(5, 7), interval=1.0).state is State.QUIET


def test_later_days_are_counted_each_once() -> None:
    twice = [0, 1, 2, 3, 9, 9, 9, 4, 10, 11, 12, 13, 14, 15, 16]
    assert entered(twice).state is State.QUIET
    three = [0, 1, 2, 3, 7, 8, 9, 4, 10, 11, 12, 13, 14, 15, 16]
    assert "stands below 3 later days" in only(entered(three))


@pytest.mark.parametrize(("back", "told"), [(3, True), (4, False)])
def test_rows_that_step_back_more_than_three_times_in_twenty_are_in_no_order(
    back: int, told: bool
) -> None:
    weeks = list(range(21))
    for n in range(back):
        weeks[4 * n + 1], weeks[4 * n + 2] = weeks[4 * n + 2], weeks[4 * n + 1]
    result = entered(weeks)
    assert result.state is (State.QUIET if told else State.CANNOT)
    if not told:
        assert result.said == "The rows are in no order of entry."


def test_in_a_sheet_with_the_newest_on_top_a_row_far_above_is_named() -> None:
    assert entered(PLAIN[::-1]).state is State.QUIET
    assert "the entry of 2026-06-08 stands below" in only(entered(moved(5, 12)[::-1]))


def test_what_lies_after_the_as_of_date_is_not_asked() -> None:
    one = book([reading(date=START + dt.timedelta(days=7 * w)) for w in moved(5, 12)])
    early = START + dt.timedelta(days=7 * 7)
    assert back_dated(one, histories(one, early), early).state is State.QUIET


@pytest.mark.parametrize(("gone", "holds"), [((), True), ((4,), False), ((6,), False)])
def test_an_unusable_entry_excuses_nothing_where_both_neighbours_were_visited(
    gone: Sequence[int], holds: bool
) -> None:
    """Its own day stands between a visit a week before and one a week after it."""
    weeks = [week for week in moved(5, 12) if week not in gone]
    result = entered(weeks, **{f"n{weeks.index(5)}": {"inlet": 0.0, "outlet": 0.0}})
    (place,) = result.places
    assert place.holds is holds
    assert place.said.endswith("; no verdict can use it, and it fills no gap") is holds


@pytest.mark.parametrize(("week", "holds"), [(0, False), (1, True), (11, True)])
def test_the_first_visit_has_none_before_it(week: int, holds: bool) -> None:
    """The second has one; so has the last before the rows that stand above."""
    weeks = moved(week, 16)
    result = entered(weeks, **{f"n{weeks.index(week)}": {"inlet": 0.0, "outlet": 0.0}})
    assert [place.holds for place in result.places] == [holds]


# Visits due and made.


def kept(days: Sequence[int], *, interval: float = 7.0, until: int = 90) -> RuleResult:
    one = book([reading(date=START + dt.timedelta(days=day)) for day in days], interval=interval)
    on = START + dt.timedelta(days=until)
    found = histories(one, on)
    return plan_kept(one, coverage(found, interval, on), {"North 1": 2})


@pytest.mark.parametrize(
    ("until", "due"), [(0, 1), (6, 1), (7, 2), (13, 2), (14, 3), (90, 13), (91, 14)]
)
def test_a_visit_is_due_on_the_first_day_and_every_interval_after_it(until: int, due: int) -> None:
    assert kept([0], until=until).of == due


def test_every_month_has_its_whole_visits() -> None:
    result = kept([7 * n for n in range(13)])
    assert result.places[0].said == (
        "North 1: 13 of 13 visits (2026-05 4 of 4, 2026-06 5 of 5, 2026-07 4 of 4, 2026-08 0 of 0)"
    )
    assert result.said == "13 of 13 visits of the reading plan were made."
    assert result.places[0].holds


@pytest.mark.parametrize(("apart", "made"), [(3, 1), (4, 2)])
def test_visits_less_than_half_an_interval_apart_count_once(apart: int, made: int) -> None:
    assert kept([0, apart], until=20).kept == made


@pytest.mark.parametrize(("made", "found"), [(9, True), (10, False)])
def test_two_visits_of_three_are_enough(made: int, found: bool) -> None:
    """15 due, of which ten are two thirds; no month is empty."""
    weeks = [0, 1, 3, 4, 6, 7, 9, 10, 13, 12][:made]
    result = kept([7 * week for week in sorted(weeks)], until=98)
    assert (result.kept, result.of) == (made, 15)
    assert (result.state is State.LOOK) is found
    assert result.said.startswith(f"{made} of 15 visits of the reading plan were made.")


def test_an_empty_month_is_looked_at_where_three_visits_were_due() -> None:
    weekly = [7 * n for n in range(13) if not 4 <= n <= 8]
    result = kept([*weekly, *(7 * n + 4 for n in (0, 1, 2, 9, 10, 11))])
    assert result.state is State.LOOK
    assert "2026-06 0 of 5" in result.said
    # Twice in a month are too few to speak of a month.
    twice = kept([0, 15, 60, 75, 90], interval=15.0)
    assert "2026-06 0 of 2" in twice.places[0].said
    assert twice.state is State.QUIET


# The book's own findings.


def finding(severity: Severity, rule: str = "") -> Finding:
    code = rule or next(c for c, r in CATALOGUE.items() if r.severity is severity
                        and c not in ("rows-copied", "several-without-time"))  # fmt: skip
    return Finding(code, severity, "Readings", "D2", "9", "do this", "North 1")


@pytest.mark.parametrize(
    ("doubts", "readings", "look"),
    [(4, 10, False), (5, 10, True), (5, 100, True), (5, 101, False), (6, 120, True),
     (6, 121, False)],
)  # fmt: skip
def test_five_doubts_or_one_in_twenty_readings_are_looked_at(
    doubts: int, readings: int, look: bool
) -> None:
    result = book_findings([finding(Severity.DOUBT)] * doubts, readings)
    assert (result.state is State.LOOK) is look
    assert result.said.startswith(f"{doubts} doubts; the worst: Readings!D2, ")
    assert [place.holds for place in result.places] == [not look] * doubts


def test_one_error_is_looked_at_and_notes_alone_are_not() -> None:
    error = book_findings([finding(Severity.NOTE)] * 9 + [finding(Severity.ERROR)], 500)
    assert error.state is State.LOOK
    assert error.said.startswith("1 error, 9 notes; the worst: ")
    notes = book_findings([finding(Severity.NOTE)] * 9, 500)
    assert (notes.state, notes.said, notes.places) == (State.QUIET, "9 notes.", ())
    assert book_findings([], 500).said == "No findings."


def test_habits_and_repeated_rows_say_nothing_against_the_data() -> None:
    for rule in ("several-without-time", "rows-copied"):
        result = book_findings([finding(Severity.DOUBT, rule)] * 30, 100)
        assert result.state is State.QUIET
        assert result.said.startswith("30 doubts; the worst: ")
    both = [finding(Severity.DOUBT, "several-without-time"), finding(Severity.ERROR)]
    result = book_findings(both, 100)
    assert [(p.holds, p.said.split(":")[0]) for p in result.places] == [
        (False, "error"), (True, "doubt"),
    ]  # fmt: skip


def test_the_book_has_no_reading_at_all() -> None:
    empty: Book = book([])
    assert plan_kept(empty, (), {}).said == "No station has a reading."
