"""Sheets that people keep beside the lists: readings under other headers, and plans of work."""

from __future__ import annotations

import re

from siltbook.batch.reading.cells import SheetCells
from siltbook.batch.reading.headers import HEADER_ROWS
from siltbook.templates.names import name_key

_BRACKET = re.compile(r"\s*[(\[][^()\[\]]*[)\]]\s*\Z")
# Names of sheets that say what is still to be done, without accents. Common practice, no
# published source.
_PLANNED = re.compile(
    r"(?<![a-z])(?:plans?|planned|planning|geplant\w*|planung\w*|planif\w*|planead\w*|planejad\w*"
    r"|pianific\w*|schedul\w*|to[ -]?dos?|upcoming|future|calend\w*|previst\w*|programad\w*)"
    r"(?![a-z])"
)


def is_planned(name: str) -> bool:
    """Whether a sheet's name says that it holds what is planned, and not what was done."""
    from siltbook.batch.adopt.words import plain

    return _PLANNED.search(plain(name)) is not None


def readings_places(cells: SheetCells, register: set[str]) -> tuple[int, dict[str, int]] | None:
    """Header row and columns of readings whose headers are in other words; None without.

    The words are those that `adopt` knows, in six languages. Station, date and both pressures, or
    a drop, must be among them, and a name of the `register` (case-folded) in the column of names:
    a log of something else is none.
    """
    for row, texts in sorted(_texts(cells).items()):
        places = _meant(texts)
        pressures = {"inlet", "outlet"} <= places.keys() or "drop" in places
        if pressures and {"station", "date"} <= places.keys():
            names = cells.columns[places["station"]].values
            if any(type(v) is str and name_key(v) in register for v in names):
                return row, places
    return None


def _texts(cells: SheetCells) -> dict[int, list[tuple[int, str]]]:
    found: dict[int, list[tuple[int, str]]] = {}
    for column, content in sorted(cells.columns.items()):
        for row, value in zip(content.rows, content.values, strict=True):
            if row > HEADER_ROWS:
                break
            if type(value) is str and len(value) < 100:
                found.setdefault(row, []).append((column, value))
    return found


def _meant(texts: list[tuple[int, str]]) -> dict[str, int]:
    """What a row's cells mean as headers -> the first column that does."""
    from siltbook.batch.adopt.words import plain, table

    known = table("header")
    places: dict[str, int] = {}
    for column, text in texts:
        for meaning in known.get(plain(_BRACKET.sub("", text)), ()):
            places.setdefault(meaning, column)
    return places
