"""What the font of the PDF pages can show, and how a name is told whose letters it lacks."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import partial

from siltbook.batch.model import Station
from siltbook.batch.sheets.kit import one_line

LACKS = "Letters that the font of this page lacks stand as ?: the workbook has them"
LACKS_ROWS = f"{LACKS}. A station of such a name is told by its row on the sheet Stations."


def shown(text: object) -> str:
    """A text in one line, of the letters that the font has; each other one is '?'."""
    return _line(text).encode("cp1252", "replace").decode("cp1252")


def lacking(text: object) -> bool:
    """Whether a text has letters that the pages cannot show."""
    return shown(text) != _line(text)


def _line(text: object) -> str:
    return one_line(str(text)).replace("→", "->")


def named(name: str, row: int) -> str:
    """A station's name, with its row of the register where its letters cannot all be shown: two
    names of question marks would be alike."""
    return f"{name} (Stations row {row})" if lacking(name) else name


def row_first(name: str, row: int) -> str:
    """The same where there is little room: its end may be cut, and the row must not be."""
    return f"Row {row}: {name}" if lacking(name) else name


def with_rows(text: str, stations: Iterable[Station]) -> str:
    """A text in which each station whose letters cannot all be shown has its row behind it."""
    rows = {station.name: station.row for station in stations if lacking(station.name)}
    if not rows:
        return text
    longest_first = sorted(rows, key=len, reverse=True)  # 'X 11' is no 'X 1'
    names = "|".join(map(re.escape, longest_first))
    return re.sub(rf"(?<!\w)(?:{names})(?!\w)", partial(_with_row, rows), text)


def _with_row(rows: dict[str, int], found: re.Match[str]) -> str:
    return named(found[0], rows[found[0]])
