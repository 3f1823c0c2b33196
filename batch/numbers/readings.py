"""What one reading says by itself: whether it can be used, how sure it is, and how likely over."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import takewhile
from statistics import median

from siltbook.batch.model import History, Reading, Station
from siltbook.checks.gauges import (
    NOISE,
    drop_uncertainty,
    outlet_slack,
    probability_over,
    reading_part,
)
from siltbook.checks.pressures import HIGH_FLOW

NO_INLET = "no pressure at the inlet: pump off, or a dead gauge"
LOWEST_FLOW_SHARE = 0.2  # of the reference flow, below which a drop says nothing
LOW_FLOW = "flow under a fifth of the usual flow"
FEW_FLOWS = 4  # readings with a flow, of which one slip cannot be the middle
ALIKE = 3  # latest readings with both sides alike, from which they are questioned
_BEYOND = 1e-6  # [m] over the full scale, arithmetic only


class Scale:
    """A station's gauge, with what is the same for every reading on it worked out once."""

    def __init__(self, station: Station) -> None:
        self.station = station
        top = station.full_scale
        self.top = math.inf if top is None else top + _BEYOND  # [m]
        self.slack = outlet_slack(  # [m]
            gauges=station.gauges,
            full_scale=station.full_scale,
            gauge_class=station.gauge_class,
            division=station.division,
        )
        self.least_flow = LOWEST_FLOW_SHARE * (station.reference_flow or 0.0)  # [m3/h]
        self.most_flow = HIGH_FLOW * (station.reference_flow or math.inf)  # [m3/h]
        self.read = reading_part(station.division)  # [m]
        self._known = self.uncertainty(0.0) is not None
        self._changed: dict[int, Scale] = {}

    def on(self, day: dt.date) -> Scale:
        """The gauge that the station was read on at a day."""
        last = next((g for g in reversed(self.station.changed) if g.since <= day), None)
        if last is None:
            return self
        if last.row not in self._changed:
            self._changed[last.row] = Scale(self.station.on(day))
        return self._changed[last.row]

    def tells(self, drop: float) -> tuple[float | None, float | None]:
        """Standard uncertainty of a drop [m] and the probability [-] that it is over the limit.

        None without gauge data.
        """
        u = self.uncertainty(drop) if self._known else None
        return u, (probability_over(drop, self.station.limit, u) if u else None)

    def uncertainty(self, drop: float) -> float | None:
        """Standard uncertainty of one drop on this gauge [m]; None without gauge data."""
        station = self.station
        return drop_uncertainty(
            drop,
            gauges=station.gauges,
            full_scale=station.full_scale,
            gauge_class=station.gauge_class,
            division=station.division,
        )


def reading_of(
    scale: Scale,
    row: int,
    date: dt.date,
    time: dt.time | None,
    inlet: float | None,
    outlet: float | None,
    flow: float | None,
    field: float | None,
    typed: float | None,
    occasion: object,
) -> Reading:
    """One `row` of readings as it counts.

    `inlet`, `outlet`, the pressure in the `field` and the drop as `typed` [m], `flow` [m3/h].
    Whatever is missing is None; `occasion` is a routine reading where it is no text.
    """
    if flow is not None and flow > scale.most_flow:
        flow = None  # the check flow-too-high asks
    if inlet is None and outlet is None and typed is not None:
        why = _why_drop_unusable(scale, typed, flow)
        drop: float | None = typed
    else:
        drop = None if inlet is None or outlet is None else inlet - outlet
        why = _why_unusable(scale, inlet, outlet, flow)
    u, p = (None, None) if drop is None or why else scale.tells(drop)
    return Reading(
        row=row,
        date=date,
        time=time,
        inlet=inlet,
        outlet=outlet,
        drop=drop,
        flow=flow,
        field=field if field is not None and 0.0 <= field <= scale.top else None,
        occasion=occasion if occasion and isinstance(occasion, str) else "routine",
        u_drop=u,
        p_over=p,
        why_unusable=why,
        u_read=None if u is None else scale.read,
        gauge_row=scale.station.gauge_row,
    )


def _why_drop_unusable(scale: Scale, drop: float, flow: float | None) -> str:
    """As `_why_unusable`, of a reading of which only the drop was written down."""
    if drop < 0 and drop < -scale.slack:
        return "drop below zero"
    if drop > scale.top:
        return "drop beyond the gauge's full scale"
    if drop <= 0 and not flow:
        # Without the pressures nobody can tell a clean filter from a stopped pump or a dead gauge.
        return "a drop of zero without inlet and outlet"
    return _why_flow_unusable(scale, flow)


def _why_unusable(
    scale: Scale, inlet: float | None, outlet: float | None, flow: float | None
) -> str:
    if inlet is None or outlet is None:
        return f"{'inlet' if inlet is None else 'outlet'} pressure missing or unreadable"
    if inlet < 0 or outlet < 0:
        return "negative pressure"
    if inlet == 0:
        return NO_INLET
    if inlet > scale.top or outlet > scale.top:
        return "pressure beyond the gauge's full scale"
    # A drop a little under zero is what an honest reading of a clean filter can give.
    if outlet > inlet and outlet - inlet > scale.slack:
        return "outlet above inlet"
    return _why_flow_unusable(scale, flow)


def _why_flow_unusable(scale: Scale, flow: float | None) -> str:
    if flow is None:
        return ""
    if flow <= 0:
        return "no flow"
    return "flow under a fifth of the reference flow" if flow < scale.least_flow else ""


def usual_flow(readings: Sequence[Reading]) -> float | None:
    """The median flow [m3/h] of FEW_FLOWS or more readings with one; None with fewer."""
    flows = [r.flow for r in readings if r.flow is not None and r.flow > 0]
    return float(median(flows)) if len(flows) >= FEW_FLOWS else None


def without_low_flows(readings: Sequence[Reading]) -> list[Reading]:
    """The readings of a station without a reference flow, those at next to no flow marked.

    As under a fifth of the reference flow, a drop under a fifth of the usual flow says nothing.
    """
    usual = usual_flow(readings)
    if usual is None:
        return list(readings)
    return [
        replace(r, why_unusable=LOW_FLOW, u_drop=None, p_over=None)
        if r.usable and r.flow is not None and r.flow < LOWEST_FLOW_SHARE * usual
        else r
        for r in readings
    ]


def latest_alike(history: History) -> list[Reading]:
    """The latest usable readings with inlet and outlet alike, newest first, up to one without."""
    usable = (reading for reading in reversed(history.readings) if reading.usable)
    return list(takewhile(lambda r: bool(r.inlet) and abs(r.drop or 0.0) <= NOISE, usable))
