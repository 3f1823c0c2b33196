"""A small, fixed part of the benchmark of false alarms (tests/benchmarks/audit.py)."""

from __future__ import annotations

import pytest

from siltbook.batch.audit.model import State
from tests.benchmarks.audit import alarms

SEASONS = 20


@pytest.mark.at_length  # test_trust.py and test_reassurance.py: the honest farm
def test_twenty_honest_seasons_are_quiet() -> None:
    found = alarms(range(1_000, 1_000 + SEASONS))
    assert {code: n[State.LOOK] for code, n in found.items() if n[State.LOOK]} == {}
    # Quiet because it was asked, not because it could not be.
    asked = {code: n[State.QUIET] for code, n in found.items()}
    assert min(asked.values()) >= SEASONS // 4, asked
