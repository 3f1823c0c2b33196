"""The sheet Actions: what stands on a small screen, and the orders of work below the table."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.model import Verdict
from siltbook.templates import look, safety
from tests.samples.load import assessed
from tests.sheets.example import build
from tests.sheets.test_book import made, opened

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def formulas() -> openpyxl.Workbook:
    return opened(made(build()))


def test_cautions_and_whole_orders_stand_below_the_table_on_a_page_of_their_own(
    formulas: openpyxl.Workbook,
) -> None:
    sheet = formulas["Actions"]
    title = next(c.row for c in sheet["A"] if c.value == "Cautions, and the whole order of work")
    assert [b.id for b in sheet.row_breaks.brk] == [title - 1]
    assert sheet.cell(title + 1, 1).value == safety.EMERGENCY
    assert sheet.cell(title + 2, 1).value == safety.BEFORE_OPENING
    assert sheet.cell(title + 6, 1).value == safety.MAKER_FIRST
    orders = {r[0].value: (r[1].value, r[3].value) for r in sheet.iter_rows(title + 7)}
    flush = look.VERDICTS["flush"].label
    name, steps = orders[flush]
    assert name == next(r[1].value for r in sheet.iter_rows(6, 15) if r[0].value == flush)
    assert steps.startswith("1. Flush: 3 cycles with the downstream valve closed.   2. Listen")
    assert look.VERDICTS["watch"].label not in orders  # a step that the table says in full


def test_five_stations_and_who_and_when_stand_on_a_small_screen() -> None:
    """1366 x 768, of which the program and the system take some 40 x 270 pixels."""
    sheet = opened(made(assessed("twelve-stations.xlsx")))["Actions"]
    zoom = sheet.sheet_view.zoomScale / 100
    heights = [sheet.row_dimensions[row].height or 15.0 for row in range(1, 11)]
    assert sheet["A6"].value == look.VERDICTS["escalate"].label
    assert sum(heights) * 96 / 72 * zoom <= 768 - 270
    widths = [sheet.column_dimensions[c].width * 7 + 5 for c in "ABCDEFGHIJK"]
    assert sheet["K5"].value == "By when"
    assert sum(widths) * zoom <= 1366 - 40


def test_stations_of_one_order_of_work_share_it() -> None:
    sheet = opened(made(build(verdicts=[Verdict.HAND_CLEAN] * 40)))["Actions"]
    assert not sheet.sheet_properties.pageSetUpPr.fitToPage  # as many pages as it takes
    label = look.VERDICTS["hand-clean"].label
    last = [row for row in range(1, sheet.max_row + 1) if sheet.cell(row, 1).value == label]
    assert len(last) == 41
    assert "more, all on Station review" in sheet.cell(last[-1], 2).value
