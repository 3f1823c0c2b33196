"""One description of a table: what every writer makes of it."""

from __future__ import annotations

import datetime as dt
import importlib
import io
import pkgutil
from functools import partial

import openpyxl
import pytest

import siltbook.batch.archive as archive
import siltbook.batch.audit as audit
import siltbook.batch.review as review
import siltbook.batch.tables as room
from siltbook.batch.model import Verdict
from siltbook.batch.sheets import kit, rows, tables
from siltbook.batch.sheets.book import ResultBook
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates import look
from tests.sheets.example import build, whole

DESCRIBED = list(dict.fromkeys(
    value
    for package in (room, review, audit, archive)
    for module in pkgutil.iter_modules(package.__path__)
    for value in vars(importlib.import_module(f"{package.__name__}.{module.name}")).values()
    if isinstance(value, Table)
))  # fmt: skip
DEMO: Table[dict[str, object]] = Table(
    "Demo",
    (
        Column("verdict", "Verdict", Kind.VERDICT, 20.0, lambda r: r["verdict"]),
        Column("name", "Station", Kind.NAME, 12.0, lambda r: r["name"]),
        Column("drop_m", "Drop ({unit})", Kind.PRESSURE, 8.0, lambda r: r["drop"], "m"),
        Column("limit_m", "Limit ({unit})", Kind.PRESSURE, 8.0, lambda r: 5.0, "m"),
        Column("share", "Share", Kind.SHARE, 8.0,
               lambda r: r["drop"] / 5 if r["drop"] else None,  # type: ignore[operator]
               formula="{drop_m}/{limit_m}"),
        Column("on", "On", Kind.DATE, 12.0, lambda r: dt.date(2026, 5, 1)),
        Column("at", "At", Kind.TIME, 8.0, lambda r: dt.time(6, 0)),
        Column("ok", "Ok", Kind.YES_NO, 6.0, lambda r: r["drop"] is not None),
        Column("why", "Why", Kind.TEXT, 30.0, lambda r: "=1+1\nand more", style="wrap"),
    ),
)  # fmt: skip
ROWS: list[dict[str, object]] = [
    {"verdict": Verdict.FLUSH, "name": "A\nB", "drop": 6.0},
    {"verdict": Verdict.WATCH, "name": "+C", "drop": None},
]


@pytest.mark.parametrize("table", DESCRIBED, ids=lambda table: table.name)
def test_a_description_holds_together(table: Table[object]) -> None:
    assert len(table.places) == len(table.columns), "a key stands twice"
    titles = [column.title for column in table.columns]
    assert len(set(titles)) == len(titles), "a header stands twice"
    assert table.formulas is not None, "a formula names a column that the table has not"
    for column in table.columns:
        assert tables.style_of(column) in {*look.FORMATS, "bar"}  # a bar is drawn on the page
        assert ("{unit}" in column.header) <= bool(column.unit), column.key


def test_every_kind_has_a_look() -> None:
    assert set(tables.STYLES) == set(Kind)
    assert set(tables.STYLES.values()) <= set(look.FORMATS)


def _written(long: bool) -> list[tuple[object, ...]]:
    target = io.BytesIO()
    with kit.new_workbook(target, "t") as workbook:
        sheet = workbook.add_worksheet("Demo")
        pen = kit.Kit(workbook, build(), "b.xlsx", "0")
        if long:
            made = tables.long(pen, sheet, 0, DEMO, ROWS)
        else:
            assert tables.short(pen, sheet, 0, DEMO, ROWS) == len(ROWS)
    data = target.getvalue()
    if long:
        fill = partial(rows.filled, width="I", tables=made)
        data = whole(ResultBook(data, {"xl/worksheets/sheet1.xml": fill}))
    book = openpyxl.load_workbook(io.BytesIO(data))
    return [
        tuple((c.value, c.number_format, c.fill.fgColor.rgb, c.font.b) for c in row)
        for row in book["Demo"].iter_rows()
    ]


def test_both_ways_of_writing_give_the_same_cells() -> None:
    short, long = _written(False), _written(True)
    assert short == long
    first = [cell[0] for cell in short[1]]  # type: ignore[index]
    assert first == [
        "● Flush", "A B", 6, 5, "=C2/D2", dt.datetime(2026, 5, 1), dt.time(6, 0), "yes",
        "=1+1\nand more",
    ]  # fmt: skip
    assert short[2][4][0] is None, "no share without a drop"  # type: ignore[index]


def test_a_value_that_no_cell_can_hold_is_refused() -> None:
    column: Column[None] = Column("x", "X", Kind.TEXT, 5.0, lambda _: None)
    with pytest.raises(TypeError, match="x: a cell cannot hold dict"):
        tables.shown(column, {})
