"""Figures that docs/audit.md and the sheets promise are those that the audit works with."""

from __future__ import annotations

from pathlib import Path

import pytest

from siltbook.batch.audit import (
    against,
    agreed_seen,
    book_rules,
    carried,
    chance,
    contradictions,
    digits,
    earlier,
    entries,
    own_findings,
    plan,
    power,
    repeats,
    report,
    sensitivity,
    sheets,
    steps_taken,
    stored_results,
    tracks,
    visits,
)
from siltbook.batch.audit.agreed_sheet import AGREED, PEOPLE
from siltbook.batch.audit.agreed_sheet import SAYS as AGREED_SAYS
from siltbook.batch.audit.rules import RULES
from siltbook.templates import look, printing

PAGE = (Path(__file__).parents[2] / "docs" / "audit.md").read_text(encoding="utf-8")
WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def word(number: float) -> str:
    return WORDS[round(number)]


@pytest.mark.parametrize(
    "said",
    [
        f"at ten places that a fixed seed draws among its first {power.MOST_STATIONS} stations",
        f"each fault found in at least {round(report.MOSTLY * power.CASES)} of {power.CASES} cases",
        f"| a gauge stuck for {power.STUCK} readings |", f"| {power.FILLED} rows filled down |",
        f"| pressures guessed to {power.COARSER} divisions |",
        f"asks to be looked at from {100 * chance.FALSE_ALARMS:g} % down",
        f"(divided by {tracks.QUARTER_BEYOND})",
        f"or with {word(own_findings.MANY)} doubts about data that touch"
        f" {100 * own_findings.MANY_SHARE:g} % of the readings",
        f"three or more stations, and half of a round, at one minute, on a farm where that is not"
        f" the habit (over a tenth of its rounds: then times tell nothing, and it says so) |"
        f" {entries.ENOUGH_ROUNDS} rounds of {word(entries.SHARED)} stations with times",
        f"below {word(entries.LATER_ROWS)} or more later days of its station and lies"
        f" {word(entries.INTERVALS_BACK)} reading intervals and {entries.DAYS_BACK:g} days behind",
        f"where over {100 * entries.DISORDER:g} % of rows step back",
        f"{word(repeats.LEAST_BLOCK)} or more readings running, or a block of"
        f" {word(repeats.LEAST_BLOCK)} or more that varies in itself and stands again |"
        f" {repeats.ENOUGH} readings whose spread is known",
        f"{word(repeats.ROUND_STATIONS)} stations or more, and 80 % of a round",
        f"| {repeats.ROUND_STATIONS} stations, {repeats.ROUNDS} rounds |",
        f"one pressure on one value for {word(repeats.LEAST_RUN)} readings or more",
        f"| {tracks.ENOUGH_STEPS} other readings, or 2 neighbours |",
        f"the same in every column on {word(repeats.PAIR_RUN)} or more common days running |"
        f" {repeats.ROUND_STATIONS} stations, {repeats.COMMON_DAYS} common days",
        f"a drop of over {contradictions.STANDING:g} m at a flow of 0",
        f"on {word(contradictions.LEAST_FAR)} or more days lie {word(contradictions.FAR)} robust"
        f" standard deviations, two divisions and {contradictions.OWN:g} m from",
        f"| {contradictions.NEIGHBOURS} neighbours in the block (taken to be one pump),"
        f" {contradictions.COMMON_DAYS} common days |",
        f"exact binomial at a slip in {round(1 / contradictions.SLIP)} readings",
        f"at least {digits.EXPECTED} readings expected in each class"
        f" ({5 * digits.EXPECTED} for one in five, {2 * digits.EXPECTED} for every second",
        f"on which {10 * digits.ON_DIVISION:g} in 10 readings stand, and readings of which 8 in 10"
        f" span {word(digits.TURNS)} turns of the digit",
        f"flush and reading {steps_taken.FLUSH_WITHIN} day, cleaning, flush gear and call for help"
        f" {steps_taken.CLEAN_WITHIN} days",
        f"within {agreed_seen.NEAR} days of it, on the day of the log",
        f"in the {agreed_seen.BEFORE} days before the due date",
        f"Of each sheet the first {stored_results.MOST_NAMED:,} cells that differ are named",
        f"held against the first {repeats.NEAR} of its block; stations are compared pair by pair up"
        f" to {repeats.MOST_STATIONS}",
        f"*Audit detail* lists the first {sheets.MOST:,} places",
        f"JSON of one rule the first {report.MOST_PLACES};",
        f"the last {earlier.LATEST} rows of Readings and the last {earlier.LATEST_WORK} of Work"
        " done",
        f"(in a book of up to {earlier.MOST_REREAD:,} readings)",
        f"the last {repeats.LONGEST_TRACK:,} readings of a station",
        f"rounds up to {repeats.FARTHEST - 1} apart",
        f"at a limit of {sensitivity.LIMITS[0]:g} m and of {sensitivity.LIMITS[2]:g} m",
        f"fewer than {word(3 * plan.LEAST_SHARE)} thirds of its visits",
        f"in the first {visits._TOP} rows",
    ],
)  # fmt: skip
def test_the_consultant_s_page_says_the_figures_that_are_used(said: str) -> None:
    assert said in PAGE


