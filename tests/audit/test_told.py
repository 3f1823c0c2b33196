"""What the audit says where it counts, shortens or leaves out: figures that a person reads."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from siltbook.batch.audit.carried import alike
from siltbook.batch.audit.model import (
    Audit,
    Place,
    Power,
    Question,
    RuleResult,
    State,
    Taken,
    looked,
)
from siltbook.batch.audit.procedure import counted
from siltbook.batch.audit.report import (
    _followed,
    _rule_json,
    _same,
    _trusted,
    percent,
    seeable,
    sensitive,
)
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.sensitivity import CASES, CLASS, READING, Sensitivity
from siltbook.batch.audit.sheets import _innocent, _said, _state, _tallest, _would_be, chance
from siltbook.batch.audit.steps_by import NOBODY, by_person, by_station
from siltbook.batch.model import Verdict
from siltbook.batch.sheets.kit import row_height
from siltbook.templates.shown import IN_METRES

DATA = RULES["stuck-gauge"]


def place(station: str = "Alder", said: str = "", **more: object) -> Place:
    return Place("Readings", "D2", said or f"{station}: odd", station, **more)  # type: ignore[arg-type]


# One rule.


def test_one_place_is_said_as_it_is_and_several_are_counted() -> None:
    one = looked(DATA, [place()], "quiet", p=0.002)
    assert (one.state, one.said, one.p) == (State.LOOK, "Alder: odd", 0.002)
    two = looked(DATA, [place(), place("Birch")], "quiet", many="gauges")
    assert two.said == "2 gauges; the first: Alder: odd"
    other = looked(DATA, [place(said="a place"), place("Birch")], "quiet")
    assert other.said == "2 places; the first: a place (Alder, Birch)"
    counted_only = looked(DATA, [place(), place()], "quiet", many="cells differ", count=1_200)
    assert counted_only.said == "1,200 cells differ; the first: Alder: odd"


@pytest.mark.parametrize(
    ("count", "names"), [(4, "S0, S1, S2, S3"), (6, "S0, S1, S2, S3 and 2 more")]
)
def test_four_stations_are_named_and_the_others_counted(count: int, names: str) -> None:
    found = looked(DATA, [place(f"S{n}", "odd") for n in range(count)], "quiet")
    assert found.said == f"{count} places; the first: odd ({names})"


def test_what_is_for_the_record_alone_is_quiet_and_kept_among_the_places() -> None:
    found = looked(DATA, [place(holds=True)], "Nothing.", p=0.5)
    assert (found.state, found.said, len(found.places)) == (State.QUIET, "Nothing.", 1)
    both = looked(DATA, [place(holds=True), place("Birch")], "Nothing.")
    assert (both.state, both.said, len(both.places)) == (State.LOOK, "Birch: odd", 2)


def of(code: str, state: State, **more: object) -> RuleResult:
    return RuleResult(RULES[code], state, f"{code} said.", **more)  # type: ignore[arg-type]


def test_what_to_look_at_first_stands_first() -> None:
    results = (
        of("coverage", State.QUIET, kept=9, of=10), of("same-time", State.CANNOT),
        of("swapped", State.LOOK, p=0.004), of("stuck-gauge", State.LOOK, p=0.0001),
        of("step-order", State.QUIET, kept=5, of=10), of("resting", State.LOOK),
        of("read-after", State.LOOK),
    )  # fmt: skip
    audit = Audit(None, results, ())  # type: ignore[arg-type]
    assert [r.rule.code for r in audit.of(Question.TRUST)] == [
        "stuck-gauge", "swapped", "resting", "step-order", "coverage", "same-time",
    ]  # fmt: skip
    assert audit.looks == 4


def test_shares_and_what_was_not_done_at_all() -> None:
    one = of("read-after", State.LOOK, kept=3, of=10, late=2, untold=1)
    assert (one.missing, one.share) == (4, 0.3)
    assert of("read-after", State.CANNOT, kept=0, of=0).share is None
    assert of("read-after", State.QUIET).missing == 0


# The first answer.


def trusted(looks: int, cannot: int, quiet: int, power: tuple[Power, ...] = ()) -> str:
    codes = [c for c, rule in RULES.items() if rule.question is Question.TRUST][1:]
    states = [State.LOOK] * looks + [State.CANNOT] * cannot + [State.QUIET] * quiet
    own = of("book-findings", State.QUIET)
    return _trusted([own, *map(of, codes, states)], power)


@pytest.mark.parametrize(("cannot", "told"), [(3, True), (4, False)])
def test_more_than_half_of_the_rules_must_have_been_asked(cannot: int, told: bool) -> None:
    """Of six with the book's own findings: three that cannot be asked leave as many."""
    said = trusted(0, cannot, 5 - cannot)
    tail = f" {cannot} of 6 rules cannot be asked of this book."
    if told:
        words = "Nothing that was asked speaks against the data, but little could have been seen."
        assert said == words + tail
    else:
        assert said == f"It cannot be told.{tail} What could be asked found nothing."


