"""Printed pages: the scale follows from the widths, and no table prints under 8 pt."""

from __future__ import annotations

import pytest

from siltbook.templates.printing import LEAST_TYPE, pages, scale


def test_a_narrow_table_prints_in_its_own_size() -> None:
    assert scale([20.0, 30.0], 10) == 100


def test_a_table_just_wider_than_the_page_is_made_smaller() -> None:
    assert 80 <= scale([40.0, 60.0, 60.0], 10) < 100


def test_a_table_too_wide_to_be_read_is_refused() -> None:
    with pytest.raises(ValueError, match="under 8 pt"):
        scale([100.0, 100.0], 10)


def test_a_table_split_by_meaning_is_measured_by_its_widest_part() -> None:
    widths = [15.0, 100.0, 100.0]
    assert scale(widths, 10, repeat=1, starts=[2]) == scale([15.0, 100.0], 10)


def test_larger_type_may_be_made_smaller_still() -> None:
    wide = [90.0, 100.0]
    assert scale(wide, 12) * 12 >= 100 * LEAST_TYPE
    with pytest.raises(ValueError, match="prints its type under 8 pt"):
        scale(wide, 10)


def test_a_table_that_gained_a_column_goes_on_on_a_further_page() -> None:
    widths = [15.0, 80.0, 60.0, 60.0, 60.0]
    starts = pages(widths, 10, repeat=1, starts=[2])
    assert starts == (2, 4)
    assert scale(widths, 10, 1, starts) * 10 >= 100 * LEAST_TYPE
    assert pages([15.0, 60.0], 10, repeat=1) == ()
