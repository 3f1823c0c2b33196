"""Books that would trip a careless writer: names like formulas, a person's own result sheet."""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
from io import BytesIO

import openpyxl
import pytest

from siltbook.batch.job import Reviewed, assess_bytes, review_bytes
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import RESULT_SHEETS
from tests.lint import lint

NAMES = ("=cmd|'/c calc'!A1", "+1", "@x", "007", "-2+3", "<r>bold</r>", "A" * 300)


def filled(farm: str = "") -> bytes:
    day = dt.date(2026, 5, 1)
    return build(
        BlankOptions(farm=farm),
        {
            "Stations": [{"station": name} for name in NAMES],
            "Readings": [
                {"station": name, "date": day, "inlet": 3.0, "outlet": 2.4} for name in NAMES
            ],
        },
    )


def opened(review: Reviewed) -> openpyxl.Workbook:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        return openpyxl.load_workbook(BytesIO(review.package))


def test_nothing_that_a_person_typed_becomes_a_formula_or_is_lost() -> None:
    review = review_bytes(filled('<b>&"Farm"'), "book.xlsx", "=book&G.xlsx")
    book = opened(review)
    shown = {cell.value for cell in book["Actions"]["B"]}
    assert set(NAMES) <= {str(name).strip() for name in shown}
    for title in ("Actions", "Station review", "Runs", "Findings"):
        formulas = [c.value for row in book[title].iter_rows() for c in row if c.data_type == "f"]
        assert not [f for f in formulas if "cmd" in str(f) or "+1" in str(f)], title
    ours = [fault for fault in lint(review.package) if "siltbook" in fault]
    assert ours == []


def test_a_sheet_of_your_own_is_left_alone() -> None:
    book = openpyxl.load_workbook(BytesIO(filled()))
    book.create_sheet("Actions")["A1"] = "my own"
    mine = BytesIO()
    book.save(mine)
    once = review_bytes(mine.getvalue(), "book", "book")
    again = review_bytes(once.package, "book", "book")
    assert once.package == again.package
    assert opened(once)["Actions"]["A1"].value == "my own"
    ours = opened(once).sheetnames[: len(RESULT_SHEETS)]
    assert ours == ["Actions (Siltbook)", *RESULT_SHEETS[1:]]
    (note,) = [f.message for f in once.assessment.findings if f.rule == "name-taken"]
    assert "the result is called 'Actions (Siltbook)'" in note


def test_a_signed_book_is_noted() -> None:
    data = BytesIO(filled())
    with zipfile.ZipFile(data, "a") as package:
        package.writestr("_xmlsignatures/origin.sigs", b"")
    notes = [f.message for f in review_bytes(data.getvalue(), "b", "b").assessment.findings]
    assert any("Sign the reviewed copy again" in note for note in notes)


@pytest.mark.at_length  # test_same_answer.py shuffles rows and columns
def test_row_order_and_extra_columns_change_nothing() -> None:
    book = openpyxl.load_workbook(BytesIO(filled()))
    sheet = book["Readings"]
    rows = [[cell.value for cell in row[:5]] for row in sheet["A2:E8"]]
    for row, values in zip(sheet["A2:E8"], reversed(rows), strict=True):
        for cell, value in zip(row, values, strict=True):
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"
    sheet["M1"] = "My own column"
    sheet["M2"] = "anything"
    turned = BytesIO()
    book.save(turned)

    def verdicts(data: bytes) -> dict[str, tuple[str, float | None]]:
        return {
            r.station.name: (str(r.verdict), r.latest.drop if r.latest else None)
            for r in assess_bytes(data, "b").stations
        }

    assert verdicts(turned.getvalue()) == verdicts(filled())
