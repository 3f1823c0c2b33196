"""Every sheet of a book stands where people look up what the sheets are."""

from __future__ import annotations

from pathlib import Path

import siltbook
from siltbook.batch.archive.tables import tables
from siltbook.batch.job import assess_bytes
from siltbook.templates.contract import CARRIED, CHANGED_GAUGES, LISTS, RESULT_SHEETS, SHEETS

ROOT = Path(__file__).parents[1]
BOOK = ROOT / "sample_workbooks" / "twelve-stations.xlsx"


def test_the_first_page_lists_the_sheets_to_fill_and_those_that_come_back() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (line,) = (line for line in text.splitlines() if line.startswith("The sheets that you fill"))
    for name in (*(sheet.name for sheet in SHEETS), *RESULT_SHEETS):
        assert f"*{name}*" in line, name


def test_read_names_every_list() -> None:
    said = " ".join((siltbook.read(BOOK).__class__.__doc__ or "").split())
    for sheet in LISTS:
        assert f"'{sheet.name}'" in said, sheet.name


def test_the_archives_page_lists_every_table_and_the_columns_of_two() -> None:
    page = (ROOT / "docs" / "archive.md").read_text(encoding="utf-8")
    made = {table.name: table for table in tables(assess_bytes(BOOK.read_bytes(), BOOK.name))}
    (row,) = (line for line in page.splitlines() if line.startswith("| `data/*.csv`"))
    assert all(f"`{name}`" in row for name in made)
    for sheet in (CHANGED_GAUGES, CARRIED):
        name = sheet.name.casefold().replace(" ", "-")
        (row,) = (line for line in page.splitlines() if line.startswith(f"| `{name}`"))
        for field in made[name].fields:
            assert f"`{field.name}`" in row or field.name in ("row", "station"), field.name
