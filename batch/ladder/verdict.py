"""From where a station stands to its verdict: the first condition that holds, and what else holds.

Conditions are tried in the order of the method page (docs/method.md); everything that holds
besides the verdict is listed under 'also'.
"""

from __future__ import annotations

import datetime as dt

from siltbook.batch.ladder import words
from siltbook.batch.ladder.doubts import (
    alike_on_end,
    beside_in_range,
    outlet_still,
    over_and_in_range,
)
from siltbook.batch.ladder.facts import (
    BORDER,
    Facts,
    back_by_one_reading,
    came_back_alone,
    facts_of,
    field_low,
    flush_unseen,
    inlet_low,
    inlet_weak,
    limit_too_high,
    outlet_zero,
    over_at_reference,
    rules_not_read,
    too_low_to_flush,
    unread_beside,
)
from siltbook.batch.ladder.next_steps import next_steps
from siltbook.batch.ladder.replay import RISE_TO_WATCH, Gear, Step
from siltbook.batch.model import CALM, History, Judgement, Verdict, is_over
from siltbook.batch.numbers.drops import implausibly_low
from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.outlook import soon
from siltbook.checks.gauges import NOISE, class_part, reading_again_helps
from siltbook.templates import safety
from siltbook.templates.book import USUAL_LIMIT, Settings
from siltbook.templates.safety import GAUGES_CANNOT_TELL, READ_ONCE_MORE, read_step

OWED = (Verdict.RE_READ, Verdict.NO_READING)  # what is lacking is a reading
_BY_THE_DROP = (Verdict.FLUSH, Verdict.HAND_CLEAN, Verdict.ESCALATE)  # a gauge may be at fault


def _too_old(facts: Facts) -> bool:
    days = facts.days_since
    return days is None or days > facts.settings.interval


def near_limit(facts: Facts) -> bool:
    """In range, but near the limit, or there by chance, or at a low flow, or not for long.

    At the watch share, risen far over the clean drop, over the limit once taken to the reference
    flow, back in range by itself by less than the gauge can tell or by one reading alone, in range
    and over on the same days, read on an outlet that stands still, judged by rules of which one
    cannot be read, at an inlet far too low for a flush, or soon at the limit.
    """
    if facts.latest is None or facts.over:
        return False
    if over_at_reference(facts) or came_back_alone(facts) or back_by_one_reading(facts):
        return True
    if outlet_still(facts.history) is not None or alike_on_end(facts.history) is not None:
        return True
    if over_and_in_range(facts.history) or rules_not_read(facts) or inlet_weak(facts):
        return True
    if limit_too_high(facts) and is_over(facts.drop, USUAL_LIMIT):
        return True
    station = facts.history.station
    if facts.drop >= facts.settings.watch_share * station.limit - NOISE:
        return True
    if station.clean_drop is not None and facts.drop - station.clean_drop > RISE_TO_WATCH:
        return True
    return facts.expected is not None and soon(facts.expected, facts.settings, facts.as_of)


def _applicable_verdicts(facts: Facts) -> list[Verdict]:
    """Every verdict whose condition holds, in order; a verdict with two conditions may repeat."""
    at, resting = facts.standing, not facts.history.station.in_service
    awaits = at.step in (Step.AWAITS_FLUSH_READING, Step.AWAITS_CLEANING_READING)
    unread = facts.newest is not None and not facts.newest.usable
    lost = facts.misplaced is not None or bool(
        facts.history.unplaced or facts.history.unplaced_gauges or facts.lost_work or facts.not_read
    )
    controller = at.gear is Gear.CONTROLLER_SUSPECT
    conditions = (
        (Verdict.RESTING, resting),
        (Verdict.ESCALATE, controller or at.step is Step.NEEDS_ESCALATION),
        (Verdict.HAND_CLEAN, at.step is Step.NEEDS_CLEANING),
        (Verdict.CHECK_FLUSH_GEAR, at.gear is Gear.SOLENOID_SUSPECT),
        (Verdict.FLUSH, at.gear is Gear.AWAITS_PROOF),
        (Verdict.CHECK_SUPPLY, at.supply_low is not None or too_low_to_flush(facts)),
        (Verdict.FLUSH, at.step is Step.NEEDS_FLUSH),
        (Verdict.RE_READ, awaits or unread or lost or bool(unread_beside(facts))),
        (Verdict.INSPECT_SCREEN, implausibly_low(facts.history, facts.latest)),
        (Verdict.CHECK_SUPPLY, inlet_low(facts)),
        (Verdict.CHECK_FIELD, field_low(facts) and not inlet_low(facts) and not facts.over),
        (Verdict.NO_READING, _too_old(facts) and not resting),
        (Verdict.WATCH, near_limit(facts)),
    )
    return [verdict for verdict, holds in conditions if holds] or [Verdict.IN_RANGE]


