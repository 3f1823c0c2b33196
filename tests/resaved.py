"""What tests of the usual run want LibreOffice to re-save: all by one start of the program."""

from __future__ import annotations

from siltbook.batch.job import review_bytes
from tests.audit.farm import half
from tests.graft.test_graft import both
from tests.samples.load import SAMPLES

NAME = "farm.xlsx"


def together() -> list[bytes]:
    """Of tests/audit, tests/graft and tests/archive."""
    reviewed = review_bytes(half().package(), NAME, NAME).package
    season = (SAMPLES / "portfolio" / "east-2026.xlsx").read_bytes()
    return [reviewed, season, *both()]
