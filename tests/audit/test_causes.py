"""What differs between stored results and those of today, said in causes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.audit.formulas import leads_to, link_of, same_formula
from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Question, RuleResult, State
from siltbook.batch.audit.report import answer
from siltbook.batch.job import review_bytes
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import address
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review.append import append_rows, change_cells
from siltbook.templates.contract import FARM
from tests.audit.edits import rewritten, typed_over
from tests.audit.farm import half, open_places
from tests.office import Shared, needs_office
from tests.samples.load import SAMPLES

NAME = "farm.xlsx"
pytestmark = pytest.mark.usefixtures("without_what_would_be")


def small() -> bytes:
    return half().package()


@pytest.fixture(scope="module")
def reviewed() -> bytes:
    return review_bytes(small(), NAME, NAME).package


def styles(data: bytes) -> list[int]:
    return open_workbook(open_package(data, NAME), NAME).styles


def set_to(data: bytes, key: str, value: float | str | dt.date) -> bytes:
    book = read_book(data, NAME).book
    row, column = address(book.setting_cells[key])
    farm = replace(book.stations, sheet=FARM.name, header_row=0, places={"v": column}, units={})
    return change_cells(data, farm, {row: {"v": value}}, styles(data))


def said_of(data: bytes) -> tuple[str, dict[str, RuleResult]]:
    """The third answer, and the rules behind it."""
    audit = audit_bytes(data, NAME)
    said = answer(audit, Question.VERDICT).rstrip()
    return said, {r.rule.code: r for r in audit.of(Question.VERDICT)}


def differing(numbers: RuleResult) -> int:
    return (numbers.of or 0) - (numbers.kept or 0)


@pytest.mark.at_length  # two settings and an edited cell are told apart below
@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("drop_limit", 6.0, "Drop limit 5 → 6"),
        ("watch_share", 0.6, "Watch share 0.8 → 0.6"),
        ("pressure_unit", "kPa", "Pressure unit bar → kPa"),
    ],
)
def test_a_changed_setting_is_named_with_both_values_and_what_follows(
    reviewed: bytes, key: str, value: float | str, said: str
) -> None:
    answered, found = said_of(set_to(reviewed, key, value))
    count = differing(found["same-numbers"])
    assert count > 1
    expected = f"Not as it stands. 1 setting changed ({said}): {count:,} cells follow from it."
    assert answered == expected
    assert open_places(found["same-inputs"])[0].sheet == "Farm"
    assert found["same-formulas"].state is State.QUIET


@pytest.mark.at_length(keep="7 psi")
@pytest.mark.parametrize(
    ("was", "now"),
    [("7 psi", "8 psi"), ("5 m", "6 m"), ("45 kPa", "0.5 bar"), ("0.4bar", "0.5bar"), (5.0, "6 m")],
)
def test_a_limit_typed_with_its_unit_is_named_as_it_was_typed(was: float | str, now: str) -> None:
    """What Findings says of the text then follows from it, and nobody edited it by hand."""
    data = set_to(small(), "drop_limit", was)
    result = review_bytes(data, NAME, NAME).package
    answered, found = said_of(set_to(result, "drop_limit", now))
    shown = was if isinstance(was, str) else f"{was:g}"
    count = differing(found["same-numbers"])
    assert answered == (
        f"Not as it stands. 1 setting changed (Drop limit {shown} → {now}): "
        f"{count:,} cells follow from it."
    )


@pytest.mark.at_length  # the two above hold the sentence; test_told_apart.py the units
def test_a_limit_in_the_farm_s_own_unit_is_named_in_it() -> None:
    data = (SAMPLES / "all-in-psi.xlsx").read_bytes()
    result = review_bytes(data, NAME, NAME).package
    answered, found = said_of(set_to(result, "drop_limit", 8.0))
    count = differing(found["same-numbers"])
    said = f"1 setting changed (Drop limit 7 → 8): {count:,} cells follow from it."
    assert answered == f"Not as it stands. {said}"


@pytest.mark.at_length  # one changed setting is named above
def test_two_settings_and_an_edited_cell_are_told_apart(reviewed: bytes) -> None:
    data = set_to(set_to(reviewed, "drop_limit", 6.0), "watch_share", 0.6)
    answered, found = said_of(typed_over(data, "Station review", "E4", 1.5))
    follow = differing(found["same-numbers"]) - 1
    assert answered == (
        "Not as it stands. 2 settings changed (Drop limit 5 → 6; Watch share 0.8 → 0.6): "
        f"{follow:,} cells follow from it; 1 result cell was edited by hand: Station review!E4."
    )


@pytest.mark.at_length  # test_earlier.py finds added rows
def test_rows_entered_after_the_last_run_are_named(reviewed: bytes) -> None:
    book = read_book(reviewed, NAME).book
    last = max(int(row) for row in book.readings.frame.index)
    day = max(book.readings.frame["date"]) + dt.timedelta(days=7)
    rows = [{"station": s, "date": day, "inlet": 3.1, "outlet": 2.9} for s in ("Alder", "Elm")]
    answered, _ = said_of(append_rows(reviewed, book.readings, rows, styles(reviewed))[0])
    said = f"2 rows added to Readings (rows {last + 1} and {last + 2}): "
    assert answered.startswith(f"Not as it stands. {said}")
    assert answered.endswith(" cells follow from it.")


@pytest.mark.at_length  # test_earlier.py holds the words
def test_what_the_book_alone_cannot_show_is_said_to_be_unknown(reviewed: bytes) -> None:
    book = read_book(reviewed, NAME).book
    gone = dict.fromkeys(book.readings.places)
    data = change_cells(reviewed, book.readings, {20: gone}, styles(reviewed))
    answered, found = said_of(typed_over(data, "Station review", "E4", 1.5))
    assert answered.startswith(
        "Not as it stands. Inputs changed after the last run, and the book alone does not show "
        "which: "
    )
    assert answered.endswith("what was edited by hand cannot be told from what follows.")
    assert found["same-formulas"].state is State.CANNOT


def test_a_formula_replaced_by_a_number_is_found_though_the_number_is_the_same(
    reviewed: bytes,
) -> None:
    data = rewritten(reviewed, "Workings", "L31", "", None)
    answered, found = said_of(data)
    said = "formula in Workings!L31 replaced by a number, its stored value kept"
    assert answered == f"Not as it stands. F{said[1:]}."
    assert found["same-numbers"].state is State.QUIET
    (place,) = open_places(found["same-formulas"])
    assert (place.sheet, place.cell, place.said) == ("Workings", "L31", said)


def test_a_formula_that_was_changed_while_its_value_was_kept_is_found(reviewed: bytes) -> None:
    answered, found = said_of(rewritten(reviewed, "Workings", "L31", "K31-J31+0*J31", None))
    assert answered == (
        "Not as it stands. Formula in Workings!L31 changed (=K31-J31+0*J31; as written: =K31-J31),"
        " its stored value kept."
    )
    assert found["same-numbers"].state is State.QUIET


def test_what_follows_from_a_replaced_formula_is_counted_apart(reviewed: bytes) -> None:
    data = rewritten(reviewed, "Workings", "J31", "", 9.0)
    data = rewritten(data, "Workings", "L31", "K31-J31", -4.0)
    answered, found = said_of(data)
    assert answered == (
        "Not as it stands. Formula in Workings!J31 replaced by a number; 1 cell follows from what "
        "was edited."
    )
    assert differing(found["same-numbers"]) == 2


def test_a_stored_value_that_its_formula_does_not_give_is_named(reviewed: bytes) -> None:
    answered, _ = said_of(rewritten(reviewed, "Workings", "L31", "K31-J31", -4.0))
    said = "1 stored value is not what the formula gives: Workings!L31."
    assert answered == f"Not as it stands. {said}"


@pytest.mark.at_length  # test_stored_results.py looks at the same book
@needs_office
def test_formulas_written_by_another_program_are_the_same(reviewed: bytes, office: Shared) -> None:
    answered, found = said_of(*office.resaved(reviewed))
    assert answered.startswith("Yes: the result sheets in the book are what the book gives today.")
    assert found["same-formulas"].state is State.QUIET, found["same-formulas"].said


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("'Farm'!B6*2.0", "Farm!$B$6 * 2", True),
        ("D5*10.197162129779283", "D5*10.1971621297793", True),
        ("_xlfn.NORMSDIST(A1)", "normsdist(A1)", True),
        ("A1-B1", "B1-A1", False),
        ("A1*2", "A1*2.1", False),
        ('IF(A1,"over","in")', 'IF(A1,"OVER","in")', False),
        ("'My farm'!B6", "'My barn'!B6", False),
        ("SUM(A1:A9)", "SUM(A1:A8)", False),
    ],
)
def test_writing_does_not_count(one: str, other: str, same: bool) -> None:
    assert same_formula(one, other) is same


def test_links_and_what_a_formula_leads_to() -> None:
    link = link_of("IF(ISNUMBER('Farm'!B6),'Farm'!B6,5.0)")
    assert link is not None
    assert (link.sheet, link.cell, link.other) == ("Farm", "B6", 5.0)
    assert link_of("'Readings'!D2*2") is None
    assert leads_to("SUM(B18:B29)", {(20, 1)})
    assert not leads_to("'Readings'!D2", {(2, 3)})