def test_one_rule_that_found_something_is_enough_to_look_first() -> None:
    assert trusted(1, 1, 3) == (
        "Look first, then trust: 1 of 6 rules found something that has to be explained. 1 of 6"
        " rules cannot be asked of this book."
    )
    assert "cannot be asked" not in trusted(1, 0, 3)
    own = _trusted([of("book-findings", State.LOOK), of("swapped", State.QUIET)], ())
    assert own.endswith(" The book's own findings: book-findings said.")
    for code in (c for c, rule in RULES.items() if rule.question is Question.TRUST):
        if code != "book-findings":  # wherever among the rules the book's own stand
            quiet = _trusted([of(code, State.LOOK), of("book-findings", State.QUIET)], ())
            assert quiet.endswith(" has to be explained.")
            last = _trusted([of(code, State.QUIET), of("book-findings", State.LOOK)], ())
            assert last == own


def test_planted_faults_are_said_with_their_cases() -> None:
    said = seeable((Power("one", 7, 10), Power("another", 0, 10)))
    assert said == (
        "Planted in this book's own readings, the rules find one in 7 of 10 cases, another in 0 of"
        " 10 cases."
    )


# The second answer.


def step(taken: Taken, days: int = 0, person: str = "", station: str = "Alder") -> Place:
    return Place("Readings", "D2", f"{taken} {days}", station, None, taken is Taken.IN_TIME, taken,
                 person, days)  # fmt: skip


def followed(*places: Place, code: str = "flush-in-a-day") -> str:
    return _followed([counted(RULES[code], places)])


def test_all_steps_in_time_are_a_yes_and_nothing_else_is() -> None:
    kept = step(Taken.IN_TIME)
    assert followed(kept, kept) == (
        "Yes: all 2 steps that the ladder asked for were taken in time, and recorded."
    )
    for worse, words, longest in (
        (step(Taken.LATE, 3), "1 late, 0 not, and 0 cannot", " The longest: late 3."),
        (step(Taken.NOT_TAKEN, 9), "0 late, 1 not, and 0 cannot", " The longest: not taken 9."),
    ):
        assert followed(worse, kept) == (
            f"Not in all: of 2 steps that the ladder asked for 1 were taken in time, {words} be"
            f" told.{longest}"
        )
    assert followed(step(Taken.CANNOT), kept) == (
        "It cannot be told in full: of 2 steps that the ladder asked for 1 were taken in time,"
        " 0 late, 0 not, and 1 cannot be told."
    )


def test_the_longest_is_a_step_not_taken_before_a_late_one() -> None:
    said = followed(step(Taken.NOT_TAKEN, 2), step(Taken.NOT_TAKEN, 5), step(Taken.LATE, 30))
    assert said.endswith(" The longest: not taken 5.")


def test_other_rules_that_were_not_kept_take_the_yes_away() -> None:
    kept = counted(RULES["read-after"], [step(Taken.IN_TIME)])
    other = of("zero-before-opening", State.LOOK, kept=1, of=4)
    said = _followed([kept, other])
    assert said.startswith("Not in all: of 1 steps ")
    assert said.endswith(" Gauge at zero recorded before opening: 1 of 4.")
    book = of("rules-of-book", State.LOOK)
    assert _followed([kept, book]).endswith(" Rules of the book as by default: rules-of-book said.")
    untold = counted(RULES["recovery-shown"], [step(Taken.CANNOT)])
    assert _followed([kept, untold]).startswith("It cannot be told in full: of 1 steps ")
    assert _followed([]) == "No step of the procedure was called for."
    assert _followed([of("read-after", State.CANNOT, kept=0, of=0)]) == (
        "No step of the procedure was called for."
    )


