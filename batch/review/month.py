"""A calendar month as the review takes it."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

_MONTH = re.compile(r"(\d{4})-(\d{1,2})\Z")
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, order=True)
class Month:
    """One calendar month."""

    year: int
    number: int  # 1 to 12

    @property
    def first(self) -> dt.date:
        """The month's first day."""
        return dt.date(self.year, self.number, 1)

    @property
    def last(self) -> dt.date:
        """The month's last day; the as-of date of its review."""
        return self.next.first - _DAY

    @property
    def next(self) -> Month:
        """The month after this one."""
        return Month(self.year + self.number // 12, self.number % 12 + 1)

    @property
    def eve(self) -> dt.date:
        """The last day of the month before: what the review compares with."""
        return self.first - _DAY

    @property
    def days(self) -> int:
        """How many days the month has."""
        return self.last.day

    @property
    def words(self) -> str:
        """For example 'July 2026'."""
        return f"{self.first:%B} {self.year}"

    def __str__(self) -> str:
        return f"{self.year:04d}-{self.number:02d}"

    def __contains__(self, day: object) -> bool:
        return isinstance(day, dt.date) and self.first <= day <= self.last


def parse_month(text: str) -> Month:
    """A month written like 2026-07; ValueError, one sentence, for anything else."""
    found = _MONTH.match(text.strip())
    if not found or not 1 <= int(found[2]) <= 12 or not 1950 <= int(found[1]) <= 2149:
        raise ValueError(f"{text!r} is no month: write year and month, for example 2026-07.")
    return Month(int(found[1]), int(found[2]))
