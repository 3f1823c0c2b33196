"""Cross-row rules about what was read: pressures and flows against the station's own data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from siltbook.checks.context import JoinedBook, Listed, finding, one_of
from siltbook.checks.findings import Finding
from siltbook.checks.gauges import outlet_slack
from siltbook.checks.labour import OPENING
from siltbook.checks.wording import AS_EMPTY, number, with_unit
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

if TYPE_CHECKING:
    import pandas as pd

    from siltbook.templates.book import Array

PRESSURES = ("inlet", "outlet", "field")
LOW_FLOW_SHARE = 0.2  # of the reference flow; below it a drop tells nothing
ENOUGH_FLOWS = 4  # for a usual flow, where no reference flow is registered
HIGH_FLOW = 5.0  # times the reference flow; above it a meter or the register is out
ENOUGH_READINGS = 5  # for a median that one slip cannot move
FAR = 5.0  # a value this many times over or under the median is no ordinary day
NEAR = 0.35  # how near the ratio must come to that of two units
NOISE = 1e-9  # [m], arithmetic only


def outlet_over_inlet(joined: JoinedBook) -> list[Finding]:
    """Outlet above inlet by more than the two readings can tell.

    What they can tell follows from the station's gauge data (`gauges.outlet_slack`), as for the
    ladder: what is found here is what it does not use. Readings with either side missing are
    left out.
    """
    place = joined.readings
    above = place.values["outlet"] - place.values["inlet"]
    found = []
    for row in place.hits(above > NOISE):
        if above[place.places[row]] <= _slack(place, row):
            continue
        inlet = f"inlet {joined.read(place, 'inlet', row)} in {place.table.cell('inlet', row)}"
        read = f"outlet {joined.read(place, 'outlet', row)}, {inlet}"
        accepted = "outlet at or below inlet"
        found.append(finding(place, "outlet-over-inlet", "outlet", row, read, accepted))
    return found


def _slack(place: Listed, row: int) -> float:
    def known(column: str) -> float | None:
        value = place.at(row, column)
        return value if isinstance(value, float) and value >= 0 else None

    gauges = place.at(row, "gauges")
    return outlet_slack(
        gauges=gauges if isinstance(gauges, str) else None,
        full_scale=known("full_scale"),
        gauge_class=known("gauge_class"),
        division=known("division"),
    )


def pressure_beyond_gauge(joined: JoinedBook) -> list[Finding]:
    """Inlet, outlet or field pressure over the full scale of the station's gauge.

    A pointer exactly at full scale is accepted; stations without a full scale are left out.
    """
    place = joined.readings
    scale = place.values["full_scale"]
    found = []
    for key in PRESSURES:
        for row in place.hits((scale > 0) & (place.values[key] > scale + 1e-6)):
            unit = str(place.at(row, "unit"))
            most = number(place.at(row, "full_scale") / metres_per(unit), 3)
            accepted = f"up to the gauge's full scale, {most} {unit}"
            accepted += f"; {AS_EMPTY}" if key == "field" else ""
            read = joined.read(place, key, row)
            found.append(finding(place, "pressure-beyond-gauge", key, row, read, accepted))
    return found


def pressure_other_unit(joined: JoinedBook) -> list[Finding]:
    """A pressure that fits the station's others only if it was typed in another unit.

    The base is the median of the same column at the same station, from 5 readings on. Found
    where the value is over five times, or under a fifth of, the median and the ratio comes
    within 35 % of that between the station's unit and another. Ordinary falls and rises of
    pressure stay within a factor of five; a zero says nothing about units.
    """
    place = joined.readings
    found = []
    for key in PRESSURES:
        values = place.values[key][place.there(key)]
        if not len(values) or not values.max() > FAR * values.min():
            continue  # no reading is far from any other
        frame = place.frame
        grouped = frame.groupby("key")[key]
        median = grouped.transform("median")
        enough = (grouped.transform("count") >= ENOUGH_READINGS) & (median > 0) & (frame[key] > 0)
        ratio = (frame[key] / median)[enough]
        far = ratio[(ratio > FAR) | (ratio < 1 / FAR)]
        likely = _likely_unit(far, frame["unit"].reindex(far.index))
        for row in map(int, likely.index):
            unit = str(frame.at[row, "unit"])
            usual = with_unit(number(float(median[row]) / metres_per(unit), 2), unit)
            read = f"{joined.read(place, key, row)}, which looks like {likely[row]}"
            accepted = f"values in {unit}; the usual {key} pressure here is {usual}"
            found.append(finding(place, "pressure-other-unit", key, row, read, accepted))
    return found


def _likely_unit(ratio: pd.Series, units: pd.Series) -> pd.Series:
    """The unit whose ratio to the row's own unit comes nearest, where one comes near."""
    import pandas as pd

    if ratio.empty:
        return pd.Series(dtype=object)
    own = units.map(metres_per).astype("float64")
    expected = pd.DataFrame({other: own / metres_per(other) for other in PRESSURE_UNITS})
    off = expected.rdiv(ratio, axis=0)
    off = off.where(off > 0)  # a quotient too small for a number is near to nothing
    distance = off.map(math.log).abs().where((off - 1).abs() <= NEAR)
    nearest: pd.Series = distance[distance.notna().any(axis=1)].idxmin(axis=1)
    return nearest


