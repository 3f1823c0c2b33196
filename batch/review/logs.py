"""The sheets Episodes, Flushes and Agreed: what the month's log says was done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from siltbook.batch.results import StationResult
from siltbook.batch.review.agreed import Agreed, Kept, agreed_rows
from siltbook.batch.review.episodes import MonthEpisode
from siltbook.batch.review.farm import FarmMonth, rows_text
from siltbook.batch.review.flushes import FlushFact, Proof, flush_facts
from siltbook.batch.review.page import (
    Pack,
    cautions_below,
    farm_column,
    finish,
    heading,
    note,
    rows_column,
    station_column,
)
from siltbook.batch.review.stations import iter_spells
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates.safety import ANYTHING

EPISODES, FLUSHES, AGREED = "Episodes", "Flushes", "Agreed"


class StationEpisode(NamedTuple):
    """An episode of a station in the month."""

    farm: FarmMonth
    result: StationResult
    spell: MonthEpisode


class StationFlush(NamedTuple):
    """A flush of a station in the month."""

    farm: FarmMonth
    result: StationResult
    fact: FlushFact


class FarmAgreed(NamedTuple):
    """An action that was agreed for a station of a farm."""

    farm: FarmMonth
    row: Agreed


def _work(row: StationEpisode) -> str:
    counts = Counter(w.work for w in row.spell.work)
    work = ", ".join(name if n == 1 else f"{n} × {name}" for name, n in counts.items())
    return work or "none logged"


def _spell_rows(row: StationEpisode) -> str:
    spell = row.spell
    ends = [r.row for r in (spell.opened, spell.highest, spell.closed) if r is not None]
    return rows_text(row.farm.book, ends, [w.row for w in spell.work])


def _flush_rows(row: StationFlush) -> str:
    sides = [r.row for r in (row.fact.before, row.fact.after) if r is not None]
    return rows_text(row.farm.book, sides, [row.fact.work.row])


def _agreed_rows(row: FarmAgreed) -> str:
    sides = [r.row for r in (row.row.before, row.row.after) if r is not None]
    return rows_text(row.farm.book, sides, (), [row.row.row])


def _came(row: FarmAgreed) -> str:
    kept = row.row.kept
    return f"{kept} ({row.row.timing})" if kept is Kept.WITHOUT_EFFECT else row.row.came


_EPISODES: Table[StationEpisode] = Table(
    EPISODES,
    (
        farm_column(lambda r: r.farm),
        station_column(lambda r: r.result.station.name),
        Column("opened", "Found over", Kind.DATE, 12, lambda r: r.spell.opened.date),
        Column("closed", "In range again", Kind.DATE, 12,
               lambda r: r.spell.closed.date if r.spell.closed else None),
        Column("days", "Days", Kind.COUNT, 7, lambda r: (r.spell.end - r.spell.opened.date).days),
        Column("ending", "How it ended", Kind.TEXT, 24, lambda r: r.spell.ending, style="wrap"),
        Column("work", "Work in it", Kind.TEXT, 33, _work, style="wrap"),
        Column("highest", "Highest drop ({unit})", Kind.PRESSURE, 9,
               lambda r: r.spell.highest.drop, "m"),
        Column("limit", "Limit ({unit})", Kind.PRESSURE, 8, lambda r: r.result.station.limit, "m"),
        rows_column(_spell_rows, 25),
    ),
)  # fmt: skip
_FLUSHES: Table[StationFlush] = Table(
    FLUSHES,
    (
        farm_column(lambda r: r.farm),
        station_column(lambda r: r.result.station.name),
        Column("date", "Date", Kind.DATE, 12, lambda r: r.fact.work.date),
        Column("proof", "Proof", Kind.TEXT, 15, lambda r: str(r.fact.proof)),
        Column("missing", "What is missing", Kind.TEXT, 24, lambda r: r.fact.why, style="wrap"),
        Column("cycles", "Cycles", Kind.COUNT, 7, lambda r: r.fact.work.cycles),
        Column("inlet", "Lowest inlet ({unit})", Kind.PRESSURE, 9,
               lambda r: r.fact.work.flush_inlet, "m"),
        Column("click", "Click", Kind.YES_NO, 7, lambda r: r.fact.work.click),
        Column("heard", "Water heard", Kind.YES_NO, 7, lambda r: r.fact.work.water_heard),
        Column("water", "Water", Kind.YES_NO, 7, lambda r: r.fact.work.water),
        Column("before", "Drop before ({unit})", Kind.PRESSURE, 9,
               lambda r: r.fact.before.drop if r.fact.before else None, "m"),
        Column("after", "Drop after ({unit})", Kind.PRESSURE, 9,
               lambda r: r.fact.after.drop if r.fact.after else None, "m"),
        rows_column(_flush_rows, 22),
    ),
)  # fmt: skip
_AGREED: Table[FarmAgreed] = Table(
    AGREED,
    (
        farm_column(lambda r: r.farm),
        station_column(lambda r: r.row.station),
        Column("action", "Action", Kind.NAME, 27, lambda r: r.row.action, style="wrap"),
        Column("who", "Who", Kind.NAME, 13, lambda r: r.row.who, style="wrap"),
        Column("due", "Due", Kind.DATE, 12, lambda r: r.row.due),
        Column("done", "Done", Kind.DATE, 12, lambda r: r.row.done),
        Column("came", "What came of it", Kind.TEXT, 18, _came, style="wrap"),
        Column("effect", "What the drop says", Kind.TEXT, 31, lambda r: r.row.effect,
               style="wrap"),
        rows_column(_agreed_rows, 18),
    ),
)  # fmt: skip


def write_episodes(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """Every episode that touches the month, and how each ended."""
    heading(kit, sheet, pack, EPISODES)
    rows = list(episodes(pack))
    counts = Counter(spell.ending for _, _, spell in rows)
    said = ", ".join(f"{n} {ending}" for ending, n in counts.most_common())
    text = "An episode runs from the reading over the limit to the reading in range again. "
    text += f"{len(rows)} in this month: {said}." if rows else "None in this month."
    note(kit, sheet, 2, _EPISODES, text)
    last = tables.short(kit, sheet, 3, _EPISODES, rows)
    finish(kit, sheet, 3, last, _EPISODES.widths)


def episodes(pack: Pack) -> Iterator[StationEpisode]:
    """The month's episodes, by farm, station and date."""
    for farm, result, over in iter_spells(pack):
        for spell in over.spells:
            yield StationEpisode(farm, result, spell)


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
    last = tables.short(kit, sheet, 3, _FLUSHES, rows)
    finish(kit, sheet, 3, last, _FLUSHES.widths)


def flushes(pack: Pack) -> Iterator[StationFlush]:
    """The month's flushes, by farm, station and date."""
    for farm in pack.farms:
        for result in farm.now.stations:
            for fact in flush_facts(result, farm.book.settings, pack.month):
                yield StationFlush(farm, result, fact)


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
    last = tables.short(kit, sheet, 3, _AGREED, rows)
    last = cautions_below(kit, sheet, last, _AGREED, ANYTHING if rows else ())
    finish(kit, sheet, 3, last, _AGREED.widths)


def agreed(pack: Pack) -> Iterator[FarmAgreed]:
    """The agreed actions that concern the month, farm by farm as the books have them."""
    for farm in pack.farms:
        for row in agreed_rows(farm.now):
            if row.concerns(pack.month):
                yield FarmAgreed(farm, row)
