"""Agreed actions in several files, and what the log shows of them, without any workbook."""

from __future__ import annotations

import datetime as dt

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit.agreed_seen import BEFORE, NEAR, NOT_SEEN, Outcome, by_person, outcomes
from siltbook.batch.audit.agreed_sheet import _files, _log, _shade, _state
from siltbook.batch.audit.agreements import (
    Agreement,
    Sighting,
    Source,
    agreements,
    once,
    text_of_cell,
)
from siltbook.batch.audit.model import Taken
from siltbook.batch.review.agreed import Effect
from siltbook.batch.review.month import Month
from tests.checks.builders import Row, book, job, reading


def day(number: int, month: int = 5) -> dt.date:
    return dt.date(2026, month, number)


DUE, LAST = day(15), day(31)


def seen(action: str = "Hand clean", who: str = "Reader A", due: dt.date | None = DUE,
         done: dt.date | None = None, cell: str = "Agreed!B2", listed: bool = True,
         station: str = "North 1") -> Sighting:  # fmt: skip
    return Sighting(station, action, who, due, done, cell, listed)


def told(*sources: Source) -> list[tuple[str, ...]]:
    """What is unlike in each agreement; the first of the sources is the book."""
    return [one.unlike for one in agreements(sources[0], sources[1:])]


def home(*sightings: Sighting) -> Source:
    return Source("", None, sightings)


# The same action in several files.


def test_files_are_compared_in_the_order_of_the_last_day_that_they_know() -> None:
    first = Source("may.xlsx", day(8), (seen(due=day(10)),))
    second = Source("june.xlsx", day(20), (seen(due=day(12)),))
    for others in ((first, second), (second, first)):
        assert told(home(seen(due=day(12))), *others) == [
            ("due date 2026-05-10 in may.xlsx, Agreed!B2; 2026-05-12 in june.xlsx",)
        ]


def test_two_rows_of_one_action_are_paired_by_date_and_then_by_person() -> None:
    mine = (seen(who="Reader A", due=day(10)), seen(who="Reader B", due=day(20)))
    theirs = (seen(who="Reader A", due=day(20)), seen(who="Reader B", due=day(10)))
    # The date weighs more than the person.
    assert told(home(*mine), Source("may.xlsx", day(8), theirs)) == [
        ("person Reader B in may.xlsx, Agreed!B2; Reader A in the book",),
        ("person Reader A in may.xlsx, Agreed!B2; Reader B in the book",),
    ]
    people = (seen(who="Reader B", due=None), seen(who="Reader A", due=None))
    assert told(home(*mine), Source("may.xlsx", day(8), people)) == [(), ()]


def test_an_action_stands_once_in_a_file_and_where_it_is_listed() -> None:
    box = seen(cell="Actions!A5", listed=False)
    done = seen(done=day(12), cell="Agreed!B9")
    assert [s.cell for s in once([box, seen(), done])] == ["Agreed!B9"]
    assert [s.cell for s in once([box, seen(who="Reader B")])] == ["Agreed!B2", "Actions!A5"]
    assert [s.cell for s in once([box, seen(who="reader  a")])] == ["Agreed!B2"]
    assert [s.cell for s in once([seen(due=day(16)), seen()])] == ["Agreed!B2", "Agreed!B2"]
    assert (text_of_cell(" a \n b "), text_of_cell(3.0), text_of_cell(None)) == ("a b", "", "")


def test_what_a_copy_holds_and_the_book_does_not_is_said_once() -> None:
    one = seen("Flush")
    copies = [Source("may.xlsx", day(8), (one,)), Source("june.xlsx", day(20), ())]
    assert told(home(), *copies) == [("stands in may.xlsx, Agreed!B2, and not in june.xlsx",)]
    box = Source("may.xlsx", day(8), (seen("Flush", listed=False),))
    assert told(home(), box) == [()]


