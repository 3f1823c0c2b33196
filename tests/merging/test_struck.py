"""A row that somebody struck through comes from no copy as a live one, and that is said."""

from __future__ import annotations

import openpyxl
import pytest
from openpyxl.styles import Font

from siltbook.batch.commands.merge import lines as lines_of
from siltbook.batch.merging.job import Merged
from siltbook.batch.reading.book import read_book
from tests.merging.test_merge import BOOK, NAME, Edit, changed, merged, readings, row


def strike(data: bytes, number: int, *, line: bool = True) -> bytes:
    def how(book: openpyxl.Workbook) -> None:
        for cell in book["Readings"][number]:
            cell.font = Font(strike=line)

    return changed(data, how)


def told(done: Merged) -> list[str]:
    return [line.strip() for line in lines_of(done, NAME, None)][1:-1]  # type: ignore[arg-type]


NEW = 20  # the row behind the last
LONGER = changed(BOOK, row(1, "Ann", "one"))
STRUCK = strike(LONGER, NEW)


def test_a_struck_row_that_the_book_lacks_stays_out_with_all_that_it_says() -> None:
    done = merged(BOOK, STRUCK)
    assert done.added == {}
    assert told(done) == [
        "Readings, west · 2026-06-02 · routine: struck through in the copy, so it was not added:"
        " West; 2026-06-02; 3; 2.8; Ann; one [Readings!A20] (by Ann)"
    ]
    assert done.data is not None
    assert readings(done.data) == readings(BOOK)
    by_hand = strike(changed(done.data, row(1, "Ann", "one")), NEW)
    assert told(merged(by_hand, STRUCK)) == []


@pytest.mark.parametrize(("book", "copy", "mine"), [(LONGER, STRUCK, 0), (STRUCK, LONGER, 1)])
def test_a_row_that_one_side_alone_strikes_through_is_said(
    book: bytes, copy: bytes, mine: int
) -> None:
    words = ["'it counts'", "'struck through'"]
    (line,) = told(done := merged(book, copy))
    assert line == (
        "Readings, west · 2026-06-02 · routine: struck through in one of the two; strike it here,"
        f" or take the line away: {words[mine]} here, {words[1 - mine]} in copy-1.xlsx"
        " [Readings!A20 / Readings!A20] (by Ann / Ann)"
    )
    assert done.data is not None
    settled = strike(done.data, NEW, line=not mine)
    assert told(merged(settled, copy)) == []


@pytest.mark.parametrize(("copy", "said"), [(STRUCK, 1), (LONGER, 0)])
def test_with_a_common_ancestor_only_who_struck_it_is_asked_about(copy: bytes, said: int) -> None:
    assert len(told(merged(LONGER, copy, base=LONGER))) == said
    assert told(merged(copy, LONGER, base=LONGER)) == []


def test_the_corrected_row_under_a_struck_one_comes_as_a_row_of_its_own() -> None:
    def corrected(book: openpyxl.Workbook) -> None:
        book["Readings"].append(["West", book["Readings"].cell(NEW, 2).value, 3.0, 2.3])

    copy: Edit = corrected
    done = merged(STRUCK, changed(STRUCK, copy))
    assert (done.added, done.points) == ({"Readings": 1}, ())


def test_a_row_that_is_added_behind_a_struck_one_is_not_struck() -> None:
    done = merged(STRUCK, changed(BOOK, row(2, "Bea", "two")))
    assert (done.added, done.data is not None) == ({"Readings": 1}, True)
    assert done.data is not None
    assert read_book(done.data, NAME).book.readings.struck == {NEW}


def test_a_date_that_only_the_book_would_tell_day_from_month_of_stays_out() -> None:
    """05/06/2026 of a copy was 6 May beside the book's 06/13/2026."""

    def typed(*dates: str) -> bytes:
        def how(book: openpyxl.Workbook) -> None:
            for text in dates:
                book["Readings"].append(["West", text, 3.0, 2.7])

        return changed(BOOK, how)

    done = merged(typed("06/13/2026"), typed("05/06/2026"))
    assert done.added == {}
    assert told(done) == [
        "Readings, west · 05/06/2026 · routine: its date can be read two ways, so it was not added:"
        " write it year first: West; 05/06/2026; 3; 2.7 [Readings!A20]"
    ]
    assert merged(BOOK, typed("05/06/2026")).added == {"Readings": 1}  # read by nobody there
