"""From a book to its assessment: histories, verdicts, and the findings that need both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from itertools import takewhile

from siltbook.batch.cautions import made_safe_first
from siltbook.batch.ladder.doubts import alike_on_end, outlet_still
from siltbook.batch.ladder.replay import OFTEN, SOON, both_sides_alike, recurring
from siltbook.batch.ladder.unused import unused_rows
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import (
    CLEANINGS,
    SAME_BOTH_SIDES,
    History,
    Judgement,
    Reading,
    Station,
    Verdict,
    Work,
    is_over,
)
from siltbook.batch.numbers.bill import farm_bill
from siltbook.batch.numbers.history import histories, station_gauge
from siltbook.batch.numbers.outlook import Outlook, outlooks
from siltbook.batch.numbers.runs import fall_between, is_reset
from siltbook.batch.numbers.slips import TURNED
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.weighed import Weighed, noted
from siltbook.checks.findings import Finding, find
from siltbook.checks.gauges import gauge_advice
from siltbook.checks.lastday import latest_day
from siltbook.checks.wording import listed
from siltbook.templates.book import Book, Settings
from siltbook.templates.shown import Shown

URGENCY = {verdict: i for i, verdict in enumerate(Verdict)}
_HIGH = "after work, or while the drop stood over half the limit"
COARSE_SHARE = 0.2  # of the limit


def as_of_date(book: Book, asked: dt.date | None) -> dt.date | None:
    """The as-of date: asked for, else the review date, else the latest entry; None if no entry.

    An entry that is far ahead of all others is not it (`latest_day`).
    """
    if asked is not None:
        return asked
    if book.settings.review_date is not None:
        return book.settings.review_date
    return latest_day(book)


def assess(
    book: Book, *, as_of: dt.date | None = None, findings: tuple[Finding, ...] = ()
) -> Assessment:
    """Judge every station of a book; `findings` of the reader and the checks are carried along."""
    on = as_of_date(book, as_of)
    found = histories(book, on)
    ahead = outlooks(found, book.settings, on)
    unused, said = unused_rows(book, findings), noted(book, found, on)
    results = [
        _with_remarks(
            _station(book, h, o, on, unused.get(h.station.name, "")),
            said.of(h),
            book.settings.shown,
        )
        for h, o in zip(found, ahead, strict=True)
    ]
    results.sort(key=by_urgency)
    own = [f for result in results for f in _own_findings(book, result)]
    return Assessment(book, on, tuple(results), (*findings, *own), homeless=said.homeless)


def _with_remarks(result: StationResult, own: Weighed, shown: Shown) -> StationResult:
    lines = tuple(remark.line(shown) for remark in own.remarks)
    said = replace(result, remarks=own.remarks, noted=lines, earlier=own.earlier, heed=own.heed)
    return made_safe_first(said)


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


def _station(
    book: Book, history: History, outlook: Outlook, on: dt.date | None, unused: str
) -> StationResult:
    judgement = judge(
        history, book.settings, on, outlook.forecast, outlook.effectiveness.flushing_helps
    )
    judgement = replace(judgement, reason=f"{judgement.reason}{unused}")
    days, at_least = days_over(history, judgement, book.settings, on)
    return StationResult(
        history=history,
        judgement=judgement,
        latest=history.latest,
        days_over=days,
        last_flush=_last(history, ("flush",)),
        last_cleaning=_last(history, CLEANINGS),
        outlook=outlook,
        days_at_least=at_least,
    )


def days_over(
    history: History, judgement: Judgement, settings: Settings, on: dt.date | None
) -> tuple[int | None, bool]:
    """Days of the open episode [days], and whether they may be more; None where none is open.

    From the reading that opened it to the as-of date. Where the latest reading is older than the
    reading interval, or the station was flushed completely or opened since, nobody knows when it
    came back in range: then to that reading, and it is 'at least'.
    """
    open_ = judgement.episode
    if open_ is None or not open_.open or on is None:
        return None, False
    latest = history.latest
    last = latest.date if latest and latest.date >= open_.opened else open_.opened
    after = history.entries[history.entries.index(latest) + 1 :] if latest else history.entries
    least = settings.flush_cycles, settings.flush_inlet
    worked = any(isinstance(e, Work) and is_reset(e, *least) for e in after)
    if (on - last).days > settings.interval or worked:
        return (last - open_.opened).days, True
    return open_.days(on), False


def _last(history: History, works: tuple[str, ...]) -> dt.date | None:
    return next((w.date for w in reversed(history.work) if w.work in works), None)


def _unit_doubtful(book: Book, history: History) -> Iterator[Finding]:
    """A unit in which no reading of the station can be right, and another one in which all are."""
    read = [r for r in history.readings if r.inlet]
    odd = {r.looks_like for r in read}
    if not read or len(odd) != 1 or "" in odd:
        return
    station, likely = history.station, odd.pop()
    own = station.on(read[-1].date).unit
    as_if = f"typed in {likely}" if likely != own else "too low by a decimal place, or typed in MPa"
    count = f"all {len(read)} readings look" if len(read) > 1 else "its one reading looks"
    read_as = f"{own}, while {count} {as_if}; not used"
    yield _at_unit(book, station, "unit-doubtful", read_as, "the unit of the readings")


def _at_unit(book: Book, station: Station, code: str, read: str, accepted: str) -> Finding:
    """A finding at the unit of a station's row in the register."""
    cell = book.stations.cell("unit", station.row)
    sheet, name = book.stations.sheet, station.name
    return find(code, sheet=sheet, cell=cell, read=read, accepted=accepted, station=name)


