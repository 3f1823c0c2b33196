"""The Trends sheet: one native chart per station, the drop against the date."""

from __future__ import annotations

import math
import re
from typing import Any

from siltbook.batch.numbers.forecast import Course
from siltbook.batch.results import StationResult
from siltbook.batch.sheets import band
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.points import WIDTH, Block
from siltbook.batch.sheets.rows import LongTable
from siltbook.templates import look, printing
from siltbook.templates.shown import Shown

MOST = 200
MOST_READINGS = 300  # of one chart: more would only blacken it
ACROSS, PER_PAGE = 2, 4
TOP = 3  # rows of heading above the charts
# One tall row holds one line of charts. Fitting to a width makes some programs ignore page
# breaks; two such rows and the heading fill a landscape A4 page so that the natural break is
# the same, whatever the scale between 0.7 and 1.
CHART_ROW_POINTS = 234.0
COLUMN_WIDTH = 70.0  # characters; 495 pixels
CHART = {"width": 485, "height": 300}
DATA = 30  # first column of the chart data, outside the print area
LAST = DATA + WIDTH - 1
_ADDRESS = re.compile(r"!(?=\$?[A-Z]+\$?\d)")
# Work is marked with the shape and the colour of the verdict that asks for it. A flush is the
# larger one: of two marks on one day, whichever a program draws last, both can be seen.
_SHAPES = {"●": "circle", "■": "square"}
_FLUSH, _CLEANING = look.VERDICTS["flush"], look.VERDICTS["hand-clean"]
_MARKS = (
    ("flush", "Flush", _SHAPES[_FLUSH.symbol], _FLUSH.fill, 9),
    ("hand cleaning", "Hand cleaning", _SHAPES[_CLEANING.symbol], _CLEANING.fill, 8),
    ("", "Other work", "x", look.INK, 8),
)

# What a chart leaves out is read one way in a package of the oldest version, which XlsxWriter
# writes, and the other way in a later one, into which the sheets are placed: axes would vanish,
# lines turn into curves, gaps drop to zero. So every such setting is spelt out.
_SPELT_OUT = (
    ('<c:lang val="en-US"/>', '<c:lang val="en-US"/><c:roundedCorners val="0"/>'),
    ("<c:layout/></c:title>", '<c:layout/><c:overlay val="0"/></c:title>'),
    ("</c:title><c:plotArea>", '</c:title><c:autoTitleDeleted val="0"/><c:plotArea>'),
    ('<c:scatterStyle val="lineMarker"/>',
     '<c:scatterStyle val="lineMarker"/><c:varyColors val="0"/>'),
    ("</c:yVal></c:ser>", '</c:yVal><c:smooth val="0"/></c:ser>'),
    ("</c:scaling><c:axPos", '</c:scaling><c:delete val="0"/><c:axPos'),
    ('<c:legendPos val="b"/><c:layout/>',
     '<c:legendPos val="b"/><c:layout/><c:overlay val="0"/>'),
    ('<c:plotVisOnly val="1"/></c:chart>',
     '<c:plotVisOnly val="1"/><c:dispBlanksAs val="gap"/></c:chart>'),
)  # fmt: skip

BAND = "band"
EXPECTED = "expected"
LONGEST_AHEAD = 0.6  # of the time already drawn: a far forecast must not crush the readings

Point = band.Point


