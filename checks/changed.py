"""Gauges that were changed: which gauge a station's pressures were read on, by day."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from siltbook.templates.book import set_aside
from siltbook.templates.contract import CHANGED_GAUGES

if TYPE_CHECKING:
    from siltbook.templates.book import Book


@dataclass(frozen=True)
class ChangedGauge:
    """One row of the sheet Gauges: what holds from `since` on; pressures [m], class [%].

    `gauges` (the arrangement) and `unit` are None where the row leaves them as before; the rest
    is None where it is not known of the new gauge, whatever the old one had.
    """

    row: int
    since: dt.date
    gauges: str | None = None
    full_scale: float | None = None
    gauge_class: float | None = None
    division: float | None = None
    unit: str | None = None


def changed_gauges(book: Book, as_of: dt.date | None = None) -> dict[str, tuple[ChangedGauge, ...]]:
    """Station -> its rows of the sheet Gauges in order of their days, up to `as_of`.

    Of two rows for one station and day the first counts.
    """
    found: dict[str, dict[dt.date, ChangedGauge]] = defaultdict(dict)
    for record in book.gauges.records(set_aside(CHANGED_GAUGES, book.gauges.values)):
        since = record["since"]
        if as_of is None or since <= as_of:
            own = found[str(record["station"])]
            own.setdefault(since, _gauge(record))
    return {name: tuple(own[day] for day in sorted(own)) for name, own in found.items()}


def _gauge(record: dict[str, object]) -> ChangedGauge:
    def number(key: str) -> float | None:
        value = record[key]
        return float(value) if isinstance(value, float) and not math.isnan(value) else None

    def word(key: str) -> str | None:
        value = record[key]
        return value if isinstance(value, str) and value else None

    since = record["since"]
    assert isinstance(since, dt.date)  # the reader keeps no row without a day
    return ChangedGauge(
        row=int(str(record["row"])),
        since=since,
        gauges=word("gauges"),
        full_scale=number("full_scale"),
        gauge_class=number("gauge_class"),
        division=number("division"),
        unit=word("unit"),
    )
