"""What a gauge can tell: the uncertainty of a drop, and the excess that it can show.

Reading: a division is read to half a step, rectangular, u_r = division/(2*sqrt 3) for each of the
two readings. Class: +- class % of full scale, rectangular. One gauge with a selector has one
offset that cancels in the difference and leaves a gain error; two gauges have two class errors.
Sources: JCGM 100:2008 (GUM) 4.3.7, 5.2 and F.1.2.3 (section numbers from memory); EN 837-1:1996
for the meaning of the class.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ROOT_3 = math.sqrt(3.0)
Z_95_ONE_SIDED = 1.6448536269514722
NOISE = 1e-6  # [m], arithmetic only


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
    if gauges is None or gauge_class is None or division is None:
        return None
    reading = 2.0 * (division / (2.0 * ROOT_3)) ** 2
    if gauges == "one gauge":
        return math.sqrt(reading + (gauge_class * drop / (100.0 * ROOT_3)) ** 2)
    if full_scale is None:
        return None
    return math.sqrt(reading + 2.0 * (gauge_class * full_scale / (100.0 * ROOT_3)) ** 2)


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


def gauge_advice(fitness: GaugeFitness, least: float) -> str:
    """What would change, in one sentence; `least` [m] is the excess that is wanted. '' unknown."""
    options = (
        ("half the division", fitness.finer),
        ("one gauge with a selector instead of two", fitness.selector),
        ("both", fitness.both),
    )
    known = [(what, value) for what, value in options if value is not None]
    if fitness.now is None or not known:
        return ""
    said = "; ".join(f"{what}: {value:.2f} m" for what, value in known)
    enough = next((what for what, value in known if value <= least + NOISE), "")
    verdict = "none of it is enough: take a better class or a finer division still"
    if enough:
        verdict = f"enough is {enough}"
    return f"Smallest excess told now {fitness.now:.2f} m; with {said}; {verdict}."
