"""What the sheets of a review pack share: the pack itself, headings, and one kind of table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from siltbook.batch.model import Verdict
from siltbook.batch.review.farm import FarmMonth
from siltbook.batch.review.month import Month
from siltbook.batch.sheets import kit as k
from siltbook.templates import look
from siltbook.templates.safety import Touch

PACK_MARK = "Siltbook review pack"

_QUIET = {"font_name": look.FONT, "font_size": 8, "font_color": look.QUIET, "valign": "vcenter"}
_CELL = {"font_name": look.FONT, "font_size": 9, "font_color": look.INK, "align": "center",
         "valign": "vcenter"}
_EXTRA: dict[str, dict[str, object]] = {
    "rows": {
        **_QUIET, "text_wrap": True, "bottom": 1, "bottom_color": look.RULE, "align": "left",
        "indent": 1,
    },
    "days": {**look.FORMATS["metres"], "num_format": "0.0"},
    "rate": {**look.FORMATS["metres"], "num_format": "0.000"},
    "energy": {**look.FORMATS["metres"], "num_format": "#,##0"},
    "day": {**look.FORMATS["fill-in"], "num_format": look.DATE_FORMAT, "align": "left"},
    "section": {"font_name": look.FONT, "font_size": 12, "bold": True, "font_color": look.INK},
    "weekday": {**_CELL, "bg_color": look.HEAD_FILL},
    "weekend": {**_CELL, "bg_color": look.RULE},
    "empty": {**_CELL, "bottom": 1, "bottom_color": look.RULE},
    "span": {**_CELL, "bottom": 1, "bottom_color": look.RULE, "bg_color": look.BAR_FILL},
    "expected": {
        **_CELL, "bottom": 1, "bottom_color": look.RULE, "bg_color": look.DROP_LINE,
        "font_color": look.WHITE, "bold": True,
    },
    "said": {
        **_QUIET, "font_size": 9, "bottom": 1, "bottom_color": look.RULE, "align": "left",
        "indent": 1,
    },
}  # fmt: skip
# Kinds of column that hold text, with the format of each.
_TEXTS = {"text": "text", "wrap": "wrap", "name": "name", "rows": "rows"}
_NUMBERS = ("metres", "whole", "days", "rate", "energy", "share")


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
    def several(self) -> bool:
        """Whether more than one book is reviewed."""
        return len(self.farms) > 1

    @property
    def who(self) -> str:
        """The farm's name, or how many farms."""
        return f"{len(self.farms)} farms" if self.several else self.farms[0].farm


@dataclass(frozen=True)
class Column:
    """One column of a table: header, width [characters] and what its cells hold."""

    header: str
    width: float
    kind: str = "text"


def new_kit(workbook: Any, pack: Pack) -> k.Kit:
    """The kit of the result sheets, for a pack: days counted from 1900 whatever the books do."""
    first = pack.farms[0].now
    plain = replace(first, book=replace(first.book, date1904=False))
    return k.Kit(workbook, plain, f"Review of {pack.month.words}, {pack.who}", pack.version)


def style(kit: k.Kit, name: str) -> Any:
    """A format of the result sheets, or one of the pack's own."""
    if name in _EXTRA and name not in kit.formats:
        kit.formats[name] = kit.workbook.add_format(_EXTRA[name])
    return kit.format(name)


def heading(kit: k.Kit, sheet: Any, pack: Pack, title: str) -> None:
    """A1, the title, and A2, what was reviewed and as of when."""
    sheet.write_string(0, 0, k.one_line(f"{title} – {pack.who}"), kit.format("title"))
    mark = (
        f"Siltbook {pack.version} · review of {pack.month.words} · as of {pack.month.last}, "
        f"compared with {pack.month.eve}"
    )
    sheet.write_string(1, 0, mark, kit.format("mark"))
    sheet.set_row(0, 22)


def note(kit: k.Kit, sheet: Any, row: int, columns: Sequence[Column], text: str) -> float:
    """One wrapped line over the table's columns; its height [pt]."""
    width = sum(c.width for c in columns)
    return k.spread(sheet, row, len(columns) - 1, text, kit.format("line"), width)


def table(
    kit: k.Kit, sheet: Any, top: int, columns: Sequence[Column], rows: Iterable[Sequence[object]]
) -> int:
    """Header and rows from `top` on; the last row used. Text stays text whatever it says."""
    k.header_row(kit, sheet, top, [(c.header, c.width) for c in columns])
    at = top
    for at, row in enumerate(rows, top + 1):
        most = 1
        for col, (column, value) in enumerate(zip(columns, row, strict=True)):
            most = max(most, _cell(kit, sheet, at, col, column, value))
        sheet.set_row(at, k.row_height(most))
    return at


def _cell(kit: k.Kit, sheet: Any, row: int, col: int, column: Column, value: object) -> int:
    """Write one cell; the lines it takes."""
    if isinstance(value, Verdict):
        label = look.VERDICTS[value].label
        k.text(sheet, row, col, label, kit.format(f"verdict:{value}"))
        return k.lines(label, column.width)
    if isinstance(value, dt.date):
        k.date(kit, sheet, row, col, value, style(kit, column.kind))
        return 1
    if column.kind in _NUMBERS and (value is None or isinstance(value, (int, float))):
        k.number(sheet, row, col, value, style(kit, column.kind))
        return 1
    text = "" if value is None else k.clean(value)
    shown = _TEXTS.get(column.kind, column.kind if column.kind in ("fill-in", "day") else "text")
    k.text(sheet, row, col, text, style(kit, shown))
    # Small print holds more to a line.
    return k.lines(text, column.width * (1.2 if column.kind == "rows" else 1.0))


def finish(kit: k.Kit, sheet: Any, header: int, last: int, columns: int, tall: int = 0) -> None:
    """Page set-up and print area of a table that ends in row `last`."""
    k.page(kit, sheet, header=header, tall=tall)
    sheet.print_area(0, 0, last, columns - 1)


def cautions_below(
    kit: k.Kit, sheet: Any, last: int, columns: Sequence[Column], touches: Iterable[Touch]
) -> int:
    """The cautions for what a table asks for, beneath its `last` row; the last row then used."""
    width = sum(column.width for column in columns)
    end, _ = k.caution_lines(kit, sheet, last + 2, (0, len(columns) - 1), touches, width)
    return end - 1 if end > last + 2 else last


def bars(kit: k.Kit, title: str, kind: str = "bar", stacked: bool = True) -> Any:
    """An empty bar or column chart in the project's look."""
    options = {"type": kind, **({"subtype": "stacked"} if stacked else {})}
    chart = kit.workbook.add_chart(options)
    small = {"name": look.FONT, "size": 9, "color": look.INK}
    font = {"name": look.FONT, "size": 11, "bold": True, "color": look.INK}
    chart.set_title({"name": title, "name_font": font, "overlay": False})
    chart.set_legend({"position": "bottom", "font": small})
    line = {"visible": True, "line": {"color": "#E1E5EA", "width": 0.5}}
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
