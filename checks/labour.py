"""Cross-row rules about the work log: was each step done so that it proves something?"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from statistics import median
from typing import TYPE_CHECKING

from siltbook.checks.context import JoinedBook, finding, one_of
from siltbook.checks.findings import Finding
from siltbook.checks.wording import AS_EMPTY, number, rows_named
from siltbook.templates.units import metres_per

if TYPE_CHECKING:
    import pandas as pd

OPENING = ("hand cleaning", "screen replaced")
FAR = 5.0  # times the usual inlet, beyond which no flush is
_LAST_SECOND = 86_399.0

_Shown = tuple["pd.Timestamp", float, int, float]  # day, second, spreadsheet row, inlet [m]


def flush_without_cycles(joined: JoinedBook) -> list[Finding]:
    """A flush with an empty 'Cycles' cell, or with none run.

    A cell that was typed but not understood has the reader's finding instead.
    """
    place = joined.work
    cycles, flush = place.values["cycles"], place.values["work"] == "flush"
    accepted = f"the number of cycles run; a complete flush has {joined.book.settings.flush_cycles}"
    found = []
    for row in place.hits(flush & (place.blank("cycles") | (cycles == 0))):
        empty = math.isnan(place.at(row, "cycles"))
        read = "an empty cell" if empty else joined.read(place, "cycles", row)
        found.append(finding(place, "flush-without-cycles", "cycles", row, read, accepted))
    return found


def flush_signs_blank(joined: JoinedBook) -> list[Finding]:
    """A flush with 'Click heard' or 'Water at outlet' left empty; one finding per flush.

    A no is an answer and no fault of the log.
    """
    place = joined.work
    empty = {key: place.blank(key) for key in ("click", "water")}
    flush = place.values["work"] == "flush"
    found = []
    for row in place.hits(flush & (empty["click"] | empty["water"])):
        keys = [key for key, mask in empty.items() if mask[place.places[row]]]
        named = " and ".join(f"'{place.sheet.column(key).header}'" for key in keys)
        read = f"nothing in {named}"
        accepted = "yes or no in both cells"
        found.append(finding(place, "flush-signs-blank", keys[0], row, read, accepted))
    return found


def usual_inlet(inlets: Sequence[float]) -> float | None:
    """The median [m] of the inlets above zero of a station's readings [m]; None without any."""
    above = [inlet for inlet in inlets if inlet > 0]
    return median(above) if above else None


def most_flush_inlet(usual: float | None, full_scale: float | None) -> float:
    """The highest inlet [m] that may stand for one during a flush; infinity where nothing tells.

    `usual` inlet of the station's readings [m], `full_scale` of its gauge [m]. During a flush the
    inlet falls: more than FAR times the usual one is another unit, or a slip.
    """
    most = math.inf if usual is None else FAR * usual
    return most if full_scale is None or not full_scale > 0 else min(most, full_scale)


def flush_inlet_odd(joined: JoinedBook) -> list[Finding]:
    """A lowest inlet in a flush that the station's gauge or its usual inlet rules out.

    Too high, it counts as empty: it proves no flush.
    """
    place = joined.work
    typed = place.hits(place.there("flush_inlet") & place.values["known"])
    if not typed:
        return []
    inlets = joined.readings.frame.groupby("key")["inlet"].agg(list).to_dict()
    found = []
    for at in typed:
        unit = str(place.units[at])
        usual = usual_inlet(inlets.get(place.at(at, "key"), []))
        most = most_flush_inlet(usual, float(place.at(at, "full_scale")))
        if place.at(at, "flush_inlet") <= most + 1e-6:
            continue
        accepted = f"up to {number(most / metres_per(unit), 3)} {unit}; {AS_EMPTY}"
        read = joined.read(place, "flush_inlet", at)
        if usual is not None:
            read += f", while the usual inlet is {number(usual / metres_per(unit), 2)} {unit}"
        found.append(finding(place, "flush-inlet-odd", "flush_inlet", at, read, accepted))
    return found


