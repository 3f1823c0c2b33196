"""Blanks of the usual run: few rows are prepared, where those that people get have thousands.

Every book that a test fills is then written, read and judged in half the time. Where all tests are
run, and where a test asks for the fixture `prepared_rows`, all rows are there.
"""

from __future__ import annotations

import pytest

from siltbook.templates import blank_sheets
from tests.amount import whole

AS_SHIPPED = (blank_sheets.TABLE_ROWS, blank_sheets.SPARE_ROWS)
FEW = tuple({name: min(count, 20) for name, count in rows.items()} for rows in AS_SHIPPED)


def few_rows() -> None:
    """From here on in this process, unless all tests are run."""
    if not whole():
        blank_sheets.TABLE_ROWS, blank_sheets.SPARE_ROWS = FEW


def all_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """For one test, as in the blanks that people get."""
    for name, rows in zip(("TABLE_ROWS", "SPARE_ROWS"), AS_SHIPPED, strict=True):
        monkeypatch.setattr(blank_sheets, name, rows)