def write(kit: k.Kit, sheet: Any, name: str) -> tuple[Block, list[LongTable]]:
    """Write the Trends sheet, called `name` in the book; its points, and their rows to be made."""
    k.heading(kit, sheet, "Trends")
    results = kit.assessment.stations
    sheet.write_string(2, 0, _third_line(results), kit.format("mark"))
    sheet.set_column(0, ACROSS - 1, COLUMN_WIDTH)
    _page(kit, sheet, min(len(results), MOST))
    charts = min(len(results), MOST)
    first = TOP + max(1, -(-charts // ACROSS)) + 2
    _data_heading(kit, sheet, first - 1)
    block = Block(name, first, DATA)
    for place, result in enumerate(results[:MOST]):
        points = {key: _shown(kit, line) for key, line in _series(kit, result).items()}
        places = {
            key: block.add(k.one_line(result.station.name), key, found)
            for key, found in points.items()
            if found
        }
        chart = _chart(kit, name, result, points, places)
        row, col = TOP + place // ACROSS, place % ACROSS
        # Position 1: the chart keeps to its cell where a program draws columns wider.
        options = {"description": alt_text(result, kit.shown), "object_position": 1}
        options |= {"x_offset": 4, "y_offset": 3}
        sheet.insert_chart(row, col, chart, options)
    return block, block.table(sheet, kit.format("data"), kit.format("data-date"))


def _shown(kit: k.Kit, points: list[Point]) -> list[Point]:
    """Points with their levels in the unit of the axis."""
    if kit.shown.metres:
        return points
    return [(day, None if level is None else kit.shown.value(level)) for day, level in points]


def _third_line(results: tuple[StationResult, ...]) -> str:
    if not results:
        return "No station in this book."
    said = "Most urgent first. Unusable readings are not drawn; a line stops at a gap over three"
    said += " reading intervals. Shaded: forecast, 8 in 10; broken line: the expected way."
    if any(len(r.history.readings) > MOST_READINGS for r in results):
        said += f" A chart shows the latest {MOST_READINGS} readings."
    if len(results) > MOST:
        said += f" The first {MOST} of {len(results):,} stations have a chart."
    return said


def _page(kit: k.Kit, sheet: Any, charts: int) -> None:
    """Four charts a page; row heights first, for a chart is placed by them."""
    k.page(kit, sheet, header=TOP - 1, widths=[COLUMN_WIDTH] * ACROSS)
    sheet.set_margins(left=printing.SIDE, right=printing.SIDE, top=0.4, bottom=0.55)
    last = TOP + max(1, -(-charts // ACROSS))
    step = PER_PAGE // ACROSS
    sheet.set_h_pagebreaks(list(range(TOP + step, last, step)))
    sheet.print_area(0, 0, last - 1, ACROSS - 1)
    for row in range(TOP, last):
        sheet.set_row(row, CHART_ROW_POINTS)


def _series(kit: k.Kit, result: StationResult) -> dict[str, list[Point]]:
    """Every series' points (day number, level [m]); a level of None breaks the line."""
    gap = 3 * kit.assessment.book.settings.interval
    found: dict[str, list[Point]] = {"drop": _drops(kit, result, gap)}
    for work, shown, *_ in _MARKS:
        known = [w for w, *_ in _MARKS if w]
        found[shown] = [
            (kit.serial(w.date, w.time), 0.0)
            for w in result.history.work[-MOST_READINGS:]
            if (w.work == work if work else w.work not in known)
        ]
    days = [x for points in found.values() for x, _ in points]
    if days:
        ahead = _ahead(kit, result)
        first, last = min(days), max(days)
        low, high = _window(kit, first, last, ahead[2] if ahead else last)
        found |= _forecast(kit, result, ahead, high)
        found["limit"] = [(low, result.station.limit), (high, result.station.limit)]
        clean_drop = result.station.clean_drop
        found["clean"] = [] if clean_drop is None else [(low, clean_drop), (high, clean_drop)]
    return found


def _drops(kit: k.Kit, result: StationResult, gap: float) -> list[Point]:
    """The readings' drops; an unusable reading and a long gap [days] each break the line."""
    points: list[Point] = []
    before: float | None = None
    for reading in result.history.readings[-MOST_READINGS:]:
        day = kit.serial(reading.date, reading.time)
        usable = reading.usable and reading.drop is not None and reading.drop == reading.drop
        if not usable or (before is not None and day - before > gap):
            points.append((day if before is None or not usable else (before + day) / 2, None))
        if usable:
            points.append((day, reading.drop))
            before = day
    return points if any(level is not None for _, level in points) else []


def _ahead(kit: k.Kit, result: StationResult) -> tuple[float, float, float] | None:
    """Early, expected and late day at the limit; the late one never where it cannot be told."""
    expected = result.outlook.forecast if result.outlook else None
    if expected is None or expected.date is None or expected.low is None or result.latest is None:
        return None
    late = math.inf if expected.high is None else kit.serial(expected.high)
    return kit.serial(expected.low), kit.serial(expected.date), late


def _forecast(
    kit: k.Kit, result: StationResult, ahead: tuple[float, float, float] | None, end: float
) -> dict[str, list[Point]]:
    """Band and expected way from the latest reading to the limit, up to `end` of the axis."""
    latest = result.latest
    if ahead is None or latest is None or latest.drop is None or result.outlook is None:
        return {}
    start = (kit.serial(latest.date, latest.time), latest.drop)
    courses = result.outlook.forecast.courses
    if not courses:
        return {}
    early, middle, late = (_way(start, course, result.station.limit) for course in courses)
    return {
        BAND: band.surface(early, late, result.station.limit, end),
        EXPECTED: list(band.up_to(middle, end)),
    }


def _way(start: tuple[float, float], course: Course, limit: float) -> band.Way:
    """A course of the forecast from the reading that the chart shows.

    That reading is drawn as read, while the course is that of the drop at the reference flow.
    """
    now, drop = start
    first = course.drops[0]
    span = limit - first
    share = [(d - first) / span if span > 0 else 1.0 for d in course.drops]
    days = [max(now, now + day - course.days[0]) for day in course.days]
    return [(day, drop + part * (limit - drop)) for day, part in zip(days, share, strict=True)]


def _window(kit: k.Kit, first: float, last: float, ahead: float) -> tuple[float, float]:
    """First and last day of a chart's date axis: to the as-of date, so that silence shows.

    And on to the late end of the forecast, within reason.
    """
    as_of = kit.assessment.as_of
    end = max(last, kit.serial(as_of)) if as_of else last
    end = max(end, min(ahead, end + max(14.0, LONGEST_AHEAD * (end - first))))
    pad = max(1.0, round((end - first) * 0.02))
    return float(int(first)) - pad, float(int(end)) + pad


def _data_heading(kit: k.Kit, sheet: Any, row: int) -> None:
    sheet.write_string(row - 1, DATA, "Chart data", kit.format("title"))
    for col, word in enumerate(("Station", "Series", "Date", f"Level ({kit.shown.unit})")):
        sheet.write_string(row, DATA + col, word, kit.format("head"))
    sheet.set_column(DATA, LAST, 14)


def title(result: StationResult) -> str:
    """A chart's title: verdict symbol, station, verdict.

    The symbol in front and the space behind a '!' keep a name from being taken for a formula.
    """
    verdict = look.VERDICTS[result.verdict]
    name = k.one_line(result.station.name)[:60]
    return _ADDRESS.sub("! ", f"{verdict.symbol} {name} — {verdict.shown}")


def alt_text(result: StationResult, say: Shown) -> str:
    """The chart in one sentence, for those who cannot see it."""
    shown = look.VERDICTS[result.verdict].shown
    limit = f"limit {say.limit(result.station.limit)}"
    latest = result.latest
    if latest is None or latest.drop is None:
        said = f"no usable reading; {limit}"
    else:
        said = f"latest drop {say.drop(latest.drop)} on {say.day(latest.date)}; {limit}"
    expected = result.outlook.forecast.date if result.outlook else None
    if expected is not None:
        said += f"; expected at the limit about {say.day(expected)}"
    name = k.one_line(result.station.name)[:60]
    return f"Pressure drop over time at station {name}: {said}; verdict: {shown}."


def _chart(
    kit: k.Kit,
    sheet_name: str,
    result: StationResult,
    series: dict[str, list[Point]],
    places: dict[str, dict[str, Any]],
) -> Any:
    chart = kit.workbook.add_chart({"type": "scatter", "subtype": "straight_with_markers"})
    for key, options in _styles():
        if key in places:
            chart.add_series({**options, **places[key]})
    if not places:
        chart.add_series(_nothing(sheet_name))
    font = {"name": look.FONT, "size": 11, "bold": True, "color": look.INK}
    chart.set_title({"name": title(result), "name_font": font, "overlay": False})
    small = {"name": look.FONT, "size": 10, "color": look.INK}
    chart.set_legend({"position": "bottom", "font": small})
    chart.set_x_axis(_date_axis(series, small, kit.shown))
    chart.set_y_axis(_level_axis(small, kit.shown))
    chart.show_blanks_as("gap")
    chart.set_size(CHART)
    chart.set_chartarea({"border": {"color": look.RULE}})
    return chart


def _styles() -> list[tuple[str, dict[str, Any]]]:
    """Name, line and marker of every series, in drawing order."""
    none = {"type": "none"}
    found: list[tuple[str, dict[str, Any]]] = [
        (BAND, {"name": "Forecast, 8 in 10", "marker": none,
                "line": {"color": look.BAND_LINE, "width": 2.25, "transparency": 50}}),
        (EXPECTED, {"name": "Expected", "marker": none,
                    "line": {"color": look.DROP_LINE, "width": 1.25, "dash_type": "dash"}}),
        ("limit", {"name": "Limit", "marker": none,
                   "line": {"color": look.LIMIT_LINE, "width": 2}}),
        ("clean", {"name": "Clean drop", "marker": none,
                   "line": {"color": look.CLEAN_LINE, "width": 1.5, "dash_type": "dash"}}),
        ("drop", {"name": "Drop", "line": {"color": look.DROP_LINE, "width": 1.25},
                  "marker": {"type": "circle", "size": 4, "fill": {"color": look.DROP_LINE},
                             "border": {"color": look.DROP_LINE}}}),
    ]  # fmt: skip
    for _, shown, shape, colour, size in _MARKS:
        fill = {"none": True} if shape == "x" else {"color": colour}
        marker = {"type": shape, "size": size, "fill": fill, "border": {"color": colour}}
        found.append((shown, {"name": shown, "line": {"none": True}, "marker": marker}))
    return found


def _nothing(sheet_name: str) -> dict[str, Any]:
    """A chart must have a series; this one points at empty cells."""
    return {
        "name": "No usable reading",
        "categories": [sheet_name, 1, DATA + 2, 1, DATA + 2],
        "values": [sheet_name, 1, DATA + 3, 1, DATA + 3],
    }


def _date_axis(
    series: dict[str, list[Point]], font: dict[str, object], shown: Shown
) -> dict[str, object]:
    axis: dict[str, object] = {
        "num_format": shown.axis,
        "num_font": font,
        "label_position": "low",
        "major_gridlines": {"visible": False},
    }
    if series.get("limit"):
        low, high = series["limit"][0][0], series["limit"][1][0]
        axis |= {"min": low, "max": high, "major_unit": max(1, round((high - low) / 6))}
    return axis


def _level_axis(font: dict[str, object], shown: Shown) -> dict[str, object]:
    return {
        "name": f"Drop ({shown.unit})",
        "name_font": {**font, "bold": False},
        "num_font": font,
        "num_format": shown.cells("metres") if not shown.metres else "0.0",
        "min": 0,
        "crossing": 0,
        "major_gridlines": {"visible": True, "line": {"color": look.GRID_LINE, "width": 0.5}},
    }


def spelt_out(xml: str) -> str:
    """A chart's text with every setting that programs would otherwise guess."""
    for short, long in _SPELT_OUT:
        xml = xml.replace(short, long)
    return xml
