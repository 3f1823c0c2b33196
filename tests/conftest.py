"""What holds for every test."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

import pytest
from hypothesis import settings

from tests.amount import LONG
from tests.warm import Warm

# Compiled modules are kept, as an installation keeps them, whatever this process was told: some
# tests start the program anew, and it would be compiled anew each time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not LONG:
    settings.load_profile("same")


@pytest.fixture(scope="session")
def warm() -> Iterator[Warm]:
    """One process for each that runs tests."""
    made = Warm()
    yield made
    made.close()


@pytest.fixture
def warm_child(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> float:
    """The guard's children are forked where Linux can; how much time each saves by it [s]."""
    if sys.platform != "linux":
        return 0.0
    warm: Warm = request.getfixturevalue("warm")
    warm.install(monkeypatch)
    return warm.start
