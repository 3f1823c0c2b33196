"""Packs as they come back from a meeting or from worse: edited, part by part or as a workbook."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from functools import cache
from typing import Any

import openpyxl

from siltbook.batch.review.pack import make_pack, pack_bytes
from tests.reading.books import zipped
from tests.review.farms import JULY, month, opened
from tests.review.test_agree import header_row

AGENDA = "xl/worksheets/sheet1.xml"


@cache
def small_pack() -> bytes:
    """The pack of North and South, without the season before."""
    made = pack_bytes(make_pack([month("north"), month("south")], JULY, "test"))
    assert header_row(made) == HEADER
    return made


HEADER = 14
ROW = HEADER + 1  # N2 Screen of North; then S1 Well of South, and three empty rows
SPARE = HEADER + 3
COLUMNS = {"Farm": "A", "Station": "B", "Action": "H", "Who": "I", "By when": "J", "Book": "K"}


def parts(data: bytes) -> dict[str, bytes]:
    """A package's parts."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def with_part(edit: Callable[[bytes], bytes], part: str = AGENDA) -> bytes:
    """The pack with one part's bytes changed."""
    made: dict[str, str | bytes] = {**parts(small_pack())}
    before = parts(small_pack())[part]
    made[part] = edit(before)
    assert made[part] != before
    return zipped(made)


def typed(**cells: str) -> bytes:
    """The pack with cells of its Agenda's first row; 'by_when' for By when, inside of <c>."""

    def edit(xml: bytes) -> bytes:
        for key, inside in cells.items():
            name = key.replace("_", " ").capitalize()
            ref = f"{COLUMNS[name]}{ROW}"
            kind, _, content = inside.rpartition("|")
            made = f'<c r="{ref}"{f" t={chr(34)}{kind}{chr(34)}" if kind else ""}>{content}</c>'
            old = rb'<c r="%s"[^>]*?(/>|>.*?</c>)' % ref.encode()
            xml, count = re.subn(old, made.encode().replace(b"\\", b"\\\\"), xml, flags=re.DOTALL)
            assert count == 1
        return xml

    return with_part(edit)


def text(words: str) -> str:
    """A cell's inside that is text, for `typed`."""
    return f"inlineStr|<is><t>{words}</t></is>"


def edited(edit: Callable[[openpyxl.Workbook], Any]) -> bytes:
    """The pack as openpyxl saves it after an edit; 'Look' stands as the first row's action."""
    book = opened(small_pack())
    book["Agenda"].cell(ROW, 8).value = "Look"
    edit(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()
