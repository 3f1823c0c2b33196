"""Pressures as somebody reads them at the station: in its unit, to what its gauge tells."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from siltbook.batch.assess import assess
from siltbook.batch.model import Reading, Station
from siltbook.batch.results import Assessment
from siltbook.templates.shown import IN_METRES, Shown, least_number, shown_in
from siltbook.templates.units import metres_per

BLANK = "–"


@dataclass(frozen=True)
class Gauge:
    """A station's unit and the digits that its gauge can tell; `look`: how dates are shown."""

    unit: str
    factor: float  # [m per unit]
    digits: int
    look: Shown = IN_METRES

    def number(self, metres: float | None) -> str:
        """A pressure or drop [m] in the station's unit, without the unit."""
        if metres is None or not math.isfinite(metres):
            return BLANK
        return f"{metres / self.factor:.{self.digits}f}"

    def shown(self, metres: float | None) -> str:
        """The same with the unit."""
        number = self.number(metres)
        return number if number == BLANK else f"{number} {self.unit}"

    def at_least(self, metres: float) -> str:
        """The least pressure [m] that is asked for, with the unit: never less than that."""
        return f"{least_number(metres / self.factor, self.digits)} {self.unit}"

    def limit(self, metres: float) -> str:
        """A limit [m] with the unit; as it was typed first, where that was in metres."""
        return shown_in(self.unit).stated(metres, self.shown(metres))


def gauge_of(station: Station, look: Shown = IN_METRES) -> Gauge:
    """How pressures of this station are written: as on the gauge that it has now.

    `look` says how dates are shown.
    """
    station = station.now
    factor = metres_per(station.unit)
    digits = shown_in(station.unit).digits.level  # where no division of the gauge is known
    if station.division:
        # As many as the division has: 0.05 bar gives two, 2 kPa none.
        step = station.division / factor
        digits = next((n for n in range(4) if abs(step * 10**n - round(step * 10**n)) < 1e-6), 3)
    return Gauge(station.unit, factor, digits, look)


def on_gauges(assessment: Assessment) -> Assessment:
    """The assessment with every station's reason in the unit of its own gauge.

    Where that is not the unit that the farm's results are shown in, the book is judged again with
    it shown, which changes words only: whoever stands at the gauge need not convert.
    """
    book, shown = assessment.book, assessment.book.settings.shown.unit
    said = {shown: {r.station.name: r.judgement.reason for r in assessment.stations}}
    for unit in {r.station.now.unit for r in assessment.stations} - {shown}:
        other = replace(book, settings=replace(book.settings, show_pressures=unit))
        again = assess(other, as_of=assessment.as_of, findings=assessment.findings)
        said[unit] = {r.station.name: r.judgement.reason for r in again.stations}
    stations = tuple(
        replace(r, judgement=replace(r.judgement, reason=said[r.station.now.unit][r.station.name]))
        for r in assessment.stations
    )
    return replace(assessment, stations=stations)


def over_at(station: Station, latest: Reading | None) -> str:
    """The outlet under which the drop is over the limit, at the inlet that was read last.

    In steps that the gauge shows: every lower one is over the limit, and this one is not.
    """
    if latest is None or latest.inlet is None:
        return ""
    gauge = gauge_of(station)
    step = 10.0**-gauge.digits
    least = (latest.inlet - station.limit) / gauge.factor
    shown = math.ceil(least / step - 1e-9) * step
    if shown <= 0:
        return ""
    return (
        f"over: outlet under {shown:.{gauge.digits}f} {gauge.unit} at an inlet of "
        f"{gauge.shown(latest.inlet)}"
    )
