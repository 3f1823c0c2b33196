"""What stands on Actions beside the stations that need nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from siltbook.batch.archive.summary import summary
from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.remark_words import speaks
from siltbook.batch.remarks import all_of, beside_advice
from siltbook.batch.report.book import book_json, short_table
from siltbook.batch.results import StationResult
from siltbook.batch.review.agenda import Item
from siltbook.batch.tables.stations import why_text
from siltbook.batch.window.events import row_of
from tests.office import cells
from tests.paper.test_paper import text
from tests.whole.test_struck import struck
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
    (order,) = (words for words in actions(book) if words.startswith("1. Do not open the filter"))
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
    (order,) = (text for text in found if text.startswith("1. Do not open the filter"))
    assert order.endswith(
        f'\nNorth 1: Noted 2026-06-01: "{STUCK}" · Noted on Agreed, new valve: "first of all"'
    )


def test_terminal_document_agenda_and_window_say_the_newest_remark() -> None:
    long = ("all " * 80).strip()
    judged = assess_bytes(noted(long), "invented.xlsx", day(4))
    (result,) = judged.stations
    said = f'Noted 2026-06-03: "{long[:199]}…" (the rest: Readings row 3)'
    assert any(said in line for line in short_table(judged, "invented.xlsx"))
    stuck = f'Noted 2026-06-01: "{STUCK}" (+ 2 more: Readings row 3; Agreed row 2)'
    why = Item(None, result, ()).why  # type: ignore[arg-type]  # asked for agreed actions
    assert why.splitlines()[-1] == stuck
    document = book_json(judged, "invented.xlsx", None)
    matters, newest, agreed = document["stations"][0]["remarks"]
    assert matters["remark"] == STUCK
    assert newest == {
        "sheet": "Readings", "row": 3, "date": "2026-06-03", "at": None, "remark": long,
        "state": None, "first": None,
    }  # fmt: skip
    assert (agreed["date"], agreed["at"], agreed["remark"]) == (None, "new valve", "first of all")
    (need,) = row_of(Path("a"), Path("b"), document, ()).needs
    assert need.noted[2] == "Noted on Agreed: first of all"


def remarked(*rows: Row, work_done: Row | None = None, **more: list[Row]) -> StationResult:
    done = {"Work_done": [work_done]} if work_done else {}
    (result,) = assess_bytes(filled(Readings=list(rows), **done, **more), "invented.xlsx").stations
    return result


CLOUDY = "cloudy water"


def test_a_newer_harmless_remark_hides_none_that_matters() -> None:
    """'valve stuck' went with 'cloudy water' of the day after."""
    result = remarked(
        reading(day(1), *OVER, Remark="valve stuck"),
        reading(day(2), *OVER, Remark=CLOUDY),
        reading(day(3), *OVER, Remark=CLOUDY),
        work_done=work(day(2), Remark="all signs"),
    )
    assert why_text(result).splitlines()[-1] == (
        'Noted 2026-06-01: "valve stuck" (+ 2 more on Station review)'
    )
    assert beside_advice(result, 1) == [
        'Noted 2026-06-01: "valve stuck" (+ 2 more: Readings row 4; Work done row 2)'
    ]
    assert all_of(result)[1] == 'Noted 2026-06-03 (first 2026-06-02): "cloudy water"'


def test_what_was_noted_before_the_last_work_is_said_to_stand_there() -> None:
    result = remarked(
        reading(day(1), *FINE, Remark="gauge leaks"),
        reading(day(2), *FINE, Remark="windy"),
        reading(day(9), *OVER, Remark=CLOUDY),
        work_done=work(day(8), "hand cleaning"),
    )
    assert all_of(result) == [
        f'Noted 2026-06-09: "{CLOUDY}"', 'Noted 2026-06-01: "gauge leaks"',
        "Noted earlier: Readings row 3.",
    ]  # fmt: skip
    assert result.heed == 0


def test_more_remarks_than_there_is_room_for_are_counted_with_their_rows() -> None:
    rows = [reading(day(n), *OVER, Remark=f"day {n}") for n in range(1, 13)]
    lines = all_of(remarked(*rows))
    assert len(lines) == 8
    assert lines[-1] == ('Noted 2026-06-05: "day 5" (+ 4 more: Readings rows 2, 3, 4 and 5)')


def test_a_remark_in_a_row_without_a_date_stands_beside_the_advice() -> None:
    lost = {"Station": "North 1", "Remark": "valve stuck"}
    result = remarked(reading(day(1), *OVER, Remark=CLOUDY), lost)
    assert why_text(result).splitlines()[-1] == (
        'Noted on Readings row 3, which could not be placed: "valve stuck"'
        " (+ 1 more on Station review)"
    )
    near = reading(day(2), *OVER, Remark="gauge leaks") | {"Station": "Nort 1"}
    assert all_of(remarked(reading(day(1), *OVER), near)) == [
        'Noted 2026-06-02 on Readings row 3, which could not be placed: "gauge leaks"'
    ]


def test_a_remark_in_a_row_of_no_station_is_told_on_actions_and_the_terminal() -> None:
    lost = strange(reading(day(1), *FINE, Remark="valve stuck"))
    book = filled(Readings=[reading(day(1), *FINE), lost])
    said = 'Noted in rows of no station of the register: Readings row 3, Hillside: "valve stuck".'
    assert said in actions(book)
    judged = assess_bytes(book, "invented.xlsx")
    assert f"  {said}" in short_table(judged, "invented.xlsx")
    (remark,) = book_json(judged, "invented.xlsx", None)["remarks_of_no_station"]
    assert (remark["remark"], remark["at"]) == ("valve stuck", "Hillside")


def test_a_remark_of_a_row_that_is_struck_through_says_so() -> None:
    book = filled(Readings=[reading(day(1), *OVER, Remark="valve stuck"), reading(day(2), *OVER)])
    (result,) = assess_bytes(struck(book, "Readings", 2), "invented.xlsx").stations
    assert result.noted == ('Noted 2026-06-01 (struck through): "valve stuck"',)
    assert result.heed == 0
    (result,) = assess_bytes(struck(book, "Readings", 2, "E"), "invented.xlsx").stations
    assert result.noted == ('Noted 2026-06-01 (struck through): "valve stuck"',)


def test_a_station_in_range_with_a_remark_that_matters_is_named_with_it() -> None:
    """'No station needs anything' stood there, and the remark on Station review alone."""
    noted_fine = filled(Readings=[reading(day(1), *FINE, Remark="downstream valve stuck")])
    found = actions(noted_fine)
    assert "No station needs anything." not in found
    lines = short_table(assess_bytes(noted_fine, "invented.xlsx"), "invented.xlsx")
    assert '  In range, but noted at North 1: Noted 2026-06-01: "downstream valve stuck"' in lines
    assert 'In range, but noted at North 1: Noted 2026-06-01: "downstream valve stuck"' in found
    assert "No station needs anything." in actions(
        filled(Readings=[reading(day(1), *FINE, Remark=CLOUDY)])
    )


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext is missing")
def test_the_archives_page_says_what_was_noted_beside_its_advice(tmp_path: Path) -> None:
    book = filled(Readings=[reading(day(1), *OVER, Remark="valve stuck")])
    page = summary(assess_bytes(book, "invented.xlsx"), "invented.xlsx", "0")
    assert 'Noted 2026-06-01: "valve stuck"' in text(page, tmp_path)


@pytest.mark.parametrize("words", ["Manometer undicht", "Válvula rota", "snakes in the PIT",
    "fuite à la vanne", "acid was dosed", "cannot be isolated", "someone works there"])  # fmt: skip
def test_words_of_valve_gauge_leak_chemicals_access_and_danger_matter(words: str) -> None:
    assert speaks(words)


@pytest.mark.parametrize("words", ["cloudy water", "windy, warm", "read late", "block 3 first"])
def test_other_words_do_not(words: str) -> None:
    assert not speaks(words)
