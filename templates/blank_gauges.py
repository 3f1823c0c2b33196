"""Changed gauges in the blank: which unit a reading is in, as formulas and in Python.

The hidden sheet Units lays out each changed unit once, with the days from and before which it
holds; a reading looks it up there. Most books have none, and their readings look at one cell.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from siltbook.templates import contract
from siltbook.templates.blank_lookups import (
    REACH,
    UNITS_SHEET,
    UNKNOWN,
    Row,
    factors,
    letters,
    match,
    of_station,
    squeezed,
    this,
    unit_factor,
)

MANY = 150  # rows of Gauges; with more, no reading's unit is known
_LAID_OUT = MANY + 50  # inserted rows push others down
_REACHED = _LAID_OUT + 50  # deleted rows draw the range up
_AFTER_ALL = 3_000_000  # a day later than any that a sheet holds
UNPLACED = -1  # number of the row below all others, which says that the unit is not known
FIRST_COLUMN = 6  # of the layout on the sheet Units, 0-based
HEADS = ("Changed gauge", "From", "Until before", "Metres per unit", "Row", "Changes")
_NAMES, _FROM, _UNTIL = (f"${c}$2:${c}${_LAID_OUT + 1}" for c in "GHI")
_FACTORS, _NUMBERS = (f"{UNITS_SHEET}!${c}$2:${c}${_LAID_OUT + 2}" for c in "JK")
_STATE = f"{UNITS_SHEET}!$L$2"


@dataclass(frozen=True)
class Layout:
    """What the sheet Units holds of the changed gauges; days as the numbers of a sheet.

    `rows`, one for each that is laid out: station ('' where no unit changes), from ('?' where it
    cannot be placed), until before, metres per unit [m] ('?' where two begin on one day), number.
    """

    rows: tuple[tuple[str, float | str, float, float | str, int], ...]
    state: int | str

    def factor(self, row: Row) -> float | str | None:
        """The factor [m] of the gauge that a reading was taken on; None for the register's."""
        if self.state == 0:
            return None
        date, name = _day(row.get("date")), squeezed(row.get("station")).casefold()
        if self.state == UNKNOWN or isinstance(date, str):
            return UNKNOWN
        for station, since, until, factor, _ in self.rows:
            if station.casefold() == name and since <= date < until:  # type: ignore[operator]
                return factor
        return None


def gauge_factor() -> str:
    """Metres of water in one of a changed gauge's unit; empty where the unit stays as before."""
    station, since, unit = (this("Gauges", h) for h in ("Station", "From", "Pressure unit"))
    known = f"AND(ISNUMBER({since}),ISNUMBER({match(station)}))"
    told = f'IF(TRIM({unit})="","",IF({known},{unit_factor(unit)},"?"))'
    return f'=IFERROR(IF(TRIM({station})="","",{told}),"?")'


def layout_formulas() -> tuple[str, ...]:
    """The cells of one changed gauge on the sheet Units, but for the number of its row.

    A ROW() that names no cell stands a deleted or inserted row of Gauges.
    """
    station, since, unit = map(_of_change, ("Station", "From", "Pressure unit"))
    name, first = "$G{row}", "$H{row}"
    told = f'OR(TRIM({station})="",TRIM({unit})="")'
    known = f"AND(ISNUMBER({since}),ISNUMBER({match(name)}),ISNUMBER({unit_factor(unit)}))"
    later = f"SUMPRODUCT(MAX(({_NAMES}={name})*({_FROM}>{first})*({_AFTER_ALL}-{_FROM})))"
    twice = f"SUMPRODUCT(({_NAMES}={name})*({_FROM}={first}))>1"
    return (
        f'=IFERROR(IF({told},"",TRIM({station})),"?")',
        f'=IFERROR(IF({name}="",0,IF({known},{since},"?")),"?")',
        f'=IFERROR(IF({name}="",0,{_AFTER_ALL}-{later}),0)',
        f'=IFERROR(IF({name}="","",IF({twice},"?",{unit_factor(unit)})),"?")',
    )


def _of_change(header: str) -> str:
    """Formula text: the cell of the sheet Gauges in the row that has the formula's own number."""
    column = letters(contract.CHANGED_GAUGES, header)
    return f"INDEX(Gauges!${column}$1:${column}${_REACHED},ROW())"


