"""Where the blocks of the audit's sheets stand: one under the other, apart, and all printed."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from typing import Any

import openpyxl
import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit import sheets
from siltbook.batch.audit.agreed_seen import Outcome
from siltbook.batch.audit.agreed_sheet import PEOPLE_SAY, SAYS
from siltbook.batch.audit.agreements import Agreement, Sighting, Source
from siltbook.batch.audit.model import Audit, Place, RuleResult, State, Taken
from siltbook.batch.audit.procedure import counted
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.sensitivity import sensitivity
from siltbook.batch.audit.sheets import NOTE, STEPS_SAY, audit_book
from siltbook.batch.model import Verdict
from siltbook.batch.review.agreed import Effect
from siltbook.batch.sheets.kit import row_height
from siltbook.templates import look
from siltbook.templates.contract import AUDIT_SHEETS
from siltbook.templates.safety import EMERGENCY
from tests.checks.builders import Row, book, job, reading

ON = dt.date(2026, 5, 10)
OVER = {"inlet": 3.0, "outlet": 2.4}
CALM: list[Row] = [reading(4), reading(10)]
STUCK: list[Row] = [reading(4, **OVER), reading(4, **OVER, occasion="after flush")]
QUIET = (
    RuleResult(RULES["book-findings"], State.QUIET, "None."),
    RuleResult(RULES["same-numbers"], State.QUIET, "All.", kept=1_200, of=1_200),
    RuleResult(RULES["same-formulas"], State.QUIET, "All."),
)
VERDICTS, EVERY = "Verdicts at these limits", "Every place behind the summary"
HEADS = ("Question", "Station", "Person")


def label(verdict: Verdict) -> str:
    return look.VERDICTS[verdict].label


def odd(row: int, *, holds: bool = False) -> Place:
    return Place("Readings", f"D{row}", f"North 1: row {row}", "North 1", 0.002, holds)


def step(taken: Taken, person: str = "") -> Place:
    holds = taken is Taken.IN_TIME
    return Place("Readings", "D2", f"North 1: {taken}", "North 1", None, holds, taken, person)


LOOK = RuleResult(RULES["swapped"], State.LOOK, "Odd.", 0.002,
                  places=(odd(3, holds=True), odd(2)))  # fmt: skip
STEPS = counted(RULES["read-after"], [step(Taken.LATE, "Ann"), step(Taken.IN_TIME)])


def written(*results: RuleResult, readings: list[Row] = CALM, agreed: tuple[Outcome, ...] = ()
            ) -> Any:  # fmt: skip
    """The audit's sheets of North 1 with these results, as a spreadsheet program has them."""
    one = book(readings, work=[job(4, flush_inlet=2.4)])
    found = assess(one, as_of=ON)
    audit = Audit(found, (*results, *QUIET), sensitivity(found), agreed=agreed)
    return openpyxl.load_workbook(io.BytesIO(audit_book(audit, AUDIT_SHEETS, "farm.xlsx")))


def blocks(sheet: Any, *names: str) -> list[int]:
    """The row in which each of these texts begins, in the first two columns, from the top on."""
    found, row = [], 1
    for name in names:
        cells = ((r, sheet.cell(r, c).value) for r in range(row, sheet.max_row + 1) for c in (1, 2))
        row = next(r for r, value in cells if str(value or "").startswith(name))
        found.append(row)
        row += 1
    return found


def is_blank(sheet: Any, row: int) -> bool:
    return all(cell.value is None for cell in sheet[row])