def test_a_rule_on_steps_says_its_worst_and_is_sure_only_where_all_can_be_told() -> None:
    rule = RULES["read-after"]
    late = counted(rule, [step(Taken.LATE, 4), step(Taken.IN_TIME)])
    assert (late.state, late.said) == (State.LOOK, "Worst: late 4")
    assert (late.kept, late.of, late.late, late.untold, late.missing) == (1, 2, 1, 0, 0)
    untold = counted(rule, [step(Taken.CANNOT), step(Taken.IN_TIME)])
    assert (untold.state, untold.said) == (State.CANNOT, "Cannot be told: cannot be told 0")
    kept = counted(rule, [step(Taken.IN_TIME)])
    assert (kept.state, kept.said) == (State.QUIET, "Kept every time.")


def test_who_left_most_undone_stands_first_and_names_are_compared_as_everywhere() -> None:
    steps = [
        step(Taken.LATE, person="Reader A", station="Alder"),
        step(Taken.LATE, person="reader  a", station="ALDER"),
        step(Taken.NOT_TAKEN, person="Reader B", station="Birch"),
        step(Taken.LATE, person="Reader B", station="Birch"),
        step(Taken.IN_TIME, station="Cedar"),
    ]
    results = [counted(RULES["read-after"], steps),
               counted(RULES["recovery-shown"], [step(Taken.NOT_TAKEN)])]  # fmt: skip
    people, stations = by_person(results), by_station(results)
    assert [(c.name, c.asked) for c in people] == [("Reader B", 2), ("Reader A", 2), (NOBODY, 1)]
    assert [c.name for c in stations] == ["Birch", "Alder", "Cedar"]
    assert stations[1].taken == Counter({Taken.LATE: 2})


# The third answer.


def verdict(numbers: State, formulas: State, said: str = "") -> str:
    one = replace(of("same-numbers", numbers), said=said or "numbers said.")
    return _same([one, replace(of("same-formulas", formulas), said="formula in A1 changed")])


def test_the_third_answer_is_yes_only_where_numbers_and_formulas_are_the_same() -> None:
    yes = "Yes: the result sheets in the book are what the book gives today."
    assert verdict(State.QUIET, State.QUIET) == yes
    assert verdict(State.CANNOT, State.CANNOT) == "numbers said."
    assert verdict(State.QUIET, State.LOOK) == "Not as it stands. Formula in A1 changed."
    cause = verdict(State.LOOK, State.QUIET, "One cause. The first: A1 holds 1")
    assert cause == "Not as it stands. One cause."
    assert verdict(State.LOOK, State.LOOK, "Without a stop") == "Not as it stands. Without a stop."


def row(station: str, *then: Verdict | None, borderline: bool = False) -> Sensitivity:
    filled = (*then, *[Verdict.WATCH] * (len(CASES) - len(then)))
    return Sensitivity(station, Verdict.WATCH, filled, borderline)


def test_how_many_verdicts_would_change_and_which_are_borderline() -> None:
    rows = (
        row("S0", Verdict.FLUSH, Verdict.FLUSH, borderline=True),
        row("S1", Verdict.FLUSH, None, None, None, None),
        row("S2", Verdict.WATCH, Verdict.WATCH, Verdict.WATCH, Verdict.FLUSH, Verdict.FLUSH),
    )
    assert sensitive(rows, IN_METRES) == (
        "Of 3 verdicts would change at another limit: 2 at 4 m, 1 at 5 m, 0 at 6 m; 1 (1 cannot be"
        " told) if every gauge were off by its class; 0 if every gauge were off by its reading."
        " Borderline now: S0."
    )
    many = tuple(row(f"S{n}", borderline=True) for n in range(7))
    assert sensitive(many, IN_METRES).endswith("Borderline now: S0, S1, S2, S3, S4 and 2 more.")
    assert sensitive(many[:5], IN_METRES).endswith("Borderline now: S0, S1, S2, S3, S4.")
    assert sensitive((), IN_METRES) == ""


