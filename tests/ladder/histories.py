"""Short ways to write a history in a test."""

from __future__ import annotations

import datetime as dt
from itertools import count

from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import History, Judgement, Reading, Station, Work
from siltbook.batch.numbers.order import in_order
from siltbook.templates.book import Settings

DAY0 = dt.date(2026, 6, 1)
SETTINGS = Settings()
_rows = count(2)


def station(**changes: object) -> Station:
    values: dict[str, object] = {
        "name": "North 1",
        "row": 2,
        "block": "A",
        "filter_type": "screen",
        "grade": 130.0,
        "reference_flow": None,
        "clean_drop": 1.0,
        "limit": 5.0,
        "working_inlet": None,
        "wanted_field": None,
        "gauges": None,
        "full_scale": None,
        "gauge_class": None,
        "division": None,
        "unit": "bar",
        "in_service": True,
    }
    return Station(**{**values, **changes})  # type: ignore[arg-type]


def read(day: int, drop: float, occasion: str = "routine", **changes: object) -> Reading:
    values: dict[str, object] = {
        "row": next(_rows),
        "date": DAY0 + dt.timedelta(days=day),
        "time": None,
        "inlet": 30.0,
        "outlet": 30.0 - drop,
        "drop": drop,
        "flow": None,
        "field": None,
        "occasion": occasion,
    }
    return Reading(**{**values, **changes})  # type: ignore[arg-type]


def work(day: int, what: str = "flush", **changes: object) -> Work:
    values: dict[str, object] = {
        "row": next(_rows),
        "date": DAY0 + dt.timedelta(days=day),
        "time": None,
        "work": what,
    }
    if what == "flush":
        values |= {"cycles": 3.0, "click": True, "water": True}
    return Work(**{**values, **changes})  # type: ignore[arg-type]


def verdict_of(
    *entries: Reading | Work, at: Station | None = None, as_of: int | None = None
) -> Judgement:
    """Judge entries in the ladder's order, as of the last entry's day unless said otherwise."""
    ordered = in_order(entries, (at or station()).limit)
    day = ordered[-1].date if as_of is None and ordered else DAY0 + dt.timedelta(days=as_of or 0)
    return judge(History(at or station(), ordered), SETTINGS, day)
