"""The sheet Forecast: the coming month as a calendar of expected limit days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from siltbook.batch.assess import URGENCY
from siltbook.batch.cautions import touched_at
from siltbook.batch.model import is_over
from siltbook.batch.results import StationResult
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.month import Month
from siltbook.batch.review.page import Column, Pack, cautions_below, finish, heading, note, style
from siltbook.batch.sheets import kit as k
from siltbook.templates import look

TITLE = "Forecast"
HEADS = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Now", 17, "wrap"),
    Column("Expected at limit", 12, "date"),
    Column("8 in 10 between", 27, "wrap"),
    Column("Rows of the book", 20, "rows"),
)
_DAY_WIDTH = 2.6
MARK = "●"
_WEEKDAYS = "MTWTFSS"


@dataclass(frozen=True)
class Ahead:
    """One station's coming month; `said` stands where the calendar has nothing to draw.

    `low` and `high` bound the shaded days inside the month, `expected` the marked one; each None
    where it lies outside.
    """

    farm: FarmMonth
    result: StationResult
    expected: dt.date | None
    low: dt.date | None
    high: dt.date | None
    said: str


def ahead(pack: Pack) -> tuple[list[Ahead], int]:
    """The calendar's lines, soonest first, and how many stations are not expected in the month."""
    coming = pack.month.next
    lines, later = [], 0
    for farm in pack.farms:
        for result in farm.now.stations:
            if not result.station.in_service:
                continue
            line = _line(farm, result, coming)
            if line is None:
                later += 1
            else:
                lines.append(line)
    return sorted(lines, key=_soonest), later


def _line(farm: FarmMonth, result: StationResult, coming: Month) -> Ahead | None:
    forecast = result.outlook.forecast if result.outlook else None
    latest = result.latest
    if latest and latest.drop is not None and is_over(latest.drop, result.station.limit):
        return Ahead(farm, result, None, None, None, f"over the limit since {_since(result)}")
    if forecast and forecast.passed:
        said = f"expected before {coming.first}, not read since"
        return Ahead(farm, result, None, None, None, said)
    if forecast is None or forecast.date is None or forecast.low is None:
        why = forecast.silent if forecast else "no forecast"
        return Ahead(farm, result, None, None, None, f"no forecast: {why}")
    if forecast.low > coming.last:
        return None
    if forecast.high is not None and forecast.high < coming.first:
        return Ahead(farm, result, None, None, None, f"expected before {coming.first}")
    low = max(forecast.low, coming.first)
    high = min(forecast.high or coming.last, coming.last)
    return Ahead(farm, result, forecast.date if forecast.date in coming else None, low, high, "")


def _since(result: StationResult) -> str:
    return str(result.judgement.episodes[-1].opened) if result.judgement.episodes else "now"


def _soonest(line: Ahead) -> tuple[int, dt.date, int, str]:
    forecast = line.result.outlook.forecast if line.result.outlook else None
    day = (forecast.date or forecast.passed if forecast else None) or dt.date.max
    silent = 1 if line.said.startswith("no forecast") else 0
    over = dt.date.min if line.said.startswith("over") else day
    return silent, over, URGENCY[line.result.verdict], line.result.station.name


def write(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Days across, stations down: the expected day marked, the span of 8 cases in 10 shaded."""
    heading(kit, sheet, pack, TITLE)
    coming = pack.month.next
    lines, later = ahead(pack)
    wide = (*HEADS, *(Column("", _DAY_WIDTH) for _ in range(coming.days)))
    rest = f" {later} more in service are not expected there before {coming.next.first}."
    note(
        kit, sheet, 2, wide,
        f"When the drop is expected at the limit in {coming.words}, judged as of "
        f"{pack.month.last}. {MARK} the expected day; shaded: the days between which it falls in "
        f"8 cases of 10.{rest if later else ''} Rows: the station's latest reading.",
    )  # fmt: skip
    _head(kit, sheet, coming)
    last = 3
    for last, line in enumerate(lines, 4):
        _write_line(kit, sheet, last, line, coming)
    if not lines:
        last = 4
        k.spread(sheet, 4, len(wide) - 1, "Nothing is expected.", kit.format("line"), 120)
    shown = touched_at(line.result for line in lines)
    last = cautions_below(kit, sheet, last, wide, shown)
    finish(kit, sheet, 3, last, len(wide))
    sheet.freeze_panes(4, 2)


def _head(kit: k.Kit, sheet: Any, coming: Month) -> None:
    k.header_row(kit, sheet, 3, [(c.header, c.width) for c in HEADS])
    for number in range(coming.days):
        day = coming.first + dt.timedelta(days=number)
        col = len(HEADS) + number
        sheet.set_column(col, col, _DAY_WIDTH)
        shown = style(kit, "weekend" if day.weekday() > 4 else "weekday")
        sheet.write_string(3, col, f"{_WEEKDAYS[day.weekday()]}\n{day.day}", shown)


def _write_line(kit: k.Kit, sheet: Any, row: int, line: Ahead, coming: Month) -> None:
    result = line.result
    name, farm = k.one_line(result.station.name), k.one_line(line.farm.farm)
    forecast = result.outlook.forecast if result.outlook else None
    between = ""
    if forecast and forecast.low:
        between = f"{forecast.low} and {forecast.high or 'later than can be told'}"
    k.text(sheet, row, 0, farm, kit.format("wrap"))
    k.text(sheet, row, 1, name, kit.format("name"))
    label = look.VERDICTS[result.verdict].label
    k.text(sheet, row, 2, label, kit.format(f"verdict:{result.verdict}"))
    k.date(kit, sheet, row, 3, forecast.date if forecast else None, kit.format("date"))
    k.text(sheet, row, 4, between, kit.format("wrap"))
    rests = [result.latest.row] if result.latest else []
    k.text(sheet, row, 5, rows_text(line.farm.book, rests), style(kit, "rows"))
    texts = (farm, name, label, "", between)
    most = max(k.lines(t, c.width) for t, c in zip(texts, HEADS, strict=False))
    first, last = len(HEADS), len(HEADS) + coming.days - 1
    if line.said:
        sheet.merge_range(row, first, row, last, "", style(kit, "said"))
        sheet.write_string(row, first, k.clean(line.said), style(kit, "said"))
    else:
        _days(kit, sheet, row, line, coming)
    sheet.set_row(row, most * k.LINE_POINTS + 4)


def _days(kit: k.Kit, sheet: Any, row: int, line: Ahead, coming: Month) -> None:
    for number in range(coming.days):
        day = coming.first + dt.timedelta(days=number)
        col = len(HEADS) + number
        if day == line.expected:
            sheet.write_string(row, col, MARK, style(kit, "expected"))
        else:
            inside = line.low is not None and line.low <= day <= (line.high or day)
            sheet.write_blank(row, col, None, style(kit, "span" if inside else "empty"))
