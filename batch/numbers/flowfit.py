"""The exponent n of h ~ Q^n, from a station's own clean readings at different flows.

A drop grows with the flow: with Q^1 where the water creeps through the element (laminar), with
Q^2 where it tumbles (turbulent). A bed of grains lies between (Ergun 1952, Chem. Eng. Prog.
48, 89-94: a term in Q and a term in Q^2). Unless a station's readings fix n, 2 is used.

A reading is clean where it was taken within CLEAN_DAYS after a hand cleaning, a new screen or a
complete flush, was not over the limit, and has a flow and a drop above zero.

ln h = a + n ln Q + b t + c (after a flush), least squares: t [days] takes up a clean drop that
creeps over the season, c what flushes leave behind where both kinds of reset occur. The standard
error of n has a floor from the gauge's reading error; two gauges add their lasting offset, which
moves n by n * offset / h; and a flow meter that scatters pulls n down by about n * (variance of
its error) / (variance of the flows), both of ln Q, for which METER_SCATTER is allowed.

Limits: a meter that scatters more pulls n down further, by about a tenth at 5 %. A meter that is
wrong by a fixed share does no harm.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from siltbook.batch.model import FLOW_EXPONENT, FlowFit, Reading, Station, Work
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import is_reset, moment
from siltbook.checks.gauges import drop_uncertainty

CLEAN_DAYS = 2  # [days] after the reset, by the calendar
LEAST_READINGS = 8
LEAST_SPREAD = 1.5  # largest over smallest flow of the clean readings
LARGEST_ERROR = 0.15  # standard error of n
LOWEST, HIGHEST = 1.0, 2.2
METER_SCATTER = 0.03  # standard deviation of one flow reading, as a share; an assumption
_Z = 1.2815515655446004  # 80 % of a normal distribution lie within so many deviations


@dataclass(frozen=True)
class CleanReading:
    """One clean reading: moment [days], flow [m3/h], drop [m], whether a flush was before, and
    the row of the gauge that it was read on (0 for the register's)."""

    at: float
    flow: float
    drop: float
    after_flush: bool
    gauge_row: int = 0


def clean_readings(
    station: Station, entries: Sequence[Reading | Work], flush_cycles: int, flush_inlet: float
) -> tuple[CleanReading, ...]:
    """The clean readings of one station, in order.

    `entries` in the ladder's order; `flush_cycles` and `flush_inlet` [m] make a flush complete.
    """
    found: list[CleanReading] = []
    reset: Work | None = None
    for entry in entries:
        if isinstance(entry, Work):
            reset = entry if is_reset(entry, flush_cycles, flush_inlet) else reset
            continue
        if reset is None or (entry.date - reset.date).days > CLEAN_DAYS or not entry.usable:
            continue
        if entry.flow and entry.drop is not None and 0 < entry.drop <= station.limit:
            at, flushed = moment(entry.date, entry.time), reset.work == "flush"
            found.append(CleanReading(at, entry.flow, entry.drop, flushed, entry.gauge_row))
    return tuple(found)


def fit_exponent(
    station: Station, entries: Sequence[Reading | Work], flush_cycles: int, flush_inlet: float
) -> FlowFit:
    """The exponent [-] of one station with its evidence; 2 where that does not fix it better.

    `flush_cycles` [-] and `flush_inlet` [m] as in `clean_readings`.
    """
    station, clean = _on_one_gauge(
        station, clean_readings(station, entries, flush_cycles, flush_inlet)
    )
    flows = [r.flow for r in clean]
    low, high = (min(flows), max(flows)) if flows else (None, None)
    seen = FlowFit(readings=len(clean), flow_low=low, flow_high=high)
    why = _too_little(station, clean)
    if why:
        return replace(seen, why_default=why)
    found = _regression(clean, _reading_error(station) or 0.0)
    if found is None:
        return replace(seen, why_default="the flow changed only along with the season or the work")
    n, random, freedom, spread = found
    meter = METER_SCATTER**2 / spread
    error = math.hypot(random, _offset_share(station, clean) * n, meter * n)
    wide = error * t_quantile_80(freedom)
    why = _too_loose(n, error, wide)
    used = FLOW_EXPONENT if why else min(max(n, LOWEST), HIGHEST)
    return replace(seen, n=used, estimate=n, low=n - wide, high=n + wide, why_default=why)


def _on_one_gauge(
    station: Station, clean: Sequence[CleanReading]
) -> tuple[Station, tuple[CleanReading, ...]]:
    """The clean readings on the gauge that has most of them, and the station with that gauge.

    Two gauges differ by their classes; a step between them would pass for one by the flow.
    """
    counts = Counter(r.gauge_row for r in clean)
    row = max(counts, key=lambda gauge: (counts[gauge], gauge), default=0)
    on = next((station.on(gauge.since) for gauge in station.changed if gauge.row == row), station)
    return on, tuple(r for r in clean if r.gauge_row == row)


def _too_loose(n: float, error: float, wide: float) -> str:
    """Why an estimate is not used; empty where it is."""
    if error > LARGEST_ERROR:
        return f"standard error {error:.2f}, at most {LARGEST_ERROR:g} is asked"
    if n + wide < LOWEST or n - wide > HIGHEST:
        return f"{n:.2f} lies outside {LOWEST:g} to {HIGHEST:g}: more than the flow moved the drop"
    return ""


def _too_little(station: Station, clean: Sequence[CleanReading]) -> str:
    """Why the clean readings cannot fix an exponent; empty where they may."""
    if not station.reference_flow:
        return "no reference flow"
    if len(clean) < LEAST_READINGS:
        counted = f"{len(clean)} clean reading{'' if len(clean) == 1 else 's'} with a flow"
        return f"{counted}, {LEAST_READINGS} are needed"
    flows = [r.flow for r in clean]
    spread = max(flows) / min(flows)
    if spread < LEAST_SPREAD:
        return f"largest flow only {spread:.2f} times the smallest, {LEAST_SPREAD:g} is needed"
    if _reading_error(station) is None or _offset(station) is None:
        return "the gauge data do not say how far reading and offset could move it"
    return ""


def _reading_error(station: Station) -> float | None:
    """Standard uncertainty [m] of a drop from reading the division alone."""
    return drop_uncertainty(
        0.0, gauges="one gauge", full_scale=None, gauge_class=0.0, division=station.division
    )


def _offset(station: Station) -> float | None:
    """Standard uncertainty [m] of the offset that stays in every drop; 0 with a selector."""
    if station.gauges == "one gauge":
        return 0.0  # common to inlet and outlet; a gain error leaves n as it is
    return drop_uncertainty(
        0.0,
        gauges=station.gauges,
        full_scale=station.full_scale,
        gauge_class=station.gauge_class,
        division=0.0,
    )


def _offset_share(station: Station, clean: Sequence[CleanReading]) -> float:
    return (_offset(station) or 0.0) / float(np.median([r.drop for r in clean]))


def _regression(clean: Sequence[CleanReading], u: float) -> tuple[float, float, int, float] | None:
    """n, its standard error, the degrees of freedom, and the spread of flow that it rests on.

    The error is that of scatter, or of reading (`u` [m]) where that is larger; the spread is the
    variance of ln Q that neither the season nor the kind of work explains. None where the flow
    cannot be told apart from these.
    """
    log_flow = np.log([r.flow for r in clean])
    at = np.array([r.at for r in clean])
    terms: list[Floats] = [np.ones(len(clean)), log_flow - log_flow.mean()]
    if np.ptp(at) > 0:
        terms.append((at - at.mean()) / np.ptp(at))
    flushed = np.array([float(r.after_flush) for r in clean])
    if 0 < flushed.sum() < len(clean):
        terms.append(flushed - flushed.mean())
    x, y = np.column_stack(terms), np.log([r.drop for r in clean])
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ x.T @ y
    rest = y - x @ beta
    freedom = len(clean) - x.shape[1]
    reading = np.mean([(u / r.drop) ** 2 for r in clean])
    variance = max(float(rest @ rest) / freedom, float(reading))
    spread = 1.0 / (len(clean) * float(inverse[1, 1]))
    return float(beta[1]), math.sqrt(variance * inverse[1, 1]), freedom, spread


def t_quantile_80(freedom: int) -> float:
    """Half width of the central 80 % of Student's t, in standard errors; `freedom` [-] 2 or more.

    Expansion in 1/freedom (Abramowitz and Stegun 1964, 26.7.5, from memory); within 0.5 % of the
    exact value from 3 on.
    """
    z, v = _Z, float(freedom)
    first = (z**3 + z) / (4 * v)
    second = (5 * z**5 + 16 * z**3 + 3 * z) / (96 * v**2)
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * v**3)
    return z + first + second + third
