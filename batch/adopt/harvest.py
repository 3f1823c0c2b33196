"""From tables to rows: each row of a source is used, proposed as work, or left out with its why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from siltbook.batch.adopt.columns import shown
from siltbook.batch.adopt.context import DATED, Context, names, names_of, parts_of, whole
from siltbook.batch.adopt.layouts import A_LINE
from siltbook.batch.adopt.model import Cell, Found, Harvest, LeftOut
from siltbook.batch.adopt.notes import proposals
from siltbook.batch.adopt.proposing import work_of
from siltbook.batch.adopt.readings import reading_of
from siltbook.batch.adopt.recognise import month_in, parse_date, parse_time, valueless
from siltbook.batch.adopt.summaries import is_summary
from siltbook.batch.numbers.unplaced import is_ditto

NAMELESS = "no station is named"
UNPLACED = "unplaced"  # key of a reading without a date or a station: why
ENTERS = "it enters as it stands, and is to be corrected in the book"
NOTHING = "nothing was read and no work is said"


@dataclass(frozen=True)
class _Moment:
    """Date and time of a row; `why` it has no date; a time that cannot be read as it was typed."""

    date: dt.date | None
    time: dt.time | None
    why: str
    time_typed: str = ""


def harvest(found: Found, into: Harvest) -> None:
    """Add one table's rows to `into`; every row is counted once."""
    section = found.sections.get(found.header_rows[0], found.station)
    moments = {
        row: _moment(found, cells)
        for row, cells in found.grid.rows.items()
        if found.first <= row <= found.last and _filled(found, row)
    }
    dated = [row for row, at in moments.items() if at.date and row not in found.left_out]
    for row, at in moments.items():
        into.read += 1
        if row in found.left_out:
            section = found.sections.get(row, section)
            text = " ".join(whole(v) for v in found.grid.rows[row].values())
            worked = found.left_out[row] == A_LINE and bool(proposals(text))
            _leave(found, row, found.left_out[row], into, matters=worked)
            continue
        _row(_context(found, row, at, section), at.why, dated, into)


def _filled(found: Found, row: int) -> bool:
    cells = found.grid.rows.get(row, {})
    return any(c.index in cells for c in found.columns)


def _leave(found: Found, row: int, why: str, into: Harvest, *, matters: bool = False) -> None:
    into.left_out.append(LeftOut(found.where(row), _what(found, row), why, 1, matters))


def _what(found: Found, row: int) -> str:
    cells = found.grid.rows[row]
    what = [shown(cells[c.index]) for c in found.columns if c.index in cells]
    what += [f"note: {words}" for (at, _), words in found.grid.notes.items() if at == row]
    return " · ".join(what)[:200]


def notes_beside(tables: Sequence[Found]) -> Iterator[LeftOut]:
    """Notes at cells that are in no row of a table: headers, titles, cells beside it."""
    for table in tables:
        own = [t for t in tables if t.grid is table.grid]
        if own[0] is not table:
            continue
        used = {(row, c.index) for t in own for row in t.grid.rows if t.first <= row <= t.last
                for c in t.columns}  # fmt: skip
        for (row, column), words in table.grid.notes.items():
            if (row, column) not in used:
                cell = "" if table.turned else f", cell {table.cell(row, column)}"
                where = table.grid.place + cell
                yield LeftOut(where, words, "a note at a cell that is in no row of readings")


def _context(found: Found, row: int, at: _Moment, section: str) -> Context:
    cells, station = found.grid.rows[row], section
    for column in found.of("station"):
        value = cells.get(column.index, "")
        # A name that was typed on two lines is one name.
        typed = " ".join(value.split()) if isinstance(value, str) else whole(value)
        station = "" if is_ditto(typed) or valueless(typed) else typed
    return Context(found, row, cells, at.date, at.time, station, at.time_typed)


