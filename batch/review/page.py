"""What the sheets of a review pack share: the pack itself, headings, and one kind of table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from siltbook.batch.review.farm import FarmMonth
from siltbook.batch.review.month import Month
from siltbook.batch.sheets import kit as k
from siltbook.batch.tables.describe import Column, Kind, Row, Table
from siltbook.templates import look
from siltbook.templates.safety import Touch
from siltbook.templates.shown import METRE, Shown, shown_in

PACK_MARK = "Siltbook review pack"
_T = TypeVar("_T")


@dataclass(frozen=True)
class Pack:
    """Everything that a review is made from.

    `others` are books of other seasons, which serve the comparison of fouling alone; `notes` say
    what was passed over or may count twice.
    """

    month: Month
    farms: tuple[FarmMonth, ...]
    others: tuple[FarmMonth, ...]
    version: str
    notes: tuple[str, ...] = ()

    @property
    def shown(self) -> Shown:
        """The unit of the pack's tables, the one of all its books, else metres; its dates.

        Sentences keep the unit of their farm. Dates are shown in one way alone (see `make_pack`).
        """
        shown = [one.book.settings.shown for one in (*self.farms, *self.others)]
        units = {one.unit for one in shown}
        return shown_in(units.pop() if len(units) == 1 else METRE, shown[0].dates)

    @property
    def several(self) -> bool:
        """Whether more than one book is reviewed."""
        return len(self.farms) > 1

    @property
    def who(self) -> str:
        """The farm's name, or how many farms."""
        return f"{len(self.farms)} farms" if self.several else self.farms[0].farm


def new_kit(workbook: Any, pack: Pack) -> k.Kit:
    """The kit of the result sheets, for a pack: days counted from 1900 whatever the books do."""
    first = pack.farms[0].now
    plain = replace(first, book=replace(first.book, date1904=False))
    title = f"Review of {pack.month.words}, {pack.who}"
    return k.Kit(workbook, plain, title, pack.version, unit=pack.shown)


def heading(kit: k.Kit, sheet: Any, pack: Pack, title: str, apart: int = 0) -> None:
    """A1, the title, and below it, in the column `apart`, what was reviewed and as of when.

    The first columns of a table that prints over two pages stand on both and would cut it.
    """
    sheet.write_string(0, 0, k.one_line(f"{title} – {pack.who}"), kit.format("title"))
    mark = (
        f"Siltbook {pack.version} · review of {pack.month.words} · as of {kit.as_of}, compared"
        f" with {kit.shown.as_of(pack.month.eve, '')}"
    )
    sheet.write_string(1, apart, mark, kit.format("mark"))
    sheet.set_row(0, 22)


def farm_column(source: Callable[[_T], FarmMonth], width: float = 20) -> Column[_T]:
    """The column with the farm's name."""
    return Column("farm", "Farm", Kind.NAME, width, lambda r: source(r).farm, style="wrap")


def station_column(source: Callable[[_T], str], width: float = 15) -> Column[_T]:
    """The column with the station's name."""
    return Column("station", "Station", Kind.NAME, width, source)


def rows_column(source: Callable[[_T], str], width: float) -> Column[_T]:
    """The column with the rows of the book that a line rests on."""
    return Column("rows", "Rows of the book", Kind.TEXT, width, source, style="rows")


def note(kit: k.Kit, sheet: Any, row: int, table: Table[Row], text: str) -> float:
    """One wrapped line over the table's columns; its height [pt]."""
    return k.spread(sheet, row, table.last, text, kit.format("line"), table.width)


def finish(kit: k.Kit, sheet: Any, header: int, last: int, widths: Sequence[float]) -> None:
    """Page set-up and print area of a table with columns so wide that ends in row `last`."""
    k.page(kit, sheet, header=header, widths=widths)
    sheet.print_area(0, 0, last, len(widths) - 1)


def cautions_below(
    kit: k.Kit, sheet: Any, last: int, table: Table[Row], touches: Iterable[Touch]
) -> int:
    """The cautions for what a table asks for, beneath its `last` row; the last row then used."""
    end, _ = k.caution_lines(kit, sheet, last + 2, (0, table.last), touches, table.width)
    return end - 1 if end > last + 2 else last


def bars(kit: k.Kit, title: str, kind: str = "bar", stacked: bool = True) -> Any:
    """An empty bar or column chart in the project's look."""
    options = {"type": kind, **({"subtype": "stacked"} if stacked else {})}
    chart = kit.workbook.add_chart(options)
    small = {"name": look.FONT, "size": 10, "color": look.INK}
    font = {"name": look.FONT, "size": 11, "bold": True, "color": look.INK}
    chart.set_title({"name": title, "name_font": font, "overlay": False})
    chart.set_legend({"position": "bottom", "font": small})
    line = {"visible": True, "line": {"color": look.GRID_LINE, "width": 0.5}}
    names = {"num_font": small, "major_gridlines": {"visible": False}}
    numbers = {"num_font": small, "major_gridlines": line, "min": 0, "name_font": small}
    if kind == "bar":
        # XlsxWriter calls the axis of names 'x' whichever way the bars lie.
        chart.set_x_axis(numbers)
        chart.set_y_axis({**names, "reverse": True})
    else:
        chart.set_x_axis(names)
        chart.set_y_axis(numbers)
    chart.set_chartarea({"border": {"color": look.RULE}})
    return chart


def data_bar(sheet: Any, first: int, last: int, col: int) -> None:
    """Bars inside the number cells of a column, from nothing to the largest."""
    options = {
        "type": "data_bar", "bar_color": look.BAR_FILL, "bar_solid": True, "min_type": "num",
        "min_value": 0,
    }  # fmt: skip
    sheet.conditional_format(first, col, max(first, last), col, options)


def solid(colour: str) -> dict[str, Any]:
    """A series in one colour."""
    return {"fill": {"color": colour}, "border": {"color": look.INK, "width": 0.5}}
