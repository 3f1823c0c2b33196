"""Advice that opens or flushes a filter begins with a caution where trouble was noted there."""

from __future__ import annotations

import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.remark_words import unsafe
from siltbook.templates.orders import in_short
from siltbook.templates.safety import MADE_SAFE_FIRST
from tests.whole.verdicts import day, filled, judged, reading, said, work

OVER, FINE = (3.2, 2.5), (3.2, 3.0)
STUCK = "downstream valve cannot be closed"


def over(remark: str, *more: dict[str, object]) -> bytes:
    """Over the limit after a flush: to be cleaned by hand."""
    rows = [reading(day(1), *OVER), reading(day(3), *OVER, Remark=remark)]
    return filled(Readings=rows, Work_done=[work(day(2)), *more])


def test_before_a_hand_cleaning_a_valve_that_cannot_be_closed_comes_first() -> None:
    found = judged(over(STUCK))
    assert found.verdict == "hand-clean"
    assert found.judgement.steps[0] is MADE_SAFE_FIRST
    assert in_short(found.judgement.steps).startswith(
        "Do not open the filter, start no flush, until a competent person has made safe what was"
        " noted. Make it safe (no zero on both sides: do not open)"
    )
    assert judged(over("cloudy water")).judgement.steps[0] is not MADE_SAFE_FIRST


def test_before_a_flush_as_well_and_for_a_remark_of_the_register() -> None:
    flush = filled(Readings=[reading(day(3), *OVER, Remark="gauge is broken")])
    assert judged(flush).verdict == "flush"
    assert judged(flush).judgement.steps[0] is MADE_SAFE_FIRST
    register = [{"Station": "North 1", "Remark": "upstream valve stuck open"}]
    lasting = filled(Stations=register, Readings=[reading(day(3), *OVER)])
    assert judged(lasting).judgement.steps[0] is MADE_SAFE_FIRST


def test_work_since_may_have_mended_it_and_where_nothing_is_opened_nothing_is_said() -> None:
    mended = over(STUCK, work(day(4), "hand cleaning"))
    after = filled(
        Readings=[reading(day(3), *OVER, Remark=STUCK), reading(day(9), *OVER)],
        Work_done=[work(day(2)), work(day(4), "screen replaced")],
    )
    assert said(mended)[0] == "re-read"
    for book in (mended, after, filled(Readings=[reading(day(3), *FINE, Remark=STUCK)])):
        (result,) = assess_bytes(book, "invented.xlsx").stations
        assert MADE_SAFE_FIRST not in result.judgement.steps


@pytest.mark.parametrize(
    "words",
    [STUCK, "Valve won't close", "the gauge is broken", "filter cannot be isolated",
     "pressure cannot be let off", "Druck: Absperrhahn schließt nicht", "válvula no cierra",
     "la vanne ne ferme pas", "needle dead", "cover bolt cracked", "filter holds pressure",
     "pressure does not fall at the drain", "saracinesca bloccata", "no isolation valve"],
)  # fmt: skip
def test_trouble_with_what_makes_it_safe(words: str) -> None:
    assert unsafe(words)


@pytest.mark.parametrize(
    "words",
    ["cloudy water", "new gauge fitted", "valve open again", "wet patch in row 12", "no time",
     "pump sounds rough", "low pressure in the field", "hard crust on the element", "gate locked",
     "valve replaced in May", "flushed during the night"],
)  # fmt: skip
def test_other_remarks_are_none(words: str) -> None:
    assert not unsafe(words)
