"""Every sample gives what it gave: verdicts, sentences, figures and findings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.golden.figures import KEPT, books, differences, figures, kept


@pytest.mark.parametrize("book", books(), ids=lambda book: book.stem)
def test_a_sample_gives_what_it_gave(book: Path) -> None:
    was = json.loads(kept(book).read_text(encoding="utf-8"))
    found = list(differences(was, figures(book)))
    assert not found, "\n".join(["'python -m tests.golden' if this is meant:", *found[:20]])


def test_nothing_is_kept_of_a_sample_that_is_gone() -> None:
    assert {p.name for p in KEPT.glob("*.json")} == {kept(book).name for book in books()}


def test_a_difference_is_found() -> None:
    was = {"stations": [{"verdict": "flush", "drop_m": 5.2, "also": []}], "farm": "A"}
    now = {"stations": [{"verdict": "watch", "drop_m": 5.2000001, "also": ["x"]}], "as_of": None}
    assert list(differences(was, now)) == [
        ".as_of: new",
        ".farm: gone",
        ".stations[0].also: 0 entries, now 1",
        ".stations[0].verdict: 'flush', now 'watch'",
    ]
    assert list(differences({"drop": 5.2}, {"drop": 5.21})) == [".drop: 5.2, now 5.21"]
