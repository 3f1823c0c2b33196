"""Series of readings that tests make by hand, as the rules on the data look at them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from siltbook.batch.audit.tracks import Track
from siltbook.batch.model import Station
from siltbook.templates.book import Book
from tests.checks.builders import book

FIRST = dt.date(2026, 5, 1).toordinal()
NAN = float("nan")


def zigzag(count: int, middle: float = 30.0, by: float = 2.0) -> list[float]:
    """Values that never stay: up and down by so much [m]."""
    return [middle + (by if n % 2 else 0.0) for n in range(count)]


def station(name: str = "Alder", block: str = "", **more: object) -> Station:
    """A register's row with a gauge read to 0.1 m."""
    plain: dict[str, object] = {
        "row": 2, "filter_type": "", "grade": None, "reference_flow": None, "clean_drop": None,
        "limit": 5.0, "working_inlet": None, "wanted_field": None, "gauges": "two gauges",
        "full_scale": 60.0, "gauge_class": 1.0, "division": 0.1, "unit": "m", "in_service": True,
    }  # fmt: skip
    return Station(name=name, block=block, **(plain | more))  # type: ignore[arg-type]


def track(
    inlet: Sequence[float],
    outlet: Sequence[float] | None = None,
    *,
    of: Station | None = None,
    flow: Sequence[float] | None = None,
    days: Sequence[int] | None = None,
    worked: Sequence[int] = (),
    extra: Sequence[int] = (),
    division: float = 0.1,
    first_row: int = 2,
) -> Track:
    """Readings in rows from 2 on, one a day. `worked`: before which ones work was logged; `extra`:
    which are no routine ones. The outlet is 2 m under the inlet where none is given."""
    count = len(inlet)
    up = np.array(inlet, dtype=np.float64)
    down = up - 2.0 if outlet is None else np.array(outlet, dtype=np.float64)
    return Track(
        station=of or station(division=division),
        rows=list(range(first_row, first_row + count)),
        days=FIRST + np.array(range(count) if days is None else days, dtype=np.int64),
        inlet=up,
        outlet=down,
        flow=np.array([NAN] * count if flow is None else flow, dtype=np.float64),
        field=np.full(count, NAN),
        worked=np.array([n in worked for n in range(count)]),
        routine=np.array([n not in extra for n in range(count)]),
        division=division,
        flow_division=1.0,
    )


def empty(**settings: object) -> Book:
    """A book that names sheets and cells, and shows metres."""
    return book([], **{"pressure_unit": "m", **settings})
