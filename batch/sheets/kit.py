"""What every result sheet shares: the page, the marked heading, and safe ways to write cells."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from io import BytesIO
from typing import Any

from siltbook.batch.results import Assessment
from siltbook.templates import contract, look, printing
from siltbook.templates.safety import EMERGENCY, Touch, cautions
from siltbook.templates.shown import Shown

MAX_CELL_TEXT = 32_000  # characters; a cell holds 32,767
_UNDATED = "no date (no dated entry)"
FOOTER = 10  # [pt]; LibreOffice prints footers in the scale of their sheet
LINE_POINTS = 13.0  # height of one line of 10-point text [pt]
_CREATED = dt.datetime(2000, 1, 1)
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_EPOCH = dt.date(1899, 12, 30).toordinal()
_EPOCH_1904 = dt.date(1904, 1, 1).toordinal()
LIST_KEYS = ("stations", "readings", "work", "agreed", "water", "gauges", "carried")


@dataclass(frozen=True)
class Kit:
    """One workbook being written, with its formats made once."""

    workbook: Any
    assessment: Assessment
    book_name: str
    version: str
    inputs: str = ""  # fingerprint of the cells used
    typed: str = ""  # fingerprint of the other cells that people fill in
    formats: dict[str, Any] = field(default_factory=dict)
    unit: Shown | None = None  # of the sheets, where it is not the assessment's

    def format(self, name: str) -> Any:
        """The format called `name`; 'verdict:ID' and 'audit:STATE' are coloured cells."""
        if name not in self.formats:
            kind, _, of = name.partition(":")
            coloured = {"verdict": look.verdict_format, "audit": look.audit_format}
            wanted = coloured[kind](of) if of else look.FORMATS[kind]
            if digits := self.shown.cells(name):
                wanted = {**wanted, "num_format": digits}
            elif wanted.get("num_format") == look.DATE_FORMAT:
                wanted = {**wanted, "num_format": self.shown.days}
            self.formats[name] = self.workbook.add_format(wanted)
        return self.formats[name]

    @property
    def shown(self) -> Shown:
        """The unit of all pressures on these sheets."""
        return self.unit or self.assessment.book.settings.shown

    def serial(self, date: dt.date, time: dt.time | None = None) -> float:
        """This book's number for a date and time [days since its first day]."""
        return serial(date, time, date1904=self.assessment.book.date1904)

    @property
    def as_of(self) -> str:
        """The as-of date as every footer prints it."""
        return self.shown.on(self.assessment.as_of, _UNDATED)

    @property
    def head(self) -> str:
        """The as-of date as every heading prints it, with the order of dates where it is not
        year-month-day."""
        return self.shown.as_of(self.assessment.as_of, _UNDATED)


def new_workbook(target: BytesIO, title: str) -> Any:
    """A workbook to write into `target`, in which text stays text.

    The same input must give the same bytes, so it carries no clock.
    """
    from siltbook.templates.maker import Workbook

    options = {
        "in_memory": True,
        "strings_to_urls": False,
        "strings_to_formulas": False,
        "strings_to_numbers": False,
        "default_format_properties": printing.NORMAL,
    }
    workbook = Workbook(target, options)
    workbook.set_properties({"title": title, "created": _CREATED})
    return workbook


def clean(text: object) -> str:
    """A person's text as a cell can hold it: no control characters, at most 32,000 characters.

    XlsxWriter takes text of the shape '<r>…</r>' for markup; a space behind it keeps it text.
    """
    kept = _CONTROL.sub("", str(text).replace("\r\n", "\n").replace("\t", " "))[:MAX_CELL_TEXT]
    return kept + " " if kept.startswith("<r>") and kept.endswith("</r>") else kept


def one_line(text: object) -> str:
    """As `clean`, with line breaks turned into spaces."""
    return clean(re.sub(r"\s+", " ", str(text)))


def quoted(sheet: str) -> str:
    """A sheet's name as formulas and links write it: 'Bob''s data'! ."""
    return "'" + sheet.replace("'", "''") + "'!"


def serial(date: dt.date, time: dt.time | None = None, *, date1904: bool = False) -> float:
    """A spreadsheet's number for a date and time [days since 1899-12-30, or since 1904-01-01]."""
    days = float(date.toordinal() - (_EPOCH_1904 if date1904 else _EPOCH))
    if time is None:
        return days
    return days + fraction(time)


