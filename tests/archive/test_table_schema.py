"""A table against its schema: our own check says what the standard's library says."""

from __future__ import annotations

from typing import Any

import pytest

from siltbook.batch.archive.standard import _by_library
from siltbook.batch.archive.table_schema import broken


def schema(kind: str, key: bool = False, **limits: Any) -> dict[str, Any]:
    made: dict[str, Any] = {
        "fields": [{"name": "x", "type": kind, "constraints": limits}], "missingValues": [""],
    }  # fmt: skip
    return {**made, "primaryKey": ["x"]} if key else made


CASES = [
    ("string", {}, "anything", ""),
    ("string", {"enum": ["a", "b"]}, "c", "none of a, b"),
    ("string", {"required": True}, "", "missing"),
    ("number", {}, "-12.5e-3", ""),
    ("number", {}, "1,5", "no number"),
    ("number", {"minimum": 0}, "-0.1", "under 0"),
    ("number", {"minimum": 0, "maximum": 14}, "14", ""),
    ("number", {"minimum": 0, "maximum": 14}, "14.1", "over 14"),
    ("integer", {}, "12", ""),
    ("integer", {}, "12.5", "no integer"),
    ("boolean", {}, "true", ""),
    ("boolean", {}, "yes", "no boolean"),
    ("date", {}, "2026-02-28", ""),
    ("date", {}, "2026-02-30", "no date"),
    ("date", {}, "28.02.2026", "no date"),
    ("time", {}, "06:05:00", ""),
    ("time", {}, "25:05:00", "no time"),
]


@pytest.mark.parametrize(("kind", "limits", "text", "why"), CASES)
def test_a_cell(kind: str, limits: dict[str, Any], text: str, why: str) -> None:
    read = f", read {text!r}" if text else ""
    wanted = [f"row 2, column x: {why}{read}"] if why else []
    assert list(broken([[text]], schema(kind, **limits))) == wanted


@pytest.mark.parametrize(("kind", "limits", "text", "why"), CASES)
def test_the_library_of_the_standard_says_the_same(
    kind: str, limits: dict[str, Any], text: str, why: str
) -> None:
    # A row of nothing but an empty cell is no row to the library.
    made = schema(kind, **limits)
    made["fields"].append({"name": "y", "type": "string"})
    assert bool(list(_by_library([[text, "-"]], made))) == bool(why)


def test_a_key_stands_once_and_is_never_missing() -> None:
    said = list(broken([["A"], ["B"], ["A"], [""]], schema("string", key=True)))
    assert said == [
        "row 4, column x: missing or stands twice, read 'A'",
        "row 5, column x: missing or stands twice, read ''",
    ]


def test_without_the_library_the_own_check_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    from siltbook.batch.archive import standard

    monkeypatch.setattr(standard, "has_library", lambda: False)
    table = {"path": "data/t.csv", "schema": schema("date")}
    assert list(standard.troubles(b"x\r\n2026-13-01\r\n", table)) == [
        "data/t.csv: not valid by the Data Package standard: row 2, column x: no date, "
        "read '2026-13-01'"
    ]
    assert list(standard.troubles(b"x\r\n2026-12-01\r\n", table)) == []