def _row(context: Context, why: str, dated: Sequence[int], into: Harvest) -> None:
    found, station = context.found, context.station
    work = list(work_of(context))
    at_work = {str(one["station"]) for one in work if one["work"] == "flush"}
    readings = [
        made for name in names_of(found, station)
        if (made := reading_of(context, name, flushed=bool(at_work & {name, ""})))
    ]  # fmt: skip
    if context.date is None or (found.layout != "wide" and not station):
        why = why if context.date is None else NAMELESS
        _unplaced(context, why, readings, dated, into, worked=bool(work))
        return
    _orphans(context, readings, into)
    into.readings += readings
    into.work += work
    if readings:
        into.used += 1
    elif work:
        into.proposed += 1
    else:
        _leave(found, context.row, _lacks(context), into)


def _lacks(context: Context) -> str:
    """Why a row with a date and a station gave nothing."""
    flows = [c for c in context.found.of("flow", "field") if c.index in context.cells]
    return f"no pressures, only '{flows[0].header}', and no work is said" if flows else NOTHING


def _unplaced(
    context: Context, why: str, readings: list[dict[str, object]], dated: Sequence[int],
    into: Harvest, *, worked: bool,
) -> None:  # fmt: skip
    """A row of pressures without a date or a station: it enters as it stands, for all to see.

    Left out, it would not speak against a station that is in range by an older reading.
    """
    found, row = context.found, context.row
    dates = [context.cells.get(c.index) for c in found.of(*DATED)]
    typed = next((whole(value) for value in dates if value is not None), "")
    named = context.date or context.station or typed
    enters = _is_reading(context, typed, dated) if found.layout == "wide" else bool(named)
    if not readings or not enters:
        _leave(found, row, why, into, matters=bool(readings) or worked)
        return
    where = found.where(row)
    for reading in readings:
        if context.date is None:
            reading["date"] = typed
        said = str(reading.get("remark") or "")
        reading |= {"remark": f"{said}; {where}" if said else where, UNPLACED: why}
    into.readings += readings
    into.used += 1
    into.left_out.append(LeftOut(where, _what(found, row), f"{why}: {ENTERS}"))


def _is_reading(context: Context, typed: str, dated: Sequence[int]) -> bool:
    """Whether a row of a wide table without a date is one of readings, and no line of limits,
    means or totals, which have none either."""
    if any(c.isdigit() for c in typed) or month_in(typed):
        return True  # a date was tried
    if any(c.isalpha() for c in typed) or not dated or context.row < dated[0]:
        return False
    return context.row < dated[-1] or not is_summary(context, dated)


def settle_unplaced(into: Harvest) -> None:
    """Leave out what was not placed under a name of which nothing else was read: no station."""
    known = {r["station"] for r in into.readings if UNPLACED not in r}
    odd = {r["where"] for r in into.readings if r["station"] and r["station"] not in known}
    if not odd:
        return
    into.readings = [r for r in into.readings if r["where"] not in odd]
    into.used -= len(odd)
    into.left_out = [
        replace(one, why=one.why.removesuffix(f": {ENTERS}"), rows=1, matters=True)
        if one.where in odd else one
        for one in into.left_out
    ]  # fmt: skip


def _orphans(context: Context, readings: list[dict[str, object]], into: Harvest) -> None:
    """Parts of a note that name a station without a reading in this row: listed, never lost."""
    stations = names_of(context.found, context.station)
    read = {str(r["station"]) for r in readings}
    for part in parts_of(context.text("note"), stations) if len(stations) > 1 and read else []:
        about = [n for n in stations if names(part, n)]
        if about and not read & set(about):
            why = "a note on a station without a reading in that row"
            into.left_out.append(LeftOut(context.found.where(context.row), part, why))


def _moment(found: Found, cells: dict[int, Cell]) -> _Moment:
    """Date and time of a row, or why it has none."""
    date = time = None
    why, unread = "no date", ""
    for column in found.of(*DATED):
        if column.index in cells and date is None:
            value = cells[column.index]
            read = parse_date(value, found.date_order, found.year, found.month)
            date, time = read.date, read.time
            why = f"the date '{shown(value)}' cannot be read"
    for column in found.of("time"):
        if column.index in cells:
            clock = parse_time(cells[column.index])
            time, unread = clock or time, "" if clock else whole(cells[column.index])
    return _Moment(date, time, why, unread)
