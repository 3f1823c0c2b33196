"""The command: exit codes, what it prints, the two sheets, and the book left alone."""

from __future__ import annotations

import io
import json
import warnings
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner, Result

from siltbook.batch.audit.model import Question
from siltbook.batch.audit.report import ON_WITNESSES
from siltbook.batch.audit.rules import RULES
from siltbook.batch.cli import main
from tests.audit.farm import Farm, half, honest
from tests.graft.packs import LISTS, SELECTED
from tests.lint import lint
from tests.samples.load import SAMPLES

ROOT = Path(__file__).resolve().parents[2]


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "farm.xlsx"
    path.write_bytes(half().package())
    return path


def opened(path: Path) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # parts that openpyxl does not know
        return openpyxl.load_workbook(io.BytesIO(path.read_bytes()))


def test_an_honest_book_ends_with_0_and_stays_as_it_was(book: Path) -> None:
    before = book.read_bytes()
    done = siltbook("audit", book)
    assert done.exit_code == 0, done.output
    assert "trusted? Nothing that was asked speaks against the data, " in done.output
    assert "Was the procedure followed? Yes: all " in done.output
    assert f"Result: {book.with_name('farm.audited.xlsx')}" in done.output
    assert book.read_bytes() == before
    assert sorted(p.name for p in book.parent.iterdir()) == ["farm.audited.xlsx", "farm.xlsx"]


def test_the_person_s_parts_stay_byte_for_byte(book: Path) -> None:
    siltbook("audit", book)
    made = book.with_name("farm.audited.xlsx")
    with zipfile.ZipFile(book) as old, zipfile.ZipFile(made) as new:
        same = set(old.namelist()) - LISTS
        changed = {name for name in same if old.read(name).replace(SELECTED, b"") != new.read(name)}
        assert changed == set()
    known = set(lint(book.read_bytes()))
    assert [line for line in lint(made.read_bytes()) if line not in known] == []


@pytest.mark.at_length  # the next one audits what was audited
def test_auditing_the_audited_copy_replaces_the_sheets_where_they_stand(book: Path) -> None:
    siltbook("audit", book)
    first = book.with_name("farm.audited.xlsx")
    siltbook("audit", first, "--out", book.parent / "again")
    again = opened(book.parent / "again" / "farm.audited.audited.xlsx")
    assert again.sheetnames == opened(first).sheetnames
    assert again.sheetnames.count("Audit summary") == 1


def test_run_leaves_audit_sheets_alone_and_audit_leaves_results_alone(book: Path) -> None:
    siltbook("audit", book)
    siltbook("run", book.with_name("farm.audited.xlsx"))
    both = opened(book.with_name("farm.audited.reviewed.xlsx")).sheetnames
    assert {"Audit summary", "Audit detail", "Actions", "Findings"} <= set(both)
    done = siltbook("audit", book.with_name("farm.audited.reviewed.xlsx"))
    assert "the result sheets in the book are what the book gives today" in done.output
    assert done.exit_code == 0


@pytest.mark.at_length  # tests/whole/test_odd_books.py: a sheet of your own
def test_a_sheet_of_the_person_s_own_keeps_its_name(book: Path) -> None:
    theirs = opened(book)
    theirs.create_sheet("Audit summary")["A1"] = "my own"
    theirs.save(book)
    siltbook("audit", book)
    names = opened(book.with_name("farm.audited.xlsx")).sheetnames
    assert {"Audit summary", "Audit summary (Siltbook)", "Audit detail"} <= set(names)


