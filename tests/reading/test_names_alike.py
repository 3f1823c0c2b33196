"""Names that look the same are the same, and results never share a name on any system."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from siltbook.batch.child import Limits, bound
from siltbook.batch.files import reviewed_path
from siltbook.batch.many import most_processes
from tests.reading.books import reading


@pytest.mark.parametrize(
    "typed",
    ["Cafe\u0301", "Ca\u00adfé", "Ca\u200bfé", "\ufeffCafé", "CAFÉ", "Caf\u2060é", "Café\u200e"],
)
def test_a_station_typed_on_another_system_is_the_same_station(typed: str) -> None:
    register: list[list[object]] = [["Station"], ["Café"]]
    found = reading([typed, dt.date(2026, 5, 9), None, 3.0, 2.0], Stations=register)
    assert found.book.readings.frame["station"].tolist() == ["Café"]
    assert found.book.stations.frame["station"].tolist() == ["Café"]


def test_results_whose_names_differ_in_capitals_only_get_a_number() -> None:
    used: set[Path] = set()
    made = [reviewed_path(Path(name), Path("out"), used) for name in ("Farm.xlsx", "farm.xlsx")]
    assert [path.name for path in made] == ["Farm.reviewed.xlsx", "farm-2.reviewed.xlsx"]


def test_results_whose_names_differ_in_how_an_accent_is_written_only_get_a_number() -> None:
    used: set[Path] = set()
    names = ("caf\u00e9.xlsx", "cafe\u0301.xlsx")
    made = [reviewed_path(Path(name), Path("out"), used) for name in names]
    assert [path.name for path in made] == [
        "caf\u00e9.reviewed.xlsx", "cafe\u0301-2.reviewed.xlsx",
    ]  # fmt: skip


def test_windows_gets_no_more_workers_than_it_can_wait_for() -> None:
    assert most_processes("win32") == 61
    assert most_processes("linux") > 61


def test_a_system_that_refuses_a_limit_or_has_none_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []

    def refuse(what: int, _: object) -> None:
        asked.append(what)
        raise ValueError("current limit exceeds maximum limit")

    fake = SimpleNamespace(
        RLIMIT_CPU=0, RLIMIT_AS=9, getrlimit=lambda _: (-1, -1), setrlimit=refuse
    )
    monkeypatch.setitem(sys.modules, "resource", fake)
    bound(Limits(1.0, 2**30))
    assert asked == [0, 9]
    monkeypatch.setitem(sys.modules, "resource", None)
    bound(Limits(1.0, 2**30))
