"""Every sheet on paper, as LibreOffice prints it: legible, whole, and no page nearly empty."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import xlsxwriter

from tests.amount import whole
from tests.interop.books import produced
from tests.office import convert_all, needs_office
from tests.printed import faults, needs_poppler

pytestmark = [needs_office, needs_poppler]


KINDS = ("audited", "pack", "seasons", "round sheet", "mapping", "merged")
USUAL = ("pack", "round sheet", "mapping")


def printed(books: dict[str, bytes], folder: Path) -> dict[str, bytes]:
    """The PDF of each book."""
    paths = [folder / f"{name}.xlsx" for name in books]
    for path, data in zip(paths, books.values(), strict=True):
        path.write_bytes(data)
    made = convert_all(paths, folder, "pdf")
    return {name: path.read_bytes() for name, path in zip(books, made, strict=True)}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    kinds = KINDS if whole() else USUAL
    return printed({kind: produced(kind) for kind in kinds}, tmp_path_factory.mktemp("printed"))


@pytest.mark.at_length(keep=USUAL)
@pytest.mark.parametrize("kind", KINDS)
def test_every_page_of_every_sheet_can_be_read(kind: str, pages: dict[str, bytes]) -> None:
    """The audited book holds the result sheets and the sheets that people fill as well."""
    assert faults(pages[kind]) == []


@pytest.mark.at_length  # a test of the test above
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
    empty = io.BytesIO()
    with xlsxwriter.Workbook(empty) as book:
        book.add_worksheet("Empty").write_string(0, 0, "One")
    made = printed({"planted": target.getvalue(), "empty": empty.getvalue()}, tmp_path)
    found = faults(made["planted"])
    assert "type of 7.0 pt" in found
    assert any("is cut at the margin" in one for one in found)
    assert any("stands over" in one for one in found)
    assert "page 1 holds 1 words" in faults(made["empty"])
