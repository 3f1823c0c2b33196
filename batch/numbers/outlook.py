"""What a station's runs say about the days ahead: forecast, and when to read it again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from siltbook.batch.model import History, is_over
from siltbook.batch.numbers.costs import DirtCost, Line, dirt_cost, excess_line
from siltbook.batch.numbers.drops import implausibly_low
from siltbook.batch.numbers.effectiveness import Effectiveness, cleaning_effectiveness
from siltbook.batch.numbers.forecast import MOST_FARM, Forecast, forecast
from siltbook.batch.numbers.readings import ALIKE, latest_alike
from siltbook.batch.numbers.runs import Run, cut_runs
from siltbook.batch.numbers.training import training_runs
from siltbook.templates.book import Settings
from siltbook.templates.shown import Shown

MOST_STATIONS = 2000  # in one book; a forecast takes milliseconds, and minutes for everybody's
CROWDED = (
    f"more than {MOST_STATIONS:,} stations in one book, so forecasts are left out:"
    " split the book by farm"
)
WATCH_INTERVALS = 2.0  # a forecast within so many reading intervals makes a station watched


@dataclass(frozen=True)
class Outlook:
    """One station's runs and all that follows from them; `worth` is that of its cleaning work."""

    runs: tuple[Run, ...]
    forecast: Forecast
    cost: DirtCost
    effectiveness: Effectiveness
    excess: Line | None = None  # over the clean drop; None where that is not known


def outlooks(
    histories: Sequence[History], settings: Settings, as_of: dt.date | None
) -> tuple[Outlook, ...]:
    """One outlook per history; the runs of the farm's other stations help where one is short."""
    runs = [cut_runs(history, settings.flush_cycles, settings.flush_inlet) for history in histories]
    farm = training_runs(run for own in runs for run in own)
    crowded = CROWDED if len(histories) > MOST_STATIONS else ""
    return tuple(
        # A forecast learns from the farm's latest runs, of which its own are passed over.
        _outlook(history, own, farm[-(MOST_FARM + len(own)) :], settings, as_of, crowded)
        for history, own in zip(histories, runs, strict=True)
    )


def forecasts_of(
    histories: Sequence[History],
    wanted: Collection[str],
    settings: Settings,
    as_of: dt.date | None,
) -> dict[str, Forecast]:
    """The forecasts of the stations `wanted` alone, as `outlooks` gives them; by name."""
    if not wanted:
        return {}
    if len(histories) > MOST_STATIONS:
        return dict.fromkeys(wanted, Forecast(None, None, None, CROWDED))
    runs = [cut_runs(history, settings.flush_cycles, settings.flush_inlet) for history in histories]
    farm = training_runs(run for own in runs for run in own)
    return {
        history.station.name: _forecast(
            history, own, farm[-(MOST_FARM + len(own)) :], as_of, "", settings.shown
        )
        for history, own in zip(histories, runs, strict=True)
        if history.station.name in wanted
    }


def _outlook(
    history: History,
    own: tuple[Run, ...],
    farm: Sequence[Run],
    settings: Settings,
    as_of: dt.date | None,
    crowded: str,
) -> Outlook:
    shown = settings.shown
    expected = _forecast(history, own, farm, as_of, crowded, shown)
    value = cleaning_effectiveness(history.station, own, settings.interval, shown)
    clean = history.station.clean_drop
    line = None if clean is None else excess_line(history, clean, settings.interval)
    return Outlook(own, expected, dirt_cost(history, settings, line), value, line)


def _forecast(
    history: History,
    own: tuple[Run, ...],
    farm: Sequence[Run],
    as_of: dt.date | None,
    crowded: str,
    shown: Shown,
) -> Forecast:
    station, latest = history.station, history.latest
    if as_of is None or latest is None or latest.drop is None:
        return Forecast(None, None, None, "no usable reading")
    if not station.in_service:
        return Forecast(None, None, None, "not in service")
    if is_over(latest.drop, station.limit):
        return Forecast(None, None, None, "already over the limit")
    if implausibly_low(history, latest):
        return Forecast(None, None, None, "the drop is implausibly low: see to the element first")
    if len(latest_alike(history)) >= ALIKE:
        why = "inlet and outlet read alike: there is no drop to reckon from"
        return Forecast(None, None, None, why)
    if crowded:
        return Forecast(None, None, None, crowded)
    expected = forecast(own, farm, station.limit, as_of, latest.u_between)
    return _from(expected, as_of, latest.date, shown)


def _from(expected: Forecast, as_of: dt.date, read: dt.date, shown: Shown) -> Forecast:
    """A forecast without the days before the as-of date; silent where the expected one is."""
    if expected.date is None or expected.low is None or expected.low >= as_of:
        return expected
    if expected.date >= as_of:
        return replace(expected, low=as_of)
    day, since = shown.day(expected.date), shown.day(read)
    why = f"the expected day, {day}, has passed, and no usable reading since {since}"
    return Forecast(None, None, None, why, passed=expected.date)


def soon(expected: Forecast, settings: Settings, as_of: dt.date | None) -> bool:
    """Whether the limit is expected to be reached within two reading intervals, or was."""
    if expected.passed is not None:
        return True
    if expected.date is None or as_of is None:
        return False
    return (expected.date - as_of).days <= WATCH_INTERVALS * settings.interval
