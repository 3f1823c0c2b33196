"""The Agenda: the few stations that need a decision, on one page, with room to write."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from siltbook.batch.assess import URGENCY
from siltbook.batch.cautions import touched_at
from siltbook.batch.model import CALM, Verdict
from siltbook.batch.remarks import beside_advice
from siltbook.batch.results import StationResult
from siltbook.batch.review.agreed import Agreed, Kept, agreed_rows
from siltbook.batch.review.farm import FarmMonth
from siltbook.batch.review.page import Pack, finish, heading
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look
from siltbook.templates.safety import ANYTHING, Touch, cautions

SPARE = 3  # empty rows for what else the meeting agrees
TITLE = "Agenda"
FARM, STATION, ACTION, WHO, DUE, BOOK = (
    "Farm", "Station", "Action", "Who", "By when", "Book",
)  # fmt: skip
_UNKEPT = (Kept.NOT_DONE, Kept.WITHOUT_EFFECT)


@dataclass(frozen=True)
class Item:
    """One station that needs a decision, with the agreed actions that were not kept."""

    farm: FarmMonth
    result: StationResult
    unkept: tuple[Agreed, ...]

    @property
    def why(self) -> str:
        """The reason in one sentence, what was noted last, and what was agreed and not kept."""
        noted = beside_advice(self.result, 1)
        said = [k.one_line(line) for line in (self.result.judgement.reason, *noted)]
        for row in self.unkept:
            due = self.farm.book.settings.shown.on(row.due)
            who = [k.one_line(row.who), f"due {due}" if due else ""]
            whose = f" ({', '.join(t for t in who if t)})" if any(who) else ""
            said.append(f"Agreed: {k.one_line(row.action)}{whose}: {row.came}.")
        return "\n".join(said)


AGENDA: Table[Item] = Table(
    TITLE,
    (
        Column("farm", FARM, Kind.NAME, 16, lambda i: i.farm.farm, style="wrap"),
        Column("station", STATION, Kind.NAME, 14, lambda i: i.result.station.name),
        Column("then", "Then", Kind.VERDICT, 15,
               lambda i: i.farm.before(i.result.station.name).verdict),
        Column("now", "Now", Kind.VERDICT, 16, lambda i: i.result.verdict),
        Column("why", "Why", Kind.TEXT, 34, lambda i: i.why, style="wrap"),
        Column("days_over", "Days over", Kind.COUNT, 8, lambda i: i.result.days_shown),
        Column("forecast", "Expected at limit", Kind.DATE, 12,
               lambda i: i.result.outlook.forecast.date if i.result.outlook else None),
        Column("action", ACTION, Kind.TEXT, 26, lambda _: None, style="fill-in"),
        Column("who", WHO, Kind.TEXT, 12, lambda _: None, style="fill-in"),
        Column("due", DUE, Kind.DATE, 12, lambda _: None, style="day"),
        # outside the print: tells `siltbook agree` whose row it is
        Column("book", BOOK, Kind.TEXT, 6, lambda i: str(i.farm.number), style="rows"),
    ),
)  # fmt: skip
PRINTED = AGENDA.last
WIDTH = sum(column.width for column in AGENDA.columns[:PRINTED])
# Two landscape A4 pages in type that can be read [pt]; what is left of them after heading, totals,
# header and empty rows is the stations'.
ROOM = 2 * 600 - 230


def items(pack: Pack) -> tuple[Item, ...]:
    """The stations that need a decision, most urgent first, over all farms.

    A station that is only watched needs none, unless what was agreed for it was not kept, or
    nobody can tell whether it really came back in range.
    """
    found = []
    for farm in pack.farms:
        unkept = [a for a in agreed_rows(farm.now) if _unkept(a, pack)]
        for result in farm.now.stations:
            own = tuple(a for a in unkept if a.station == result.station.name)
            undecided = result.verdict is Verdict.WATCH and result.judgement.came_back_alone
            if own or undecided or result.verdict not in (*CALM, Verdict.WATCH):
                found.append(Item(farm, result, own))
    return tuple(sorted(found, key=_urgency))


def _unkept(row: Agreed, pack: Pack) -> bool:
    return row.kept in _UNKEPT and row.concerns(pack.month)


def _urgency(item: Item) -> tuple[int, int, str, str]:
    days = item.result.days_over or 0
    return URGENCY[item.result.verdict], -days, item.farm.farm, item.result.station.name


def write(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Write the Agenda."""
    heading(kit, sheet, pack, TITLE)
    listed = items(pack)
    row = 2
    for line, kind in _totals(pack, listed):
        k.spread(sheet, row, PRINTED - 1, line, kit.format(kind), WIDTH)
        row += 1
    row, _ = k.caution_lines(kit, sheet, row, (0, PRINTED - 1), touched(listed), WIDTH)
    last = tables.short(kit, sheet, row, AGENDA, listed[: fitting(listed)])
    for spare in range(last + 1, last + 1 + SPARE):
        for col, column in enumerate(AGENDA.columns[:PRINTED]):
            shown = "day" if column.header == DUE else "fill-in"
            sheet.write_blank(spare, col, None, kit.format(shown))
        sheet.set_row(spare, 20)
    last += SPARE
    _ask_for_dates(sheet, row + 1, last)
    finish(kit, sheet, row, last, AGENDA.widths[:PRINTED])
    sheet.freeze_panes(row + 1, 2)


