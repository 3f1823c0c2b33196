"""The season on one page, as a PDF that needs no other program to be made.

The same assessment gives the same bytes: no clock, no compression.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import chain
from typing import TYPE_CHECKING, Any

from siltbook.batch import letters
from siltbook.batch.archive.season import StationSeason, left_open, station_seasons
from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM
from siltbook.batch.results import Assessment
from siltbook.batch.tables.describe import Column, Kind, in_unit
from siltbook.batch.tables.season import SEASON_PAGE
from siltbook.templates import look
from siltbook.templates.safety import Touch, cautions
from siltbook.templates.shown import Shown

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_MOST_ROWS = 22
_MARGIN = 36.0  # [pt]
_ROW = 12.5  # [pt]
_DIGITS = {Kind.PRESSURE: 2, Kind.RATE: 3, Kind.ENERGY: 0, Kind.MONEY: 2, Kind.COUNT: 0}
_SMALL = 6.5  # [pt], with lines of _SMALL_LINE [pt]
_SMALL_LINE = 8.0


@dataclass(frozen=True)
class _Page:
    """The page being drawn: canvas, size [pt] and the height that is left [pt from below]."""

    canvas: Canvas
    width: float
    height: float


def summary(assessment: Assessment, book: str, version: str) -> bytes:
    """One A4 page, landscape: the season's figures, every station, and what remained open."""
    from reportlab import Version
    from reportlab.lib.pagesizes import A4, landscape
    from reportlab.pdfgen.canvas import Canvas

    target = BytesIO()
    size = landscape(A4)
    canvas = Canvas(target, pagesize=size, pageCompression=0, invariant=1)
    register_fonts()
    canvas.setTitle(_shown(f"Season summary {assessment.book.settings.farm}"))
    canvas.setCreator(f"siltbook {version}")
    canvas.setProducer(f"reportlab {Version}")  # another one makes another file of the same page
    page = _Page(canvas, *size)
    seasons = station_seasons(assessment)
    entries = _left_open(assessment)
    y = _heading(page, assessment, book, version)
    y = _lacks(page, assessment, book, entries, y)
    y = _figures(page, assessment, seasons, y - 22)
    y = _table(page, assessment, seasons, y - 16)
    small = _folded(page, " ".join(_cautions(assessment)))
    _still_open(page, entries, y - 8, _SMALL_LINE * len(small))
    _foot(page, small)
    canvas.showPage()
    canvas.save()
    return target.getvalue()


def register_fonts() -> None:
    """The library's own free fonts, embedded, so that the page looks the same in thirty years."""
    from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    for name, file in (("Vera", "Vera.ttf"), ("VeraBd", "VeraBd.ttf")):
        if name not in getRegisteredFontNames():
            registerFont(TTFont(name, file))


_WIDEST = 500  # characters; more than any line of the page takes


def _shown(text: object) -> str:
    """Text as the page's font can show it; a letter that it has not becomes '?'."""
    return letters.shown(str(text)[:_WIDEST])


def _put(
    page: _Page,
    x: float,
    y: float,
    text: object,
    size: float = 8,
    *,
    bold: bool = False,
    colour: str = look.INK,
    right: bool = False,
    width: float | None = None,
) -> None:
    """Write one line at x, y [pt]; cut to `width` [pt] where one is given."""
    font = "VeraBd" if bold else "Vera"
    page.canvas.setFont(font, size)
    page.canvas.setFillColor(colour)
    shown = _shown(text)
    if width is not None:
        shown = _cut(page, shown, font, size, width)
    (page.canvas.drawRightString if right else page.canvas.drawString)(x, y, shown)


def _cut(page: _Page, text: str, font: str, size: float, width: float) -> str:
    """The text, or as much of it as the width [pt] takes, with three dots behind."""
    if page.canvas.stringWidth(text, font, size) <= width:
        return text
    while text and page.canvas.stringWidth(text + "...", font, size) > width:
        text = text[:-1]
    return text + "..."


