"""A small invented book, edited as people do: in whatever file they have open."""

from __future__ import annotations

import datetime as dt
import io
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
from click.testing import CliRunner

from siltbook.batch.cli import main

NAME = "farm.xlsx"
SHEETS: dict[str, list[list[Any]]] = {
    "Farm": [["Farm name", "Invented"], ["Pressure unit", "bar"], ["Season", "2026"]],
    "Stations": [["Station", "Block", "Clean drop (m)", "Remark"], ["North", "A", 1.5],
                 ["South", "B", 1.5], ["West", "C", 1.5]],
    "Readings": [["Station", "Date", "Inlet pressure", "Outlet pressure", "Occasion", "Read by",
                  "Remark"]],
    "Work done": [["Station", "Date", "Work", "Cycles", "Click heard", "Water at outlet",
                   "Done by", "Remark"]],
    "Agreed": [["Station", "Action", "Who", "Due date", "Done date", "Remark"]],
}  # fmt: skip
DAY = dt.date(2026, 6, 1)


def rows() -> list[list[Any]]:
    """Three stations; South is over the limit from 1 June on."""
    found = []
    for n in range(6):
        day = DAY + dt.timedelta(days=n - 5)
        found.append(["North", day, 3.0, 2.8, None, "Ann"])
        found.append(["South", day, 3.0, 2.4 if n == 5 else 2.7, None, "Ann"])
        found.append(["West", day, 3.0, 2.8, None, "Bea"])
    return found


def make(readings: list[list[Any]] | None = None) -> bytes:
    """The book."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, lines in SHEETS.items():
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
        if name == "Readings":
            for line in rows() if readings is None else readings:
                sheet.append(line)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """The book as openpyxl saves it."""
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def opened(data: bytes) -> openpyxl.Workbook:
    """The book as openpyxl has it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl does not keep everything; that is the point
        return openpyxl.load_workbook(io.BytesIO(data))


def edit(path: Path, how: Callable[[openpyxl.Workbook], Any]) -> None:
    """Open a file, change it, save it, as a person with a spreadsheet program does."""
    book = opened(path.read_bytes())
    how(book)
    path.write_bytes(saved(book))


def siltbook(*arguments: object) -> str:
    """A command that must end well, and what it printed."""
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 0, done.output
    assert done.exception is None
    return done.output


def texts(path: Path) -> set[str]:
    """Every text and number in a book's cells."""
    book = opened(path.read_bytes())
    return {str(c.value) for s in book for line in s.iter_rows() for c in line if c.value}


def box(book: openpyxl.Workbook, station: str, header: str) -> Any:
    """A cell of the sheet Actions by its station and its header."""
    sheet = book["Actions"]
    heads = {c.value: c for line in sheet.iter_rows(max_row=20) for c in line if c.value == header}
    names = [c for line in sheet.iter_rows() for c in line if c.value == station]
    return sheet.cell(names[0].row, heads[header].column)
