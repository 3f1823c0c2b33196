"""Fingerprints: of a file's bytes, and a short one of the cells that a judgement rests on."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from siltbook.templates.book import Book, Table
from siltbook.templates.contract import AGREED, LISTS, Sheet

if TYPE_CHECKING:
    import pandas as pd

LENGTH = 12  # hexadecimal digits that a person can still compare by eye
_NOT_USED = ("remark", "read_by", "done_by")  # names and remarks change no verdict


def digest(data: bytes) -> str:
    """SHA-256 of some bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def fingerprint(book: Book) -> str:
    """The first 12 hexadecimal digits of the SHA-256 of settings and lists.

    Values in canonical units with their rows, 12 significant digits; remarks, names of people
    and the sheet Agreed do not count, nor do columns without a value: a book does not change
    because a later version knows more columns.
    """
    running = hashlib.sha256()
    for key in sorted(book.setting_cells):
        value = getattr(book.settings, key, None)
        if value is not None and value != "":
            running.update(f"{key}={_said(value)}\n".encode())
    lists = book.lists()
    for sheet in LISTS:
        if sheet is not AGREED:
            for piece in _columns(sheet, lists[sheet.name]):
                running.update(piece)
    return running.hexdigest()[:LENGTH]


def _columns(sheet: Sheet, table: Table) -> Iterator[bytes]:
    """Of each column that holds anything: sheet and key, rows and values, a column at once."""
    frame = table.frame
    for column in sheet.columns:
        if column.key in _NOT_USED or column.key not in frame:
            continue
        filled: pd.Series = frame[column.key].dropna()
        if len(filled):
            yield f"\n{sheet.name}/{column.key}:".encode()
            yield filled.index.to_numpy(dtype="<i8").tobytes()
            yield _values(filled).encode()


def _values(filled: pd.Series) -> str:
    values = filled.tolist()
    if filled.dtype == "float64":
        return ("%.12g," * len(values)) % tuple(values)
    said = {value: _said(value) for value in set(values)}  # dates and names repeat
    return "\x1f".join([said[value] for value in values])


def _said(value: object) -> str:
    if isinstance(value, (int, float)):
        return f"{float(value):.12g}"
    return value.isoformat() if isinstance(value, (dt.date, dt.time)) else str(value)
