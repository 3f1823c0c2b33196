"""Work in the log at the procedure's own limits, and how much the summary's first page holds."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import openpyxl
import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit import sheets
from siltbook.batch.audit.model import Audit, Question, RuleResult, State, Taken
from siltbook.batch.audit.procedure import _WORST, procedure
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.sensitivity import sensitivity
from siltbook.batch.audit.sheets import audit_book
from siltbook.batch.numbers.history import histories
from siltbook.templates.contract import AUDIT_SHEETS
from tests.audit.test_steps import FLUSHED, OVER, SAME_DAY, asked
from tests.checks.builders import Row, book, job, reading


def flushed(code: str, **work: object) -> tuple[bool, str, str]:
    """Whether one rule on a flush in an episode is kept, what it says, and its cell's column."""
    found = asked(code, [reading(4, **OVER)], [job(4, **(FLUSHED | work))])
    (place,) = found.places
    return place.holds, place.said.partition(": ")[2], place.cell


@pytest.mark.parametrize(
    ("inlet", "kept", "low"),
    [(1.99, False, "20.3 m"), (2.0, True, "20.4 m"), (2.01, True, "20.5 m"),
     (None, False, "not recorded")],
)  # fmt: skip
def test_the_lowest_inlet_is_held_from_two_bar_on(
    inlet: float | None, kept: bool, low: str
) -> None:
    held, said, cell = flushed("inlet-held", flush_inlet=inlet)
    assert held is kept
    assert said == f"lowest inlet {low} (at least 20.4 m)"
    assert cell == book([]).work.cell("flush_inlet", 2)


def test_cycles_are_run_from_the_farm_s_number_on() -> None:
    assert flushed("all-cycles", cycles=3)[:2] == (True, "cycles 3 of 3")
    assert flushed("all-cycles", cycles=4)[:2] == (True, "cycles 4 of 3")
    assert flushed("all-cycles", cycles=2)[:2] == (False, "cycles 2 of 3")
    assert flushed("all-cycles", cycles=None)[:2] == (False, "cycles not recorded")


def test_the_sign_that_is_not_written_down_is_named_at_its_cell() -> None:
    work = book([]).work
    yes = flushed("signs-recorded", click="no", water="no")
    assert yes == (True, "click and water answered", work.cell("click", 2))
    assert flushed("signs-recorded", click=None) == (
        False, "click not recorded", work.cell("click", 2),
    )  # fmt: skip
    assert flushed("signs-recorded", water=None) == (
        False, "water not recorded", work.cell("water", 2),
    )  # fmt: skip
    assert flushed("signs-recorded", click=None, water=None)[1] == "click and water not recorded"


@pytest.mark.parametrize(
    ("day", "inlet", "seen"), [(5, 3.0, True), (5, 0.0, False), (4, 3.0, False), (6, 3.0, False)]
)
def test_a_gauge_is_seen_working_on_the_same_day_and_above_zero(
    day: int, inlet: float, seen: bool
) -> None:
    read = reading(day, inlet=inlet, outlet=min(inlet, 2.8), time=dt.time(8, 0))
    cleaned = job(5, "hand cleaning", time=dt.time(9, 0), gauge_zero="yes")
    found = asked("above-zero-before", [reading(1), read], [cleaned])
    (place,) = found.places
    assert place.holds is seen
    word = "a" if seen else "no"
    assert place.said.endswith(f"hand cleaning, {word} reading above zero earlier that day")
    later = asked("above-zero-before", [reading(1), {**read, "time": dt.time(10, 0)}], [cleaned])
    assert not later.places[0].holds


@pytest.mark.parametrize(
    ("zero", "kept", "said"),
    [("yes", True, "yes"), ("no", False, "no"), (None, False, "not recorded")],
)
def test_zero_before_opening_is_kept_by_a_yes_alone(
    zero: str | None, kept: bool, said: str
) -> None:
    found = asked("zero-before-opening", [reading(1)],
                  [job(5, "screen replaced", gauge_zero=zero)])  # fmt: skip
    (place,) = found.places
    assert place.holds is kept
    assert place.said == f"North 1, 2026-05-05: screen replaced, gauge at zero: {said}"
    assert place.cell == book([]).work.cell("gauge_zero", 2)


def test_cleaning_is_held_against_the_ladder_s_rung() -> None:
    early = asked("cleaned-after-flush", [reading(4, **OVER)], [job(5, "hand cleaning")])
    (place,) = early.places
    assert not place.holds
    assert ": hand cleaning after the station '" in place.said
    readings = [reading(4, **OVER), reading(4, **SAME_DAY)]
    late = asked("cleaned-after-flush", readings, [job(4, **FLUSHED), job(5, "hand cleaning")])
    (place,) = late.places
    assert place.holds
    assert place.said.endswith(": hand cleaning after a proven flush and a reading over")
    planned = asked("cleaned-after-flush", [reading(4)], [job(5, "hand cleaning")])
    assert planned.said == "Nothing in this book calls for it."


