"""Finds the tables on a sheet: header rows, data, titles; turns those whose dates run across."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from dataclasses import dataclass

from siltbook.batch.adopt.model import Cell, Grid
from siltbook.batch.adopt.recognise import parse_date, parse_header, parse_number, unit_of
from siltbook.batch.adopt.words import plain, table
from siltbook.batch.reading.cells import address
from siltbook.batch.reading.parsing import tidy

_LABEL = re.compile(r"^\s*([^:]{2,40}?)\s*(?:[:=]|\s[-–]\s)\s*(.+?)\s*$")
_HEADERS = 4  # rows of one header, units included
_TITLES = 6  # rows above a header that may title it
_ACROSS = 3  # dates in a row from which they run across
_DATED = ("date", "date and time")


@dataclass
class Area:
    """One table's place: header rows (top first), data rows, columns, and the title above it."""

    grid: Grid
    headers: list[int]
    data: list[int]
    columns: list[int]
    titles: list[tuple[int, int, str]]  # row, column, text
    units: int = 0  # the row of units, 0 where there is none
    turned: bool = False
    origin: dict[int, int] | None = None


def find_areas(grid: Grid) -> list[Area]:
    """Every table of a sheet, from the top; side by side ones from the left."""
    across = _dates_across(grid)
    if across:
        return [_turned(grid, across)]
    heads = [row for row in grid.rows if _is_header(grid, row)]
    tops = [row for i, row in enumerate(heads) if i == 0 or not _continues(grid, heads[i - 1], row)]
    areas: list[Area] = []
    for i, top in enumerate(tops):
        end = tops[i + 1] if i + 1 < len(tops) else max(grid.rows) + 1
        areas += _split(
            _area(grid, top, end, areas[-1].data[-1] if areas and areas[-1].data else 0)
        )
    return _cut_titles(areas)


def _texts(grid: Grid, row: int) -> dict[int, str]:
    return {c: v for c, v in grid.rows.get(row, {}).items() if isinstance(v, str)}


def _dateish(value: Cell) -> bool:
    if isinstance(value, float):
        return False
    found = parse_date(value)
    return found.date is not None or found.ambiguous


def _plain_number(value: Cell) -> bool:
    return parse_number(value)[0] is not None


def _is_header(grid: Grid, row: int) -> bool:
    """Whether a row's texts name columns: two roles, or a date's above dates."""
    cells = grid.rows[row]
    texts = {c: t for c, t in _texts(grid, row).items() if not _dateish(t) and not _plain_number(t)}
    if len(texts) < 2 or len(texts) < 0.6 * len(cells):
        return False
    if any(names_station(t) for t in texts.values()):
        return False
    roles = [(c, parse_header(t).role) for c, t in texts.items() if len(t) <= 80]
    known = [r for _, r in roles if r and r != "leave out"]
    if any(len(t) > 80 for t in texts.values()) and len(known) < 3:
        return False
    if len(known) >= 2:
        return True
    dated = [c for c, r in roles if r in _DATED]
    return bool(dated) and any(_dateish_in(grid, row, c) for c in dated)


def _dateish_in(grid: Grid, row: int, column: int) -> bool:
    below = [
        grid.rows[r][column] for r in range(row + 1, row + 6) if column in grid.rows.get(r, {})
    ]
    return any(_dateish(v) or (isinstance(v, float) and parse_date(v).date) for v in below)


def _continues(grid: Grid, above: int, row: int) -> bool:
    """Whether a header row is the lower half of the one right above it."""
    return row - above <= 2 and not any(_is_data(grid, r) for r in range(above + 1, row))


def _is_data(grid: Grid, row: int) -> bool:
    cells = grid.rows.get(row, {})
    return any(_dateish(v) or _plain_number(v) for v in cells.values())


def _area(grid: Grid, top: int, end: int, before: int) -> Area:
    headers = [top]
    upper = top - 1
    if _is_upper(grid, upper, top) and upper > before:
        headers.insert(0, upper)
    units, row = 0, top + 1
    while row < end and len(headers) < _HEADERS and row in grid.rows and not _is_data(grid, row):
        cells = grid.rows[row]
        texts = [str(v) for v in cells.values()]
        spelt = sum(bool(unit_of(t.strip("()[]"))) for t in texts)
        if spelt and spelt >= 0.6 * sum(t.strip("()[]-–") != "" for t in texts):
            units = row
        elif len(cells) < 2 or units:
            break
        headers.append(row)
        row += 1
    data = [r for r in grid.rows if headers[-1] < r < end]
    named = {c for r in headers for c in grid.rows[r]}
    columns = sorted(named | {c for r in data[:200] for c in grid.rows[r] if len(grid.rows[r]) > 1})
    return Area(grid, headers, data, columns, _titles(grid, headers[0], before), units)


def _is_upper(grid: Grid, upper: int, top: int) -> bool:
    """Whether the row above a header is its upper half: several texts, or one merged over some."""
    texts = _texts(grid, upper)
    if not texts or len(texts) != len(grid.rows.get(upper, {})) or _is_data(grid, upper):
        return False
    if any(names_station(t) for t in texts.values()):
        return False
    if len(texts) >= 2:
        return all(len(t) <= 60 for t in texts.values())
    top_texts = [parse_header(t).role for t in _texts(grid, top).values()]
    (column,) = texts
    spanned = merged_to(grid, upper, column)
    return spanned > column and spanned - column + 1 < len(top_texts) and column > 0


def names_station(text: str) -> str:
    """The name in 'Station: North 1', in any language of the table; '' for any other text."""
    label = _LABEL.match(text)
    if label and "station" in table("header").get(plain(label[1]), ()):
        return tidy(label[2])
    return ""