def test_what_needs_a_rule_names_are_those_that_it_asks_for() -> None:
    needs = {code: rule.needs for code, rule in RULES.items()}
    assert needs["same-time"] == f"{entries.ENOUGH_ROUNDS} rounds with times"
    assert needs["copied-block"].startswith(f"{repeats.ENOUGH} readings ")
    assert needs["copied-round"] == f"{repeats.ROUND_STATIONS} stations and {repeats.ROUNDS} rounds"
    assert needs["stuck-gauge"].startswith(f"{tracks.ENOUGH_STEPS} other readings")
    days = f"{repeats.COMMON_DAYS} common days"
    assert needs["same-series"] == f"{repeats.ROUND_STATIONS} stations, {days}"
    assert needs["neighbours"].startswith(f"{contradictions.NEIGHBOURS} neighbours")
    assert needs["neighbours"].endswith(f"{contradictions.COMMON_DAYS} common days")
    assert f"within {agreed_seen.NEAR} days of it" in AGREED_SAYS


def test_the_normal_law_s_figures() -> None:
    """Of a normal law half lies within 0.6745 deviations and a quarter beyond 1.1503."""
    from statistics import NormalDist

    law = NormalDist()
    assert pytest.approx(law.inv_cdf(7 / 8), abs=5e-5) == tracks.QUARTER_BEYOND
    assert pytest.approx(1 / law.inv_cdf(3 / 4), abs=5e-5) == tracks.MAD_TO_SIGMA


def test_last_digits_that_another_program_writes_are_a_billionth() -> None:
    assert "numbers may differ by a billionth" in PAGE
    assert carried.SAME == 1e-9
    assert against.NEAR == 1e-6  # a unit's factor has seven figures
    assert book_rules.TOLERANCE * 29 > 0.1  # 29.0 psi are 2 bar (29.008 psi)


def test_the_wide_sheets_take_the_whole_width_of_a_page_and_no_more() -> None:
    """In the smallest type that is printed; one character more, and a column would go over."""
    for widths in (AGREED.widths, sheets.DETAIL.widths):
        asked = list(widths)
        assert printing.pages(asked, look.TYPE_SIZE) == ()
        assert printing.pages([asked[0] + 1, *asked[1:]], look.TYPE_SIZE) != ()
    assert printing.pages(list(sheets.SUMMARY.widths), look.TYPE_SIZE) == ()


def test_the_totals_of_people_stand_in_the_columns_of_the_actions() -> None:
    """Their rows' heights are measured in these widths."""
    assert PEOPLE.widths == AGREED.widths[: len(PEOPLE.widths)]
