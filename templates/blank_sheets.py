"""Writes the sheets of the blank workbook."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from xlsxwriter.worksheet import CellFormulaTuple, Worksheet

from siltbook.templates import blank_formulas, blank_gauges, contract, own_unit, printing, safety
from siltbook.templates.blank_checks import (
    REGISTER,
    REGISTER_FORMULA,
    STATION_COUNT_FORMULA,
    check_for,
    station_count,
)
from siltbook.templates.blank_look import (
    BLUE,
    DARK_OCHRE,
    LINE,
    OCHRE,
    PALE_BLUE,
    VIOLET,
    Look,
)
from siltbook.templates.blank_lookups import UNITS_SHEET, UNKNOWN, at_row, unit_rows
from siltbook.templates.book import column_letters
from siltbook.templates.contract import Column, Kind
from siltbook.templates.days import ISO, WAYS, way, written
from siltbook.templates.look import TYPE_SIZE
from siltbook.templates.shown import METRE

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook

Row = Mapping[str, object]

# Rows that a table has from the start; people in programs without growing tables need them.
TABLE_ROWS = {
    "Stations": 100, "Readings": 2000, "Work done": 500, "Agreed": 200, "Water tests": 100,
    "Gauges": 50, "Carried over": 50,
}  # fmt: skip
SPARE_ROWS = {
    "Stations": 50, "Readings": 500, "Work done": 500, "Agreed": 200, "Water tests": 50,
    "Gauges": 25, "Carried over": 25,
}  # fmt: skip
# Where a further printed page of a wide list begins: gauges, papers.
NEXT_PAGE = {"Stations": ("gauges", "maker")}
START_WIDTHS, FARM_WIDTHS = (4.0, 150.0), (25.0, 22.0, 9.0, 106.0)
_DEEP = 20000  # lists and warnings reach below the table, for programs where it does not grow

STEPS = (
    "Farm: name the farm, choose the units of your gauges and meters, and check the defaults.",
    "Stations: one row for each filter station. Underlined headers are required; everything else"
    " makes the results sharper, the clean drop and the gauge's data most of all.",
    "At each visit, read one gauge twice: first on the inlet side, then on the outlet side."
    " Readings: one row per station and visit. The drop and whether it is over the limit appear"
    " while you type. OVER means more than the limit; ? means it cannot be told.",
    "Low pressure in the field? Look at the supply first (pump, leak), then at the filter.",
    f"OVER: flush by hand: {safety.FLUSH_IN_ONE}.",
    "Work done: one row for each flush, cleaning or repair; of a flush, yes or no for each sign:"
    " click heard, water heard, water at outlet. Then read the drop again, with both valves open.",
    "Signs missing: solenoid first, then controller. The order, with the cautions below:"
    f" {safety.GEAR_IN_ONE}.",
    "Still over after a flush that happened: clean by hand, once it is safe to open (cautions"
    f" below): {safety.CLEANING_IN_ONE}."
    " Still over after that, or not safe at any moment: call for help. That is never held against"
    " anyone.",
    "Water tests, where there are any: one row per sample, the source's name the same each time."
    " Gauges: one row for each gauge that was changed, from which day; earlier readings stay as"
    " they were. Carried over: what was open at the end of last season; 'siltbook season' fills"
    " it.",
    "At the review: siltbook run BOOK adds its result sheets, Actions first. Write what you agree"
    " on the sheet Agreed: who, and by when.",
)
_DAY = dt.date(2026, 5, 31)
CAUTIONS = safety.cautions(safety.ANYTHING)
_FOOT = (
    "Violet columns are calculated; leave them alone. Nothing is locked. The hidden sheet Units"
    " holds the factors of the units. A list prints as far as it is filled, without them."
)


def _dated(dates: str) -> str:
    """The step that says how dates and times look, and how to type one that cannot be misread."""
    look = f"Dates look like {written(_DAY, dates)}"
    if dates != ISO:
        look += f" ({way(dates).order}); typed as {_DAY} no program takes one for another"
    return f"{look}, times like 07:30. Your own columns and sheets are left alone."


class ListPage(Worksheet):  # type: ignore[misc]  # the library has no types
    """A worksheet that takes formulas as they are: the library looks through each of them for
    functions of later editions, of which ours have none, and that took most of the building."""

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        return formula.removeprefix("=")

    def _write_formula(
        self, row: int, col: int, formula: str, cell_format: Format | None = None, value: object = 0
    ) -> int:
        if self._check_dimensions(row, col):
            return -1
        self.table[row][col] = CellFormulaTuple(formula.removeprefix("="), cell_format, value)
        return 0

    def add_long_table(self, last_row: int, last_col: int, options: Mapping[str, object]) -> None:
        """A table from the first cell to this one (0-based), as `add_table` makes it.

        The library would look at each of its cells and write the formulas that stand there anyway.
        """
        self.add_table(0, 0, 1, last_col, options)
        whole = f"A1:{column_letters(last_col)}{last_row + 1}"
        self.tables[-1].update(range=whole, a_range=whole, autofilter=whole)

    def print_columns(self, last: int) -> None:
        """Print the columns up to `last` (0-based), as far down as they are filled.

        Spelt out to the last row: '$A:$F', the same, is not understood everywhere.
        """
        self.print_area(0, 0, 1, last)
        whole = f"$A$1:${column_letters(last)}$1048576"
        area: str = self.__dict__["print_area_range"]
        self.print_area_range = f"{area.rpartition('!')[0]}!{whole}"


@dataclass(frozen=True)
class Filling:
    """What stands in the workbook: rows per sheet, and the Farm values with defaults."""

    rows: Mapping[str, Sequence[Row]]
    settings: Row
    pressure_unit: str
    flow_unit: str
    limits_in: str = METRE
    dates: str = ISO

    def of(self, sheet: str) -> Sequence[Row]:
        """The rows of one list sheet."""
        return self.rows.get(sheet, ())


def put(sheet: Worksheet, row: int, col: int, value: object, cell: Format) -> None:
    """Write one value as what it is; a text stays text whatever it looks like.

    None, '' and NaN leave an empty cell. ValueError for a value of another type.
    """
    if value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
        sheet.write_blank(row, col, None, cell)
    elif isinstance(value, str):
        # XlsxWriter takes text of the shape '<r>...</r>' for markup; a space behind keeps it text.
        markup = value.startswith("<r>") and value.endswith("</r>")
        sheet.write_string(row, col, value + " " if markup else value, cell)
    elif isinstance(value, bool):
        sheet.write_string(row, col, "yes" if value else "no", cell)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, col, value, cell)
    elif isinstance(value, (dt.date, dt.time)):
        sheet.write_datetime(row, col, value, cell)
    else:
        raise ValueError(
            f"{sheet.get_name()}: cannot write {value!r}; give a text, number, date or time."
        )


def _page(
    sheet: Worksheet, widths: Sequence[float], *, keep: int = 0, starts: Sequence[int] = ()
) -> None:
    """A4 landscape, page numbers; the first `keep` columns on every page of a split table."""
    printing.across(sheet, widths, TYPE_SIZE, keep, starts)
    sheet.set_margins(left=printing.SIDE, right=printing.SIDE, top=0.5, bottom=0.7)
    sheet.set_footer("&L&F, &A&RPage &P of &N", {"scale_with_doc": False})


def write_start(book: Workbook, look: Look, dates: str = ISO) -> None:
    """The sheet Start here: what to do, and the cautions in a box of their own."""
    sheet = book.add_worksheet("Start here")
    sheet.hide_gridlines(2)
    for col, width in enumerate(START_WIDTHS):
        sheet.set_column(col, col, width)
    title = look.format(bold=True, font_size=18, font_color=BLUE)
    sheet.set_row(0, 30)
    sheet.write_string(0, 0, "Filter stations: the season's workbook", title)
    row = 2
    number = look.format(bold=True, font_color=BLUE, align="center", valign="top")
    text = look.format(text_wrap=True, valign="top")
    for step, words in enumerate((*STEPS, _dated(dates)), start=1):
        _tall(sheet, row, words)
        sheet.write_number(row, 0, step, number)
        sheet.write_string(row, 1, words, text)
        row += 1
    row = _write_cautions(sheet, look, row + 1)
    _tall(sheet, row + 1, _FOOT)
    foot = look.format(italic=True, font_color=VIOLET, text_wrap=True, valign="top")
    sheet.write_string(row + 1, 1, _FOOT, foot)
    _page(sheet, START_WIDTHS)
    sheet.set_print_scale(80)  # one page, and no caution on another than the steps


def _tall(sheet: Worksheet, row: int, words: str) -> None:
    lines = -(-len(words) // 160)
    sheet.set_row(row, 13.5 * lines + 3)


def _write_cautions(sheet: Worksheet, look: Look, row: int) -> int:
    """The box of cautions from `row`; gives the row below it."""
    fill = {"bg_color": OCHRE, "font_color": DARK_OCHRE, "border_color": DARK_OCHRE}
    last = row + len(CAUTIONS)
    sheet.set_row(row, 22)
    sheet.write_string(row, 0, "!", look.format(**fill, bold=True, align="center", left=2, top=2))
    head = look.format(**fill, bold=True, font_size=13, right=2, top=2)
    sheet.write_string(row, 1, "Cautions", head)
    for at, words in enumerate(CAUTIONS, start=row + 1):
        edge = {"bottom": 2} if at == last else {}
        _tall(sheet, at, words)
        sheet.write_blank(at, 0, None, look.format(**fill, left=2, **edge))
        wrapped = look.format(**fill, right=2, text_wrap=True, valign="top", **edge)
        sheet.write_string(at, 1, words, wrapped)
    return last + 1


def write_farm(book: Workbook, look: Look, filling: Filling) -> None:
    """The sheet Farm: label, value, unit, help."""
    sheet = book.add_worksheet("Farm")
    for col, width in enumerate(FARM_WIDTHS):
        sheet.set_column(col, col, width)
    sheet.set_row(0, 22)
    for col, words in enumerate(("Setting", "Value", "Unit", "What it is")):
        sheet.write_string(0, col, words, look.header())
    label = look.format(bold=True, bg_color=PALE_BLUE, border=1, border_color=LINE)
    plain = look.format(border=1, border_color=LINE, indent=1)
    columns = own_unit.columns(contract.FARM, filling.limits_in)
    for row, column in enumerate(columns, start=1):
        sheet.set_row(row, 19)
        sheet.write_string(row, 0, column.header, label)
        cell = _farm_format(look, column, filling.dates)
        put(sheet, row, 1, filling.settings.get(column.key), cell)
        put(sheet, row, 2, column.unit, plain)
        sheet.write_string(row, 3, column.help, plain)
        check = check_for("Farm", column, filling.pressure_unit, filling.flow_unit)
        sheet.data_validation(row, 1, row, 1, check)
    _flush_unit_list(sheet)
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)
    _page(sheet, FARM_WIDTHS)


def _farm_format(look: Look, column: Column, dates: str) -> Format:
    shown = {Kind.TEXT: "@", Kind.DATE: way(dates).cells}.get(column.kind, "General")
    if column.choices == WAYS:
        shown = "@"  # programs would turn a choice into the date that it looks like
    return look.format(num_format=shown, border=1, border_color=LINE, align="left", indent=1)


def _flush_unit_list(sheet: Worksheet) -> None:
    row = 1 + [c.key for c in contract.FARM.columns].index("flush_inlet")
    column = contract.FARM.column("pressure_unit")
    check = check_for("Farm", column, "bar", "m3/h")
    check["input_message"] = "The unit of the number on the left."
    sheet.data_validation(row, 2, row, 2, check)


def write_list(book: Workbook, look: Look, sheet: contract.Sheet, filling: Filling) -> None:
    """One list sheet: a table that grows, its warnings, its calculated columns."""
    page = book.add_worksheet(sheet.name, worksheet_class=ListPage)
    rows = filling.of(sheet.name)
    count = max(TABLE_ROWS[sheet.name], len(rows) + SPARE_ROWS[sheet.name])
    columns = own_unit.columns(sheet, filling.limits_in)
    page.set_row(0, 48)
    formats = [look.cell(column, filling.pressure_unit, filling.dates) for column in columns]
    widths = [max(column.width - 1, len(column.header) // 2 + 3) for column in columns]
    for col, column in enumerate(columns):
        page.set_column(col, col, widths[col], formats[col])
        check = check_for(sheet.name, column, filling.pressure_unit, filling.flow_unit)
        page.data_validation(1, col, _DEEP, col, check)
    _add_table(page, look, sheet, count, filling.limits_in)
    for at, row in enumerate(rows, start=1):
        for col, column in enumerate(sheet.columns):
            if row.get(column.key) is not None:
                put(page, at, col, row[column.key], formats[col])
    _write_computed(page, look, sheet, filling, count)
    page.freeze_panes(1, 1)
    page.repeat_rows(0)
    starts = [at for at, c in enumerate(sheet.columns) if c.key in NEXT_PAGE.get(sheet.name, ())]
    _page(page, widths, keep=1, starts=starts)
    # Whole columns: programs print them as far down as they are filled, also what is typed later.
    # The calculated columns would drag every prepared row along; Workings prints drops and limits.
    page.print_columns(len(sheet.columns) - 1)


def _add_table(page: ListPage, look: Look, sheet: contract.Sheet, count: int, unit: str) -> None:
    columns: list[dict[str, object]] = [
        {"header": c.header, "header_format": look.header(required=c.required)}
        for c in own_unit.columns(sheet, unit)
    ]
    for header, formula in blank_formulas.formulas(sheet.name, unit).items():
        shown = look.header(computed=True)
        # A table keeps the formula of its first row; programs in which it grows move it along.
        first = at_row(formula, 2)
        columns.append({"header": header, "header_format": shown, "formula": first})
    page.add_long_table(
        count, len(columns) - 1,
        {
            "name": blank_formulas.TABLES[sheet.name],
            "columns": columns,
            "style": None,
            "title": sheet.name,
            "description": f"The list {sheet.name}, one row per entry.",
        },
    )  # fmt: skip


def _computed_values(sheet: str, filling: Filling) -> Sequence[tuple[object, ...]]:
    stations = filling.of("Stations")
    if sheet == "Stations":
        return blank_formulas.station_values(stations, filling.settings, filling.limits_in)
    if sheet == "Gauges":
        return blank_gauges.gauge_values(filling.of(sheet), stations)
    return blank_formulas.reading_values(
        filling.of(sheet), stations, filling.settings, filling.of("Gauges"), filling.limits_in
    )


def _write_computed(
    page: Worksheet, look: Look, sheet: contract.Sheet, filling: Filling, count: int
) -> None:
    """Every row's formula with its stored value, and the mark of rows over the limit."""
    wanted = blank_formulas.formulas(sheet.name, filling.limits_in)
    if not wanted:
        return
    values = list(_computed_values(sheet.name, filling))
    values += [("",) * len(wanted)] * (count - len(values))
    first = len(sheet.columns)
    shown = "0.00" if sheet.name == "Readings" else "0.00##"
    for offset, formula in enumerate(wanted.values()):
        page.set_column(first + offset, first + offset, 14)
        words = sheet.computed[offset] == "Against limit"
        cell = look.computed(shown, align="center" if words else "right")
        for row, pair in enumerate(values, start=1):
            own = at_row(formula, row + 1)
            page.write_formula(row, first + offset, own, cell, pair[offset])
    if sheet.name == "Readings":
        over = f'=${column_letters(first + 1)}2="OVER"'
        rule = {"type": "formula", "criteria": over, "format": look.over()}
        page.conditional_format(1, 0, _DEEP, first + 1, rule)


