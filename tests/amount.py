"""How much a run of the tests takes on: the usual one, all of them, or more random ones still.

The usual run keeps at least one case of everything that is promised. What it leaves out is marked
`at_length` and deselected, or taken by `few`. `SILTBOOK_TESTS=all pytest` leaves nothing out, and
neither does a run that names a file or folder of tests, unless `SILTBOOK_TESTS=usual` says so.

Random tests take a sample, the same one each time, however many tests are run.
`SILTBOOK_FUZZ=5000 pytest` takes every case, as many examples of each property, and all tests.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import pytest

LONG = os.environ.get("SILTBOOK_FUZZ", "")
VARIABLE, ALL, USUAL = "SILTBOOK_TESTS", "all", "usual"
T = TypeVar("T")
U = TypeVar("U")


def settle(named: bool) -> None:
    """What this run takes on, into the environment, from where its workers know it too.

    `named`: by a file or folder of tests on the command line.
    """
    asked = os.environ.get(VARIABLE, "")
    if asked not in ("", ALL, USUAL):
        raise pytest.UsageError(
            f"{VARIABLE} is {asked!r}: '{ALL}' and '{USUAL}' are known; leave it away for the usual"
            " run."
        )
    os.environ[VARIABLE] = ALL if LONG else asked or (ALL if named else USUAL)


def whole() -> bool:
    """Nothing is left out."""
    return os.environ.get(VARIABLE) == ALL


def left_out(items: Iterable[pytest.Item]) -> list[pytest.Item]:
    """The tests that are marked `at_length`, but for the cases that their mark keeps.

    `@pytest.mark.at_length` leaves out all cases, `at_length(usual=2)` all but two, evenly spread
    from the first on, `at_length(keep="ods")` all but those in whose id that stands, and
    `at_length(drop="ods")` those alone; both take several such pieces of an id.
    """
    tests: dict[str, list[pytest.Item]] = {}
    for item in items:
        if item.get_closest_marker("at_length"):
            tests.setdefault(item.nodeid.partition("[")[0], []).append(item)
    return [item for cases in tests.values() for item in _not_kept(cases)]


def _not_kept(cases: list[pytest.Item]) -> list[pytest.Item]:
    mark = cases[0].get_closest_marker("at_length")
    told: dict[str, Any] = dict(mark.kwargs) if mark else {}
    usual, keep, drop = (told.pop(name, None) for name in ("usual", "keep", "drop"))
    if told or (mark and mark.args):
        raise pytest.UsageError(f"{cases[0].nodeid}: at_length takes 'usual', 'keep' or 'drop'.")
    if drop:
        return _with(cases, drop)
    kept = [cases[n * len(cases) // usual] for n in range(usual or 0)] + _with(cases, keep or ())
    return [case for case in cases if case not in kept]


def _with(cases: list[pytest.Item], pieces: str | Sequence[str]) -> list[pytest.Item]:
    """Those in whose id one of the pieces stands."""
    wanted = (pieces,) if isinstance(pieces, str) else pieces
    ids = {case: case.nodeid.partition("[")[2] for case in cases}
    return [case for case, named in ids.items() if any(piece in named for piece in wanted)]


def few(cases: Sequence[T], usual: int) -> list[T]:
    """For a loop within a test: `usual` of the cases, evenly spread from the first to the last."""
    if whole() or usual >= len(cases):
        return list(cases)
    return [cases[n * (len(cases) - 1) // max(1, usual - 1)] for n in range(usual)]


def examples(count: int) -> int:
    """How many examples of a property, the same ones each time: a fifth in the usual run."""
    return count if whole() else max(3, count // 5)


def amount(usual: int, whole: int) -> int:
    """How many cases of a random test: `whole` or more in the long run."""
    return max(whole, int(LONG)) if LONG else usual


def some(cases: Sequence[T], usual: int) -> list[T]:
    """All cases in the long run; else `usual` of them, evenly spread from the first on."""
    if LONG or usual >= len(cases):
        return list(cases)
    return [cases[n * len(cases) // usual] for n in range(usual)]


def crossed(rows: Sequence[T], columns: Sequence[U]) -> list[tuple[T, U]]:
    """Every row with every column in the long run; else each row with every third column.

    From one row to the next they move on by one, so that three rows take every column.
    """
    pairs = itertools.product(enumerate(rows), enumerate(columns))
    return [(row, column) for (i, row), (j, column) in pairs if LONG or (i + j) % 3 == 0]
