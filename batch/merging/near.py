"""Names that two people spell differently for what may be one station."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import SequenceMatcher

LIKE = 0.8  # of two names' letters that must agree before they are offered as one station


def nearest(name: str, names: Iterable[str]) -> str:
    """The name that is spelt most like it; '' where none is, or where its numbers are others."""
    best, share = "", LIKE
    for other in names:
        if _numbers(name) == _numbers(other):
            ratio = SequenceMatcher(None, _letters(name), _letters(other)).ratio()
            if ratio > share or (ratio == share and not best):
                best, share = other, ratio
    return best


def _numbers(name: str) -> list[str]:
    return [digits.lstrip("0") for digits in re.findall(r"\d+", name)]


def _letters(name: str) -> str:
    return re.sub(r"[\W_]+", "", name).casefold()
