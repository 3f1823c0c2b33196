"""A disk that is really full, a file that changes under us, and two runs at once on one book."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch import files
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.files import (
    open_file,
    replace_book,
    stamp_of,
    write_aside,
    write_new,
    write_whole,
)
from siltbook.batch.typed import keeping
from tests.faults.pausing import together
from tests.faults.support import ROOT, reviewed, small_book, start

JUDGE = "siltbook.batch.many:judge"


@pytest.fixture
def old(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return small_book(tmp_path_factory.getbasetemp())


@pytest.fixture
def book(tmp_path: Path, old: bytes) -> Path:
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "farm.xlsx").write_bytes(old)
    return folder / "farm.xlsx"


@pytest.fixture
def small_disk(tmp_path: Path, old: bytes) -> Iterator[Path]:
    """A file system that holds the book and half of its result."""
    disk = tmp_path / "disk"
    disk.mkdir()
    size = len(old) + len(reviewed(old)) // 2
    options = f"size={size // 4096 * 4096}"
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "siltbook-test", str(disk)],
        capture_output=True, check=False,
    ) if sys.platform == "linux" else None  # fmt: skip
    if mounted is None or mounted.returncode:
        pytest.skip("a small file system can only be mounted by root on Linux")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("how", [["--in-place"], []])
def test_a_disk_that_is_full_leaves_the_book_and_nothing_else(
    small_disk: Path, old: bytes, how: list[str]
) -> None:
    book = small_disk / "farm.xlsx"
    book.write_bytes(old)
    run = start("run", *how, book)
    _, said = run.communicate(timeout=600)
    assert run.returncode == 3
    assert "cannot be written (No space left on device). Close it in other programs, check" in said
    assert len(said.strip().splitlines()) == 1
    assert {p.name: p.read_bytes() for p in small_disk.iterdir()} == {"farm.xlsx": old}


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of a file there")
def test_a_limit_on_the_size_of_files_stops_a_write_half_way_and_leaves_nothing(
    book: Path, old: bytes
) -> None:
    code = (
        "import resource, sys\n"
        "from siltbook.batch.errors import BookError\n"
        "from siltbook.batch.files import write_whole\n"
        "from pathlib import Path\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))\n"
        "try: write_whole(Path(sys.argv[1]), b'x' * 50_000)\n"
        "except BookError as error: print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(book)], cwd=ROOT, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert "farm.xlsx: cannot be written (File too large). Close it" in done.stdout
    assert {p.name: p.read_bytes() for p in book.parent.iterdir()} == {"farm.xlsx": old}


def test_a_file_that_changes_while_it_is_read_is_refused(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = Path.read_bytes

    def read_while_somebody_saves(path: Path) -> bytes:
        data = read(path)
        path.write_bytes(data + b"more")
        return data

    monkeypatch.setattr(Path, "read_bytes", read_while_somebody_saves)
    with pytest.raises(BookError, match=r"farm\.xlsx: changed while it was read\. Save and close"):
        open_file(book)


def test_a_kept_book_is_never_overwritten_and_the_same_one_not_kept_twice(book: Path) -> None:
    kept = book.with_name("farm.previous.xlsx")
    kept.write_bytes(b"the book of last month")
    assert replace_book(open_file(book), b"new").name == "farm.previous-2.xlsx"
    book.write_bytes(b"the book of last month")
    assert replace_book(open_file(book), b"newer") == kept
    assert kept.read_bytes() == b"the book of last month"
    assert len(list(book.parent.iterdir())) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are kept another way there")
def test_the_new_and_the_kept_book_have_the_permissions_of_the_old(book: Path) -> None:
    book.chmod(0o640)
    kept = replace_book(open_file(book), b"new")
    assert {kept.stat().st_mode & 0o777, book.stat().st_mode & 0o777} == {0o640}


@pytest.mark.skipif(not hasattr(os, "setxattr"), reason="only Linux has these")
def test_the_new_and_the_kept_book_are_of_the_group_and_the_access_list_of_the_old(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[tuple[str, int, int]] = []
    monkeypatch.setattr(os, "chown", lambda path, *who: given.append((str(path), *who)))
    try:
        os.setxattr(book, "user.farm", b"east")
    except OSError:
        pytest.skip("this file system keeps no such attributes")
    kept = replace_book(open_file(book), b"new")
    assert os.getxattr(book, "user.farm") == os.getxattr(kept, "user.farm") == b"east"
    status = book.stat()
    owners = {(-1, status.st_gid), (status.st_uid, status.st_gid)}
    assert {(owner, group) for _, owner, group in given} == owners
    assert len({path for path, _, _ in given}) == 2  # both drafts


def test_a_book_held_open_elsewhere_leaves_no_kept_copy(
    book: Path, old: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    replace = os.replace

    def held(source: str, target: Path) -> None:
        if Path(target).name == "farm.xlsx":
            raise PermissionError(13, "Permission denied")
        replace(source, target)

    monkeypatch.setattr(os, "replace", held)
    with pytest.raises(BookError, match=r"cannot be written \(Permission denied\)\. Close it"):
        replace_book(open_file(book), b"new")
    assert {p.name: p.read_bytes() for p in book.parent.iterdir()} == {"farm.xlsx": old}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows counts the whole path")
def test_a_name_that_leaves_no_room_for_its_result_stops_no_other_book(book: Path) -> None:
    long = book.with_name(f"{'a' * 245}.xlsx")
    long.write_bytes(book.read_bytes())
    done = CliRunner().invoke(main, ["run", str(book.parent)])
    assert done.exit_code == 3
    result = long.with_name(f"{'a' * 245}.reviewed.xlsx")
    said = "the name has 259 characters, more than a file's name can have here."
    assert f"siltbook: {result}: {said} Give the book a shorter name.\n" in done.output
    assert book.with_name("farm.reviewed.xlsx").exists()
    assert not list(book.parent.glob(".siltbook-*"))


def test_names_that_no_disk_takes_are_refused_by_every_command_that_is_given_one(
    book: Path,
) -> None:
    long = f"{'a' * 300}.xlsx"
    refused = f"siltbook: {long}: the name has 305 characters, more than a file's name can have"
    for words in (["run", long], ["merge", str(book), long], ["audit", long], ["check", long],
                  ["merge", str(book), str(book), "--out", long]):  # fmt: skip
        done = CliRunner().invoke(main, words)
        assert done.exit_code == 3
        assert done.output.startswith(refused), words


def test_what_nobody_foresaw_at_one_book_does_not_stop_the_others(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def odd(target: Path) -> None:
        if target.name.startswith("farm"):
            raise ValueError

    book.with_name("other.xlsx").write_bytes(book.read_bytes())
    monkeypatch.setattr(keeping, "boxes_in", lambda target, _: odd(target) or ())
    done = CliRunner().invoke(main, ["run", str(book.parent)])
    assert done.exit_code == 3
    assert f"siltbook: {book}: this is a fault of Siltbook, not of your book" in done.output
    assert book.with_name("other.reviewed.xlsx").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
def test_links_that_lead_nowhere_or_to_what_may_not_be_read_are_told_and_stop_nothing(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one was passed over without a word, the other refused the whole folder."""
    gone, shut = book.with_name("gone.xlsx"), book.with_name("shut.xlsx")
    gone.symlink_to("/away/north.xlsx")
    shut.symlink_to(book)
    look = Path.stat

    def forbidden(path: Path, **named: bool) -> os.stat_result:
        if path == shut:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return look(path, **named)

    monkeypatch.setattr(Path, "stat", forbidden)
    done = CliRunner().invoke(main, ["run", str(book.parent)])
    assert done.exit_code == 3
    assert book.with_name("farm.reviewed.xlsx").exists()
    assert (
        f"siltbook: {gone}: is a link to /away/north.xlsx, where nothing can be reached. Bring that"
        " drive or folder back, or name the book itself.\n"
    ) in done.output
    assert f"siltbook: {shut}: cannot be read (Permission denied)." in done.output