def _heading(page: _Page, assessment: Assessment, book: str, version: str) -> float:
    settings = assessment.book.settings
    y = page.height - _MARGIN - 14
    name = " - ".join(t for t in (settings.farm, settings.season) if t) or book
    wide = page.width - 2 * _MARGIN
    _put(page, _MARGIN, y, f"Season summary: {name}", 16, bold=True, width=wide)
    as_of = assessment.book.settings.shown.as_of(assessment.as_of, "no entry")
    line = f"From the workbook {book}, as of {as_of}. Made by siltbook {version}."
    _put(page, _MARGIN, y - 14, line, 8, colour=look.QUIET, width=wide)
    return y - 14


def _lacks(
    page: _Page, assessment: Assessment, book: str, entries: Sequence[Sequence[str]], y: float
) -> float:
    """A line where letters of the page stand as '?'; the height that is left [pt]."""
    settings = assessment.book.settings
    names = [result.station.name for result in assessment.stations]
    own = (book, settings.farm, settings.season, settings.currency, *names, *chain(*entries))
    if not any(map(letters.lacking, own)):
        return y
    _put(page, _MARGIN, y - 11, letters.LACKS_ROWS, 8, width=page.width - 2 * _MARGIN)
    return y - 11


def _figures(
    page: _Page, assessment: Assessment, seasons: Sequence[StationSeason], y: float
) -> float:
    """A row of figures with their words beneath."""
    wide = (page.width - 2 * _MARGIN) / 7
    for i, (figure, words) in enumerate(_totals(assessment, seasons)):
        x = _MARGIN + i * wide
        _put(page, x, y - 6, figure, 14, bold=True, width=wide - 6)
        for n, line in enumerate(words):
            _put(page, x, y - 18 - n * 9, line, 7, colour=look.QUIET, width=wide - 6)
    return y - 27


