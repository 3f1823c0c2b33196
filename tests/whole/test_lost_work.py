"""Work whose row belongs nowhere: the station that it may be of is not in range without a word."""

from __future__ import annotations

import pytest

from siltbook.batch.numbers.unplaced import is_ditto
from tests.whole.verdicts import day, filled, judged, reading, said, work

OVER, FINE = (3.2, 2.5), (3.2, 3.0)  # inlet and outlet [bar]: drops of 7.14 and 2.04 m
RANGE = "Drop 2.04 m on 2026-06-08, within the limit of 5.00 m."
LOST = "Row 3 of the work could not be placed and may be work here: correct station or date."
FAILED = work(day(8), Click_heard="no")
READ = [reading(day(1), *FINE), reading(day(8), *FINE)]


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("name", ["Nort 1", None, '"', "ditto", "\u3003"])
def test_a_failed_flush_under_a_name_that_is_none(name: str | None) -> None:
    """A name that comes near, none, or a mark that repeats the one above."""
    book = filled(Readings=READ, Work_done=[work(day(1)), FAILED | {"Station": name}])
    assert said(book) == ("re-read", f"{RANGE} {LOST}")
    assert judged(book).judgement.steps[0].words == (
        "Look at the row that could not be placed: its station and its date. Correct the cells."
    )


def test_a_failed_flush_without_a_day() -> None:
    book = filled(Readings=READ, Work_done=[work(day(1)), FAILED | {"Date": None}])
    verdict, sentence = said(book)
    assert verdict == "re-read"
    assert sentence == f"{RANGE} Could not be read: Work done row 3, Date nothing: not used."


def test_what_is_long_past_or_still_to_come_is_not_held_against_a_station() -> None:
    old = filled(Readings=[reading(day(1), *FINE), reading(day(28), *FINE)],
                 Work_done=[work(day(1)), work(day(2)) | {"Station": "Nort 1"}])  # fmt: skip
    assert said(old)[0] == "in-range"
    later = filled(Readings=READ, Work_done=[FAILED | {"Station": "Nort 1"}])
    assert said(later, day(5))[0] == "in-range"


def test_in_an_open_episode_the_row_is_named_beside_the_work_that_is_due() -> None:
    rows = [reading(day(1), *OVER), reading(day(28), *OVER)]
    book = filled(Readings=rows, Work_done=[work(day(1)), work(day(5)) | {"Station": "Nort 1"}])
    verdict, sentence = said(book)
    assert verdict == "hand-clean"
    assert sentence.endswith(LOST)


def test_a_reading_under_a_name_that_looks_the_same_may_be_the_latest() -> None:
    register = [{"Station": "A1"}]
    read = [
        reading(day(1), *FINE) | {"Station": "A1"},
        reading(day(8), *OVER) | {"Station": "\u04101"},
    ]  # a Cyrillic A
    assert judged(filled(Stations=register, Readings=read)).verdict == "re-read"


def test_a_reading_under_a_ditto_mark_may_be_the_latest() -> None:
    book = filled(Readings=[reading(day(1), *FINE), reading(day(8), *OVER) | {"Station": '"'}])
    assert said(book) == (
        "re-read",
        "Drop 2.04 m on 2026-06-01, within the limit of 5.00 m. Row 3 of the readings could not be"
        " placed and may be the latest here: correct station or date.",
    )


@pytest.mark.parametrize("name", ["North 1", "Do it", "D", "", "1", None])
def test_a_name_is_no_ditto_mark(name: str | None) -> None:
    assert not is_ditto(name)


NOT_PLACED = (
    " of the sheet Gauges could not be placed, so nobody knows in which unit the latest was read:"
    " correct station or date."
)


@pytest.mark.parametrize(
    ("row", "more"),
    [
        ({"Station": "North 1", "From": "in June"},
         " Could not be read: Gauges row 3, From 'in June': not used."),
        ({"Station": "Nort 1", "From": day(5)}, ""),
        ({"Station": "North 1", "From": day(2)}, ""),  # another unit from the same day on
    ],
)  # fmt: skip
def test_a_changed_gauge_that_cannot_be_placed(row: dict[str, object], more: str) -> None:
    first = {"Station": "North 1", "From": day(2), "Pressure unit": "bar"}
    book = filled(Readings=READ, Gauges=[first, row | {"Pressure unit": "kgf/cm2"}])
    assert said(book) == ("re-read", f"{RANGE} Row 3{NOT_PLACED}{more}")
    assert said(filled(Readings=READ, Gauges=[first, row]))[0] == "in-range"  # names no unit


@pytest.mark.parametrize("row", [{"Station": "North 1", "From": "in June"},
                                 {"Station": "Nort 1", "From": day(5)}])  # fmt: skip
def test_a_changed_gauge_of_the_one_unit_that_the_station_has_changes_nothing(
    row: dict[str, object],
) -> None:
    """Wherever it is placed, every reading stays in that unit; the station was Re-read."""
    row |= {"Pressure unit": "bar"}
    assert said(filled(Readings=READ, Gauges=[row]))[0] == "in-range"
    between = {"Station": "North 1", "From": day(2), "Pressure unit": "kgf/cm2"}
    assert said(filled(Readings=READ, Gauges=[between, row]))[0] == "re-read"
    unknown = row | {"Pressure unit": "cubits"}
    assert said(filled(Readings=READ, Gauges=[unknown]))[0] == "re-read"


def test_words_for_a_flush_gear_that_was_carried_over() -> None:
    row = {"Station": "North 1", "Flush gear": "solenoid broken", "Inlet too low": "yes"}
    assert said(filled(Readings=READ, Carried_over=[row])) == (
        "check-flush-gear",
        f"The solenoid is suspect; d{RANGE[1:]} Carried over from last season. Could not be read:"
        " Carried over row 2, Flush gear 'solenoid broken': taken as solenoid suspect; Carried over"
        " row 2, Inlet too low 'yes': it counts as blank.",
    )
