"""What the search for unnoticed changes says, and where it keeps its scores."""

from __future__ import annotations

from tests.mutation.__main__ import HEAD, PAGE, changed, publish
from tests.mutation.rooms import ROOMS

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
