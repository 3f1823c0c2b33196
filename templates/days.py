"""The ways in which dates are shown. What is read knows nothing of them.

A choice is the 30th of August 2026 as it would be shown: its day can be no month.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

ISO = "2026-08-30"


class Way(NamedTuple):
    """How a day is written: parts for `str.format`, a cell's number format, and its order."""

    text: str
    cells: str
    order: str


# A bare '/' of a number format is whatever sign the machine puts between the parts of a date.
_WAYS = {
    ISO: Way("{0.year:04d}-{0.month:02d}-{0.day:02d}", "yyyy-mm-dd", "year-month-day"),
    "30/08/2026": Way("{0.day:02d}/{0.month:02d}/{0.year:04d}", r"dd\/mm\/yyyy", "day/month/year"),
    "08/30/2026": Way("{0.month:02d}/{0.day:02d}/{0.year:04d}", r"mm\/dd\/yyyy", "month/day/year"),
}
WAYS = tuple(_WAYS)


def way(choice: str) -> Way:
    """How a choice writes a day; KeyError for what is none."""
    return _WAYS[choice]


def written(day: dt.date, choice: str) -> str:
    """A day as a choice writes it."""
    return _WAYS[choice].text.format(day)
