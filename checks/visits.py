"""Cross-row rules about when things were entered: dates, times, and rows entered twice."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from siltbook.checks.context import JoinedBook, Listed, finding
from siltbook.checks.findings import Finding
from siltbook.checks.lastday import far_ahead
from siltbook.checks.slipped import slipped_dates
from siltbook.checks.wording import clock, rows_named

if TYPE_CHECKING:
    from siltbook.templates.book import Array

_Entry = tuple[int, int, bool]  # number of the list, spreadsheet row, without a time

_SIDES = ("inlet", "outlet")
COPIED_DAYS = 3  # identical readings on so many days in a row are questioned


def season_years(text: str) -> tuple[int, ...]:
    """The calendar years that a season's text names: '2026' one, '2026/27' both.

    Any other text names none, and so nothing can be checked against it.
    """
    match = re.fullmatch(r"\s*(\d{4})(?:\s*[/–-]\s*(\d{4}|\d{2}))?\s*", text)
    if not match:
        return ()
    first = int(match.group(1))
    if match.group(2) is None:
        return (first,)
    follows = str(first + 1).endswith(match.group(2))
    return (first, first + 1) if follows else ()


def date_outside_season(joined: JoinedBook) -> list[Finding]:
    """Readings, work and water tests dated in a year that the season does not name.

    A season over the turn of the year covers both years. One finding per sheet and foreign
    year, at its first row. Due and done dates of agreed actions may lie beyond the season.
    """
    season = joined.book.settings.season
    years = season_years(season)
    if not years:
        return []
    named = " or ".join(map(str, years))
    accepted = f"dates in {named}, the season on the sheet {joined.book.farm_sheet}"
    found = []
    for place in (joined.readings, joined.work, joined.water):
        outside: dict[int, list[int]] = {}
        for row in _beyond(place, years):
            outside.setdefault(place.days[row].year, []).append(row)
        for first, *others in outside.values():
            also = f" (same year in {rows_named(others)})" if others else ""
            read = f"{joined.shown.day(place.days[first])}{also}"
            found.append(finding(place, "date-outside-season", "date", first, read, accepted))
    return found


def _beyond(place: Listed, years: tuple[int, ...]) -> list[int]:
    """The rows of a list whose day lies in none of the years."""
    import numpy as np

    year = place.values["day"].astype("datetime64[Y]").astype(int) + 1970
    return place.hits(place.there("day") & ~np.isin(year, years))


def date_slipped(joined: JoinedBook) -> list[Finding]:
    """Readings and work whose date looks mistyped where the row stands (`slipped_dates`)."""
    found, say = [], joined.shown.day
    for place in (joined.readings, joined.work):
        names, days = (place.values[key].tolist() for key in ("key", "date"))
        for slips in slipped_dates(names, days, place.table.rows).values():
            for slip in slips:
                read = f"{say(slip.typed)}, out of the order of the rows; {say(slip.likely)},"
                read += f" the same {slip.how}, fits it"
                accepted = "a date between those of the rows around it"
                found.append(finding(place, "date-slipped", "date", slip.row, read, accepted))
    return found


def date_ahead(joined: JoinedBook) -> list[Finding]:
    """Readings and work dated so far after all others that their day is not used (`far_ahead`).

    Where the as-of date was asked for, and lies on or behind them, they are used.
    """
    found, rows = [], far_ahead(joined.book)
    for place in (joined.readings, joined.work):
        for (sheet, row), (day, by) in rows.items():
            placed = sheet == place.table.sheet and row in place.days
            if not placed or (joined.as_of is not None and day <= joined.as_of):
                continue
            read = f"{joined.shown.day(day)}, {by:,} days after all others"
            accepted = "a date near the others; if it is right, a review date on or after it"
            found.append(finding(place, "date-ahead", "date", row, read, accepted))
    return found


def date_after_review(joined: JoinedBook) -> list[Finding]:
    """Readings, work and water tests dated after the as-of date, counted in one finding per sheet.

    An entry on the as-of date itself belongs to the judgement; one that is far ahead of all others
    has a finding of its own.
    """
    if joined.as_of is None:
        return []
    import numpy as np

    found, ahead = [], far_ahead(joined.book)
    for place in (joined.readings, joined.work, joined.water):
        rows = place.hits(place.values["day"] > np.datetime64(joined.as_of))
        rows = [row for row in rows if (place.table.sheet, row) not in ahead]
        if not rows:
            continue
        count = f"{len(rows)} entries" if len(rows) > 1 else "1 entry"
        first = joined.shown.day(place.days[rows[0]])
        read = f"{count} ({rows_named(rows)}), the first dated {first}"
        accepted = f"dates up to {joined.shown.day(joined.as_of)}"
        found.append(finding(place, "date-after-review", "date", rows[0], read, accepted))
    return found


def reading_twice(joined: JoinedBook) -> list[Finding]:
    """The same reading in two rows: same station, date, time, inlet and outlet.

    Without a time, flow, field pressure and occasion must agree as well: the same values
    before and after a flush are two honest readings. Every row after the first is found.
    Readings without inlet or outlet are not compared.
    """
    place = joined.readings
    asked = place.there("key", "day", *_SIDES)
    if not _alike(place, asked, ("day", *_SIDES)):
        return []
    frame = place.frame[asked]
    frame = frame.assign(occasion=frame["occasion"].fillna("routine"))
    timed = frame[frame["second"].notna()]
    untimed = frame[frame["second"].isna()]
    found = []
    for part, columns in (
        (timed, ["key", "day", "second", "inlet", "outlet"]),
        (untimed, ["key", "day", "inlet", "outlet", "flow", "field", "occasion"]),
    ):
        if not part.duplicated(columns).any():
            continue
        grouped = part.groupby(columns, dropna=False, sort=False)
        first = part.index.to_series().groupby([part[c] for c in columns], dropna=False)
        for row, original in first.transform("min")[grouped.cumcount() > 0].items():
            found.append(_twice(joined, place, int(str(row)), int(original)))
    return found


def _twice(joined: JoinedBook, place: Listed, row: int, original: int) -> Finding:
    day = joined.shown.day(place.days[row])
    when = f"{day} {clock(place.frame.at[row, 'time'])}".strip()
    inlet, outlet = (joined.read(place, key, row) for key in ("inlet", "outlet"))
    read = f"inlet {inlet}, outlet {outlet} on {when}, as in row {original}"
    return finding(place, "reading-twice", "station", row, read, "each reading once")


def readings_differ(joined: JoinedBook) -> list[Finding]:
    """Two readings of one station and minute that contradict each other.

    Found at the later row. Where work is logged at that minute, one is before it and one after.
    """
    place, work = joined.readings, joined.work.values
    asked = place.there("key", "day", "second", *_SIDES)
    if not _alike(place, asked, ("day", "second")):
        return []
    frame = place.frame[asked]
    frame = frame.assign(occasion=frame["occasion"].fillna("routine"))
    minute = ["key", "day", "second", "occasion"]
    busy = set(zip(work["key"], work["day"], work["second"], strict=True))
    twice = frame[frame.duplicated(minute, keep=False)]
    firsts: dict[tuple[object, ...], tuple[int, float, float]] = {}
    found = []
    columns = [twice[key].tolist() for key in (*minute, *_SIDES)]
    for row, *at, inlet, outlet in zip(twice.index.tolist(), *columns, strict=True):
        first = firsts.setdefault(tuple(at), (int(row), inlet, outlet))
        differ = max(abs(inlet - first[1]), abs(outlet - first[2])) > 1e-6
        if differ and tuple(at[:3]) not in busy:
            found.append(_differs(joined, place, int(row), first[0]))
    return found


def _differs(joined: JoinedBook, place: Listed, row: int, first: int) -> Finding:
    when = f"{joined.shown.day(place.days[row])} {clock(place.frame.at[row, 'time'])}"
    said = [
        " and ".join(f"{key} {joined.read(place, key, at)}" for key in _SIDES)
        for at in (row, first)
    ]
    read = f"{said[0]} on {when}, but {said[1]} in row {first}"
    accepted = "one reading for each station and minute"
    return finding(place, "readings-differ", "time", row, read, accepted)


def rows_copied(joined: JoinedBook) -> list[Finding]:
    """Consecutive readings of one station that are identical on three or more days.

    Inlet and outlet must both be there; flow and field pressure must agree too, where both
    missing counts as agreeing. One finding for the whole run, at its first row. Readings
    without a date are left out; two identical readings on one day count as one day.
    """
    place = joined.readings
    runs: dict[int, list[tuple[int, dt.date]]] = {}
    for number, row, day in _copied(place):
        runs.setdefault(number, []).append((row, day))
    found = []
    for entries in runs.values():
        (first, begin), (_, end) = entries[0], entries[-1]
        inlet, outlet = (joined.read(place, key, first) for key in ("inlet", "outlet"))
        rows = rows_named(row for row, _ in entries)
        span = f"{joined.shown.day(begin)} to {joined.shown.day(end)}"
        read = f"inlet {inlet}, outlet {outlet} in {rows}, {span}"
        accepted = "readings that differ at least now and then"
        found.append(finding(place, "rows-copied", "inlet", first, read, accepted))
    return found


def _alike(place: Listed, asked: Array, keys: Sequence[str]) -> bool:
    """Whether two of the rows asked for are of one station and the same in all columns `keys`.

    A quick look before the slow one: in most books there are none.
    """
    import numpy as np

    columns = [place.stations[asked], *(place.values[key][asked] for key in keys)]
    order = np.lexsort(columns)
    same = np.ones(max(0, len(order) - 1), dtype=bool)
    for column in columns:
        ordered = column[order]
        same &= ordered[1:] == ordered[:-1]
    return bool(same.any())


def _copied(place: Listed) -> Iterator[tuple[int, int, dt.date]]:
    """Number of the run, spreadsheet row and day of the readings of every run of copies."""
    import numpy as np

    asked = place.there("key", "day", *_SIDES)
    if not asked.any():
        return
    told = {key: place.values[key][asked] for key in ("day", "second", *_SIDES, "flow", "field")}
    station = place.stations[asked]
    order = np.lexsort((np.nan_to_num(told["second"], nan=-1.0), told["day"], station))
    days = told["day"][order]
    read = [np.nan_to_num(told[key], nan=-1.0e9) for key in (*_SIDES, "flow", "field")]
    values = np.column_stack([*read, station])[order]
    begins = np.ones(len(order), dtype=bool)
    begins[1:] = (values[1:] != values[:-1]).any(axis=1)
    run = np.cumsum(begins)
    other_day = begins.copy()
    other_day[1:] |= days[1:] != days[:-1]
    copied = np.bincount(run, other_day)[run] >= COPIED_DAYS
    rows, dates = place.rows[asked], place.values["date"][asked]
    at = order[copied]
    yield from zip(run[copied].tolist(), rows[at].tolist(), dates[at].tolist(), strict=True)


def several_without_time(joined: JoinedBook) -> list[Finding]:
    """Several entries of one station on one day, readings and work together, not all timed.

    A day with a single entry needs no time. One finding per station and day, at the first
    entry without a time.
    """
    places = (joined.readings, joined.work)
    if all(place.there("second").all() for place in places):
        return []
    days: dict[tuple[str, dt.date], list[_Entry]] = {}
    for i, place in enumerate(places):
        asked = place.there("key", "day")
        columns = (place.values["key"], place.values["date"], place.rows, ~place.there("second"))
        listed = (column[asked].tolist() for column in columns)
        for key, day, row, gap in zip(*listed, strict=True):
            days.setdefault((key, day), []).append((i, row, gap))
    late = (
        (day, entries)
        for (_, day), entries in days.items()
        if len(entries) > 1 and any(gap for _, _, gap in entries)
    )
    return [_untimed(places, joined.shown.day(day), entries) for day, entries in late]


def _untimed(places: tuple[Listed, ...], day: str, entries: list[_Entry]) -> Finding:
    gaps = [(place, row) for place, row, untimed in entries if untimed]
    where = "; ".join(
        f"{place.table.sheet} {rows_named(rows)}"
        for i, place in enumerate(places)
        if (rows := [row for at, row in gaps if at == i])
    )
    first, row = gaps[0]
    read = f"{len(entries)} entries on {day}, {len(gaps)} without a time ({where})"
    accepted = "a time on each of them"
    return finding(places[first], "several-without-time", "time", row, read, accepted)


RULES = (
    date_outside_season,
    date_slipped,
    date_ahead,
    date_after_review,
    reading_twice,
    readings_differ,
    rows_copied,
    several_without_time,
)
