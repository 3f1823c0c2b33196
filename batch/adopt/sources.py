"""Files to grids of cells: workbooks by the project's own reader, text tables by their dialect.

Everything is bounded before it is taken apart: the size of a file, the length of a line, the
number of columns and of cells.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator
from pathlib import Path

from siltbook.batch.adopt.columns import shown
from siltbook.batch.adopt.marks import Marks, marks_of
from siltbook.batch.adopt.model import NO_VALUE, STRUCK, Cell, Grid
from siltbook.batch.errors import BookError
from siltbook.batch.reading.cells import (
    IsoDate,
    NoValue,
    SheetCells,
    SheetPart,
    Style,
    Workbook,
)
from siltbook.batch.reading.parsing import A_DAY_AND_MORE, FROM_1904, hours

TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc")
LONGEST_LINE = 100_000  # [characters]
LONGEST_RECORD = 1_000_000  # [characters]; an open quote joins lines
MOST_LINES = 2_500_000  # a record each quarter of a minute for a year
MOST_COLUMNS = 2_000
MOST_CELLS = 4_000_000
SAMPLE_LINES = 200
LONG = 3_000  # lines from which a text table may be a logger's
HEAD = 500  # of its rows that tell
DELIMITERS = (",", ";", "\t", "|")
DAY0 = dt.datetime(1899, 12, 30)


def is_text(path: Path) -> bool:
    """Whether a file's name is one of a text table."""
    return path.suffix.lower() in TEXT_ENDINGS


def workbook_grids(data: bytes, name: str) -> list[Grid]:
    """Every worksheet of a workbook; BookError in one sentence where it cannot be read."""
    from siltbook.batch.package.limits import DAMAGE, damaged
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.foreign import as_xlsx
    from siltbook.batch.reading.sheetxml import read_sheet
    from siltbook.batch.reading.workbook import open_workbook

    try:
        made, _ = as_xlsx(data, name)
        book = open_workbook(open_package(made, name), name)
        return [
            _grid(book, read_sheet(book, part), name, part, marks)
            for part, marks in zip(book.sheets, marks_of(data, name, book), strict=False)
        ]
    except BookError:
        raise
    except DAMAGE as error:
        raise damaged(name, error) from None


def _grid(book: Workbook, cells: SheetCells, name: str, part: SheetPart, marks: Marks) -> Grid:
    rows: dict[int, dict[int, Cell]] = {}
    struck: set[tuple[int, int]] = set()
    if sum(len(c.rows) for c in cells.columns.values()) > MOST_CELLS:
        raise BookError(
            f"{name}, sheet {part.name}: more than {MOST_CELLS:,} filled cells; split it by year, "
            "or save a logger's records as CSV."
        )
    for column, content in sorted(cells.columns.items()):
        for row, value, style in zip(content.rows, content.values, content.styles, strict=True):
            in_part = isinstance(value, str) and (row, column) in marks.texts
            cell = marks.texts[row, column] if in_part else _cell(value, style, book)
            if cell is not None:
                rows.setdefault(row, {})[column] = cell
                if in_part or style in book.struck:
                    struck.add((row, column))
    columns = frozenset(c for low, high in cells.hidden_columns for c in range(low, high + 1))
    return Grid(
        name, part.name, dict(sorted(rows.items())), tuple(cells.merged), frozenset(cells.hidden),
        columns, part.hidden, frozenset(struck), marks.notes, book.date1904,
    )  # fmt: skip


def _cell(value: object, style: int, book: Workbook) -> Cell | None:
    """One cell as people see it: a date cell becomes a datetime, what has no value says so."""
    if value is None:
        return None
    if isinstance(value, NoValue):
        return NO_VALUE
    if isinstance(value, IsoDate):
        return _iso(str(value))
    if isinstance(value, float):
        kind = book.styles[style] if style < len(book.styles) else Style.PLAIN
        if kind == Style.DATE and 1.0 <= value < A_DAY_AND_MORE:
            return hours(value)  # typed as 25:30, or 24:00
        if kind == Style.DATE and 1.0 <= value < 200_000:
            day = value + (FROM_1904 if book.date1904 else 0)
            return DAY0 + dt.timedelta(seconds=round(day * 86_400))
        # A number that somebody struck through is none that can be used; its row still tells that
        # there was a reading.
        return f"{shown(value)}{STRUCK}" if style in book.struck else value
    if isinstance(value, bool):
        return value
    text = str(value).replace("\u00a0", " ").strip()
    return text or None


def _iso(text: str) -> Cell:
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        return text


def delimiter_of(text: str) -> str:
    """The delimiter of a text table."""
    lines = [line for line in text[:400_000].splitlines()[:SAMPLE_LINES] if line.strip()]
    counts = {d: _regular(lines, d) for d in DELIMITERS}
    best = max(counts, key=lambda d: counts[d])
    if counts[best] >= 0.8 and sum(v > 0.6 for v in counts.values()) == 1:
        return best
    return _by_clevercsv(lines) or (best if counts[best] > 0.3 else ";")


