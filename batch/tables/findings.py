"""What is wrong or doubtful in the data, as the sheet Findings and the archive show it."""

from __future__ import annotations

from siltbook.batch.tables.describe import Column, Kind, Table, pick
from siltbook.checks.findings import Finding
from siltbook.templates import look

_ALL: tuple[Column[Finding], ...] = (
    Column("severity", "Severity", Kind.TEXT, 10.0, lambda f: str(f.severity), style="wrap",
           note="error, doubt or note.", required=True),
    Column("rule", "Rule", Kind.TEXT, 22.0, lambda f: f.rule, style="wrap",
           note="Code of the finding.", required=True),
    Column("sheet", "Sheet", Kind.NAME, 14.0, lambda f: f.sheet, style="wrap",
           note="Sheet of the workbook."),
    Column("cell", "Cell", Kind.NAME, 8.0, lambda f: f.cell, style="wrap",
           note="Cell of the sheet."),
    Column("station", "Station", Kind.NAME, 15.0, lambda f: f.station, style="wrap"),
    Column("message", "Message", Kind.NAME, 66.0, lambda f: f.message, style="wrap",
           note="The whole sentence.", required=True),
    Column("read", "What was read", Kind.NAME, 24.0, lambda f: f.read, style="wrap"),
    Column("accepted", "What is accepted", Kind.NAME, 28.0, lambda f: f.accepted, style="wrap"),
)  # fmt: skip
_KNOWN = {column.key: column for column in _ALL}

EVERY_FIELD: Table[Finding] = Table("findings in full", _ALL)

FINDINGS: Table[Finding] = Table(
    "Findings",
    (
        _KNOWN["severity"].but(source=lambda f: look.SEVERITIES[f.severity]),
        _KNOWN["rule"].but(width=17.0),
        _KNOWN["sheet"].but(width=12.0),
        *pick(_KNOWN, "cell", "station"),
        _KNOWN["message"].but(width=58.0),
        _KNOWN["read"].but(width=21.0),
        _KNOWN["accepted"].but(width=25.0),
    ),
)

FINDING_ROWS: Table[Finding] = Table(
    "findings", pick(_KNOWN, "rule", "severity", "sheet", "cell", "message")
)
