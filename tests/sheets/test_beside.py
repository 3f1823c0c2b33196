"""What stands on Actions beside the stations that need nothing."""

from __future__ import annotations

from pathlib import Path

from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.report.book import book_json, short_table
from siltbook.batch.review.agenda import Item
from siltbook.batch.window.events import row_of
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
    (order,) = (words for words in actions(book) if words.startswith("1. See that nobody"))
    assert order.endswith("\nNorth 1: Remark: cannot be isolated")


STUCK = "valve is stuck, somebody works in the pit"


def noted(last: str = "") -> bytes:
    """Over the limit: a remark, a later round without one, and one after the day of judging."""
    return filled(
        Readings=[
            reading(day(1), *OVER, Remark=STUCK),
            reading(day(3), *OVER, Remark=last or None),
            reading(day(9), *OVER, Remark="of later"),
        ],
        Agreed=[{"Station": "North 1", "Action": "new valve", "Remark": "first of all"}],
    )


def test_the_newest_remark_stands_beside_the_advice_though_a_later_round_had_none() -> None:
    """'Flush: close the downstream valve' stood there without a word of it."""
    review = review_bytes(noted(), "invented.xlsx", "invented.xlsx", day(4))
    found = [str(v) for v in cells(review.package, "Actions", values=True).values()]
    (why,) = (text for text in found if text.startswith("Drop "))
    assert why.endswith(f'\nNoted 2026-06-01: "{STUCK}" (+ 1 more on Station review)')
    (order,) = (text for text in found if text.startswith("1. See that nobody"))
    assert order.endswith(
        f'\nNorth 1: Noted 2026-06-01: "{STUCK}" · Noted on Agreed, new valve: "first of all"'
    )


def test_terminal_document_agenda_and_window_say_the_newest_remark() -> None:
    long = ("all " * 80).strip()
    judged = assess_bytes(noted(long), "invented.xlsx", day(4))
    (result,) = judged.stations
    said = f'Noted 2026-06-03: "{long[:199]}…" (the rest: Readings row 3)'
    assert any(said in line for line in short_table(judged, "invented.xlsx"))
    assert said in Item(None, result, ()).why  # type: ignore[arg-type]  # asked for agreed actions
    document = book_json(judged, "invented.xlsx", None)
    newest, agreed = document["stations"][0]["remarks"]
    assert newest == {
        "sheet": "Readings", "row": 3, "date": "2026-06-03", "at": None, "remark": long
    }  # fmt: skip
    assert (agreed["date"], agreed["at"], agreed["remark"]) == (None, "new valve", "first of all")
    (need,) = row_of(Path("a"), Path("b"), document, ()).needs
    assert need.noted[1] == "Noted on Agreed: first of all"
