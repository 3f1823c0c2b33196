"""Whatever unit is shown, verdicts and every number behind them are the same."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest

from siltbook.batch.assess import assess, with_bill
from siltbook.batch.report.book import book_json
from siltbook.batch.results import Assessment
from siltbook.templates.contract import PRESSURE_UNITS
from tests.samples.load import assessed

BOOK = "mixed-units.xlsx"
# Words: the only keys that may differ, and only in their figures with units.
WORDS = ("reason", "message", "why", "notes", "why_default")
_ONE = r"-?[\d.]+(?: to -?[\d.]+)? (?:bar|kPa|psi|m|kgf/cm2)"
_FIGURE = re.compile(rf"{_ONE}(?: \({_ONE}\)|\b)")  # '5 m (7.1 psi)': as typed, and converted


def judged() -> Assessment:
    return assessed(BOOK)


def shown(unit: str) -> dict[str, Any]:
    book = judged().book
    book = replace(book, settings=replace(book.settings, show_pressures=unit))
    again = with_bill(assess(book, as_of=judged().as_of, findings=()))
    made: dict[str, Any] = json.loads(json.dumps(book_json(again, BOOK, None)))
    return made


def plain(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {k: plain(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [plain(v, key) for v in value]
    return _FIGURE.sub("#", value) if isinstance(value, str) and key in WORDS else value


@pytest.mark.parametrize("unit", [u for u in PRESSURE_UNITS if u != "m"])
def test_nothing_but_words_depends_on_the_unit_shown(unit: str) -> None:
    metres, other = shown("m"), shown(unit)
    assert metres != other
    assert plain(metres) == plain(other)
