"""Texts that nobody can read where a blank cell would reassure: a flow, a sign, a limit.

'dry' or 'closed' in place of a flow may mean that nothing flowed, and 'weak' in place of a yes that
nothing was heard: such a cell says something, and it may be the worse. A dash or 'n/a' in place of
a number says that nothing was read, as a blank cell does. A limit that cannot be read may be lower
than the one that counts in its place.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from siltbook.batch.reading.cells import Covered, ErrorText, NoValue
from siltbook.batch.reading.columns import Block, shown
from siltbook.templates.contract import CARRIED, READINGS, STATIONS, WORK, Sheet

USED = "it was used all the same"  # of a cell that is struck through
SIGNS = ("click", "water_heard", "water")
# By these of the register, and of the farm, a station is in range or not.
RULES = ("drop_limit", "clean_drop", "reference_flow", "working_inlet", "wanted_field")
SETTINGS = ("drop_limit", "watch_share", "interval", "review_date")
_WHERE = {
    READINGS.name: ("flow", "field"), WORK.name: SIGNS, CARRIED.name: ("gear",),
    STATIONS.name: RULES,
}  # fmt: skip
NOT_READ = frozenset({
    "-", "--", "---", "–", "—", ".", "/", "n/a", "na", "n.a.", "n.a", "not read", "not measured",
    "no meter", "no gauge", "not available", "not applicable", "nicht gelesen", "k.a.",
})  # fmt: skip
NOT_GIVEN = NOT_READ - {"-", "--", "---", "–", "—", ".", "/"}  # a dash may mean no


def unread_cells(
    sheet: Sheet, block: Block, made: Mapping[str, Any]
) -> dict[int, tuple[tuple[str, str], ...]]:
    """Row -> (key, what stands there) of the cells that say something and were not read."""
    found = {row: [*cells] for row, cells in block.lost.items()}
    for key in _WHERE.get(sheet.name, ()):
        cells = block.cells.get(key)
        if cells is None or (set(map(type, cells.values)) <= {float} and _whole(made, key, block)):
            continue
        blank = NOT_GIVEN if key in SIGNS else NOT_READ
        places = zip(block.positions(key).tolist(), cells.values, strict=True)
        for position, value in places:
            got = made[key][position]
            if (got is None or got != got) and says(value, blank):
                found.setdefault(int(block.rows[position]), []).append((key, shown(value)))
    return {row: tuple(cells) for row, cells in found.items()}


def _whole(made: Mapping[str, Any], key: str, block: Block) -> bool:
    """Whether every number of a column was read; a date in its place is none."""
    got = made[key][block.positions(key)]
    return bool(got.dtype.kind != "f" or (got == got).all())


def says(value: object, blank: frozenset[str] = NOT_READ) -> bool:
    """Whether a cell that gave no value says something all the same; `blank` are words that do
    not."""
    if isinstance(value, Covered | ErrorText | NoValue):
        return True
    if not isinstance(value, str):
        return isinstance(value, float)
    text = " ".join(value.split()).casefold()
    return bool(text) and text not in blank
