"""What one drop says: at the reference flow, how sure, and whether it can be believed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from siltbook.batch.model import FLOW_EXPONENT
from siltbook.checks.gauges import reading_part

if TYPE_CHECKING:
    from siltbook.batch.model import History, Reading

HALF = 0.5  # of the reference flow, and of the clean drop; this program's own choice
LOW_SIGMAS = 2.0


def corrected_drop(
    drop: float, flow: float | None, reference_flow: float | None, exponent: float = FLOW_EXPONENT
) -> float:
    """The drop [m] that the filter would show at the reference flow: h (Q_ref / Q)^n.

    `drop` h [m]; `flow` and `reference_flow` [m3/h], or both in another unit; `exponent` n [-],
    above 0. Unchanged where a flow is missing or not positive; NaN where it is so small that the
    result is no number.
    """
    if not flow or not reference_flow or flow <= 0 or reference_flow <= 0:
        return drop
    try:
        return float(drop * (reference_flow / flow) ** exponent)
    except OverflowError:
        return math.nan


def u_at_reference(reading: Reading, corrected: float, *, same_gauge: bool = True) -> float | None:
    """Standard uncertainty [m] of a drop at the reference flow, in differences on one gauge.

    Where the other drop was read on another gauge, the class of both counts (`same_gauge` False).

    `corrected` [m]: the drop taken there. The correction magnifies the uncertainty as it does the
    drop. None without gauge data.
    """
    u = reading.u_between if same_gauge else reading.u_drop
    if u is None:
        return None
    return u * (corrected / reading.drop if reading.drop else 1.0)


def implausibly_low(history: History, reading: Reading | None) -> bool:
    """A drop too low for the flow: torn or missing element, or an open bypass.

    Needs the clean drop, the reference flow and a flow of at least half of it. The clean drop was
    read on the register's gauges: their class cancels, that of a changed gauge does not. Without
    gauge data only the halving counts.
    """
    station = history.station
    clean, reference = station.clean_drop, station.reference_flow
    if reading is None or reading.drop is None or not clean or not reference or not reading.flow:
        return False
    if reading.flow < HALF * reference:
        return False
    scale = float((reference / reading.flow) ** history.exponent)
    u = reading.u_drop if reading.gauge_row else reading.u_between
    if u is None:
        u = reading_part(station.on(reading.date).division)
    u = (u or 0.0) * scale
    return reading.drop * scale < HALF * clean and clean - reading.drop * scale > LOW_SIGMAS * u
