"""The Water review sheet: clogging hazard of each source, and grade against emitter passage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from siltbook.batch.numbers.water import (
    PASSAGE_RULES,
    TABLES,
    Hazard,
    Rating,
    Tested,
    grade_fit,
    water_review,
)
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.sheets.rows import LongTable
from siltbook.batch.tables.water import GRADES, RATINGS, Fitted
from siltbook.templates import safety
from siltbook.templates.safety import Touch

TOP = 2  # the rows above repeat on every printed page
LAST, WIDTH = RATINGS.last, RATINGS.width
NO_TEST = (
    "No water test up to this day. Fill in the sheet Water tests, one row per sample (date, source"
    " and what was measured), to see the clogging hazard here. An older book gets that sheet from a"
    " blank template."
)
NO_GRADE = (
    "No station has a grade and an emitter passage that can be used. Fill in 'Filtration grade"
    " (µm)' and 'Emitter passage (mm)' on the sheet Stations to see whether the filter protects"
    " the emitters."
)
_TREATED = frozenset({"ph", "dissolved_solids", "iron", "manganese", "sulphide", "bacteria"})


def write(kit: k.Kit, sheet: Any) -> list[LongTable]:
    """Write the Water review sheet around its table of stations, whose rows follow."""
    book = kit.assessment.book
    ratings = water_review(book, kit.assessment.as_of)
    stations = sorted((r.station for r in kit.assessment.stations), key=lambda one: one.row)
    fits = [Fitted(one, grade_fit(one, book.settings.passage_rule)) for one in stations]
    k.heading(kit, sheet, "Water review")
    for col, column in enumerate(RATINGS.columns):
        sheet.set_column(col, col, column.width)
    row = _water(kit, sheet, TOP, ratings)
    row, tables = _grades(kit, sheet, row + 1, fits)
    k.page(kit, sheet, header=TOP - 1, widths=[column.width for column in RATINGS.columns])
    sheet.print_area(0, 0, row - 1, LAST)
    return tables


def _line(kit: k.Kit, sheet: Any, row: int, words: str, style: str = "line") -> int:
    k.spread(sheet, row, LAST, words, kit.format(style), WIDTH)
    return row + 1


def _water(kit: k.Kit, sheet: Any, row: int, ratings: Sequence[Rating]) -> int:
    """The table of ratings from `row`; gives the row below it."""
    row = _line(kit, sheet, row, "The water", "strong")
    if not ratings:
        return _line(kit, sheet, row, NO_TEST)
    row = _line(kit, sheet, row, table_line(kit.assessment.book.settings.clogging_table))
    for words in cautions(ratings):
        row = _line(kit, sheet, row, words, "caution")
    first = row + 1
    row = tables.short(kit, sheet, row, RATINGS, ratings)
    for at, rating in enumerate(ratings, first):
        for key, tested in (("latest", rating.latest), ("worst", rating.worst)):
            _link(kit, sheet, (at, RATINGS.places[key]), rating, tested)
    return row + 1


def table_line(name: str) -> str:
    """Which table rates, where it stands, and how to choose another."""
    return (
        f"Rated by {name} ({TABLES[name].source}). A value on a bound is moderate. The published"
        " tables disagree: 'Clogging table' on the sheet Farm chooses another."
    )


def cautions(ratings: Sequence[Rating]) -> tuple[str, ...]:
    """The safety lines that the hazards call for; never a dose."""
    raised = {
        rating.constituent
        for rating in ratings
        for hazard in (rating.hazard, rating.worst_hazard)
        if hazard in (Hazard.MODERATE, Hazard.SEVERE)
    }
    found = {Touch.CHEMICALS} if raised & _TREATED else set()
    return safety.cautions(found | ({Touch.GAS} if "sulphide" in raised else set()))


def _link(
    kit: k.Kit, sheet: Any, at: tuple[int, int], rating: Rating, tested: Tested | None
) -> None:
    """A link from a tested value to its cell."""
    if tested is None:
        return
    table, style = kit.assessment.book.water, kit.format("tested")
    place = f"internal:{k.quoted(table.sheet)}{table.cell(rating.constituent, tested.row)}"
    sheet.write_url(*at, place, style, tested.words())
    if not tested.side:
        k.number(sheet, *at, tested.value, style)  # the link stays with the cell


def _grades(
    kit: k.Kit, sheet: Any, row: int, fits: Sequence[Fitted]
) -> tuple[int, list[LongTable]]:
    """The table of stations from `row`, around its rows; gives the row below it, too."""
    row = _line(kit, sheet, row, "Filter and emitter", "strong")
    if not any(fit.fits is not None for _, fit in fits):
        return _line(kit, sheet, row, NO_GRADE), []
    row = _line(kit, sheet, row, rule_line(kit.assessment.book.settings.passage_rule))
    made = tables.long(kit, sheet, row, GRADES, fits, upto=LAST)
    return row + 1 + len(fits), made


def rule_line(name: str) -> str:
    """Which rule holds grade against passage, where it stands, and how to choose another."""
    rule = PASSAGE_RULES[name]
    return (
        f"The filter's largest opening is {name} of the emitter's smallest passage ({rule.source})."
        " The maker of the emitters may ask for less. 'Passage rule' on the sheet Farm chooses"
        " another."
    )
