"""Open records of soiling turned into readings of a filter, for judging the forecast.

No open record of a filter's pressure drop was at hand. These are the nearest: dirt on solar
panels and mirrors, which builds up between cleanings too. A loss is taken for a drop by one
stated straight scale: no loss is a clean drop of 1 m, and the loss named as the limit is 5 m. The
drop is then read to the division of a gauge and cut into runs by the program, as any log.

The files lie outside the repository, with their licences: pvlib-python 0.16.1 test data (BSD-3),
the test fixture of RdTools 3.2.1 (MIT), mirror-soiling-data 0.1.2 (MIT). Without them there are
no cases.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from siltbook.batch.model import History, Reading, Station
from siltbook.batch.numbers.robust import Floats
from siltbook.batch.numbers.runs import cut_runs
from tests.benchmarks.farms import BAR, LIMIT, Case

DATASETS = Path(__file__).parents[3] / "shared" / "reference" / "datasets"
CLEAN = 1.0  # [m]
DIVISION = 0.02 * BAR  # [m]
DAY0 = dt.date(2026, 1, 1)


@dataclass(frozen=True)
class Record:
    """One place whose loss was followed: days from the first reading, and losses.

    `seen` is what people read at `days`; `true_days` and `true_loss` the line that the limit is
    looked for on, the same readings where nothing better is known. `limit` and `error` (the
    standard error of one loss) are in the same unit as the losses.
    """

    name: str
    group: str
    days: Floats
    seen: Floats
    true_days: Floats
    true_loss: Floats
    limit: float
    error: float

    def drop(self, loss: Floats) -> Floats:
        """The drop [m] that stands for a loss."""
        return CLEAN + (LIMIT - CLEAN) * loss / self.limit

    @property
    def u(self) -> float:
        """Standard uncertainty of one drop [m]: the error of the loss, and the division."""
        return float(np.hypot(DIVISION / np.sqrt(6), (LIMIT - CLEAN) * self.error / self.limit))

    def history(self, until: float = np.inf) -> History:
        """The readings up to a day, as a station's log."""
        drops = np.maximum(np.round(self.drop(self.seen) / DIVISION) * DIVISION, 0.0)
        entries = tuple(
            _reading(i, float(day), float(drop), self.u)
            for i, (day, drop) in enumerate(zip(self.days, drops, strict=True))
            if day <= until
        )
        station = Station(
            self.name, 2, "", "other", None, None, CLEAN, LIMIT, None, None, None, None, None,
            None, "m", True,
        )  # fmt: skip
        return History(station, entries)

    def crossing(self, after: float, before: float) -> float | None:
        """The first day in a stretch on which the true loss passes the limit."""
        inside = (self.true_days >= after) & (self.true_days <= before)
        days, over = self.true_days[inside], self.true_loss[inside] - self.limit
        hits = np.flatnonzero(over > 0)
        if not len(hits) or hits[0] == 0:
            return None
        i = int(hits[0])
        share = -over[i - 1] / (over[i] - over[i - 1])
        return float(days[i - 1] + share * (days[i] - days[i - 1]))


def _reading(number: int, day: float, drop: float, u: float) -> Reading:
    moment = dt.datetime.combine(DAY0, dt.time()) + dt.timedelta(days=day)
    date, time = moment.date(), moment.time().replace(microsecond=0)
    return Reading(number + 2, date, time, 30.0, 30.0 - drop, drop, None, None, "routine", u, None)


def _rows(name: str) -> list[dict[str, str]]:
    with (DATASETS / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _kimber(kind: str) -> Record:
    """Hourly soiling by the Kimber model over one year; read every day at noon; limit 0.02."""
    rows = _rows(f"greensboro_kimber_soil_{kind}.dat")
    loss = np.array([float(r["soiling"]) for r in rows])
    days = np.arange(1.0, len(rows) + 1) / 24
    noon = [i for i, r in enumerate(rows) if r["timestamp"][11:13] == "12"]
    return Record(kind, "pvlib Greensboro", days[noon], loss[noon], days, loss, 0.02, 0.0)


def _sawtooth() -> Record:
    """75 noisy days with two cleanings; read every day; limit 0.04, read to 0.005.

    The last run is cleaned by nobody and ends before the limit: its known slope, 0.001 a day, is
    carried on to find the truth.
    """
    rows = _rows("rdtools_soiling_fixture_sawtooth.csv")
    seen = 1 - np.array([float(r["normalized_daily"]) for r in rows])
    clean = 1 - np.array([float(r["clean_profile"]) for r in rows])
    longer = np.append(clean, clean[-1] + 0.001 * np.arange(1, 31))
    days: Floats = np.arange(0.5, len(rows))
    beyond: Floats = np.arange(0.5, len(longer))
    return Record("sawtooth", "RdTools sawtooth", days, seen, beyond, longer, 0.04, 0.005)


def _mirrors(file: str, group: str, limit: float, error: float) -> list[Record]:
    """Reflectance of mirrors read twice a day for a week; one day counts as ten.

    The loss is in points of reflectance since the first reading.
    """
    rows = _rows(file)
    times = [dt.datetime.fromisoformat(r["Time"]) for r in rows]
    days = np.array([(t - times[0]).total_seconds() / 8640 for t in times])
    out = []
    for column in [c for c in rows[0] if c != "Time"]:
        value = np.array([float(r[column]) for r in rows])
        loss = value[0] - value
        out.append(Record(column, group, days, loss, days, loss, limit, error))
    return out


def farms() -> list[list[Record]]:
    """Every record, those of one place together; empty where the files are absent."""
    if not DATASETS.is_dir():
        return []
    wodonga = "mirror_soiling_wodonga_20230209_20230215_reflectance_average.csv"
    mount_isa = "mirror_soiling_mount_isa_20220604_20220611_reflectance_average.csv"
    return [
        [_kimber("manwash")],
        [_kimber("nowash")],
        [_sawtooth()],
        _mirrors(wodonga, "mirrors Wodonga", 6.0, 0.1),
        _mirrors(mount_isa, "mirrors Mount Isa", 0.8, 0.05),
    ]


def _cases(record: Record, others: list[Record], readings: int) -> Iterator[Case]:
    begin = 0
    for run in cut_runs(record.history(), 3):
        count = len(run.days)
        mine = record.days[begin : begin + count]
        begin += count
        if count < readings or run.drops[readings - 1] > LIMIT:
            continue
        now = float(mine[readings - 1])
        stop = float(record.true_days[-1] if run.open else mine[-1])
        crossing = record.crossing(float(mine[0]), stop)
        if crossing is None or crossing <= now:
            continue
        history = record.history(now)
        farm = tuple(other.history(now) for other in others)
        as_of = history.readings[-1].date
        yield Case(history, farm, as_of, crossing - (as_of - DAY0).days - 0.5)


def cases(readings: int) -> list[tuple[str, Case]]:
    """Group and case for every run that goes on to the limit after so many readings.

    Two records of one year that differ in one washing share their first run: it counts once.
    """
    found: list[tuple[str, Case]] = []
    known: set[tuple[Reading, ...]] = set()
    for farm in farms():
        for record in farm:
            others = [r for r in farm if r is not record]
            for case in _cases(record, others, readings):
                if case.history.readings not in known:
                    known.add(case.history.readings)
                    found.append((record.group, case))
    return found