def _unit_contradicts(book: Book, history: History) -> Iterator[Finding]:
    """A register whose unit the earlier readings contradict, all of them in the same way."""
    read = [r for r in history.readings if r.inlet or r.outlet]
    early = list(takewhile(lambda r: r.looks_like == read[0].looks_like, read))
    if len(early) < TURNED or len(early) == len(read) or not early[0].looks_like:
        return
    station, likely = history.station, early[0].looks_like
    unit = station.on(early[0].date).unit
    if likely == unit:
        return
    until = book.settings.shown.day(early[-1].date)
    read_as = (
        f"{unit}, while the {len(early)} readings up to {until} look typed"
        f" in {likely}; they were not used"
    )
    yield _at_unit(book, station, "unit-contradicts", read_as, "the unit of every reading")


def _own_findings(book: Book, result: StationResult) -> Iterator[Finding]:
    yield from _unit_doubtful(book, result.history)
    yield from _unit_contradicts(book, result.history)
    yield from _coarse_gauge(book, result)
    yield from _order_taken(book, result.history)
    yield from _alike(book, result.history)
    yield from _outlet_still(book, result.history)
    yield from _alike_on_end(book, result.history)
    yield from _unexplained_falls(book, result.history)
    for episodes in recurring(result.judgement.episodes):
        *_, third = episodes
        over = listed([book.settings.shown.day(episode.opened) for episode in episodes])
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


def _order_taken(book: Book, history: History) -> Iterator[Finding]:
    """The days without times that were put into the one order that makes sense."""
    for day in history.reordered:
        today = [e for e in history.entries if e.date == day]
        words = []
        for entry in today:
            over = isinstance(entry, Reading) and is_over(entry.drop or 0.0, history.station.limit)
            work = entry.work if isinstance(entry, Work) else ""
            words.append(work or ("over" if over else "in range"))
        table = book.work if isinstance(today[0], Work) else book.readings
        on = book.settings.shown.day(day)
        yield find(
            "order-taken",
            sheet=table.sheet,
            cell=table.cell("time", today[0].row),
            read=f"{listed(words)} on {on}, not all with a time; taken in that order",
            accepted="a time on each of them",
            station=history.station.name,
            day=day,
        )


