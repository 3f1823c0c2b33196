"""Inputs of the last run found again, in small books: one cause each, and what cannot be found."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import Any

import pytest

from siltbook.batch.audit.carried import Carried
from siltbook.batch.audit.causes import causes
from siltbook.batch.audit.earlier import Evidence, earlier
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.reading.book import read_book
from siltbook.batch.typed.mark import Mark
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.book import Book

NAME = "farm.xlsx"
Row = dict[str, Any]
LAST = dt.date(2026, 5, 18)


def at(day: int, inlet: float = 3.0) -> Row:
    return {"station": "Alder", "date": dt.date(2026, 5, day), "inlet": inlet, "outlet": 2.8}


@cache
def package(*settings: tuple[str, Any], readings: int = 3, work: int = 0, inlet: float = 3.0,
            unit: str = "bar") -> bytes:  # fmt: skip
    """A book of one station with so many readings and flushes."""
    lists = {
        "Stations": [{"station": "Alder"}],
        "Readings": [at(4 + n, inlet if n == 1 else 3.0) for n in range(readings)],
        "Work done": [{"station": "Alder", "date": LAST, "work": "flush"}] * work,
    }
    return build(BlankOptions(unit, "m3/h", "Invented farm"), lists, dict(settings))


def read(data: bytes) -> Book:
    return read_book(data, NAME).book


def found(now: bytes, was: bytes, *, witness: bytes | None = None,
          evidence: Evidence | None = None) -> list[str] | None:  # fmt: skip
    """What changed from one book to the other, as the later one and its mark show it."""
    mark = Mark("1", NAME, LAST, fingerprint(read(was)))
    given = () if witness is None else (("copy.xlsx", b"no book"), ("may.xlsx", witness))
    one = earlier(now, NAME, read(now), mark, evidence or Evidence(), given)
    if one is None:
        return None
    assert fingerprint(read(one.package)) == mark.inputs
    return [c.said for c in (*one.settings, *one.cells, *one.added)] + [one.witness] * bool(
        one.witness
    )


@pytest.mark.at_length(keep="Watch share")
@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        (("watch_share", 0.6), ("watch_share", 0.7), "Watch share 0.6 → 0.7"),
        (("flush_cycles", 2), ("flush_cycles", 4), "Flush cycles 2 → 4"),
        (("interval", 3), ("interval", 14), "Reading interval 3 → 14"),
        (("flush_inlet", 1.5), ("flush_inlet", 2.5), "Lowest flush inlet 1.5 → 2.5"),
        (("passage_rule", "one eighth"), ("passage_rule", "one tenth"),
         "Passage rule one eighth → one tenth"),
        (("review_date", LAST), ("review_date", dt.date(2026, 6, 1)),
         "Review date 2026-05-18 → 2026-06-01"),
        (("drop_limit", 0.37), ("drop_limit", 0.6), "Drop limit 0.37 → 0.6"),
    ],
)  # fmt: skip
def test_a_setting_that_people_use_is_found_by_trying(
    was: tuple[str, Any], now: tuple[str, Any], said: str
) -> None:
    assert found(package(now), package(was)) == [said]


@pytest.mark.at_length  # test_causes.py tells two settings apart
def test_two_settings_are_not_found() -> None:
    two = package(("watch_share", 0.6), ("interval", 3))
    assert found(package(("watch_share", 0.7), ("interval", 14)), two) is None


@pytest.mark.at_length(keep="4-2")
@pytest.mark.parametrize(
    ("readings", "work", "said"),
    [
        (4, 0, ["1 row added to Readings (row 5)"]),
        (5, 0, ["2 rows added to Readings (rows 5 and 6)"]),
        (3, 1, ["1 row added to Work done (row 2)"]),
        (4, 2, ["1 row added to Readings (row 5)", "2 rows added to Work done (rows 2 and 3)"]),
    ],
)
def test_rows_that_were_added_at_the_end_are_found(
    readings: int, work: int, said: list[str]
) -> None:
    assert found(package(readings=readings, work=work), package()) == said


@pytest.mark.at_length  # test_told_apart.py tries units
def test_another_unit_of_all_pressures_is_found() -> None:
    data = package(("pressure_unit", "kPa"))
    assert found(data, package(("pressure_unit", "bar"))) == ["Pressure unit bar → kPa"]


def test_a_cell_that_a_formula_still_shows_is_found() -> None:
    evidence = Evidence()
    cell = read(package()).readings.cell("inlet", 3)
    evidence.note(f"'Readings'!{cell}", f"'Readings'!{cell}", 3.1, 3.0)
    assert found(package(), package(inlet=3.1), evidence=evidence) == [f"Readings!{cell} 3.1 → 3"]
    # A cell that is no input shows nothing, and what else changed is found all the same.
    stray = Evidence()
    stray.note("'Elsewhere'!D3", "'Elsewhere'!D3", 3.1, 3.0)
    assert found(package(readings=4), package(), evidence=stray) == [
        "1 row added to Readings (row 5)"
    ]


def test_a_witness_that_holds_the_inputs_is_named() -> None:
    was = package(inlet=3.1)
    assert found(package(), was, witness=was) == ["may.xlsx"]


def test_sheets_without_a_fingerprint_have_no_inputs_to_find() -> None:
    mark = Mark("1", NAME, LAST, "")
    assert earlier(package(), NAME, read(package()), mark, Evidence(), ()) is None


# From cells that differ to their causes.


def said_of(differ: bool, inputs: str | None = None) -> tuple[tuple[str, ...], bool]:
    one = read(package())
    stored = Carried({"Costs": {2: {7: 1.0}}}, {})
    again = Carried({"Costs": {2: {7: 2.0 if differ else 1.0}}, "Runs": {}}, {})
    mark = Mark("1", NAME, LAST, fingerprint(one) if inputs is None else inputs)
    made = causes(stored, again, one, package(), mark)
    return made.said, made.known


def test_where_inputs_are_the_same_a_result_was_edited() -> None:
    assert said_of(True) == (("1 result cell was edited by hand: Costs!C7",), True)
    assert said_of(False) == ((), True)


def test_where_inputs_changed_and_cannot_be_found_nothing_is_blamed_on_a_hand() -> None:
    rest = "1 cell differs, and what was edited by hand cannot be told from what follows"
    why = "inputs changed after the last run, and the book alone does not show which"
    assert said_of(True, "0123456789ab") == ((f"{why}: {rest}",), False)
    assert said_of(False, "0123456789ab") == ((), True)
    none = "the result sheets do not say which inputs they were made from"
    assert said_of(True, "") == ((f"{none}: {rest}",), False)
    assert said_of(False, "") == ((), True)
