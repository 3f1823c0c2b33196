"""The sheet of agreed actions: each with what came of it, and totals for each person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from siltbook.batch.audit.agreed_seen import NOT_SEEN, Outcome, PersonCount, by_person
from siltbook.batch.audit.model import State, Taken
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.findings import link_to
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates.safety import ANYTHING

TITLE = "Audit agreed"
SAYS = (
    "Every agreed action of the book and of the files given, and whether the log shows it done. A"
    " date that was typed as done counts only where Work done shows that work within 3 days of it;"
    " late is counted from the earliest day on which it was to be done."
)
PEOPLE_SAY = (
    "For each person who was named. Cannot be told: nothing in the log shows it, or no file says"
    " that it was agreed before it was done. It is no reproach: ask first."
)


def _state(one: Outcome) -> str:
    words = one.state
    return f"{words[0].upper()}{words[1:]}"


def _shade(one: Outcome) -> str:
    return f"audit:{State.LOOK}" if one.taken in (Taken.LATE, Taken.NOT_TAKEN) else ""


def _log(one: Outcome) -> str:
    return f"{one.said}; {one.effect}" if one.effect else one.said


def _files(one: Outcome) -> str:
    """Where it stands, and what a later file says otherwise."""
    places = "; ".join(
        f"{source.name}, {sighting.cell}" for source, sighting in one.agreement.seen if source.name
    )
    here = "" if one.agreement.in_book else "not in the book"
    return "; ".join(text for text in (here, places, *one.agreement.unlike) if text)


AGREED: Table[Outcome] = Table(
    TITLE,
    (
        Column("station", "Station", Kind.NAME, 12.0, lambda o: o.agreement.last.station,
               style="wrap"),
        Column("action", "What was agreed", Kind.NAME, 22.0, lambda o: o.agreement.last.action,
               style="wrap"),
        Column("who", "Who", Kind.NAME, 13.0, lambda o: o.agreement.last.who, style="wrap"),
        Column("due", "Due", Kind.DATE, 12.0, lambda o: o.agreement.last.due),
        Column("done", "Done, in the log", Kind.TEXT, 12.0,
               lambda o: o.seen.isoformat() if o.seen else NOT_SEEN, style="wrap",
               said=lambda o, shown: shown.on(o.seen, NOT_SEEN)),
        Column("state", "Result", Kind.TEXT, 14.0, _state, shade=_shade, style="wrap"),
        Column("effect", "Effect", Kind.TEXT, 11.0, lambda o: str(o.shows), style="wrap"),
        Column("said", "What the log shows", Kind.NAME, 34.0, _log, style="wrap"),
        Column("cell", "Cell", Kind.NAME, 9.0, lambda o: _cell(o)[1], style="wrap"),
        Column("files", "In other files", Kind.NAME, 27.0, _files, style="wrap"),
    ),
)  # fmt: skip

PEOPLE: Table[PersonCount] = Table(
    TITLE,
    (
        Column("person", "Person", Kind.NAME, 12.0, lambda p: p.name, style="wrap"),
        Column("agreed", "Agreed", Kind.COUNT, 22.0, lambda p: p.agreed),
        Column("in_time", "Done in time", Kind.COUNT, 13.0, lambda p: p.taken[Taken.IN_TIME]),
        Column("late", "Done late", Kind.COUNT, 12.0, lambda p: p.taken[Taken.LATE]),
        Column("not_done", "Not done", Kind.COUNT, 12.0, lambda p: p.taken[Taken.NOT_TAKEN]),
        Column("cannot", "Cannot be told", Kind.COUNT, 14.0, lambda p: p.taken[Taken.CANNOT]),
        Column("open", "Not due yet", Kind.COUNT, 11.0, lambda p: p.taken[None]),
        Column("shown", "Effect shown", Kind.COUNT, 34.0, lambda p: p.shown),
    ),
)  # fmt: skip


def _cell(one: Outcome) -> tuple[str, str]:
    """Sheet and cell of the book, '' where it does not hold the action."""
    if not one.agreement.in_book:
        return "", ""
    sheet, _, cell = one.agreement.last.cell.rpartition("!")
    return sheet, cell


def write_agreed(kit: k.Kit, sheet: Any, found: Sequence[Outcome], others: Sequence[str]) -> None:
    """Write the sheet; `others` are the files given beside the book."""
    width, last = AGREED.width, AGREED.last
    k.heading(kit, sheet, TITLE)
    said = f"{SAYS} {_given(found, others)}"
    k.spread(sheet, 2, last, said, kit.format("line"), width)
    row = tables.short(kit, sheet, 3, AGREED, found)
    for at, one in enumerate(found, 4):
        target, cell = _cell(one)
        if cell:
            link_to(kit, sheet, (at, AGREED.places["cell"]), target, cell)
    if found:
        row += 2
        k.spread(sheet, row, last, PEOPLE_SAY, kit.format("strong"), width)
        row += 1
        for col, column in enumerate(PEOPLE.columns):
            k.text(sheet, row, col, column.header, kit.format("head"))
        for count in by_person(found):
            row += 1
            tables.one(kit, sheet, row, PEOPLE, count)
        row, _ = k.caution_lines(kit, sheet, row + 2, (0, last), ANYTHING, width)
        row -= 1
    k.page(kit, sheet, header=3, widths=AGREED.widths)
    sheet.print_area(0, 0, row, last)


def _given(found: Sequence[Outcome], others: Sequence[str]) -> str:
    files = f"Beside the book: {', '.join(others)}." if others else (
        "No earlier copy, archive or pack was given (--against): what was agreed and is not in the"
        " book, or was agreed for another day, is not seen here."
    )  # fmt: skip
    return files if found else f"None was found. {files}"


def agreed_json(found: Sequence[Outcome]) -> dict[str, Any]:
    """The actions and the totals of people for the `--json` document."""
    return {
        "actions": [_action_json(one) for one in found],
        "people": [
            {
                "name": p.name, "agreed": p.agreed, "in_time": p.taken[Taken.IN_TIME],
                "late": p.taken[Taken.LATE], "not_done": p.taken[Taken.NOT_TAKEN],
                "cannot_be_told": p.taken[Taken.CANNOT], "not_due_yet": p.taken[None],
                "effect_shown": p.shown,
            }
            for p in by_person(found)
        ],
    }  # fmt: skip


def _action_json(one: Outcome) -> dict[str, Any]:
    last = one.agreement.last
    return {
        "station": last.station,
        "action": last.action,
        "who": last.who,
        "due": last.due.isoformat() if last.due else None,
        "first_due": one.agreement.first_due.isoformat() if one.agreement.first_due else None,
        "done_date": last.done.isoformat() if last.done else None,
        "seen_in_log": one.seen.isoformat() if one.seen else None,
        "state": one.state,
        "days_late": one.late,
        "said": one.said,
        "effect": str(one.shows),
        "effect_said": one.effect,
        "in_book": one.agreement.in_book,
        "stands_in": [
            {"file": file.words, "place": sighting.cell} for file, sighting in one.agreement.seen
        ],
        "unlike": list(one.agreement.unlike),
    }
