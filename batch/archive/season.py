"""One station's season in figures, and what a season leaves open for the next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM, CLEANINGS
from siltbook.batch.numbers.robust import median_interval
from siltbook.batch.numbers.runs import Run
from siltbook.batch.remarks import beside_advice
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates.look import VERDICTS
from siltbook.templates.safety import ANYTHING, Touch
from siltbook.templates.shown import Shown

_NOTED = 110  # characters of a remark on the archive's page


@dataclass(frozen=True)
class StationSeason:
    """What happened at one station.

    `days_over` [days] with the limit exceeded, from the reading that opened each stretch to the
    one that closed it; `rate` [m/day], the median of the believable runs, of which there are
    `runs`; `slowest` and `fastest` [m/day], the ends of that median's span.
    """

    result: StationResult
    episodes: int
    days_over: int
    flushes: int
    cleanings: int
    runs: int
    rate: float | None
    slowest: float | None
    fastest: float | None
    energy_kwh: float | None
    energy_cost: float | None
    by_flush: float | None  # median share of the rise that flushes gave back
    by_cleaning: float | None  # the same of hand cleanings
    clean_level: float | None  # drop after the season's last cleaning [m]


@dataclass(frozen=True)
class Open:
    """Something left open: at which station, what, and who was to do it by when.

    `row` and `remark` are those of the sheet Agreed; 0 and '' where it does not stand there.
    """

    station: str
    action: str
    who: str = ""
    due: dt.date | None = None
    touches: frozenset[Touch] = frozenset()  # what doing it touches
    row: int = 0
    remark: str = ""
    noted: str = ""  # what people noted last at a station that needs something

    def line(self, shown: Shown) -> str:
        """The whole in one line."""
        until = f"due {shown.day(self.due)}" if self.due else ""
        by = ", ".join(part for part in (self.who, until) if part)
        return f"{self.station}: {self.action}{f' ({by})' if by else ''}"


def days_over(result: StationResult, as_of: dt.date | None) -> int:
    """Days over the limit [days] in all of a station's stretches, the open one as far as read."""
    return sum(
        (result.days_over or 0)
        if result.days_at_least and episode.closed is None
        else (episode.days(as_of) or 0)
        for episode in result.judgement.episodes
    )


def station_seasons(assessment: Assessment) -> tuple[StationSeason, ...]:
    """Every station's season, most urgent first."""
    return tuple(_season(result, assessment.as_of) for result in assessment.stations)


def _season(result: StationResult, as_of: dt.date | None) -> StationSeason:
    work = result.history.work
    outlook = result.outlook
    runs = outlook.runs if outlook else ()
    rates = [run.rate for run in runs if run.believable and run.rate is not None]
    low, high, _ = median_interval(rates) or (None, None, None)
    return StationSeason(
        result=result,
        episodes=len(result.judgement.episodes),
        days_over=days_over(result, as_of),
        flushes=sum(w.work == "flush" for w in work),
        cleanings=sum(w.work in CLEANINGS for w in work),
        runs=len(rates),
        rate=median(rates) if rates else None,
        slowest=low,
        fastest=high,
        energy_kwh=outlook.cost.energy_kwh if outlook else None,
        energy_cost=outlook.cost.energy_cost if outlook else None,
        by_flush=outlook.effectiveness.flush.median if outlook else None,
        by_cleaning=outlook.effectiveness.cleaning.median if outlook else None,
        clean_level=_clean_level(runs),
    )


def _clean_level(runs: Sequence[Run]) -> float | None:
    starts = [after.start_level for run, after in pairwise(runs) if run.ended_by in CLEANINGS]
    return starts[-1] if starts else None


def left_open(assessment: Assessment) -> list[Open]:
    """Agreed actions with no done date, then the stations that need something and why."""
    return [*_agreed(assessment), *_needing(assessment)]


def _agreed(assessment: Assessment) -> Iterator[Open]:
    frame = assessment.book.agreed.frame
    for row in frame[frame["done"].isna()].reset_index(names="row").to_dict("records"):
        own = row["station"], row["action"], row["who"] or "", row["due"]
        yield Open(*own, touches=ANYTHING, row=int(row["row"]), remark=row["remark"] or "")


def _needing(assessment: Assessment) -> Iterator[Open]:
    for result in assessment.stations:
        if result.verdict not in CALM:
            shown = VERDICTS[result.verdict].shown
            said = f"{shown}: {result.judgement.reason}"
            noted = " ".join(beside_advice(result, 1, _NOTED))
            yield Open(result.station.name, said, touches=touched_at([result]), noted=noted)
