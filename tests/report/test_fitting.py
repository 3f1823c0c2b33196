"""Names on the terminal stay apart, and the reasons behind them begin in one column."""

from __future__ import annotations

import pytest

from siltbook.batch.job import assess_bytes
from siltbook.batch.report.book import printable, short_table
from siltbook.batch.report.fitting import MOST, padded, short_names, width
from tests.typed.farm import DAY, make, opened, saved

LONG = "Northern reservoir block of the upper river field station "


def test_long_names_that_begin_alike_are_cut_where_they_differ() -> None:
    given = [f"{LONG}A", f"{LONG}B", "Plain", "x" * 41]
    shown = short_names(given, printable)
    assert shown == {
        f"{LONG}A": "Northern reservoir …iver field station A",
        f"{LONG}B": "Northern reservoir …iver field station B",
        "Plain": "Plain",
        "x" * 41: f"{'x' * 39}…",
    }
    assert all(width(one) <= MOST for one in shown.values())


@pytest.mark.parametrize(
    "names",
    [
        [f"{LONG}1, gate A, lower terrace, east", f"{LONG}2, gate A, lower terrace, east"],
        [f"{LONG}A", "Northern reservoir block of the upper r…"],
        ["田" * 30 + "東", "田" * 30 + "西", "田" * 20],
    ],
    ids=["alike at both ends", "one typed as the other is cut", "wide letters"],
)
def test_no_two_names_are_ever_shown_alike(names: list[str]) -> None:
    shown = short_names(names, printable)
    assert len(set(shown.values())) == len(names)


def test_the_columns_of_a_name_are_those_of_a_terminal() -> None:
    assert [width(one) for one in ("Weir", "北の畑", "한국어", "Re\u0301serve", "👩 farm", "")] == [
        4, 6, 6, 7, 7, 0,
    ]  # fmt: skip
    assert padded("北", 4) == "北  "


def make_of(names: list[str]) -> bytes:
    """A book whose stations have these names and are over the limit."""
    book = opened(make([[name, DAY, 3.0, 2.4] for name in names]))
    for row, name in enumerate(names, start=2):
        book["Stations"].cell(row, 1).value = name
    return saved(book)


def test_the_table_names_stations_apart_and_keeps_its_columns() -> None:
    names = [f"{LONG}A", f"{LONG}B", "北の畑の貯水池"]
    made = assess_bytes(make_of(names), "farm.xlsx")
    lines = [line for line in short_table(made, "farm.xlsx") if "Drop 0.60 bar" in line]
    assert [line[19:].split("  ")[0] for line in lines] == [
        "Northern reservoir …iver field station A", "Northern reservoir …iver field station B",
        "北の畑の貯水池",
    ]  # fmt: skip
    assert {width(line.partition("Drop")[0]) for line in lines} == {61}
