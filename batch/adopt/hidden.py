"""What a source hides: read like anything else, and said so in the mapping."""

from __future__ import annotations

from collections.abc import Sequence

from siltbook.batch.adopt.model import Column, Found, Grid
from siltbook.templates.book import column_letters

_NAMED = 6  # places named one by one


def rows_of(found: Found) -> list[int]:
    """The hidden rows of a table that hold something."""
    own = {c.index for c in found.columns}
    return [
        r for r in found.grid.rows
        if r in found.grid.hidden and found.first <= r <= found.last
        and not own.isdisjoint(found.grid.rows[r])
    ]  # fmt: skip


def why(tables: Sequence[Found], index: int) -> str:
    """What is hidden of one column in each table of a form, for its 'Why'; '' where nothing is."""
    column = tables[0].columns[index]
    said = [
        _in("hidden", "on ", [t for t in tables if _is_hidden(t, t.columns[index])], tables),
        _in("on a hidden sheet", "", [t for t in tables if t.grid.sheet_hidden], tables),
    ]
    if column.role in ("date", "date and time"):
        rows = sum(len(rows_of(t)) for t in tables)
        said.append(f"{_many(rows, _one(tables[0]))} hidden" if rows else "")
    told = ", ".join(s for s in said if s)
    return f"{told} in the source, read like any other" if told else ""


def _one(found: Found) -> str:
    return "column" if found.turned else "row"


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def _is_hidden(found: Found, column: Column) -> bool:
    return column.index in found.grid.hidden_columns


def _in(what: str, of: str, some: Sequence[Found], tables: Sequence[Found]) -> str:
    """What holds for some tables of a form, with their sheets where it does not for all."""
    if not some or len(some) == len(tables):
        return what if some else ""
    sheets = list(dict.fromkeys(t.grid.sheet for t in some))
    more = f" and {len(sheets) - _NAMED} more" if len(sheets) > _NAMED else ""
    return f"{what} ({of}{', '.join(sheets[:_NAMED])}{more})"


def places(tables: Sequence[Found]) -> list[str]:
    """Hidden sheets, columns and rows of these tables, each as people find it."""
    sheets: list[str] = []
    columns: list[str] = []
    rows: dict[str, int] = {}
    for table in tables:
        grid, turned = table.grid, table.turned
        if grid.sheet_hidden:
            sheets.append(f"sheet {grid.sheet}")
        named = [
            f"{'row' if turned else 'column'} {_letters(c, turned)} of {_sheet(grid)}"
            for c in table.columns if _is_hidden(table, c)
        ]  # fmt: skip
        columns += named
        if count := len(rows_of(table)):
            key = f"{_one(table)}s of {_sheet(grid)}"
            rows[key] = rows.get(key, 0) + count
    counted = [
        f"{_many(n, what.partition('s of ')[0])} of {what.partition('s of ')[2]}"
        for what, n in rows.items()
    ]
    return list(dict.fromkeys([*sheets, *columns, *counted]))


def _letters(column: Column, turned: bool) -> str:
    return str(column.index) if turned else column_letters(column.index)


def _sheet(grid: Grid) -> str:
    return f"sheet {grid.sheet}" if grid.sheet else grid.file


def sentence(tables: Sequence[Found]) -> str:
    """One sentence on all that is hidden in the sources; '' where nothing is."""
    found = places(tables)
    if not found:
        return ""
    more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    return f"Hidden in the source and read like any other: {'; '.join(found[:_NAMED])}{more}."
