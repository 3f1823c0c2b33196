"""The verdict itself, what comes before its steps, and by when to read again."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from siltbook.batch.ladder.facts import facts_of
from siltbook.batch.ladder.verdict import judge, read_by, verdict_of
from siltbook.batch.model import History, Judgement, Reading, Station, Verdict, Work
from siltbook.batch.numbers.forecast import Forecast
from siltbook.checks.slipped import EXCHANGED, Slipped
from siltbook.templates import safety
from siltbook.templates.book import Elsewhere
from tests.ladder.histories import DAY0, SETTINGS, read, station, work

OVER, FINE = 6.0, 2.0
DAY = dt.timedelta(days=1)
FLUSHED = (read(0, OVER), work(1), read(2, OVER))
# An outlet that stands still while the inlet rises and falls.
STILL = tuple(
    read(day, inlet - 25.0, inlet=inlet, outlet=25.0)
    for day, inlet in enumerate((27.0, 28.0, 27.0, 27.5, 27.0, 27.5))
)
ALIKE = tuple(read(day, 0.0) for day in range(3))


def judged(*entries: Reading | Work, at: Station | None = None) -> Judgement:
    return judge(History(at or station(), entries), SETTINGS, entries[-1].date)


def first(*entries: Reading | Work, **register: Any) -> tuple[Verdict, safety.Step]:
    found = judged(*entries, at=station(**register))
    return found.verdict, found.steps[0]


def test_what_makes_a_watched_drop_odd_is_looked_into_first() -> None:
    assert first(*STILL) == (Verdict.WATCH, safety.TRY_STILL)
    assert first(*ALIKE, division=0.5) == (Verdict.WATCH, safety.TRY_ALIKE)
    twice = [entry for day in (0, 7, 14) for entry in (read(day, OVER), read(day, FINE))]
    assert first(*twice) == (Verdict.WATCH, safety.LOG_OR_NAME)
    plain = judged(read(0, 4.2))
    assert (plain.verdict, len(plain.steps)) == (Verdict.WATCH, 1)


def test_where_work_comes_first_the_oddness_waits() -> None:
    """The verdict is another one: its own steps lead."""
    before = (safety.TRY_STILL, safety.TRY_ALIKE, safety.LOG_OR_NAME)
    for verdict, step in (
        first(*STILL, working_inlet=28.0),
        first(*ALIKE, division=0.5, working_inlet=31.0),
    ):
        assert verdict is Verdict.CHECK_SUPPLY
        assert step not in before


@pytest.mark.parametrize(
    ("gauges", "better"),
    [
        ("one gauge", "a gauge of a better class"),
        ("two gauges", "one gauge with a selector valve, or a gauge of a better class"),
    ],
)
def test_where_reading_again_cannot_tell_a_better_gauge_is_named(gauges: str, better: str) -> None:
    at = station(gauges=gauges, full_scale=400.0, gauge_class=2.5, limit=0.5)
    near = (read(0, OVER), work(1), read(2, 0.505, p_over=0.6))
    told = safety.GAUGES_CANNOT_TELL.format(better=better)
    assert judged(*near, at=at).steps[0].words == told


@pytest.mark.parametrize(
    ("entries", "works"),
    [
        (FLUSHED, True),
        ((*FLUSHED, work(3, click=False)), False),
        ((*FLUSHED, work(3, "solenoid replaced")), False),
    ],
)
def test_pressure_is_let_off_by_a_flush_only_where_the_gear_works(
    entries: tuple[Reading | Work, ...], works: bool
) -> None:
    found = judged(*entries)
    assert found.verdict is Verdict.HAND_CLEAN
    let_off = [step.words for step in found.steps if "pressure off" in step.words]
    assert any(
        words.startswith("Let the pressure off with a flush cycle") for words in let_off
    ) is (works)


SLIP = Slipped(7, DAY0 + 3 * DAY, DAY0 - 80 * DAY, EXCHANGED)
LATER = Elsewhere("June", "Readings", (DAY0 + 3 * DAY,))
AGAIN, BAD = safety.read_step(), read(2, FINE, why_unusable="no flow")


@pytest.mark.parametrize(
    ("newest", "lost", "words"),
    [
        (read(2, FINE, why_unusable="outlet above inlet"), {}, safety.SELECTOR),
        (read(2, FINE, why_unusable="33 bar looks like psi"), {}, safety.MISTYPED),
        (read(2, FINE, unread=("Flow 'low'",)), {}, safety.MISTYPED),
        (read(2, FINE), {"slipped": (SLIP,)}, safety.MISDATED),
        (read(2, FINE), {"unplaced": (9,)}, safety.UNPLACED),
        (read(2, FINE), {"unplaced_gauges": (9,)}, safety.UNPLACED),
        (read(2, FINE), {"unplaced_work": ((9, None),)}, safety.UNPLACED),
        (read(2, FINE), {"elsewhere": (LATER,)}, safety.NOT_READ),
        (BAD, {}, ""),
        (BAD, {"slipped": (SLIP,)}, ""),
        (BAD, {"unplaced": (9,)}, ""),
        (BAD, {"elsewhere": (LATER,)}, ""),
    ],
)
def test_what_made_the_latest_unsure_is_mended_before_it_is_read_again(
    newest: Reading, lost: dict[str, Any], words: str
) -> None:
    found = judge(History(station(), (newest,), **lost), SETTINGS, DAY0 + 4 * DAY)
    assert found.verdict is Verdict.RE_READ
    usual = (AGAIN, safety.read_step(safety.USUAL_FLOW))
    assert found.steps == ((safety.read_step(words), AGAIN) if words else usual)


def test_the_verdict_alone_is_that_of_the_judgement() -> None:
    soon = Forecast(DAY0 + 9 * DAY, DAY0 + 2 * DAY, None, "")
    for entries, expected in (
        ((*FLUSHED, work(3, click=False)), None),
        ((read(0, 3.0),), soon),
        ((read(0, 3.0),), None),
    ):
        history = History(station(), entries)
        found = judge(history, SETTINGS, DAY0 + 3 * DAY, expected)
        assert verdict_of(history, SETTINGS, DAY0 + 3 * DAY, expected) is found.verdict
    assert verdict_of(History(station(), (read(0, 3.0),)), SETTINGS, DAY0, soon) is Verdict.WATCH


@pytest.mark.parametrize(
    ("verdict", "days"),
    [
        (Verdict.IN_RANGE, 9),
        (Verdict.WATCH, 9),
        (Verdict.FLUSH, 5),
        (Verdict.ESCALATE, 5),
        (Verdict.RE_READ, 4),
        (Verdict.NO_READING, 4),
        (Verdict.RESTING, None),
    ],
)
def test_by_when_to_read_again(verdict: Verdict, days: int | None) -> None:
    """Read on day 2, judged on day 4, asked every 7 days."""
    facts = facts_of(History(station(), (read(2, FINE),)), SETTINGS, DAY0 + 4 * DAY)
    assert read_by(verdict, facts) == (None if days is None else DAY0 + days * DAY)


@pytest.mark.parametrize(
    ("as_of", "expected", "days"),
    [
        (4, Forecast(None, DAY0 + 6 * DAY, None, ""), 6),
        (4, Forecast(None, DAY0 + 30 * DAY, None, ""), 9),
        (4, Forecast(None, None, None, "", passed=DAY0 + 3 * DAY), 4),
        (4, Forecast(None, None, None, ""), 9),
        (12, None, 12),
    ],
)
def test_a_forecast_brings_the_next_reading_forward_and_never_before_today(
    as_of: int, expected: Forecast | None, days: int
) -> None:
    history = History(station(), (read(2, FINE),))
    facts = facts_of(history, SETTINGS, DAY0 + as_of * DAY, expected)
    assert read_by(Verdict.WATCH, facts) == DAY0 + days * DAY


def test_without_a_reading_one_is_due_today_and_without_a_day_none() -> None:
    none = facts_of(History(station(), ()), SETTINGS, DAY0)
    assert read_by(Verdict.WATCH, none) == DAY0
    undated = facts_of(History(station(), (read(2, FINE),)), SETTINGS, None)
    assert read_by(Verdict.WATCH, undated) is None