def _alike(book: Book, history: History) -> Iterator[Finding]:
    """Readings with both sides alike where that may only look like a clean filter."""
    waiting: Reading | None = None
    day = book.settings.shown.day
    for reading in history.readings:
        if reading.why_unusable == SAME_BOTH_SIDES:
            waiting, read = reading, f"{_HIGH}, and no flow read; not used"
        elif waiting is not None and both_sides_alike(reading):
            read = f"as on {day(waiting.date)}, and no flow read; this second one was used"
            waiting = None
        else:
            waiting = None if reading.usable else waiting
            continue
        read = f"inlet and outlet the same on {day(reading.date)}, {read}"
        accepted = "an outlet below the inlet, or a flow that was read"
        yield _at_outlet(book, history, reading, "both-sides-alike", read, accepted)


def _at_outlet(
    book: Book, history: History, reading: Reading, code: str, read: str, accepted: str
) -> Finding:
    """A finding at the outlet of one of a station's readings."""
    cell = book.readings.cell("outlet", reading.row)
    sheet, name = book.readings.sheet, history.station.name
    return find(
        code, sheet=sheet, cell=cell, read=read, accepted=accepted, station=name, day=reading.date
    )


def _outlet_still(book: Book, history: History) -> Iterator[Finding]:
    """An outlet that has read the same for long while the inlet rose and fell."""
    still, latest = outlet_still(history), history.latest
    if still is None or latest is None:
        return
    say = book.settings.shown
    read = (
        f"{say.level(still.pressure)} {still.readings} times on end, since"
        f" {say.day(still.since)}, while the inlet rose and fell"
    )
    accepted = "an outlet that moves with the inlet"
    yield _at_outlet(book, history, latest, "outlet-still", read, accepted)


def _alike_on_end(book: Book, history: History) -> Iterator[Finding]:
    """Inlet and outlet that have read alike too often for any filter."""
    alike, latest = alike_on_end(history), history.latest
    if alike is None or latest is None:
        return
    since = book.settings.shown.day(alike.since)
    read = f"inlet and outlet the same {alike.readings} times on end, since {since}"
    accepted = "an outlet below the inlet while water flows"
    yield _at_outlet(book, history, latest, "alike-on-end", read, accepted)


def _coarse_gauge(book: Book, result: StationResult) -> Iterator[Finding]:
    station, fitness = result.station, station_gauge(result.station.now)
    least, say = COARSE_SHARE * station.limit, book.settings.shown.fine
    table = book.gauges if station.now.gauge_row else book.stations
    if fitness.now is not None and fitness.now > least:
        found = find(
            "gauge-too-coarse",
            sheet=table.sheet,
            cell=table.cell("division", station.now.gauge_row or station.row),
            read=f"a gauge that can tell no excess under {say(fitness.now)}",
            accepted=f"at most {say(least)}, a fifth of the limit",
            station=station.name,
        )
        yield replace(found, message=f"{found.message} {gauge_advice(fitness, least, say)}")


def _unexplained_falls(book: Book, history: History) -> Iterator[Finding]:
    say, day = book.settings.shown.drop, book.settings.shown.day
    before: Reading | None = None
    days = {work.date for work in history.work}  # whichever came first on such a day
    for entry in history.entries:
        if not isinstance(entry, Reading):
            before = None  # work explains a fall
            continue
        if not entry.usable:
            continue
        if entry.date in days or (before is not None and before.date in days):
            before = entry
            continue
        reference = history.station.reference_flow
        n = history.exponent
        fell = fall_between(before, entry, reference, n) if before is not None else None
        if fell is not None and before is not None:
            yield find(
                "drop-fell-unexplained",
                sheet=book.readings.sheet,
                cell=book.readings.cell("inlet", entry.row),
                read=f"{say(fell[0])} on {day(before.date)}, then {say(fell[1])} on"
                f" {day(entry.date)}",
                accepted="a drop that stays or rises until work is logged",
                station=history.station.name,
                day=entry.date,
            )
        before = entry