def test_the_blocks_of_the_detail_stand_apart_by_one_row() -> None:
    sheet = written(LOOK, STEPS, readings=STUCK)["Audit detail"]
    names = (EVERY, "Question", VERDICTS, "Station", STEPS_SAY, "Station", "Person", "")
    every, top, verdicts, table, say, station, person, _ = blocks(sheet, *names)
    assert (every, top) == (3, 4)
    assert [sheet.cell(row, 8).value for row in (5, 6, 7, 8)] == [
        "North 1: row 2", "North 1: late", "North 1: row 3", "North 1: in time",
    ]  # fmt: skip
    assert sheet.auto_filter.ref == "A4:H8"
    assert (verdicts, table) == (10, 11)  # a row apart from the places; its table right below
    assert sheet.cell(table + 1, 2).value == "North 1"
    assert (say, station) == (table + 3, table + 4)
    assert sheet.cell(station + 1, 2).value == "North 1"
    assert person == station + 3
    assert [sheet.cell(person + n, 2).value for n in (1, 2)] == ["Ann", "(no name)"]
    assert [row for row in range(4, person + 3) if is_blank(sheet, row)] == [
        verdicts - 1, say - 1, person - 1,
    ]  # fmt: skip
    # One row below the last name the cautions of the open work begin, and they end the print.
    first = person + 4
    assert is_blank(sheet, first - 1)
    cautions = [sheet.cell(row, 1).value for row in range(first, sheet.max_row + 1)]
    assert EMERGENCY in cautions
    assert None not in cautions
    assert sheet.print_area == f"'Audit detail'!$A$1:$H${sheet.max_row}"


def test_another_verdict_is_bold_and_the_same_one_is_not() -> None:
    """At 4.6 m after a flush: over a limit of 4 m, watched, and in range under one of 6 m."""
    sheet = written(readings=[reading(day, 3.0, 2.55) for day in (4, 10)])["Audit detail"]
    (table,) = blocks(sheet, "Station")
    row = sheet[table + 1]
    assert [cell.value for cell in row[1:8]] == [
        "North 1", label(Verdict.WATCH), label(Verdict.HAND_CLEAN), "same", label(Verdict.IN_RANGE),
        "class not known", "division not known",
    ]  # fmt: skip
    assert [bool(cell.font.b) for cell in row[1:8]] == [
        True, False, True, False, True, False, False,
    ]  # fmt: skip


def test_without_steps_or_places_the_detail_has_no_empty_table() -> None:
    sheet = written()["Audit detail"]
    verdicts, table = blocks(sheet, VERDICTS, "Station")
    assert (verdicts, table) == (6, 7)  # the header of the places stays, and nothing below it
    assert sheet.auto_filter.ref is None
    assert sheet.max_row == table + 1
    over = written(readings=STUCK)["Audit detail"]
    assert is_blank(over, table + 2)
    assert over.cell(table + 3, 1).value
    assert over.print_area == f"'Audit detail'!$A$1:$H${over.max_row}"


def test_places_beyond_the_most_are_counted_below_the_table(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sheets, "MOST", 3)
    many = RuleResult(RULES["swapped"], State.LOOK, "Odd.", places=tuple(map(odd, range(2, 7))))
    sheet = written(many)["Audit detail"]
    assert [sheet.cell(row, 6).value for row in (5, 6, 7)] == ["D2", "D3", "D4"]
    assert sheet["A8"].value == "2 more places are not listed here; --json has them."
    assert sheet.auto_filter.ref == "A4:H7"
    assert blocks(sheet, VERDICTS) == [10]
    all_of_them = RuleResult(RULES["swapped"], State.LOOK, "Odd.", places=(odd(2), odd(3), odd(4)))
    assert "more places" not in str(written(all_of_them)["Audit detail"]["A8"].value)


def test_every_place_leads_to_its_cell_and_none_to_a_sheet_that_is_not_there() -> None:
    """A sheet that the book lacks, as the result sheets of another program, is named alone."""
    gone = Place("Trends", "A2", "gone")
    one = RuleResult(RULES["swapped"], State.LOOK, "Odd.", places=(odd(2), gone))
    found = book(CALM, work=[job(4)])
    judged = assess(found, as_of=ON)
    judged = replace(judged, book=replace(found, sheet_names=("Farm", "READINGS")))
    audit = Audit(judged, (one, *QUIET), sensitivity(judged))
    made = openpyxl.load_workbook(io.BytesIO(audit_book(audit, AUDIT_SHEETS, "farm.xlsx")))
    sheet = made["Audit detail"]
    assert sheet["F5"].hyperlink.location == "'Readings'!D2"
    assert sheet["F6"].hyperlink is None
    assert (sheet["E6"].value, sheet["F6"].value) == ("Trends", "A2")
    assert sheet["F4"].hyperlink is None