def _regular(lines: list[str], delimiter: str) -> float:
    """The share of lines that have the most frequent number of this delimiter, if any."""
    counts = [line.count(delimiter) for line in lines]
    filled = [c for c in counts if c]
    if not filled:
        return 0.0
    usual = max(set(filled), key=filled.count)
    return counts.count(usual) / len(counts)


def _by_clevercsv(lines: list[str]) -> str:
    import clevercsv

    try:
        dialect = clevercsv.Sniffer().sniff(
            "\n".join(lines[:60])[:6_000], delimiters="".join(DELIMITERS)
        )
    except Exception:
        return ""
    return str(dialect.delimiter) if dialect and dialect.delimiter in DELIMITERS else ""


def _check_lines(text: str, name: str) -> None:
    """BookError where a line, wherever it stands, or the number of lines is beyond any table's."""
    start = lines = 0
    while start < len(text):
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        lines += 1
        if end - start > LONGEST_LINE:
            raise BookError(
                f"{name}, line {lines:,}: a line of more than {LONGEST_LINE:,} characters, which no"
                " table of readings has; export it again as CSV."
            )
        start = end + 1
    if lines > MOST_LINES:
        raise BookError(
            f"{name}: {lines:,} lines; accepted: up to {MOST_LINES:,}. Split it by year or month."
        )


def text_grid(text: str, name: str, read_as: str = "") -> Grid:
    """A text table as a grid; of a long one its first rows, and the text for `logger` to read."""
    _check_lines(text, name)
    delimiter = delimiter_of(text)
    rows: dict[int, dict[int, Cell]] = {}
    cells = 0
    long = text.count("\n") > LONG
    for number, fields in enumerate(_records(text, delimiter, name), start=1):
        filled = {i: field.strip() for i, field in enumerate(fields) if field.strip()}
        cells += len(filled)
        if long and number > HEAD:
            break
        if filled:
            rows[number] = dict(filled)
    return Grid(
        name, "", rows, text=text if long else "", delimiter=delimiter, read_as=read_as
    )  # fmt: skip


def whole_grid(grid: Grid) -> Grid:
    """All rows of a long text table that is no logger's; BookError beyond what a list may have."""
    rows: dict[int, dict[int, Cell]] = {}
    cells = 0
    for number, fields in enumerate(_records(grid.text, grid.delimiter, grid.file), start=1):
        filled: dict[int, Cell] = {i: f.strip() for i, f in enumerate(fields) if f.strip()}
        cells += len(filled)
        if cells > MOST_CELLS:
            raise BookError(
                f"{grid.file}: more than {MOST_CELLS:,} filled cells; split it by year."
            )
        if filled:
            rows[number] = filled
    return Grid(grid.file, "", rows, read_as=grid.read_as)


def _usual_count(text: str, delimiter: str) -> int:
    """The most frequent number of delimiters in a line; 0 where no line has any."""
    counts = [line.count(delimiter) for line in text[:400_000].splitlines()[:SAMPLE_LINES]]
    filled = [count for count in counts if count]
    return max(set(filled), key=filled.count, default=0)


def _refuse_swallowed(fields: list[str], delimiter: str, usual: int, where: str) -> None:
    """BookError where a cell in quotation marks goes on over lines that are rows of their own.

    A mark that nobody closed takes the rows below it into a remark, and nobody would miss them.
    """
    lines = [line for field in fields if "\n" in field for line in field.split("\n")[1:]]
    if usual > 1 and (rows := [line for line in lines if line.count(delimiter) >= usual - 1]):
        raise BookError(
            f"{where}: a quotation mark opens a cell that runs on over what looks like rows of"
            f" their own ('{rows[0].strip()[:40]}'): close the mark, or take it away, and run"
            " again; nothing was changed."
        )


def _records(text: str, delimiter: str, name: str) -> Iterator[list[str]]:
    since = 0  # characters that the record has taken so far

    def lines() -> Iterator[str]:
        nonlocal since
        for line in io.StringIO(text, newline=""):
            since += len(line)
            if since > LONGEST_RECORD:
                raise csv.Error(
                    f"a quotation mark that no other closes for {LONGEST_RECORD:,} characters"
                )
            yield line

    reader = csv.reader(lines(), delimiter=delimiter)
    usual = _usual_count(text, delimiter)
    before = 0  # the line in which the last record ended
    try:
        for fields in reader:
            since = 0
            if reader.line_num - before > 1:
                _refuse_swallowed(fields, delimiter, usual, f"{name}, line {before + 1}")
            before = reader.line_num
            if len(fields) > MOST_COLUMNS:
                raise BookError(
                    f"{name}, line {reader.line_num}: {len(fields):,} columns; accepted: up to "
                    f"{MOST_COLUMNS:,}."
                )
            yield fields
    except csv.Error as error:
        raise BookError(
            f"{name}, line {reader.line_num}: {error}; export it again as CSV."
        ) from None
