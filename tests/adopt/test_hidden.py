"""Hidden columns, rows and sheets of a source: read like anything else, and said in the mapping."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import openpyxl

from sample_workbooks.as_kept import Style, as_xlsx
from tests.adopt.farms import kept, siltbook
from tests.adopt.test_command import find

Edit = Callable[[openpyxl.Workbook], object]


def edited(layout: str, how: Edit) -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(as_xlsx(kept(Style(layout)))))
    how(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def hide(book: openpyxl.Workbook) -> None:
    page = book.worksheets[0]
    page.column_dimensions["C"].hidden = True
    for row in (3, 4, 40):  # the last is empty and counts for nothing
        page.row_dimensions[row].hidden = True


def columns_of(mapping: Path) -> dict[str, str]:
    """Header as found -> why."""
    rows = openpyxl.load_workbook(mapping)["Columns"].iter_rows(min_row=5, values_only=True)
    return {str(row[3]): str(row[11]) for row in rows}


def test_a_hidden_column_and_hidden_rows_are_said_in_why_and_where(tmp_path: Path) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(edited("list", hide))
    told = (
        "Hidden in the source and read like any other: column C of sheet Readings; 2 rows of "
        "sheet Readings."
    )
    assert f"  {told}\n" in siltbook("adopt", own)
    mapping = tmp_path / "own.mapping.xlsx"
    why = columns_of(mapping)
    assert why["Inlet (bar)"] == (
        "the header says 'inlet'; hidden in the source, read like any other"
    )
    assert why["Date"].endswith("; 2 rows hidden in the source, read like any other")
    assert not [h for h in why if h not in ("Inlet (bar)", "Date") and "hidden" in why[h]]
    find(mapping, "Start", told)
    page = openpyxl.load_workbook(mapping)["As they would arrive"]
    told_places = [row[12] for row in page.iter_rows(min_row=5, values_only=True)]
    assert told_places[:4] == [
        "own.xlsx, sheet Readings, row 2", "own.xlsx, sheet Readings, row 3 (hidden)",
        "own.xlsx, sheet Readings, row 4 (hidden)", "own.xlsx, sheet Readings, row 5",
    ]  # fmt: skip
    # It is said, and changes nothing: the same rows enter.
    assert "15 readings, 2 rows of work" in siltbook("adopt", own, "--mapping", mapping)


def test_a_hidden_sheet_is_named(tmp_path: Path) -> None:
    def how(book: openpyxl.Workbook) -> None:
        book["South"].sheet_state = "veryHidden"

    own = tmp_path / "own.xlsx"
    own.write_bytes(edited("sheet per station", how))
    said = siltbook("adopt", own)
    assert "Hidden in the source and read like any other: sheet South." in said
    why = columns_of(tmp_path / "own.mapping.xlsx")
    assert why["Inlet (bar)"].endswith(
        "; on a hidden sheet (South) in the source, read like any other"
    )


def test_dates_across_hide_rows_where_lists_hide_columns(tmp_path: Path) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(edited("dates across", hide))
    said = siltbook("adopt", own)
    # The sample's columns of days, C to G, have one width and are one stretch.
    assert "any other: row 3 of sheet Readings; row 4 of sheet Readings; 5 columns of" in said


def test_nothing_hidden_nothing_said(tmp_path: Path) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(as_xlsx(kept(Style())))
    assert "Hidden in" not in siltbook("adopt", own)
    assert not [w for w in columns_of(tmp_path / "own.mapping.xlsx").values() if "hidden" in w]
