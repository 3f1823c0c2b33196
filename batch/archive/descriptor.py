"""The archive's tables described by an open standard: a Data Package with Table Schemas.

Frictionless Data, Data Package and Table Schema, version 1 (specs.frictionlessdata.io). A
constraint of the contract stands in the schema only where this data keeps it; what it does not
keep is named beside it, so that the package is valid and nothing is hidden.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from siltbook.batch.archive.tables import ArchiveTable, Field, plain
from siltbook.batch.fingerprint import digest

PROFILE = "tabular-data-package"
RESOURCE = {  # what every table's entry says; a stranger's descriptor may say nothing else
    "profile": "tabular-data-resource",
    "format": "csv",
    "mediatype": "text/csv",
    "encoding": "utf-8",
    "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "header": True},
}
TYPES = ("string", "number", "integer", "boolean", "date", "time")
_FACTS = {
    "m of water": "conventional metre of water, 9806.65 Pa exactly",
    "m3/h": "cubic metres per hour",
}


def slug(name: str) -> str:
    """A name as a Data Package may have it: lower case letters, digits, '.', '_' and '-'."""
    return re.sub(r"[^a-z0-9._-]+", "-", name.casefold()).strip("-.") or "book"


def descriptor(
    tables: Sequence[ArchiveTable], data: dict[str, bytes], book: str, title: str, version: str
) -> dict[str, Any]:
    """The document `datapackage.json`.

    `data` maps each table's name to its file's bytes; `book` is the workbook's file name.
    """
    return {
        "profile": PROFILE,
        "name": slug(book.rpartition(".")[0]),
        "title": title,
        "description": (
            "A season of filter-station readings: the sheets of the workbook as read, the "
            "verdicts, and what led to them. Text that begins with = + - or @ has an apostrophe "
            "in front of it, so that no spreadsheet takes it for a formula."
        ),
        "sources": sources(book),
        "made_by": f"siltbook {version}",
        "resources": [_resource(table, data[table.name], book) for table in tables],
    }


def sources(book: str) -> list[dict[str, str]]:
    """Where everything comes from: the workbook beside it."""
    return [{"title": f"Workbook {book}", "path": book}]


def path_of(table: ArchiveTable) -> str:
    """Where a table's file lies inside the archive."""
    return path_at(table.name)


def path_at(name: str) -> str:
    """Where the file of the table of this name lies inside the archive."""
    return f"data/{name}.csv"


def _resource(table: ArchiveTable, data: bytes, book: str) -> dict[str, Any]:
    unmet = list(_unmet(table))
    found: dict[str, Any] = {
        **RESOURCE,
        "name": table.name,
        "path": path_of(table),
        "title": table.title,
        "bytes": len(data),
        "hash": f"sha256:{digest(data)}",
        "sources": sources(book),
        "schema": _schema(table, {name for name, _ in unmet}),
    }
    if unmet:
        found["unmet_constraints"] = [said for _, said in unmet]
    return found


def _schema(table: ArchiveTable, unmet: set[str]) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [_field(table, field, unmet) for field in table.fields],
        "missingValues": [""],
    }
    if table.key and "key" not in unmet:
        schema["primaryKey"] = table.key
    return schema


def _field(table: ArchiveTable, field: Field, unmet: set[str]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": field.name,
        "type": field.type,
        "description": field.description,
    }
    if field.type in ("date", "time"):
        found["format"] = "default"
    if field.unit:
        found["unit"] = field.unit
        if field.unit in _FACTS:
            found["unit_is"] = _FACTS[field.unit]
    limits = {k: v for k, v in _limits(field).items() if f"{field.name}.{k}" not in unmet}
    if limits:
        found["constraints"] = limits
    return found


def _limits(field: Field) -> dict[str, Any]:
    limits: dict[str, Any] = {}
    if field.required:
        limits["required"] = True
    if field.choices:
        limits["enum"] = list(field.choices)
    if field.low is not None:
        limits["minimum"] = field.low
    if field.high is not None:
        limits["maximum"] = field.high
    return limits


def _unmet(table: ArchiveTable) -> Iterator[tuple[str, str]]:
    """Constraints that this data does not keep: 'field.constraint' and how many rows break it."""
    for field in table.fields:
        values = table.column(field.name)
        for name, limit in _limits(field).items():
            broken = sum(_breaks(name, limit, value) for value in values)
            if broken:
                wanted = name if name == "required" else f"{name} {limit}"
                said = f"{field.name}: {wanted}: not kept in {broken} of {len(values)} rows"
                yield f"{field.name}.{name}", said
    if table.key:
        values = table.column(table.key)
        if len({plain(v) for v in values} - {""}) < len(values):
            yield "key", f"{table.key}: a name stands twice or is missing"


def _breaks(name: str, limit: Any, value: object) -> bool:
    missing = plain(value) == ""
    if name == "required" or missing:
        return name == "required" and missing
    if name == "enum":
        return value not in list(limit)
    if not isinstance(value, int | float):
        return False
    return value < float(limit) if name == "minimum" else value > float(limit)