def state_formula() -> str:
    """0 where no gauge changed its unit, 1 where each that did has its place, else '?'."""
    rows, beyond = f"Gauges!$A$2:$A${REACH}", f"Gauges!$A${MANY + 2}:$A${REACH}"
    lost = f'OR(COUNTA({beyond})>0,SUMPRODUCT(--({_FROM}="?"))>0)'
    some = f'IF(SUMPRODUCT(--({_NAMES}<>""))>0,1,0)'
    return f'=IFERROR(IF(COUNTA({rows})=0,0,IF({lost},"?",{some})),"?")'


def factor_on_its_day() -> str:
    """Formula text: the factor of a reading's unit, the register's or a changed gauge's.

    A change that cannot be placed makes every reading '?': it may be about any of them.
    """
    name, date = (this("Readings", header) for header in ("Station", "Date"))
    names, first, until = (f"{UNITS_SHEET}!{cells}" for cells in (_NAMES, _FROM, _UNTIL))
    own = f"({names}=TRIM({name}))*({first}<={date})*({until}>{date})"
    numbers = f"{UNITS_SHEET}!$K$2:$K${_LAID_OUT + 1}"
    # No change of that station until that day gives 0, which no row has: the register's then.
    row = f"IF(AND({_STATE}=1,ISNUMBER({date})),SUMPRODUCT(MAX({own}*{numbers})),{UNPLACED})"
    changed = f"INDEX({_FACTORS},MATCH(IF({_STATE}=0,0,{row}),{_NUMBERS},0))"
    return f"IFERROR({changed},{of_station('Metres per unit')})"


def gauge_values(rows: Sequence[Row], stations: Sequence[Row]) -> list[tuple[float | str]]:
    """Stored values of 'Metres per unit' [m] on *Gauges*, one per row."""
    return [(_placed_factor(row, _known(stations)) if _told(row) else "",) for row in rows]


def _known(stations: Sequence[Row]) -> set[str]:
    return {squeezed(row.get("station")).casefold() for row in stations}


def _told(row: Row) -> bool:
    """Whether a row of Gauges says that a station's unit changed."""
    return bool(squeezed(row.get("station")) and squeezed(row.get("unit")))


def _placed_factor(row: Row, known: Collection[str]) -> float | str:
    name, unit = (squeezed(row.get(key)).casefold() for key in ("station", "unit"))
    placed = name in known and isinstance(row.get("since"), dt.date)
    return factors().get(unit, UNKNOWN) if placed else UNKNOWN


def laid_out(gauges: Sequence[Row], stations: Sequence[Row]) -> Layout:
    """Stored values of the changed gauges on the sheet Units."""
    known = _known(stations)
    told = [row if _told(row) else {} for row in gauges[:_LAID_OUT]]
    told += [{}] * (_LAID_OUT - len(told))
    placed = [(squeezed(row.get("station")), _first_day(row, known)) for row in told]
    rows = tuple(
        (name, since, *_until_and_factor(row, name, since, placed), number)
        for number, (row, (name, since)) in enumerate(zip(told, placed, strict=True), start=1)
    )
    if not any(squeezed(row.get("station")) for row in gauges):
        return Layout(rows, 0)
    lost = len(gauges) > MANY or any(since == UNKNOWN for _, since in placed)
    return Layout(rows, UNKNOWN if lost else int(any(name for name, _ in placed)))


def _first_day(row: Row, known: Collection[str]) -> float | str:
    if not row:
        return 0
    return UNKNOWN if _placed_factor(row, known) == UNKNOWN else _day(row["since"])


def _until_and_factor(
    row: Row, name: str, since: float | str, placed: Sequence[tuple[str, float | str]]
) -> tuple[float, float | str]:
    if not name or isinstance(since, str):
        return 0, UNKNOWN if name else ""
    own = [day for other, day in placed if other.casefold() == name.casefold()]
    later = [day for day in own if not isinstance(day, str) and day > since]
    factor = factors().get(squeezed(row.get("unit")).casefold(), UNKNOWN)
    return min(later, default=_AFTER_ALL), UNKNOWN if own.count(since) > 1 else factor


def _day(value: object) -> float | str:
    """A date as the number that a sheet holds; '?' for anything else."""
    if not isinstance(value, dt.date):
        return UNKNOWN
    return value.toordinal() - dt.date(1899, 12, 30).toordinal()
