"""Last digits: are pressures rounder than the gauge's division makes them?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siltbook.batch.audit.chance import FALSE_ALARMS, binomial_at_least, goodness_of_fit
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.tracks import Floats, Track
from siltbook.checks.wording import number
from siltbook.templates.book import Book
from siltbook.templates.units import metres_per

EXPECTED = 5  # readings expected in each class, as Pearson's test asks (common practice)
ON_DIVISION = 0.9  # share of readings that must stand on the register's division
TURNS = 2.0  # turns of the digit that 8 in 10 readings must span: else digits are not even


@dataclass(frozen=True)
class Digits:
    """Last digits of one series: how many are round, of how many, and the chance of each.

    `p` is the exact binomial chance of so many round ones or more; `fit` Pearson's p-value over
    all digits, None where too few are expected in each.
    """

    round: int
    of: int
    share: float
    p: float
    fit: float | None


def classes(division: float) -> int:
    """How many last digits a division allows up to the next round number; 0 for odd divisions.

    0.01, 0.1 or 1: five (ends in 0 or 5 are round); 0.02 or 0.2: five (the next decade is
    round); 0.05 or 0.5: two; 0.25 and 2.5: two.
    """
    if not division > 0:
        return 0
    lead = round(division / 10 ** math.floor(math.log10(division) + 1e-9), 6)
    return {1.0: 5, 2.0: 5, 5.0: 2, 2.5: 2}.get(lead, 0)


def last_digits(values: Floats, division: float) -> Digits | str:
    """The test on a series in the gauge's own unit; a text says why it cannot be made.

    A reading equal to the one before is left out: staying on a value is no new choice.
    """
    count = classes(division)
    if not count:
        return "no division that has round numbers"
    known = values[~np.isnan(values)]
    steps = known / division
    whole = np.round(steps)
    if not len(known) or np.mean(np.abs(steps - whole) < 0.02) < ON_DIVISION:
        return "read finer than the division in the register"
    fresh = whole[np.concatenate([[True], np.diff(whole) != 0])]
    share = 1.0 / count
    need = math.ceil(EXPECTED / share)
    if len(fresh) < need:
        return f"{len(fresh)} readings that differ; {need} needed"
    low, high = np.quantile(fresh, [0.1, 0.9])
    if high - low < TURNS * count:
        return "readings too close together for even digits"
    return _tested(fresh, count)


def _tested(fresh: Floats, count: int) -> Digits:
    found = [int(n) for n in np.bincount((fresh % count).astype(int), minlength=count)]
    share = 1.0 / count
    p = binomial_at_least(found[0], len(fresh), share)
    return Digits(found[0], len(fresh), share, p, goodness_of_fit(found, [share] * count)[1])


def round_digits(book: Book, every: Sequence[Track]) -> RuleResult:
    """The rule 'round-digits': an exact one-sided binomial test per station and side."""
    rule = RULES["round-digits"]
    tested: list[tuple[Track, str, Digits]] = []
    for track in every:
        if not track.station.division or track.station.changed:
            continue  # of a gauge that was changed, readings on two divisions would be mixed
        unit = metres_per(track.station.unit)
        for side, values in (("inlet", track.inlet), ("outlet", track.outlet)):
            digits = last_digits(values / unit, round(track.division / unit, 9))
            if isinstance(digits, Digits):
                tested.append((track, side, digits))
    if not tested:
        return RuleResult(rule, State.CANNOT, "No station has enough readings that differ enough.")
    places: list[Place] = []
    for track, side, digits in tested:
        p = min(1.0, digits.p * len(tested))
        if p <= FALSE_ALARMS:
            places.append(_place(book, track, side, digits, p))
    lowest = min(1.0, min(d.p for *_, d in tested) * len(tested))
    quiet = f"Last digits of {len(tested)} series are no rounder than their divisions make them."
    return looked(rule, places, quiet, p=lowest, many="series")


def _place(book: Book, track: Track, side: str, digits: Digits, p: float) -> Place:
    name, unit = track.station.name, track.station.unit
    division = number(track.division / metres_per(unit), 4)
    said = f"{name}: {digits.round} of {digits.of} {side} readings are round where"
    said += f" {100 * digits.share:.0f} % would be on a division of {division} {unit}"
    if digits.fit is not None:
        said += f" (all digits even: p = {digits.fit:.2g})"
    return Place(book.readings.sheet, book.readings.cell(side, track.rows[0]), said, name, p)