def test_a_save_that_leaves_time_and_size_alone_is_not_lost(book: Path) -> None:
    taken = open_file(book)
    saved = taken.data[:-1] + b"!"
    with book.open("r+b") as file:
        file.write(saved)
    os.utime(book, ns=(taken.stamp[0], taken.stamp[0]))
    assert stamp_of(book) == taken.stamp
    with pytest.raises(BookError, match="changed while it was judged"):
        replace_book(taken, b"new")
    assert {p.name: p.read_bytes() for p in book.parent.iterdir()} == {"farm.xlsx": saved}


def test_a_book_that_is_given_by_three_ways_is_done_once(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(book.parent)
    ways = ["farm.xlsx", str(book), "../books/farm.xlsx"]
    done = CliRunner().invoke(main, ["run", *ways, "--in-place"])
    assert done.exit_code == 0
    assert done.output.count("  Result: ") == 1
    assert {p.name for p in book.parent.iterdir()} == {"farm.xlsx", "farm.previous.xlsx"}


def test_two_reviewed_books_of_one_name_both_go_where_they_were_asked_to_go(
    tmp_path: Path, old: bytes
) -> None:
    books = [tmp_path / side / "farm.reviewed.xlsx" for side in ("east", "west")]
    for path in books:
        path.parent.mkdir()
        path.write_bytes(old)
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["run", *map(str, books), "--out", str(out)])
    assert done.exit_code == 0, done.output
    assert {p.name for p in out.iterdir()} == {"farm.reviewed.xlsx", "farm-2.reviewed.xlsx"}
    for path in books:
        assert path.read_bytes() == old
        assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_two_runs_that_keep_results_at_once_never_take_one_name(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other run keeps its own just when this one has found the name free."""
    result, kept = (book.with_name(f"farm.reviewed{n}.xlsx") for n in ("", ".kept-1"))
    result.write_bytes(b"typed here")
    unpatched = {name: getattr(os, name) for name in ("link", "rename")}

    def first(name: str) -> Callable[..., object]:
        def do(path: object, *more: object, **named: object) -> object:
            if not kept.exists():
                kept.write_bytes(b"typed elsewhere")
            return unpatched[name](path, *more, **named)

        return do

    for name in unpatched:
        monkeypatch.setattr(os, name, first(name))
    aside = write_aside(result, b"new", lambda: (stamp_of(result), True))
    assert kept.read_bytes() == b"typed elsewhere"
    assert aside == book.with_name("farm.reviewed.kept-2.xlsx")
    assert (aside.read_bytes(), result.read_bytes()) == (b"typed here", b"new")


def none(*_: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "a disk without"])
def test_a_result_that_is_kept_and_cannot_be_replaced_is_as_it_was(
    book: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(os, "link", none)
    result, kept = (book.with_name(f"farm.reviewed{n}.xlsx") for n in ("", ".kept-1"))
    result.write_bytes(b"typed here")
    replace = os.replace
    monkeypatch.setattr(os, "replace", lambda a, b: replace(a, b) if Path(a) == kept else none())
    with pytest.raises(BookError, match="cannot be written"):
        write_aside(result, b"new", lambda: (stamp_of(result), True))
    assert {p.name for p in book.parent.iterdir()} == {"farm.xlsx", "farm.reviewed.xlsx"}
    assert result.read_bytes() == b"typed here"
    monkeypatch.undo()
    os.link(result, kept)  # as where a run was killed between
    assert write_aside(result, b"new", lambda: (stamp_of(result), True)) == kept
    assert (kept.read_bytes(), result.read_bytes()) == (b"typed here", b"new")


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "a disk without"])
def test_a_new_file_never_replaces_what_somebody_saves_there_meanwhile(
    book: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(os, "link", none)
    out = book.with_name("merged.xlsx")
    write_new(out, b"new", "taken")
    assert out.read_bytes() == b"new"
    out.write_bytes(b"typed")
    with pytest.raises(BookError, match="taken"):
        write_new(out, b"newer", "taken")
    assert out.read_bytes() == b"typed"
    assert {p.name for p in book.parent.iterdir()} == {"farm.xlsx", "merged.xlsx"}


def test_merge_looks_once_more_before_it_writes_elsewhere(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = book.with_name("merged.xlsx")
    monkeypatch.setattr(files, "sweep", lambda _: out.write_bytes(b"typed"))
    done = CliRunner().invoke(main, ["merge", str(book), str(book), "--out", str(out)])
    assert done.exit_code == 3
    assert (
        done.output == f"siltbook: {out} exists and was not replaced: give another name by --out.\n"
    )
    assert out.read_bytes() == b"typed"


def test_a_result_that_is_a_link_is_replaced_and_its_far_end_left_alone(tmp_path: Path) -> None:
    far = tmp_path / "far.txt"
    far.write_text("somebody else's")
    near = tmp_path / "farm.reviewed.xlsx"
    try:
        near.symlink_to(far)
    except OSError:
        pytest.skip("no symbolic links here")
    write_whole(near, b"new")
    assert far.read_text() == "somebody else's"
    assert near.read_bytes() == b"new"
    assert not near.is_symlink()


def test_two_runs_at_once_in_place_one_wins_and_the_previous_book_is_whole(
    book: Path, old: bytes, tmp_path: Path
) -> None:
    # Two dates, so that the two results differ and a mixture would show.
    runs = [["run", "--in-place", book, "--as-of", day] for day in ("2026-03-01", "2026-12-01")]
    ended = together(tmp_path / "marks", JUDGE, *runs)
    assert sorted(code for code, _ in ended) == [0, 3]
    (refused,) = [said for code, said in ended if code == 3]
    assert "changed while it was judged. Save and close it, then run again." in refused
    winner = [str(runs[i][-1]) for i, (code, _) in enumerate(ended) if code == 0]
    assert {p.name for p in book.parent.iterdir()} == {"farm.xlsx", "farm.previous.xlsx"}
    assert book.with_name("farm.previous.xlsx").read_bytes() == old
    assert book.read_bytes() == reviewed_on(old, winner[0])


@pytest.mark.at_length  # the one above: two in place, where the book itself is at stake
def test_two_runs_at_once_into_one_folder_leave_one_of_the_two_results(
    book: Path, old: bytes, tmp_path: Path
) -> None:
    days = ("2026-03-01", "2026-12-01")
    runs: list[list[object]] = [
        ["run", book, "--out", tmp_path / "out", "--as-of", day] for day in days
    ]
    assert [code for code, _ in together(tmp_path / "marks", JUDGE, *runs)] == [0, 0]
    (made,) = (tmp_path / "out").iterdir()
    assert made.read_bytes() in [reviewed_on(old, day) for day in days]


def reviewed_on(old: bytes, day: str) -> bytes:
    import datetime as dt

    from siltbook.batch.job import review_bytes
    from siltbook.batch.typed.stamp import stamped

    made = review_bytes(old, "farm.xlsx", "farm.xlsx", dt.date.fromisoformat(day))
    return stamped(made.package, "farm.xlsx")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("command", ["run", "check"])
def test_output_that_cannot_be_written_gives_one_sentence(book: Path, command: str) -> None:
    with Path("/dev/full").open("w") as full:
        done = start(command, book, really=command == "run", stdout=full)
        said = done.communicate(timeout=600)[1]
    assert done.returncode == 3
    assert said == (
        "siltbook: standard output: No space left on device. Check the space and the permissions.\n"
    )
