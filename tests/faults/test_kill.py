"""A kill, or a full disk, at every call that makes, fills, settles, renames or removes a file."""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path

import pytest

from siltbook.batch import files
from tests.faults.support import Driver, Ended, points, reviewed, small_book

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="children are forked")


@pytest.fixture(scope="module")
def old(driver: Driver) -> bytes:
    return small_book(driver.said.parent)


@pytest.fixture(scope="module")
def new(old: bytes) -> bytes:
    made = reviewed(old)
    assert made != old
    return made


def laid(folder: Path, old: bytes) -> Path:
    """The book in a folder of its own, where nothing else is: always the same one."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    book = folder / "farm.xlsx"
    book.write_bytes(old)
    return book


def seen(folder: Path) -> dict[str, bytes]:
    """What a person sees in a folder: a draft's name begins with a dot."""
    return {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".siltbook-")}


def age_drafts(folder: Path) -> int:
    drafts = list(folder.glob(".siltbook-*.tmp"))
    for draft in drafts:
        os.utime(draft, (time.time() - files.DRAFT_STALE - 1,) * 2)
    return len(drafts)


def test_a_kill_at_any_call_in_place_leaves_the_old_book_or_the_new(
    driver: Driver, old: bytes, new: bytes, tmp_path: Path
) -> None:
    both = {"farm.xlsx": new, "farm.previous.xlsx": old}
    allowed = ({"farm.xlsx": old}, {"farm.xlsx": old, "farm.previous.xlsx": old}, both)
    met, drafts = set(), list[int]()
    book = laid(tmp_path / "book", old)
    whole = driver.run(0, "kill", "run", "--in-place", book)
    assert (whole.code, seen(book.parent)) == (0, both)
    assert whole.calls > 12
    for at in points(whole.calls, lambda: len(met) == len(allowed) and sum(drafts) > 2):
        book = laid(tmp_path / "book", old)
        assert driver.run(at, "kill", "run", "--in-place", book).killed
        left = seen(book.parent)
        assert left in allowed, (at, sorted(left))
        met.add(allowed.index(left))
        drafts.append(age_drafts(book.parent))
        if left != both:
            assert driver.run(0, "kill", "run", "--in-place", book).code == 0
        else:
            files.sweep(book.parent)
        # As if nothing had happened: no third file, no draft.
        assert {p.name: p.read_bytes() for p in book.parent.iterdir()} == both, at
    assert met == {0, 1, 2}
    assert sum(drafts) > 2


def test_a_kill_at_any_call_into_a_folder_leaves_the_old_result_or_the_new(
    driver: Driver, old: bytes, new: bytes, tmp_path: Path
) -> None:
    def left_by(at: int) -> tuple[Ended, dict[str, bytes]]:
        book = laid(tmp_path / "book", old)
        out = tmp_path / "out"
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir()
        (out / "farm.reviewed.xlsx").write_bytes(b"an earlier result")
        end = driver.run(at, "kill", "run", "--out", out, book)
        assert seen(book.parent) == {"farm.xlsx": old}
        assert [p.name for p in book.parent.iterdir()] == ["farm.xlsx"]
        assert seen(out) in (
            {"farm.reviewed.xlsx": b"an earlier result"},
            {"farm.reviewed.kept-1.xlsx": b"an earlier result"},
            {
                "farm.reviewed.xlsx": b"an earlier result",
                "farm.reviewed.kept-1.xlsx": b"an earlier result",
            },
            {"farm.reviewed.kept-1.xlsx": b"an earlier result", "farm.reviewed.xlsx": new},
        )
        return end, seen(out)

    whole, left = left_by(0)
    assert (whole.code, left["farm.reviewed.xlsx"]) == (0, new)
    assert whole.calls > 6
    for at in points(whole.calls):
        assert left_by(at)[0].killed


@pytest.mark.at_length(keep="in-place")
@pytest.mark.parametrize("how", ["--in-place", "--out"])
def test_a_full_disk_at_any_call_gives_one_sentence_and_loses_nothing(
    driver: Driver, old: bytes, new: bytes, tmp_path: Path, how: str
) -> None:
    first = laid(tmp_path / "book", old)
    into = [how] if how == "--in-place" else [how, tmp_path / "out"]
    calls, refused = driver.run(0, "full", "run", *into, first).calls, list[int]()
    for at in points(calls, lambda: len(refused) > 4):
        book = laid(tmp_path / "book", old)
        out = tmp_path / "out"
        shutil.rmtree(out, ignore_errors=True)
        where = [how] if how == "--in-place" else [how, out]
        end = driver.run(at, "full", "run", *where, book)
        assert not end.killed
        assert "Traceback" not in end.said
        assert not age_drafts(book.parent)
        done = {"farm.xlsx": new, "farm.previous.xlsx": old}
        if end.code == 0:
            # The call was one that may fail: settling a folder, taking away what is gone already.
            assert seen(book.parent) == (done if how == "--in-place" else {"farm.xlsx": old})
            assert how == "--in-place" or seen(out) == {"farm.reviewed.xlsx": new}
            continue
        refused.append(at)
        assert end.code == 3
        assert "cannot be written (No space left on device). Close it in other" in end.said
        assert len(end.said.strip().splitlines()) == 1
        assert seen(book.parent) == {"farm.xlsx": old}
        assert how == "--in-place" or not list(out.iterdir())
    assert calls > 6
    assert len(refused) > 4


def test_only_drafts_that_nobody_can_still_be_writing_are_swept(tmp_path: Path) -> None:
    stale, fresh = tmp_path / ".siltbook-a.tmp", tmp_path / ".siltbook-b.tmp"
    theirs = tmp_path / ".other.tmp"
    for path in (stale, fresh, theirs):
        path.write_bytes(b"x")
    for path in (stale, theirs):
        os.utime(path, (time.time() - files.DRAFT_STALE - 1,) * 2)
    files.sweep(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == [".other.tmp", ".siltbook-b.tmp"]