def test_the_summary_has_each_rule_below_its_answer_and_the_others_behind_the_page() -> None:
    sheet = written(LOOK, STEPS, readings=STUCK)["Audit summary"]
    column = [str(sheet.cell(row, 1).value or "") for row in range(3, sheet.max_row + 1)]
    order = (
        "Rule", "Can the data be trusted?", "Look first, then trust", LOOK.rule.title,
        "Was the procedure followed?", "Not in all", STEPS.rule.title,
        "Would I reach the same verdict?", "Yes: the result sheets", NOTE[:20],
    )  # fmt: skip
    assert all(
        said.startswith(name) for said, name in zip(column[: len(order)], order, strict=True)
    )
    (page,) = (one.id for one in sheet.row_breaks.brk)
    assert EMERGENCY in column[len(order) : page - 3]
    assert column[page - 3].startswith("The other rules stand on the pages behind")
    assert column[page - 2 :] == [
        "Can the data be trusted?", "The book's own findings", "Would I reach the same verdict?",
        "Same numbers", "Same formulas",
    ]  # fmt: skip
    assert "" not in column
    assert sheet.print_area == f"'Audit summary'!$A$1:$F${sheet.max_row}"
    questions = [n for n, said in enumerate(column, 3) if said.endswith("?")]
    assert {sheet.row_dimensions[row].height for row in questions} == {26.25}  # 26 in whole pixels


def agreed(who: str, taken: Taken | None, cell: str) -> Outcome:
    one = Sighting("North 1", "flush", who, ON, None, cell)
    found = Agreement(((Source("", ON, (one,)), one),))
    return Outcome(found, taken, None, "not seen", Effect.NOT_SHOWN)


def test_the_sheet_of_agreed_actions_ends_with_totals_and_cautions() -> None:
    two = (agreed("Ann", Taken.LATE, "Agreed!A2"), agreed("Bo", None, "My plan!A7"))
    sheet = written(agreed=two)["Audit agreed"]
    assert sheet["A3"].value.startswith(SAYS)
    assert [sheet.cell(row, 3).value for row in (4, 5, 6, 7)] == ["Who", "Ann", "Bo", None]
    assert [sheet.cell(row, 9).hyperlink.location for row in (5, 6)] == [
        "'Agreed'!A2", "'My plan'!A7",
    ]  # fmt: skip
    assert [sheet.cell(row, 1).value for row in (8, 9, 10, 11, 12)] == [
        PEOPLE_SAY, "Person", "Ann", "Bo", None,
    ]  # fmt: skip
    assert [cell.value for cell in sheet[10]][1:8] == [1, 0, 1, 0, 0, 0, 0]
    cautions = [sheet.cell(row, 1).value for row in range(13, sheet.max_row + 1)]
    assert EMERGENCY in cautions
    assert None not in cautions
    assert sheet.print_area == f"'Audit agreed'!$A$1:$J${sheet.max_row}"


def test_without_an_agreed_action_the_sheet_ends_with_its_header() -> None:
    sheet = written()["Audit agreed"]
    assert " None was found. " in sheet["A3"].value
    assert sheet.max_row == 4
    assert sheet.print_area == "'Audit agreed'!$A$1:$J$4"


def test_long_sentences_are_as_high_as_their_lines() -> None:
    sheet = written(STEPS)["Audit detail"]
    (say,) = blocks(sheet, STEPS_SAY)
    assert sheet.row_dimensions[say].height == pytest.approx(row_height(2), abs=1.0)
