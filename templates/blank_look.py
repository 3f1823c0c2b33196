"""Palette and cell formats of the blank workbook.

Deep blue, ochre and violet: told apart by people who do not see red and green alike, and never
the only sign (the word OVER and bold type carry the meaning too). Text contrast is 4.5:1 or more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from siltbook.templates.contract import Column, Kind
from siltbook.templates.days import ISO, way
from siltbook.templates.look import FONT, TYPE_SIZE
from siltbook.templates.units import UNITS, known_unit

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook

INK = "#1B2733"
BLUE = "#1F3A5F"
PALE_BLUE = "#E6EDF5"
OCHRE = "#F4DFA8"
DARK_OCHRE = "#4A3200"
PALE_VIOLET = "#EFE9F6"
VIOLET = "#4B2A7B"
WHITE = "#FFFFFF"
LINE = "#C3CCD6"

# (text, background) of every pair in use; a test holds them to 4.5:1.
PAIRS = (
    (INK, WHITE), (WHITE, BLUE), (INK, PALE_BLUE), (DARK_OCHRE, OCHRE), (VIOLET, PALE_VIOLET),
    (VIOLET, WHITE), (BLUE, WHITE),
)  # fmt: skip


def number_format(column: Column, pressure_unit: str, dates: str = ISO) -> str:
    """The number format of one column; nothing that was typed is rounded away in sight."""
    if column.kind is Kind.PRESSURE:
        return UNITS[known_unit(pressure_unit) or "bar"].cells
    return {
        Kind.TEXT: "@",
        Kind.DATE: way(dates).cells,
        Kind.TIME: "hh:mm",
        Kind.METRES: "0.0##",
        Kind.FLOW: "0.0##",
    }.get(column.kind, "General")


class Look:
    """The formats of one workbook, each made once."""

    def __init__(self, book: Workbook) -> None:
        """Formats are added to `book`."""
        self._book = book
        self._made: dict[tuple[tuple[str, object], ...], Format] = {}

    def format(self, **properties: object) -> Format:
        """The format with these XlsxWriter properties over the workbook's base."""
        base = {
            "font_name": FONT, "font_scheme": "none", "font_size": TYPE_SIZE, "font_color": INK,
            "valign": "vcenter",
        }  # fmt: skip
        wanted = {**base, **properties}
        key = tuple(sorted(wanted.items(), key=lambda item: item[0]))
        if key not in self._made:
            self._made[key] = self._book.add_format(wanted)
        return self._made[key]

    def header(self, *, computed: bool = False, required: bool = False) -> Format:
        """A header cell; calculated columns are violet, required ones underlined."""
        colours = (VIOLET, PALE_VIOLET) if computed else (WHITE, BLUE)
        return self.format(
            bold=True, text_wrap=True, font_color=colours[0], bg_color=colours[1],
            border=1, border_color=LINE, underline=1 if required else 0, valign="top",
        )  # fmt: skip

    def cell(self, column: Column, pressure_unit: str, dates: str = ISO) -> Format:
        """A cell that people fill; `dates` is one of `days.WAYS`."""
        wrap = column.kind is Kind.TEXT and column.width >= 24
        return self.format(
            num_format=number_format(column, pressure_unit, dates),
            border=1, border_color=LINE, text_wrap=wrap,
        )  # fmt: skip

    def computed(self, num_format: str, align: str) -> Format:
        """A calculated cell."""
        return self.format(
            num_format=num_format, font_color=VIOLET, bg_color=PALE_VIOLET,
            border=1, border_color=LINE, align=align,
        )  # fmt: skip

    def over(self) -> Format:
        """Conditional format of a row over the limit."""
        return self._book.add_format({"bold": True, "font_color": DARK_OCHRE, "bg_color": OCHRE})
