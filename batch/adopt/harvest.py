"""From tables to rows: each row of a source is used, proposed as work, or left out with its why."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from siltbook.batch.adopt.columns import shown
from siltbook.batch.adopt.model import MEASURED, Cell, Column, Found, Harvest, LeftOut
from siltbook.batch.adopt.notes import Proposal, occasion_of, proposals, yes_no
from siltbook.batch.adopt.recognise import parse_date, parse_number, parse_time
from siltbook.batch.adopt.words import find_phrase, plain
from siltbook.batch.reading.parsing import choice, tidy
from siltbook.batch.reading.unread import says
from siltbook.templates.contract import WORKS

NAMELESS = "no station is named"
UNPLACED = "unplaced"  # key of a reading without a date or a station: why
ENTERS = "it enters as it stands, and is to be corrected in the book"


@dataclass(frozen=True)
class Amount:
    """A number with the unit in which it was written down."""

    value: float
    unit: str


def harvest(found: Found, into: Harvest) -> None:
    """Add one table's rows to `into`; every row is counted once."""
    section = found.sections.get(found.header_rows[0], found.station)
    for row in found.grid.rows:
        if not found.first <= row <= found.last or not _filled(found, row):
            continue
        into.read += 1
        if row in found.left_out:
            section = found.sections.get(row, section)
            _leave(found, row, found.left_out[row], into)
            continue
        _row(found, row, section, into)


def _filled(found: Found, row: int) -> bool:
    cells = found.grid.rows.get(row, {})
    return any(c.index in cells for c in found.columns)


def _leave(found: Found, row: int, why: str, into: Harvest) -> None:
    cells = found.grid.rows[row]
    what = " · ".join(shown(cells[c.index]) for c in found.columns if c.index in cells)
    into.left_out.append(LeftOut(found.where(row), what[:200], why, 1))


@dataclass
class _Context:
    """One source row with what holds for all its stations."""

    found: Found
    row: int
    cells: dict[int, Cell]
    date: dt.date | None
    time: dt.time | None
    station: str

    def text(self, role: str, station: str | None = None) -> str:
        """The texts under a role, one after the other; of a station's own columns too."""
        told = [
            shown(self.cells[c.index]) if not isinstance(self.cells[c.index], str)
            else tidy(str(self.cells[c.index]))
            for c in self.found.of(role)
            if c.index in self.cells and (not c.station or station in (None, c.station))
        ]  # fmt: skip
        return "; ".join(told)


def _row(found: Found, row: int, section: str, into: Harvest) -> None:
    cells = found.grid.rows[row]
    date, time, why = _moment(found, cells)
    station = section
    for column in found.of("station"):
        station = tidy(shown(cells[column.index])) if column.index in cells else ""
    context = _Context(found, row, cells, date, time, station)
    readings = [r for name in _names(found, station) if (r := _reading(context, name))]
    if date is None:
        _unplaced(context, why, readings, into)
        return
    work = list(_work(context))
    if found.layout != "wide" and not station:
        _unplaced(context, NAMELESS, readings, into)
        return
    _orphans(context, readings, into)
    into.readings += readings
    into.work += work
    if readings:
        into.used += 1
    elif work:
        into.proposed += 1
    else:
        _leave(found, row, "nothing was read and no work is said", into)


def _unplaced(
    context: _Context, why: str, readings: list[dict[str, object]], into: Harvest
) -> None:
    """A row of pressures without a date or a station: it enters as it stands, for all to see.

    Left out, it would not speak against a station that is in range by an older reading. In a wide
    table only a date that was tried counts: a line of limits has none either.
    """
    found, row = context.found, context.row
    dates = [context.cells.get(c.index) for c in found.of("date", "date and time")]
    typed = next((shown(value) for value in dates if value is not None), "")
    tried = found.layout != "wide" or any(c.isdigit() for c in typed)
    if not readings or not tried or not (context.date or context.station or typed):
        _leave(found, row, why, into)
        return
    where = found.where(row)
    for reading in readings:
        if context.date is None:
            reading["date"] = typed
        said = str(reading.get("remark") or "")
        reading |= {"remark": f"{said}; {where}" if said else where, UNPLACED: why}
    into.readings += readings
    into.used += 1
    what = " · ".join(
        shown(context.cells[c.index]) for c in found.columns if c.index in context.cells
    )
    into.left_out.append(LeftOut(where, what[:200], f"{why}: {ENTERS}"))


