"""What formulas, cells and rows still show of inputs that were changed, on small frozen values."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.audit.carried import Carried
from siltbook.batch.audit.causes import (
    Causes,
    _cells,
    _edits,
    _followers,
    _inputs,
    _named,
    _odd,
    _Sheet,
    _untold,
    unlike,
)
from siltbook.batch.audit.earlier import (
    Added,
    Changed,
    Earlier,
    Evidence,
    _factor,
    _shorter,
    _tries,
    _with_unit,
    shown,
)
from siltbook.batch.audit.formulas import Unlike, leads_to, link_of, pairs, same_formula
from siltbook.batch.audit.stored_results import MOST_NAMED, broken, differences, sentence
from siltbook.batch.reading.cells import NoValue
from siltbook.batch.typed.mark import Mark
from siltbook.templates.book import Settings
from tests.checks.builders import book, reading

FARM = "IF(ISNUMBER('Farm'!B6),'Farm'!B6,5.0)"


# Formulas.


@pytest.mark.parametrize(
    ("text", "places", "leads"),
    [
        ("K31-J31", {(31, 10)}, True), ("K31-J31", {(31, 9)}, True), ("K31-J31", {(30, 10)}, False),
        ("SUM(B18:C29)", {(18, 1)}, True), ("SUM(B18:C29)", {(29, 2)}, True),
        ("SUM(B18:C29)", {(17, 1)}, False), ("SUM(B18:C29)", {(30, 2)}, False),
        ("SUM(B18:C29)", {(20, 0)}, False), ("SUM(B18:C29)", {(20, 3)}, False),
        ("'Readings'!B2+C2", {(2, 1)}, False), ("'Readings'!B2+C2", {(2, 2)}, True),
        ("$C$2*2", {(2, 2)}, True), ("3*2", {(3, 1)}, False),
    ],
)  # fmt: skip
def test_which_cells_a_formula_rests_on(
    text: str, places: set[tuple[int, int]], leads: bool
) -> None:
    assert leads_to(text, places) is leads


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("A1*1.0000000000001", "A1*1", True), ("A1*1.00000000001", "A1*1", False),
        ("A1*.5", "A1*0.5", True), ('"a ""b"""', '"a ""b"""', True), ("A1", "A1+A1", False),
        ("A1<=B1", "A1<B1", False), ("'it''s'!A1", "'IT''S'!A1", True), ("A1", "A2", False),
    ],
)  # fmt: skip
def test_the_fifteenth_digit_does_not_count_and_the_eleventh_does(
    one: str, other: str, same: bool
) -> None:
    assert same_formula(one, other) is same


def test_a_link_is_one_cell_of_another_sheet_and_what_it_is_without() -> None:
    link = link_of("'It''s ours'!$D$20")
    assert link is not None
    assert (link.sheet, link.cell, link.other) == ("It's ours", "D20", None)
    assert link_of("IF(ISNUMBER('Farm'!B6),'Farm'!B7,5.0)") is None
    assert link_of("D20") is None


@pytest.mark.parametrize(
    ("stored", "new", "value", "kept", "said"),
    [
        (None, "A1", 3.0, False, "formula in Costs!C7 replaced by a number"),
        (None, "A1", "x", False, "formula in Costs!C7 replaced by text"),
        (None, "A1", None, False, "formula in Costs!C7 replaced by nothing"),
        ("B1", None, 3.0, True,
         "formula in Costs!C7 typed where a value stood (=B1), its stored value kept"),
        ("B1", "A1", 3.0, False, "formula in Costs!C7 changed (=B1; as written: =A1)"),
    ],
)  # fmt: skip
def test_what_became_of_a_formula(
    stored: str | None, new: str | None, value: float | str | None, kept: bool, said: str
) -> None:
    assert Unlike("Costs", (7, 2), stored, new, value, kept).said == said


def test_formulas_of_both_sheets_are_put_side_by_side() -> None:
    stored, new = [((1, 0), "A"), ((2, 0), "B")], [((2, 0), "C"), ((3, 0), "D")]
    assert list(pairs(stored, new)) == [
        ((2, 0), "B", "C"), ((3, 0), None, "D"), ((1, 0), "A", None),
    ]  # fmt: skip


