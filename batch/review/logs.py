"""The sheets Episodes, Flushes and Agreed: what the month's log says was done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from siltbook.batch.results import StationResult
from siltbook.batch.review.agreed import Agreed, Kept, agreed_rows
from siltbook.batch.review.episodes import Spell
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.flushes import FlushFact, Proof, flush_facts
from siltbook.batch.review.page import Column, Pack, cautions_below, finish, heading, note, table
from siltbook.batch.review.stations import iter_spells
from siltbook.batch.sheets import kit as k
from siltbook.templates.safety import ANYTHING

EPISODES, FLUSHES, AGREED = "Episodes", "Flushes", "Agreed"
_EPISODES = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Found over", 12, "date"),
    Column("In range again", 12, "date"),
    Column("Days", 7, "whole"),
    Column("How it ended", 26, "wrap"),
    Column("Work in it", 38, "wrap"),
    Column("Highest drop (m)", 9, "metres"),
    Column("Limit (m)", 8, "metres"),
    Column("Rows of the book", 32, "rows"),
)
_FLUSHES = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Date", 12, "date"),
    Column("Proof", 16),
    Column("What is missing", 36, "wrap"),
    Column("Cycles", 7, "whole"),
    Column("Lowest inlet (m)", 9, "metres"),
    Column("Click", 7),
    Column("Water heard", 7),
    Column("Water", 7),
    Column("Drop before (m)", 9, "metres"),
    Column("Drop after (m)", 9, "metres"),
    Column("Rows of the book", 28, "rows"),
)
_AGREED = (
    Column("Farm", 20, "wrap"),
    Column("Station", 15, "name"),
    Column("Action", 34, "wrap"),
    Column("Who", 13, "wrap"),
    Column("Due", 12, "date"),
    Column("Done", 12, "date"),
    Column("What came of it", 20, "wrap"),
    Column("What the drop says", 40, "wrap"),
    Column("Rows of the book", 24, "rows"),
)


def write_episodes(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Every episode that touches the month, and how each ended."""
    heading(kit, sheet, pack, EPISODES)
    rows = list(episodes(pack))
    counts = Counter(spell.ending for _, _, spell in rows)
    said = ", ".join(f"{n} {ending}" for ending, n in counts.most_common())
    text = "An episode runs from the reading over the limit to the reading in range again. "
    text += f"{len(rows)} in this month: {said}." if rows else "None in this month."
    note(kit, sheet, 2, _EPISODES, text)
    last = table(kit, sheet, 3, _EPISODES, (_episode(*row) for row in rows))
    finish(kit, sheet, 3, last, len(_EPISODES))


def episodes(pack: Pack) -> Iterator[tuple[FarmMonth, StationResult, Spell]]:
    """The month's episodes, by farm, station and date."""
    for farm, result, over in iter_spells(pack):
        for spell in over.spells:
            yield farm, result, spell


def _episode(farm: FarmMonth, result: StationResult, spell: Spell) -> tuple[object, ...]:
    counts = Counter(w.work for w in spell.work)
    work = ", ".join(name if n == 1 else f"{n} × {name}" for name, n in counts.items())
    ends = [r.row for r in (spell.opened, spell.highest, spell.closed) if r is not None]
    return (
        k.one_line(farm.farm), k.one_line(result.station.name), spell.opened.date,
        spell.closed.date if spell.closed else None, (spell.end - spell.opened.date).days,
        spell.ending, work or "none logged", spell.highest.drop, result.station.limit,
        rows_text(farm.book, ends, [w.row for w in spell.work]),
    )  # fmt: skip


def write_flushes(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Every flush of the month, proven or not, and what the drop did."""
    heading(kit, sheet, pack, FLUSHES)
    rows = sorted(flushes(pack), key=lambda row: tuple(Proof).index(row[2].proof), reverse=True)
    counts = Counter(fact.proof for _, _, fact in rows)
    said = ", ".join(f"{counts[p]} {p}" for p in Proof if counts[p])
    note(
        kit, sheet, 2, _FLUSHES,
        "Proven: all cycles, click and water noted, inlet held. A blank is not a no: the flush "
        "is taken as complete, and what was not noted is named. No drop after: other cleaning, "
        f"or no usable reading, follows. {f'In this month: {said}.' if rows else 'None logged.'}",
    )  # fmt: skip
    last = table(kit, sheet, 3, _FLUSHES, (_flush(*row) for row in rows))
    finish(kit, sheet, 3, last, len(_FLUSHES))


def flushes(pack: Pack) -> Iterator[tuple[FarmMonth, StationResult, FlushFact]]:
    """The month's flushes, by farm, station and date."""
    for farm in pack.farms:
        for result in farm.now.stations:
            for fact in flush_facts(result, farm.book.settings, pack.month):
                yield farm, result, fact


def _flush(farm: FarmMonth, result: StationResult, fact: FlushFact) -> tuple[object, ...]:
    work, sides = fact.work, [r for r in (fact.before, fact.after) if r is not None]
    return (
        k.one_line(farm.farm), k.one_line(result.station.name), work.date, str(fact.proof),
        fact.why, work.cycles, work.flush_inlet,
        *map(_yes_no, (work.click, work.water_heard, work.water)),
        fact.before.drop if fact.before else None, fact.after.drop if fact.after else None,
        rows_text(farm.book, [r.row for r in sides], [work.row]),
    )  # fmt: skip


def _yes_no(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def write_agreed(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """What was agreed before, and what came of it."""
    heading(kit, sheet, pack, AGREED)
    rows = sorted(agreed(pack), key=lambda row: tuple(Kept).index(row[1].kept))
    text = (
        "Actions still open, and those due or done in the month. Done without effect: the drop "
        "was over the limit before and is still over, or cleaning is logged on that day and the "
        "drop afterwards is not below the one before."
    )
    note(kit, sheet, 2, _AGREED, text if rows else f"{text} None in this month.")
    last = table(kit, sheet, 3, _AGREED, (_agreed(*row) for row in rows))
    last = cautions_below(kit, sheet, last, _AGREED, ANYTHING if rows else ())
    finish(kit, sheet, 3, last, len(_AGREED))


def agreed(pack: Pack) -> Iterator[tuple[FarmMonth, Agreed]]:
    """The agreed actions that concern the month, farm by farm as the books have them."""
    for farm in pack.farms:
        for row in agreed_rows(farm.now):
            if row.concerns(pack.month):
                yield farm, row


def _agreed(farm: FarmMonth, row: Agreed) -> tuple[object, ...]:
    sides = [r.row for r in (row.before, row.after) if r is not None]
    came = f"{row.kept} ({row.timing})" if row.kept is Kept.WITHOUT_EFFECT else str(row.kept)
    return (
        k.one_line(farm.farm), k.one_line(row.station), k.one_line(row.action),
        k.one_line(row.who), row.due, row.done, came, row.effect,
        rows_text(farm.book, sides, (), [row.row]),
    )  # fmt: skip
