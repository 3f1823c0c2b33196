"""The first question: can the data be trusted?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from siltbook.batch.audit.contradictions import neighbours, resting, swapped
from siltbook.batch.audit.digits import round_digits
from siltbook.batch.audit.entries import back_dated, same_time, step_order
from siltbook.batch.audit.model import RuleResult
from siltbook.batch.audit.plan import coverage, plan_kept
from siltbook.batch.audit.repeats import copied_block, copied_round, same_series, stuck_gauge
from siltbook.batch.audit.tracks import Track
from siltbook.batch.model import History
from siltbook.templates.book import Book

BY_TRACKS = (
    copied_block,
    copied_round,
    round_digits,
    stuck_gauge,
    same_series,
    resting,
    neighbours,
    swapped,
)


def trust(
    book: Book, histories: Sequence[History], every: Sequence[Track], as_of: dt.date | None
) -> list[RuleResult]:
    """Every rule on the data, in the catalogue's order; nothing where no reading is there yet.

    `every`: the tracks of these histories.
    """
    if as_of is None or not any(history.readings for history in histories):
        return []
    months = coverage(histories, book.settings.interval, as_of)
    rows = {h.station.name: h.station.row for h in histories}
    return [
        plan_kept(book, months, rows),
        step_order(book, histories),
        same_time(book, histories),
        back_dated(book, histories, as_of),
        *(rule(book, every) for rule in BY_TRACKS),
    ]