@pytest.fixture(scope="module")
def swapped(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """A book with inlet and outlet the wrong way round, and what came of its audit."""
    farm, book = honest(), tmp_path_factory.mktemp("swapped") / "farm.xlsx"
    for row in farm.of("Cedar")[8:14]:
        row["inlet"], row["outlet"] = row["outlet"], row["inlet"]
    book.write_bytes(farm.package())
    return book, siltbook("audit", book)


def test_something_to_look_at_ends_with_1_and_stands_first_on_both_sheets(
    swapped: tuple[Path, Result],
) -> None:
    book, done = swapped
    assert done.exit_code == 1
    assert "? Inlet and outlet the wrong way round: Cedar: outlet above inlet" in done.output
    assert "May be innocent: The selector or the two columns were mistaken" in done.output
    made = opened(book.with_name("farm.audited.xlsx"))
    summary, detail = made["Audit summary"], made["Audit detail"]
    assert summary["A4"].value == "Can the data be trusted?"
    assert summary["A5"].value.startswith("Look first, then trust: ")
    assert summary["B6"].value == "? To look at"
    first = [cell.value for cell in detail[5]]
    assert first[0] == "Data"
    assert first[3] == "? To look at"
    assert detail["F5"].hyperlink.location.startswith("'Readings'!D")
    assert summary.page_setup.fitToHeight in (None, 1)
    words = " ".join(str(c.value) for s in (summary, detail) for row in s for c in row if c.value)
    for word in ("fraud", "forged", "faked", "cheat", "lied", "guilty", "invented the"):
        assert word not in words.casefold()


@pytest.mark.at_length  # the one above opens both sheets
def test_the_first_page_of_the_summary_has_the_answers_and_all_that_is_to_be_looked_at(
    swapped: tuple[Path, Result],
) -> None:
    book, _ = swapped
    summary = opened(book.with_name("farm.audited.xlsx"))["Audit summary"]
    (page,) = (one.id for one in summary.row_breaks.brk)
    column = {row: str(summary.cell(row, 1).value or "") for row in range(1, summary.max_row + 1)}
    asked = [str(question) for question in Question]
    assert [text for row, text in column.items() if row <= page and text in asked] == asked
    assert column[page].startswith("The other rules stand on the pages behind")
    states = {row: str(summary.cell(row, 2).value) for row in column}
    looks = [row for row, state in states.items() if state == "? To look at"]
    assert looks
    assert max(looks) < page
    behind = [row for row, state in states.items() if row > page and state != "None"]
    assert len(looks) + len(behind) == sum(len(r) for r in _rules_of(book).values())
    height = sum(summary.row_dimensions[row].height or 15.0 for row in range(1, page + 1))
    assert height < 640  # [pt] of a landscape page in the sheet's scale


def _rules_of(book: Path) -> dict[str, list[object]]:
    (entry,) = json.loads(siltbook("audit", book, "--json").stdout)["books"]
    return {one["question"]: one["rules"] for one in entry["questions"]}


def test_json(book: Path) -> None:
    done = siltbook("audit", book, "--json")
    document = json.loads(done.stdout)
    assert document["failed"] == []
    (entry,) = document["books"]
    assert {"path", "farm", "as_of", "looks", "questions", "sensitivity", "output"} <= set(entry)
    rules = [rule for question in entry["questions"] for rule in question["rules"]]
    assert {rule["rule"] for rule in rules} == set(RULES) - set(ON_WITNESSES)
    keys = {"rule", "title", "state", "said", "p", "kept", "of", "needs", "innocent", "places"}
    assert all(keys <= set(rule) for rule in rules)
    assert {row["now"] for row in entry["sensitivity"]} <= {"in-range", "watch", "flush"}


def test_a_book_that_cannot_be_read_ends_with_3_and_the_others_are_done(book: Path) -> None:
    broken = book.with_name("broken.xlsx")
    broken.write_bytes(book.read_bytes()[:4000])
    done = siltbook("audit", broken, book)
    assert done.exit_code == 3
    assert "broken.xlsx" in done.stderr
    assert "Traceback" not in done.output
    assert book.with_name("farm.audited.xlsx").exists()


def test_a_book_without_entries(tmp_path: Path) -> None:
    book = tmp_path / "empty.xlsx"
    book.write_bytes(Farm([{"station": "Alder"}], [], []).package())
    done = siltbook("audit", book)
    assert done.exit_code == 0, done.output
    assert "The book holds no entry up to the as-of date; there is nothing to audit." in done.output
    assert "speaks against" not in done.output


def test_real_life_dirt_is_audited_too(tmp_path: Path) -> None:
    done = siltbook("audit", SAMPLES / "real-life-psi.xlsx", "--out", tmp_path)
    assert done.exit_code in (0, 1), done.output
    assert "Would I reach the same verdict?" in done.output


@pytest.mark.at_length  # test_power.py: the same figures; test_sample_farm.py: the same bytes
def test_the_same_book_gives_the_same_bytes(book: Path) -> None:
    siltbook("audit", book)
    made = book.with_name("farm.audited.xlsx")
    first = made.read_bytes()
    siltbook("audit", book)
    assert made.read_bytes() == first


def test_every_rule_is_explained_on_the_consultant_s_page() -> None:
    page = (ROOT / "docs" / "audit.md").read_text()
    for code, rule in RULES.items():
        assert f"`{code}`" in page, code
        assert rule.title in page, code


def test_a_book_is_no_witness_of_itself(tmp_path: Path) -> None:
    book = tmp_path / "farm.xlsx"
    book.write_bytes(b"never opened")
    said = siltbook("audit", book, "--against", book.parent / "." / book.name)
    assert said.exit_code == 3
    assert "was given as a witness of itself (--against " in said.stderr
    assert "and always agrees: give an earlier copy." in said.stderr
