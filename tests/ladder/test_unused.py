"""Numbers in words that count as blank are named where the station is judged."""

from __future__ import annotations

import pytest

from siltbook.batch.ladder.unused import unused_rows
from siltbook.checks.findings import find
from siltbook.templates.book import column_letters
from siltbook.templates.contract import READINGS, STATIONS, WORK, Sheet
from tests.checks.builders import book


@pytest.mark.parametrize(
    ("sheet", "key", "read", "said"),
    [
        (WORK, "cycles", "'many'", "Work done row 2, Cycles 'many': it counts as blank."),
        (WORK, "flush_inlet", "'low'",
         "Work done row 2, Lowest inlet in flush 'low': it counts as blank."),
        (STATIONS, "working_inlet", "'two'",
         "Stations row 2, Lowest working inlet 'two': it counts as blank."),
        (STATIONS, "drop_limit", "'three'",
         "Stations row 2, Drop limit 'three': the farm's limit is used."),
        (STATIONS, "drop_limit", "'-'", ""),
        (WORK, "cycles", "'-'", ""),
        (WORK, "cycles", "'n/a'", ""),
    ],
)  # fmt: skip
def test_a_number_in_words_is_named(sheet: Sheet, key: str, read: str, said: str) -> None:
    place = [column.key for column in sheet.columns].index(key)
    finding = find(
        "cell-not-number", sheet=sheet.name, cell=f"{column_letters(place)}2", read=read,
        accepted="a number", station="North 1",
    )  # fmt: skip
    found = unused_rows(book([]), [finding])
    assert found == ({"North 1": f" Could not be read: {said}"} if said else {})


def test_a_number_out_of_bounds_is_named_with_its_row() -> None:
    """It was named on Findings alone, or without its row and what counts in its place."""
    place = column_letters([column.key for column in STATIONS.columns].index("drop_limit"))
    finding = find(
        "value-out-of-bounds", sheet=STATIONS.name, cell=f"{place}2", read="700 m",
        accepted="drop limit from 0.1 to 60 m", station="North 1",
    )  # fmt: skip
    assert unused_rows(book([]), [finding])["North 1"] == (
        " Outside what is possible: Stations row 2, Drop limit 700 m: the farm's limit is used."
    )


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ("3.1 struck through; it was used all the same", "used all the same"),
        ("3.1 struck through", "not used"),
    ],
)
def test_a_row_that_is_struck_through_is_said_to_be_used_or_not(read: str, said: str) -> None:
    finding = find(
        "cell-struck", sheet=READINGS.name, cell="D2", read=read, accepted="rows that count",
        station="North 1",
    )  # fmt: skip
    found = unused_rows(book([]), [finding])
    assert found == {"North 1": f" Struck through and {said}: Readings row 2."}
