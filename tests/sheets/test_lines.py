"""How many lines wrapped text takes, by the letters' own widths: within bounds, never too few."""

from __future__ import annotations

import pytest

from siltbook.batch.sheets import kit


@pytest.mark.parametrize(
    ("text", "width", "least", "most"),
    [
        ("", 20.0, 1, 1),
        ("In range", 20.0, 1, 1),
        ("illicit " * 12, 48.0, 1, 2),
        ("WWWWWWWWWW " * 12, 48.0, 5, 6),
        ("1. Flush.\n2. Read the drop again.", 56.0, 2, 2),
        ("a" * 200, 20.0, 10, 13),
    ],
)
def test_lines_follow_the_letters(text: str, width: float, least: int, most: int) -> None:
    assert least <= kit.lines(text.strip(), width) <= most


def test_narrow_letters_take_fewer_lines_than_wide_ones() -> None:
    assert kit.lines("ill " * 40, 30.0) < kit.lines("WOM " * 40, 30.0)


def test_never_fewer_lines_in_a_narrower_column() -> None:
    text = "A proven flush did not bring the drop down: open and clean the element by hand."
    counts = [kit.lines(text, width) for width in (60.0, 40.0, 20.0, 10.0, 1.0)]
    assert counts == sorted(counts)
