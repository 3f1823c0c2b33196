"""Fingerprints: of a file's bytes, and a short one of the cells that a judgement rests on."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING

from siltbook.templates.book import Book, Table
from siltbook.templates.contract import AGREED, LISTS, Column, Sheet

if TYPE_CHECKING:
    from siltbook.templates.book import Array

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
    return joined(setting_pieces(book), list_pieces(book))


def setting_pieces(book: Book) -> dict[str, bytes]:
    """What the fingerprint takes in of each setting that has a value."""
    values = ((key, getattr(book.settings, key, None)) for key in sorted(book.setting_cells))
    return {key: setting_piece(key, v) for key, v in values if v is not None and v != ""}


def setting_piece(key: str, value: object) -> bytes:
    """What the fingerprint takes in of one setting [canonical unit]."""
    return f"{key}={_said(value)}\n".encode()


def list_pieces(book: Book) -> dict[str, bytes]:
    """What the fingerprint takes in of each list."""
    lists = book.lists()
    names = (sheet.name for sheet in LISTS if sheet is not AGREED)
    return {name: list_piece(name, lists[name]) + _elsewhere(book, name) for name in names}


def _elsewhere(book: Book, name: str) -> bytes:
    """Days on sheets that were not read and look like this list: a verdict may rest on them."""
    places = sorted(
        (station, place.sheet, *map(str, place.days))
        for station, own in book.elsewhere.items()
        for place in own
        if place.like == name
    )
    return repr(places).encode("utf-8", "surrogatepass") if places else b""


def list_piece(name: str, table: Table) -> bytes:
    """What the fingerprint takes in of one list."""
    sheet = next(sheet for sheet in LISTS if sheet.name == name)
    return b"".join(_columns(sheet, table))


def joined(settings: Mapping[str, bytes], lists: Mapping[str, bytes]) -> str:
    """The fingerprint of these pieces: settings by their key, lists in the contract's order."""
    running = hashlib.sha256()
    for key in sorted(settings):
        running.update(settings[key])
    for piece in lists.values():
        running.update(piece)
    return running.hexdigest()[:LENGTH]


def typed_print(book: Book, boxes: Iterable[tuple[str, ...]] = ()) -> str:
    """As `fingerprint`, of what that leaves out: remarks, names of people, the sheet Agreed.

    `boxes` are what people filled in on the sheet Actions.
    """
    running = hashlib.sha256()
    lists = book.lists()
    for sheet in LISTS:
        left_out = tuple(c for c in sheet.columns if sheet is AGREED or c.key in _NOT_USED)
        for piece in _pieces(sheet.name, left_out, lists[sheet.name]):
            running.update(piece)
    for box in sorted(boxes):
        running.update("\x1f".join(("", *box)).encode("utf-8", "surrogatepass"))
    return running.hexdigest()[:LENGTH]


def _columns(sheet: Sheet, table: Table) -> Iterator[bytes]:
    """The pieces of the columns that a judgement rests on."""
    return _pieces(sheet.name, (c for c in sheet.columns if c.key not in _NOT_USED), table)


def _pieces(name: str, columns: Iterable[Column], table: Table) -> Iterator[bytes]:
    """Of each column that holds anything: sheet and key, rows and values, a column at once."""
    import numpy as np
    import pandas as pd

    rows = np.array(table.rows, dtype="<i8")
    for column in columns if len(rows) else ():
        if column.key not in table.values:
            continue
        values = table.values[column.key]
        there = pd.notna(values)
        if there.any():
            yield f"\n{name}/{column.key}:".encode()
            yield rows[there].tobytes()
            yield _values(values[there]).encode()


def _values(filled: Array) -> str:
    values = filled.tolist()
    if filled.dtype == "float64":
        return ("%.12g," * len(values)) % tuple(values)
    said = {value: _said(value) for value in set(values)}  # dates and names repeat
    return "\x1f".join([said[value] for value in values])


def _said(value: object) -> str:
    if isinstance(value, (int, float)):
        return f"{float(value):.12g}"
    return value.isoformat() if isinstance(value, (dt.date, dt.time)) else str(value)
