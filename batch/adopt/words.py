"""The word table (words.csv): what headers, notes, months and units are called, as data.

A further language is further rows of the table: use, meaning, language, words separated by '|',
each in small letters without accents. Common practice, no published source; the words were
written down from memory.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from functools import cache
from pathlib import Path

TABLE = Path(__file__).with_name("words.csv")
# Letters that lose more than an accent.
_LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "³": "3", "²": "2", "δ": "delta "}
)


def plain(text: str) -> str:
    """Text as the table has it: small letters without accents, one space between words.

    A sign between letters separates them; digits stay.
    """
    folded = unicodedata.normalize("NFKD", text.casefold().translate(_LETTERS))
    bare = "".join(c for c in folded if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w]+|_", " ", bare.translate(_LETTERS)).split())


@cache
def table(use: str) -> dict[str, tuple[str, ...]]:
    """Word -> its meanings, of one use: header, note, month, unit, junk, filler, occasion."""
    found: dict[str, dict[str, None]] = {}
    with TABLE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["use"] == use:
                for word in row["words"].split("|"):
                    found.setdefault(word, {})[row["meaning"]] = None
    return {word: tuple(meanings) for word, meanings in found.items()}


@cache
def longest_first(use: str) -> tuple[tuple[str, ...], ...]:
    """The words of one use as tuples of tokens, those of most tokens first."""
    return tuple(sorted((tuple(w.split()) for w in table(use)), key=lambda t: (-len(t), t)))


def find_phrase(tokens: tuple[str, ...], phrase: tuple[str, ...]) -> int:
    """Where a phrase stands among tokens; -1 where it does not."""
    width = len(phrase)
    for at in range(len(tokens) - width + 1):
        if tokens[at : at + width] == phrase:
            return at
    return -1


def known_words(text: str) -> int:
    """How many words of a text are in the table, for any use."""
    uses = ("header", "note", "month", "junk")
    known = {token for use in uses for word in table(use) for token in word.split()}
    return sum(word in known for word in plain(text).split())


def month_of(word: str) -> int | None:
    """The number of a month by its name or usual short form in any language of the table."""
    meanings = table("month").get(plain(word))
    return int(meanings[0]) if meanings and len(meanings) == 1 else None