# What a formula shows of a cell that was changed.


@pytest.mark.parametrize(
    ("stored", "was", "now", "shows"),
    [
        # The value that stood there is what the cell was.
        ("'Farm'!B6", 4.0, 6.0, {("Farm", "B6"): 4.0}),
        ("'Farm'!B6", 6.0, 6.0, {}),
        ("'Farm'!B6", "4", 6.0, {}),
        # The same cell with another number to stand in for it.
        ("IF(ISNUMBER('Farm'!B6),'Farm'!B6,4.0)", 6.0, 6.0, {("Farm", "B6"): 4.0}),
        ("'Farm'!B7", 4.0, 6.0, {}),
        ("A1+1", 4.0, 6.0, {}),
        ("'Barn'!B6", 4.0, 6.0, {}),
    ],
)
def test_a_link_shows_what_stood_in_its_cell(
    stored: str, was: float | str, now: float, shows: dict[tuple[str, str], float]
) -> None:
    evidence = Evidence()
    new = "'Farm'!B6" if stored[0] != "I" else FARM
    evidence.note(stored, new, was, now)
    assert evidence.cells() == shows


def test_what_most_formulas_show_counts() -> None:
    evidence = Evidence()
    for was in (4.0, 3.0, 4.0):
        evidence.note("'Farm'!B6", "'Farm'!B6", was, 6.0)
    assert evidence.cells() == {("Farm", "B6"): 4.0}


# Inputs that were changed, in words.


def test_a_changed_cell_is_said_with_both_values() -> None:
    assert Changed("Farm", "B6", "Drop limit", 5.0, 6.0).said == "Drop limit 5 → 6"
    assert Changed("Farm", "B6", "Drop limit", None, 6.0, "5").said == "Drop limit 5 → 6"
    assert Changed("Farm", "B6", "Note", "old", None).said == "Note old → empty"
    day = dt.date(2026, 5, 4)
    assert Changed("Farm", "B6", "Review date", day, None).said == "Review date 2026-05-04 → empty"
    assert (shown(1.23456789), shown(True), shown(7)) == ("1.23457", "True", "7")


def test_added_rows_are_counted_and_named() -> None:
    assert Added("Readings", "A7", (7,)).said == "1 row added to Readings (row 7)"
    assert Added("Readings", "A7", (7, 8)).said == "2 rows added to Readings (rows 7 and 8)"


def test_three_changes_are_named_and_the_others_counted() -> None:
    cells = tuple(Changed("Readings", f"D{n}", f"Readings!D{n}", 1.0, 2.0) for n in range(5))
    named = "Readings!D0 1 → 2; Readings!D1 1 → 2; Readings!D2 1 → 2"
    found = Earlier(b"", cells=cells, added=(Added("Work done", "A7", (7,)),), witness="may.xlsx")
    assert list(_inputs(found)) == [
        f"5 input cells changed ({named}; 2 more)",
        "1 row added to Work done (row 7)",
        "inputs changed since may.xlsx, which the last run was made from",
    ]
    assert list(_inputs(Earlier(b"", settings=cells[:1]))) == [
        "1 setting changed (Readings!D0 1 → 2)"
    ]
    assert list(_inputs(Earlier(b"", cells=cells[:3]))) == [f"3 input cells changed ({named})"]


@pytest.mark.parametrize(
    ("metres", "now", "typed"),
    [
        (5.0, None, ["5 m", "0.5 kgf/cm2"]),
        (5.0, "6m", ["5m", "0.5kgf/cm2"]),
        (10.19716212977928, "6 bar", ["1 bar", "100 kPa"]),
        (3.515348, 6.0, []),
    ],
)
def test_a_pressure_is_tried_with_the_units_in_which_it_is_round(
    metres: float, now: object, typed: list[str]
) -> None:
    assert list(_with_unit(metres, now)) == typed


