"""What a gauge can tell: the uncertainty of a drop, and the excess that it can show.

Reading: a division is read to half a step, rectangular, u_r = division/(2*sqrt 3) for each of the
two readings. Class: +- class % of full scale, rectangular. Two gauges have two class errors. One
gauge with a selector has one offset, which cancels in the difference; a gain error is left, and
what does not cancel between two places of the scale (linearity, hysteresis), taken as the share
NOT_CANCELLING of the class error.

The class part is the same at every visit. It counts against the limit; in a difference between
drops that were read on the same gauges (falls, give-back, slopes, a rise over the clean drop)
only the reading part counts.

Sources: JCGM 100:2008 (GUM) 4.3.7, 5.2 and F.1.2.3 (section numbers from memory); EN 837-1:1996
for the meaning of the class, which bounds all of a gauge's errors together. How much of it
cancels is in no source: the share is this program's own choice.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

ROOT_3 = math.sqrt(3.0)
Z_95_ONE_SIDED = 1.6448536269514722
NOISE = 1e-6  # [m], arithmetic only
NOT_CANCELLING = 0.25  # share of one gauge's class error that a selector valve does not take out


def reading_part(division: float | None) -> float | None:
    """Standard uncertainty of a drop [m] from reading the scale twice; None without a division.

    `division` in [m].
    """
    return None if division is None else division / math.sqrt(6.0)


def class_part(
    drop: float, *, gauges: str | None, full_scale: float | None, gauge_class: float | None
) -> float | None:
    """Standard uncertainty of a drop [m] that is the same at every visit, or None if unknown.

    `drop` and `full_scale` in [m]; `gauge_class` in [% of full scale]. Two gauges need the full
    scale; for one gauge without it the part that does not cancel is left out.
    """
    if gauges is None or gauge_class is None:
        return None
    share = gauge_class / (100.0 * ROOT_3)
    if gauges == "one gauge":
        return share * math.hypot(drop, NOT_CANCELLING * (full_scale or 0.0))
    return None if full_scale is None else share * full_scale * math.sqrt(2.0)


def drop_uncertainty(
    drop: float,
    *,
    gauges: str | None,
    full_scale: float | None,
    gauge_class: float | None,
    division: float | None,
) -> float | None:
    """Standard uncertainty of a drop [m], or None where the gauge data do not allow one.

    `drop`, `full_scale` and `division` in [m]; `gauge_class` in [% of full scale]. All of
    arrangement, class and division are needed; two gauges need the full scale too.
    """
    read = reading_part(division)
    fixed = class_part(drop, gauges=gauges, full_scale=full_scale, gauge_class=gauge_class)
    return None if read is None or fixed is None else math.hypot(read, fixed)


def outlet_slack(
    *,
    gauges: str | None,
    full_scale: float | None,
    gauge_class: float | None,
    division: float | None,
) -> float:
    """How far an outlet may read above its inlet [m] on a clean filter, with 95 % confidence.

    From the division alone where the rest of the gauge data is missing; arithmetic noise only
    where that is missing too. Units as in `drop_uncertainty`.
    """
    u = drop_uncertainty(
        0.0, gauges=gauges, full_scale=full_scale, gauge_class=gauge_class, division=division
    )
    if u is None:
        u = (division or 0.0) / math.sqrt(6.0)
    return NOISE + Z_95_ONE_SIDED * u


def probability_over(drop: float, limit: float, u: float) -> float:
    """P(true drop > limit) = Phi((drop - limit)/u), normal with known u > 0.

    Source: JCGM 106:2012, clause 7 (section number from memory).
    """
    return 0.5 * math.erfc(-(drop - limit) / (u * math.sqrt(2.0)))


def reading_again_helps(drop: float, limit: float, border: float, fixed: float) -> bool:
    """Whether readings without end would tell if the true drop is over the limit.

    `fixed` [m]: the class part, which no further reading takes away. False where with it alone
    the probability of over lies between `border` and 1 - `border`.
    """
    if fixed <= 0:
        return True
    p = probability_over(drop, limit, fixed)
    return not border <= p <= 1.0 - border


def smallest_excess(limit: float, **gauge: float | str | None) -> float | None:
    """Smallest excess over the limit [m] that this gauge tells with 95 % confidence (one-sided)."""
    u = drop_uncertainty(limit, **gauge)  # type: ignore[arg-type]
    return None if u is None else Z_95_ONE_SIDED * u


@dataclass(frozen=True)
class GaugeFitness:
    """Smallest excess over the limit [m] told with 95 % confidence, now and with a better gauge.

    `now`: None without gauge data. `finer`: with half the division. `selector`: with one gauge
    of the same class and division behind a selector valve instead of two gauges; None where
    there is one already. `both`: with both, None likewise.
    """

    now: float | None
    finer: float | None
    selector: float | None
    both: float | None


def gauge_fitness(
    limit: float,
    *,
    gauges: str | None,
    full_scale: float | None,
    gauge_class: float | None,
    division: float | None,
) -> GaugeFitness:
    """What this gauge can tell at the limit [m], and what a better one would; units as above.

    A finer division is only worth what it says where the pointer really stands still enough.
    """

    def told(arrangement: str | None, step: float | None) -> float | None:
        return smallest_excess(
            limit,
            gauges=arrangement,
            full_scale=full_scale,
            gauge_class=gauge_class,
            division=step,
        )

    half = None if division is None else division / 2.0
    now = told(gauges, division)
    two = gauges == "two gauges" and now is not None
    return GaugeFitness(
        now,
        told(gauges, half),
        told("one gauge", division) if two else None,
        told("one gauge", half) if two else None,
    )


def gauge_advice(fitness: GaugeFitness, least: float, say: Callable[[float], str]) -> str:
    """What would change, in one sentence; `least` [m] is the excess that is wanted. '' unknown.

    `say` writes an excess [m] in the unit that is shown.
    """
    options = (
        ("half the division", fitness.finer),
        ("one gauge with a selector instead of two", fitness.selector),
        ("both", fitness.both),
    )
    known = [(what, value) for what, value in options if value is not None]
    if fitness.now is None or not known:
        return ""
    said = "; ".join(f"{what}: {say(value)}" for what, value in known)
    enough = next((what for what, value in known if value <= least + NOISE), "")
    verdict = "none of it is enough: take a better class or a finer division still"
    if enough:
        verdict = f"enough is {enough}"
    return f"Smallest excess told now {say(fitness.now)}; with {said}; {verdict}."
