"""Books that stand in a review twice: the same entries count once, a likely copy is named."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from siltbook.batch.files import made_by_us
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.review.farm import FarmMonth
from siltbook.templates.names import name_key


def counted_once(books: Sequence[FarmMonth]) -> tuple[list[FarmMonth], list[str]]:
    """Books without those whose entries another one holds as well, and what to say of these.

    Of several the one stays that is no copy of Siltbook's making, else the first.
    """
    by_entries: dict[tuple[str, int], list[FarmMonth]] = defaultdict(list)
    for place, book in enumerate(books):
        # An empty book has no entries to hold in common with another.
        entries = len(book.book.readings.frame) + len(book.book.work.frame)
        by_entries[fingerprint(book.book), 0 if entries else place + 1].append(book)
    kept, said = [], []
    for same in by_entries.values():
        stays, *others = sorted(same, key=lambda b: made_by_us(b.file))
        kept.append(stays)
        said += [
            f"{other.file}: passed over; it holds the same entries as {stays.file}."
            for other in others
        ]
    order = {id(book): place for place, book in enumerate(books)}
    return sorted(kept, key=lambda b: order[id(b)]), said


def perhaps_twice(books: Sequence[FarmMonth]) -> Iterator[str]:
    """One line for each two books that name the same farm and a station in common."""
    first: dict[tuple[str, str], FarmMonth] = {}
    told = set()
    for book in books:
        for station in sorted({r.station.name for r in book.now.stations}):
            other = first.setdefault((name_key(book.farm), name_key(station)), book)
            if other is not book and (other.file, book.file) not in told:
                told.add((other.file, book.file))
                yield (
                    f"{other.file} and {book.file} both hold {station} of {book.farm}, with other "
                    "entries, and both are counted: if one is an older copy, take it away; if they "
                    f"are two copies, bring them together: 'siltbook merge {other.file} "
                    f"{book.file}'. Then run again."
                )