def test_settings_are_tried_with_the_numbers_that_people_use() -> None:
    one = book([], drop_limit=6.0)
    cells = {"drop_limit": "B5", "flush_cycles": "B8", "review_date": "B9", "passage_rule": "B3"}
    one = replace(one, setting_cells=cells, setting_raw={"drop_limit": 6.0})
    mark = Mark("1", "farm.xlsx", dt.date(2026, 5, 4), "0a")
    tried = [(key, was, value) for key, was, value in _tries(one, Settings(), mark)]
    for wanted in (
        ("drop_limit", None, 5.0), ("drop_limit", 0.01, 0.01), ("drop_limit", 0.05, 0.05),
        ("drop_limit", 5.0, 5.0), ("drop_limit", 20.0, 20.0), ("drop_limit", 120.0, 120.0),
        ("drop_limit", 4.35, 4.35), ("flush_cycles", 4.0, 4), ("flush_cycles", None, 3),
        ("review_date", None, None), ("review_date", mark.as_of, mark.as_of),
        ("passage_rule", "one tenth", "one tenth"),
    ):  # fmt: skip
        assert wanted in tried, wanted
    assert len([one for one in tried if one[0] == "drop_limit"]) == 1 + 660
    assert max(was for key, was, _ in tried if key == "drop_limit" and was) == 120.0


@pytest.mark.parametrize(
    ("key", "raw", "factor"),
    [("drop_limit", 0.6, 10.0), ("drop_limit", None, 1.0), ("drop_limit", 0.0, 1.0),
     ("flush_inlet", None, 10.197)],
)  # fmt: skip
def test_what_a_number_of_a_setting_s_cell_is_in_metres(
    key: str, raw: float | None, factor: float
) -> None:
    one = replace(book([], drop_limit=6.0), setting_raw={} if raw is None else {key: raw})
    assert _factor(one, key) == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(("most", "tries"), [(2, 3), (9, 5), (0, 1)])
def test_a_list_is_tried_without_its_last_rows_up_to_the_most(most: int, tries: int) -> None:
    table = book([reading(day) for day in (1, 2, 3, 4)]).readings
    found = list(_shorter(table, "Readings", most))
    assert [few for few, _ in found] == list(range(tries))
    assert len({piece for _, piece in found}) == tries


# Cells that differ, told apart.


def sheet(
    name: str, old: dict[int, dict[int, object]], new: dict[int, dict[int, object]]
) -> _Sheet:
    return _Sheet(name, old, new, unlike(old, new))  # type: ignore[arg-type]


def test_cells_differ_but_for_the_mark_line_and_what_nobody_calculated() -> None:
    old = {0: {2: "mark", 3: "a  b", 4: 1.0}, 1: {5: NoValue("=A1"), 6: 2.0}}
    new = {0: {2: "other", 3: "a b", 4: 1.5}, 2: {7: "new"}, 1: {5: 8.0, 6: 2.0}}
    assert unlike(old, new) == {0: {4}, 2: {7}}  # type: ignore[arg-type]
    assert unlike(new, old) == {0: {4}, 2: {7}}  # type: ignore[arg-type]
    beside = {0: {3: "x"}, 1: {2: "x"}}
    assert unlike(beside, {}) == {0: {3}, 1: {2}}  # type: ignore[arg-type]


def nothing() -> Carried:
    return Carried({}, {})


def edited(*sheets: _Sheet) -> tuple[str, ...]:
    found = _edits(sheets, nothing())
    assert found.known
    return found.said


def test_typed_cells_stored_values_and_followers_are_counted_apart() -> None:
    numbers = {n: float(n) for n in range(10, 15)}
    one = sheet("Costs", {2: numbers}, {2: dict.fromkeys(numbers, 0.5)})
    one.plain = {(12, 2): "C10*2", (13, 2): "C12+1", (14, 2): "A1"}
    assert edited(one) == (
        "2 result cells were edited by hand: Costs!C10 and Costs!C11",
        "1 stored value is not what the formula gives: Costs!C14",
        "2 cells follow from what was edited",
    )
    one.plain = {(n, 2): "A1" for n in range(10, 15)}
    assert edited(one) == (
        "5 stored values are not what the formula gives:"
        " Costs!C10, Costs!C11, Costs!C12 and 2 more",
    )
    one.plain = {(n, 2): "C10" for n in range(11, 15)}
    assert edited(one) == (
        "1 result cell was edited by hand: Costs!C10",
        "4 cells follow from what was edited",
    )


