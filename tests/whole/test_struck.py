"""Readings and work that people struck through: not used, and said."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from io import BytesIO

import openpyxl
import pytest
from openpyxl.styles import Font

from siltbook.batch.job import assess_bytes
from tests.office import Shared, needs_office
from tests.whole.verdicts import day, filled, judged, messages, reading, said, work

OVER, FINE = (3.2, 2.5), (3.2, 3.0)  # inlet and outlet [bar]: drops of 7.14 and 2.04 m
FLUSH = "Drop 7.14 m on 2026-06-01, 2.14 m over the limit of 5.00 m; no complete flush since."


def struck(book: bytes, sheet: str, row: int, cells: Iterable[str] = "ABCD") -> bytes:
    """The book with a line through these cells of a row."""
    opened = openpyxl.load_workbook(BytesIO(book))
    for letter in cells:
        opened[sheet][f"{letter}{row}"].font = Font(strike=True)
    made = BytesIO()
    opened.save(made)
    return made.getvalue()


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("cells", ["ABCD", "C", "D", "B"])
def test_a_struck_reading_ends_no_episode(cells: str) -> None:
    book = filled(Readings=[reading(day(1), *OVER), reading(day(8), *FINE)])
    assert said(book)[0] != "flush"
    line = struck(book, "Readings", 3, cells)
    assert said(line) == ("flush", f"{FLUSH} Struck through and not used: Readings row 3.")
    (message,) = messages(struck(book, "Readings", 3, "C"), "cell-struck")
    assert message == (
        "Readings!C3: struck through: read 3.2 with a line through it; the row was not used;"
        " accepted: rows that are meant to count. Delete the row if it is void; take the line away"
        " if it counts."
    )


def test_where_the_latest_reading_is_struck_the_station_is_read_again() -> None:
    book = filled(Readings=[reading(day(1), *FINE), reading(day(8), *OVER)])
    assert said(struck(book, "Readings", 3)) == (
        "re-read",
        "The reading of 2026-06-08 cannot be judged (struck through); before it: drop 2.04 m on"
        " 2026-06-01, within the limit of 5.00 m. Struck through and not used: Readings row 3.",
    )


def test_struck_work_proves_nothing() -> None:
    done = [work(day(1)), work(day(1), "hand cleaning", Gauge_zero_before_opening="yes")]
    book = filled(Readings=[reading(day(1), *OVER)], Work_done=done)
    assert said(book)[0] == "re-read"
    line = struck(struck(book, "Work done", 2, "C"), "Work done", 3, "B")
    sentence = f"{FLUSH} Struck through and not used: Work done row 2; Work done row 3."
    assert said(line) == ("flush", sentence)


def test_a_line_through_a_remark_or_a_flow_strikes_no_reading() -> None:
    book = filled(Readings=[reading(day(1), *OVER, Remark="windy", Flow=40)])
    assert messages(struck(book, "Readings", 2, "E"), "cell-struck") == []
    assert said(struck(book, "Readings", 2, "E"))[1] == said(book)[1]
    flow = said(struck(book, "Readings", 2, "EF"))
    used = " Struck through and used all the same: Readings row 2."
    assert flow == (said(book)[0], f"{said(book)[1]}{used}")
    assert said(struck(book, "Readings", 2, "EF"))[0] == "flush"


@cache
def a_struck_reading() -> bytes:
    book = filled(Readings=[reading(day(1), *OVER), reading(day(8), *FINE)])
    return struck(book, "Readings", 3)


@pytest.mark.at_length(keep="ods")
@needs_office
@pytest.mark.parametrize("kind", ["ods", "xls", "xlsx"])
def test_a_line_survives_other_formats(kind: str, office: Shared) -> None:
    (other,) = office.resaved(a_struck_reading(), to=kind)
    (result,) = assess_bytes(other, f"farm.{kind}").stations
    assert str(result.verdict) == "flush"
    assert result.judgement.reason.endswith("Struck through and not used: Readings row 3.")


def test_a_font_that_is_said_not_to_be_struck_is_none() -> None:
    book = openpyxl.load_workbook(BytesIO(filled(Readings=[reading(day(1), *OVER)])))
    book["Readings"]["C2"].font = Font(strike=False, bold=True)
    made = BytesIO()
    book.save(made)
    assert judged(made.getvalue()).verdict == "flush"
    assert messages(made.getvalue(), "cell-struck") == []


USED = "; it was used all the same; accepted: {} that are meant to count."


@pytest.mark.parametrize(
    ("sheet", "row", "cells", "cell"),
    [
        ("Stations", 2, "B", "B2: struck through: read 9"),
        ("Gauges", 2, "AB", "A2: struck through: read 'North 1'"),
        ("Work done", 2, "E", "E2: struck through: read 'no'"),
    ],
)
def test_what_else_is_struck_is_used_and_said(sheet: str, row: int, cells: str, cell: str) -> None:
    book = filled(
        Stations=[{"Station": "North 1", "Drop limit (m)": 9}],
        Gauges=[{"Station": "North 1", "From": day(1), "Pressure unit": "bar"}],
        Readings=[reading(day(8), *FINE)],
        Work_done=[work(day(1), Click_heard="no")],
    )
    line = struck(book, sheet, row, cells)
    (message,) = messages(line, "cell-struck")
    assert message.startswith(f"{sheet}!{cell} with a line through it{USED.format('rows')}")
    assert said(line)[1].endswith(f" Struck through and used all the same: {sheet} row {row}.")
    assert said(line)[0] == said(book)[0]
    assert messages(struck(book, "Readings", 2, "Z"), "cell-struck") == []


def test_a_setting_that_is_struck_is_used_and_said() -> None:
    book = filled(Farm=[{"Drop limit": 9}], Readings=[reading(day(8), *OVER)])
    (message,) = messages(struck(book, "Farm", 1, "AB"), "cell-struck")
    assert message.startswith(
        f"Farm!B1: struck through: read 9 with a line through it{USED.format('settings')}"
    )
