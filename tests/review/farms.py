"""The portfolio's books for the tests of the review, read once."""

from __future__ import annotations

import sys
from functools import cache
from types import ModuleType

from tests.samples.load import SAMPLES, load_make

FOLDER = SAMPLES / "portfolio"


@cache
def portfolio() -> ModuleType:
    """The script that makes the portfolio."""
    load_make()
    return sys.modules["sample_workbooks.portfolio"]


@cache
def book(farm: str, year: int = 2026) -> bytes:
    """One farm's book, for example book('north')."""
    return (FOLDER / f"{farm}-{year}.xlsx").read_bytes()