def _totals(
    assessment: Assessment, seasons: Sequence[StationSeason]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each figure with the lines beneath it."""
    doing = sum(s.result.verdict not in CALM for s in seasons)
    counts = assessment.book.counts.get("Readings")
    yield f"{len(seasons)}", ("stations",)
    yield f"{doing}", ("needed something at the end",)
    yield f"{counts.used} of {counts.read}" if counts else "-", ("readings used",)
    yield f"{sum(s.episodes for s in seasons)}", ("times over the limit",)
    yield f"{sum(s.days_over for s in seasons)}", ("station days over the limit",)
    energy = [s.energy_kwh for s in seasons if s.energy_kwh is not None]
    money = [s.energy_cost for s in seasons if s.energy_cost is not None]
    known = f"of {len(energy)} of {len(seasons)} stations"
    yield f"{sum(energy):.0f} kWh" if energy else "not known", ("energy that dirt cost", known)
    currency = assessment.book.settings.currency
    priced = f"of {len(money)} of {len(seasons)} stations"
    yield f"{sum(money):.2f} {currency}" if money else "not known", ("its price", priced)


def _table(
    page: _Page, assessment: Assessment, seasons: Sequence[StationSeason], y: float
) -> float:
    x = _MARGIN
    page.canvas.setFillColor(look.HEAD_FILL)
    page.canvas.rect(x, y - 4, page.width - 2 * _MARGIN, _ROW + 1, stroke=0, fill=1)
    shown = assessment.book.settings.shown
    for column in in_unit(SEASON_PAGE, shown).columns:
        right = column.kind in _DIGITS and not column.style
        at = x + (column.width - 4 if right else 3)
        _put(page, at, y, column.title, 7, bold=True, right=right)
        x += column.width
    longest = max((s.days_over for s in seasons), default=0)
    for season in seasons[:_MOST_ROWS]:
        y -= _ROW
        _line(page, season, y, longest, shown)
    more = len(seasons) - _MOST_ROWS
    if more > 0:
        y -= _ROW
        _put(page, _MARGIN + 3, y, f"and {more} more in data/verdicts.csv", 7.5, colour=look.QUIET)
    return y


def _line(page: _Page, season: StationSeason, y: float, longest: int, shown: Shown) -> None:
    x, table = _MARGIN, in_unit(SEASON_PAGE, shown)
    digits = {**_DIGITS, Kind.PRESSURE: shown.digits.drop, Kind.RATE: shown.digits.daily}
    for column, value in zip(table.columns, table.values(season), strict=True):
        if column.kind is Kind.NAME:
            value = letters.row_first(str(value), season.result.station.row)
        _cell(page, (x, y), column, value, longest, digits)
        x += column.width
    page.canvas.setStrokeColor(look.RULE)
    page.canvas.setLineWidth(0.4)
    page.canvas.line(_MARGIN, y - 3.5, page.width - _MARGIN, y - 3.5)


def _cell(
    page: _Page,
    at: tuple[float, float],
    column: Column[StationSeason],
    value: Any,
    longest: int,
    digits: Mapping[Kind, int],
) -> None:
    """One value by its kind; a column in the style 'bar' is drawn against the `longest`."""
    (x, y), width = at, column.width
    if column.style == "bar":
        _bar(page, x, y, width, value, longest)
    elif column.kind is Kind.VERDICT:
        _verdict(page, x, y, width, look.VERDICTS[value])
    elif column.kind in digits:
        figure = "-" if value is None else f"{value:.{digits[column.kind]}f}"
        _put(page, x + width - 4, y, figure, 7.5, right=True)
    else:
        _put(page, x + 3, y, value, 7.5, bold=column.kind is Kind.NAME, width=width - 6)


def _verdict(page: _Page, x: float, y: float, width: float, shown: look.VerdictLook) -> None:
    page.canvas.setFillColor(shown.fill)
    page.canvas.rect(x + 1, y - 3, width - 3, _ROW - 1.5, stroke=0, fill=1)
    _put(page, x + 4, y, shown.shown, 7.5, bold=True, colour=shown.text, width=width - 8)


def _bar(page: _Page, x: float, y: float, width: float, days: int, longest: int) -> None:
    room = width - 34
    if longest:
        page.canvas.setFillColor(look.BAR_FILL)
        page.canvas.rect(x + 3, y - 1.5, room * days / longest, 8, stroke=0, fill=1)
    _put(page, x + 6 + (room * days / longest if longest else 0), y, days, 7.5)


def _left_open(assessment: Assessment) -> list[list[str]]:
    """The lines of everything that the season leaves open."""
    stations, shown = [r.station for r in assessment.stations], assessment.book.settings.shown
    return [
        [
            letters.with_rows(entry.line(shown), stations),
            *([f"   {entry.noted}"] if entry.noted else []),
        ]
        for entry in left_open(assessment)
    ]


def _still_open(page: _Page, entries: Sequence[Sequence[str]], y: float, foot: float) -> None:
    """What the season leaves to the next: agreed and not done, and stations that need work.

    `entries` are the lines of each; `foot` is the height [pt] of the small print beneath it.
    """
    room = int((y - _MARGIN - 22 - foot) / 11)
    if room < 2:
        return
    y -= 8
    _put(page, _MARGIN, y, "Left open", 9, bold=True)
    if not entries:
        _put(page, _MARGIN + 60, y, "nothing", 8)
    told, left = 0, room - 1
    for lines in entries:
        if len(lines) > left:
            break  # no advice without what was noted there
        for line in lines:
            y -= 11
            _put(page, _MARGIN, y, line, 7.5, width=page.width - 2 * _MARGIN)
        told, left = told + 1, left - len(lines)
    if len(entries) > told:
        y -= 11
        more = f"and {len(entries) - told} more: data/verdicts.csv and data/agreed.csv"
        _put(page, _MARGIN, y, more, 7.5, colour=look.QUIET)


def _cautions(assessment: Assessment) -> tuple[str, ...]:
    """The order before opening always, and what the stations and the open actions call for."""
    touched = touched_at(assessment.stations) | {Touch.OPENS_FILTER}
    return cautions(touched.union(*(entry.touches for entry in left_open(assessment))))


def _foot(page: _Page, words: Sequence[str]) -> None:
    """The cautions as lines over the whole width, and below them where every figure is found."""
    for n, line in enumerate(words):
        y = _MARGIN - 4 + (len(words) - 1 - n) * _SMALL_LINE
        _put(page, _MARGIN, y, line, _SMALL, colour=look.QUIET)
    note = "Every figure can be followed in data/ and in the reviewed workbook beside this page."
    _put(page, _MARGIN, _MARGIN - 13, note, _SMALL, colour=look.QUIET)


def _folded(page: _Page, text: str) -> list[str]:
    """The program's own words as lines of small print between the margins, none of them cut."""
    from reportlab.lib.utils import simpleSplit

    return list(simpleSplit(letters.shown(text), "Vera", _SMALL, page.width - 2 * _MARGIN))
