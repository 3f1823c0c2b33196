"""What each column of a table is taken for: by its headers, its cells, and the table's title."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter

from siltbook.batch.adopt.model import ASK, MEASURED, PRESSURES, Cell, Column, Found, Parsed
from siltbook.batch.adopt.recognise import (
    AROUND_WORK,
    against_its_side,
    parse_date,
    parse_header,
    parse_number,
    parse_time,
    two_ways,
    unit_of,
    valueless,
)
from siltbook.batch.adopt.tables import Area, is_day, merged_to
from siltbook.batch.reading.parsing import tidy
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS

_LOOK = 400  # cells of a column that tell what it holds
# A day by which something is to be done: work that a note speaks of was not done on it.
_TO_COME = re.compile(
    r"\b(due|by when|deadline|planned|fecha limite|fecha límite|plazo|prazo|echeance|échéance"
    r"|scadenza|termin|frist|faellig|fällig)\b"
)
_SHARE = 0.8  # of a column's cells that must be of one kind


def values(found: Found, column: int) -> list[Cell]:
    """A column's filled cells, junk rows left out, the first few hundred."""
    rows = found.grid.rows
    picked = (
        rows[r][column] for r in rows
        if found.first <= r <= found.last and r not in found.left_out and column in rows[r]
    )  # fmt: skip
    return [v for _, v in zip(range(_LOOK), picked, strict=False)]


def shown(value: Cell) -> str:
    """A cell as the mapping shows it."""
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%d" if value.time() == dt.time(0) else "%Y-%m-%d %H:%M")
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)[:40]


def _piece(area: Area, row: int, column: int) -> str:
    value = area.grid.rows.get(row, {}).get(column)
    return "" if value is None else shown(value)


def _path(area: Area, column: int) -> list[str]:
    """The texts above a column, top first; an upper text holds for the columns under its span."""
    pieces = []
    for row in area.headers:
        text = _piece(area, row, column)
        if not text and row != area.headers[-1] and row != area.units:
            text = _spanning(area, row, column)
        if text and text not in pieces:
            pieces.append(text)
    return pieces


def _spanning(area: Area, row: int, column: int) -> str:
    """The text of an upper header cell that reaches over this column."""
    left = next((c for c in range(column - 1, -1, -1) if c in area.grid.rows[row]), None)
    lower = _piece(area, area.headers[area.headers.index(row) + 1], column)
    if left is None or not lower:
        return ""
    text = _piece(area, row, left)
    if merged_to(area.grid, row, left) >= column:
        return text
    if any(merged_to(area.grid, row, c) > c for c in area.grid.rows[row]):
        return ""  # somebody merged where they meant a span
    over, own = parse_header(text), parse_header(lower)
    if own.role and own.role not in MEASURED and own.role != "leave out":
        return ""  # a note or a date at the end belongs to no station
    return text if not over.role or over.role in MEASURED else ""


def path_text(area: Area, column: int) -> str:
    return " | ".join(p for p in _path(area, column)) or ""


def kind_of(found: Found, column: int) -> str:
    """What a column holds: day, time, number, text, or nothing."""
    cells = [v for v in values(found, column) if not valueless(v)]
    if not cells:
        return ""
    counts: Counter[str] = Counter()
    for value in cells:
        if is_day(value) or (isinstance(value, float) and 36_526 <= value < 73_051):
            counts["day"] += 1
        elif parse_number(value)[0] is not None or two_ways(value):
            counts["number"] += 1
        elif parse_time(value) is not None:
            counts["time"] += 1
        else:
            counts["text"] += 1
    kind, most = counts.most_common(1)[0]
    return kind if most >= 0.6 * len(cells) else "text"


_FIRST = (("inlet", "outlet", "drop"), ("flow",), ("field",))


def assign(found: Found, area: Area, kinds: dict[int, str]) -> None:
    """Give each column its role, unit and station by the texts above it."""
    said = _said_for_all(found)
    for column in found.columns:
        path = _path(area, column.index)
        pieces = [parse_header(p) for p in path]
        units = [p.unit or unit_of(t.strip("()[]")) for p, t in zip(pieces, path, strict=True)]
        column.unit = next((u for u in units if u), "")
        best = _best(pieces)
        names = _names(pieces, path, best)
        whole = parse_header(" ".join(path)) if len(pieces) > 1 and best is None else None
        if whole is not None and whole.role:
            best, names = whole, [whole.rest] if whole.rest else []
        if best is not None:
            column.role, column.sure, column.why = best.role, best.sure, best.why
        if not column.role or column.role in (*MEASURED, "pressure", "note"):
            column.station = tidy(" ".join(names))
        _finish(found, column, kinds.get(column.index, ""), said)
    _days_as_times(found, kinds)
    _two_readings(found)


def _days_as_times(found: Found, kinds: dict[int, str]) -> None:
    """A column of times that holds days as well is that of the dates, where there is no other."""
    stamps = [c for c in found.of("time") if kinds.get(c.index) == "day"]
    if stamps and not found.of("date", "date and time"):
        stamps[0].role, stamps[0].sure = "date and time", "fairly"
        stamps[0].why += ", and its cells hold days"


def _two_readings(found: Found) -> None:
    """Inlet and outlet before, inlet and outlet after: no header tells which pair is meant, and
    one of each pair would be a reading that nobody took."""
    likely = [c for c in found.columns if c.role in (*MEASURED, ASK, "")]
    told = {c.index: against_its_side(c.header) for c in likely}
    if not any(told.values()):
        return
    for column in found.columns:
        if told.get(column.index) is not None:
            column.role, column.sure, column.why = ASK, "", AROUND_WORK


