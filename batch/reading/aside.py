"""Rows that cannot be placed, without a date to be read or a station, and remarks in them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from siltbook.templates.contract import CHANGED_GAUGES, READINGS, WORK, Sheet

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from siltbook.batch.reading.columns import Block

# What makes such a row matter. Of a gauge it is the unit in which everything after it was read.
FILLED = {
    READINGS.name: ("inlet", "outlet", "drop"), WORK.name: ("work",),
    CHANGED_GAUGES.name: ("unit",),
}  # fmt: skip
DAYS = {CHANGED_GAUGES.name: "since"}


def rows_aside(
    sheet: Sheet, block: Block, made: dict[str, NDArray[np.object_]], keep: NDArray[np.bool_]
) -> dict[int, tuple[str, dt.date | None]]:
    """Row -> station and day, of the rows that lack one or both and hold what is in FILLED.
    None of the lists that are not there.

    Without a station of its own a row gets the one that stands above it, and with neither the
    date above as well: who leaves them out, or merges their cells, as a rule means those.
    """
    if sheet.name not in FILLED:
        return {}
    filled = np.zeros(len(keep), dtype=bool)
    for key in FILLED[sheet.name]:
        if key in block.cells:
            filled[block.positions(key)] = True
    if sheet is READINGS and not keep.all():
        filled &= ~_means_below(block, keep)
    found: dict[int, tuple[str, dt.date | None]] = {}
    above, day = "", None
    names, days = made["station"].tolist(), made[DAYS.get(sheet.name, "date")].tolist()
    for at in range(len(keep)) if not keep.all() else ():
        above, day = names[at] or above, days[at] or day
        if keep[at] or not filled[at] or not above or (names[at] and days[at]):
            continue
        found[int(block.rows[at])] = (above, None if names[at] else day)
    return found


def units_named(sheet: Sheet, block: Block, made: dict[str, NDArray[np.object_]]) -> dict[int, str]:
    """Row -> the unit that stands in it, '' for one that is not known, of changed gauges."""
    if sheet is not CHANGED_GAUGES or "unit" not in block.cells:
        return {}
    return {int(block.rows[at]): made["unit"][at] or "" for at in block.positions("unit").tolist()}


def _means_below(block: Block, keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The rows below the last one that is used in which every pressure is the mean of its column,
    in two columns or more, and one is finer than anybody read: averages that nobody labelled."""
    found = np.zeros(len(keep), dtype=bool)
    used = np.flatnonzero(keep)
    below = np.arange(used[-1] + 1, len(keep)) if len(used) else used
    columns = {
        key: dict(zip(block.positions(key).tolist(), block.cells[key].values, strict=True))
        for key in FILLED[READINGS.name]
        if key in block.cells and len(below)
    }
    means = {key: _mean([cells.get(n) for n in used.tolist()]) for key, cells in columns.items()}
    for at in below.tolist():
        finer = [_is_finer(cells[at], means[key]) for key, cells in columns.items() if at in cells]
        found[at] = len(finer) > 1 and None not in finer and any(finer)
    return found


def _mean(column: list[object]) -> tuple[float, int] | None:
    """The mean of a column and the most decimals in it; None where it holds no number."""
    read = [value for value in column if isinstance(value, float)]
    return (sum(read) / len(read), max(map(_decimals, read))) if read else None


def _is_finer(here: object, column: tuple[float, int] | None) -> bool | None:
    """Whether the mean of a column has more decimals than it; None where it is not the mean."""
    if not isinstance(here, float) or column is None:
        return None
    (mean, most), digits = column, _decimals(here)
    return None if abs(here - mean) > 0.51 * 10.0**-digits else digits > most


def _decimals(number: float) -> int:
    """Digits behind the point, as it was typed or computed."""
    return len(f"{number:.9f}".rstrip("0").partition(".")[2])


def loose_remarks(
    block: Block, made: dict[str, NDArray[np.object_]], keep: NDArray[np.bool_]
) -> dict[int, tuple[str, dt.date | None, str]]:
    """Row -> station or '', day or None, and the remark, of the rows that are not used."""
    if keep.all() or "remark" not in made or "station" not in made:
        return {}
    nothing: NDArray[np.object_] = np.full(len(keep), None, dtype=object)
    days = made.get("date", made.get("since", nothing))
    return {
        int(block.rows[at]): (made["station"][at] or "", days[at], str(made["remark"][at]))
        for at in np.flatnonzero(~keep).tolist()
        if made["remark"][at] is not None
    }


def struck_remarks(block: Block) -> frozenset[int]:
    """The rows whose remark is struck through."""
    cells = block.cells.get("remark")
    if cells is None or block.struck.isdisjoint(cells.styles):
        return frozenset()
    rows = zip(cells.rows, cells.styles, strict=True)
    return frozenset(int(row) for row, style in rows if style in block.struck)
