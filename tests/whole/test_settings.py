"""Settings of the sheet Farm that would take the meaning out of a verdict."""

from __future__ import annotations

import pytest

from tests.whole.verdicts import day, filled, judged, messages, reading

OVER = (3.2, 2.5)  # inlet and outlet [bar]: a drop of 7.14 m


@pytest.mark.parametrize("least", [0, 0.05])
def test_a_flush_needs_some_inlet(least: float) -> None:
    """Zero divided by in the look for another unit, and no flush could be too weak."""
    book = filled(Farm=[{"Lowest flush inlet": least}], Readings=[reading(day(1), *OVER)])
    assert str(judged(book).verdict) == "flush"
    (message,) = messages(book, "value-out-of-bounds")
    assert message == (
        f"Farm!B1: value outside what is possible: read {least}; accepted: 0.09807 to 19.61 bar;"
        " until then 2 bar is used. Check the value and its unit."
    )


def test_a_setting_that_stands_twice_is_said() -> None:
    rows = [{"Drop limit": 14}, {"Drop limit": 5}]
    book = filled(Farm=rows, Readings=[reading(day(1), *OVER)])
    assert messages(book, "setting-twice") == [
        "Farm!B2: setting stands twice: read Drop limit 5, beside B1; accepted: each setting once;"
        " B1 was used. Keep one row."
    ]
    same = filled(Farm=[{"Drop limit": 5}, {"Drop limit": 5}], Readings=[])
    assert messages(same, "setting-twice") == []


def test_where_the_first_of_two_is_empty_the_second_is_not_used_unsaid() -> None:
    rows = [{"Drop limit": ""}, {"Drop limit": 3}]
    assert messages(filled(Farm=rows), "setting-twice") == [
        "Farm!B2: setting stands twice: read Drop limit 3, beside B1; accepted: each setting once;"
        " B1 was used. Keep one row."
    ]
