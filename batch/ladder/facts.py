"""What the conditions of a verdict look at: where a station stands, and its latest readings."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from siltbook.batch.ladder.replay import Standing, climb
from siltbook.batch.model import History, Reading, is_over
from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.history import uncertainty
from siltbook.checks.gauges import NOISE
from siltbook.templates.book import Settings

HALF = 0.5
LEAK_FLOW = 1.15  # times the reference flow


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
