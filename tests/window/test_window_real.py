"""The window on a real screen, by keys: skipped where tkinter or Xvfb is missing.

`SILTBOOK_PICTURE=docs/pictures/window.png pytest tests/window/test_window_real.py` keeps what
the screen showed (with ImageMagick).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_workbooks"
HAS = "import tkinter, sys; sys.exit(sys.version_info[:2] != {})"


def python_with_tk() -> str | None:
    """A Python of this version that has tkinter: this one, or the system's own."""
    found = [sys.executable, shutil.which("python3", path="/usr/bin") or ""]
    for python in filter(None, found):
        asked = HAS.format(tuple(sys.version_info[:2]))
        if subprocess.run([python, "-c", asked], capture_output=True).returncode == 0:
            return python
    return None


@pytest.fixture
def screen() -> list[str]:
    """The words that start a Python with a screen of its own."""
    python = python_with_tk()
    if python is None:
        pytest.skip("no Python of this version with tkinter")
    if not shutil.which("xvfb-run") or not shutil.which("xauth"):
        pytest.skip("Xvfb is missing")
    return ["xvfb-run", "-a", "-s", "-screen 0 1000x700x24", python]


def environment() -> dict[str, str]:
    places = [str(ROOT / "src"), sysconfig.get_path("purelib"), *filter(None, sys.path)]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(places), "PYTHONWARNINGS": ""}


def play(screen: list[str], *words: object) -> dict[str, Any]:
    """What the window held when the player had played."""
    player = Path(__file__).with_name("player.py")
    done = subprocess.run(
        [*screen, str(player), *map(str, words)], env=environment(), capture_output=True, text=True,
        timeout=900,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    held: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return held


def test_keys_alone_lead_from_a_folder_to_the_reviewed_book_and_the_papers(
    screen: list[str], tmp_path: Path
) -> None:
    farm = tmp_path / "farm"
    farm.mkdir()
    shutil.copy(SAMPLES / "twelve-stations.xlsx", farm / "river-farm-2026.xlsx")
    shutil.copy(SAMPLES / "portfolio" / "hill-2026.xlsx", farm)
    (farm / "notes.xlsx").write_bytes(b"no workbook")
    shutil.copy(SAMPLES / "portfolio" / "hill-2025.xlsx", tmp_path / "a {b} c.xlsx")
    picture = os.environ.get("SILTBOOK_PICTURE", "")
    held = play(screen, farm, tmp_path / "config", picture)
    assert held["books"] == ["hill-2026.xlsx", "notes.xlsx", "river-farm-2026.xlsx"]
    assert held["needs"]["notes.xlsx"].endswith(" …")
    assert held["cut"] == []
    river = held["needs"]["river-farm-2026.xlsx"]
    assert river.startswith("1 escalate, 1 hand clean")
    assert river.endswith(" more")
    assert held["summary"].endswith("need something. 1 could not be judged.")
    assert held["opened"] == [
        str(farm / "river-farm-2026.reviewed.xlsx"), str(farm / "river-farm-2026.card.pdf"),
        str(farm / "river-farm-2026.round.pdf"), str(farm / "river-farm-2026.audited.xlsx"),
    ]  # fmt: skip
    assert "S02 Pond: Hand clean. " in held["words"]
    assert "S01 Weir" not in held["words"]
    assert "! Before a filter is opened" in held["words"]
    assert held["off"] == {"notes.xlsx": ["open", "round", "card", "audit", "archive"]}
    assert held["tab"] == [
        "Choose books…", "Choose folder…", "Judge again",
        "Watch the folder: judge a book whenever it is saved", "list", "Open reviewed book",
        "Round sheet", "Station card", "Review pack…", "Audit", "Archive…", "words",
    ]  # fmt: skip
    # Dropped in place of the three; watching then judges what is new in the list or saved.
    assert held["droppable"] in (True, None)
    assert held["dropped"] == ["river-farm-2026.xlsx", "a {b} c.xlsx"]
    assert held["watched"] == ["hill-2026.xlsx", "notes.xlsx", "river-farm-2026.xlsx"]
    assert sorted(held["stay"]) == held["books"]
    remembered = json.loads((tmp_path / "config" / "window.json").read_text())
    assert remembered == {"folder": str(farm.resolve())}


TOLD = """
import json, sys, tkinter
from pathlib import Path
from types import SimpleNamespace
from siltbook.batch.window.events import Idle, Made, Need, Progress, Row
from siltbook.batch.window.view import Window

asked = []
desk = SimpleNamespace(judge=asked.append)
root = tkinter.Tk()
window = Window(root, desk, Path(sys.argv[1]))
window.opens = asked.append
window._look = None
book, gone = Path(sys.argv[1], "farm.xlsx"), Path(sys.argv[1], "gone.xlsx")
need = Need("North", "flush", "Over the limit.")
held = {}
window.choose([book, gone])
window.tell(Row(book, book, needs=(need,), said=("it is kept as farm.kept-1.xlsx",),
                notes=("is open elsewhere",)))
window.tell(Row(gone, failure="gone.xlsx: no such file"))
window.tell(Progress(1, 2, "farm.xlsx"))
window.tell(Idle())
held["done"] = window.status.get()
held["words"] = window.words.get("1.0", "end").splitlines()
window.tell(Progress(0, 1, "farm.xlsx"))
window.tell(Row(book, book, needs=(need,)))  # saved once more: nothing new to say
window.tell(Idle(book.parent))
held["watching"] = window.status.get()
held["still"] = window.words.get("1.0", "end").splitlines()
window.tell(Made("Audit", book, ("its copy is kept as farm.audited.kept-1.xlsx",)))
held["made"] = window.words.get("1.0", "end").splitlines()
print(json.dumps(held))
"""


def test_what_was_kept_of_somebodys_typing_is_told_as_long_as_the_window_is_open(
    screen: list[str], tmp_path: Path
) -> None:
    done = subprocess.run(
        [*screen, "-c", TOLD, str(tmp_path)], env=environment(), capture_output=True, text=True,
        timeout=900,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    held = json.loads(done.stdout.splitlines()[-1])
    typed = " Somebody had typed into results of 1 book: choose it to see where it is kept."
    assert held["done"] == f"2 books, 1 station needs something. 1 could not be judged.{typed}"
    assert held["watching"] == f"Watching {tmp_path}.{typed}"
    north = "North: Flush. Over the limit."
    assert held["words"][:3] == ["is open elsewhere", "it is kept as farm.kept-1.xlsx", north]
    assert held["still"][:2] == ["it is kept as farm.kept-1.xlsx", north]
    assert held["made"][:2] == ["its copy is kept as farm.audited.kept-1.xlsx", held["still"][0]]


def test_without_a_screen_one_sentence_says_so() -> None:
    python = python_with_tk()
    if python is None:
        pytest.skip("no Python of this version with tkinter")
    without = {k: v for k, v in environment().items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    done = subprocess.run(
        [python, "-m", "siltbook.batch.window.start"], env=without, capture_output=True, text=True
    )
    assert done.returncode == 3
    assert done.stderr.startswith("siltbook-window: there is no screen to draw a window on.")
    assert done.stderr.count("\n") == 1
