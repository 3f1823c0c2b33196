"""What an archive holds as tables: every sheet that people fill, the verdicts and what led to them.

Quantities are in the program's units, named in each column's name: metres of water (9 806.65 Pa),
m3/h. Every row names the row of the workbook that it comes from.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass

from siltbook.batch.results import Assessment
from siltbook.batch.sheets.kit import clean
from siltbook.batch.tables.describe import Column as Described
from siltbook.batch.tables.describe import Kind as Quantity
from siltbook.batch.tables.describe import Row, Table
from siltbook.batch.tables.findings import FINDING_ROWS
from siltbook.batch.tables.readings import DROPS, station_readings
from siltbook.batch.tables.runs import RUN_ROWS, station_runs
from siltbook.batch.tables.stations import VERDICTS
from siltbook.templates.book import Book
from siltbook.templates.book import Table as Filled
from siltbook.templates.contract import FARM, LISTS, Column, Kind, Sheet

_SUFFIX = {Kind.PRESSURE: "_m", Kind.METRES: "_m", Kind.FLOW: "_m3_per_h"}
_UNIT = {Kind.PRESSURE: "m of water", Kind.METRES: "m of water", Kind.FLOW: "m3/h"}
_TYPE = {Kind.TEXT: "string", Kind.CHOICE: "string", Kind.DATE: "date", Kind.TIME: "time"}
_TYPE_OF = {
    **dict.fromkeys((Quantity.TEXT, Quantity.NAME, Quantity.VERDICT, Quantity.VERDICTS), "string"),
    Quantity.DATE: "date",
    Quantity.TIME: "time",
    Quantity.YES_NO: "boolean",
    Quantity.COUNT: "integer",
}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Field:
    """One column of a table, in the words of the Table Schema standard."""

    name: str
    type: str
    description: str
    unit: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class ArchiveTable:
    """One table: its name, what it is, its fields and its rows of plain values."""

    name: str
    title: str
    fields: tuple[Field, ...]
    rows: tuple[tuple[object, ...], ...]
    key: str = ""  # the field whose values are all different and never missing, if any

    def column(self, name: str) -> list[object]:
        """The values of one field; ValueError where there is none of this name."""
        at = [f.name for f in self.fields].index(name)
        return [row[at] for row in self.rows]


def tables(assessment: Assessment) -> tuple[ArchiveTable, ...]:
    """Every table of one judged book, in a fixed order."""
    book = assessment.book
    held = book.lists()
    filled = [_filled(sheet, held[sheet.name]) for sheet in LISTS]
    stations = assessment.stations
    drops = station_readings(assessment)
    return (
        _farm(book),
        *filled,
        _made(DROPS, "Pressure drops of the judged readings", drops),
        _made(VERDICTS, "One verdict for each station", stations, "station"),
        _made(RUN_ROWS, "The runs between two cleanings", station_runs(stations)),
        _made(FINDING_ROWS, "What is wrong or doubtful in the data", assessment.findings),
    )


def _field(column: Column) -> Field:
    return Field(
        name=column.key + _SUFFIX.get(column.kind, ""),
        type=_TYPE.get(column.kind, "number"),
        description=f"{column.header}. {column.help}",
        unit=_UNIT.get(column.kind, column.unit),
        required=column.required,
        choices=column.choices,
        low=column.low,
        high=column.high,
    )


_ROW = Field("row", "integer", "Row of the workbook's sheet that this comes from.", required=True)


def _filled(sheet: Sheet, table: Filled) -> ArchiveTable:
    """One list sheet as it was read: every row that was not set aside for want of its basis."""
    frame = table.frame
    columns = [frame.index.tolist(), *(frame[c.key].tolist() for c in sheet.columns)]
    rows = tuple(zip(*columns, strict=True))
    name = sheet.name.casefold().replace(" ", "-")
    title = f"The sheet '{table.sheet}' as read"
    fields = (_ROW, *(_field(c) for c in sheet.columns))
    key = "station" if sheet.name == "Stations" else ""
    return ArchiveTable(name, title, fields, rows, key)


def _farm(book: Book) -> ArchiveTable:
    """The settings that were used, defaults among them; one row each, as text."""
    fields = (
        Field("setting", "string", "Label on the sheet Farm.", required=True),
        Field("value", "string", "What was used, in the unit beside it."),
        Field("unit", "string", "Unit of the value; empty where it has none."),
        Field("cell", "string", "Cell that it was read from; empty: the default."),
    )
    rows = []
    for column in FARM.columns:
        value = getattr(book.settings, column.key)
        unit = _UNIT.get(column.kind, column.unit)
        if isinstance(value, float):
            value = f"{value!r}".removesuffix(".0")
        shown = None if value is None or value == "" else str(value)
        rows.append((column.header, shown, unit, book.setting_cells.get(column.key)))
    return ArchiveTable("farm", "The settings of the farm", fields, tuple(rows), "setting")


def _made(table: Table[Row], title: str, rows: Iterable[Row], key: str = "") -> ArchiveTable:
    """A described table with these rows."""
    values = tuple(tuple(map(_value, table.values(row))) for row in rows)
    return ArchiveTable(table.name, title, tuple(map(_described, table.columns)), values, key)


def _described(column: Described[Row]) -> Field:
    """A described column in the standard's words."""
    unit = column.unit
    if column.kind in (Quantity.PRESSURE, Quantity.RATE):
        unit = unit.replace("m", "m of water", 1)
    return Field(
        name=column.key,
        type=_TYPE_OF.get(column.kind, "number"),
        description=column.note,
        unit=unit,
        required=column.required,
        choices=column.choices,
        low=column.low,
        high=column.high,
    )


def _value(value: object) -> object:
    """A source's value as a table keeps it: ids with spaces between, None for an empty text."""
    if isinstance(value, tuple):
        value = " ".join(map(str, value))
    return None if value == "" else value


def _text(value: str) -> str:
    """A person's text as a spreadsheet may open it: never a formula."""
    text = clean(value)
    return f"'{text}" if text.startswith(_FORMULA) else text


def plain(value: object) -> str:
    """One value as the table holds it; empty for a missing one."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        # Ten digits: the same on every machine, and far beyond what a gauge can tell.
        return f"{value:.10g}"
    if isinstance(value, dt.time):
        return value.strftime("%H:%M:%S")
    if isinstance(value, dt.date):
        return value.isoformat()
    return _text(str(value))


def as_csv(table: ArchiveTable) -> bytes:
    """The table as comma-separated values: UTF-8, one header line, lines end as RFC 4180 says."""
    target = io.StringIO(newline="")
    writer = csv.writer(target, lineterminator="\r\n")
    writer.writerow([field.name for field in table.fields])
    writer.writerows([plain(value) for value in row] for row in table.rows)
    return target.getvalue().encode()
