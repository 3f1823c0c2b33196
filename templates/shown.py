"""Pressures as a farm wants to read them: `Shown` turns metres of water into its unit.

Inside, everything stays in metres of water; what is said here decides nothing. Words ask for a
drop, a level (inlet, outlet, field pressure), a limit or a rate and get number and unit; cells get
the value and a number format.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from siltbook.templates.units import metres_per

METRE = "m"
APART = 1e-6  # [m]; two drops that are further apart than this never print alike
MORE = 3  # digits that are added at most, so that they do not


class Digits(NamedTuple):
    """Digits behind the point: of drops, of levels, of what a gauge can tell, of rates."""

    drop: int
    level: int
    fine: int
    weekly: int
    daily: int


_METRES = Digits(2, 1, 2, 2, 3)


def _digits(per: float) -> Digits:
    """Digits for a unit of so many metres [m]: such that a step is about a tenth of a metre.

    Bar and kgf/cm2 two, psi one, kPa none: no gauge division of 0.05 bar tells a drop to 0.01 m
    (common practice, no published source).
    """
    drop = max(0, math.ceil(math.log10(per) + 0.9))
    return Digits(drop, drop, drop + 1, drop + 1, drop + 2)


@dataclass(frozen=True)
class Shown:
    """The unit in which a farm's pressures are shown.

    `factor` [unit per m of water]; 1 where they are shown in metres. Every method takes metres of
    water [m] and gives text with the unit, but for `value` and `cells`.
    """

    unit: str = METRE
    factor: float = 1.0
    digits: Digits = _METRES

    @property
    def metres(self) -> bool:
        """Whether pressures are shown as they are kept."""
        return self.unit == METRE

    def value(self, metres: float) -> float:
        """A pressure or a rate as a number in the unit."""
        return metres if self.metres else metres * self.factor

    def number(self, metres: float, digits: int | None = None) -> str:
        """A drop without its unit."""
        return f"{self.value(metres):.{self.digits.drop if digits is None else digits}f}"

    def drop(self, metres: float, digits: int | None = None) -> str:
        """A drop, or a difference of drops."""
        return f"{self.number(metres, digits)} {self.unit}"

    def level(self, metres: float) -> str:
        """An inlet, an outlet or a field pressure."""
        return self.drop(metres, self.digits.level)

    def coarse(self, metres: float) -> str:
        """A drop about which no more is known than its first digits."""
        return self.drop(metres, 1 if self.metres else self.digits.drop)

    def fine(self, metres: float) -> str:
        """What a gauge can tell: smaller than any drop that is read on it."""
        return self.drop(metres, self.digits.fine)

    def daily(self, metres: float, digits: int | None = None) -> str:
        """A rate [m/day]."""
        return f"{self.number(metres, self.digits.daily if digits is None else digits)} {self.unit}"

    def exact(self, metres: float) -> str:
        """A limit to four digits, where it is said once how it was converted."""
        return f"{self.value(metres):.4g} {self.unit}"

    def limit(self, metres: float) -> str:
        """A limit: with all the digits that somebody typed in this unit, else as a drop."""
        return self.drop(metres, self._typed(metres))

    def _typed(self, metres: float) -> int:
        value, least = self.value(metres), self.digits.drop
        for digits in range(least, least + MORE + 1):
            if abs(round(value, digits) - value) < 1e-9 * max(1.0, abs(value)):
                return digits
        return least

    def apart(self, one: float, other: float) -> int:
        """Digits with which two drops that differ do not print alike."""
        least = self.digits.drop
        if not abs(one - other) > APART:
            return least
        for digits in range(least, least + MORE):
            if self.number(one, digits) != self.number(other, digits):
                return digits
        return least + MORE

    def header(self, unit: str) -> str:
        """A column's unit ('m', 'm/day', 'm per week') in this unit; any other as it is."""
        if not self.metres and (unit == METRE or unit.startswith((f"{METRE}/", f"{METRE} "))):
            return self.unit + unit[len(METRE) :]
        return unit

    def cells(self, style: str) -> str:
        """The number format of cells of this style of the look; '' for any other style."""
        digits = {
            "metres": self.digits.drop,
            "level": self.digits.level,
            "fine": self.digits.fine,
            "weekly": self.digits.weekly,
            "rate": self.digits.daily,
        }.get(style)
        return "" if digits is None else f"{0:.{digits}f}"


IN_METRES = Shown()


@cache
def shown_in(unit: str) -> Shown:
    """How pressures are shown in one of the contract's units; KeyError for an unknown one."""
    if unit == METRE:
        return IN_METRES
    per = metres_per(unit)
    return Shown(unit, 1.0 / per, _digits(per))