@pytest.mark.parametrize(
    ("then", "cases", "said"),
    [
        ((), CLASS, ("same", False)),
        ((Verdict.FLUSH, Verdict.FLUSH), CLASS, ("Flush", True)),
        ((Verdict.FLUSH, Verdict.WATCH), CLASS, ("larger: Flush; smaller: same", True)),
        ((None, None), CLASS, ("class not known", False)),
        ((Verdict.WATCH, Verdict.WATCH, None, None), READING, ("division not known", False)),
    ],
)
def test_a_cell_of_the_table_of_other_gauges(
    then: tuple[Verdict | None, ...], cases: tuple[str, ...], said: tuple[str, bool]
) -> None:
    at_limits = (Verdict.WATCH,) * 3
    shown, other = _would_be(row("S0", *at_limits, *then), cases)
    plain = shown.replace("● ", "").replace("◐ ", "")
    assert (plain, other) == said


# Figures and texts of the sheets and the document.


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (None, ""), (1.0, "over 50 %"), (0.51, "over 50 %"), (0.5, "50.0 %"), (0.003, "0.3 %"),
        (0.001, "0.1 %"), (0.00099, "1 in 1,000"), (2.5e-5, "1 in 40,000"),
        (1.1e-6, "1 in 910,000"), (1e-6, "under 1 in a million"), (0.0, "under 1 in a million"),
    ],
)  # fmt: skip
def test_a_chance_as_people_read_it(p: float | None, said: str) -> None:
    assert chance(p) == said
    assert percent(0.98) == "98 %"


@pytest.mark.parametrize("length", [300, 301, 500])
def test_a_long_rule_is_cut_on_the_summary(length: int) -> None:
    said = _said(RuleResult(DATA, State.LOOK, "a" * length))
    assert said == ("a" * 300 if length == 300 else "a" * 298 + " …")


def test_results_have_words_that_do_not_accuse() -> None:
    assert _state(of("read-after", State.QUIET)) == "✓ Kept"
    assert _state(of("read-after", State.CANNOT)) == "– Not called for"
    assert _state(of("same-numbers", State.QUIET)) == "✓ Same"
    assert _state(of("swapped", State.LOOK)) == "? To look at"
    assert _innocent(of("swapped", State.LOOK)) == RULES["swapped"].innocent
    assert _innocent(of("swapped", State.CANNOT)) == "Needs inlet and outlet."
    assert _innocent(of("swapped", State.QUIET)) == ""
    assert _innocent(of("read-after", State.CANNOT)) == ""


def test_the_document_names_two_hundred_places_and_counts_the_others() -> None:
    many = _rule_json(looked(DATA, [place()] * 203, "quiet"))
    assert (len(many["places"]), many["places_left_out"]) == (200, 3)
    few = _rule_json(looked(DATA, [place(p=0.002, days=3, holds=True, person="Reader A")], ""))
    assert few["places_left_out"] == 0
    assert few["places"][0] == {
        "sheet": "Readings", "cell": "D2", "station": "Alder", "said": "Alder: odd", "p": 0.002,
        "to_look_at": False, "taken": None, "person": "Reader A", "days": 3,
    }  # fmt: skip
    steps = _rule_json(of("read-after", State.LOOK, kept=3, of=10, late=2, untold=1))
    assert (steps["late"], steps["not_taken"], steps["cannot_be_told"]) == (2, 4, 1)
    assert _rule_json(of("read-after", State.LOOK))["not_taken"] == 0


def test_last_digits_of_another_program_are_alike_and_no_more() -> None:
    assert alike(1e6, 1e6 + 9e-4)
    assert not alike(1e6, 1e6 + 2e-3)
    assert alike(0.0, 9e-10)
    assert not alike(0.0, 2e-9)


def test_a_row_of_the_detail_is_as_high_as_its_tallest_cell_from_the_second_column_on() -> None:
    """Rule is 26 characters wide, Station 14 and Result 16: each text is measured in its own."""
    word = "eighteen letters xx"
    assert _tallest([word]) == row_height(1)
    assert _tallest(["", word]) == row_height(2)
    assert _tallest([word, "", f"{word} {word}"]) == row_height(3)
