"""The mapping as a workbook, written for a person to correct; `corrected` reads it back.

Its sheets: Start, Questions, Columns, Stations, As they would arrive, Proposed work, Left out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from siltbook.batch.adopt.hidden import sentence, why
from siltbook.batch.adopt.loud import sentences
from siltbook.batch.adopt.model import ROLES, Amount, Column, Harvest, Question
from siltbook.batch.adopt.proposing import STRUCK_OUT
from siltbook.batch.adopt.study import EVERY, Study, stations_of
from siltbook.batch.sheets.kit import clean, lines, row_height
from siltbook.templates import look, printing
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, WORKS, YES_NO

MARK = "Siltbook mapping 1"
QUESTIONS, COLUMNS, STATIONS = "Questions", "Columns", "Stations"
ARRIVE, PROPOSED, LEFT_OUT = "As they would arrive", "Proposed work", "Left out"
COLUMN_HEADERS = (
    "Table", "Sheets", "Column", "Header as found", "Sample 1", "Sample 2", "Sample 3",
    "Taken for", "Unit", "Station", "How sure", "Why",
)  # fmt: skip
QUESTION_HEADERS = ("About", "Where", "Question", "Accepted answers", "Your answer")
STATION_HEADERS = ("Name as found", "Places", "Name in the book")
PROPOSED_HEADERS = (
    "Enter", "Station", "Date", "Time", "Work", "Cycles", "Lowest inlet in flush", "Unit",
    "Click heard", "Water at outlet", "Water heard", "Done by", "Words", "Remark", "Where",
)  # fmt: skip
SIGNS = (
    ("Click heard", "click"), ("Water at outlet", "water"), ("Water heard", "water_heard"),
)  # fmt: skip
LATER = ("Water heard",)  # headers that mappings of earlier versions lack
ARRIVE_HEADERS = (
    "Station", "Date", "Time", "Inlet pressure", "Outlet pressure", "Drop", "Unit", "Flow",
    "Field pressure", "Occasion", "Read by", "Remark", "Where",
)  # fmt: skip
LEFT_HEADERS = ("Where", "What", "Why", "Rows")
ANSWERED = "answered before"
FIRST_ROWS = 20
MOST_ROWS = 20_000  # of one sheet of the mapping
_HEAD = 3  # 0-based row of each table's header
_STEPS = (
    "Nothing has been written into any book yet: this says how your source was understood.",
    "1. Questions: answer each in the column 'Your answer'. Nothing is guessed for you.",
    "2. Columns: correct 'Taken for', 'Unit' and 'Station' where they are wrong; 'leave out' is"
    " an answer, too.",
    "3. Stations: write under 'Name in the book' how each station is to be called.",
    "4. Proposed work: what notes speak of. Write no under 'Enter', or delete the row, where it was"
    " not so. The notes themselves go to Remark in any case.",
    "5. As they would arrive and Left out: look, nothing to fill in.",
    "6. Save, close, run the command below. The mapping serves later files of the same form, too.",
)


class _Writer:
    """One mapping being written."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.formats = {
            name: book.add_format(look.FORMATS[name]) for name in ("title", "mark", "head", "wrap")
        }
        base = {
            **look.FORMATS["wrap"],
            "bg_color": "#FFFFFF",
            "border": 1,
            "border_color": "#2F5B8A",
        }
        self.open = book.add_format({**base, "locked": False})
        self.wait = book.add_format({**base, "bg_color": "#FFF2CC", "bold": True})

    def sheet(self, name: str, says: str, headers: Sequence[str], widths: Sequence[int]) -> Any:
        """A sheet of one table, whose cells wrap so that it prints on one page's width."""
        page = self.book.add_worksheet(name)
        page.hide_gridlines(2)
        page.write_string(0, 0, name, self.formats["title"])
        page.write_string(1, 0, says, self.formats["mark"])
        for col, (header, width) in enumerate(zip(headers, widths, strict=True)):
            page.set_column(col, col, width)
            page.write_string(_HEAD, col, header, self.formats["head"])
        page.set_row(0, 26)
        self.high(page, _HEAD, headers, widths)
        page.freeze_panes(_HEAD + 1, 0)
        _printed(page, widths)
        page.repeat_rows(_HEAD)
        return page

    def row(
        self, page: Any, row: int, values: Sequence[object], widths: Sequence[int],
        styles: Mapping[int, Any],
    ) -> None:  # fmt: skip
        """One row of a table, as high as its longest text; `styles` of single cells by place."""
        for col, value in enumerate(values):
            self.cell(page, row, col, value, styles.get(col))
        self.high(page, row, [_text(value) for value in values], widths)

    def high(self, page: Any, row: int, texts: Sequence[str], widths: Sequence[int]) -> None:
        """Make a row as high as its longest text wants it."""
        counted = (lines(text, width) for text, width in zip(texts, widths, strict=False))
        page.set_row(row, row_height(max(counted, default=1)))

    def cell(self, page: Any, row: int, col: int, value: object, style: Any = None) -> None:
        style = style or self.formats["wrap"]
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            page.write_number(row, col, value, style)
        elif value not in (None, ""):
            page.write_string(row, col, _text(value), style)
        else:
            page.write_blank(row, col, None, style)