def verdict_of(
    history: History,
    settings: Settings,
    as_of: dt.date | None,
    expected: Forecast | None = None,
) -> Verdict:
    """The verdict of `judge` alone, without its words and steps."""
    return _applicable_verdicts(facts_of(history, settings, as_of, expected))[0]


def judge(
    history: History,
    settings: Settings,
    as_of: dt.date | None,
    expected: Forecast | None = None,
    flushing_helps: bool = True,
) -> Judgement:
    """The verdict on one station, with its reason, its next steps and the rows it rests on.

    Pure: the same history, settings, as-of date and forecast give the same judgement.
    `flushing_helps` moves no verdict, only what is planned for a watched station.
    """
    facts = facts_of(history, settings, as_of, expected, flushing_helps)
    applicable = list(dict.fromkeys(_applicable_verdicts(facts)))
    verdict = applicable[0]
    p = facts.latest.p_over if facts.latest else None
    borderline = p is not None and BORDER <= p <= 1.0 - BORDER
    by = read_by(verdict, facts)
    gear_works = facts.standing.gear is Gear.TRUSTED and Verdict.CHECK_FLUSH_GEAR not in applicable
    steps = next_steps(verdict, facts, by, gear_works=gear_works)
    if borderline and verdict in (Verdict.HAND_CLEAN, Verdict.ESCALATE):
        steps = (_before_it(facts), *steps)
    if verdict is Verdict.HAND_CLEAN and flush_unseen(facts):
        steps = (safety.FLUSH_AND_SEE, *steps)
    if verdict in (Verdict.WATCH, *_BY_THE_DROP) and outlet_still(history) is not None:
        steps = (safety.TRY_STILL, *steps)
    if verdict is Verdict.WATCH and over_and_in_range(history):
        steps = (safety.LOG_OR_NAME, *steps)
    if verdict is Verdict.WATCH and alike_on_end(history) is not None:
        steps = (safety.TRY_ALIKE, *steps)
    if verdict is Verdict.WATCH and rules_not_read(facts):
        steps = (safety.CORRECT_RULES, *steps)
    if outlet_zero(facts) and verdict in _BY_THE_DROP:
        steps = (safety.TRY_OUTLET, *steps)
    beside = beside_in_range(verdict, facts)
    return Judgement(
        verdict=verdict,
        reason=f"{words.reason(verdict, facts)}{beside}",
        steps=steps,
        also=tuple(applicable[1:]),
        borderline=borderline,
        rows=_rows(facts),
        episodes=facts.standing.episodes,
        read_by=by,
        came_back_alone=came_back_alone(facts),
        doubts=beside.strip(),
    )


def _before_it(facts: Facts) -> safety.Step:
    """What comes before work that a borderline drop asks for: a reading that can tell."""
    station, latest = facts.history.station, facts.latest
    station = station if latest is None else station.on(latest.date)
    fixed = class_part(
        facts.drop, gauges=station.gauges, full_scale=station.full_scale,
        gauge_class=station.gauge_class,
    )  # fmt: skip
    if latest is None or fixed is None:
        return read_step(READ_ONCE_MORE)
    if reading_again_helps(facts.drop, station.limit, BORDER, fixed):
        return read_step(READ_ONCE_MORE)
    better = "a gauge of a better class"
    if station.gauges == "two gauges":
        better = "one gauge with a selector valve, or a gauge of a better class"
    return read_step(GAUGES_CANNOT_TELL.format(better=better))


def read_by(verdict: Verdict, facts: Facts) -> dt.date | None:
    """The day by which to read a station again; None where it rests or there is no as-of date.

    Where a reading is owed, the as-of date. Where work is pending, the day after: it is read
    right after the work. Else the end of the reading interval, or the early end of the forecast
    where that is sooner. Never before the as-of date.
    """
    if facts.as_of is None or verdict is Verdict.RESTING:
        return None
    if facts.latest is None or verdict in OWED:
        return facts.as_of
    due = facts.latest.date + dt.timedelta(days=int(facts.settings.interval))
    if facts.expected is not None:
        due = min(due, facts.expected.low or facts.expected.passed or due)
    if verdict not in (*CALM, Verdict.WATCH):
        due = min(due, facts.as_of + dt.timedelta(days=1))
    return max(facts.as_of, due)


def _rows(facts: Facts) -> tuple[tuple[str, int], ...]:
    newest = () if facts.newest is None else (("readings", facts.newest.row),)
    return tuple(dict.fromkeys((*facts.standing.rows, *newest)))
