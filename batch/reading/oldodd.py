"""Old .xls files that contradict themselves where no value depends on it, read all the same.

The parser, xlrd, asserts more than a reader of values needs: how many texts the list of texts
says it has, how links, remarks and shapes are laid out, that no piece of the file is used twice.
Spreadsheet programs pass over these. What was passed over is told.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

FEWER_TEXTS = "its list of texts is shorter than it says"
TWICE = "a piece of it stands in two places"
BESIDE = "a link, remark or shape in it is broken and was left out"
# What stands beside the cells; xlrd reads it and nothing here asks for it.
_BESIDE = (
    "handle_hlink", "handle_quicktip", "handle_obj", "handle_msodrawingetc", "handle_txo",
    "handle_note", "handle_feat11",
)  # fmt: skip


@contextlib.contextmanager
def passing_over() -> Iterator[list[str]]:
    """Let xlrd pass over what no value depends on, meanwhile; gives what it passed over."""
    import xlrd.book
    import xlrd.sheet

    told: list[str] = []
    sheet, texts = xlrd.sheet.Sheet, xlrd.book.unpack_SST_table
    before = {name: getattr(sheet, name) for name in _BESIDE}
    xlrd.book.unpack_SST_table = _texts(texts, told)
    for name, method in before.items():
        setattr(sheet, name, _beside(method, told))
    try:
        yield told
    finally:
        xlrd.book.unpack_SST_table = texts
        for name, method in before.items():
            setattr(sheet, name, method)


def _texts(texts: Callable[..., Any], told: list[str]) -> Callable[..., Any]:
    """As xlrd reads the list of texts; where it ends early, the texts that are there."""

    def read(pieces: list[bytes], said: int) -> Any:
        try:
            return texts(pieces, said)
        except AssertionError:
            told.append(FEWER_TEXTS)
        # A text takes three bytes at least; one too many is an AssertionError, one less is not.
        there, beyond = 0, min(said, sum(map(len, pieces)) // 3 + 1)
        while beyond - there > 1:
            middle = (there + beyond) // 2
            try:
                texts(pieces, middle)
                there = middle
            except AssertionError:
                beyond = middle
        return texts(pieces, there)

    return read


def _beside(method: Callable[..., Any], told: list[str]) -> Callable[..., Any]:
    """As xlrd's method; where it fails, what it has read on from there is read again."""

    def read(sheet: Any, *arguments: Any) -> Any:
        place = sheet.book._position
        try:
            return method(sheet, *arguments)
        except (MemoryError, RecursionError):
            raise
        except Exception:  # the parser's errors share no class
            told.append(BESIDE)
            sheet.book._position = place
            return None

    return read
