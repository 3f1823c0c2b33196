"""What tests of the usual run want LibreOffice to re-save: all of a format by one start of it."""

from __future__ import annotations

from siltbook.batch.job import review_bytes
from tests.audit.farm import half
from tests.graft.test_graft import both
from tests.samples.load import SAMPLES
from tests.templates.test_blank_formulas import bare_books
from tests.whole.test_struck import a_struck_reading

NAME = "farm.xlsx"


def workbooks() -> list[bytes]:
    """Of tests/audit, tests/graft, tests/archive and tests/templates."""
    reviewed = review_bytes(half().package(), NAME, NAME).package
    season = (SAMPLES / "portfolio" / "east-2026.xlsx").read_bytes()
    return [reviewed, season, *both(), *bare_books().values()]


def opendocuments() -> list[bytes]:
    """Of tests/reading and tests/whole."""
    return [(SAMPLES / "twelve-stations.xlsx").read_bytes(), a_struck_reading()]


TOGETHER = {"xlsx": workbooks, "ods": opendocuments}
