"""The season's page: heads stand apart, and letters that its font lacks are said with the row."""

from __future__ import annotations

import datetime as dt
from itertools import accumulate, pairwise
from pathlib import Path

import pytest

from siltbook.batch.archive.summary import _DIGITS, register_fonts, summary
from siltbook.batch.job import assess_bytes
from siltbook.batch.tables.describe import in_unit
from siltbook.batch.tables.season import SEASON_PAGE
from siltbook.templates.shown import shown_in
from siltbook.templates.units import PRESSURE_UNITS
from tests.paper.test_paper import BOOK, LACKING, farm_of, needs_poppler, text


@pytest.mark.parametrize("unit", PRESSURE_UNITS)
def test_no_two_heads_touch(unit: str) -> None:
    """'Cleanings' ran into 'Rate (bar/day)'."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    register_fonts()
    columns = in_unit(SEASON_PAGE, shown_in(unit)).columns
    edges = accumulate((column.width for column in columns), initial=0.0)
    spans = []
    for column, left in zip(columns, edges, strict=False):
        wide = stringWidth(column.title, "VeraBd", 7)
        right = column.kind in _DIGITS and not column.style
        begin = left + column.width - 4 - wide if right else left + 3
        spans.append((begin, begin + wide))
    assert all(after[0] - before[1] >= 3 for before, after in pairwise(spans))
    assert spans[-1][1] <= 841.9 - 2 * 36


@needs_poppler
def test_letters_that_the_font_lacks_are_said_and_the_station_is_told_by_its_row(
    tmp_path: Path,
) -> None:
    on = dt.date(2026, 5, 9)
    page = summary(assess_bytes(farm_of(LACKING, on), "farm.xlsx"), "farm.xlsx", "0")
    said = text(page, tmp_path)
    for row in (2, 3):
        assert f"Row {row}: ????????" in said
        assert f"???????? (Stations row {row}): Flush: Drop 0.60 bar" in said
    assert "Größe: Flush" in said
    assert said.count("Letters that the font of this page lacks stand as ?") == 1
    page = summary(assess_bytes(farm_of(LACKING[2:], on), "farm.xlsx"), "farm.xlsx", "0")
    assert "Letters that the font" not in text(page, tmp_path)


@needs_poppler
def test_of_how_many_stations_energy_and_price_are_known_is_said_whole(tmp_path: Path) -> None:
    """'energy that dirt cost, 12 of ...' was cut, so that a sum of few stations passed for all."""
    page = summary(assess_bytes(BOOK.read_bytes(), BOOK.name), BOOK.name, "0")
    assert text(page, tmp_path).count("of 12 of 12 stations") == 2
