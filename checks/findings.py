"""The catalogue of findings: stable code, severity, title, and what to do.

A finding says what is wrong or doubtful and never changes data. `docs/findings.md` lists the
catalogue; a test keeps the two together.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from siltbook.templates.safety import Touch


class Severity(StrEnum):
    """error: a row or book cannot be used as it stands; doubt: look again; note: for the record."""

    ERROR = "error"
    DOUBT = "doubt"
    NOTE = "note"


UNLISTED = "further ones in this column are not listed"


@dataclass(frozen=True)
class Rule:
    """One kind of finding. `do` completes the message: what the person should do.

    `often`: it can come row after row; the terminal then gathers it, one line per station.
    `touches`: what is touched by whoever does it; the cautions follow from that.
    """

    code: str
    severity: Severity
    title: str
    do: str
    often: bool = False
    touches: frozenset[Touch] = frozenset()


@dataclass(frozen=True)
class Finding:
    """One finding at one place. `message` is the whole sentence that a person reads.

    `day` is that of the entry, where the finding is about one.
    """

    rule: str
    severity: Severity
    sheet: str
    cell: str
    read: str
    accepted: str
    message: str
    station: str = ""
    day: dt.date | None = None


_OPENS, _SUPPLY = frozenset({Touch.OPENS_FILTER}), frozenset({Touch.SUPPLY})
_PRESSURE = frozenset({Touch.PRESSURE})
_E, _D, _N = Severity.ERROR, Severity.DOUBT, Severity.NOTE

_RULES = (
    # cells
    Rule("cell-not-number", _E, "Not a number", "Type the number again."),
    Rule("cell-not-date", _E, "Not a date", "Type the date again, for example 2026-05-31."),
    Rule("date-out-of-bounds", _E, "Date in a year that no entry can be of", "Correct the year."),
    Rule("cell-not-time", _D, "Not a time", "Type the time again, for example 07:30."),
    Rule("cell-ambiguous-date", _E, "Date can be read two ways", "Type it year first, for example 2026-05-31."),
    Rule("cell-ambiguous-number", _E, "Number can be read two ways", "Type it without a thousands separator."),
    Rule("cell-not-choice", _E, "Not one of the choices", "Pick from the list."),
    Rule("cell-other-word", _N, "A choice in other words", "Nothing to do: it was taken as said; pick from the list next time.", often=True),
    Rule("cell-error", _E, "Error value in a cell", "Repair the formula or type the value."),
    Rule("cell-no-value", _E, "Formula without a stored value", "Open and save the book in a spreadsheet program."),
    Rule("cell-looks-like-date", _E, "Number turned into a date", "Format the cell as a number and type it again."),
    Rule("cell-other-unit", _N, "Unit typed in the cell", "Nothing to do: the cell's own unit was used."),
    Rule("grade-in-mesh", _N, "Grade given in mesh", "Nothing to do, unless the element says another opening: then type that."),
    Rule("cell-one-sided", _N, "Known only as under or over a value", "Nothing to do: it is rated where that is enough."),
    Rule("cell-text-number", _N, "Number stored as text", "Nothing to do: it was read without doubt.", often=True),
    Rule("text-too-long", _D, "Text too long for a name", "Shorten it, everywhere alike; put the rest into the remark."),
    Rule("cells-merged", _N, "Merged cells in the list", "Unmerge them and fill every row."),
    Rule("cell-merged", _E, "Cell merged with the one above", "Unmerge them and fill every row."),
    Rule("rows-hidden", _N, "Hidden rows in the list", "Nothing to do; delete the rows if they are not meant to count."),
    Rule("cell-struck", _D, "Struck through", "Delete the row if it is void; take the line away if it counts."),
    Rule("unit-unknown", _E, "Unit not known", "Write one of the units listed."),
    Rule("cell-missing", _E, "Required cell is empty", "Fill the cell or delete the row."),
    Rule("value-out-of-bounds", _E, "Value outside what is possible", "Check the value and its unit."),
    # sheets
    Rule("sheet-missing", _E, "Sheet not found", "Copy the sheet from a blank template."),
    Rule("sheet-not-read", _D, "Sheet was not read", "Rename it, or move its rows, if they are meant to count."),
    Rule("column-missing", _E, "Column not found", "Add the header, spelt as in the template."),
    Rule("column-twice", _D, "Header stands twice", "Rename one of them; the first was used."),
    Rule("setting-twice", _D, "Setting stands twice", "Keep one row."),
    Rule("name-taken", _N, "A sheet of yours has a result sheet's name", "Nothing to do: yours was left alone."),
    Rule("signature-broken", _N, "The book carries a digital signature", "Sign the reviewed copy again if it must be signed."),
    Rule("book-carried-over", _N, "The book is of another format", "Nothing to do: your own file was not touched."),
    # register
    Rule("station-repeated", _E, "Station stands twice in the register", "Keep one row per station."),
    Rule("station-unknown", _E, "Station not in the register", "Correct the name, or add it to the sheet Stations."),
    Rule("station-look-alike", _D, "Two stations look alike", "If they are one, write the name alike everywhere and keep one row; else add something that tells them apart."),
    Rule("clean-drop-high", _D, "Clean drop above 70 % of the limit", "Check the element's size, or clean it properly and read again.", touches=_OPENS),
    Rule("limit-odd", _D, "Drop limit looks typed in another unit", "Check the unit of the limit."),
    Rule("gauge-too-coarse", _D, "Gauge too coarse for this limit", "Use a finer division, or one gauge with a selector.", touches=_PRESSURE),
    Rule("unit-contradicts", _D, "Unit contradicts the earlier readings", "If the gauge was changed, give the register the old one's unit, and the new gauge a row on the sheet Gauges with its first day; else correct the unit."),
    Rule("unit-doubtful", _D, "Unit in which no reading can be right", "Correct the unit of the station, or of the farm; if the pressures are right, fill in the station's 'Lowest working inlet'."),
    Rule("gauge-twice", _D, "Two gauges from the same day on", "Keep one row."),
    Rule("carried-twice", _D, "Station carried over twice", "Keep one row per station."),
    Rule("carried-odd", _D, "What was carried over contradicts itself", "Look it up in last season's book and correct the row."),
    # readings
    Rule("reading-twice", _D, "Same reading entered twice", "Delete one of the rows."),
    Rule("readings-differ", _D, "Two readings of the same minute differ", "Correct the time, or delete the wrong row; until then the one with the higher drop counts as the later one."),
    Rule("date-outside-season", _D, "Date outside the season", "Check the year."),
    Rule("date-slipped", _D, "Date looks mistyped", "Correct the date if it is; a reading whose place is not sure is read again."),
    Rule("date-ahead", _D, "Date far after all others", "Correct the date; until then it is not used, and the book is judged by its other entries."),
    Rule("date-after-review", _N, "Entries after the as-of date", "Nothing to do: they were left out of this judgement."),
    Rule("outlet-over-inlet", _E, "Outlet above inlet", "Check the selector: the two may be swapped."),
    Rule("drop-differs", _D, "Drop is not inlet minus outlet", "Correct whichever is wrong; the pressures were used.", often=True),
    Rule("pressure-beyond-gauge", _E, "Pressure beyond the gauge", "Read again; check the unit and the gauge's full scale."),
    Rule("pressure-negative", _E, "Negative pressure", "Check the sign and the gauge."),
    Rule("pressure-other-unit", _D, "Looks typed in another unit", "Check the unit of this reading."),
    Rule("rows-copied", _D, "Identical readings copied down", "Check that each was really read."),
    Rule("flow-not-positive", _D, "Flow zero or negative", "Check the meter; leave the cell empty where there is none."),
    Rule("flow-too-low", _D, "Flow under a fifth of the reference flow", "Read again while the station irrigates."),
    Rule("flow-too-high", _D, "Flow over five times the reference flow", "Check the meter's number, and the reference flow in the register."),
    Rule("several-without-time", _D, "Several entries on a day without times", "Add the times; until then the usual order is assumed.", often=True),
    Rule("order-taken", _N, "A day without times, put into the one order that makes sense", "Nothing to do, unless it was otherwise: then add the times.", often=True),
    Rule("zero-drop-flowing", _D, "Inlet and outlet read the same while water flows", "Try the gauge: a dead gauge reads no drop too.", touches=_PRESSURE),
    Rule("both-sides-alike", _D, "Inlet and outlet the same after work, or while the drop stood high", "See that nobody works there and the cover is on; then open both valves slowly, turn the selector, and read once more while water flows.", touches=_PRESSURE),
    Rule("no-inlet-pressure", _D, "No pressure at the inlet", "Read again while the pump runs; try the gauge.", touches=_SUPPLY),
    Rule("no-outlet-pressure", _D, "No pressure at the outlet", "Read again while water flows; try the gauge and look whether the valves are open.", touches=_PRESSURE),
    Rule("outlet-still", _D, "Outlet stands still while the inlet moves", "Try the gauge: a stuck one looks the same; so does a pump that is governed by the pressure behind the filter.", touches=_PRESSURE),
    Rule("alike-on-end", _D, "Inlet and outlet alike again and again", "See that nobody works there and the cover is on; then open both valves slowly, turn the selector, and read while water flows; try the gauge.", touches=_PRESSURE),
    Rule("drop-fell-unexplained", _D, "Drop fell with no work logged", "Log the work if there was any; else inspect the element.", touches=_OPENS),
    # work
    Rule("flush-without-cycles", _D, "Flush without cycles", "Enter the number of cycles.", often=True),
    Rule("flush-inlet-odd", _D, "Inlet in the flush beyond what the station reads", "Check the number and its unit."),
    Rule("flush-signs-blank", _D, "Flush without its signs", "Note whether the click was heard and water left the outlet.", often=True),
    Rule("work-out-of-service", _D, "Work on a station that is not in service", "Check the station's name or its 'In service' cell."),
    Rule("zero-not-shown", _D, "Opened without a gauge seen working", "On the next visit log a reading above zero before the zero.", often=True, touches=_OPENS),
    Rule("episodes-recur", _D, "Third time over the limit in 30 days", "Look at the water source and the flush interval.", often=True, touches=_SUPPLY),
)  # fmt: skip

CATALOGUE: dict[str, Rule] = {rule.code: rule for rule in _RULES}


def find(
    code: str,
    *,
    sheet: str,
    cell: str,
    read: str,
    accepted: str,
    station: str = "",
    day: dt.date | None = None,
) -> Finding:
    """A finding of the catalogue's rule `code` at one cell; KeyError for an unknown code.

    The message has one shape everywhere: sheet!cell, title, what was read, what is accepted,
    what to do. The file is named by whoever prints it.
    """
    rule = CATALOGUE[code]
    where = f"{sheet}!{cell}" if cell else sheet
    title = rule.title[0].lower() + rule.title[1:]
    message = f"{where}: {title}: read {read}; accepted: {accepted}. {rule.do}"
    return Finding(code, rule.severity, sheet, cell, read, accepted, message, station, day)
