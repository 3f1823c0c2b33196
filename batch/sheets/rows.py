"""Long tables, written straight into a sheet's part.

XlsxWriter takes a minute over the 800,000 formulas of a book with 100,000 readings, because it
looks through every formula for some thirty functions. It therefore writes the sheet with one
row of blank, formatted cells, and that row is then replaced by rows made here.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from html import escape
from io import BytesIO
from itertools import islice

# A fixed date, as XlsxWriter's own parts have: the same input gives the same bytes.
_STAMP = (1980, 1, 1, 0, 0, 0)
_EDITED = ("xl/worksheets/sheet", "xl/charts/chart")
_FAST = 1  # compression level; the part is placed into another package anyway
_PIECE = 1_000  # rows handed on at once: a long sheet never stands in memory whole


def number_cell(place: str, style: str, value: float) -> str:
    """A cell with a finite number."""
    return f'<c r="{place}" s="{style}"><v>{float(value)!r}</v></c>'


def text_cell(place: str, style: str, value: str) -> str:
    """A cell with text that stays text; blank where there is none. Give it clean text."""
    if not value:
        return f'<c r="{place}" s="{style}"/>'
    # A spelling such as _x0041_ would be decoded to a character; its underscore is escaped.
    value = re.sub(r"_(?=x[0-9a-fA-F]{4}_)", "_x005F_", value) if "_x" in value else value
    kept = f'<t xml:space="preserve">{escape(value, quote=False)}</t>'
    return f'<c r="{place}" s="{style}" t="inlineStr"><is>{kept}</is></c>'


def formula_cell(place: str, style: str, formula: str, value: float) -> str:
    """A cell with a formula (no leading '=', already escaped) and its number."""
    return f'<c r="{place}" s="{style}"><f>{formula}</f><v>{float(value)!r}</v></c>'


def formula_text_cell(place: str, style: str, formula: str, value: str) -> str:
    """A cell with a formula (no leading '=', already escaped) and its text."""
    return f'<c r="{place}" s="{style}" t="str"><f>{formula}</f><v>{escape(value)}</v></c>'


def rewrite(package: bytes, edit: Callable[[str, str], str | None]) -> bytes:
    """The package with its sheets and charts edited; `edit` gets a part's name and text.

    It gives the new text, or None to leave the part as it is.
    """
    target = BytesIO()
    with (
        zipfile.ZipFile(BytesIO(package)) as old,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for item in old.infolist():
            name, data = item.filename, old.read(item)
            made = edit(name, data.decode()) if name.startswith(_EDITED) else None
            text = data if made is None else made
            new.writestr(zipfile.ZipInfo(name, _STAMP), text, zipfile.ZIP_DEFLATED, _FAST)
    return target.getvalue()


@dataclass(frozen=True)
class LongTable:
    """`count` rows that stand in for the blank, formatted `row` (1-based) of a sheet.

    `make` gets the style index of each of the row's cells and gives every row's text.
    """

    row: int
    count: int
    make: Callable[[list[str]], Iterable[str]]


def filled(sheet: bytes, table: LongTable) -> Iterator[bytes]:
    """A sheet's part, piece by piece, with its rows in place; ValueError without the blank row."""
    xml, row = sheet.decode(), table.row
    found = re.search(rf'<row r="{row}"[^>]*>(.*?)</row>', xml)
    if found is None:
        raise ValueError(f"row {row} is not in the sheet")
    styles = re.findall(r'<c r="[A-Z]+\d+" s="(\d+)"/>', found[1])
    last = row + table.count - 1
    head = re.sub(r'(<dimension ref="A1:[A-Z]+)\d+"', rf'\g<1>{last}"', xml[: found.start()])
    yield head.encode()
    made = iter(table.make(styles))
    while piece := "".join(islice(made, _PIECE)):
        yield piece.encode()
    yield xml[found.end() :].encode()