def test_three_cells_are_named_and_a_fourth_is_counted() -> None:
    cells = [f"Costs!C{n}" for n in range(4)]
    assert _named(cells[:3]) == "Costs!C0, Costs!C1 and Costs!C2"
    assert _named(cells) == "Costs!C0, Costs!C1, Costs!C2 and 1 more"
    assert _cells(1, "differs", "differ") == "1 cell differs"
    assert _cells(1_200, "differs", "differ") == "1,200 cells differ"


@pytest.mark.parametrize(
    ("count", "rest"),
    [(3, []), (4, ["1 more formula was replaced or changed"]),
     (1_203, ["1,200 more formulas were replaced or changed"])],
)  # fmt: skip
def test_three_formulas_are_named_and_the_others_counted(count: int, rest: list[str]) -> None:
    odd = [Unlike("Costs", (n, 2), None, "A1", 3.0, False) for n in range(1, 1 + count)]
    said = list(_odd(odd))
    assert said[:3] == [f"formula in Costs!C{n} replaced by a number" for n in (1, 2, 3)]
    assert said[3:] == rest


def test_a_formula_that_was_replaced_is_no_edited_cell_and_others_follow_from_it() -> None:
    one = sheet("Costs", {2: {10: 1.0, 11: 2.0}}, {2: {10: 3.0, 11: 4.0}})
    one.odd = [Unlike("Costs", (10, 2), None, "A1", 1.0, False)]
    one.plain = {(11, 2): "C10*2"}
    assert edited(one) == (
        "formula in Costs!C10 replaced by a number", "1 cell follows from what was edited",
    )  # fmt: skip


def test_followers_of_followers_follow() -> None:
    chain = {(n, 0): f"A{n - 1}" for n in range(2, 8)}
    assert _followers(chain, {(1, 0)}) == set(chain)
    assert _followers(chain, {(4, 0)}) == {(5, 0), (6, 0), (7, 0)}
    assert _followers(chain, set()) == set()


def test_what_cannot_be_told_apart_is_said_so() -> None:
    one = sheet("Costs", {2: {10: 1.0, 11: 2.0}}, {2: {10: 3.0, 11: 4.0}})
    rest = ", and what was edited by hand cannot be told from what follows"
    told = _untold([one], "Why")
    assert told == Causes((f"Why: 2 cells differ{rest}",), known=False)
    one.odd = [Unlike("Costs", (10, 2), None, "A1", 1.0, False)]
    said = "Why: 2 cells differ and 1 formula is not as this book gives them"
    assert _untold([one], "Why").said == (said + rest,)


def test_each_sheet_names_its_first_cells_and_counts_all() -> None:
    many = {n: float(n) for n in range(1, MOST_NAMED + 3)}
    stored = Carried({"Costs": {2: many}}, {}, ("Runs",))  # type: ignore[dict-item]
    again = Carried({"Costs": {2: {n: v + 1 for n, v in many.items()}}, "Runs": {}, "Trends": {}},
                    {})  # type: ignore[dict-item]  # fmt: skip
    found, count = differences(stored, again)
    assert count == MOST_NAMED + 2 + 2
    assert [place.said for place in found[MOST_NAMED:]] == [
        "Runs is damaged and cannot be read; run 'siltbook run' again",
        "Trends is missing; run 'siltbook run' again",
    ]
    assert len(found) == MOST_NAMED + 2
    assert found[0].said == "Costs!C1 holds 1; recomputed 2"
    assert found[MOST_NAMED - 1].cell == f"C{MOST_NAMED}"
    texts = differences(Carried({"Costs": {0: {3: "old"}}}, {}), Carried({"Costs": {}}, {}))
    assert texts[0][0].said == 'Costs!A3 holds "old"; recomputed nothing'


def test_sentences_of_causes_and_of_damaged_sheets() -> None:
    assert sentence(["one cause", "two"]) == "One cause; two."
    repair = "damaged and cannot be read: run 'siltbook run' again to replace them."
    assert broken(["Costs"]) == f"The result sheet Costs is {repair}"
    assert broken(["Costs", "Runs"]) == f"The result sheets Costs, Runs are {repair}"
