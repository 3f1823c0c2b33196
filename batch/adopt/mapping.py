"""The mapping as a workbook, written for a person to correct; `corrected` reads it back.

Its sheets: Start, Questions, Columns, Stations, As they would arrive, Proposed work, Left out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from siltbook.batch.adopt.harvest import Amount
from siltbook.batch.adopt.hidden import sentence, why
from siltbook.batch.adopt.model import ROLES, Column, Harvest, Question
from siltbook.batch.adopt.study import EVERY, Study, stations_of
from siltbook.batch.sheets.kit import clean
from siltbook.templates import look
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
    "Click heard", "Water at outlet", "Done by", "Words", "Remark", "Where",
)  # fmt: skip
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
            name: book.add_format(look.FORMATS[name])
            for name in ("title", "mark", "head", "text", "date")
        }
        base = {
            **look.FORMATS["text"],
            "bg_color": "#FFFFFF",
            "border": 1,
            "border_color": "#2F5B8A",
        }
        self.open = book.add_format({**base, "locked": False})
        self.wait = book.add_format({**base, "bg_color": "#FFF2CC", "bold": True})

    def sheet(self, name: str, says: str, headers: Sequence[str], widths: Sequence[int]) -> Any:
        page = self.book.add_worksheet(name)
        page.hide_gridlines(2)
        page.write_string(0, 0, name, self.formats["title"])
        page.write_string(1, 0, says, self.formats["mark"])
        for col, (header, width) in enumerate(zip(headers, widths, strict=True)):
            page.set_column(col, col, width)
            page.write_string(_HEAD, col, header, self.formats["head"])
        page.set_default_row(17)
        page.set_row(0, 26)
        page.set_row(_HEAD, 30)
        page.freeze_panes(_HEAD + 1, 0)
        page.set_landscape()
        page.set_paper(9)
        page.fit_to_pages(1, 0)
        page.repeat_rows(_HEAD)
        return page

    def cell(self, page: Any, row: int, col: int, value: object, style: Any = None) -> None:
        style = style or self.formats["text"]
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            page.write_number(row, col, value, style)
        elif isinstance(value, dt.date):
            page.write_string(row, col, value.isoformat(), style)
        elif isinstance(value, dt.time):
            page.write_string(row, col, value.strftime("%H:%M"), style)
        elif value not in (None, ""):
            page.write_string(row, col, clean(str(value)), style)
        else:
            page.write_blank(row, col, None, style)


def write(
    made: Study, asked: Sequence[Question], rows: Harvest, sources: Mapping[str, str], again: str
) -> bytes:
    """The mapping workbook. `sources`: file -> fingerprint; `again`: the command that uses it."""
    from siltbook.templates.maker import Workbook

    target = BytesIO()
    book = Workbook(target, {"in_memory": True, "strings_to_formulas": False})
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
    page.set_column(0, 0, 44)
    page.set_column(1, 1, 84)
    page.set_default_row(18)
    page.set_row(0, 28)
    page.write_string(0, 0, "How your spreadsheet was understood", w.formats["title"])
    page.write_string(1, 0, MARK, w.formats["mark"])
    wrap = w.book.add_format({**look.FORMATS["text"], "text_wrap": True, "valign": "top"})
    for row, step in enumerate(_STEPS, start=3):
        page.merge_range(row, 0, row, 1, clean(step), wrap)
        page.set_row(row, 32 if len(step) > 120 else 18)
    row = 3 + len(_STEPS) + 1
    hidden = sentence(made.tables)
    said = (
        ("Questions to answer", len(asked)),
        ("Tables understood", len(made.tables)),
        ("Readings that would arrive", len(rows.readings)),
        ("Rows read = used + proposed + left out",
         f"{rows.read} = {rows.used} + {rows.proposed} + {rows.not_used}"),
        *((("Hidden", hidden),) if hidden else ()),
        ("Then run", again),
    )  # fmt: skip
    for label, value in said:
        w.cell(page, row, 0, label)
        w.cell(page, row, 1, value)
        row += 1
    w.cell(page, row + 1, 0, "Source", w.formats["head"])
    w.cell(page, row + 1, 1, "Fingerprint", w.formats["head"])
    for n, (file, mark) in enumerate(sources.items(), start=row + 2):
        w.cell(page, n, 0, file)
        w.cell(page, n, 1, mark)
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _list(page: Any, row: int, col: int, choices: Sequence[str], title: str) -> None:
    if choices and sum(len(c) + 1 for c in choices) <= 255:
        page.data_validation(
            row, col, row, col,
            {"validate": "list", "source": list(choices), "error_title": title,
             "error_message": "Pick from the list."},
        )  # fmt: skip


def _questions(w: _Writer, made: Study, asked: Sequence[Question]) -> None:
    says = "Answer each in the last column." if asked else "No question: everything was understood."
    page = w.sheet(QUESTIONS, says, QUESTION_HEADERS, (26, 30, 66, 40, 24))
    wrap = w.book.add_format({**look.FORMATS["text"], "text_wrap": True, "valign": "top"})
    for row, q in enumerate(asked, start=_HEAD + 1):
        accepted = ", ".join(q.choices) or "your own words"
        for col, value in enumerate((q.about, q.where, q.text, accepted)):
            w.cell(page, row, col, value, wrap)
        w.cell(page, row, 4, q.answer, w.wait)
        _list(page, row, 4, q.choices, "Answer")
        page.set_row(row, 15 * max(1, -(-len(q.text) // 62), -(-len(accepted) // 38)) + 3)
    n = _HEAD + 1 + len(asked)
    for about, answer in made.answers.items():
        said = "a setting; change it here" if about.endswith(EVERY) else ANSWERED
        for col, value in enumerate((about, "", said, "")):
            w.cell(page, n, col, value)
        w.cell(page, n, 4, answer, w.open)
        n += 1


def _columns(w: _Writer, made: Study) -> None:
    says = "One row per column. Correct 'Taken for', 'Unit' and 'Station' where they are wrong."
    page = w.sheet(COLUMNS, says, COLUMN_HEADERS, (7, 18, 8, 26, 12, 12, 12, 15, 9, 16, 9, 34))
    row = _HEAD + 1
    for form in made.forms:
        sheets = list(dict.fromkeys(t.grid.sheet or t.grid.file for t in form.tables))
        named = ", ".join(sheets[:3]) + (f" and {len(sheets) - 3} more" if len(sheets) > 3 else "")
        for index, column in enumerate(form.columns):
            samples = (*column.samples, "", "", "")[:3]
            told = (form.key, named, column.letters, column.header, *samples)
            for col, value in enumerate(told):
                w.cell(page, row, col, value)
            style = w.wait if column.role == "?" else w.open
            w.cell(page, row, 7, column.role, style)
            w.cell(page, row, 8, column.unit, w.open)
            w.cell(page, row, 9, column.station, w.open)
            w.cell(page, row, 10, column.sure or "ask")
            hidden = why(form.tables, index)
            w.cell(page, row, 11, "; ".join(t for t in (_because(column), hidden) if t))
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
    page = w.sheet(STATIONS, says, STATION_HEADERS, (34, 10, 34))
    for row, (name, places) in enumerate(stations_of(made).items(), start=_HEAD + 1):
        w.cell(page, row, 0, name)
        w.cell(page, row, 1, places)
        w.cell(page, row, 2, made.names.get(name, name), w.open)


def amount(value: object) -> object:
    """A number as the mapping shows it."""
    return round(value.value, 9) if isinstance(value, Amount) else value


def _arrive(w: _Writer, rows: Harvest) -> None:
    count = len(rows.readings)
    says = (
        f"The first {min(FIRST_ROWS, count)} of {count:,} readings, as they would enter the book."
    )
    page = w.sheet(ARRIVE, says, ARRIVE_HEADERS, (16, 11, 7, 9, 9, 8, 8, 8, 9, 13, 12, 34, 30))
    keys = ("station", "date", "time", "inlet", "outlet", "drop", "unit", "flow", "field",
            "occasion", "read_by", "remark", "where")  # fmt: skip
    for at, reading in enumerate(rows.readings[:FIRST_ROWS], start=_HEAD + 1):
        first = next((v for k in ("inlet", "outlet", "drop") if (v := reading.get(k))), None)
        unit = first.unit if isinstance(first, Amount) else ""
        for col, key in enumerate(keys):
            w.cell(page, at, col, unit if key == "unit" else amount(reading.get(key)))


def _proposed(w: _Writer, rows: Harvest) -> None:
    says = (
        "Work that notes speak of. It enters only where 'Enter' says yes; delete what was not so."
    )
    page = w.sheet(
        PROPOSED, says, PROPOSED_HEADERS, (7, 16, 11, 7, 19, 7, 10, 7, 8, 9, 12, 30, 36, 30)
    )
    for at, row in enumerate(rows.work[:MOST_ROWS], start=_HEAD + 1):
        lowest = row.get("flush_inlet")
        told = (
            "yes" if row["station"] else "no", row["station"], row["date"], row.get("time"),
            row["work"], row.get("cycles"), amount(lowest),
            lowest.unit if isinstance(lowest, Amount) else "", row.get("click"), row.get("water"),
            row.get("done_by"), row["words"], row["remark"], row["where"],
        )  # fmt: skip
        for col, value in enumerate(told):
            w.cell(page, at, col, value, w.open if col < 11 else None)
        _list(page, at, 0, YES_NO, "Enter")
        _list(page, at, 4, WORKS, "Work")


def _left_out(w: _Writer, rows: Harvest, made: Study) -> None:
    says = "Rows and columns that would enter nowhere, and why. They stay in your file."
    page = w.sheet(LEFT_OUT, says, LEFT_HEADERS, (40, 60, 48, 8))
    row = _HEAD + 1
    for form in made.forms:
        for column in form.columns:
            if column.role == "leave out" and column.samples:
                place = f"{form.tables[0].grid.place}, column {column.letters}"
                told = (place, f"{column.header}: {', '.join(column.samples)}", _because(column), 0)
                for col, value in enumerate(told):
                    w.cell(page, row, col, value)
                row += 1
    for one in rows.left_out[: MOST_ROWS - row]:
        for col, value in enumerate((one.where, one.what, one.why, one.rows)):
            w.cell(page, row, col, value)
        row += 1