def fitting(listed: Sequence[Item]) -> int:
    """How many of the stations fit two pages in print that people can read."""
    why, height = AGENDA.column("why").width, 0.0
    height += sum(k.lines(c, WIDTH) * k.LINE_POINTS + 3 for c in cautions(touched(listed)))
    for count, item in enumerate(listed):
        height += k.lines(item.why, why) * k.LINE_POINTS + 4
        if height > ROOM:
            return max(1, count)
    return len(listed)


def touched(listed: Sequence[Item]) -> frozenset[Touch]:
    """What the stations' steps touch; anything, where people's own words stand among them."""
    own = any(item.unkept for item in listed)
    return ANYTHING if own else touched_at(item.result for item in listed)


def _ask_for_dates(sheet: Any, first: int, last: int) -> None:
    col = AGENDA.places["due"]
    options = {
        "validate": "date", "criteria": ">=", "value": 36526, "error_type": "warning",
        "error_title": "Is this a date?", "error_message": "A date is expected, like 2026-05-31.",
    }  # fmt: skip
    sheet.data_validation(first, col, last, col, options)


def _totals(pack: Pack, listed: Sequence[Item]) -> Iterator[tuple[str, str]]:
    """The totals lines: verdicts now and then, agreed actions, and what did not fit."""
    now = [r for f in pack.farms for r in f.now.stations]
    then = [r for f in pack.farms for r in f.then.stations]
    stations = f"{len(now)} station{'' if len(now) == 1 else 's'}"
    day = pack.shown.day
    yield f"{day(pack.month.last)}, {stations}:   {_counted(now)}", "strong"
    yield f"{day(pack.month.eve)}:   {_counted(then)}", "line"
    agreed = agreed_line(pack)
    if agreed:
        yield agreed, "line"
    ending = entries_end(pack)
    if ending:
        yield ending, "strong"
    watched = sum(r.verdict is Verdict.WATCH for r in now)
    if watched:
        stand = "station is" if watched == 1 else "stations are"
        yield f"{watched} {stand} watched: the days to come stand on the sheet Forecast.", "line"
    count = fitting(listed)
    if len(listed) > count:
        yield (
            f"The {count} most urgent of {len(listed)} stations that need a decision; "
            "the others stand on the sheet What changed.",
            "strong",
        )
    if not listed:
        yield "No station needs a decision.", "strong"


def _counted(results: Sequence[StationResult]) -> str:
    counts = Counter(r.verdict for r in results)
    return "   ".join(f"{look.VERDICTS[v].label} {counts[v]}" for v in Verdict if counts[v])


def agreed_line(pack: Pack) -> str:
    """How many agreed actions came to what, in one line; empty where there are none."""
    rows = [a for f in pack.farms for a in agreed_rows(f.now) if a.concerns(pack.month)]
    counts = Counter(a.kept for a in rows)
    said = ", ".join(f"{counts[kept]} {kept}" for kept in Kept if counts[kept])
    return f"Agreed before: {said} (sheet Agreed)." if said else ""


def entries_end(pack: Pack) -> str:
    """Which books end more than a reading interval before the month does; empty where none."""
    early = [
        f"{k.one_line(farm.farm)} {pack.shown.on(farm.latest, 'without an entry')}"
        for farm in pack.farms
        if farm.latest is None or (pack.month.last - farm.latest).days > farm.book.settings.interval
    ]
    return f"Entries end before the month does: {', '.join(early)}." if early else ""
