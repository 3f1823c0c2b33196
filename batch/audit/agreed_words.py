"""Which kinds of work an agreed action asks for, by the word table (`adopt/words.csv`)."""

from __future__ import annotations

from siltbook.batch.adopt.words import find_phrase, longest_first, plain, table
from siltbook.templates.contract import WORKS

UNSURE = "unsure"  # no, or, if: what was agreed may not be the work that is named


def kinds_of(action: str) -> tuple[str, ...]:
    """The kinds of work that an agreed action names, of `WORKS`; none where that is not sure."""
    rest = tuple(plain(action).split())
    found: list[tuple[int, str]] = []
    names = table("plan")
    for phrase in longest_first("plan"):
        meant = names[" ".join(phrase)]
        while (at := find_phrase(rest, phrase)) >= 0:
            if UNSURE in meant:
                return ()
            found += [(at, kind) for kind in meant if kind in WORKS]
            rest = (*rest[:at], *[""] * len(phrase), *rest[at + len(phrase) :])
    return tuple(dict.fromkeys(kind for _, kind in sorted(found)))
