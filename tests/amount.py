"""How much a test takes on: a sample in the usual run, all of it with `SILTBOOK_FUZZ`.

The usual run takes the same sample each time. `SILTBOOK_FUZZ=5000 pytest` takes every case, and as
many examples of each property.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Sequence
from typing import TypeVar

LONG = os.environ.get("SILTBOOK_FUZZ", "")
T = TypeVar("T")
U = TypeVar("U")


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
