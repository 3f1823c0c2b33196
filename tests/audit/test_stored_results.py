"""The result sheets in a book against the book: same version, date, inputs and numbers."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook import __version__
from siltbook.batch.audit.carried import alike
from siltbook.batch.audit.job import Audit, audit_bytes
from siltbook.batch.audit.model import Question, RuleResult, State
from siltbook.batch.audit.report import answer
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.job import review_bytes
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import NoValue
from siltbook.batch.typed.mark import read_mark
from siltbook.templates.book import Book
from tests.audit.edits import marked, typed_over
from tests.audit.farm import Farm, half, honest, open_places
from tests.office import Shared, needs_office

NAME = "farm.xlsx"
without = pytest.mark.usefixtures("without_what_would_be")


@pytest.fixture(scope="module")
def plain() -> bytes:
    return half().package()


@pytest.fixture(scope="module")
def reviewed(plain: bytes) -> bytes:
    return review_bytes(plain, NAME, NAME).package


def verdicts(data: bytes, as_of: dt.date | None = None) -> tuple[Audit, dict[str, RuleResult]]:
    audit = audit_bytes(data, NAME, as_of)
    return audit, {r.rule.code: r for r in audit.of(Question.VERDICT)}


@pytest.mark.at_length  # test_command.py says so of the book of a run
def test_an_untouched_book_is_the_same() -> None:
    audit, found = verdicts(review_bytes(honest().package(), NAME, NAME).package)
    assert {r.state for r in found.values()} == {State.QUIET}
    kept = found["same-numbers"].kept
    assert kept is not None
    assert kept == found["same-numbers"].of
    assert kept > 2_000
    said = answer(audit, Question.VERDICT)
    assert said.startswith("Yes: the result sheets in the book are what the book gives today.")


def test_a_book_without_result_sheets_says_so(plain: bytes) -> None:
    audit, found = verdicts(plain)
    assert {r.state for r in found.values()} == {State.CANNOT}
    assert answer(audit, Question.VERDICT).startswith("The book carries no result sheets;")
    assert "would change at another limit: " in answer(audit, Question.VERDICT)


@without
def test_a_mark_line_that_was_removed_is_no_edit_of_other_sheets(reviewed: bytes) -> None:
    """It said that cells of Findings were edited, and that Actions (Siltbook) is missing."""
    for text in ("", "my own line"):
        audit, found = verdicts(marked(reviewed, "Actions", "Written by Siltbook", text))
        (place,) = open_places(found["same-numbers"])
        assert (place.sheet, place.cell) == ("Actions", "A2")
        said = answer(audit, Question.VERDICT)
        assert said.startswith(
            "Not as it stands. The line in Actions!A2 was removed or changed, by which Siltbook "
            "knows its own sheet; the next run takes Actions for a sheet of your own. "
        )
        assert "Findings" not in said
        assert found["same-inputs"].state is State.QUIET
    both = typed_over(marked(reviewed, "Actions", "Written by Siltbook", ""), "Station review",
                      "E4", 1.5)  # fmt: skip
    assert "1 result cell was edited by hand: Station review!E4" in answer(
        verdicts(both)[0], Question.VERDICT
    )


@without
def test_an_edited_result_cell_is_named_with_both_values(reviewed: bytes) -> None:
    audit, found = verdicts(typed_over(reviewed, "Station review", "E4", 1.5))
    (place,) = open_places(found["same-numbers"])
    assert (place.sheet, place.cell) == ("Station review", "E4")
    assert place.said.startswith("Station review!E4 holds 1.5; recomputed ")
    assert found["same-inputs"].state is State.QUIET
    said = "Not as it stands. 1 result cell was edited by hand: Station review!E4. "
    assert answer(audit, Question.VERDICT).startswith(said)


@without
def test_an_edited_input_shows_in_the_fingerprint_and_in_what_follows(reviewed: bytes) -> None:
    data = typed_over(reviewed, "Readings", "D20", 3.9)
    was = f"{read_book(reviewed, NAME).book.readings.raw['inlet'][20]:g}"
    audit, found = verdicts(data)
    first = open_places(found["same-inputs"])[0]
    assert (first.sheet, first.cell) == ("Readings", "D20")
    assert first.said == f"changed after the last run: Readings!D20 {was} → 3.9"
    assert {"Workings"} <= {p.sheet for p in open_places(found["same-numbers"])}
    numbers = found["same-numbers"]
    follow = (numbers.of or 0) - (numbers.kept or 0)
    said = f"Not as it stands. 1 input cell changed (Readings!D20 {was} → 3.9): {follow:,} cells "
    assert answer(audit, Question.VERDICT).startswith(f"{said}follow from it. ")


@pytest.mark.at_length  # test_hostile_audit.py: sheets of an earlier or a later day
@without
def test_another_date_is_said(reviewed: bytes) -> None:
    _, found = verdicts(reviewed, dt.date(2026, 8, 1))
    assert found["same-date"].said.endswith("the audit as of 2026-08-01")
    assert found["same-date"].state is State.LOOK
    # The sheets are still held against the day that they were made for.
    assert found["same-numbers"].state is State.QUIET


@pytest.mark.at_length  # test_told_apart.py: another version
@without
def test_sheets_of_another_version_are_not_held_against_the_book(reviewed: bytes) -> None:
    data = reviewed
    for sheet in ("Actions", "Station review"):
        mark = f"Written by Siltbook {__version__} "
        data = marked(data, sheet, mark, "Written by Siltbook 0.0.9 ")
    data = typed_over(data, "Station review", "E4", 1.5)
    _, found = verdicts(data)
    assert found["same-version"].said == f"Written by version 0.0.9; this is {__version__}."
    assert found["same-numbers"].state is State.CANNOT
    assert "1 of " in found["same-numbers"].said
    assert "they come from another version" in found["same-numbers"].said


@pytest.mark.at_length  # test_earlier.py: sheets without a fingerprint
@without
def test_sheets_from_before_the_fingerprint(reviewed: bytes) -> None:
    book = read_book(reviewed, NAME).book
    line = f" · inputs {fingerprint(book)}"
    from siltbook.templates.contract import RESULT_SHEETS

    data = reviewed
    for sheet in RESULT_SHEETS:
        data = marked(data, sheet, line, "")
    _, found = verdicts(data)
    assert found["same-inputs"].said == "The result sheets carry no fingerprint of inputs."
    assert found["same-numbers"].state is State.QUIET


@needs_office
@without
def test_a_book_resaved_by_another_program_is_the_same(reviewed: bytes, office: Shared) -> None:
    """The same book as in test_causes.py: it is re-saved once."""
    _, found = verdicts(*office.resaved(reviewed))
    assert (found["same-numbers"].of or 0) > 500
    assert found["same-inputs"].state is State.QUIET, found["same-inputs"].said
    assert found["same-numbers"].state is State.QUIET, found["same-numbers"].said


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (1.0, 1.0 + 1e-12, True),
        (1.0, 1.0 + 1e-7, False),
        (0.0, 1e-12, True),
        ("a  b", "a b", True),
        ("a", "b", False),
        (1.0, "1", False),
        (1.0, None, False),
        (1.0, NoValue("=A1"), True),
    ],
)
def test_alike(one: float | str | None, other: float | str | None, same: bool) -> None:
    assert alike(one, other) is same


def test_a_mark_line_taken_apart() -> None:
    mark = read_mark(
        "Written by Siltbook 1.2 · a · as of b.xlsx · as of 2026-08-30 · inputs 0a1b"
        " · replaced at every run"
    )
    assert mark is not None
    assert (mark.version, mark.book_name, mark.inputs) == ("1.2", "a · as of b.xlsx", "0a1b")
    assert mark.as_of == dt.date(2026, 8, 30)
    none = read_mark(
        "Written by Siltbook 1.2 · b.xlsx · as of no date (no dated entry) · replaced at every run"
    )
    assert none is not None
    assert none.as_of is None
    assert read_mark("Written by hand") is None


def printed(change: object = None) -> str:
    farm = half()
    if callable(change):
        change(farm)
    return fingerprint(read_book(farm.package(), NAME).book)


def test_the_fingerprint_follows_what_is_judged_and_nothing_else() -> None:
    def remark(farm: Farm) -> None:
        farm.readings[3].update(remark="windy", read_by="Reader A")

    def typed(farm: Farm) -> None:
        farm.readings[3]["inlet"] = 2.22

    def worked(farm: Farm) -> None:
        farm.work[0]["cycles"] = 2

    assert printed() == printed() == printed(remark)
    assert len({printed(), printed(typed), printed(worked)}) == 3


def test_the_fingerprint_takes_a_setting_in(plain: bytes) -> None:
    book: Book = read_book(plain, NAME).book
    other = replace(book, settings=replace(book.settings, drop_limit=4.0))
    assert fingerprint(book) != fingerprint(other)