def test_a_call_is_in_order_wherever_the_ladder_stood() -> None:
    early = asked("called-after-cleaning", [reading(4, **OVER)], [job(5, "called out")])
    (place,) = early.places
    assert place.holds
    assert place.said.endswith("before cleaning was tried: in order, as any call")
    readings = [reading(4, **OVER), reading(4, **SAME_DAY),
                reading(5, **OVER, occasion="after cleaning")]  # fmt: skip
    work = [job(4, **FLUSHED), job(5, "hand cleaning"), job(6, "called out")]
    (place,) = asked("called-after-cleaning", readings, work).places
    assert place.said.endswith(": called out after cleaning and a reading over")
    assert asked("called-after-cleaning", [reading(4)], [job(5, "called out")]).of == 0


def test_the_worst_stands_first_and_the_longest_of_the_worst() -> None:
    assert sorted(_WORST, key=_WORST.__getitem__) == [
        Taken.NOT_TAKEN, Taken.LATE, Taken.CANNOT, Taken.IN_TIME,
    ]  # fmt: skip
    readings: list[Row] = []
    work: list[Row] = []
    for name, waits in (("A", 2), ("B", 9), ("C", 0), ("D", None)):
        readings += [reading(4, **OVER, station=name), reading(20, **OVER, station=name)]
        work += [] if waits is None else [job(4 + waits, station=name, **FLUSHED)]
    one = book(readings, work=work, stations=[{"station": name} for name in "ABCD"])
    on = dt.date(2026, 5, 21)
    found = next(r for r in procedure(one, histories(one, on), on)
                 if r.rule.code == "flush-in-a-day")  # fmt: skip
    assert [place.station for place in found.places][:4] == ["D", "B", "A", "C"]
    assert found.said.startswith("Worst: D, 2026-05-04: ")


def test_who_wrote_an_entry_stands_beside_its_step() -> None:
    late = job(8, **FLUSHED, done_by="Reader  B")
    (place,) = asked("flush-in-a-day", [reading(4, **OVER, read_by="Reader A")], [late]).places
    assert place.person == "Reader B"
    (place,) = asked("flush-in-a-day", [reading(4, **OVER, read_by=" Reader A ")], []).places
    assert place.person == "Reader A"


# The first page of the summary.


def summary(count: int) -> Any:
    """The summary with so many rules of each question to be looked at, all equally high."""
    one = book([reading(4)])
    found = assess(one, as_of=dt.date(2026, 5, 10))
    results = [RuleResult(RULES["book-findings"], State.QUIET, "None."),
               RuleResult(RULES["same-numbers"], State.QUIET, "All."),
               RuleResult(RULES["same-formulas"], State.QUIET, "All.")]  # fmt: skip
    for question in (Question.TRUST, Question.PROCEDURE):
        own = [rule for rule in RULES.values() if rule.question is question
               and rule.code != "book-findings"][:count]  # fmt: skip
        results += [RuleResult(rule, State.LOOK, "what the book shows " * 14) for rule in own]
    audit = Audit(found, tuple(results), sensitivity(found))
    made = audit_book(audit, AUDIT_SHEETS, "farm.xlsx")
    return openpyxl.load_workbook(io.BytesIO(made))["Audit summary"]


def heights(sheet: Any, rows: range) -> list[float]:
    return [sheet.row_dimensions[row].height or 15.0 for row in rows]


def test_the_first_page_is_filled_with_what_is_to_be_looked_at_and_not_beyond() -> None:
    sheet = summary(9)
    (page,) = (one.id for one in sheet.row_breaks.brk)
    states = {row: sheet.cell(row, 2).value for row in range(4, sheet.max_row + 1)}
    here = [row for row in states if row <= page and states[row] == "? To look at"]
    behind = [row for row in states if row > page and states[row] == "? To look at"]
    assert len(here) + len(behind) == 18
    assert behind
    used = sum(heights(sheet, range(4, page + 1)))
    rest = min(heights(sheet, range(behind[0], behind[0] + 1)))
    assert used <= sheets._ROOM + 5.0 < used + rest + 10.0
    # A rule of each question in turn: none is crowded out.
    procedure_from = next(row for row in states if sheet.cell(row, 1).value == Question.PROCEDURE)
    first = sum(row < procedure_from for row in here)
    assert abs(first - (len(here) - first)) <= 1


def test_few_rules_all_stand_on_the_first_page() -> None:
    sheet = summary(2)
    (page,) = (one.id for one in sheet.row_breaks.brk)
    states = [sheet.cell(row, 2).value for row in range(page + 1, sheet.max_row + 1)]
    assert "? To look at" not in states
