"""The commands review and agree: exit codes, what they print, and that nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook.batch.cli import main
from siltbook.batch.files import find_books
from siltbook.batch.pdf import office
from tests.office import needs_office
from tests.review.farms import book, opened
from tests.review.test_agree import NORTH, filled, header_row


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def farms(tmp_path: Path) -> Path:
    """A folder with two farms' books of the season."""
    for farm in ("north", "south"):
        (tmp_path / f"{farm}-2026.xlsx").write_bytes(book(farm))
    return tmp_path


def test_a_folder_becomes_one_pack_in_it(farms: Path) -> None:
    done = siltbook("review", farms, "--month", "2026-07", "--no-pdf")
    assert done.exit_code == 0, done.output
    pack = farms / f"{farms.name}.review-2026-07.xlsx"
    assert pack.is_file()
    assert not pack.with_suffix(".pdf").exists()
    first = "Review of July 2026 · 2 books · as of 2026-07-31\n  Check flush gear North Farm"
    assert done.stdout.startswith(first)
    assert "  2 of 10 stations need a decision\n" in done.output
    assert f"  Pack: {pack}\n" in done.output
    assert [p.name for p in find_books((farms,))] == ["north-2026.xlsx", "south-2026.xlsx"]


def test_one_book_becomes_a_pack_beside_it(farms: Path) -> None:
    done = siltbook("review", farms / "north-2026.xlsx", "--month", "2026-7", "--no-pdf")
    assert done.exit_code == 0
    assert (farms / "north-2026.review-2026-07.xlsx").is_file()


@pytest.mark.at_length  # all others name a pack by --out
def test_out_names_a_folder_or_the_pack(farms: Path) -> None:
    for out, made in (
        (farms / "packs", farms / "packs" / "portfolio.review-2026-07.xlsx"),
        (farms / "deep" / "july.xlsx", farms / "deep" / "july.xlsx"),
    ):
        books = sorted(farms.glob("*-2026.xlsx"))
        done = siltbook("review", *books, "--month", "2026-07", "--no-pdf", "--out", out)
        assert done.exit_code == 0, done.output
        assert made.is_file()


def test_json_is_one_document_with_the_counts(farms: Path) -> None:
    done = siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--json")
    document = json.loads(done.stdout)
    assert (document["month"], document["as_of"]) == ("2026-07", "2026-07-31")
    assert [b["file"] for b in document["books"]] == ["north-2026.xlsx", "south-2026.xlsx"]
    assert [(a["station"], a["now"], a["days_over"]) for a in document["agenda"]] == [
        ("N2 Screen", "check-flush-gear", 18), ("S1 Well", "flush", 4),
    ]  # fmt: skip
    assert document["flushes"] == {"proven": 10, "not proven": 3}
    assert document["agreed"]["not done"] == 2
    assert document["pdf"] is None


@pytest.mark.parametrize("month", ["July", "2026-13"])
def test_a_month_that_is_none_is_wrong_use(farms: Path, month: str) -> None:
    done = siltbook("review", farms, "--month", month)
    assert done.exit_code == 2
    assert f"'{month}' is no month: write year and month, for example 2026-07." in done.output


@pytest.mark.at_length  # test_hostile_review.py: hostile books
def test_a_book_that_cannot_be_read_is_named_and_the_others_are_done(farms: Path) -> None:
    (farms / "broken.xlsx").write_bytes(b"PK broken")
    done = siltbook("review", farms, "--month", "2026-07", "--no-pdf")
    assert done.exit_code == 3
    assert "broken.xlsx is damaged or not complete" in done.output
    assert "Review of July 2026 · 2 books" in done.output


def test_a_month_outside_every_book_writes_nothing(farms: Path) -> None:
    done = siltbook("review", farms, "--month", "2024-07", "--no-pdf")
    assert done.exit_code == 3
    assert "No book is of 2024-07 (north-2026.xlsx: its season is 2026" in done.output
    assert len(list(farms.iterdir())) == 2


def test_a_pack_never_replaces_a_book(farms: Path) -> None:
    target = farms / "south-2026.xlsx"
    done = siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--out", target)
    assert done.exit_code == 3
    assert "exists and is no review pack: choose another name by --out." in done.output
    assert target.read_bytes() == book("south")


@pytest.mark.at_length  # test_hostile_review.py: minutes written meanwhile
def test_a_pack_never_replaces_a_meetings_minutes(farms: Path) -> None:
    arguments = ("review", farms, "--month", "2026-07", "--no-pdf", "--out", farms / "p.xlsx")
    assert siltbook(*arguments).exit_code == 0
    assert siltbook(*arguments).exit_code == 0
    empty = (farms / "p.xlsx").read_bytes()
    minutes = filled({header_row(empty) + 1: NORTH}, empty)
    (farms / "p.xlsx").write_bytes(minutes)
    done = siltbook(*arguments)
    assert done.exit_code == 3
    assert "p.xlsx holds 1 row that a meeting filled in: it was not replaced" in done.output
    assert (farms / "p.xlsx").read_bytes() == minutes


