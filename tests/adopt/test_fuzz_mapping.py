"""Any cell of a mapping may come back as anything: it is used, or refused by its address."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import openpyxl
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sample_workbooks.as_kept import Style, as_xlsx
from siltbook.batch.adopt.corrected import read_mapping
from siltbook.batch.adopt.into import new_book
from siltbook.batch.adopt.job import Source, look, use
from siltbook.batch.adopt.mapping import write
from siltbook.batch.errors import SiltbookError
from siltbook.batch.reading.book import read_book
from tests.adopt.farms import kept
from tests.amount import amount, examples

SOURCE = Source(Path("own.xlsx"), as_xlsx(kept(Style())))
SHEETS = ("Questions", "Columns", "Stations", "Proposed work")
VALUES = st.one_of(
    st.none(), st.booleans(), st.floats(allow_nan=False, allow_infinity=False), st.integers(),
    st.text(st.characters(min_codepoint=32, max_codepoint=0x2FFF), max_size=20),
    st.sampled_from(["inlet", "station", "leave out", "?", "psi", "yes", "no", "flush", "South"]),
)  # fmt: skip


@cache
def mapping() -> bytes:
    seen = look([SOURCE])
    return write(seen.made, seen.asked, seen.rows, {"own.xlsx": SOURCE.print}, "")


@settings(max_examples=examples(amount(6, 60)), deadline=None)
@given(st.sampled_from(SHEETS), st.integers(4, 9), st.integers(1, 12), VALUES)
@example("Proposed work", 5, 7, True)  # an inlet in the flush without a unit
def test_any_cell_of_a_mapping(sheet: str, row: int, column: int, value: object) -> None:
    book = openpyxl.load_workbook(io.BytesIO(mapping()))
    book[sheet].cell(row, column).value = value if not isinstance(value, int) else float(value)
    changed = io.BytesIO()
    book.save(changed)
    try:
        seen = use([SOURCE], read_mapping(changed.getvalue(), "own.mapping.xlsx"))
        made = new_book(seen.rows, seen.work, "own")
    except SiltbookError as error:
        text = str(error)
        assert "\n" not in text
        return
    rows = seen.rows
    assert rows.read == rows.used + rows.proposed + rows.not_used
    read_book(made.data or b"", "own.book.xlsx")
