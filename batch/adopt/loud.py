"""What must not go unseen of rows: left out with pressures in them, struck through, words for
numbers and signs. Sentences for the terminal and for the mapping's first sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from siltbook.batch.adopt.harvest import UNPLACED
from siltbook.batch.adopt.model import Found, Harvest
from siltbook.batch.adopt.recognise import against_its_side, parse_header
from siltbook.templates.contract import READINGS, WORK, YES_NO

_NAMED = 5  # places named one by one
_NUMBERS = {READINGS.name: ("flow", "field"), WORK.name: ("cycles",)}
_SIGNS = ("click", "water", "water_heard")
_PRESSURES = ("inlet", "outlet", "pressure")


def sentences(tables: Sequence[Found], rows: Harvest) -> Iterator[str]:
    """Each thing in a sentence that says what becomes of it."""
    yield from dict.fromkeys(t.grid.read_as for t in tables if t.grid.read_as)
    told = _unplaced(rows), _left(rows), _columns(tables), _struck(tables), _words(rows)
    yield from filter(None, told)


def _unplaced(rows: Harvest) -> str:
    """Rows of pressures that enter without a date or a station: they keep stations from calm."""
    found = list(dict.fromkeys(str(r["where"]) for r in rows.readings if UNPLACED in r))
    if not found:
        return ""
    said = "rows have pressures, but no date or station that can be read: they enter as they stand"
    if len(found) == 1:
        said = "row has pressures, but no date or station that can be read: it enters as it stands"
    return (
        f"{len(found)} {said} ({_some(found)}; sheet Left out). Correct"
        f" {'it' if len(found) == 1 else 'them'} in the book: until then the station may have to be"
        " read again."
    )


def _left(rows: Harvest) -> str:
    """Rows that hold pressures, or work, and enter nowhere."""
    left = [one for one in rows.left_out if one.matters and one.rows]
    found = [f"{one.where} ({one.why})" for one in left]
    if not found:
        return ""
    held = "it holds" if sum(one.rows for one in left) == 1 else "they hold"
    return (
        f"Left out although {held} pressures or work: {_some(found)}. Give a row its date and its"
        " station in the source, and run again, if it is to count."
    )


def _columns(tables: Sequence[Found]) -> str:
    """Columns of pressures that are left out: a second reading of each row, for example."""
    found = [
        f"{table.grid.place}, column {column.letters} ({column.header})"
        for table in tables
        for column in table.columns
        if column.role == "leave out" and _names_pressures(column.header)
    ]
    if not found:
        return ""
    what = "A column of pressures is" if len(found) == 1 else "Columns of pressures are"
    return f"{what} left out, and what was read there enters nowhere: {_some(found)}."


def _names_pressures(header: str) -> bool:
    """Whether a header says inlet, outlet or pressure; *Inlet after* does, too."""
    return parse_header(header).role in _PRESSURES or against_its_side(header) is not None


def _struck(tables: Sequence[Found]) -> str:
    """Rows in which something is struck through."""
    found = []
    for table in (t for t in tables if not t.logger):  # of records it is said what is left out
        used = {c.index for c in table.columns if c.role != "leave out"}
        rows: dict[int, list[int]] = {}
        for row, column in sorted(table.grid.struck):
            if table.first <= row <= table.last and column in used and row not in table.left_out:
                rows.setdefault(row, []).append(column)
        for row, columns in rows.items():
            heads = [c.header for c in table.columns if c.index in columns]
            found.append(f"{table.where(row)} ({', '.join(heads)})")
    if not found:
        return ""
    return (
        f"Struck through in the source: {_some(found)}. A pressure struck through, or one of a row"
        " whose date or station is, goes to Remark: its reading enters without it and is to be"
        " taken again, or deleted. Work struck through enters only where 'Enter' is set to yes."
    )


def _words(rows: Harvest) -> str:
    """Words in place of a flow, a field pressure, cycles or a sign: the book asks for them."""
    lists = ((READINGS, rows.readings), (WORK, rows.work))
    found = [
        f"{sheet.column(key).header} '{value}' in {row['where']}"
        for sheet, listed in lists
        for row in listed
        for key in (*_NUMBERS[sheet.name], *_SIGNS)
        if isinstance(value := row.get(key), str) and value not in YES_NO
    ]
    if not found:
        return ""
    held = "It enters as it stands" if len(found) == 1 else "They enter as they stand"
    return (
        f"Not to be read as a number, or as yes or no: {_some(found)}. {held}, and the book asks"
        " for a correction; until then the station may have to be read again."
    )


def _some(found: Sequence[str]) -> str:
    more = f"; and {len(found) - _NAMED:,} more" if len(found) > _NAMED else ""
    return "; ".join(found[:_NAMED]) + more
