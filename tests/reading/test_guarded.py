"""Every way by which a stranger's workbook comes in goes through the guard."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

import siltbook
from siltbook.batch import child, files, guard
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.package import limits, opened
from siltbook.batch.reading.book import read_book
from tests.reading.books import clean_sheets, workbook
from tests.reading.test_bounds import MIB, crowded, overrides_small

SAMPLES = Path(__file__).parents[2] / "sample_workbooks"
OWN = SAMPLES / "as-kept" / "wide-two-headers.xlsx"
OFFERED: dict[str, Callable[[bytes], object]] = {
    "read": siltbook.read,
    "check": siltbook.check,
    "judge": siltbook.judge,
    "reviewed_bytes": siltbook.reviewed_bytes,
    "audit": siltbook.audit,
    "review": lambda data: siltbook.review([data], "2026-05"),
}


@pytest.fixture
def hurry(real_child: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is handed to a child is beyond its limits at once."""
    monkeypatch.setattr(guard, "SECONDS", 0.01)
    monkeypatch.setattr(guard, "MORE", 0.0)
    monkeypatch.setattr(child, "LOOK", 0.02)


@pytest.mark.usefixtures("hurry")
@pytest.mark.parametrize("function", OFFERED)
def test_what_import_offers_hands_an_unusual_book_to_a_child(function: str) -> None:
    with pytest.raises(BookError, match=r"^book\.xlsx takes more time or memory than any season"):
        OFFERED[function](overrides_small())
    OFFERED[function](workbook(clean_sheets()))


def test_an_unusual_book_that_is_honest_gives_the_same_frames() -> None:
    plain = workbook(clean_sheets())
    same, other = siltbook.judge(plain), siltbook.judge(crowded(plain))
    pd.testing.assert_frame_equal(same.verdicts, other.verdicts)
    assert same.verdicts.attrs == other.verdicts.attrs
    assert len(siltbook.read(crowded(plain)).lists["Readings"]) > 0


def told(*arguments: object) -> str:
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 3, done.output
    (line,) = done.stderr.strip().splitlines()
    return line


def well(*arguments: object) -> None:
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 0, done.output


def test_adopt_hands_an_unusual_source_mapping_or_book_to_a_child(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("own.xlsx").write_bytes(OWN.read_bytes())
    Path("crowd.xlsx").write_bytes(crowded(OWN.read_bytes()))
    well("adopt", "own.xlsx", "--out", "m.xlsx")
    well("adopt", "crowd.xlsx", "--out", "n.xlsx")  # an honest one is adopted as any
    well("adopt", "own.xlsx", "--mapping", "m.xlsx", "--out", "book.xlsx")
    Path("crowd-m.xlsx").write_bytes(crowded(Path("m.xlsx").read_bytes()))
    Path("crowd-book.xlsx").write_bytes(crowded(Path("book.xlsx").read_bytes()))
    well("adopt", "crowd.xlsx", "--mapping", "crowd-m.xlsx", "--into", "crowd-book.xlsx")
    monkeypatch.setattr(child, "subprocess", subprocess)  # a forked one might be quick enough
    monkeypatch.setattr(guard, "SECONDS", 0.01)
    monkeypatch.setattr(guard, "MORE", 0.0)
    monkeypatch.setattr(child, "LOOK", 0.02)
    before = sorted(os.listdir())
    for said, arguments in (
        ("crowd.xlsx", ("crowd.xlsx",)),
        ("crowd-m.xlsx", ("own.xlsx", "--mapping", "crowd-m.xlsx")),
        ("crowd-book.xlsx", ("own.xlsx", "--mapping", "m.xlsx", "--into", "crowd-book.xlsx")),
        ("crowd-book.xlsx", ("crowd-book.xlsx", "--into", "crowd-book.xlsx")),
    ):
        assert told("adopt", *arguments).startswith(f"siltbook: {said} takes more time or memory")
    assert sorted(os.listdir()) == before


@pytest.mark.usefixtures("hurry")
def test_merge_and_paper_hand_an_unusual_book_to_a_child(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("book.xlsx").write_bytes(workbook(clean_sheets()))
    Path("crowd.xlsx").write_bytes(overrides_small())
    for arguments in (
        ("merge", "crowd.xlsx", "book.xlsx"),
        ("merge", "book.xlsx", "crowd.xlsx"),
        ("merge", "book.xlsx", "--base", "crowd.xlsx"),
        ("round", "crowd.xlsx"),
        ("card", "crowd.xlsx", "F1"),
    ):
        assert "takes more time or memory than any season's workbook" in told(*arguments)
    assert sorted(os.listdir()) == ["book.xlsx", "crowd.xlsx"]


@pytest.mark.usefixtures("hurry")
def test_what_lies_in_the_place_of_a_result_is_looked_at_in_a_child_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("farm.xlsx").write_bytes(workbook(clean_sheets()))
    there, pack = overrides_small(), Path("pack.xlsx")
    Path("farm.reviewed.xlsx").write_bytes(there)
    pack.write_bytes(there)
    done = CliRunner().invoke(main, ["run", "farm.xlsx"])
    assert done.exit_code == 0, done.output
    assert "it takes too much time or memory to be compared" in done.stdout
    assert Path("farm.reviewed.kept-1.xlsx").read_bytes() == there
    month = ("--month", "2026-05", "--no-pdf", "--out", "pack.xlsx")
    assert told("review", "farm.xlsx", *month) == (
        "siltbook: pack.xlsx exists and is no review pack: choose another name by --out."
    )
    assert pack.read_bytes() == there


def test_a_file_beyond_128_mebibytes_is_refused_before_it_is_read(tmp_path: Path) -> None:
    book = tmp_path / "large.xlsx"
    with book.open("wb") as file:
        file.truncate(files.LARGEST + MIB)  # a file with a hole: it takes no space
    assert told("check", book) == f"siltbook: {book}: 129 MiB; accepted: up to 128 MiB."


def test_a_part_that_is_parsed_has_a_limit_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    assert limits.MAX_PARSED == 512 * MIB
    book = workbook(clean_sheets())
    read_book(book, "b.xlsx")
    monkeypatch.setattr(opened, "MAX_PARSED", 900)
    with pytest.raises(BookError, match=r"^b\.xlsx holds a list of 0 MiB, more than the 0 MiB of"):
        read_book(book, "b.xlsx")
