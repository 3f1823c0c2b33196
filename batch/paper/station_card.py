"""The station card: one page to hand to whoever does the work, or is called for help."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, NamedTuple

from siltbook.batch import letters
from siltbook.batch.model import History, Reading, Work
from siltbook.batch.paper import page
from siltbook.batch.paper.round_sheet import agreed_lines, stations_of
from siltbook.batch.paper.shown import BLANK, Gauge, gauge_of, on_gauges, over_at
from siltbook.batch.remarks import MANY, MOST, Remarks, beside_advice, of_station
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates import look
from siltbook.templates.safety import Step, touched_by
from siltbook.templates.shown import Shown


class _Room(NamedTuple):
    """What a card has room for."""

    entries: int  # of the log, the latest ones
    chart: float  # height [pt]; 0 for none
    text: int  # characters of one remark or agreed action
    noted: int  # remarks beside the work


# The first with which a card fits its page is taken.
_ROOMS = (_Room(14, 92, MOST, MANY), _Room(10, 84, MOST, MANY), _Room(7, 64, 160, 6),
          _Room(5, 48, 120, 4), _Room(3, 40, 80, 3), _Room(2, 36, 40, 2), _Room(2, 0, 60, 2),
          _Room(2, 0, 40, 1))  # fmt: skip
_PARTS = ("solenoid replaced", "controller replaced", "screen replaced")
_FACTS = 2  # columns of facts about the station


def station_cards(
    assessment: Assessment, book: str, version: str, names: Sequence[str], size: str = "A4"
) -> bytes:
    """A card for each of these stations, as PDF bytes, each on a page of its own.

    BookError where a name is not in the register.
    """
    from reportlab.platypus import PageBreak

    assessment, width = on_gauges(assessment), page.inner_width(size, wide=False)
    farm, remarks = assessment.book.settings.farm or book, Remarks.of(assessment.book)
    foot = f"{book} · as of {assessment.book.settings.shown.on(assessment.as_of, BLANK)}"

    def made(story: list[Any]) -> bytes:
        return page.made(story, f"Station card {farm}", foot, version, size, wide=False)

    def card(result: StationResult, room: _Room) -> bytes:
        return made(_card(assessment, remarks, result, width, room))

    story: list[Any] = []
    for result in stations_of(assessment, names, book):
        room = page.fitting(_ROOMS, partial(card, result))
        story += [PageBreak()] if story else []
        story += _card(assessment, remarks, result, width, room)
    return made(story)


def _card(
    assessment: Assessment, remarks: Remarks, result: StationResult, width: float, room: _Room
) -> list[Any]:
    as_shown = assessment.book.settings.shown
    gauge, station = gauge_of(result.station, as_shown), result.station
    shown = look.VERDICTS[result.verdict]
    steps = result.judgement.steps
    farm = assessment.book.settings.farm
    named = letters.named(station.name, station.row)
    title = " – ".join(part for part in (f"Station card: {named}", farm) if part)
    agreed = agreed_lines(assessment.book, station.name, None, room.text)
    noted = [of_station(station, room.text), *agreed]
    advice = beside_advice(result, room.noted, room.text)
    story = [
        page.words(title, 15, bold=True, after=2),
        *([page.words(as_shown.order, after=2)] if as_shown.order else []),
        page.words(shown.shown, 12, bold=True, after=1),
        page.words(result.judgement.reason, after=3),
        *(page.words(line) for line in noted if line),
        _facts(assessment, result, gauge, width),
        _chart(result.history, gauge, width, room.chart),
        *_log(remarks, result, gauge, width, room),
        page.words("The work, in order", 11, bold=True, after=1),
        *(page.words(line, bold=True) for line in advice),
        page.cautions_box(touched_by(steps), width),
        _boxes(steps, width),
        _found(width),
    ]
    return page.telling(story, page.LACKS)


def _facts(assessment: Assessment, result: StationResult, gauge: Gauge, width: float) -> Any:
    """Filter, gauge and people, two to a line."""
    from reportlab.platypus import Table

    said = [page.words(f"{name}: {value}") for name, value in _known(assessment, result, gauge)]
    said += [page.words("")] * (-len(said) % _FACTS)
    rows = [said[i : i + _FACTS] for i in range(0, len(said), _FACTS)]
    rules = [("BOX", (0, 0), (-1, -1), 0.7, "black"), *page.tight(1)]
    return Table(rows, colWidths=[width / _FACTS] * _FACTS, style=rules)


def _known(
    assessment: Assessment, result: StationResult, gauge: Gauge
) -> Iterator[tuple[str, str]]:
    station, settings = result.station, assessment.book.settings
    filters = " ".join(
        part for part in (station.filter_type, f"{station.grade:.0f} µm" if station.grade else "")
        if part
    )  # fmt: skip
    yield "Block", station.block or BLANK
    yield "Filter", filters or BLANK
    yield "Maker and model", str(station.registered("maker") or BLANK)
    yield "Serial number", str(station.registered("serial") or BLANK)
    yield "Limit", gauge.limit(station.limit)
    yield "Clean drop", gauge.shown(station.clean_drop)
    yield "Lowest inlet in a flush", gauge.at_least(settings.flush_inlet)
    yield "Flush cycles", f"{settings.flush_cycles}"
    yield "Gauge", _gauge(result, gauge)
    yield "Reading that is over", over_at(station, result.latest).removeprefix("over: ") or BLANK
    yield "Contact", str(station.registered("contact") or BLANK)
    yield "Parts replaced", "; ".join(_parts(result.history, gauge.look)) or "none in this book"


def _gauge(result: StationResult, gauge: Gauge) -> str:
    station = result.station.now
    parts = [station.gauges or ""]
    if station.full_scale:
        parts.append(f"to {gauge.shown(station.full_scale)}")
    if station.gauge_class:
        parts.append(f"class {station.gauge_class:g}")
    if station.changed:
        parts.append(f"since {gauge.look.day(station.changed[-1].since)}")
    return ", ".join(part for part in parts if part) or BLANK


def _parts(history: History, shown: Shown) -> Iterator[str]:
    for work in history.work:
        if work.work in _PARTS:
            yield f"{work.work.removesuffix(' replaced')} {shown.day(work.date)}"


def episode(result: StationResult, most: int) -> list[Reading | Work]:
    """The entries of the open episode, from the reading before it; at most the latest so many."""
    entries = list(result.history.entries)
    last = result.judgement.episode
    if last is not None and last.open:
        first = next((i for i, e in enumerate(entries) if e.date >= last.opened), len(entries))
        entries = entries[max(first - 1, 0) :]
    return entries[-most:]


def _log(
    remarks: Remarks, result: StationResult, gauge: Gauge, width: float, room: _Room
) -> list[Any]:
    from reportlab.platypus import Table

    heads = ("Date", "What", f"Inlet ({gauge.unit})", "Outlet", "Drop", "Noted")
    rows = [[page.words(head, bold=True) for head in heads]]
    for entry in episode(result, room.entries):
        *cells, noted = _entry(entry, gauge)
        said = "; ".join(part for part in (noted, remarks.beside(entry, room.text)) if part)
        rows.append([page.words(cell) for cell in (*cells, said)])
    share = (0.13, 0.2, 0.13, 0.1, 0.1, 0.34)
    rules = [("LINEBELOW", (0, 0), (-1, -1), 0.4, "black"), *page.tight(0.6)]
    table = Table(rows, colWidths=[part * width for part in share], style=rules)
    return [page.words("What was read and done", 11, bold=True, after=1), table]


def _entry(entry: Reading | Work, gauge: Gauge) -> tuple[str, ...]:
    if isinstance(entry, Reading):
        pressures = (gauge.number(p) for p in (entry.inlet, entry.outlet, entry.drop))
        noted = f"not used: {entry.why_unusable}" if entry.why_unusable else ""
        return (gauge.look.day(entry.date), f"read, {entry.occasion}", *pressures, noted)
    said = [f"{entry.cycles:g} cycles" if entry.cycles is not None else ""]
    if entry.work == "flush":
        said += entry.missing_signs
        if entry.flush_inlet is not None:
            said.append(f"lowest inlet {gauge.shown(entry.flush_inlet)}")
    noted = "; ".join(part for part in said if part)
    return (gauge.look.day(entry.date), entry.work, "", "", "", noted)


def _boxes(steps: Sequence[Step], width: float) -> Any:
    """The steps with a box to tick before each."""
    from reportlab.platypus import Table

    ruled = [("BOX", (0, 0), (0, 0), 0.8, "black")]
    box = Table([[""]], colWidths=[8], rowHeights=[8], style=ruled)
    rows = [[box, page.words(f"{n}. {step.words}")] for n, step in enumerate(steps, start=1)]
    if not rows:
        return page.words("Nothing needs doing now.")
    return Table(rows, colWidths=[16, width - 16], style=page.tight(0.8))


def _found(width: float) -> Any:
    from reportlab.platypus import Table

    rows = [[page.words(word), ""] for word in ("What was found", "What was done", "Who, when")]
    rules = [("LINEBELOW", (1, 0), (1, -1), 0.7, "black"), *page.tight(3)]
    return Table(rows, colWidths=[90, width - 90], style=rules)


def _chart(history: History, gauge: Gauge, width: float, height: float) -> Any:
    """The drops of the latest readings with the limit, black on white."""
    from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, String
    from reportlab.lib.colors import black

    if not height:
        return page.words("")
    left = 34.0
    readings = [r for r in history.readings if r.usable and r.drop is not None][-40:]
    sheet = Drawing(width, height)
    if len(readings) < 2:
        sheet.add(String(0, height / 2, "Fewer than two usable readings: no chart.", fontSize=9))
        return sheet
    first, last = readings[0].date, readings[-1].date
    days = max((last - first).days, 1)
    top = 1.1 * max(history.station.limit, *(r.drop or 0.0 for r in readings))

    def at(reading: Reading) -> tuple[float, float]:
        x = left + (width - left - 8) * (reading.date - first).days / days
        return x, 14 + (height - 20) * max(reading.drop or 0.0, 0.0) / top

    limit = 14 + (height - 20) * history.station.limit / top
    sheet.add(Line(left, limit, width - 8, limit, strokeWidth=1.2, strokeDashArray=[5, 3]))
    sheet.add(Line(left, 14, width - 8, 14, strokeWidth=0.7))
    sheet.add(PolyLine([v for r in readings for v in at(r)], strokeWidth=0.9))
    for reading in readings:
        sheet.add(Circle(*at(reading), 1.7, fillColor=black, strokeColor=None))
    small: dict[str, Any] = {"fontName": "Vera", "fontSize": page.TEXT}
    sheet.add(String(0, limit - 3, gauge.number(history.station.limit), **small))
    sheet.add(String(0, 11, "0", **small))
    sheet.add(String(left, 2, gauge.look.day(first), **small))
    sheet.add(String(width - 8, 2, gauge.look.day(last), textAnchor="end", **small))
    sheet.add(String(left + 90, 2, f"drop ({gauge.unit}); broken line: limit", **small))
    return sheet