@pytest.mark.parametrize(
    ("due", "done", "missed"),
    [
        (day(15), None, True),
        (day(15), day(30), False),  # done before June, and due before it
        (day(15), day(1, 6), True),
        (day(3, 6), day(30), True),
        (day(15), day(1, 7), True),  # still open at the end of June
    ],
)
def test_a_pack_has_what_is_open_in_its_month_or_due_or_done_in_it(
    due: dt.date, done: dt.date | None, missed: bool
) -> None:
    one = seen("Flush", due=due, done=done)
    pack = Source("june.xlsx", day(30, 6), (), Month(2026, 6))
    (unlike,) = told(home(one), Source("may.xlsx", day(8), (one,)), pack)
    assert unlike == (("stands in may.xlsx, Agreed!B2, and not in june.xlsx",) if missed else ())


def test_an_agenda_names_what_the_book_has_to_hold() -> None:
    pack = Source("june.xlsx", day(30, 6), (seen("Flush", listed=False),), Month(2026, 6))
    assert told(home(), pack) == [("stands in june.xlsx, Agreed!B2, and not in the book",)]


# What the log shows.

OVER: Row = {"inlet": 3.0, "outlet": 2.4}
FINE: Row = {"inlet": 3.0, "outlet": 2.8}
READINGS = [reading(4, **OVER), reading(13, **FINE), reading(31, **FINE)]


def came_of(one: Sighting, work: list[Row], *others: Source, readings: list[Row] | None = None,
            until: dt.date = LAST) -> Outcome:  # fmt: skip
    held = assess(book(readings or READINGS, work=work), as_of=until)
    (found,) = outcomes(held, agreements(home(one), others))
    return found


@pytest.mark.parametrize(
    ("cleaned", "taken", "late"),
    [(14, Taken.IN_TIME, 0), (15, Taken.IN_TIME, 0), (16, Taken.LATE, 1)],
)
def test_an_action_is_in_time_up_to_its_day(cleaned: int, taken: Taken, late: int) -> None:
    one = came_of(seen(done=day(cleaned)), [job(cleaned, "hand cleaning")])
    assert (one.taken, one.late, one.seen) == (taken, late, day(cleaned))
    assert one.said == f"hand cleaning on 2026-05-{cleaned} (Work done!D2)"


@pytest.mark.parametrize(("apart", "near"), [(NEAR, True), (NEAR + 1, False), (-NEAR, True),
                                             (-NEAR - 1, False)])  # fmt: skip
def test_a_done_date_means_work_within_three_days_of_it(apart: int, near: bool) -> None:
    assert NEAR == 3
    one = came_of(seen(done=day(12)), [job(12 + apart, "hand cleaning")])
    assert (one.seen is not None) is near
    if near:
        assert one.said.endswith("; its Done date says 2026-05-12")
    else:
        assert one.said == "done 2026-05-12 by its Done date; hand cleaning not seen in the log"
        assert one.taken is Taken.CANNOT


def test_the_nearest_work_counts_and_the_earlier_of_two_as_near() -> None:
    work = [job(10, "hand cleaning"), job(13, "hand cleaning"), job(14, "hand cleaning")]
    assert came_of(seen(done=day(12)), work).seen == day(13)
    work = [job(11, "hand cleaning"), job(13, "hand cleaning")]
    assert came_of(seen(done=day(12)), work).seen == day(11)


@pytest.mark.parametrize(
    ("due", "taken", "late"),
    [(day(30), Taken.NOT_TAKEN, 1), (day(31), None, 0), (None, Taken.CANNOT, 0)],
)
def test_an_action_of_today_is_not_due_yet(
    due: dt.date | None, taken: Taken | None, late: int
) -> None:
    one = came_of(seen("Replace the screen", due=due), [])
    assert (one.taken, one.late) == (taken, late)
    why = "screen replaced not seen in the log"
    assert one.said == {
        Taken.NOT_TAKEN: f"no Done date; {why}", Taken.CANNOT: f"agreed for no day; {why}",
    }.get(one.taken, why)  # type: ignore[arg-type]  # fmt: skip
    assert one.state == ("not due yet" if taken is None else {Taken.NOT_TAKEN: "not done"}.get(
        taken, "cannot be told"))  # fmt: skip


def test_a_done_date_that_lies_ahead_is_no_word_yet() -> None:
    one = came_of(seen("Replace the screen", due=day(10), done=day(31)), [], until=day(30))
    assert (one.taken, one.late) == (Taken.NOT_TAKEN, 20)
    ready = came_of(seen("Replace the screen", due=day(10), done=day(30)), [], until=day(30))
    assert (ready.taken, ready.late) == (Taken.LATE, 20)