def write_units(book: Workbook, look: Look, filling: Filling) -> None:
    """The hidden sheet Units: spellings and factors, the register's length, changed gauges."""
    sheet = book.add_worksheet(UNITS_SHEET, worksheet_class=ListPage)
    sheet.set_column(0, 4, 24)
    heads = "Pressure unit", "Metres of water per unit", "", "Filled row", "Stations"
    for col, words in enumerate(heads):
        if words:
            sheet.write_string(0, col, words, look.header())
    for row, (name, factor) in enumerate(unit_rows(), start=1):
        sheet.write_string(row, 0, name)
        sheet.write_number(row, 1, factor)
    named = {at for at, row in enumerate(filling.of("Stations"), 1) if row.get("station")}
    for at in range(1, REGISTER + 1):
        sheet.write_formula(at, 3, REGISTER_FORMULA, None, at if at in named else 0)
    sheet.write_formula(1, 4, STATION_COUNT_FORMULA, None, station_count(named))
    _lay_out_gauges(sheet, look, filling)
    sheet.hide()


def _lay_out_gauges(sheet: Worksheet, look: Look, filling: Filling) -> None:
    """Each changed unit once, where the readings look it up."""
    first = blank_gauges.FIRST_COLUMN
    sheet.set_column(first, first + len(blank_gauges.HEADS) - 1, 16)
    for col, words in enumerate(blank_gauges.HEADS, start=first):
        sheet.write_string(0, col, words, look.header())
    formulas = blank_gauges.layout_formulas()
    layout = blank_gauges.laid_out(filling.of("Gauges"), filling.of("Stations"))
    for row, (*values, number) in enumerate(layout.rows, start=1):
        for col, (formula, value) in enumerate(zip(formulas, values, strict=True), start=first):
            sheet.write_formula(row, col, at_row(formula, row + 1), None, value)
        sheet.write_number(row, first + len(formulas), number)
    below, last = len(layout.rows) + 1, first + len(formulas)
    sheet.write_string(below, last - 1, UNKNOWN)
    sheet.write_number(below, last, blank_gauges.UNPLACED)
    sheet.write_formula(1, last + 1, blank_gauges.state_formula(), None, layout.state)