@pytest.mark.at_length  # a pack with minutes is not
def test_a_pack_with_words_outside_its_agenda_is_not_replaced(farms: Path) -> None:
    """A Done date or a note was lost to the next run: only rows of the Agenda were looked at."""
    arguments = ("review", farms, "--month", "2026-07", "--no-pdf", "--out", farms / "p.xlsx")
    assert siltbook(*arguments).exit_code == 0
    pack = opened((farms / "p.xlsx").read_bytes())
    pack["Data questions"]["A60"] = "Ask the dealer"
    pack.save(farms / "p.xlsx")
    before = (farms / "p.xlsx").read_bytes()
    done = siltbook(*arguments)
    assert done.exit_code == 3
    assert done.stderr == (
        f"siltbook: {farms / 'p.xlsx'} was saved since this version of Siltbook wrote it, or is of "
        "an earlier one, and may hold what somebody typed: it was not replaced; move it away, or "
        "choose another name by --out.\n"
    )
    assert (farms / "p.xlsx").read_bytes() == before


@pytest.mark.at_length  # tests/review/test_agreed.py reads them
def test_done_dates_of_a_pack_are_said_to_stay_there(farms: Path) -> None:
    pack, target = farms / "p.xlsx", farms / "north-2026.xlsx"
    siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--out", pack)
    review = opened(pack.read_bytes())
    listed = review["Agreed"]
    head = next(row for row in listed.iter_rows() if row[0].value == "Farm")
    done_at = next(cell.column for cell in head if cell.value == "Done")
    rows = [row for row in listed.iter_rows(min_row=head[0].row + 1) if row[1].value]
    north = (r for r in rows if str(r[0].value).startswith("North"))
    row = next(r for r in north if r[done_at - 1].value is None)
    row[done_at - 1].value = "yes, last week"
    review.save(pack)
    said = siltbook("agree", pack, target)
    cell, station, action = row[done_at - 1].coordinate, row[1].value, row[2].value
    assert said.stdout.splitlines()[1:] == [
        f"  Done in the pack, not in the book: Agreed!{cell} ({station}, {action}). Done dates are "
        "not carried over: type them on the sheet Agreed."
    ]


def test_agree_adds_rows_keeps_the_previous_book_and_says_so_twice(farms: Path) -> None:
    pack, target = farms / "p.xlsx", farms / "north-2026.xlsx"
    siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--out", pack)
    data = pack.read_bytes()
    first = header_row(data) + 1
    pack.write_bytes(filled({first: NORTH, first + 1: {"Action": "Flush at once"}}, data))
    done = siltbook("agree", pack, target)
    assert done.exit_code == 0, done.output
    assert done.output.splitlines() == [
        f"{target}: 1 row added to the sheet Agreed (row 6).",
        f"  Previous book: {farms / 'north-2026.previous.xlsx'}",
        "  1 filled for other farms: run agree with their books too.",
    ]
    assert (farms / "north-2026.previous.xlsx").read_bytes() == book("north")
    after = target.read_bytes()
    again = siltbook("agree", pack, target)
    assert again.exit_code == 0
    assert again.output.splitlines()[0] == (
        f"{target}: nothing added; all 1 filled rows of this farm already stand on the sheet "
        "Agreed."
    )
    assert target.read_bytes() == after
    assert not (farms / "north-2026.previous-2.xlsx").exists()


def test_agree_refuses_in_one_line_and_leaves_the_book(farms: Path) -> None:
    target = farms / "north-2026.xlsx"
    done = siltbook("agree", farms / "south-2026.xlsx", target)
    assert done.exit_code == 3
    assert done.output.startswith("siltbook: ")
    assert "south-2026.xlsx is no review pack" in done.output
    assert len(done.output.splitlines()) == 1
    assert target.read_bytes() == book("north")
    missing = siltbook("agree", farms / "none.xlsx", target)
    assert missing.exit_code == 3
    assert "none.xlsx" in missing.output


@needs_office
def test_the_pdf_stands_beside_the_pack(farms: Path) -> None:
    done = siltbook("review", farms / "south-2026.xlsx", "--month", "2026-07")
    assert done.exit_code == 0, done.output
    pdf = farms / "south-2026.review-2026-07.pdf"
    assert pdf.read_bytes().startswith(b"%PDF")
    assert f"  PDF: {pdf}\n" in done.output
    assert office() is not None


def test_without_libreoffice_the_pack_is_made_and_it_says_so(
    farms: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    done = siltbook("review", farms / "south-2026.xlsx", "--month", "2026-07")
    assert done.exit_code == 0
    assert "  No PDF: LibreOffice is not installed here.\n" in done.output
    assert (farms / "south-2026.review-2026-07.xlsx").is_file()


def test_somebodys_pdf_of_the_same_name_is_not_replaced(farms: Path) -> None:
    (farms / "july.pdf").write_bytes(b"mine")
    out = farms / "july.xlsx"
    done = siltbook("review", farms, "--month", "2026-07", "--out", out)
    assert done.exit_code == 3
    said = "july.pdf exists and is not this pack's, or somebody wrote into it: choose another name"
    assert said in done.output
    assert (farms / "july.pdf").read_bytes() == b"mine"
    assert not out.exists()
