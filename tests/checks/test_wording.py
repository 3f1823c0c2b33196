"""Numbers in sentences."""

from __future__ import annotations

import pytest

from siltbook.checks.wording import number


@pytest.mark.parametrize(
    ("value", "decimals", "said"),
    [
        (300.0, 10, "300"), (0.1 + 0.2, 10, "0.3"), (0.0, 10, "0"), (-0.0, 10, "0"),
        (-0.004, 2, "0"), (-0.006, 2, "-0.01"), (-2.5, 10, "-2.5"), (1.0 / 3.0, 3, "0.333"),
    ],
)  # fmt: skip
def test_a_number_is_said_without_padding_and_no_zero_is_below_zero(
    value: float, decimals: int, said: str
) -> None:
    assert number(value, decimals) == said