def fraction(time: dt.time) -> float:
    """A time as its share of a day [0-1); taken off a whole serial it would lose its last digits,
    and some programs then show a minute less."""
    return (time.hour * 3600 + time.minute * 60 + time.second) / 86400


def text(sheet: Any, row: int, col: int, value: object, style: Any) -> None:
    """Write text that stays text, whatever it starts with; nothing for None or ''."""
    if value is None or value == "":
        sheet.write_blank(row, col, None, style)
    else:
        sheet.write_string(row, col, clean(value), style)


def number(sheet: Any, row: int, col: int, value: float | None, style: Any) -> None:
    """Write a finite number; a blank cell for None, NaN and infinities."""
    if value is None or not math.isfinite(value):
        sheet.write_blank(row, col, None, style)
    else:
        sheet.write_number(row, col, value, style)


def date(kit: Kit, sheet: Any, row: int, col: int, value: dt.date | None, style: Any) -> None:
    """Write a date as `date_value` has it; a blank cell for None."""
    found = date_value(value, date1904=kit.assessment.book.date1904)
    if isinstance(found, str):
        sheet.write_string(row, col, found, style)
    else:
        number(sheet, row, col, found, style)


def date_value(value: dt.date | None, *, date1904: bool) -> float | str | None:
    """A date as its number; as text before 1904-01-02, where spreadsheets disagree."""
    if value is not None and value < dt.date(1904, 1, 2):
        return value.isoformat()
    return None if value is None else serial(value, date1904=date1904)


# Advance widths of Arial (Liberation Sans has the same) [thousandths of the type size], rounded up.
_ADVANCES = {
    200: "'ijl", 260: "|", 280: " !,./:;I[]\\ft·", 340: "()-`r°{}²³", 360: '"', 400: "*",
    500: "Jckvsxyz", 560: "#$?L_abdeghnopqu0123456789–≥", 590: "+<=>~×", 620: "FTZ",
    670: "&ABEKPSVXY", 730: "CDHNRUw", 780: "GOQ", 840: "Mm", 890: "%", 950: "W",
    1020: "@…—→",
}  # fmt: skip


class _Advance(dict[str, int]):
    def __missing__(self, letter: str) -> int:
        return 560 if letter < "\u1100" else 1000


_ADVANCE = _Advance((letter, width) for width, letters in _ADVANCES.items() for letter in letters)
_SAFETY = 1.05  # bold type, and screens that round each letter to whole pixels


def _width(word: str) -> float:
    """Width of a word in 10-point text [pixels of 1/96 inch]; wide scripts count a full square."""
    return sum(map(_ADVANCE.__getitem__, word)) * _SAFETY / 75.0


# The same words, names and reasons come again and again; long texts come once, and would fill the
# memory: they are measured anew, here and below.
_extent = lru_cache(maxsize=8192)(_width)


def lines(value: str, width: float) -> int:
    """Lines that wrapped text will take in a column `width` characters wide.

    Counted word by word with the letters' widths in 10-point Arial; a character of the column
    is 7 pixels, and indent and padding take 9 (common practice, no published source).
    """
    return _counted(value, width) if len(value) < 1_000 else _count(value, width)


def _count(value: str, width: float) -> int:
    room, space, count = max(12.0, 7.0 * width - 9.0), _extent(" "), 0
    for part in value.split("\n"):
        count, used = count + 1, 0.0
        for word in part.split(" "):
            extent = _extent(word) if len(word) < 100 else _width(word)
            if used and used + space + extent > room:
                count, used = count + 1, 0.0
            used += extent + (space if used else 0.0)
            while used > room:
                count, used = count + 1, used - room
    return count


_counted = lru_cache(maxsize=8192)(_count)


def row_height(count: int) -> float:
    """Height of a table's row with so many lines [pt], at most the highest that a row can be."""
    return min(409.0, count * LINE_POINTS + 4)


def spread(
    sheet: Any, row: int, last_col: int, value: str, style: Any, width: float, first_col: int = 0
) -> float:
    """Write one wrapped line over several columns and return its height [pt]."""
    sheet.merge_range(row, first_col, row, last_col, "", style)
    sheet.write_string(row, first_col, clean(value), style)
    height = min(409.0, lines(value, width) * LINE_POINTS + 3)
    sheet.set_row(row, height)
    return height