@pytest.mark.parametrize(("known", "counts"), [(11, True), (12, False)])
def test_work_counts_from_the_day_after_the_first_file_that_has_the_action(
    known: int, counts: bool
) -> None:
    copy = Source("may.xlsx", day(known), (seen(),))
    one = came_of(seen(), [job(12, "hand cleaning")], copy)
    assert (one.taken is Taken.IN_TIME) is counts
    if not counts:
        said = "hand cleaning on 2026-05-12 is in the log; whether it was agreed before that, no"
        assert (one.taken, one.said) == (Taken.CANNOT, f"{said} file says")


@pytest.mark.parametrize(("days", "maybe"), [(BEFORE, True), (BEFORE + 1, False)])
def test_work_of_a_month_before_may_be_the_one_agreed(days: int, maybe: bool) -> None:
    assert BEFORE == 31
    due = day(4) + dt.timedelta(days=days)
    readings = [*READINGS, reading(date=day(30, 6), **FINE)]
    one = came_of(seen(due=due), [job(4, "hand cleaning")], readings=readings, until=day(30, 6))
    assert one.taken is (Taken.CANNOT if maybe else Taken.NOT_TAKEN)
    ahead = came_of(seen(due=due), [job(4, "hand cleaning")], readings=readings, until=due)
    assert ahead.taken is None


def test_of_two_kinds_of_work_both_must_be_seen_and_the_last_counts() -> None:
    both = seen("Flush, then clean by hand", due=day(10))
    copy = Source("may.xlsx", day(3), (both,))
    one = came_of(both, [job(5), job(12, "hand cleaning")], copy)
    assert (one.taken, one.seen, one.late) == (Taken.LATE, day(12), 2)
    lacking = came_of(both, [job(5)], copy)
    assert lacking.said == "no Done date; hand cleaning not seen in the log"
    neither = came_of(both, [], copy)
    assert neither.said == "no Done date; flush and hand cleaning not seen in the log"


def test_a_call_changes_no_reading_and_gear_that_was_fine_shows_no_effect() -> None:
    call = came_of(seen("Escalate", done=day(12)), [job(12, "called out")])
    assert (call.shows, call.effect) == (Effect.NOT_SHOWN, "a call changes no reading by itself")
    part = came_of(seen("Replace the solenoid", done=day(12)), [job(12, "solenoid replaced")])
    assert part.effect == "the flush gear was not in doubt before"


# The sheet.


def outcome(taken: Taken | None, *, who: str = "Reader A", shows: Effect = Effect.NOT_SHOWN,
            effect: str = "") -> Outcome:  # fmt: skip
    sightings = ((Source("may.xlsx", None, ()), seen(who=who)),)
    return Outcome(Agreement(sightings, ("unlike",)), taken, None, NOT_SEEN, shows, effect)


def test_results_of_actions_in_words_and_which_are_shaded() -> None:
    said = {
        taken: (_state(outcome(taken)), bool(_shade(outcome(taken)))) for taken in (*Taken, None)
    }
    assert said == {
        Taken.IN_TIME: ("Done in time", False), Taken.LATE: ("Done late", True),
        Taken.NOT_TAKEN: ("Not done", True), Taken.CANNOT: ("Cannot be told", False),
        None: ("Not due yet", False),
    }  # fmt: skip
    assert _log(outcome(None, effect="drop 2 m")) == "not seen in the log; drop 2 m"
    assert _files(outcome(None)) == "not in the book; may.xlsx, Agreed!B2; unlike"


def test_who_left_most_undone_stands_first() -> None:
    found = [
        outcome(Taken.LATE, who="A"), outcome(Taken.LATE, who="A"),
        outcome(Taken.NOT_TAKEN, who="C"), outcome(Taken.IN_TIME, who="B", shows=Effect.SHOWN),
        outcome(Taken.LATE, who="D"), outcome(None, who="b"),
    ]  # fmt: skip
    counts = by_person(found)
    assert [(c.name, c.agreed, c.shown) for c in counts] == [
        ("C", 1, 0), ("A", 2, 0), ("D", 1, 0), ("B", 2, 1),
    ]  # fmt: skip