def _best(pieces: list[Parsed]) -> Parsed | None:
    """The piece of a header that says what the column is: a side before anything else."""
    for roles in _FIRST:
        for piece in sorted(pieces, key=lambda p: bool(p.rest)):
            if piece.role in roles:
                return piece
    return next((p for p in reversed(pieces) if p.role), None)


def _names(pieces: list[Parsed], path: list[str], best: Parsed | None) -> list[str]:
    """What the other pieces of a header say: a station's name, whatever words are in it."""
    names = []
    for piece, text in zip(pieces, path, strict=True):
        if piece is best:
            names += [piece.rest] if piece.rest else []
        elif not unit_of(text.strip("()[]")) and (not piece.role or piece.rest):
            names.append(text)
    return list(dict.fromkeys(names))


def _said_for_all(found: Found) -> tuple[str, str]:
    """Role and pressure unit that a title says for the whole table."""
    role = unit = ""
    for text in found.title.split(" · "):
        parsed = parse_header(text) if len(text) <= 120 else None
        if parsed and parsed.role == "drop":
            role = "drop"
        tokens = [t.strip("()[].,;:") for t in text.split()]
        units = {u for t in tokens if len(t) > 2 or f"({t})" in text or f"in {t}" in text
                 if (u := unit_of(t))}  # fmt: skip
        pressure = [u for u in units if u not in FLOW_UNITS]
        unit = pressure[0] if len(pressure) == 1 else unit
    if not role and parse_header(found.grid.sheet).role == "drop":
        role = "drop"
    return role, unit


def _finish(found: Found, column: Column, kind: str, said: tuple[str, str]) -> None:
    """Units from the title, numbers under a pressure header, and what is left alone."""
    if not column.header and kind == "day" and not found.of("date"):
        column.role, column.sure, column.why = "date", "fairly", "holds dates and has no header"
    if column.role == "pressure":
        column.role, column.sure = ASK, ""
        if column.why != AROUND_WORK:
            column.why = "a pressure, but on which side is not said"
    if column.role in PRESSURES and column.unit in FLOW_UNITS:
        column.unit = ""  # no pressure is in it: it is asked for
    if column.role in PRESSURES or column.role == ASK:
        column.unit = column.unit or said[1]
    if column.role in ("date", "time") and kind == "number" and column.role == "date":
        cells = values(found, column.index)
        dated = sum(bool(parse_date(v, "dmy", found.year, found.month).date) for v in cells)
        if dated < _SHARE * len(cells):
            column.role, column.why = (
                "leave out",
                "its header says date, its cells are other numbers",
            )
    to_come = _TO_COME.search(tidy(column.header).casefold())
    if column.role == "" and kind == "day" and to_come:
        column.role, column.why = "leave out", "a day by which something is to be done"
    elif column.role == "" and kind == "day" and not found.of("date", "date and time"):
        column.role, column.sure, column.why = "date", "fairly", "the only column of dates"
    if column.role == "date" and kind == "time":
        column.role, column.why = "time", "its cells are times of day"


def only_names(found: Found, kinds: dict[int, str]) -> None:
    """Number columns whose headers only name stations: what they hold, the title says or nobody."""
    said = _said_for_all(found)
    bare = [
        c for c in found.columns
        if c.role == "" and c.header and kinds.get(c.index) == "number"
    ]  # fmt: skip
    if not found.of("inlet", "outlet", "drop", ASK) and bare and not found.of("station"):
        for column in bare:
            column.station = column.station or column.header
            column.role, column.sure = (said[0], "sure") if said[0] else (ASK, "")
            column.why = (
                "the title says what the numbers are" if said[0] else "only a name, no side"
            )
            column.unit = column.unit or said[1]
        if not said[0] and not (said[1] or any(c.unit in PRESSURE_UNITS for c in bare)):
            _leave(bare, "nothing says that these are pressures")
    for column in found.columns:
        cells = values(found, column.index) if column.role == "" else []
        spelt = sum(isinstance(v, str) and bool(unit_of(v.strip("()[]"))) for v in cells)
        if spelt and spelt >= 0.6 * len(cells):
            column.role, column.sure, column.why = "unit", "sure", "its cells are units"
            column.station = ""
    rest = [c for c in found.columns if c.role == ""]
    missing = bool(found.of("inlet")) != bool(found.of("outlet")) and not found.of("drop")
    for column in rest:
        pressing = column.unit in PRESSURE_UNITS and kinds.get(column.index) == "number"
        if kinds.get(column.index) == "number" and column.header and (missing or pressing):
            column.role, column.why = ASK, "numbers under a header that is not known"
        else:
            _leave([column], "nothing says what it is" if column.header else "no header")


def _leave(columns: list[Column], why: str) -> None:
    for column in columns:
        column.role, column.sure, column.why = "leave out", "fairly", why
        column.station = ""


def check_values(found: Found, kinds: dict[int, str]) -> None:
    """A header that its cells contradict is asked about, an empty column left out."""
    seen: set[tuple[str, str]] = set()
    for column in found.columns:
        kind = kinds.get(column.index, "")
        if not kind:
            if column.role in ("", ASK):
                _leave([column], "the column is empty")
        elif column.role in MEASURED and kind != "number":
            column.role, column.why = ASK, "its header names a pressure, its cells are no numbers"
        elif column.role == "station" and kind == "day":
            _leave([column], "its header says station, its cells are dates")
        key = (column.role, column.station)
        once = column.role in (*MEASURED, "date", "time", "station", "date and time", "work")
        if once and key in seen:
            column.role, column.sure = (
                (ASK, "") if column.role in MEASURED else ("leave out", "fairly")
            )
            column.why = "a second column of that kind"
        seen.add(key)
