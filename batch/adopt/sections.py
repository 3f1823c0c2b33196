"""Lines of text behind which the dates of a list begin anew: each begins another station's rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from itertools import pairwise

from siltbook.batch.adopt.model import Found
from siltbook.batch.adopt.recognise import parse_date

_LONGEST = 100  # characters of a station's name


def restarts(found: Found, data: Sequence[int], dated: int | None) -> set[int]:
    """The rows of a single text right above a day that goes back behind the one before it, and
    the one at the top of such a list.

    Whatever the text is, a total or a note would not make a log begin anew; one such line alone, in
    a list that does not begin with one, may be a note over older rows. In a list with the newest on
    top the days go forward there.
    """
    if dated is None:
        return set()
    days = {row: _day(found, row, dated) for row in data}
    known = [(row, day) for row, day in days.items() if day is not None]
    steps = [(b - a).days for (_, a), (_, b) in pairwise(known)]
    down = sum(step < 0 for step in steps) > sum(step > 0 for step in steps)
    back = {
        row for (_, a), (row, b) in pairwise(known)
        if (b > a if down else b < a)
    }  # fmt: skip
    begins = {row for row, after in pairwise(data) if after in back and _is_line(found, row)}
    top = set(data[:1]) if data and _is_line(found, data[0]) else set()
    return begins | top if begins and (top or len(begins) > 1) else set()


def _day(found: Found, row: int, dated: int) -> dt.date | None:
    value = found.grid.rows[row].get(dated)
    if value is None:
        return None
    read = parse_date(value, found.date_order, found.year, found.month)
    return (read if read.date or not read.ambiguous else parse_date(value, "dmy")).date


def _is_line(found: Found, row: int) -> bool:
    cells = list(found.grid.rows[row].values())
    return len(cells) == 1 and isinstance(cells[0], str) and len(cells[0].strip()) <= _LONGEST
