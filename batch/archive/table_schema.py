"""A table's rows against its schema: types, constraints, and a key that is never repeated.

Frictionless Data, Table Schema, version 1 (specs.frictionlessdata.io): the parts of it that an
archive of this program uses, each value in the very form in which this program writes it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

_LONGEST = 80  # characters of a cell that a sentence repeats
_NUMBER = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?(e[+-]?[0-9]{1,3})?")
_INTEGER = re.compile(r"-?[0-9]{1,40}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(r"[0-9]{2}:[0-9]{2}:[0-9]{2}")


def _date(text: str) -> bool:
    return bool(_DATE.fullmatch(text)) and _told(dt.date.fromisoformat, text)


def _time(text: str) -> bool:
    return bool(_TIME.fullmatch(text)) and _told(dt.time.fromisoformat, text)


def _told(parse: Callable[[str], object], text: str) -> bool:
    try:
        parse(text)
    except ValueError:
        return False
    return True


_IS: Mapping[str, Callable[[str], bool]] = {
    "string": lambda _: True,
    "number": lambda text: bool(_NUMBER.fullmatch(text)),
    "integer": lambda text: bool(_INTEGER.fullmatch(text)),
    "boolean": lambda text: text in ("true", "false"),
    "date": _date,
    "time": _time,
}


def broken(rows: Sequence[Sequence[str]], schema: Mapping[str, Any]) -> Iterator[str]:
    """What of `rows` (below the header, each as wide as the schema) the schema does not allow.

    `schema` has `fields` (name, type, maybe constraints) and maybe `primaryKey`, as `standard`
    has checked them; an empty cell is a missing value.
    """
    for at, field in enumerate(schema["fields"]):
        limits = field.get("constraints", {})
        for n, row in enumerate(rows, 2):
            why = _why(row[at], field["type"], limits)
            if why:
                read = f", read {row[at][:_LONGEST]!r}" if row[at] else ""
                yield f"row {n}, column {field['name']}: {why}{read}"
    names = [field["name"] for field in schema["fields"]]
    for key in schema.get("primaryKey", ()):
        yield from _repeated([row[names.index(key)] for row in rows], key)


def _why(text: str, kind: str, limits: Mapping[str, Any]) -> str:
    """Why a cell is not allowed; empty where it is."""
    if text == "":
        return "missing" if limits.get("required") else ""
    if not _IS[kind](text):
        return f"no {kind}"
    if "enum" in limits and text not in limits["enum"]:
        return f"none of {', '.join(limits['enum'])}"
    if "minimum" in limits and float(text) < limits["minimum"]:
        return f"under {limits['minimum']}"
    if "maximum" in limits and float(text) > limits["maximum"]:
        return f"over {limits['maximum']}"
    return ""


def _repeated(values: Sequence[str], key: str) -> Iterator[str]:
    seen: set[str] = set()
    for n, value in enumerate(values, 2):
        if value == "" or value in seen:
            yield f"row {n}, column {key}: missing or stands twice, read {value[:_LONGEST]!r}"
        seen.add(value)
