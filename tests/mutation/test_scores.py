"""What the search for unnoticed changes says, and where it keeps its scores."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

import tests.mutation.__main__ as tool
from tests.mutation.__main__ import HEAD, PAGE, TOP, Mutant, Outcome, asked_of, changed, publish
from tests.mutation.rooms import ROOMS, Room

DIFF = """--- mutation diff ---
--- a/checks/x.py
+++ b/checks/x.py
@@ -1,2 +1,2 @@
 kept
-    return a < b
+    return a <= b
"""


def test_the_changed_line_is_named_without_the_heads_of_the_diff() -> None:
    assert changed(DIFF) == ("return a < b", "return a <= b")


def test_a_score_takes_the_place_of_the_rooms_last_one_and_rooms_keep_their_order() -> None:
    page = f"Before.\n\n{HEAD}\n| checks | 9 | 4 | 0 | 1 | 25% |\n\nAfter.\n"
    page = publish("| ladder | 8 | 4 | 1 | 0 | 0% |", page)
    page = publish("| checks | 9 | 4 | 0 | 0 | 0% |", page)
    rows = "| ladder | 8 | 4 | 1 | 0 | 0% |\n| checks | 9 | 4 | 0 | 0 | 0% |"
    assert page == f"Before.\n\n{HEAD}\n{rows}\n\nAfter.\n"


def test_the_page_has_the_table_and_names_rooms_that_there_are() -> None:
    rows = PAGE.read_text(encoding="utf-8").split(HEAD)[1].split("\n\n")[0].split()
    assert {row for row in rows if row.isalpha()} <= set(ROOMS)


def test_tests_that_name_the_changed_module_are_asked_first_and_each_once(tmp_path: Path) -> None:
    for name, text in (
        ("test_a.py", "from siltbook.batch.audit.plans import x\n"),
        ("test_b.py", "from siltbook.batch.audit.plan import x\n"),
        ("test_c.py", "import siltbook.batch.audit.plan as plan\n"),
        ("farm.py", "import siltbook.batch.audit.plan\n"),
    ):
        (tmp_path / "tests").mkdir(exist_ok=True)
        (tmp_path / "tests" / name).write_text(text, "utf-8")
    room = Room("batch/audit/*.py", ("tests/test_a.py", "tests/test_c.py"), ("tests",))
    asked = asked_of(room, "batch/audit/plan.py", tmp_path)
    assert asked == ("tests/test_c.py", "tests/test_b.py", "tests/test_a.py")
    assert asked_of(room, "batch/audit/digits.py", tmp_path) == room.tests


def test_the_tests_of_every_room_are_there() -> None:
    """A path that is not there would end pytest, and every mutant would seem to be noticed."""
    paths = [path for room in ROOMS.values() for path in (*room.tests, *room.named)]
    assert [path for path in paths if not (TOP / path).exists()] == []


class Here:
    """A pool that works in this process."""

    def __init__(self, *_: object, **__: object) -> None: ...

    def __enter__(self) -> Here:
        return self

    def __exit__(self, *_: object) -> None: ...

    def submit(self, work: Any, *given: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*given))
        return done

    map = staticmethod(map)


def test_tests_that_fail_without_any_change_give_no_score(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tool, "ProcessPoolExecutor", Here)
    monkeypatch.setattr(tool, "_work_in", lambda _: None)
    monkeypatch.setattr(tool, "mutants", lambda _: iter([Mutant("checks/x.py", "op", 0, 1)]))
    monkeypatch.setattr(tool, "_noticed", lambda tests: (True, 9.0))
    with pytest.raises(SystemExit, match="checks: its tests fail without any change"):
        tool._room("checks", 1, "a seed", 1, str(tmp_path))
    monkeypatch.setattr(tool, "_noticed", lambda tests: (False, 10.0))
    waits: list[float] = []

    def survive(mutant: Mutant, tests: tuple[str, ...], most: float) -> Outcome:
        waits.append(most)
        return Outcome(mutant, True, "a", "b")

    monkeypatch.setattr(tool, "_try", survive)
    row = tool._room("checks", 1, "a seed", 1, str(tmp_path))
    assert row == "| checks | 1 | 1 | 0 | 1 | 100% |"
    assert waits == [50.0]  # a mutant is waited for three times as long as the tests take, and more
