"""What people typed into a register and could not be read: it goes on as it was typed.

Left out, a limit or a unit that nobody could read would turn into the farm's in the next season,
without the finding that says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from siltbook.batch.reading.columns import MAX_NAME, plain
from siltbook.batch.reading.parsing import number_text
from siltbook.batch.results import Assessment
from siltbook.templates.book import Book, Table

# Findings of cells that then count as empty, or give way to a default.
_NOT_USED = frozenset({
    "cell-not-number", "cell-not-date", "cell-ambiguous-date", "cell-ambiguous-number",
    "cell-not-choice", "cell-error", "cell-no-value", "cell-looks-like-date", "unit-unknown",
    "cell-merged", "value-out-of-bounds", "date-out-of-bounds",
})  # fmt: skip
NOT_READ = "not read last season:"


class Unread:
    """The cells of a book that were filled in and not used, by their address."""

    def __init__(self, last: Assessment) -> None:
        """`last` is the season that ended."""
        self._said = {
            (f.sheet, f.cell): f.read for f in last.findings if f.rule in _NOT_USED and f.cell
        }
        self._odd_units = {(f.sheet, f.cell) for f in last.findings if f.rule == "unit-unknown"}

    def at(self, sheet: str, cell: str) -> str | None:
        """What stands in a cell that was not used, so that it is not read next season either."""
        said = self._said.get((sheet, cell))
        if said is None:
            return None
        quoted = len(said) > 1 and said[0] == said[-1] == "'"
        return kept_text(said[1:-1] if quoted and not said.endswith("...'") else said)

    def setting(self, book: Book, key: str) -> str | None:
        """What was typed for a setting of which the default is used."""
        cell = book.setting_cells.get(key, "")
        said = self._said.get((book.farm_sheet, cell))
        typed = book.setting_raw.get(key)
        if said is None or not isinstance(typed, str | float):
            return self.at(book.farm_sheet, cell)
        number = plain(typed) if isinstance(typed, float) else typed
        unit = said.strip("'") if (book.farm_sheet, cell) in self._odd_units else ""
        return kept_text(f"{number} {unit}")

    def in_row(self, table: Table, key: str, row: int) -> str | None:
        """The same of a column of a list, whose texts are known in full."""
        typed = table.raw.get(key, {}).get(row)
        if isinstance(typed, str) and typed.strip():
            return kept_text(typed)
        return self.at(table.sheet, table.cell(key, row)) if key in table.places else None

    def filled(self, table: Table, row: int, record: Mapping[str, object]) -> dict[str, object]:
        """A row as read, with what was typed where nothing could be read."""
        own = dict(record)
        for key, value in record.items():
            if value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
                own[key] = self.in_row(table, key, row)
        return own


def whole_texts(table: Table, row: int) -> dict[str, object]:
    """The texts of a row of which only the beginning counted, as they were typed."""
    found: dict[str, object] = {}
    for key in table.places:
        said = table.raw.get(key, {}).get(row)
        if isinstance(said, str) and len(said) > MAX_NAME:
            begun = table.frame.at[row, key]
            if isinstance(begun, str) and said.startswith(begun):
                found[key] = said
    return found


def kept_text(typed: str) -> str:
    """A text that is no number: one beside another unit or sheet would be read as another amount.

    A number that can be read two ways, and words, stay as they were typed.
    """
    typed = " ".join(typed.split())
    as_it_was = number_text(typed).value is None or typed.startswith(NOT_READ)
    return typed if as_it_was else f"{NOT_READ} {typed}"
