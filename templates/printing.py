"""How sheets are printed: A4 across, in type that can be read, a wide table split by meaning.

A sheet that a program shrinks to one page's width prints as small as it must; here the scale is
worked out from the columns' widths. Its maker says where a wide table's next page begins; one
that would print smaller than `LEAST_TYPE` all the same goes on on a further page.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from siltbook.templates.look import FONT, TYPE_SIZE

LEAST_TYPE = 8.0  # [pt] the smallest type of a printed table
SIDE = 0.4  # margin left and right [inch]
_PAPER = 9  # A4
_ACROSS = 297.0  # of that paper [mm]
_SPARE = 0.985  # programs round columns to their own pixels
_MOST = 100

# A workbook's own style, which sets the width of a column's character: 7 pixels.
NORMAL = {"font_name": FONT, "font_size": TYPE_SIZE, "font_scheme": "none"}
_CHARACTER = 7.42  # a digit of that style on a printer [pixels]; screens round it to 7


def pixels(width: float) -> float:
    """What a column of so many characters takes on paper [pixels of 1/96 inch]."""
    return (width + 5 / 7) * _CHARACTER


def characters(pixels: float) -> float:
    """The width of a column [characters] that takes so much on paper [pixels of 1/96 inch]."""
    return pixels / _CHARACTER - 5 / 7


def room(across: float = _ACROSS) -> float:
    """What columns may take on paper so wide [mm], inside the margins [pixels of 1/96 inch]."""
    return (across / 25.4 - 2 * SIDE) * 96 * _SPARE


def scale(
    widths: Sequence[float], type_size: float, repeat: int = 0, starts: Sequence[int] = ()
) -> int:
    """The scale [%, at most 100] at which the widest of a table's pages fits across.

    `widths` of the columns [characters], `type_size` of its cells [pt]; the first `repeat`
    columns stand on every page; `starts` are the columns (0-based) with which a further page
    begins. ValueError where a page would have to be printed smaller than `LEAST_TYPE`.
    """
    sizes = [pixels(width) for width in widths]
    kept, edges = sum(sizes[:repeat]), [repeat, *starts, len(sizes)]
    widest = kept + max(sum(sizes[a:b]) for a, b in pairwise(edges))
    found = min(_MOST, int(100 * room() / widest))
    if found * type_size < 100 * LEAST_TYPE:
        raise ValueError(f"a page {widest:.0f} pixels wide prints its type under {LEAST_TYPE:g} pt")
    return found


def pages(
    widths: Sequence[float], type_size: float, repeat: int = 0, starts: Sequence[int] = ()
) -> tuple[int, ...]:
    """`starts`, and further columns where a page would be too wide for type that can be read.

    So a table that gained a column prints on one page more, and not in smaller type.
    """
    sizes = [pixels(width) for width in widths]
    least = 0.999 * room() * type_size / LEAST_TYPE - sum(sizes[:repeat])
    found, used = [], 0.0
    for at in range(repeat, len(sizes)):
        if at in starts or (used and used + sizes[at] > least):
            found.append(at)
            used = 0.0
        used += sizes[at]
    return tuple(found)


def across(
    sheet: Any,
    widths: Sequence[float],
    type_size: float,
    repeat: int = 0,
    starts: Sequence[int] = (),
) -> None:
    """Landscape A4 in the scale of `scale`; the parts of a row lie on pages that follow."""
    sheet.set_landscape()
    sheet.set_paper(_PAPER)
    starts = pages(widths, type_size, repeat, starts)
    sheet.set_print_scale(scale(widths, type_size, repeat, starts))
    if starts:
        sheet.set_v_pagebreaks(list(starts))
        sheet.print_across()
        if repeat:
            sheet.repeat_columns(0, repeat - 1)
