"""Drawn farms get the same answer in any pressure unit, row order and company of columns.

Each farm is written twice, once through the template or plainly in bar, once otherwise; both go
the whole way from bytes to assessment. Few examples, since each reads two workbooks.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from io import BytesIO

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from siltbook.batch.job import assess_bytes
from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.runs import Run
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import FARM, LISTS, PRESSURE_UNITS
from siltbook.templates.units import metres_per
from tests.amount import LONG, whole

Row = dict[str, object]
DAY0 = dt.date(2026, 3, 2)
INLET = 30.0  # [m]
few = settings(
    max_examples=6 if LONG else 3 if whole() else 2,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)


@dataclass(frozen=True)
class Visit:
    """So many days after the last entry: a reading, or else work; drop [m], flow [m3/h]."""

    gap: int
    drop: float
    flow: int | None
    work: str


@dataclass(frozen=True)
class Farm:
    """One list of visits per station."""

    visits: tuple[tuple[Visit, ...], ...]
    days: int = 1  # by which every gap is stretched


@st.composite
def visits(draw: st.DrawFn) -> tuple[Visit, ...]:
    """Drops that climb unevenly, in steps of 0.05 m so that exact ties occur, and some work."""
    out, level = [], draw(st.integers(16, 30))
    for _ in range(draw(st.integers(1, 9))):
        work = draw(st.sampled_from(("", "", "", "", "hand cleaning", "flush")))
        level = draw(st.integers(16, 30)) if work else level + draw(st.integers(-3, 22))
        flow = draw(st.sampled_from((None, 36, 40, 42)))
        out.append(Visit(draw(st.integers(1, 6)), max(level, 4) * 0.05, flow, work))
    return tuple(out)


farms = st.lists(visits(), min_size=1, max_size=3).map(lambda v: Farm(tuple(v)))


def rows_of(farm: Farm, units: Sequence[str]) -> dict[str, list[Row]]:
    """The three lists, each station's pressures in its own unit."""
    stations: list[Row] = []
    readings: list[Row] = []
    works: list[Row] = []
    for number, logged in enumerate(farm.visits):
        name, unit, day = f"S{number}", units[number % len(units)], DAY0
        scale = 1.0 / metres_per(unit)
        stations.append({
            "station": name, "reference_flow": 40.0, "clean_drop": 1.0, "unit": unit,
            "gauges": "one gauge", "full_scale": 60.0 * scale, "gauge_class": 1.6,
            "division": 0.2 * scale, "working_inlet": 20.0 * scale,
        })  # fmt: skip
        for visit in logged:
            day += dt.timedelta(days=visit.gap * farm.days)
            if visit.work:
                works.append({
                    "station": name, "date": day, "work": visit.work, "cycles": 3,
                    "click": "yes", "water": "yes", "gauge_zero": "yes",
                })  # fmt: skip
                day += dt.timedelta(days=farm.days)
            readings.append({
                "station": name, "date": day, "inlet": INLET * scale,
                "outlet": (INLET - visit.drop) * scale, "flow": visit.flow,
            })  # fmt: skip
    return {"Stations": stations, "Readings": readings, "Work done": works}


def plain(rows: dict[str, list[Row]], luck: random.Random | None = None) -> bytes:
    """A workbook without the template's dress; shuffled, with strange columns, by `luck`."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = FARM.name
    page.append(["Farm name", "Drawn"])
    for sheet in LISTS:
        given_rows = list(rows.get(sheet.name, ()))
        page = book.create_sheet(sheet.name)
        columns = [(c.key, c.header) for c in sheet.columns]
        if luck is not None:
            columns += [("", "Weather"), ("", "My own drop"), ("", "2026")]
            luck.shuffle(columns)
            luck.shuffle(given_rows)
        page.append([header for _, header in columns])
        for row in given_rows:
            page.append([row.get(key) if key else "=1+1" for key, _ in columns])
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def by_name(assessment: Assessment) -> dict[str, StationResult]:
    return {result.station.name: result for result in assessment.stations}


def runs_of(result: StationResult) -> tuple[Run, ...]:
    assert result.outlook is not None
    return result.outlook.runs


def forecast_of(result: StationResult) -> tuple[Forecast, dt.date | None]:
    assert result.outlook is not None
    return replace(result.outlook.forecast, courses=()), result.judgement.read_by


def rates(run: Run) -> list[float]:
    """The rate and its interval [m/day]; NaN where there is none."""
    three = (run.rate, run.slowest, run.fastest)
    return [float("nan") if value is None else value for value in three]


def assert_alike(one: Assessment, other: Assessment) -> None:
    """Verdicts, drops, runs, rates and forecasts; days to the day, lengths to a nanometre."""
    ours, theirs = by_name(one), by_name(other)
    assert ours.keys() == theirs.keys()
    for name, a in ours.items():
        b = theirs[name]
        assert (a.verdict, a.judgement.also) == (b.verdict, b.judgement.also), name
        assert a.judgement.borderline == b.judgement.borderline
        drops = [[r.drop for r in x.history.readings] for x in (a, b)]
        assert drops[0] == pytest.approx(drops[1], abs=1e-9)
        assert forecast_of(a) == forecast_of(b), name
        for p, q in zip(runs_of(a), runs_of(b), strict=True):
            assert (p.begins, p.ends, p.days, p.ended_by, p.why) == (
                q.begins, q.ends, q.days, q.ended_by, q.why,
            )  # fmt: skip
            assert p.drops == pytest.approx(q.drops, abs=1e-9)
            assert rates(p) == pytest.approx(rates(q), abs=1e-9, nan_ok=True)


@few
@given(farms, st.lists(st.sampled_from(PRESSURE_UNITS), min_size=3, max_size=3))
def test_units_do_not_matter(farm: Farm, units: list[str]) -> None:
    """Every station in a unit of its own, through the template; against all in bar, plainly."""
    dressed = build(BlankOptions(pressure_unit="kPa"), rows_of(farm, units))
    assert_alike(
        assess_bytes(dressed, "dressed"), assess_bytes(plain(rows_of(farm, ["bar"])), "plain")
    )


@few
@given(farms, st.integers(0, 10**6))
def test_row_order_and_extra_columns_do_not_matter(farm: Farm, seed: int) -> None:
    """Rows and columns shuffled on every sheet, strange columns with formulas among them."""
    rows = rows_of(farm, ["bar"])
    shuffled = assess_bytes(plain(rows, random.Random(seed)), "shuffled")
    assert_alike(assess_bytes(plain(rows), "in order"), shuffled)


@few
@given(farms, st.integers(2, 4))
def test_rates_scale_with_time(farm: Farm, k: int) -> None:
    """Everything k times as far apart: the same runs and drops, rates a k-th."""
    slow = replace(farm, days=k)
    one, other = (assess_bytes(plain(rows_of(f, ["bar"])), "book") for f in (farm, slow))
    ours, theirs = by_name(one), by_name(other)
    for name, a in ours.items():
        for p, q in zip(runs_of(a), runs_of(theirs[name]), strict=True):
            assert p.drops == q.drops
            assert [k * day for day in p.days] == pytest.approx(q.days, abs=1e-6)
            assert rates(p) == pytest.approx([k * r for r in rates(q)], rel=1e-9, nan_ok=True)
