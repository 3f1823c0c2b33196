"""From where a station stands to its verdict: the first condition that holds, and what else holds.

Conditions are tried in the order of the method page (docs/method.md); everything that holds
besides the verdict is listed under 'also'.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from batch.ladder import words
from batch.ladder.climb import RISE_TO_WATCH, Gear, Standing, Step, climb, is_over
from batch.ladder.history import uncertainty
from batch.model import History, Judgement, Reading, Verdict
from batch.numbers.forecast import Forecast
from batch.numbers.outlook import soon
from checks.gauges import NOISE
from templates.book import Settings

HALF = 0.5
LEAK_FLOW = 1.15  # times the reference flow
BORDER = 0.05  # probability on either side


@dataclass(frozen=True)
class Facts:
    """What the conditions look at: the standing and the latest readings of one station."""

    history: History
    settings: Settings
    as_of: dt.date | None
    standing: Standing
    latest: Reading | None  # latest usable
    newest: Reading | None  # latest of all, usable or not
    expected: Forecast | None = None
    flushing_helps: bool = True

    @property
    def over(self) -> bool:
        """Whether the latest usable drop is over the limit."""
        return self.latest is not None and is_over(self.drop, self.history.station.limit)

    @property
    def drop(self) -> float:
        """Latest usable drop [m]; NaN without one."""
        return self.latest.drop if self.latest and self.latest.drop is not None else float("nan")

    @property
    def days_since(self) -> int | None:
        """Days from the latest usable reading to the as-of date."""
        if self.latest is None or self.as_of is None:
            return None
        return (self.as_of - self.latest.date).days


def facts_of(
    history: History,
    settings: Settings,
    as_of: dt.date | None,
    expected: Forecast | None = None,
    flushing_helps: bool = True,
) -> Facts:
    """Scan a history and pick out its latest readings."""
    readings = history.readings
    standing = climb(history, flush_cycles=settings.flush_cycles, flush_inlet=settings.flush_inlet)
    return Facts(
        history,
        settings,
        as_of,
        standing,
        history.latest,
        readings[-1] if readings else None,
        expected,
        flushing_helps,
    )


def implausibly_low(facts: Facts) -> bool:
    """A drop too low for the flow: torn or missing element, or an open bypass.

    Needs the clean drop, the reference flow and a flow of at least half of it. Without gauge
    data the uncertainty is unknown and only the halving counts.
    """
    station, latest = facts.history.station, facts.latest
    clean, reference = station.clean_drop, station.reference_flow
    if latest is None or latest.drop is None or not clean or not reference or not latest.flow:
        return False
    if latest.flow < HALF * reference:
        return False
    scale = float((reference / latest.flow) ** facts.history.exponent)
    u = uncertainty(station, latest.drop) or 0.0
    at_reference = latest.drop * scale
    return at_reference < HALF * clean and clean - at_reference > 2.0 * u * scale


def _under(value: float | None, least: float | None) -> bool:
    return value is not None and least is not None and value < least - NOISE


def inlet_low(facts: Facts) -> bool:
    """Latest inlet under the station's lowest working inlet."""
    latest = facts.latest
    return latest is not None and _under(latest.inlet, facts.history.station.working_inlet)


def field_low(facts: Facts) -> bool:
    """Latest field pressure under the wanted one."""
    latest = facts.latest
    return latest is not None and _under(latest.field, facts.history.station.wanted_field)


def leak_suspected(facts: Facts) -> bool:
    """Flow well above the reference together with a low inlet or field pressure."""
    latest, reference = facts.latest, facts.history.station.reference_flow
    if latest is None or not latest.flow or not reference:
        return False
    return latest.flow > LEAK_FLOW * reference and (inlet_low(facts) or field_low(facts))


def _too_old(facts: Facts) -> bool:
    days = facts.days_since
    return days is None or days > facts.settings.interval


def near_limit(facts: Facts) -> bool:
    """In range, but at the watch share, risen far over the clean drop, or soon at the limit."""
    if facts.latest is None or facts.over:
        return False
    station = facts.history.station
    if facts.drop >= facts.settings.watch_share * station.limit - NOISE:
        return True
    if station.clean_drop is not None and facts.drop - station.clean_drop > RISE_TO_WATCH:
        return True
    return facts.expected is not None and soon(facts.expected, facts.settings, facts.as_of)


def _holding(facts: Facts) -> list[Verdict]:
    """Every verdict whose condition holds, in order; a verdict with two conditions may repeat."""
    at, resting = facts.standing, not facts.history.station.in_service
    awaits = at.step in (Step.AWAITS_FLUSH_READING, Step.AWAITS_CLEANING_READING)
    unread = facts.newest is not None and not facts.newest.usable
    controller = at.gear is Gear.CONTROLLER_SUSPECT
    conditions = (
        (Verdict.RESTING, resting),
        (Verdict.ESCALATE, controller or at.step is Step.NEEDS_ESCALATION),
        (Verdict.HAND_CLEAN, at.step is Step.NEEDS_CLEANING),
        (Verdict.CHECK_FLUSH_GEAR, at.gear is Gear.SOLENOID_SUSPECT),
        (Verdict.FLUSH, at.gear is Gear.AWAITS_PROOF),
        (Verdict.CHECK_SUPPLY, at.supply_low is not None),
        (Verdict.FLUSH, at.step is Step.NEEDS_FLUSH),
        (Verdict.RE_READ, awaits or unread),
        (Verdict.INSPECT_SCREEN, implausibly_low(facts)),
        (Verdict.CHECK_SUPPLY, inlet_low(facts)),
        (Verdict.CHECK_FIELD, field_low(facts) and not inlet_low(facts) and not facts.over),
        (Verdict.NO_READING, _too_old(facts) and not resting),
        (Verdict.WATCH, near_limit(facts)),
    )
    return [verdict for verdict, holds in conditions if holds] or [Verdict.IN_RANGE]


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
    holding = list(dict.fromkeys(_holding(facts)))
    verdict = holding[0]
    p = facts.latest.p_over if facts.latest else None
    borderline = p is not None and BORDER <= p <= 1.0 - BORDER
    steps = words.steps(verdict, facts)
    if borderline and verdict in (Verdict.HAND_CLEAN, Verdict.ESCALATE):
        steps = (words.READ_ONCE_MORE, *steps)
    return Judgement(
        verdict=verdict,
        reason=words.reason(verdict, facts),
        steps=steps,
        also=tuple(holding[1:]),
        borderline=borderline,
        rows=_rows(facts),
        episodes=facts.standing.episodes,
    )


def _rows(facts: Facts) -> tuple[tuple[str, int], ...]:
    newest = () if facts.newest is None else (("readings", facts.newest.row),)
    return tuple(dict.fromkeys((*facts.standing.rows, *newest)))
