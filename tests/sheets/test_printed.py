"""Every sheet on paper, as LibreOffice prints it: legible, whole, and no page nearly empty."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import xlsxwriter

from tests.interop.books import produced
from tests.office import convert, needs_office
from tests.printed import faults, needs_poppler

pytestmark = [needs_office, needs_poppler]


def printed(data: bytes, folder: Path) -> bytes:
    (folder / "book.xlsx").write_bytes(data)
    return convert(folder / "book.xlsx", folder, "pdf").read_bytes()


@pytest.mark.parametrize("kind", ["audited", "pack", "seasons", "round sheet", "mapping", "merged"])
def test_every_page_of_every_sheet_can_be_read(kind: str, tmp_path: Path) -> None:
    """The audited book holds the result sheets and the sheets that people fill as well."""
    assert faults(printed(produced(kind), tmp_path)) == []


def test_small_type_cut_text_and_empty_pages_are_found(tmp_path: Path) -> None:
    """So that the test above can fail: each fault is planted once."""
    target = io.BytesIO()
    with xlsxwriter.Workbook(target) as book:
        arial = book.add_format({"font_name": "Arial", "font_size": 10})
        small = book.add_worksheet("Small")
        small.set_print_scale(70)
        small.write_string(0, 0, "these five words are small", arial)
        wide = book.add_worksheet("Wide")
        wide.set_margins(left=0.4, right=0.4)
        wide.write_string(0, 0, "far too long a line of words for the paper " * 4, arial)
        wide.print_area(0, 0, 0, 8)
        low = book.add_worksheet("Low")
        for row in (0, 1):
            low.set_row(row, 4)
            low.write_string(row, 0, "a row too low to be read", arial)
    found = faults(printed(target.getvalue(), tmp_path))
    assert "type of 7.0 pt" in found
    assert any("is cut at the margin" in one for one in found)
    assert any("stands over" in one for one in found)
    empty = io.BytesIO()
    with xlsxwriter.Workbook(empty) as book:
        book.add_worksheet("Empty").write_string(0, 0, "One")
    assert "page 1 holds 1 words" in faults(printed(empty.getvalue(), tmp_path))