def settle_unplaced(into: Harvest) -> None:
    """Leave out what was not placed under a name of which nothing else was read: no station."""
    known = {r["station"] for r in into.readings if UNPLACED not in r}
    odd = {r["where"] for r in into.readings if r["station"] and r["station"] not in known}
    if not odd:
        return
    into.readings = [r for r in into.readings if r["where"] not in odd]
    into.used -= len(odd)
    into.left_out = [
        replace(one, why=one.why.removesuffix(f": {ENTERS}"), rows=1) if one.where in odd else one
        for one in into.left_out
    ]


def _orphans(context: _Context, readings: list[dict[str, object]], into: Harvest) -> None:
    """Parts of a note that name a station without a reading in this row: listed, never lost."""
    names = _names(context.found, context.station)
    read = {str(r["station"]) for r in readings}
    for part in _parts(context.text("note"), names) if len(names) > 1 and read else []:
        about = [n for n in names if _says(part, n)]
        if about and not read & set(about):
            why = "a note on a station without a reading in that row"
            into.left_out.append(LeftOut(context.found.where(context.row), part, why))


def _names(found: Found, station: str) -> list[str]:
    if found.layout != "wide":
        return [station]
    return list(dict.fromkeys(c.station for c in found.of(*MEASURED) if c.station))


def _moment(found: Found, cells: dict[int, Cell]) -> tuple[dt.date | None, dt.time | None, str]:
    """Date and time of a row, or why it has none."""
    date = time = None
    why = "no date"
    for column in found.of("date", "date and time"):
        if column.index in cells:
            value = cells[column.index]
            read = parse_date(value, found.date_order, found.year, found.month)
            date, time = read.date, read.time
            why = f"the date '{shown(value)}' cannot be read"
    for column in found.of("time"):
        if column.index in cells:
            time = parse_time(cells[column.index]) or time
    return date, time, why


def _reading(context: _Context, station: str) -> dict[str, object] | None:
    """One station's reading of a row; None where no pressure and no drop is in it.

    '3.4?', or on a day 'closed', is a reading that nobody can use; a dash is none.
    """
    found, row = context.found, {"station": station, "date": context.date}
    made: dict[str, object] = dict(row)
    odd: list[str] = []
    told = False
    for column in found.of(*MEASURED):
        if found.layout == "wide" and column.station and column.station != station:
            continue
        if column.index in context.cells and column.role not in made:
            value, before = context.cells[column.index], len(odd)
            _measure(column, value, found.decimal, made, odd)
            if len(odd) > before and column.role in ("inlet", "outlet", "drop"):
                told |= context.date is not None and says(value)
    if {"inlet", "outlet"} & set(made):
        made.pop("drop", None)  # worked out anew from the pressures
    elif "drop" not in made and not told and not any(c.isdigit() for c in "".join(odd)):
        return None
    if context.time is not None:
        made["time"] = context.time
    occasion = occasion_of(context.text("occasion"))
    if occasion and occasion != "routine":
        made["occasion"] = occasion
    if who := context.text("read by"):
        made["read_by"] = who
    others = [n for n in _names(found, context.station) if n != station]
    note = _note_for(context.text("note", station), station, others)
    remark = [note, *odd, _unsaid(context, occasion)]
    if text := "; ".join(t for t in remark if t):
        made["remark"] = text
    made["where"] = found.where(context.row)
    return made


