"""The commands: exit codes, what they print, and that no file is changed or lost."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook.batch import files
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from tests.lean import lean
from tests.samples.load import SAMPLES

TWELVE = SAMPLES / "twelve-stations.xlsx"
REAL = SAMPLES / "real-life-psi.xlsx"


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "farm.xlsx"
    path.write_bytes(lean(TWELVE.read_bytes()))
    return path


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_help_imports_neither_pandas_nor_pint() -> None:
    code = (
        "import sys; from siltbook.batch.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "assert not {'pandas', 'pint', 'pandera', 'xlsxwriter', 'lxml'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Exit codes: 0 all done" in done.stdout.replace("\n", " ")


def test_help_in_short_and_version() -> None:
    assert siltbook("-h").output.startswith("Usage:")
    assert siltbook("--version").output.startswith("siltbook, version ")


def test_run_leaves_the_book_alone_and_says_where_the_result_is(book: Path) -> None:
    before, stamp = book.read_bytes(), book.stat().st_mtime_ns
    done = siltbook("run", book)
    assert done.exit_code == 0
    assert f"Result: {book.with_name('farm.reviewed.xlsx')}" in done.output
    assert "Escalate" in done.output
    assert "2 of 12 stations need nothing now" in done.output
    assert (book.read_bytes(), book.stat().st_mtime_ns) == (before, stamp)
    assert sorted(p.name for p in book.parent.iterdir()) == ["farm.reviewed.xlsx", "farm.xlsx"]


def test_in_place_keeps_every_previous_book(book: Path) -> None:
    before = book.read_bytes()
    assert siltbook("run", book, "--in-place").exit_code == 0
    first = book.read_bytes()
    assert first != before
    assert book.with_name("farm.previous.xlsx").read_bytes() == before
    assert siltbook("run", book, "--in-place").exit_code == 0
    assert book.with_name("farm.previous-2.xlsx").read_bytes() == first
    assert book.read_bytes() == first


def test_folder_takes_books_only_once_and_skips_results(book: Path) -> None:
    (book.parent / "~$farm.xlsx").write_bytes(b"lock")
    (book.parent / "notes.txt").write_text("x")
    siltbook("run", book.parent)
    done = siltbook("run", book.parent, "--json")
    assert [Path(b["path"]).name for b in json.loads(done.stdout)["books"]] == ["farm.xlsx"]


def test_one_bad_book_never_stops_the_others(book: Path) -> None:
    broken = book.with_name("broken.xlsx")
    broken.write_bytes(book.read_bytes()[:5000])
    done = siltbook("run", broken, book)
    assert done.exit_code == 3
    assert "broken.xlsx" in done.stderr
    assert "Traceback" not in done.output
    assert book.with_name("farm.reviewed.xlsx").exists()
    assert not book.with_name("broken.reviewed.xlsx").exists()


def test_out_keeps_books_of_one_name_apart(book: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    twin = Path(shutil.copy(REAL, other / "farm.xlsx"))
    done = siltbook("run", book, twin, "--out", tmp_path / "results")
    assert done.exit_code == 0
    made = sorted(p.name for p in (tmp_path / "results").iterdir())
    assert made == ["farm-2.reviewed.xlsx", "farm.reviewed.xlsx"]


def test_several_processes_give_the_same_as_one(book: Path, tmp_path: Path) -> None:
    shutil.copy(REAL, book.with_name("real.xlsx"))
    book.with_name("broken.xlsx").write_bytes(b"PK broken")
    one = siltbook("run", book.parent, "--out", tmp_path / "one", "--json")
    two = siltbook("run", book.parent, "--out", tmp_path / "two", "--json", "--jobs", 2)
    assert one.exit_code == two.exit_code == 3
    results = sorted(p.name for p in (tmp_path / "one").iterdir())
    assert results == ["farm.reviewed.xlsx", "real.reviewed.xlsx"]
    for name in results:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert one.stdout.replace("/one/", "/two/") == two.stdout


def test_check_exit_codes(book: Path) -> None:
    assert siltbook("check", book).exit_code == 0
    done = siltbook("check", REAL)
    assert done.exit_code == 1
    assert "[station-unknown]" in done.output
    assert siltbook("check", book.with_name("none.xlsx")).exit_code == 3


def test_check_changes_nothing(book: Path) -> None:
    before = book.read_bytes()
    siltbook("check", book)
    assert book.read_bytes() == before
    assert [p.name for p in book.parent.iterdir()] == ["farm.xlsx"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run", "nowhere.xlsx"], "nowhere.xlsx: no such file or folder. Check the spelling"),
        (["template", "blank.ods"], "a blank workbook ends in .xlsx"),
        (["template", "b.xlsx", "--pressure-unit", "furlong"], "furlong"),
        (["run", "x.xlsx", "--in-place", "--out", "y"], "exclude each other"),
        (["run", "."], "no workbook (.xlsx, .xlsm, .ods, .xls) in this folder"),
    ],
)
def test_wrong_use_gives_one_clear_sentence(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = siltbook(*arguments)
    assert done.exit_code in (2, 3)
    assert words in " ".join(done.output.split())
    assert "Traceback" not in done.output
    assert not list(tmp_path.iterdir())


def test_template_is_what_a_run_reads(tmp_path: Path) -> None:
    path = tmp_path / "blank.xlsx"
    done = siltbook("template", path, "--station", "North", "--station", "South", "--farm", "F")
    assert done.exit_code == 0, done.output
    assert siltbook("template", path).exit_code == 2
    done = siltbook("run", path, "--json")
    assert done.exit_code == 0, done.output
    (entry,) = json.loads(done.stdout)["books"]
    assert entry["farm"] == "F"
    assert entry["as_of"] is None
    assert [s["verdict"] for s in entry["stations"]] == ["no-reading", "no-reading"]


def test_as_of_leaves_later_entries_out(book: Path) -> None:
    done = siltbook("run", book, "--json", "--as-of", "2026-04-01")
    (entry,) = json.loads(done.stdout)["books"]
    assert entry["as_of"] == "2026-04-01"
    assert all(s["read_on"] <= "2026-04-01" for s in entry["stations"])
    assert "date-after-review" in {f["rule"] for f in entry["findings"]}


def test_book_that_changes_while_it_is_judged_is_not_replaced(book: Path) -> None:
    taken = files.open_file(book)
    book.write_bytes(b"someone saved meanwhile")
    with pytest.raises(BookError, match="changed while it was judged"):
        files.replace_book(taken, b"new")
    assert book.read_bytes() == b"someone saved meanwhile"
    assert [p.name for p in book.parent.iterdir()] == ["farm.xlsx"]


@pytest.mark.parametrize("step", ["fsync", "replace", "chmod"])
def test_a_fault_at_any_step_leaves_the_old_file_whole(
    book: Path, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = book.read_bytes()

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(BookError, match=r"cannot be written \(No space left on device\)"):
        files.write_whole(book, b"new")
    assert book.read_bytes() == before
    assert [p.name for p in book.parent.iterdir()] == ["farm.xlsx"]
