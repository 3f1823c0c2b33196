"""The audit's two pages: what the client reads, and where the auditor writes and signs."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from siltbook.batch.audit.job import audited
from siltbook.batch.audit.model import Audit, Place, Question, State
from siltbook.batch.audit.report import answer
from siltbook.batch.fingerprint import digest
from siltbook.batch.letters import with_rows
from siltbook.batch.paper.audit_paper import LIMITS, WORST, audit_paper
from siltbook.batch.paper.page import TEXT
from siltbook.templates.safety import EMERGENCY
from tests.audit.test_agreed import agreed, day, package
from tests.paper.test_paper import BOOK, LACKING, farm_of, needs_poppler, siltbook, sizes, text

DATA = BOOK.read_bytes()


@cache
def found() -> Audit:
    return audited(DATA, BOOK.name)[0]


def pages(pdf: bytes) -> int:
    return pdf.count(b"/Type /Page\n")


@needs_poppler
def test_the_first_page_holds_answers_worst_places_and_what_may_explain_them(
    tmp_path: Path,
) -> None:
    made = audit_paper(found(), BOOK.name, DATA, "0")
    said = text(made, tmp_path)
    for question in Question:
        assert str(question) in said
        assert answer(found(), question)[:60] in said
    looks = [r for r in found().results if r.state is State.LOOK]
    assert looks
    assert said.count("May be innocent:") == sum(
        min(WORST, sum(len([p for p in r.places if not p.holds]) for r in found().of(q)
                       if r.state is State.LOOK))
        for q in Question
    )  # fmt: skip
    assert f"{looks[0].rule.title}: " in said
    assert EMERGENCY in said


@needs_poppler
def test_the_second_page_names_what_was_handed_over_and_has_lines_to_sign_on(
    tmp_path: Path,
) -> None:
    made = audit_paper(found(), BOOK.name, DATA, "0", "Letter")
    said = text(made, tmp_path)
    assert digest(DATA) in said
    assert all(limit in said for limit in LIMITS)
    for words in ("Scope", "Date of the audit", "My conclusion", "Auditor, date", "Client, date"):
        assert words in said
    assert pages(made) == 2
    assert min(sizes(made)) >= TEXT


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_however_long_the_words_it_stays_two_pages(size: str) -> None:
    places = tuple(Place("Readings", f"B{n}", "words " * 400) for n in range(2, 9))
    long = tuple(
        replace(r, state=State.LOOK, said="words " * 400, places=places)
        if r.rule.question is not Question.VERDICT else r
        for r in found().results
    )  # fmt: skip
    assert pages(audit_paper(replace(found(), results=long), BOOK.name, DATA, "0", size)) == 2


@pytest.mark.at_length  # test_paper.py: a file of that name that is not ours
def test_the_command_says_where_the_paper_lies_and_leaves_other_files_alone(
    tmp_path: Path,
) -> None:
    (tmp_path / "farm.xlsx").write_bytes(DATA)
    done = siltbook("audit", "--pdf", tmp_path / "farm.xlsx")
    paper = tmp_path / "farm.audit.pdf"
    assert f"  Paper: {paper}" in done.output.splitlines()
    assert pages(paper.read_bytes()) == 2
    paper.write_bytes(b"mine")
    done = siltbook("audit", tmp_path / "farm.xlsx", "--pdf", "--paper", "Letter")
    assert f"{paper}: not made by Siltbook, so it is left alone. Move it away." in done.output
    assert done.exit_code == 3
    assert paper.read_bytes() == b"mine"


@needs_poppler
def test_the_first_page_counts_agreed_actions_for_each_person(tmp_path: Path) -> None:
    rows = [agreed("Hand clean", due=day(15), done=day(12)), agreed("Flush", due=day(20))]
    book = package(*rows)
    made = audit_paper(audited(book, "farm.xlsx")[0], "farm.xlsx", book, "0")
    said = " ".join(text(made, tmp_path).split())
    counts = "Reader A, 2 agreed: 1 done in time, 1 not done; effect shown 1"
    assert f"Agreed actions, by the log: {counts}." in said


@needs_poppler
def test_letters_that_the_font_lacks_are_said_and_the_station_is_told_by_its_row(
    tmp_path: Path,
) -> None:
    data = farm_of(LACKING, day(1), day(9))
    said = text(audit_paper(audited(data, "farm.xlsx")[0], "farm.xlsx", data, "0"), tmp_path)
    for row in (2, 3):
        assert f"Flushed within a day: ???????? (Stations row {row}), 2026-06-01" in said
    assert "Größe, 2026-06-01" in said
    assert said.count("Letters that the font of this page lacks stand as ?") == 1


def test_a_name_is_told_by_its_row_where_it_stands_as_a_word() -> None:
    stations = [result.station for result in found().assessment.stations[:2]]
    one, other = (
        replace(s, name=name, row=n)
        for n, (s, name) in enumerate(zip(stations, ("泵", "泵 1"), strict=True), 2)
    )
    assert with_rows("泵 1 and 泵, not 泵站", [one, other]) == (
        "泵 1 (Stations row 3) and 泵 (Stations row 2), not 泵站"
    )
