"""Whatever somebody types into a reviewed book is afterwards in the book or in a named file."""

from __future__ import annotations

import random
import re
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.many import Order, process_book
from tests.amount import amount
from tests.typed.farm import DAY, NAME, box, edit, make, siltbook, texts

EDITS = amount(12, 200)
SHEETS = ("Farm", "Stations", "Readings", "Work done", "Agreed", "Actions", "Findings")
_KEPT = re.compile(r"is kept as (\S+\.xlsx); ")


def random_edit(made: openpyxl.Workbook, random_: random.Random, word: str, kind: int) -> None:
    """One edit of a reviewed book, of one of six kinds, that types `word` somewhere."""
    if kind == 0:
        made["Readings"].append([random_.choice(("North", "South")), DAY, 3.0, 2.8, None, word])
    elif kind == 1:
        head = random_.choice(("Who", "Action agreed", "By when"))
        box(made, "South", head).value = word
    elif kind == 2:
        made.create_sheet(f"Own {random_.randrange(99)}").append([word])
    elif kind == 3:
        made["Agreed"].append(["(farm)", word])
    else:
        sheet = made[random_.choice(SHEETS)]
        row, col = random_.randint(3, sheet.max_row + 3), random_.randint(1, 9)
        cell = sheet.cell(row, col)
        if type(cell).__name__ != "MergedCell":
            cell.value = word
        else:
            made["Readings"]["K2"] = word


def go_on(book: Path, result: Path, how: int) -> str:
    """What somebody does next: run in place (0), watch, review, agree or run."""
    if how == 0:
        return siltbook("run", result)
    if how == 1:
        done = process_book(
            Order(book, result, None)
        )  # what `watch` does with a book that was saved
        assert not done.failure
        return "\n".join((*done.lines, ""))
    if how == 2:
        args = (book, "--month", "2026-06", "--no-pdf", "--out", book.parent / "pack.xlsx")
        siltbook("review", *args)
    if how == 3 and box(openpyxl.load_workbook(result), "South", "Who").value == "agreed":
        siltbook("agree", result, book)
    return siltbook("run", book)


@pytest.mark.at_length(usual=1)
@pytest.mark.filterwarnings("ignore:.*extension is not supported:UserWarning")
@pytest.mark.parametrize("seed", range(4))
def test_nothing_typed_into_reviewed_books_is_ever_lost(seed: int, tmp_path: Path) -> None:
    random_ = random.Random(seed)
    words: set[str] = set()
    book, result = tmp_path / NAME, tmp_path / "farm.reviewed.xlsx"
    book.write_bytes(make())
    siltbook("run", book)
    named: set[Path] = set()
    for number in range(EDITS // 4):
        word = f"typed {seed}-{number}"
        # Every kind of edit and everything that may follow, in the usual run as well.
        kind, how = (3 * seed + number) % 6, (2 * seed + number) % 5
        edit(result, lambda made, w=word, k=kind: random_edit(made, random_, w, k))
        words.add(word)
        named |= {Path(found) for found in _KEPT.findall(go_on(book, result, how))}
        there = {p for p in tmp_path.iterdir() if ".kept-" in p.name}
        assert there == named
    held = texts(book) | texts(result)
    for path in (*named, *tmp_path.glob("*.previous*.xlsx")):
        held |= texts(path)
    missing = {word for word in words if not any(word in text for text in held)}
    assert not missing