def _text(value: object) -> str:
    """A value as a cell of the mapping shows it."""
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    return "" if value is None else clean(str(value))


def _printed(page: Any, widths: Sequence[int]) -> None:
    printing.across(page, widths, look.TYPE_SIZE)
    page.set_margins(left=printing.SIDE, right=printing.SIDE, top=0.5, bottom=0.7)
    page.set_footer("&L&F, &A&RPage &P of &N", {"scale_with_doc": False})


def write(
    made: Study, asked: Sequence[Question], rows: Harvest, sources: Mapping[str, str], again: str
) -> bytes:
    """The mapping workbook. `sources`: file -> fingerprint; `again`: the command that uses it."""
    from siltbook.templates.maker import Workbook

    target = BytesIO()
    book = Workbook(target, {
        "in_memory": True, "strings_to_formulas": False,
        "default_format_properties": printing.NORMAL,
    })  # fmt: skip
    book.set_properties({"title": "Mapping", "comments": MARK, "created": dt.datetime(2026, 1, 1)})
    with book:
        writer = _Writer(book)
        _start(writer, made, asked, rows, sources, again)
        _questions(writer, made, asked)
        _columns(writer, made)
        _stations(writer, made)
        _arrive(writer, rows)
        _proposed(writer, rows)
        _left_out(writer, rows, made)
    return target.getvalue()


def _start(
    w: _Writer, made: Study, asked: Sequence[Question], rows: Harvest,
    sources: Mapping[str, str], again: str,
) -> None:  # fmt: skip
    page = w.book.add_worksheet("Start")
    page.hide_gridlines(2)
    widths = (44, 84)
    for col, width in enumerate(widths):
        page.set_column(col, col, width)
    page.set_row(0, 28)
    page.write_string(0, 0, "How your spreadsheet was understood", w.formats["title"])
    page.write_string(1, 0, MARK, w.formats["mark"])
    for row, step in enumerate(_STEPS, start=3):
        page.merge_range(row, 0, row, 1, clean(step), w.formats["wrap"])
        w.high(page, row, [step], [sum(widths)])
    row = 3 + len(_STEPS) + 1
    hidden = sentence(made.tables)
    said = (
        ("Questions to answer", len(asked)),
        ("Tables understood", len(made.tables)),
        ("Readings that would arrive", len(rows.readings)),
        ("Rows read = used + proposed + left out",
         f"{rows.read} = {rows.used} + {rows.proposed} + {rows.not_used}"),
        *((("Hidden", hidden),) if hidden else ()),
        *(("To be seen", told) for told in sentences(made.tables, rows)),
        ("Then run", again),
    )  # fmt: skip
    for label, value in said:
        w.row(page, row, (label, value), widths, {})
        row += 1
    w.cell(page, row + 1, 0, "Source", w.formats["head"])
    w.cell(page, row + 1, 1, "Fingerprint", w.formats["head"])
    for n, (file, mark) in enumerate(sources.items(), start=row + 2):
        w.row(page, n, (file, mark), widths, {})
    _printed(page, widths)


def _list(page: Any, row: int, col: int, choices: Sequence[str], title: str) -> None:
    if choices and sum(len(c) + 1 for c in choices) <= 255:
        page.data_validation(
            row, col, row, col,
            {"validate": "list", "source": list(choices), "error_title": title,
             "error_message": "Pick from the list."},
        )  # fmt: skip


def _questions(w: _Writer, made: Study, asked: Sequence[Question]) -> None:
    says = "Answer each in the last column." if asked else "No question: everything was understood."
    widths = (22, 26, 60, 38, 22)
    page = w.sheet(QUESTIONS, says, QUESTION_HEADERS, widths)
    for row, q in enumerate(asked, start=_HEAD + 1):
        accepted = ", ".join(q.choices) or "your own words"
        w.row(page, row, (q.about, q.where, q.text, accepted, q.answer), widths, {4: w.wait})
        _list(page, row, 4, q.choices, "Answer")
    n = _HEAD + 1 + len(asked)
    for about, answer in made.answers.items():
        said = "a setting; change it here" if about.endswith(EVERY) else ANSWERED
        w.row(page, n, (about, "", said, "", answer), widths, {4: w.open})
        n += 1


