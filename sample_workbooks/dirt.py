"""The physical model behind the sample workbooks: how dirt takes pressure away.

At the reference flow the drop [m of water] of an element, t days after its last reset, is

    h_ref(t) = clean + base + steady * t + rising * t**2

`clean` is the drop of a freshly cleaned element, `base` the dirt that the last reset left
behind, `steady` the even part of fouling [m/day] and `rising` the accelerating part [m/day2].
At another flow the drop is h_ref * (Q / Q_ref)**exponent; the exponent is 2 unless said
otherwise. A torn element lets part of the water past: its drop is the intact one times `torn`
(1 = intact).

A flush gives back `flush_share` of the excess over clean, a hand cleaning `cleaning_share`:
base_after = (1 - share) * (h_ref - clean), and t starts again at 0.

Inlet pressure and flow are drawn on the divisions of gauge and meter; the outlet is read to
the nearest division, so a drop from two readings is within half a division of the model.
Everything here is invented; no measurement of a real filter went into it.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Dirt:
    """True parameters of one station: [m], [m/day], [m/day2], shares 0 to 1, flow [m3/h], [-]."""

    clean: float
    steady: float
    rising: float
    reference_flow: float
    flush_share: float = 0.75
    cleaning_share: float = 0.95
    exponent: float = 2.0


@dataclass(frozen=True)
class Reset:
    """The state of an element from `day` on: dirt left behind [m] and intact share (1 = whole)."""

    day: dt.date
    base: float
    torn: float = 1.0


def excess(dirt: Dirt, reset: Reset, day: dt.date) -> float:
    """Drop over clean at the reference flow [m] on `day`, which is not before the reset."""
    age = (day - reset.day).days
    return reset.base + dirt.steady * age + dirt.rising * age**2


def true_drop(dirt: Dirt, reset: Reset, day: dt.date, flow: float) -> float:
    """The drop over the element [m] on `day` at `flow` [m3/h]."""
    intact = dirt.clean + excess(dirt, reset, day)
    return intact * (flow / dirt.reference_flow) ** dirt.exponent * reset.torn


def give_back(dirt: Dirt, reset: Reset, day: dt.date, share: float) -> Reset:
    """The element after a flush or a cleaning on `day` that took away `share` of the dirt."""
    return Reset(day, (1.0 - share) * excess(dirt, reset, day), reset.torn)


def on_division(value: float, division: float) -> float:
    """`value` read to the nearest division, halves upwards; both in the same unit."""
    return round(math.floor(value / division + 0.5) * division, 6)
