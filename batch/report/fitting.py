"""Names on a terminal: how wide they are there, and cut so that no two of them look alike.

Widths by Unicode Standard Annex 11 (East Asian Width): wide and full-width characters take two
columns; marks that stand over the letter before them and characters of format take none.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator

MOST = 40  # columns of a name
_TAIL = 20  # columns of a name's end, where its beginning is another's as well
_DOTS = "…"
_OVER = ("Mn", "Me", "Cf")


def width(text: str) -> int:
    """The columns that a text takes on a terminal."""
    return sum(map(_columns, text))


def _columns(character: str) -> int:
    if unicodedata.category(character) in _OVER:
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def padded(text: str, columns: int) -> str:
    """A text with as many spaces behind it as bring the next one to its column."""
    return text + " " * max(0, columns - width(text))


def short_names(names: Iterable[str], shown: Callable[[str], str]) -> dict[str, str]:
    """Each name as `shown` and no wider than MOST, wherever no other one is cut to the same.

    A name is cut at its end, else in its middle, else not at all: who is sent to the wrong filter
    opens one that is under pressure.
    """
    whole = {name: shown(name) for name in names}
    found = {name: text for name, text in whole.items() if width(text) <= MOST}
    for cut in (_at_the_end, _in_the_middle):
        tried = {name: cut(text) for name, text in whole.items() if name not in found}
        count = Counter([*found.values(), *tried.values()])
        found |= {name: text for name, text in tried.items() if count[text] == 1}
    return {name: found.get(name, text) for name, text in whole.items()}


def _at_the_end(text: str) -> str:
    return f"{''.join(_first(text, MOST - 1))}{_DOTS}"


def _in_the_middle(text: str) -> str:
    tail = "".join(_first(text[::-1], _TAIL))[::-1]
    return f"{''.join(_first(text, MOST - 1 - _TAIL))}{_DOTS}{tail}"


def _first(text: str, columns: int) -> Iterator[str]:
    """The characters of a text that have room in so many columns."""
    for character in text:
        columns -= _columns(character)
        if columns < 0:
            return
        yield character
