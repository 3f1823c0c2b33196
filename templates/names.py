"""Names of stations and farms as they are compared: what looks the same to a person is one name."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

# Soft hyphen, zero-width characters and marks of direction: two names that look alike are one.
UNSEEN = dict.fromkeys([0xAD, *range(0x200B, 0x2010), *range(0x2060, 0x2065), 0xFEFF])


def name_key(name: object) -> str:
    """A name as names are compared: composed (NFC), without what cannot be seen, spaces
    collapsed, case-folded. The spelling that is shown stays the one that was typed."""
    return _key(str(name))


@lru_cache(maxsize=16_384)
def _key(name: str) -> str:
    text = unicodedata.normalize("NFC", name.translate(UNSEEN))
    return " ".join(text.split()).casefold()


def other_names(also: object) -> list[str]:
    """The names that a cell of *Also called* holds, separated by semicolons; spaces collapsed."""
    return [name for part in str(also or "").split(";") if (name := " ".join(part.split()))]
