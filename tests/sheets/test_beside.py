"""What stands on Actions beside the stations that need nothing."""

from __future__ import annotations

from siltbook.batch.job import review_bytes
from tests.office import cells
from tests.whole.verdicts import Row, day, filled, reading, station, work

FINE, OVER = (3.2, 3.0), (3.2, 2.5)  # inlet and outlet [bar]


def actions(book: bytes) -> list[str]:
    """The texts of the sheet Actions."""
    review = review_bytes(book, "invented.xlsx", "invented.xlsx")
    return [str(value) for value in cells(review.package, "Actions", values=True).values()]


def strange(row: Row) -> Row:
    return row | {"Station": "Hillside"}


def test_a_reading_over_under_an_unknown_name_is_no_day_without_work() -> None:
    """It said 'No station needs anything', and the reading stood on Findings alone."""
    rows = [reading(day(1), *FINE), strange(reading(day(1), *OVER))]
    found = actions(filled(Readings=rows, Work_done=[strange(work(day(1)))]))
    assert "No station needs anything." not in found
    assert "No station of the register needs anything, as far as the data tell." in found
    assert (
        'Judged nowhere, under a name that the register lacks: Readings A3, "Hillside"; Work done'
        ' A2, "Hillside".' in found
    )
    assert "2 errors and 1 doubt in the data: see the sheet Findings." in found


def test_a_book_without_a_fault_says_none_of_it() -> None:
    found = actions(filled(Readings=[reading(day(1), *FINE)]))
    assert "No station needs anything." in found
    assert not [text for text in found if "in the data" in text or "Judged nowhere" in text]


def test_a_station_in_range_is_named_with_what_speaks_against_it() -> None:
    book = filled(Stations=station(Drop_limit=12), Readings=[reading(day(1), *OVER)])
    assert (
        "In range, but look: North 1. A filter usually counts as clogged at 5.00 m: in range by"
        " this higher limit only." in actions(book)
    )


def test_the_remark_of_the_register_stands_beside_the_order_of_work() -> None:
    book = filled(Stations=station(Remark="cannot be isolated"), Readings=[reading(day(1), *OVER)])
    assert "North 1 (Remark: cannot be isolated)" in actions(book)
