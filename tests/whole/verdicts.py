"""Filled workbooks for the verdict tests: rows by header, through the reader to the sentence."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import xlsxwriter

from siltbook.batch.job import assess_bytes
from siltbook.batch.results import Assessment, StationResult

Row = dict[str, Any]
NAME = "invented.xlsx"


def day(number: int) -> dt.date:
    """A day of June 2026."""
    return dt.date(2026, 6, number)


def filled(**lists: list[Row]) -> bytes:
    """A workbook with one sheet per list (`Work_done` for 'Work done'), headers as the rows say.

    The register has the plain station 'North 1' unless it is given; pressures are in bar.
    """
    sheets: dict[str, list[Row]] = {"Stations": [{"Station": "North 1"}], "Readings": []}
    sheets |= {name.replace("_", " "): rows for name, rows in lists.items()}
    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True})
    date, stamp = (book.add_format({"num_format": f}) for f in ("yyyy-mm-dd", "yyyy-mm-dd hh:mm"))
    farm = book.add_worksheet("Farm")
    settings = sheets.pop("Farm", [])
    for r, (label, value) in enumerate(pair for row in settings for pair in row.items()):
        farm.write_string(r, 0, label)
        farm.write(r, 1, value)
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        needed = {"Readings": ["Station", "Date", "Inlet pressure", "Outlet pressure"]}
        headers = list(dict.fromkeys([*needed.get(name, []), *(h for row in rows for h in row)]))
        sheet.write_row(0, 0, headers)
        for r, row in enumerate(rows, 1):
            for header, value in row.items():
                c = headers.index(header)
                if isinstance(value, dt.datetime):
                    sheet.write_datetime(r, c, value, stamp)
                elif isinstance(value, dt.date):
                    sheet.write_datetime(r, c, value, date)
                elif value is not None:
                    sheet.write(r, c, value)
    book.close()
    return target.getvalue()


def reading(when: dt.date, inlet: Any, outlet: Any, **more: Any) -> Row:
    """A row of Readings at North 1 [bar]; more cells by header with underscores."""
    row = {"Station": "North 1", "Date": when, "Inlet pressure": inlet, "Outlet pressure": outlet}
    return row | {key.replace("_", " "): value for key, value in more.items()}


def work(when: Any, what: str = "flush", **more: Any) -> Row:
    """A row of Work done at North 1; a flush comes complete with its signs."""
    row: Row = {"Station": "North 1", "Date": when, "Work": what}
    if what == "flush":
        row |= {"Cycles": 3, "Click heard": "yes", "Water at outlet": "yes"}
    return row | {key.replace("_", " "): value for key, value in more.items()}


def station(**more: Any) -> list[Row]:
    """A register of North 1 alone, with more cells by header."""
    return [{"Station": "North 1"} | {key.replace("_", " "): v for key, v in more.items()}]


def judged(data: bytes, as_of: dt.date | None = None) -> StationResult:
    """The one station of a filled workbook, judged."""
    (result,) = assessed(data, as_of).stations
    return result


def assessed(data: bytes, as_of: dt.date | None = None) -> Assessment:
    """A filled workbook, read, checked and judged."""
    return assess_bytes(data, NAME, as_of)


def said(data: bytes, as_of: dt.date | None = None) -> tuple[str, str]:
    """Verdict and sentence of a one-station workbook."""
    result = judged(data, as_of)
    return str(result.verdict), result.judgement.reason


def messages(data: bytes, rule: str, as_of: dt.date | None = None) -> list[str]:
    """The sentences of one rule in a filled workbook."""
    return [f.message for f in assessed(data, as_of).findings if f.rule == rule]