def caution_lines(
    kit: Kit, sheet: Any, row: int, columns: tuple[int, int], touches: Iterable[Touch], width: float
) -> tuple[int, float]:
    """The cautions for what is touched, a line each from `row`; the row below, and the height [pt].

    `columns` are the first and the last that they cover, `width` [characters] wide together.
    """
    height, (first, last) = 0.0, columns
    for words in cautions(touches):
        style = kit.format("emergency" if words == EMERGENCY else "caution")
        height += spread(sheet, row, last, words, style, width, first)
        row += 1
    return row, height


def heading(kit: Kit, sheet: Any, title: str, apart: int = 0) -> None:
    """Write A1, the title, and A2, the line by which a later run knows its own sheets.

    The farm follows the title, in the column `apart` where the first columns repeat on pages
    to the right, which would cut a long title.
    """
    farm = one_line(kit.assessment.book.settings.farm)
    whole = f"{title} – {farm}" if farm and not apart else title
    sheet.write_string(0, 0, clean(whole), kit.format("title"))
    if apart:
        text(sheet, 0, apart, farm, kit.format("title"))
    inputs = f" · inputs {kit.inputs}" if kit.inputs else ""
    inputs += f" · typed {kit.typed}" if kit.typed else ""
    mark = (
        f"{contract.RESULT_MARK} {kit.version} · {one_line(kit.book_name)} · as of {kit.head}"
        f"{inputs} · replaced at every run"
    )
    if apart:  # A column that stands on every page would cut it: there only programs read it.
        shown = f"{one_line(kit.book_name)} · as of {kit.head} · replaced at every run"
        sheet.write_string(1, apart, clean(shown), kit.format("mark"))
    sheet.write_string(1, 0, clean(mark), kit.format("unseen" if apart else "mark"))
    sheet.set_row(0, 22)
    sheet.set_tab_color(look.RESULT_TAB)


def header_row(kit: Kit, sheet: Any, row: int, columns: Sequence[tuple[str, float]]) -> None:
    """Write the header row of a table and set its columns' widths [characters]."""
    style = kit.format("head")
    for col, (header, width) in enumerate(columns):
        sheet.set_column(col, col, width)
        sheet.write_string(row, col, header, style)
    most = max(lines(header, width) for header, width in columns)
    sheet.set_row(row, most * LINE_POINTS + 4)


def page(
    kit: Kit,
    sheet: Any,
    *,
    header: int,
    widths: Sequence[float] = (),
    tall: int = 0,
    columns: int = 0,
    starts: Sequence[int] = (),
) -> None:
    """Landscape A4 in type that can be read; rows 0..header frozen and repeated; the footer.

    `widths` of all columns [characters], without them one page wide; the first `columns` stay in
    view when scrolling to the right and stand on every page; `starts` are the columns with which
    a further page begins.
    """
    if widths:
        printing.across(sheet, widths, look.TYPE_SIZE, columns if starts else 0, starts)
    else:
        sheet.set_landscape()
        sheet.set_paper(9)
        sheet.fit_to_pages(1, tall)
    sheet.set_margins(left=printing.SIDE, right=printing.SIDE, top=0.45, bottom=0.6)
    sheet.repeat_rows(0, header)
    sheet.freeze_panes(header + 1, columns)
    sheet.set_footer(_footer(kit), {"scale_with_doc": False})
    sheet.hide_gridlines(2)


def _footer(kit: Kit) -> str:
    """Book, as-of date, page n of m. A footer has its own codes, all opened by '&'."""
    name = footer_text(one_line(kit.book_name)[:90])
    style = f'&"{look.FONT},Regular"&{FOOTER} '
    return f"&L{style}{name}&C{style}as of {kit.as_of}&R{style}page &P of &N"


def footer_text(words: str) -> str:
    """Somebody's words as a footer shows them."""
    # '&G' and '&[Picture]' would be taken for a picture even when doubled.
    return words.replace("&", "+") if re.search(r"&(G|\[)", words) else words.replace("&", "&&")


def sheet_title(assessment: Assessment, key: str) -> str:
    """The name in this book of the list sheet with this key; the key itself for any other."""
    book = assessment.book
    return str(getattr(book, key).sheet) if key in LIST_KEYS else key