def merged_to(grid: Grid, row: int, column: int) -> int:
    """The last column of the merged range that begins at a cell; the column itself elsewhere."""
    for ref in grid.merged:
        first, _, last = ref.partition(":")
        try:
            top, left = address(first)
            _, right = address(last or first)
        except ValueError:
            continue
        if (top, left) == (row, column):
            return right
    return column


def _titles(grid: Grid, header: int, before: int) -> list[tuple[int, int, str]]:
    rows = [r for r in grid.rows if before < r < header][-_TITLES:]
    return [(r, c, t) for r in rows for c, t in _texts(grid, r).items()]


def _split(area: Area) -> list[Area]:
    """Tables side by side: each has its own date column behind an empty one."""
    grid = area.grid
    row = next(
        (r for r in area.headers if any(_role(grid, r, c) in _DATED for c in grid.rows[r])), 0
    )
    starts = [c for c in area.columns if row and _role(grid, row, c) in _DATED]
    starts = [c for i, c in enumerate(starts) if i == 0 or c - 1 not in area.columns]
    if len(starts) < 2:
        return [area]
    parts = []
    for i, start in enumerate(starts):
        low = 0 if i == 0 else start
        high = starts[i + 1] if i + 1 < len(starts) else 10**6
        columns = [c for c in area.columns if low <= c < high]
        data = [r for r in area.data if any(low <= c < high for c in grid.rows[r])]
        titles = [t for t in area.titles if low <= t[1] < high]
        parts.append(Area(grid, area.headers, data, columns, titles, area.units))
    return parts


def _role(grid: Grid, row: int, column: int) -> str:
    value = grid.rows[row].get(column)
    return parse_header(value).role if isinstance(value, str) else ""


def _cut_titles(areas: list[Area]) -> list[Area]:
    """Texts at the end of a table that stand right above the next one are the next one's title."""
    for area, following in itertools.pairwise(areas):
        if following.headers[0] < area.headers[0] or following.headers == area.headers:
            continue
        moved: list[int] = []
        while area.data and len(moved) < _TITLES:
            row = area.data[-1]
            cells = area.grid.rows[row]
            if len(cells) > 2 or not all(isinstance(v, str) for v in cells.values()):
                break
            if any(_dateish(v) for v in cells.values()):
                break
            moved.insert(0, area.data.pop())
        following.titles[:0] = [
            (r, c, t) for r in moved for c, t in _texts(area.grid, r).items()
            if (r, c, t) not in following.titles
        ]  # fmt: skip
    return areas


def _dates_across(grid: Grid) -> int:
    """The row in which dates run across, with numbers below; 0 where none does."""
    for row in list(grid.rows)[:30]:
        cells = grid.rows[row]
        dated = [c for c, v in cells.items() if _dateish(v)]
        if len(dated) < _ACROSS or len(dated) < 0.5 * len(cells) or 0 in dated:
            continue
        below = [grid.rows[r].get(dated[0]) for r in grid.rows if r > row][:10]
        if sum(v is not None and _plain_number(v) for v in below) >= 1:
            return row
    return 0


def _turned(grid: Grid, row: int) -> Area:
    """The sheet with rows and columns changed: labels at the left become header rows."""
    dated = [c for c, v in grid.rows[row].items() if _dateish(v)]
    labels = [c for c in range(dated[0]) if any(c in grid.rows[r] for r in grid.rows if r > row)]
    below = [r for r in grid.rows if r > row and any(c in grid.rows[r] for c in [*dated, *labels])]
    rows: dict[int, dict[int, Cell]] = {}
    for level, c in enumerate(labels, start=1):
        cells = {r: grid.rows[r][c] for r in below if c in grid.rows[r]}
        rows[level] = dict(cells) if level > 1 else _filled_down(cells, below)
    rows.setdefault(len(labels) or 1, {})[0] = "Date"
    first = len(labels) + 1
    origin: dict[int, int] = {}
    for number, c in enumerate(dated, start=first):
        cells = {r: grid.rows[r][c] for r in below if c in grid.rows[r]}
        rows[number] = {0: grid.rows[row][c], **cells}
        origin[number] = c
    new = {c: n for n, c in origin.items()} | {c: level for level, c in enumerate(labels, start=1)}
    place = {(r, c): (new[c], 0 if r == row else r) for r, c in {*grid.struck, *grid.notes}
             if c in new}  # fmt: skip
    struck = {place[at] for at in grid.struck if at in place}
    notes = {place[at]: words for at, words in grid.notes.items() if at in place}
    seen = {n for n, c in origin.items() if c in grid.hidden_columns}
    made = Grid(
        grid.file, grid.sheet, rows, hidden=frozenset(seen), hidden_columns=grid.hidden,
        sheet_hidden=grid.sheet_hidden, struck=frozenset(struck), notes=notes,
        date1904=grid.date1904,
    )  # fmt: skip
    titles = [(r, c, t) for r in grid.rows if r < row for c, t in _texts(grid, r).items()]
    columns = sorted({c for cells in rows.values() for c in cells})
    data = list(range(first, first + len(dated)))
    return Area(made, list(range(1, max(2, first))), data, columns, titles, 0, True, origin)


def _filled_down(cells: dict[int, Cell], rows: list[int]) -> dict[int, Cell]:
    """A label at the left holds for the rows below it until the next one."""
    made: dict[int, Cell] = {}
    last: Cell | None = None
    for row in rows:
        last = cells.get(row, last)
        if last is not None:
            made[row] = last
    return made


def is_day(value: Cell) -> bool:
    """Whether a cell holds a date in any form."""
    return isinstance(value, dt.datetime) or _dateish(value)
