"""Blanks of the usual run: few rows are prepared, where those that people get have thousands.

Every book that a test fills is then written, read and judged in half the time. Where all tests are
run, and where a test asks for the fixture `prepared_rows`, all rows are there.
"""

from __future__ import annotations

import io
import re
import zipfile
from functools import cache

import pytest

from siltbook.templates import blank_sheets
from tests.amount import whole

AS_SHIPPED = (blank_sheets.TABLE_ROWS, blank_sheets.SPARE_ROWS)
FEW = tuple({name: min(count, 20) for name, count in rows.items()} for rows in AS_SHIPPED)

# A row in which nobody typed: formulas that give nothing.
_EMPTY = re.compile(rb"<row [^>]*>(?:<c [^>]*><f>[^<]*</f><v></v></c>)+</row>")


def few_rows() -> None:
    """From here on in this process, unless all tests are run."""
    if not whole():
        blank_sheets.TABLE_ROWS, blank_sheets.SPARE_ROWS = FEW


def all_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """For one test, as in the blanks that people get."""
    for name, rows in zip(("TABLE_ROWS", "SPARE_ROWS"), AS_SHIPPED, strict=True):
        monkeypatch.setattr(blank_sheets, name, rows)


def lean(book: bytes) -> bytes:
    """A book without the prepared rows in which nothing stands but formulas; as it is in a run of
    all tests."""
    return book if whole() else _lean(book)


@cache
def _lean(book: bytes) -> bytes:
    from tests.reading.books import zipped

    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    return zipped(
        {
            name: _EMPTY.sub(b"", content) if name.startswith("xl/worksheets/") else content
            for name, content in parts.items()
        }
    )
