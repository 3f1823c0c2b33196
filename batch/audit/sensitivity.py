"""Which verdicts would change at another limit, or with gauges off by their class or reading."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from siltbook.batch.assess import as_of_date
from siltbook.batch.ladder.verdict import verdict_of
from siltbook.batch.model import Station, Verdict
from siltbook.batch.numbers.history import histories
from siltbook.batch.numbers.outlook import forecasts_of
from siltbook.batch.results import Assessment, StationResult
from siltbook.checks.context import join_lists
from siltbook.templates.book import Book
from siltbook.templates.contract import FARM
from siltbook.templates.shown import Shown

if TYPE_CHECKING:
    import pandas as pd

# The usual limit and both its neighbours, whatever limit the book has [m].
LIMITS = (4.0, 5.0, 6.0)
USUAL = 5.0  # [m]
CLASS = ("gauges +class", "gauges -class")
READING = ("gauges +reading", "gauges -reading")
AT_LIMITS = tuple(f"limit {limit:g} m" for limit in LIMITS)  # as the `--json` document names them
CASES = (*AT_LIMITS, *CLASS, *READING)


@dataclass(frozen=True)
class Sensitivity:
    """One station: its verdict, and the verdict in each of `CASES`; None where it cannot be known.

    The classes need a gauge whose class is known, the readings one whose division is.
    `borderline`: today's verdict rests on a drop that the gauge cannot tell from the limit.
    """

    station: str
    now: Verdict
    then: tuple[Verdict | None, ...]
    borderline: bool

    def at(self, case: str) -> Verdict | None:
        """The verdict in one of `CASES`."""
        return self.then[CASES.index(case)]

    @property
    def changes(self) -> tuple[str, ...]:
        """The cases in which another verdict would come out."""
        return tuple(c for c, v in zip(CASES, self.then, strict=True) if v not in (None, self.now))


def limits_shown(shown: Shown) -> tuple[str, ...]:
    """The limits of the first cases in the unit that is shown."""
    return tuple(f"{m:g} m" if shown.metres else shown.drop(m) for m in LIMITS)


def sensitivity(now: Assessment) -> tuple[Sensitivity, ...]:
    """One row per station of a judged book, in its order of urgency."""
    book, as_of = now.book, now.as_of
    by_class, by_reading = _offsets(book)
    offsets = (by_class, -by_class, by_reading, -by_reading)
    cases = [*(_at_limit(book, limit) for limit in LIMITS), *(_off(book, o) for o in offsets)]
    told = [_is_told(now, case) for case in CASES]
    then = [
        _verdicts(case, as_of) if known else {} for case, known in zip(cases, told, strict=True)
    ]
    return tuple(_row(result, then) for result in now.stations)


def _verdicts(book: Book, as_of: dt.date | None) -> dict[str, Verdict]:
    """Every station's verdict as `assess` gives it, without what else it works out.

    A forecast can move no verdict but *in range*, to *watch*: it is made for those alone.
    """
    on = as_of_date(book, as_of)
    found = histories(book, on)
    plain = {h.station.name: verdict_of(h, book.settings, on) for h in found}
    calm = {h.station.name: h for h in found if plain[h.station.name] is Verdict.IN_RANGE}
    for name, expected in forecasts_of(found, calm, book.settings, on).items():
        plain[name] = verdict_of(calm[name], book.settings, on, expected)
    return plain


def _is_told(now: Assessment, case: str) -> bool:
    """Whether judging anew can say anything: not where every limit is the usual one already, nor
    where no station has a gauge that is known."""
    if case == AT_LIMITS[LIMITS.index(USUAL)]:
        return _limits(now.book) != {USUAL}
    for cases, known in _NEEDED.items():
        if case in cases:
            return any(all(map(known, _gauges(result.station))) for result in now.stations)
    return True


def _gauges(station: Station) -> list[Station]:
    """The station with each gauge that it had."""
    return [station, *(station.on(change.since) for change in station.changed)]


def _limits(book: Book) -> set[float]:
    own = book.stations.frame["drop_limit"].dropna()
    column = FARM.column("drop_limit")
    return {book.settings.drop_limit, *(v for v in own.astype(float) if column.allows(v))}


def _row(result: StationResult, then: list[dict[str, Verdict]]) -> Sensitivity:
    station = result.station
    verdicts: list[Verdict | None] = [case.get(station.name, result.verdict) for case in then]
    for cases, known in _NEEDED.items():
        if not all(map(known, _gauges(station))):
            for case in cases:
                verdicts[CASES.index(case)] = None
    judgement = result.judgement
    return Sensitivity(station.name, result.verdict, tuple(verdicts), judgement.borderline)


def _knows_class(gauge: Station) -> bool:
    scale = gauge.gauges == "one gauge" or gauge.full_scale is not None
    return gauge.gauges is not None and gauge.gauge_class is not None and scale


def _knows_reading(gauge: Station) -> bool:
    return gauge.division is not None


# What the cases need to know of every gauge of a station.
_NEEDED = {CLASS: _knows_class, READING: _knows_reading}


def _at_limit(book: Book, limit: float) -> Book:
    settings = replace(book.settings, drop_limit=limit)
    register = book.stations.frame.assign(drop_limit=float("nan"))
    return replace(book, settings=settings, stations=replace(book.stations, frame=register))


def _drops(book: Book) -> pd.Series[float]:
    frame = book.readings.frame
    return (frame["inlet"] - frame["outlet"]).fillna(frame["drop"])


def _offsets(book: Book) -> tuple[pd.Series[float], pd.Series[float]]:
    """How far each reading's drop can be off [m]: by its gauge's class, and by its division.

    The class counts at both gauges, of full scale, one up and the other down. One gauge with a
    selector errs alike on both sides, so only its gain counts: the drop grows or shrinks by the
    class. Each of the two readings is off by half a division at most. Each reading has the gauge
    of its day.
    """
    gauge = join_lists(book, None).readings.frame
    share = gauge["gauge_class"].astype("float64") / 100.0
    gain = (_drops(book) * share).where(gauge["gauges"] == "one gauge")
    both = 2.0 * share * gauge["full_scale"].astype("float64")
    by_class = gain.fillna(both.where(gauge["gauges"] == "two gauges")).fillna(0.0)
    return by_class, gauge["division"].astype("float64").fillna(0.0)


def _off(book: Book, offset: pd.Series[float]) -> Book:
    """Every drop larger by `offset` [m].

    All of it goes to the outlet, so that the supply is judged as it was read; a drop never falls
    under zero, nor an outlet.
    """
    frame, drop = book.readings.frame, _drops(book)
    changed = (drop + offset).clip(lower=drop.clip(upper=0.0)).clip(upper=frame["inlet"])
    alone = frame["drop"].notna()  # read without its pressures
    readings = frame.assign(
        outlet=frame["inlet"] - changed, drop=frame["drop"].mask(alone, changed)
    )
    return replace(book, readings=replace(book.readings, frame=readings))
