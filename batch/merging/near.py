"""Names that two people spell differently for what may be one station."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from difflib import SequenceMatcher

from siltbook.batch.merging.points import ALIAS, Point
from siltbook.batch.merging.sides import Side
from siltbook.templates.contract import STATIONS, WHOLE_FARM
from siltbook.templates.names import name_key

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


def near_names(home: Side, copy: Side) -> Iterator[Point]:
    """Stations of a copy that look like one of the book's under another spelling."""
    own = [str(e.cells["station"]) for e in home.entries[STATIONS.name] if "station" in e.cells]
    known = {name_key(name) for name in own} | set(home.names) | {WHOLE_FARM}
    used = {
        str(e.cells["station"])
        for rows in copy.entries.values()
        for e in rows
        if "station" in e.cells
    }
    for name in sorted(used):
        if name_key(name) not in known and (near := nearest(name, own)):
            yield Point(ALIAS, STATIONS.name, (name_key(near),), "also", near, name, file=copy.name)
