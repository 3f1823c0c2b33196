"""The descriptor and its tables, checked against the open standard.

Types, constraints and keys are checked by `table_schema`; the standard's own library looks at
the tables a second time where it is installed (`siltbook[verify]`). It would follow whatever a
descriptor says: addresses, other formats, expressions of its own. So a descriptor is first
compared with what this program writes, key by key, and the library gets one that is built anew
from the few things that may differ. What is read is bounded before.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from siltbook.batch.archive import inventory
from siltbook.batch.archive.descriptor import PROFILE, RESOURCE, TYPES, path_at, sources
from siltbook.batch.archive.inventory import MOST_SAID, shown
from siltbook.batch.archive.manifest import Manifest, as_json
from siltbook.batch.archive.strict_json import StrictError, parse_strict_json
from siltbook.batch.archive.table_schema import broken

MOST_BYTES = 4 * 2**20  # of the descriptor; one of a season of 100,000 readings takes 40 KB
_MOST_VALUES = 200_000
MOST_CELLS = 1_000_000  # of all tables; the library takes some five seconds for them
MOST_TABLE_BYTES = 16 * 2**20  # of all tables; text may take a dozen times its bytes in memory
_NAME = re.compile(r"[a-z0-9][a-z0-9_.-]{0,99}")
_SLUG = re.compile(r"[a-z0-9._-]{1,255}")
_TOP = {"profile", "name", "title", "description", "sources", "made_by", "resources"}
_TABLE = {*RESOURCE, "name", "path", "title", "bytes", "hash", "sources", "schema"}
_FIELD = {"name", "type", "description"}
_MAY_FIELD = {"format", "unit", "unit_is", "constraints"}
_LIMITS = {"required", "enum", "minimum", "maximum"}


class DescriptorError(ValueError):
    """Where the descriptor is not one that this program writes; the text is one sentence."""


def _refuse(where: str, what: str) -> DescriptorError:
    return DescriptorError(f"{shown(where)}: {what} is not as this program writes it.")


def checked(data: bytes, listed: Manifest, sizes: Mapping[str, int]) -> list[dict[str, Any]]:
    """Every table's path and schema, built anew from `data`; DescriptorError where it is not ours.

    `sizes` [bytes] are those of the archive's files, whose SHA-256 are as `listed` says.
    """
    try:
        found = parse_strict_json(data, MOST_BYTES, _MOST_VALUES)
    except StrictError as error:
        raise DescriptorError(f"{error}.") from None
    _keys(found, "the package", _TOP)
    _fixed(found, "the package", {
        "profile": PROFILE,
        "made_by": f"siltbook {listed.version}",
        "sources": sources(listed.book),
    })  # fmt: skip
    _name(found["name"], "the package", _SLUG)
    _texts(found, "the package", ("title", "description"))
    all_of_them = _list(found["resources"], "'resources'", 100)
    tables = [_table(one, listed, sizes) for one in all_of_them]
    paths = [table["path"] for table in tables]
    missing = {p for p in listed.files if p.startswith("data/")} - {*paths}
    if missing or len(paths) > len({*paths}):
        raise DescriptorError("it does not list every table once.")
    return tables


def _table(found: object, listed: Manifest, sizes: Mapping[str, int]) -> dict[str, Any]:
    where = f"table {found.get('name', '')}" if isinstance(found, dict) else "a table"
    made = _keys(found, where, _TABLE, {"unmet_constraints"})
    name = _name(made["name"], where)
    path = path_at(name)
    if path not in listed.files:
        raise DescriptorError(f"it names {path}, which is not in the archive.")
    _fixed(made, where, {
        **RESOURCE,
        "path": path,
        "bytes": sizes[path],
        "hash": f"sha256:{listed.files[path]}",
        "sources": sources(listed.book),
    })  # fmt: skip
    _texts(made, where, ("title",))
    if "unmet_constraints" in made:
        unmet = _list(made["unmet_constraints"], f"{where}: 'unmet_constraints'", 1_000)
        if not all(isinstance(one, str) for one in unmet):
            raise _refuse(where, "'unmet_constraints'")
    return {"path": path, "schema": _schema(made["schema"], where)}


def _fixed(made: Mapping[str, Any], where: str, wanted: Mapping[str, Any]) -> None:
    """Every key has the very value that this program writes."""
    for key, value in wanted.items():
        if as_json(made[key]) != as_json(value):  # 1, 1.0 and true are equal to Python
            raise _refuse(where, f"'{key}'")


def _schema(found: object, where: str) -> dict[str, Any]:
    made = _keys(found, where, {"fields", "missingValues"}, {"primaryKey"})
    _fixed(made, where, {"missingValues": [""]})
    fields = [_field(one, where) for one in _list(made["fields"], f"{where}: 'fields'", 200)]
    names = [field["name"] for field in fields]
    if len(names) > len({*names}):
        raise _refuse(where, "the list of columns")
    schema: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    if "primaryKey" in made:
        if made["primaryKey"] not in names:
            raise _refuse(where, "'primaryKey'")
        schema["primaryKey"] = [made["primaryKey"]]
    return schema


def _field(found: object, where: str) -> dict[str, Any]:
    made = _keys(found, where, _FIELD, _MAY_FIELD)
    name = _name(made["name"], where)
    where = f"{where}, column {name}"
    _texts(made, where, ("description", *(k for k in ("unit", "unit_is") if k in made)))
    if made["type"] not in TYPES:
        raise _refuse(where, "'type'")
    if made.get("format", "default") != "default":
        raise _refuse(where, "'format'")
    field: dict[str, Any] = {"name": name, "type": made["type"]}
    if "constraints" in made:
        field["constraints"] = _limits(made["constraints"], made["type"], where)
    return field


def _limits(found: object, kind: str, where: str) -> dict[str, Any]:
    made = _keys(found, where, set(), _LIMITS)
    if made.get("required", True) is not True:
        raise _refuse(where, "'required'")
    if "enum" in made:
        choices = _list(made["enum"], f"{where}: 'enum'", 100)
        if kind != "string" or not all(isinstance(choice, str) for choice in choices):
            raise _refuse(where, "'enum'")
    for key in ("minimum", "maximum"):
        value = made.get(key, 0)
        plain = type(value) in (int, float) and math.isfinite(value)
        if not plain or (key in made and kind not in ("number", "integer")):
            raise _refuse(where, f"'{key}'")
    return dict(made)


def _keys(
    found: object, where: str, must: set[str], may: set[str] | frozenset[str] = frozenset()
) -> dict[str, Any]:
    """The object with exactly these keys."""
    if not isinstance(found, dict) or not must <= {*found}:
        raise DescriptorError(f"{shown(where)}: a key of it is missing, or it is no object.")
    if odd := sorted({*found} - must - may):
        raise DescriptorError(f"{shown(where)}: {shown(odd[0])!r} is no key that it can have.")
    return found


def _list(found: object, what: str, most: int) -> list[object]:
    if not isinstance(found, list) or not 0 < len(found) <= most:
        raise DescriptorError(f"{shown(what)} is not a list of 1 to {most}.")
    return found


def _name(found: object, where: str, like: re.Pattern[str] = _NAME) -> str:
    if not isinstance(found, str) or not like.fullmatch(found):
        raise _refuse(where, "'name'")
    return found


def _texts(made: Mapping[str, Any], where: str, keys: Sequence[str]) -> None:
    for key in keys:
        if not isinstance(made[key], str):
            raise _refuse(where, f"'{key}'")


def too_many(tables: Mapping[str, int], folder: Path) -> bool:
    """Whether tables of these sizes [bytes] hold more than the library is asked to look at.

    OSError where one cannot be read.
    """
    if sum(tables.values()) > MOST_TABLE_BYTES:
        return True
    cells = 0
    for path, size in tables.items():
        for piece in inventory.pieces(folder / path, size):
            cells += piece.count(b",") + piece.count(b"\n") + piece.count(b"\r")
    return cells > MOST_CELLS


def troubles(data: bytes, safe: dict[str, Any]) -> Iterator[str]:
    """What is wrong with one table of a descriptor made by `checked`.

    The library gets rows and types, no file: its own reader guesses at the format of a file.
    """
    path, schema = safe["path"], safe["schema"]
    names = [field["name"] for field in schema["fields"]]
    try:
        rows = _rows(data, names)
        said = list(islice(_said(rows, schema), MOST_SAID))
    except DescriptorError as error:
        said = [str(error)]
    except MemoryError:
        raise
    except Exception as error:  # the library's errors, and those of what it stands on, share none
        said = [f"it could not be read ({type(error).__name__})"]
    for text in said:
        yield f"{path}: not valid by the Data Package standard: {shown(text)}"


def _rows(data: bytes, names: Sequence[str]) -> list[list[str]]:
    """The rows below the header; DescriptorError where they are not those of a table of ours."""
    limit = csv.field_size_limit(MOST_TABLE_BYTES)
    try:
        lines = io.StringIO(data.decode("utf-8"), newline="")
        reader = csv.reader(lines, strict=True)
        if next(reader, None) != [*names]:
            raise DescriptorError("the columns are not those that are described")
        rows: list[list[str]] = []
        for row in reader:
            if len(row) != len(names):
                raise DescriptorError(
                    f"row {len(rows) + 2} has {len(row):,} cells and not {len(names)}"
                )
            rows.append(row)
        return rows
    except UnicodeDecodeError:
        raise DescriptorError("it is not UTF-8") from None
    except csv.Error as error:
        raise DescriptorError(f"it is no table with commas ({error})") from None
    finally:
        csv.field_size_limit(limit)


def _said(rows: list[list[str]], schema: dict[str, Any]) -> Iterator[str]:
    """Our own sentences; where there are none and the standard's own library is there, its."""
    own = list(islice(broken(rows, schema), MOST_SAID))
    yield from own
    if not own and has_library():
        yield from _by_library(rows, schema)


def has_library() -> bool:
    """Whether the standard's own library is installed: `pip install "siltbook[verify]"`."""
    from importlib.util import find_spec

    return find_spec("frictionless") is not None


def _by_library(rows: list[list[str]], schema: dict[str, Any]) -> Iterator[str]:
    from frictionless import Schema, system
    from frictionless.resources import TableResource

    with system.use_context(trusted=False):
        names = [field["name"] for field in schema["fields"]]
        typed = Schema.from_descriptor(schema)
        table = TableResource(name="table", data=[names, *rows], schema=typed)
        report = table.validate(limit_errors=MOST_SAID)
    for error in (*report.errors, *(e for task in report.tasks for e in task.errors)):
        yield error.message