def flow_not_positive(joined: JoinedBook) -> list[Finding]:
    """A flow of zero or less; an empty cell is accepted."""
    place = joined.readings
    return [
        finding(place, "flow-not-positive", "flow", row, joined.read(place, "flow", row),
                "a flow above 0, or an empty cell")
        for row in place.hits(place.values["flow"] <= 0)
    ]  # fmt: skip


def flow_too_low(joined: JoinedBook) -> list[Finding]:
    """A flow above zero but under a fifth of the station's reference flow.

    Exactly a fifth is accepted. Without a reference flow the usual one stands in, the median of
    four readings or more with a flow; stations with neither are left out.
    """
    place = joined.readings
    flow, reference = place.values["flow"], _flow_to_expect(place)
    unit = joined.book.settings.flow_unit
    # An unknown unit cannot get here from the reader; the canonical one is shown then.
    shown = unit if unit in FLOW_UNITS else "m3/h"
    factor = cubic_metres_per_hour_per(shown)
    found = []
    for row in place.hits((flow > 0) & (flow < LOW_FLOW_SHARE * reference - NOISE)):
        at = place.places[row]
        accepted = f"{number(LOW_FLOW_SHARE * float(reference[at]) / factor, 3)} {shown} or more"
        read = joined.read(place, "flow", row)
        if math.isnan(place.at(row, "reference_flow")):
            read += f", while the usual flow is {number(float(reference[at]) / factor, 3)} {shown}"
        found.append(finding(place, "flow-too-low", "flow", row, read, accepted))
    return found


def _flow_to_expect(place: Listed) -> Array:
    """The reference flow of each reading's station [m3/h], else its usual one; NaN without both."""
    import numpy as np
    import pandas as pd

    flow, registered = place.values["flow"], place.there("reference_flow")
    reference = place.values["reference_flow"]
    if not (~registered & (flow > 0)).any():
        return reference
    known = pd.Series(np.where(flow > 0, flow, math.nan)).groupby(place.values["key"])
    usual = known.transform("median").where(known.transform("count") >= ENOUGH_FLOWS)
    return np.where(registered, reference, usual.to_numpy())


def flow_too_high(joined: JoinedBook) -> list[Finding]:
    """A flow over five times the station's reference flow: one of the two is a slip."""
    place = joined.readings
    most = HIGH_FLOW * place.values["reference_flow"]
    unit = joined.book.settings.flow_unit
    shown = unit if unit in FLOW_UNITS else "m3/h"
    found = []
    for row in place.hits((most > 0) & (place.values["flow"] > most + NOISE)):
        top = number(float(most[place.places[row]]) / cubic_metres_per_hour_per(shown), 3)
        accepted = f"up to {top} {shown}; {AS_EMPTY}"
        read = joined.read(place, "flow", row)
        found.append(finding(place, "flow-too-high", "flow", row, read, accepted))
    return found


def _while_closed(joined: JoinedBook, side: Array) -> list[int]:
    """Rows where a side reads zero, but for days on which the element was opened.

    On such a day a zero is what has to be seen, and no fault.
    """
    if not side.any():
        return []
    place, work = joined.readings, joined.work.values
    opened = one_of(work["work"], OPENING)
    days = set(zip(work["key"][opened].tolist(), work["day"][opened].tolist(), strict=True))
    asked = zip(place.values["key"][side].tolist(), place.values["day"][side].tolist(), strict=True)
    return [row for row, at in zip(place.hits(side), asked, strict=True) if at not in days]


def no_outlet_pressure(joined: JoinedBook) -> list[Finding]:
    """An outlet of zero below an inlet above zero: it is used, and the gauge is in doubt."""
    place = joined.readings
    values = place.values
    found = []
    for row in _while_closed(joined, (values["outlet"] == 0) & (values["inlet"] > 0)):
        read = f"{joined.read(place, 'outlet', row)} behind an inlet of "
        read += f"{joined.read(place, 'inlet', row)}: a dead gauge, a shut valve, or no way through"
        accepted = "an outlet above zero while the station irrigates"
        found.append(finding(place, "no-outlet-pressure", "outlet", row, read, accepted))
    return found


def no_inlet_pressure(joined: JoinedBook) -> list[Finding]:
    """An inlet of zero: no drop can be read off it, and so it is not used."""
    place = joined.readings
    found = []
    for row in _while_closed(joined, place.values["inlet"] == 0):
        read = f"{joined.read(place, 'inlet', row)}: pump off, or a dead gauge; not used"
        accepted = "a reading taken while the pump runs"
        found.append(finding(place, "no-inlet-pressure", "inlet", row, read, accepted))
    return found


def zero_drop_flowing(joined: JoinedBook) -> list[Finding]:
    """Inlet and outlet exactly the same while a flow above zero was read.

    Without a flow nobody knows whether water ran, and there is no finding.
    """
    place = joined.readings
    values = place.values
    found = []
    for row in place.hits((values["inlet"] == values["outlet"]) & (values["flow"] > 0)):
        inlet, flow = (joined.read(place, key, row) for key in ("inlet", "flow"))
        read = f"{inlet} on both sides at a flow of {flow}"
        accepted = "an outlet below the inlet while water flows"
        found.append(finding(place, "zero-drop-flowing", "outlet", row, read, accepted))
    return found


RULES = (
    outlet_over_inlet,
    pressure_beyond_gauge,
    pressure_other_unit,
    flow_not_positive,
    flow_too_low,
    flow_too_high,
    no_inlet_pressure,
    no_outlet_pressure,
    zero_drop_flowing,
)