def _note_for(text: str, station: str, others: list[str]) -> str:
    """A note without those of its parts that name another station of the row only."""
    if not others or not text:
        return text
    parts = _parts(text, [station, *others])
    own = [p for p in parts if _says(p, station) or not any(_says(p, o) for o in others)]
    return "; ".join(own)


def _parts(text: str, stations: list[str]) -> list[str]:
    """A note cut at the stations that it names; what names none belongs to the part before it."""
    parts: list[str] = []
    for piece in re.split(r"[;\n]", text):
        if parts and not any(_says(piece, s) for s in stations):
            parts[-1] += f"; {piece.strip()}"
        else:
            parts.append(piece.strip())
    return parts


def _says(text: str, station: str) -> bool:
    """Whether a text names a station."""
    name = tuple(plain(station).split())
    return bool(name) and find_phrase(tuple(plain(text).split()), name) >= 0


def _unsaid(context: _Context, occasion: str) -> str:
    """What stands under occasion, work or flush columns and has no other place in a reading."""
    told = [] if occasion else [context.text("occasion")]
    told.append(context.text("work"))
    return "; ".join(t for t in told if t)


def _measure(
    column: Column, value: Cell, mark: str, made: dict[str, object], odd: list[str]
) -> None:
    number, unit = parse_number(value, mark)
    if number is None:
        odd.append(f"{column.role}: '{shown(value)}'")  # what was typed is kept
    else:
        made[column.role] = Amount(number, unit or column.unit)


def _work(context: _Context) -> Iterator[dict[str, object]]:
    """The work that a row's notes and columns speak of, one proposal each."""
    found = context.found
    stations = _names(found, context.station)
    noted = [(context.text("note", n), n) for n in stations] if _own_notes(found) else []
    parts = _parts(context.text("note"), stations) if len(stations) > 1 else []
    noted = noted or [(p, "") for p in parts] or [(context.text("note"), "")]
    seen: set[tuple[str, str]] = set()
    for text, name in [(context.text("work"), ""), *noted]:
        station = name or _named(text, stations)
        for one in _said(text):
            if (station, one.work) not in seen:
                seen.add((station, one.work))
                yield _as_work(context, one, station, text)
    cycles = context.text("cycles")
    number = parse_number(cycles)[0] if cycles else None
    said = yes_no(cycles) == "yes" or bool(number)
    if cycles and said and not any(work == "flush" for _, work in seen):
        header = found.of("cycles")[0].header
        one = Proposal("flush", f"{header}: {cycles}")
        yield _as_work(context, one, _named("", stations), one.words)


def _own_notes(found: Found) -> bool:
    return any(c.station for c in found.of("note"))


def _said(text: str) -> tuple[Proposal, ...]:
    exact = choice(text, WORKS) if text else None
    if exact and exact != "other":
        return (Proposal(exact, text),)
    return proposals(text) if text else ()


def _named(text: str, stations: list[str]) -> str:
    """The station that a note is about: the only one, or the one that it names; '' if open."""
    if len(stations) == 1:
        return stations[0]
    named = [s for s in stations if _says(text, s)]
    return named[0] if len(named) == 1 else ""


def _as_work(context: _Context, one: Proposal, station: str, text: str) -> dict[str, object]:
    made: dict[str, object] = {"station": station, "date": context.date, "work": one.work}
    if context.time is not None:
        made["time"] = context.time
    cycles = one.cycles
    if one.work == "flush":
        typed = context.text("cycles")
        cycles = parse_number(typed)[0] if typed and cycles is None else cycles
        click = one.click or yes_no(context.text("click"))
        water = one.water or yes_no(context.text("water"))
        made |= {k: v for k, v in (("cycles", cycles), ("click", click), ("water", water)) if v}
    if who := context.text("read by"):
        made["done_by"] = who
    made |= {"remark": text, "words": one.words, "where": context.found.where(context.row)}
    return made
