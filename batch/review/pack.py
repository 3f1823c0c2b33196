"""The pack of a monthly review: a new workbook, the Agenda first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from io import BytesIO
from typing import Any

from siltbook.batch.errors import BookError
from siltbook.batch.review import across, agenda, ahead, logs, money, questions, stations
from siltbook.batch.review.duplicates import perhaps_twice
from siltbook.batch.review.farm import FarmMonth, in_one_way, why_outside
from siltbook.batch.review.month import Month
from siltbook.batch.review.page import PACK_MARK, Pack, new_kit
from siltbook.batch.sheets.kit import Kit, new_workbook
from siltbook.batch.typed.stamp import stamped

# The same books must give the same bytes, so the file carries no clock.
_SHEETS: tuple[tuple[str, Callable[[Kit, Any, Pack], None]], ...] = (
    (agenda.TITLE, agenda.write),
    (stations.CHANGED, stations.write_changed),
    (stations.OVER, stations.write_over),
    (logs.EPISODES, logs.write_episodes),
    (logs.FLUSHES, logs.write_flushes),
    (logs.AGREED, logs.write_agreed),
    (money.TITLE, money.write),
    (ahead.TITLE, ahead.write),
    (questions.QUESTIONS, questions.write_questions),
    (across.TITLE, across.write),
    (questions.ABOUT, questions.write_about),
)


def make_pack(
    books: Iterable[FarmMonth], month: Month, version: str, notes: Sequence[str] = ()
) -> Pack:
    """The pack of these books; those of other seasons serve the comparison alone.

    `notes` say what was passed over before.
    BookError, one sentence, where no book is of the month.
    """
    taken: list[FarmMonth] = []
    others: list[FarmMonth] = []
    reasons: list[str] = []
    for book in in_one_way(list(books)):
        why = why_outside(book.book, month)
        if why:
            others.append(replace(book, number=0))
            reasons.append(f"{book.file}: {why}")
        else:
            taken.append(replace(book, number=len(taken) + 1))
    if not taken:
        raise BookError(
            f"No book is of {month} ({'; '.join(reasons[:5])}). Give another month or other books."
        )
    said = (*notes, *perhaps_twice(taken))
    return Pack(month, tuple(taken), tuple(others), version, said)


def pack_bytes(pack: Pack) -> bytes:
    """The pack as an .xlsx; the same books give the same bytes, with the stamp that says so."""
    target = BytesIO()
    with new_workbook(target, f"Filter stations: review of {pack.month.words}") as workbook:
        kit = new_kit(workbook, pack)
        for name, write in _SHEETS:
            write(kit, workbook.add_worksheet(name), pack)
        workbook.worksheets()[0].activate()
    return stamped(target.getvalue(), PACK_MARK)
