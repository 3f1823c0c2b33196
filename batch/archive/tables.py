"""What an archive holds as tables: every sheet that people fill, the verdicts and what led to them.

Quantities are in the program's units, named in each column's name: metres of water (9 806.65 Pa),
m3/h. Every row names the row of the workbook that it comes from.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from siltbook.batch.report.book import finding_json, station_json
from siltbook.batch.results import Assessment
from siltbook.batch.sheets.kit import clean
from siltbook.templates.book import Book, Table
from siltbook.templates.contract import FARM, LISTS, Column, Kind, Sheet

_SUFFIX = {Kind.PRESSURE: "_m", Kind.METRES: "_m", Kind.FLOW: "_m3_per_h"}
_UNIT = {Kind.PRESSURE: "m of water", Kind.METRES: "m of water", Kind.FLOW: "m3/h"}
_TYPE = {Kind.TEXT: "string", Kind.CHOICE: "string", Kind.DATE: "date", Kind.TIME: "time"}
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
    said = [station_json(result) for result in assessment.stations]
    filled = [_filled(sheet, held[sheet.name]) for sheet in LISTS]
    return (
        _farm(book),
        *filled,
        _drops(assessment),
        _verdicts(said),
        _runs(said),
        _findings(assessment),
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


def _filled(sheet: Sheet, table: Table) -> ArchiveTable:
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


def _drops(assessment: Assessment) -> ArchiveTable:
    fields = (
        _ROW,
        Field("station", "string", "Station.", required=True),
        Field("date", "date", "Day of the reading.", required=True),
        Field("time", "time", "Time of the reading."),
        Field("drop_m", "number", "Inlet minus outlet.", "m of water"),
        Field("u_drop_m", "number", "Standard uncertainty of the drop.", "m of water", low=0),
        Field("p_over", "number", "Probability that the drop is over the limit.", low=0, high=1),
        Field("used", "boolean", "Whether the judgement used it.", required=True),
        Field("why_not_used", "string", "Why it was not used."),
    )
    rows = sorted(
        (r.row, result.station.name, r.date, r.time, r.drop, r.u_drop, r.p_over, r.usable,
         r.why_unusable or None)
        for result in assessment.stations
        for r in result.history.readings
    )  # fmt: skip
    return ArchiveTable("drops", "Pressure drops of the judged readings", fields, tuple(rows), "")


_VERDICT_FIELDS = (
    Field("station", "string", "Station.", required=True),
    Field("verdict", "string", "Verdict.", required=True),
    Field("reason", "string", "Why, in one sentence."),
    Field("also", "string", "What else holds, ids with spaces between."),
    Field("borderline", "boolean", "Too close to the limit to be sure.", required=True),
    Field("read_on", "date", "Day of the latest usable reading."),
    Field("drop_m", "number", "Latest usable drop.", "m of water"),
    Field("limit_m", "number", "Limit of the station.", "m of water", required=True),
    Field("drop_u_m", "number", "Standard uncertainty of the drop.", "m of water"),
    Field("p_over", "number", "Probability that the drop is over the limit.", low=0, high=1),
    Field("days_over", "integer", "Days since the open stretch over the limit began.", "days"),
    Field("forecast", "date", "Day on which the limit is expected to be reached."),
    Field("forecast_low", "date", "Early end of the 80 % interval."),
    Field("forecast_high", "date", "Late end of the 80 % interval."),
    Field("forecast_silent", "string", "Why there is no forecast."),
    Field("read_by", "date", "Day by which to read again."),
    Field("energy_kwh", "number", "Pump energy that dirt cost.", "kWh"),
    Field("energy_cost", "number", "Its price, in the farm's currency."),
)
_RUN_FIELDS = (
    Field("station", "string", "Station.", required=True),
    Field("start", "date", "First reading of the run.", required=True),
    Field("end", "date", "End of the run.", required=True),
    Field("readings", "integer", "Usable readings in the run.", required=True),
    Field("rate_m_per_day", "number", "Fouling rate, median of all slopes.", "m of water per day"),
    Field("rate_low", "number", "Low end of its 80 % interval.", "m of water per day"),
    Field("rate_high", "number", "High end of its 80 % interval.", "m of water per day"),
    Field("valid", "boolean", "Whether the rate may be used.", required=True),
    Field("why", "string", "Why it may not."),
    Field("ended_by", "string", "What ended the run; empty: still open."),
    Field("inferred", "boolean", "Ended by a fall that no work explains.", required=True),
    Field("recovered", "number", "Share of the rise over the clean drop that its end gave back."),
    Field("rows", "string", "Rows of its readings on the sheet Readings, spaces between."),
)
_FINDING_FIELDS = (
    Field("rule", "string", "Code of the finding.", required=True),
    Field("severity", "string", "error, doubt or note.", required=True),
    Field("sheet", "string", "Sheet of the workbook."),
    Field("cell", "string", "Cell of the sheet."),
    Field("message", "string", "The whole sentence.", required=True),
)


def _picked(
    fields: Sequence[Field], records: Iterable[Mapping[str, object]]
) -> Iterator[tuple[object, ...]]:
    """Rows of the named fields; ISO dates become dates again, so that one writer serves all."""
    for record in records:
        yield tuple(_typed(field, record.get(field.name)) for field in fields)


def _typed(field: Field, value: object) -> object:
    if field.type == "date" and isinstance(value, str):
        return dt.date.fromisoformat(value)
    return None if value == "" else value


def _verdicts(said: Sequence[Mapping[str, Any]]) -> ArchiveTable:
    records = []
    for record in said:
        ahead = record.get("forecast") or {}
        ahead = {f"forecast_{key}": ahead.get(key) for key in ("low", "high", "silent")} | {
            "forecast": ahead.get("date")
        }
        records.append({**record, "also": " ".join(record["also"]), **ahead})
    rows = tuple(_picked(_VERDICT_FIELDS, records))
    title = "One verdict for each station"
    return ArchiveTable("verdicts", title, _VERDICT_FIELDS, rows, "station")


def _runs(said: Sequence[Mapping[str, Any]]) -> ArchiveTable:
    records = (
        {"station": record["station"], **run, "rows": " ".join(map(str, run["rows"]))}
        for record in said
        for run in record.get("runs", ())
    )
    rows = tuple(_picked(_RUN_FIELDS, records))
    return ArchiveTable("runs", "The runs between two cleanings", _RUN_FIELDS, rows)


def _findings(assessment: Assessment) -> ArchiveTable:
    rows = tuple(_picked(_FINDING_FIELDS, map(finding_json, assessment.findings)))
    return ArchiveTable("findings", "What is wrong or doubtful in the data", _FINDING_FIELDS, rows)


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
