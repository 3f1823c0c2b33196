"""What tests of the audit ask for."""

from __future__ import annotations

import pytest


@pytest.fixture
def without_what_would_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests whose answers speak neither of other limits nor of planted faults.

    The two take half of an audit.
    """
    monkeypatch.setattr("siltbook.batch.audit.sensitivity.sensitivity", lambda _: ())
    monkeypatch.setattr("siltbook.batch.audit.power.power", lambda *_: ())
