"""An invented, honest farm as a workbook, in which tests then plant one fault at a time."""

from __future__ import annotations

import datetime as dt
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import numpy as np

from siltbook.batch.assess import as_of_date
from siltbook.batch.audit.model import Place, RuleResult, State
from siltbook.batch.audit.procedure import procedure
from siltbook.batch.audit.tracks import tracks
from siltbook.batch.audit.trust import trust
from siltbook.batch.numbers.history import histories
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build
from tests.benchmarks.audit import Habits, Keeper, Pump, clocks_of, pressures

Row = dict[str, Any]
HABITS = Habits(7, 0.0, 0.0, "minute", True, 0.0, 0.0)
NAMES = ("Alder", "Birch", "Cedar", "Elm", "Hazel", "Maple")
WEEKS = 30


@dataclass
class Farm:
    """The rows of one book, pressures in bar; tests change them before it is written."""

    stations: list[Row]
    readings: list[Row]
    work: list[Row]

    def of(self, station: str, occasion: str = "") -> list[Row]:
        """One station's readings, in order; those of one occasion where it is given."""
        own = [r for r in self.readings if r["station"] == station]
        return [r for r in own if not occasion or r["occasion"] == occasion]

    def package(self) -> bytes:
        """The workbook."""
        return _built(pickle.dumps((self.stations, self.readings, self.work)))

    def results(self) -> dict[str, RuleResult]:
        """Trust and procedure, through the real workbook."""
        book = read_book(self.package(), "farm.xlsx").book
        on = as_of_date(book, None)
        found = histories(book, on)
        data = trust(book, found, tracks(book, found), on)
        return {r.rule.code: r for r in (*data, *procedure(book, found, on))}


@lru_cache(32)
def _built(rows: bytes) -> bytes:
    """The workbook of these rows; many tests ask for that of the honest farm."""
    lists = dict(zip(("Stations", "Readings", "Work done"), pickle.loads(rows), strict=True))
    return build(BlankOptions("bar", "m3/h", "Invented farm"), lists, {"interval": 7})


def honest() -> Farm:
    """The honest farm: six stations on one pump, weekly rounds, gauges read to 0.02 bar."""
    made = _honest()
    lists = (made.stations, made.readings, made.work)
    return Farm(*([dict(row) for row in rows] for rows in lists))


def half() -> Farm:
    """Three stations of the honest farm in the first half of its season."""
    farm, names = honest(), ("Alder", "Birch", "Elm")
    farm.stations, *logs = (
        [row for row in rows if row["station"] in names]
        for rows in (farm.stations, farm.readings, farm.work)
    )
    farm.readings, farm.work = ([row for row in log if row["date"] < day(15)] for log in logs)
    return farm


@cache
def _honest() -> Farm:
    rng = np.random.default_rng(20260406)
    stations: list[Row] = [
        {
            "station": name, "block": "Block 1", "reference_flow": 30.0 + 3.7 * n,
            "clean_drop": 1.2, "gauges": "two gauges", "full_scale": 6.0, "gauge_class": 1.0,
            "division": 0.02, "in_service": "yes",
        }
        for n, name in enumerate(NAMES)
    ]  # fmt: skip
    pump = pressures(Pump(3.2, 0.12, 0.2, 0.1), WEEKS * 7 + 2, rng)
    keepers = [Keeper(row, HABITS, rng) for row in stations]
    for keeper, pace in zip(keepers, (30, 40, 55, 70, 90, 120), strict=True):
        keeper.pace, keeper.wobble = float(pace), 0.01
    readings: list[Row] = []
    for day in range(0, WEEKS * 7, 7):
        for keeper, time in zip(keepers, clocks_of(HABITS, len(keepers), rng), strict=True):
            before = len(keeper.readings)
            keeper.visit(day, time, float(pump[day]))
            readings += keeper.readings[before:]
    work = sorted((r for k in keepers for r in k.work), key=lambda r: (r["date"], r["time"]))
    for row in work:
        if row["work"] == "flush":
            row["flush_inlet"] = 2.4
    return Farm(stations, readings, work)


def planted(change: Callable[[Farm], None]) -> dict[str, RuleResult]:
    """The results of the honest farm after one change."""
    farm = honest()
    change(farm)
    return farm.results()


def looks(results: dict[str, RuleResult]) -> set[str]:
    """The rules that found something to look at."""
    return {code for code, result in results.items() if result.state is State.LOOK}


def open_places(result: RuleResult) -> list[Place]:
    """The places that are to be looked at."""
    return [place for place in result.places if not place.holds]


def day(week: int) -> dt.date:
    """The date of one round."""
    return dt.date(2026, 3, 2) + dt.timedelta(days=7 * week)
