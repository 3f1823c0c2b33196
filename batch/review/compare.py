"""Which filters foul fastest, compared by rate and with an interval, or said to be too few.

The rate of a run [m/day] is the one of the sheet Runs: the median of all slopes between two of
its readings, at the reference flow where the flow is known. Only runs whose rate may be believed
take part. Counts of flushes or episodes are not compared: they grow with the season's length and
with the number of stations.

What is compared decides what counts as one observation:

- *filter type* and *station type* (filter type with its grade) speak of stations in general, so
  a station is one observation, by the median of its runs (at least two); many runs at one
  station make it no more than one station.
- *block*, *filter type within a farm* and *farm and season* speak of these very stations, so a
  run is one observation.

The figure is the median with its interval of at least 80 % by order statistics
(`robust.median_interval`); under four observations there is none, and it says 'too few'.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from siltbook.batch.numbers.robust import median_interval
from siltbook.batch.numbers.runs import Run
from siltbook.batch.results import StationResult
from siltbook.batch.review.farm import FarmMonth

LEAST = 4  # observations, under which no interval of 80 % exists
WITHIN_FARM = "Filter types within a farm"
LEAST_RUNS = 2  # of a station, to count as one observation


@dataclass(frozen=True)
class StationRates:
    """One station of one book: what it is, and the believable rates of its runs [m/day]."""

    farm: str
    season: str
    station: str
    block: str
    filter_type: str
    grade: float | None  # [µm]
    rates: tuple[float, ...]
    runs_left_out: int


@dataclass(frozen=True)
class Group:
    """One line of a comparison: median rate [m/day] and its interval, or why there is none.

    `counted` observations of `unit` ('stations' or 'runs') stand behind the median.
    """

    name: str
    unit: str
    counted: int
    stations: int
    runs: int
    rate: float | None
    low: float | None
    high: float | None
    confidence: float | None
    too_few: str


@dataclass(frozen=True)
class Comparison:
    """One question with its groups, fastest first; groups that are too few stand last."""

    title: str
    unit: str
    groups: tuple[Group, ...]


def station_rates(farms: Iterable[FarmMonth]) -> tuple[StationRates, ...]:
    """The rates of every station of these books, as of the review."""
    return tuple(_rates(farm, result) for farm in farms for result in farm.now.stations)


def _rates(farm: FarmMonth, result: StationResult) -> StationRates:
    station = result.station
    runs: tuple[Run, ...] = result.outlook.runs if result.outlook else ()
    good = tuple(run.rate for run in runs if run.believable and run.rate is not None)
    season = " ".join(farm.book.settings.season.split())
    return StationRates(
        farm.farm, season, station.name, station.block, station.filter_type, station.grade,
        good, len(runs) - len(good),
    )  # fmt: skip


def compare(stations: Sequence[StationRates]) -> tuple[Comparison, ...]:
    """Every comparison that these stations allow; those with a single group are left out."""
    seasons = len({(s.farm, s.season) for s in stations}) > len({s.farm for s in stations})
    made = [
        _by_station("Filter types", stations, lambda s: s.filter_type),
        _by_station("Station types (filter type and grade)", stations, _type_and_grade),
        _by_run(WITHIN_FARM, stations, _farm_and_type),
        _by_run("Blocks", stations, _block),
        _by_run("Farms and seasons", stations, _farm_and_season) if seasons else None,
    ]
    return tuple(c for c in made if c is not None and len(c.groups) > 1)


def _type_and_grade(station: StationRates) -> str:
    if not station.filter_type or station.grade is None:
        return ""
    return f"{station.filter_type}, {station.grade:g} µm"


def _farm_and_type(station: StationRates) -> str:
    return f"{station.farm}: {station.filter_type}" if station.filter_type else ""


def _block(station: StationRates) -> str:
    return f"{station.farm}: {station.block}" if station.block else ""


def _farm_and_season(station: StationRates) -> str:
    return f"{station.farm}: {station.season}" if station.season else ""


def _grouped(
    stations: Sequence[StationRates], name: Callable[[StationRates], str]
) -> dict[str, list[StationRates]]:
    groups: dict[str, list[StationRates]] = defaultdict(list)
    for station in stations:
        if name(station):
            groups[name(station)].append(station)
    return groups


def _by_station(
    title: str, stations: Sequence[StationRates], name: Callable[[StationRates], str]
) -> Comparison:
    """A station in one or several seasons is one observation."""
    made = []
    for label, members in _grouped(stations, name).items():
        pooled: dict[tuple[str, str], list[float]] = defaultdict(list)
        for member in members:
            pooled[member.farm, member.station] += member.rates
        values = [median(rates) for rates in pooled.values() if len(rates) >= LEAST_RUNS]
        made.append(_group(label, "stations", values, members))
    return Comparison(title, "stations", _ordered(made))


def _by_run(
    title: str, stations: Sequence[StationRates], name: Callable[[StationRates], str]
) -> Comparison:
    made = [
        _group(label, "runs", [rate for m in members for rate in m.rates], members)
        for label, members in _grouped(stations, name).items()
    ]
    return Comparison(title, "runs", _ordered(made))


def _group(name: str, unit: str, values: Sequence[float], members: Sequence[StationRates]) -> Group:
    interval = median_interval(values)
    low, high, confidence = interval or (None, None, None)
    few = "" if interval else f"too few: {len(values)} {unit} of at least {LEAST}"
    return Group(
        name=name,
        unit=unit,
        counted=len(values),
        stations=len({(m.farm, m.station) for m in members}),
        runs=sum(len(m.rates) for m in members),
        rate=median(values) if interval else None,
        low=low,
        high=high,
        confidence=confidence,
        too_few=few,
    )


def _ordered(groups: Iterable[Group]) -> tuple[Group, ...]:
    return tuple(sorted(groups, key=lambda g: (g.rate is None, -(g.rate or 0.0), g.name)))
