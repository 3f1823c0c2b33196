"""Pressures and dates as a farm wants to read them: `Shown` has its unit and its way of a date.

Inside, everything stays in metres of water and a date a date; what is said here decides nothing.
Words ask for a drop, a level (inlet, outlet, field pressure), a limit, a rate or a day and get
text; cells get the value and a number format.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from siltbook.templates.days import ISO, way, written
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per

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


def least_number(value: float, digits: int, typed_from: int | None = None) -> str:
    """A least value [any unit] to so many digits: as typed, or up, never down.

    29.0076 psi (2 bar) to one digit are '29.1': whoever reads 29.0 there has less. A value that
    was typed has the digits that it needs, from `typed_from` (`digits` without it) on.
    """
    typed = _typed_digits(value, digits if typed_from is None else typed_from)
    if typed is not None:
        return f"{value:.{typed}f}"
    return f"{math.ceil(value * 10**digits) / 10**digits:.{digits}f}"


def _typed_digits(value: float, least: int) -> int | None:
    """The digits behind the point that a typed number has, from `least` on; None for too many."""
    for digits in range(least, least + MORE + 1):
        if abs(round(value, digits) - value) < 1e-9 * max(1.0, abs(value)):
            return digits
    return None


@dataclass(frozen=True)
class Shown:
    """The units in which a farm's pressures and flows are shown, and how its dates are.

    `factor` [unit per m of water]; 1 where they are shown in metres. `dates` is one of
    `days.WAYS`. Every method of pressures takes metres of water [m] and gives text with the unit,
    but for `value` and `cells`.
    """

    unit: str = METRE
    factor: float = 1.0
    digits: Digits = _METRES
    dates: str = ISO
    flows: str = "m3/h"

    @property
    def metres(self) -> bool:
        """Whether pressures are shown as they are kept."""
        return self.unit == METRE

    def day(self, day: dt.date) -> str:
        """A date in a sentence."""
        return written(day, self.dates)

    def on(self, day: dt.date | None, instead: str = "") -> str:
        """A date in a sentence, or what is said where there is none."""
        return instead if day is None else self.day(day)

    def as_of(self, day: dt.date | None, undated: str) -> str:
        """The day of a judgement as a heading has it, with the order where it can be misread."""
        order = "" if day is None or self.dates == ISO else f" (dates are {way(self.dates).order})"
        return self.on(day, undated) + order

    @property
    def days(self) -> str:
        """The number format of cells that hold dates."""
        return way(self.dates).cells

    @property
    def axis(self) -> str:
        """The number format of a chart's axis of dates: short, and with the month in letters
        where no way of writing dates was chosen."""
        return "d mmm yy" if self.dates == ISO else self.days.replace("yyyy", "yy")

    @property
    def order(self) -> str:
        """A sentence on how dates are to be read; empty where nobody can misread them."""
        return "" if self.dates == ISO else f"Dates are {way(self.dates).order}."

    def value(self, metres: float) -> float:
        """A pressure or a rate as a number in the unit."""
        return metres if self.metres else metres * self.factor

    def number(self, metres: float, digits: int | None = None) -> str:
        """A drop without its unit."""
        return f"{self.value(metres):.{self.digits.drop if digits is None else digits}f}"

    def flow(self, flow: float) -> str:
        """A `flow` [m3/h] in the unit of the farm's meters, to three digits."""
        value = flow / cubic_metres_per_hour_per(self.flows)
        number = f"{value:.3g}" if value < 999.5 else f"{value:,.0f}"
        return f"{number} {self.flows.replace('m3', 'm³')}"

    def drop(self, metres: float, digits: int | None = None) -> str:
        """A drop, or a difference of drops."""
        return f"{self.number(metres, digits)} {self.unit}"

    def level(self, metres: float) -> str:
        """An inlet, an outlet or a field pressure."""
        return self.drop(metres, self.digits.level)

    def at_least(self, metres: float, digits: int = 0, typed_from: int | None = None) -> str:
        """The least level that is asked for: what is said is never less (`least_number`)."""
        least = max(digits, self.digits.level)
        return f"{least_number(self.value(metres), least, typed_from)} {self.unit}"

    def under(self, metres: float, least: float) -> tuple[str, str]:
        """A level that is under a least one, and that least one; the two never print alike."""
        for digits in range(self.digits.level, self.digits.level + MORE):
            said = self.drop(metres, digits), self.at_least(least, digits)
            if said[0] != said[1]:
                return said
        return self.drop(metres, digits + 1), self.at_least(least, digits + 1)

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

    def limit(self, metres: float, digits: int = 0) -> str:
        """A limit: with all the digits that somebody typed in this unit, else as a drop.

        One that was typed in metres is said as it was typed, with this unit behind it. `digits`
        are the least behind the point.
        """
        typed = None if self._in_metres(metres) else self._typed(metres)
        least = self.digits.drop if typed is None else typed
        return self.stated(metres, self.drop(metres, max(digits, least)))

    def stated(self, metres: float, said: str) -> str:
        """A limit that is `said` in a unit; one that was typed in metres as typed and converted."""
        return f"{metres:.10g} {METRE} ({said})" if self._in_metres(metres) else said

    def _in_metres(self, metres: float) -> bool:
        """Whether a limit was typed in metres though this is another unit: it is a number of few
        digits there, and of many here (20 m are 196.133 kPa)."""
        own, there = self._typed(metres), _typed_digits(metres, 0)
        return not self.metres and there is not None and (own is None or own - there > 2)

    def _typed(self, metres: float) -> int | None:
        """The digits with which a limit was typed in this unit; None where it was in another."""
        return _typed_digits(self.value(metres), self.digits.drop)

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
def shown_in(unit: str, dates: str = ISO, flows: str = "m3/h") -> Shown:
    """How pressures, dates and flows are shown; KeyError for a pressure unit that is not known."""
    if unit == METRE:
        return Shown(dates=dates, flows=flows)
    per = metres_per(unit)
    return Shown(unit, 1.0 / per, _digits(per), dates, flows)
