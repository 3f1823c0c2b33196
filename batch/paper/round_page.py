"""The round sheet as a workbook of one sheet, to be printed: the same stations, words and boxes.

For farms whose only printer hangs on a spreadsheet program, and for those who want to change the
sheet before they print it. Type is 9 pt or more at full size, black on white.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import Any

from siltbook.batch.paper.round_sheet import ANSWERS, BOXES, TOUCHED, Round, round_of
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit
from siltbook.batch.typed.stamp import stamped
from siltbook.templates import printing
from siltbook.templates.look import BLACK, FONT, TYPE_SIZE, WHITE
from siltbook.templates.safety import cautions

NAME = "Round sheet"
_TEXT, _STATION, _TITLE = 9, 11, 15  # [pt]
_PAPERS = {"A4": (9, 297.0, 210.0), "Letter": (1, 279.4, 215.9)}  # code, across and down [mm]
_TOP, _BOTTOM = 0.4, 0.6  # margins [inch]
_ROOM = 0.95  # of a page's height that is counted on: printers and programs round rows up
_WRITE = 30.0  # height of a row of boxes to write in [pt]
_LAST = len(BOXES) - 1


def round_page(
    assessment: Assessment,
    book: str,
    *,
    due: dt.date | None = None,
    names: Sequence[str] = (),
    size: str = "A4",
) -> bytes:
    """The round sheet as .xlsx bytes, set up for A4 or Letter across; as `round_sheet` else.

    BookError where the book has no station, or none of that name.
    """
    made = round_of(assessment, book, due=due, names=names)
    target = BytesIO()
    with kit.new_workbook(target, made.title) as workbook:
        _Page(workbook, made, size).write()
    return stamped(target.getvalue(), book)


class _Page:
    """The sheet while it is written, from the top."""

    def __init__(self, workbook: Any, made: Round, size: str) -> None:
        self.workbook, self.made = workbook, made
        self.sheet = workbook.add_worksheet(NAME)
        self.paper, across, down = _PAPERS[size]
        self.room = (down / 25.4 - _TOP - _BOTTOM) * 72 * _ROOM  # [pt]
        self.widths = _widths(across)
        self.width = sum(self.widths)
        self.row = 0
        self.used = 0.0  # of the page [pt]

    def write(self) -> None:
        """Heading, cautions, the stations, and how it is printed."""
        for col, width in enumerate(self.widths):
            self.sheet.set_column(col, col, width)
        self._line(self.made.title, _TITLE, bold=True)
        self._line(self.made.head)
        lines = cautions(TOUCHED)
        for at, words in enumerate(lines):
            edges = {"left": 2, "right": 2}
            edges |= {"top": 2} if at == 0 else {}
            edges |= {"bottom": 2} if at == len(lines) - 1 else {}
            self._line(words, **edges)
        breaks = list(self._stations())
        self.sheet.set_h_pagebreaks(breaks)
        self._page(self.made.foot)

    def _stations(self) -> Iterator[int]:
        """Write the stations, none over two pages; gives the rows with which pages begin."""
        for title, lines in self.made.stations:
            counted = [_lines(line, self.width) for line in lines]
            heads = max(_lines(head, w) for (head, _), w in zip(BOXES, self.widths, strict=True))
            height = 6 + 18 + sum(_height(n) for n in counted) + _height(heads) + _WRITE
            if self.used + height > self.room:
                yield self.row
                self.used = 0.0
            else:
                self._gap()
            self._line(title, _STATION, bold=True)
            for line in lines:
                self._line(line)
            self._boxes([head for head, _ in BOXES], _height(heads))
            self._boxes(ANSWERS, _WRITE)

    def _line(self, words: str, size: int = _TEXT, **more: object) -> None:
        """One wrapped line over all columns."""
        look = self._look(font_size=size, **more)
        shown = kit.one_line(words)
        height = size * 1.6 if size > _TEXT else _height(_lines(words, self.width))
        self.sheet.merge_range(self.row, 0, self.row, _LAST, "", look)
        self.sheet.write_string(self.row, 0, shown, look)
        self._below(height)

    def _boxes(self, texts: Sequence[str], height: float) -> None:
        look = self._look(border=1, border_color=BLACK)
        for col, text in enumerate(texts):
            kit.text(self.sheet, self.row, col, text, look)
        self._below(height)

    def _gap(self) -> None:
        self._below(6.0)

    def _below(self, height: float) -> None:
        self.sheet.set_row(self.row, height)
        self.row += 1
        self.used += height

    def _look(self, **more: object) -> Any:
        plain = {
            "font_name": FONT, "font_scheme": "none", "font_size": _TEXT, "font_color": BLACK,
            "bg_color": WHITE, "text_wrap": True, "valign": "vcenter",
            "align": "left", "indent": 1,
        }  # fmt: skip
        return self.workbook.add_format({**plain, **more})

    def _page(self, foot: str) -> None:
        sheet = self.sheet
        sheet.set_landscape()
        sheet.set_paper(self.paper)
        sheet.set_print_scale(100)
        sheet.set_margins(left=printing.SIDE, right=printing.SIDE, top=_TOP, bottom=_BOTTOM)
        sheet.print_area(0, 0, self.row - 1, _LAST)
        sheet.hide_gridlines(2)
        style = f'&"{FONT},Regular"&{_TEXT} '
        shown = kit.footer_text(foot)
        sheet.set_footer(f"&L{style}{shown}&R{style}page &P of &N", {"scale_with_doc": False})


def _widths(across: float) -> list[float]:
    """The columns' widths [characters] that fill a page so many [mm] across."""
    room = printing.room(across)
    whole = sum(part for _, part in BOXES)
    return [round(printing.characters(room * part / whole), 2) for _, part in BOXES]


def _lines(words: str, width: float) -> int:
    """Lines of text in so many characters' width, measured in larger type than it stands in."""
    return kit.lines(kit.one_line(words), width * 0.97 * TYPE_SIZE / _TEXT)


def _height(lines: int) -> float:
    return lines * 12.0 + 3.0
