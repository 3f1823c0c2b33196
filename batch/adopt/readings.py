"""One station's reading of a row: its numbers, and in words what could not be read."""

from __future__ import annotations

from collections.abc import Sequence

from siltbook.batch.adopt.context import (
    DATED,
    Context,
    names,
    names_of,
    parts_of,
    struck_text,
    whole,
)
from siltbook.batch.adopt.inunits import TURNED_UNITS, fits, metres, row_unit
from siltbook.batch.adopt.model import MEASURED, Amount, Column
from siltbook.batch.adopt.notes import occasion_of
from siltbook.batch.adopt.proposing import signs_left
from siltbook.batch.adopt.recognise import parse_number, valueless, words_beside
from siltbook.batch.reading.unread import says
from siltbook.templates.contract import PRESSURE_UNITS

UNREAD = "unread"  # key of a reading's pressures that cannot be read: role -> what was typed
_SIDES = ("inlet", "outlet")
_DECISIVE = (*_SIDES, "drop")
_ROUNDING = 0.5  # [m] by which a drop that was written down may differ, and a tenth of it


class _Measuring:
    """The measured cells of one station in one row."""

    def __init__(self, context: Context, columns: Sequence[Column]) -> None:
        self.context, self.columns = context, columns
        self.made: dict[str, object] = {}
        self.odd: list[str] = []  # what was typed and has no cell of its own
        self.unread: dict[str, str] = {}  # pressures that cannot be read
        self.digits = False  # whether a number stands in it
        self.told = False  # whether a pressure's cell says something that is no number

    def take_all(self) -> None:
        """Read every cell, the pressures before a drop."""
        for column in sorted(self.columns, key=lambda c: c.role == "drop"):
            if column.index in self.context.cells and column.role not in self.made:
                self._take(column)

    def _take(self, column: Column) -> None:
        context, role = self.context, column.role
        value = context.cells[column.index]
        void = context.struck(column) or bool(context.void)
        number, unit = (None, "") if void else parse_number(value, context.found.decimal)
        unit = unit or row_unit(context.found, context.row, role) or column.unit
        if number is not None and fits(role, unit):
            self.made[role] = Amount(number, unit)
        elif role not in _DECISIVE and not void and says(value):
            self.made[role] = whole(value)  # 'dry': the book asks for it as if it were typed there
        elif role != "drop" or not valueless(value):  # a formula over what is read, or blank
            text = struck_text(value) if void else whole(value)
            self.odd.append(f"{role}: '{text}'")  # what was typed is kept
            if role in _DECISIVE and says(value):
                self.unread[role] = text
            self.digits |= any(c.isdigit() for c in text) and not valueless(value)
            self.told |= role in _DECISIVE and context.date is not None and says(value)

    @property
    def reads(self) -> bool:
        """Whether there is a pressure or a drop, or something in its place.

        A drop of zero beside two blank pressures is what a formula makes of them.
        """
        drop = self.made.get("drop")
        blank = isinstance(drop, Amount) and drop.value == 0 and self.two_blank
        if self.told or any(r in self.made for r in (_SIDES if blank else _DECISIVE)):
            return True
        return self.digits

    @property
    def two_blank(self) -> bool:
        """Whether the station has two columns of pressures, and nothing in either."""
        columns = [c for c in self.columns if c.role in _SIDES]
        return len(columns) == len(_SIDES) and all(
            c.index not in self.context.cells for c in columns
        )

    def drop_is_worked_out(self) -> bool:
        """Whether the two pressures give the drop that was written down."""
        read = [a for role in _DECISIVE if isinstance(a := self.made.get(role), Amount)]
        if len(read) < len(_DECISIVE):
            return False
        if not all(a.unit in PRESSURE_UNITS or a.unit in TURNED_UNITS for a in read):
            return True
        inlet, outlet, drop = (metres(a.value, a.unit) for a in read)
        return abs(inlet - outlet - drop) <= _ROUNDING + 0.1 * abs(inlet - outlet)


def reading_of(context: Context, station: str, *, flushed: bool) -> dict[str, object] | None:
    """One station's reading of a row; None where no pressure and no drop is in it.

    '3.4?', or on a day 'closed', is a reading that nobody can use; a dash is none. `flushed`:
    whether a flush is proposed of this row, which then has what stands of its signs.
    """
    found = context.found
    wide = found.layout == "wide"
    own = [c for c in found.of(*MEASURED) if not wide or c.station in ("", station)]
    seen = _Measuring(context, own)
    seen.take_all()
    if not seen.reads:
        return None
    if seen.drop_is_worked_out():
        seen.made.pop("drop", None)
    made: dict[str, object] = {"station": station, "date": context.date, **seen.made}
    if context.time is not None or context.time_typed:
        made["time"] = context.time_typed or context.time
    typed = context.text("occasion")
    occasion = occasion_of(typed) or (typed if says(typed) else "")
    if occasion and occasion != "routine":
        made["occasion"] = occasion
    if who := context.text("read by"):
        made["read_by"] = who
    others = [n for n in names_of(found, context.station) if n != station]
    void = [f"{c.role}: '{struck_text(context.cells[c.index])}'" for c in context.void]
    left = [] if flushed else signs_left(context)
    note = _note_for(context.text("note", station), station, others)
    remark = [note, *void, *_dates(context), *seen.odd, context.text("work"), *left]
    if text := "; ".join(t for t in (*remark, *context.notes(own)) if t):
        made["remark"] = text
    if seen.unread:
        made[UNREAD] = seen.unread
    made["where"] = found.where(context.row)
    return made


def _dates(context: Context) -> list[str]:
    """A date as it was typed, where it says more than a day: 'about 13 June'."""
    cells = [context.cells.get(c.index) for c in context.found.of(*DATED)]
    typed = [v for v in cells if context.date is not None and isinstance(v, str)]
    return [f"date: '{whole(v)}'" for v in typed if words_beside(v)]


def _note_for(text: str, station: str, others: list[str]) -> str:
    """A note without those of its parts that name another station of the row only."""
    if not others or not text:
        return text
    parts = parts_of(text, [station, *others])
    own = [p for p in parts if names(p, station) or not any(names(p, o) for o in others)]
    return "; ".join(own)