def _columns(w: _Writer, made: Study) -> None:
    says = "One row per column. Correct 'Taken for', 'Unit' and 'Station' where they are wrong."
    widths = (6, 15, 8, 21, 11, 11, 11, 14, 9, 14, 9, 35)
    page = w.sheet(COLUMNS, says, COLUMN_HEADERS, widths)
    row = _HEAD + 1
    for form in made.forms:
        sheets = list(dict.fromkeys(t.grid.sheet or t.grid.file for t in form.tables))
        named = ", ".join(sheets[:3]) + (f" and {len(sheets) - 3} more" if len(sheets) > 3 else "")
        for index, column in enumerate(form.columns):
            samples = (*column.samples, "", "", "")[:3]
            because = "; ".join(t for t in (_because(column), why(form.tables, index)) if t)
            told = (
                form.key, named, column.letters, column.header, *samples, column.role, column.unit,
                column.station, column.sure or "ask", because,
            )  # fmt: skip
            style = w.wait if column.role == "?" else w.open
            w.row(page, row, told, widths, {7: style, 8: w.open, 9: w.open})
            _list(page, row, 7, ROLES, "Taken for")
            _list(page, row, 8, (*PRESSURE_UNITS, *FLOW_UNITS), "Unit")
            row += 1
    page.autofilter(_HEAD, 0, max(row - 1, _HEAD + 1), len(COLUMN_HEADERS) - 1)


def _because(column: Column) -> str:
    """Why a column was taken so, in words: a header's own words are quoted as such."""
    quoted = column.why.startswith("'") and column.why.endswith("'") and column.why.count("'") == 2
    return f"the header says {column.why}" if quoted else column.why


def _stations(w: _Writer, made: Study) -> None:
    says = "How each station is to be called in the book. Two names made equal become one station."
    widths = (34, 10, 34)
    page = w.sheet(STATIONS, says, STATION_HEADERS, widths)
    for row, (name, places) in enumerate(stations_of(made).items(), start=_HEAD + 1):
        w.row(page, row, (name, places, made.names.get(name, name)), widths, {2: w.open})


def amount(value: object) -> object:
    """A number as the mapping shows it."""
    return round(value.value, 9) if isinstance(value, Amount) else value


def _arrive(w: _Writer, rows: Harvest) -> None:
    count = len(rows.readings)
    says = (
        f"The first {min(FIRST_ROWS, count)} of {count:,} readings, as they would enter the book."
    )
    widths = (16, 11, 7, 9, 9, 8, 8, 8, 9, 12, 12, 28, 26)
    page = w.sheet(ARRIVE, says, ARRIVE_HEADERS, widths)
    keys = ("station", "date", "time", "inlet", "outlet", "drop", "unit", "flow", "field",
            "occasion", "read_by", "remark", "where")  # fmt: skip
    for at, reading in enumerate(rows.readings[:FIRST_ROWS], start=_HEAD + 1):
        first = next((v for k in ("inlet", "outlet", "drop") if (v := reading.get(k))), None)
        unit = first.unit if isinstance(first, Amount) else ""
        told = [unit if key == "unit" else amount(reading.get(key)) for key in keys]
        w.row(page, at, told, widths, {})


def _proposed(w: _Writer, rows: Harvest) -> None:
    says = (
        "Work that notes speak of. It enters only where 'Enter' says yes; delete what was not so."
    )
    widths = (6, 13, 11, 6, 15, 7, 8, 6, 7, 7, 7, 11, 18, 18, 18)
    page = w.sheet(PROPOSED, says, PROPOSED_HEADERS, widths)
    for at, row in enumerate(rows.work[:MOST_ROWS], start=_HEAD + 1):
        lowest = row.get("flush_inlet")
        told = (
            _enters(row), row["station"], row["date"], row.get("time"), row["work"],
            row.get("cycles"), amount(lowest),
            lowest.unit if isinstance(lowest, Amount) else "", row.get("click"), row.get("water"),
            row.get("water_heard"), row.get("done_by"), row["words"], row["remark"], row["where"],
        )  # fmt: skip
        w.row(page, at, told, widths, dict.fromkeys(range(12), w.open))
        _list(page, at, 0, YES_NO, "Enter")
        _list(page, at, 4, WORKS, "Work")


def _enters(row: Mapping[str, object]) -> str:
    """Whether a proposal enters unless a person says otherwise."""
    return "yes" if row["station"] and STRUCK_OUT not in row else "no"


def _left_out(w: _Writer, rows: Harvest, made: Study) -> None:
    says = (
        "Rows and columns that would enter nowhere, and why; and rows that enter without a date or"
        " a station. Your file stays as it is."
    )
    widths = (40, 60, 48, 8)
    page = w.sheet(LEFT_OUT, says, LEFT_HEADERS, widths)
    row = _HEAD + 1
    for form in made.forms:
        for column in form.columns:
            if column.role == "leave out" and column.samples:
                place = f"{form.tables[0].grid.place}, column {column.letters}"
                told = (place, f"{column.header}: {', '.join(column.samples)}", _because(column), 0)
                w.row(page, row, told, widths, {})
                row += 1
    for one in rows.left_out[: MOST_ROWS - row]:
        w.row(page, row, (one.where, one.what, one.why, one.rows), widths, {})
        row += 1
