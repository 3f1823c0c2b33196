"""A kill, a full disk and a neighbour, at every write of `agree` and `review`."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from siltbook.batch.reading.book import read_book
from siltbook.batch.review.agree import enter_agreed
from siltbook.batch.review.minutes import read_pack
from tests.faults.pausing import together
from tests.faults.support import Driver, Ended, points, start
from tests.review.farms import book
from tests.review.packs import ROW, SPARE, small_pack
from tests.review.test_agree import NORTH, filled

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="children are forked")
REVIEW = "siltbook.batch.review"
MINUTES = {ROW: NORTH}
MORE = {SPARE: {"Farm": "North Farm (invented)", "Station": "N1 Screen", "Action": "Look"}}


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pack") / "pack.xlsx"
    path.write_bytes(filled(MINUTES, small_pack()))
    return path


@pytest.fixture(scope="module")
def new(pack: Path) -> bytes:
    done = enter_agreed(pack.read_bytes(), "pack.xlsx", book("north"), "north-2026.xlsx")
    assert done.data is not None
    return done.data


def laid(folder: Path) -> Path:
    """The book in a folder of its own, where nothing else is: always the same one."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    path = folder / "north-2026.xlsx"
    path.write_bytes(book("north"))
    return path


def seen(folder: Path) -> dict[str, bytes]:
    """What a person sees in a folder: a draft's name begins with a dot."""
    return {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".siltbook-")}


def test_a_kill_at_any_call_of_agree_leaves_the_old_book_or_the_new(
    driver: Driver, pack: Path, new: bytes, tmp_path: Path
) -> None:
    old = {"north-2026.xlsx": book("north")}
    both = {"north-2026.xlsx": new, "north-2026.previous.xlsx": book("north")}
    between = {**old, "north-2026.previous.xlsx": book("north")}
    met: list[dict[str, bytes]] = []
    target = laid(tmp_path / "book")
    whole = driver.run(0, "kill", "agree", pack, target)
    assert (whole.code, seen(target.parent)) == (0, both)
    for at in points(whole.calls, lambda: all(state in met for state in (old, between, both))):
        target = laid(tmp_path / "book")
        assert driver.run(at, "kill", "agree", pack, target).killed
        left = seen(target.parent)
        assert left in (old, between, both), at
        met.append(left)
        if left == between:  # run again, it ends as if it had never been killed
            assert driver.run(0, "kill", "agree", pack, target).code == 0
            assert seen(target.parent) == both
    assert all(state in met for state in (old, between, both))


def test_a_full_disk_at_any_call_of_agree_gives_one_sentence_and_loses_nothing(
    driver: Driver, pack: Path, new: bytes, tmp_path: Path
) -> None:
    calls = driver.run(0, "full", "agree", pack, laid(tmp_path / "book")).calls
    refused: list[int] = []
    for at in points(calls, lambda: len(refused) > 4):
        target = laid(tmp_path / "book")
        end = driver.run(at, "full", "agree", pack, target)
        assert "Traceback" not in end.said
        if end.code == 0:
            assert target.read_bytes() == new
            continue
        refused.append(at)
        assert end.code == 3
        (line,) = end.said.strip().splitlines()
        assert "north-2026.xlsx: cannot be written (No space left on device)." in line
        assert [p.name for p in target.parent.iterdir()] == ["north-2026.xlsx"]
        assert target.read_bytes() == book("north")
    assert len(refused) > 4


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("fault", ["kill", "full"])
def test_a_fault_at_any_call_of_review_leaves_the_old_pack_or_the_new(
    driver: Driver, tmp_path: Path, fault: str
) -> None:
    refused: list[int] = []

    def pack_after(at: int) -> tuple[Ended, Path]:
        target = laid(tmp_path / "book")
        out = tmp_path / "out.xlsx"
        out.write_bytes(small_pack())
        words = ("review", target, "--month", "2026-07", "--no-pdf", "--out", out)
        end = driver.run(at, fault, *words)
        assert seen(target.parent) == {"north-2026.xlsx": book("north")}
        assert len(read_pack(out.read_bytes(), "pack.xlsx").books) in (1, 2)
        return end, out

    whole, out = pack_after(0)
    assert len(read_pack(out.read_bytes(), "pack.xlsx").books) == 1
    for at in points(whole.calls, lambda: len(refused) > 2 or fault == "kill"):
        end, out = pack_after(at)
        assert end.killed == (fault == "kill")
        if end.code == 3:
            refused.append(at)
            (line,) = end.said.strip().splitlines()
            assert "cannot be written (No space left on device)." in line
            assert out.read_bytes() == small_pack()
    assert len(refused) > 2 or fault == "kill"


def test_two_agrees_at_once_one_wins_and_the_other_can_be_run_again(
    pack: Path, tmp_path: Path
) -> None:
    target = laid(tmp_path / "book")
    other = tmp_path / "other.xlsx"
    other.write_bytes(filled(MORE, small_pack()))
    runs: list[list[object]] = [["agree", one, target] for one in (pack, other)]
    ended = together(tmp_path / "marks", f"{REVIEW}.agree:enter_agreed", *runs)
    assert sorted(code for code, _ in ended) == [0, 3]
    (refused,) = [said for code, said in ended if code == 3]
    assert "changed while it was judged. Save and close it, then run again." in refused
    assert set(seen(target.parent)) == {"north-2026.xlsx", "north-2026.previous.xlsx"}
    assert len(read_book(target.read_bytes(), "n").book.agreed.frame) == 5
    loser = runs[[code for code, _ in ended].index(3)]
    again = start(*loser)
    assert (again.communicate(timeout=600)[1], again.returncode) == ("", 0)
    assert len(read_book(target.read_bytes(), "n").book.agreed.frame) == 6


@pytest.mark.at_length  # the one above; test_hostile_review.py: minutes written meanwhile
def test_two_reviews_at_once_into_one_file_leave_one_of_the_two_packs(tmp_path: Path) -> None:
    books = [laid(tmp_path / "north"), tmp_path / "south-2026.xlsx"]
    books[1].write_bytes(book("south"))
    out = tmp_path / "out" / "july.xlsx"
    runs: list[list[object]] = [
        ["review", one, "--month", "2026-07", "--no-pdf", "--out", out] for one in books
    ]
    ended = together(tmp_path / "marks", f"{REVIEW}.pack:pack_bytes", *runs)
    assert [code for code, _ in ended] == [0, 0]
    assert [p.name for p in out.parent.iterdir()] == ["july.xlsx"]
    (one,) = read_pack(out.read_bytes(), "july.xlsx").books
    assert one.file in ("north-2026.xlsx", "south-2026.xlsx")
