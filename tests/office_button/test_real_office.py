"""The button in a real LibreOffice on a screen: skipped, with a word, where a piece is missing.

`SILTBOOK_PICTURE=docs/pictures/office-button.png pytest tests/office_button/test_real_office.py`
keeps what the screen showed (with ImageMagick).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.desktop import machine as machines
from siltbook.batch.desktop.machine import Machine, this_machine
from siltbook.batch.office_button import register
from siltbook.batch.pdf import beside_office, office
from tests.faults.support import small_book

SAMPLE = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
NOBODY = 65534
# LibreOffice's tool refuses to register for root.
AS_ANOTHER = ["setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups"]


def python_with_uno() -> str | None:
    """LibreOffice's own Python: the system's, or the one beside LibreOffice."""
    beside = [beside_office("python")] if office() else []
    for python in filter(None, ["/usr/bin/python3", *beside]):
        if Path(python).exists():
            asked = subprocess.run([python, "-c", "import uno"], capture_output=True)
            if asked.returncode == 0:
                return python
    return None


@pytest.fixture
def home() -> Iterator[Path]:
    """A person's home that is not below pytest's own folder, into which only one user can look."""
    folder = Path(tempfile.mkdtemp(prefix="siltbook-home-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def person(home: Path) -> Machine:
    """This machine with another's home, and no root for what refuses root."""
    if not beside_office("unopkg") or not office():
        pytest.skip("LibreOffice is not installed")
    if python_with_uno() is None:
        pytest.skip("LibreOffice's Python part is missing (python3-uno)")
    for tool in ("xvfb-run", "xauth", "setpriv"):
        if not shutil.which(tool):
            pytest.skip(f"{tool} is missing")
    if not Path(sys.executable).with_name("siltbook").exists():
        pytest.skip("Siltbook's programs are not installed beside this Python")

    def run(words: Sequence[str], more: Mapping[str, str]) -> str:
        first = AS_ANOTHER if os.geteuid() == 0 else []
        if first:  # LibreOffice itself ran as root there
            subprocess.run(["chown", "-R", f"{NOBODY}:{NOBODY}", home], check=True)
        return machines.run([*first, *words], {**more, "HOME": str(home)})

    return replace(this_machine(), scripts=(Path(sys.executable).parent,), run=run)


def play(home: Path, book: Path, picture: str = "") -> dict[str, Any]:
    player, python = Path(__file__).with_name("player.py"), python_with_uno()
    asked = [str(python), str(player), str(office()), str(book), picture]
    done = subprocess.run(
        ["xvfb-run", "-a", "-s", "-screen 0 1280x800x24", *asked], capture_output=True, text=True,
        env={**os.environ, "HOME": str(home), "PYTHONPATH": ""}, timeout=1500, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    held: dict[str, Any] = json.loads(done.stdout.splitlines()[-1]) if not picture else {}
    return held


def test_its_entries_save_judge_and_open_the_book_and_say_what_goes_wrong(
    person: Machine, home: Path, tmp_path: Path
) -> None:
    register.add(person, home / "kept")
    if picture := os.environ.get("SILTBOOK_PICTURE", ""):
        play(home, Path(shutil.copy(SAMPLE, tmp_path / "river-farm-2026.xlsx")), picture)
    book = tmp_path / "river farm.xlsx"
    book.write_bytes(small_book(tmp_path))
    shutil.copy(SAMPLE.parent / "as-kept" / "wide-two-headers.xlsx", tmp_path / "notes.xlsx")
    held = play(home, book)
    assert held["no file"].startswith("This book has no file on this machine yet. Save it under")
    assert held["no book"].startswith("other.xlsx has no sheet Stations (its sheets: Readings)")
    assert held["check"] == "Nothing is wrong or doubtful in what was written down."
    assert (held["active"], held["saved"]) == ("Actions", True)
    assert held["unsaved"].startswith("river farm.reviewed.xlsx is open and has changes that are")
    assert held["kept"] == "typed into the result"
    assert held["nowhere"].startswith("Put the cursor in a row of the station")
    for kind in ("round", "card"):
        made = book.with_name(f"river farm.{kind}.pdf")
        assert held[kind] == f"{made} was made, and opens in your program for PDFs."
        assert made.read_bytes().startswith(b"%PDF")
    assert held["open"] == ["river farm.reviewed.xlsx", "river farm.xlsx"]
    assert register.remove(person, home / "kept")[0].startswith("The menu and the toolbar were")
    assert register.remove(person, home / "kept") == ["LibreOffice had no menu of Siltbook's."]