def work_out_of_service(joined: JoinedBook) -> list[Finding]:
    """Work logged on a station whose register row says that it is not in service.

    One finding per station, at its latest piece of work: the register knows today's state
    only, so earlier work may well be in order.
    """
    place = joined.work
    resting = place.values["in_service"] == "no"
    if not resting.any():
        return []
    found = []
    for _, group in place.frame[resting].sort_values("day", kind="stable").groupby("key"):
        last = group.iloc[-1]
        row = int(group.index[-1])
        when = f" on {joined.shown.day(last['day'])}" if last["day"] == last["day"] else ""
        others = sorted(int(other) for other in group.index[:-1])
        also = f" (earlier work in {rows_named(others)})" if others else ""
        read = f"{last['work'] or 'work'}{when}{also}"
        accepted = "work on stations that are in service"
        found.append(finding(place, "work-out-of-service", "station", row, read, accepted))
    return found


def zero_not_shown(joined: JoinedBook) -> list[Finding]:
    """An element opened without a gauge that was seen to work.

    Found where 'Gauge zero before opening' is empty or no, and where it is yes but the
    station's latest reading before the work shows a zero inlet and no reading earlier on
    that reading's day was above zero. A station without earlier readings gives no doubt.
    """
    place = joined.work
    opened, shown = one_of(place.values["work"], OPENING), place.values["gauge_zero"]
    if not opened.any():
        return []
    accepted = "yes, from a gauge seen above zero first"
    found = []
    for row in place.hits(opened & (place.blank("gauge_zero") | (shown == "no"))):
        read = "no" if place.at(row, "gauge_zero") == "no" else "an empty cell"
        found.append(finding(place, "zero-not-shown", "gauge_zero", row, read, accepted))
    claimed = opened & (shown == "yes") & place.there("key", "day")
    work = place.frame.loc[claimed, ["key", "day", "second"]]
    for row, reading in _dead_before(joined, work).items():
        source = f"{joined.readings.table.sheet} row {reading}"
        read = f"yes, but the latest reading before it shows an inlet of 0 ({source})"
        found.append(finding(place, "zero-not-shown", "gauge_zero", int(str(row)), read, accepted))
    return found


def _dead_before(joined: JoinedBook, work: pd.DataFrame) -> dict[int, int]:
    """Work row -> row of the latest earlier reading, where that reading's gauge showed only 0.

    Without times, a day's readings come before its work, those after cleaning behind it.
    """
    if work.empty:
        return {}
    shown = _highest_shown(joined.readings.frame, set(work["key"]))
    found = {}
    seconds = work["second"].fillna(_LAST_SECOND)
    columns = [work.index, work["key"], work["day"], seconds]
    for row, key, day, second in zip(*(column.tolist() for column in columns), strict=True):
        own = shown.get(key, [])
        before = bisect_right(own, (day, second, math.inf))
        if before and own[before - 1][3] == 0:
            found[int(row)] = int(own[before - 1][2])
    return found


def _highest_shown(readings: pd.DataFrame, keys: set[str]) -> dict[str, list[_Shown]]:
    """The readings of these stations in order, each with the day's highest inlet [m] so far."""
    asked = readings[["key", "day", "second", "inlet", "occasion"]]
    asked = asked[asked["key"].isin(keys)].dropna(subset=["day", "inlet"])
    late = (asked["occasion"] == "after cleaning") * (_LAST_SECOND + 0.5)
    columns = [asked["key"], asked["day"], asked["second"].fillna(late), asked.index,
               asked["inlet"]]  # fmt: skip
    shown: dict[str, list[_Shown]] = {}
    for key, *reading in sorted(zip(*(column.tolist() for column in columns), strict=True)):
        own, (day, second, row, inlet) = shown.setdefault(key, []), reading
        highest = max(inlet, own[-1][3]) if own and own[-1][0] == day else inlet
        own.append((day, second, row, highest))
    return shown


RULES = (
    flush_without_cycles, flush_signs_blank, flush_inlet_odd, work_out_of_service, zero_not_shown,
)  # fmt: skip
