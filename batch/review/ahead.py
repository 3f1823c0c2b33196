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
from siltbook.batch.review.page import (
    Pack,
    farm_column,
    heading,
    rows_column,
    station_column,
)
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates.shown import Shown

TITLE = "Forecast"
_DAY_WIDTH = 2.6
_KEPT = 2  # columns that stand beside the days on their page: farm and station
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


def _between(line: Ahead) -> str:
    forecast = line.result.outlook.forecast if line.result.outlook else None
    if not forecast or not forecast.low:
        return ""
    shown = line.farm.book.settings.shown
    return f"{shown.day(forecast.low)} and {shown.on(forecast.high, 'later than can be told')}"


def _latest(line: Ahead) -> str:
    rests = [line.result.latest.row] if line.result.latest else []
    return rows_text(line.farm.book, rests)


# The columns before those of the days.
HEADS: Table[Ahead] = Table(
    TITLE,
    (
        farm_column(lambda a: a.farm),
        station_column(lambda a: a.result.station.name),
        Column("now", "Now", Kind.VERDICT, 17, lambda a: a.result.verdict),
        Column("forecast", "Expected at limit", Kind.DATE, 12,
               lambda a: a.result.outlook.forecast.date if a.result.outlook else None),
        Column("between", "8 in 10 between", Kind.TEXT, 27, _between, style="wrap"),
        rows_column(_latest, 20),
    ),
)  # fmt: skip


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
    latest, shown = result.latest, farm.book.settings.shown
    if latest and latest.drop is not None and is_over(latest.drop, result.station.limit):
        said = f"over the limit since {_since(result, shown)}"
        return Ahead(farm, result, None, None, None, said)
    if forecast and forecast.passed:
        said = f"expected before {shown.day(coming.first)}, not read since"
        return Ahead(farm, result, None, None, None, said)
    if forecast is None or forecast.date is None or forecast.low is None:
        why = forecast.silent if forecast else "no forecast"
        return Ahead(farm, result, None, None, None, f"no forecast: {why}")
    if forecast.low > coming.last:
        return None
    if forecast.high is not None and forecast.high < coming.first:
        return Ahead(farm, result, None, None, None, f"expected before {shown.day(coming.first)}")
    low = max(forecast.low, coming.first)
    high = min(forecast.high or coming.last, coming.last)
    return Ahead(farm, result, forecast.date if forecast.date in coming else None, low, high, "")


def _since(result: StationResult, shown: Shown) -> str:
    episode = result.judgement.episode
    return shown.on(episode.opened) if episode else "now"


def _soonest(line: Ahead) -> tuple[int, dt.date, int, str]:
    forecast = line.result.outlook.forecast if line.result.outlook else None
    day = (forecast.date or forecast.passed if forecast else None) or dt.date.max
    silent = 1 if line.said.startswith("no forecast") else 0
    over = dt.date.min if line.said.startswith("over") else day
    return silent, over, URGENCY[line.result.verdict], line.result.station.name


def write(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Days across, stations down: the expected day marked, the span of 8 cases in 10 shaded."""
    heading(kit, sheet, pack, TITLE, _KEPT)
    coming, day = pack.month.next, kit.shown.day
    lines, later = ahead(pack)
    rest = f" {later} more in service are not expected there before {day(coming.next.first)}."
    text = (
        f"When the drop is expected at the limit in {coming.words}, judged as of "
        f"{day(pack.month.last)}. {MARK} the expected day; shaded: the days between which it falls "
        f"in 8 cases of 10.{rest if later else ''} Rows: the station's latest reading."
    )
    beside = sum(HEADS.widths[_KEPT:])
    k.spread(sheet, 2, HEADS.last, text, kit.format("line"), beside, _KEPT)
    _head(kit, sheet, coming)
    last = 3
    for last, line in enumerate(lines, 4):
        _write_line(kit, sheet, last, line, coming)
    if not lines:
        last = 4
        k.spread(sheet, 4, HEADS.last, "Nothing is expected.", kit.format("line"), beside, _KEPT)
    shown = touched_at(line.result for line in lines)
    end, _ = k.caution_lines(kit, sheet, last + 2, (_KEPT, HEADS.last), shown, beside)
    last = end - 1 if end > last + 2 else last
    # The days stand on a page of their own, beside farm and station.
    widths = [*HEADS.widths, *[_DAY_WIDTH] * coming.days]
    k.page(kit, sheet, header=3, widths=widths, columns=_KEPT, starts=[len(HEADS.columns)])
    sheet.print_area(0, 0, last, len(widths) - 1)


def _head(kit: k.Kit, sheet: Any, coming: Month) -> None:
    tables.header(kit, sheet, 3, HEADS)
    for number in range(coming.days):
        day = coming.first + dt.timedelta(days=number)
        col = len(HEADS.columns) + number
        sheet.set_column(col, col, _DAY_WIDTH)
        shown = kit.format("weekend" if day.weekday() > 4 else "weekday")
        sheet.write_string(3, col, f"{_WEEKDAYS[day.weekday()]}\n{day.day}", shown)


def _write_line(kit: k.Kit, sheet: Any, row: int, line: Ahead, coming: Month) -> None:
    tables.one(kit, sheet, row, HEADS, line)
    first, last = len(HEADS.columns), len(HEADS.columns) + coming.days - 1
    if line.said:
        sheet.merge_range(row, first, row, last, "", kit.format("said"))
        sheet.write_string(row, first, k.clean(line.said), kit.format("said"))
    else:
        _days(kit, sheet, row, line, coming)


def _days(kit: k.Kit, sheet: Any, row: int, line: Ahead, coming: Month) -> None:
    for number in range(coming.days):
        day = coming.first + dt.timedelta(days=number)
        col = len(HEADS.columns) + number
        if day == line.expected:
            sheet.write_string(row, col, MARK, kit.format("expected"))
        else:
            inside = line.low is not None and line.low <= day <= (line.high or day)
            sheet.write_blank(row, col, None, kit.format("span" if inside else "empty"))
