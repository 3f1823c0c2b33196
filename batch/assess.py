"""From a book to its assessment: histories, verdicts, and the findings that need both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

from siltbook.batch.ladder.replay import OFTEN, SOON, recurring
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import CLEANINGS, History, Reading, Verdict
from siltbook.batch.numbers.bill import farm_bill
from siltbook.batch.numbers.history import histories, station_gauge
from siltbook.batch.numbers.outlook import Outlook, outlooks
from siltbook.batch.numbers.runs import fall_between
from siltbook.batch.results import Assessment, StationResult
from siltbook.checks.findings import Finding, find
from siltbook.checks.gauges import gauge_advice
from siltbook.checks.wording import listed
from siltbook.templates.book import Book

URGENCY = {verdict: i for i, verdict in enumerate(Verdict)}
COARSE_SHARE = 0.2  # of the limit


def as_of_date(book: Book, asked: dt.date | None) -> dt.date | None:
    """The as-of date: asked for, else the review date, else the latest entry; None if no entry."""
    if asked is not None:
        return asked
    if book.settings.review_date is not None:
        return book.settings.review_date
    days = [*book.readings.frame["date"], *book.work.frame["date"]]
    return max(days) if days else None


def assess(
    book: Book, *, as_of: dt.date | None = None, findings: tuple[Finding, ...] = ()
) -> Assessment:
    """Judge every station of a book; `findings` of the reader and the checks are carried along."""
    on = as_of_date(book, as_of)
    found = histories(book, on)
    ahead = outlooks(found, book.settings, on)
    results = [_station(book, h, o, on) for h, o in zip(found, ahead, strict=True)]
    results.sort(key=by_urgency)
    own = [f for result in results for f in _own_findings(book, result)]
    return Assessment(book, on, tuple(results), (*findings, *own))


def with_bill(assessment: Assessment) -> Assessment:
    """The assessment with what dirt cost, which no verdict rests on."""
    known = [(result.history, result.outlook) for result in assessment.stations]
    bill = farm_bill(known, assessment.book.settings)
    return replace(assessment, bill=bill)


def by_urgency(result: StationResult) -> tuple[int, dt.date, float, str]:
    """Sorts stations as `Assessment.stations` has them."""
    share = 0.0
    if result.latest is not None and result.latest.drop is not None:
        share = result.latest.drop / result.station.limit
    ahead = result.outlook.forecast if result.outlook else None
    expected = (ahead.date or ahead.passed) if ahead else None
    return URGENCY[result.verdict], expected or dt.date.max, -share, result.station.name


def _station(book: Book, history: History, outlook: Outlook, on: dt.date | None) -> StationResult:
    judgement = judge(history, book.settings, on, outlook.forecast, outlook.worth.flushing_helps)
    open_ = next((e for e in judgement.episodes[-1:] if e.closed is None), None)
    return StationResult(
        history=history,
        judgement=judgement,
        latest=history.latest,
        days_over=None if open_ is None or on is None else open_.days(on),
        last_flush=_last(history, ("flush",)),
        last_cleaning=_last(history, CLEANINGS),
        outlook=outlook,
    )


def _last(history: History, works: tuple[str, ...]) -> dt.date | None:
    return next((w.date for w in reversed(history.work) if w.work in works), None)


def _own_findings(book: Book, result: StationResult) -> Iterator[Finding]:
    yield from _coarse_gauge(book, result)
    yield from _unexplained_falls(book, result.history)
    for episodes in recurring(result.judgement.episodes):
        third = episodes[-1]
        over = listed([str(episode.opened) for episode in episodes])
        yield find(
            "episodes-recur",
            sheet=book.readings.sheet,
            cell=book.readings.cell("inlet", third.row),
            read=f"{result.station.name} went over on {over}, each time at most {SOON} days after "
            "it had come back in range",
            accepted=f"a filter that stays in range for more than {SOON} days once it is clean, or "
            f"goes over at most twice in {OFTEN} days",
            station=result.station.name,
            day=third.opened,
        )


def _coarse_gauge(book: Book, result: StationResult) -> Iterator[Finding]:
    station, fitness = result.station, station_gauge(result.station)
    least = COARSE_SHARE * station.limit
    if fitness.now is not None and fitness.now > least:
        found = find(
            "gauge-too-coarse",
            sheet=book.stations.sheet,
            cell=book.stations.cell("division", station.row),
            read=f"a gauge that can tell no excess under {fitness.now:.2f} m",
            accepted=f"at most {least:.2f} m, a fifth of the limit",
            station=station.name,
        )
        yield replace(found, message=f"{found.message} {gauge_advice(fitness, least)}")


def _unexplained_falls(book: Book, history: History) -> Iterator[Finding]:
    before: Reading | None = None
    for entry in history.entries:
        if not isinstance(entry, Reading):
            before = None  # work explains a fall
            continue
        if not entry.usable:
            continue
        reference = history.station.reference_flow
        n = history.exponent
        fell = fall_between(before, entry, reference, n) if before is not None else None
        if fell is not None and before is not None:
            yield find(
                "drop-fell-unexplained",
                sheet=book.readings.sheet,
                cell=book.readings.cell("inlet", entry.row),
                read=f"{fell[0]:.2f} m on {before.date}, then {fell[1]:.2f} m on {entry.date}",
                accepted="a drop that stays or rises until work is logged",
                station=history.station.name,
                day=entry.date,
            )
        before = entry
