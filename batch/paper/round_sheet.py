"""The round sheet: what to read at each station, and the boxes to write it in.

Stations stand in the order of the round. Their boxes follow the columns of the sheets Readings
and Work done, so that what was written is typed in row by row.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from siltbook.batch import letters
from siltbook.batch.errors import BookError
from siltbook.batch.model import CALM
from siltbook.batch.paper import page
from siltbook.batch.paper.shown import BLANK, gauge_of, on_gauges, over_at
from siltbook.batch.remarks import MOST, all_of, clipped, of_station
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates import look
from siltbook.templates.book import Book
from siltbook.templates.names import name_key
from siltbook.templates.safety import Touch
from siltbook.templates.shown import Shown

BOXES = (
    ("Date, time", 2.0), ("Inlet", 1.5), ("Outlet", 1.5), ("Flow", 1.3), ("Field", 1.3),
    ("Flush: cycles", 1.2), ("lowest inlet", 1.4), ("click / water heard / water at outlet", 2.3),
    ("Hand cleaning, zero seen", 1.7), ("Read by", 1.4), ("Remark", 3.4),
)  # fmt: skip
ANSWERS = ("", "", "", "", "", "", "", "y n / y n / y n", "y n / y n", "", "")
TOUCHED = frozenset({Touch.PRESSURE, Touch.OPENS_FILTER})


def stations_of(assessment: Assessment, names: Sequence[str], path: str) -> list[StationResult]:
    """The stations of a round in its order: by the register's column Order, then by its rows.

    `names`: only these; BookError where one is not in the register.
    """
    known = {name_key(result.station.name): result for result in assessment.stations}
    for name in names:
        if name_key(name) not in known:
            names_known = ", ".join(sorted(r.station.name for r in assessment.stations))
            there = f"stations: {names_known}" if names_known else "the register has no station"
            raise BookError(f"{path}: no station is called '{name}'; {there}.")
    asked = {name_key(name) for name in names}
    chosen = [r for key, r in known.items() if not asked or key in asked]
    return sorted(chosen, key=_place)


def _place(result: StationResult) -> tuple[float, int]:
    order = result.station.registered("order")
    return (float(order) if isinstance(order, (int, float)) else float("inf")), result.station.row


def is_due(result: StationResult, on: dt.date | None) -> bool:
    """Whether a station is to be read by that day."""
    by = result.judgement.read_by
    return by is not None and on is not None and by <= on


def round_sheet(
    assessment: Assessment,
    book: str,
    version: str,
    *,
    due: dt.date | None = None,
    names: Sequence[str] = (),
    size: str = "A4",
) -> bytes:
    """The round sheet as PDF bytes, A4 or Letter across.

    `due`: the day of the round, else the as-of date; stations that are to be read by then are
    marked. `names`: only these stations. BookError where the book has none of them.
    """
    made = round_of(assessment, book, due=due, names=names)
    width = page.inner_width(size, wide=True)
    story: list[Any] = [
        page.words(made.title, 15, bold=True, after=2),
        page.words(made.head, after=4),
        page.cautions_box(TOUCHED, width),
        page.words("", 4),
    ]
    for title, lines in made.stations:
        story += [_station(title, lines, width), page.words("", 3)]
    story = page.telling(story, page.LACKS)
    return page.made(story, made.title.replace(" –", ""), made.foot, version, size, wide=True)


@dataclass(frozen=True)
class Round:
    """What a round sheet says, on whatever it is printed: a title and lines for each station."""

    title: str
    head: str
    foot: str
    stations: tuple[tuple[str, tuple[str, ...]], ...]


def round_of(
    assessment: Assessment, book: str, *, due: dt.date | None, names: Sequence[str]
) -> Round:
    """The words of a round sheet; see `round_sheet`."""
    assessment = on_gauges(assessment)
    on, shown = due or assessment.as_of, assessment.book.settings.shown
    chosen = stations_of(assessment, names, book)
    if not chosen:
        raise BookError(f"{book}: the register has no station, so there is no round.")
    farm = assessment.book.settings.farm or book
    return Round(
        f"Round sheet – {farm}",
        _head(chosen, on, shown),
        f"{book} · as of {shown.on(assessment.as_of, BLANK)} · type each line into Readings and"
        " Work done",
        tuple(
            (_title(result, number, on), tuple(_known(assessment, result, on)))
            for number, result in enumerate(chosen, start=1)
        ),
    )


def _title(result: StationResult, number: int, on: dt.date | None) -> str:
    due = "DUE  " if is_due(result, on) else ""
    block = f" · {result.station.block}" if result.station.block else ""
    name = letters.named(result.station.name, result.station.row)
    return f"{number}. {due}{name}{block}"


def _head(chosen: Sequence[StationResult], on: dt.date | None, shown: Shown) -> str:
    marked = sum(is_due(result, on) for result in chosen)
    order = f" {shown.order}" if shown.order else ""
    return (
        f"Day of the round: {shown.on(on, BLANK)}.{order} {len(chosen)} stations, {marked} of them"
        " due (marked DUE)."
        " Read inlet first, then outlet, with both valves open. Circle y or n. Blank stays blank:"
        " write nothing that was not seen."
    )


def _station(title: str, lines: Sequence[str], width: float) -> Any:
    """One station: its name, what is known, what is agreed, and its boxes; never split."""
    from reportlab.platypus import KeepTogether, Table

    scale = width / sum(part for _, part in BOXES)
    widths = [part * scale for _, part in BOXES]
    told = [page.words(line) for line in lines]
    boxes = [
        [page.words(head) for head, _ in BOXES],
        [page.words(answer) for answer in ANSWERS],
    ]
    rules = [("GRID", (0, 0), (-1, -1), 0.7, "black"), *page.tight()]
    grid = Table(boxes, colWidths=widths, rowHeights=[None, 30], style=rules)
    return KeepTogether([page.words(title, 11, bold=True), *told, grid])


def _known(assessment: Assessment, result: StationResult, on: dt.date | None) -> Iterable[str]:
    """What somebody at the station wants to know: last reading, limits, verdict, agreed work."""
    station, latest = result.station, result.latest
    gauge, shown = gauge_of(station), assessment.book.settings.shown
    if latest is None:
        last = "Last: no usable reading"
    else:
        last = (
            f"Last, {shown.day(latest.date)}: inlet {gauge.number(latest.inlet)}, outlet "
            f"{gauge.number(latest.outlet)}, drop {gauge.shown(latest.drop)}"
        )
    least = gauge.at_least(assessment.book.settings.flush_inlet)
    limits = [f"limit {gauge.limit(station.limit)}", over_at(station, latest)]
    limits.append(f"in a flush the inlet stays at or above {least}")
    yield f"{last}. {'; '.join(part for part in limits if part)}."
    if not station.in_service:
        yield "Not in service."
    if said := of_station(station):
        yield said
    yield from all_of(result)
    if result.verdict not in CALM:
        yield f"{look.VERDICTS[result.verdict].shown}: {result.judgement.reason}"
    yield from agreed_lines(assessment.book, station.name, on)


def agreed_lines(book: Book, station: str, on: dt.date | None, most: int = MOST) -> Iterable[str]:
    """What was agreed for a station and is not done, in at most so many characters an action;
    what is due by that day is named so."""
    for record in book.agreed.records():
        if name_key(record["station"]) != name_key(station) or record["done"] is not None:
            continue
        due = record["due"]
        late = " – DUE" if due is not None and on is not None and due <= on else ""
        by = f", by {book.settings.shown.day(due)}" if due is not None else ""
        who = f" ({record['who']}{by})" if record["who"] else (f" ({by[2:]})" if by else "")
        yield f"Agreed{late}: {clipped(record['action'], most)}{who}"
