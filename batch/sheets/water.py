"""The Water review sheet: clogging hazard of each source, and grade against emitter passage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any

from siltbook.batch.model import Station
from siltbook.batch.numbers.water import (
    PASSAGE_RULES,
    TABLES,
    GradeFit,
    Hazard,
    Rating,
    Tested,
    grade_fit,
    name_of,
    unit_of,
    water_review,
)
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets.rows import LongTable, line, swatch
from siltbook.templates import safety
from siltbook.templates.book import column_letters
from siltbook.templates.safety import Touch

TOP = 2  # the rows above repeat on every printed page
COLUMNS = (
    ("Source", 22.0),
    ("Constituent", 19.0),
    ("Latest", 11.0),
    ("Unit", 10.0),
    ("Tested on", 12.0),
    ("Hazard", 16.0),
    ("Worst of the season", 11.0),
    ("Worst on", 12.0),
    ("Hazard of the worst", 16.0),
    ("Low under", 9.0),
    ("Severe over", 9.0),
    ("Other published tables, and what is not sure", 50.0),
)
GRADES = (
    "Station", "Filter type", "Grade (µm)", "Emitter passage (mm)", "Largest grade (µm)",
    "Grade suits",
)  # fmt: skip
LAST = len(COLUMNS) - 1
WIDTH = sum(width for _, width in COLUMNS)
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
    fits = [(one, grade_fit(one, book.settings.passage_rule)) for one in stations]
    k.heading(kit, sheet, "Water review")
    for col, (_, width) in enumerate(COLUMNS):
        sheet.set_column(col, col, width)
    row = _water(kit, sheet, TOP, ratings)
    row, tables = _grades(kit, sheet, row + 1, fits)
    k.page(kit, sheet, header=TOP - 1)
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
    k.header_row(kit, sheet, row, COLUMNS)
    for rating in ratings:
        row += 1
        _rating(kit, sheet, row, rating)
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


def _rating(kit: k.Kit, sheet: Any, row: int, rating: Rating) -> None:
    source = k.one_line(rating.source)
    k.text(sheet, row, 0, source, kit.format("name"))
    k.text(sheet, row, 1, name_of(rating.constituent), kit.format("text"))
    _tested(kit, sheet, row, 2, rating, rating.latest)
    k.text(sheet, row, 3, unit_of(rating.constituent), kit.format("text"))
    _date(kit, sheet, row, 4, rating.latest)
    words = rating.hazard or rating.why
    _hazard(kit, sheet, row, 5, rating.hazard, words)
    _tested(kit, sheet, row, 6, rating, rating.worst)
    _date(kit, sheet, row, 7, rating.worst)
    _hazard(kit, sheet, row, 8, rating.worst_hazard, "not known" if rating.worst else "")
    k.number(sheet, row, 9, rating.bounds.low, kit.format("bound"))
    k.number(sheet, row, 10, rating.bounds.severe, kit.format("bound"))
    remark = "; ".join(filter(None, (rating.others, rating.unsure)))
    k.text(sheet, row, 11, remark, kit.format("wrap"))
    wrapped = ((0, source), (5, f"x {words}"), (11, remark))
    most = max(k.lines(value, COLUMNS[col][1]) for col, value in wrapped)
    sheet.set_row(row, most * k.LINE_POINTS + 4)


def _tested(
    kit: k.Kit, sheet: Any, row: int, col: int, rating: Rating, tested: Tested | None
) -> None:
    """The value, with a link to its cell; a bound ('under 0.05') is text, which no sum takes for
    a value."""
    style = kit.format("tested")
    if tested is None:
        sheet.write_blank(row, col, None, style)
        return
    table = kit.assessment.book.water
    place = f"internal:{k.quoted(table.sheet)}{table.cell(rating.constituent, tested.row)}"
    sheet.write_url(row, col, place, style, tested.words())
    if not tested.side:
        k.number(sheet, row, col, tested.value, style)  # the link stays with the cell


def _date(kit: k.Kit, sheet: Any, row: int, col: int, tested: Tested | None) -> None:
    k.date(kit, sheet, row, col, tested.on if tested else None, kit.format("date"))


def _hazard(
    kit: k.Kit, sheet: Any, row: int, col: int, hazard: Hazard | None, words: str
) -> None:
    """A hazard in colour, with a sign and in words; plain words where there is none."""
    if hazard is None:
        k.text(sheet, row, col, words, kit.format("wrap"))
    else:
        k.text(sheet, row, col, f"{_SIGNS[hazard]} {hazard}", kit.format(f"hazard {hazard}"))


_SIGNS = {Hazard.LOW: "✓", Hazard.MODERATE: "△", Hazard.SEVERE: "▲"}


def _grades(
    kit: k.Kit, sheet: Any, row: int, fits: Sequence[tuple[Station, GradeFit]]
) -> tuple[int, list[LongTable]]:
    """The table of stations from `row`, around its rows; gives the row below it, too."""
    row = _line(kit, sheet, row, "Filter and emitter", "strong")
    if not any(fit.fits is not None for _, fit in fits):
        return _line(kit, sheet, row, NO_GRADE), []
    row = _line(kit, sheet, row, rule_line(kit.assessment.book.settings.passage_rule))
    for col, header in enumerate(GRADES):
        sheet.write_string(row, col, header, kit.format("head"))
    sheet.merge_range(row, len(GRADES), row, LAST, "Why", kit.format("head"))
    sheet.set_row(row, 2 * k.LINE_POINTS + 4)
    styles = ("name", "text", "general", "general", "general", "text")
    wrap = ["wrap"] * (LAST + 1 - len(GRADES))
    swatch(sheet, row + 1, map(kit.format, (*styles, *wrap, *(s for _, s in _FITS.values()))))
    merged = column_letters(len(GRADES)), column_letters(LAST)
    table = LongTable(row + 2, len(fits), partial(_grade_rows, row + 2, fits), merged)
    return row + 1 + len(fits), [table]


def _grade_rows(
    first: int, fits: Sequence[tuple[Station, GradeFit]], styles: list[str]
) -> Iterator[str]:
    """A row for every station; `styles` of the columns, then of the answers."""
    said = {fits: at for at, fits in enumerate(_FITS, LAST + 1)}
    for n, (station, fit) in enumerate(fits, first):
        name = k.one_line(station.name)
        words, _ = _FITS[fit.fits]
        amounts = (station.grade, station.emitter_passage, fit.largest)
        rest = [None] * (LAST - len(GRADES))
        values = [name, station.filter_type, *amounts, words, k.clean(fit.why), *rest]
        own = [*styles[:5], styles[said[fit.fits]], *styles[6 : LAST + 1]]
        yield line(n, own, values, k.row_height(k.lines(name, COLUMNS[0][1])))


def rule_line(name: str) -> str:
    """Which rule holds grade against passage, where it stands, and how to choose another."""
    rule = PASSAGE_RULES[name]
    return (
        f"The filter's largest opening is {name} of the emitter's smallest passage ({rule.source})."
        " The maker of the emitters may ask for less. 'Passage rule' on the sheet Farm chooses"
        " another."
    )


_FITS = {
    True: ("✓ suits", "hazard low"),
    False: ("▲ too coarse", "hazard severe"),
    None: ("not known", "text"),
}
