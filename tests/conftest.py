"""What holds for every test."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator

import pytest
from hypothesis import settings

from tests.amount import LONG
from tests.warm import close_shared, shared

# Compiled modules are kept, as an installation keeps them, whatever this process was told: some
# tests start the program anew, and it would be compiled anew each time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# A shell that starts this in the background lets it ignore Ctrl-C, and all that it starts would.
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not LONG:
    settings.load_profile("same")


@pytest.fixture(scope="session", autouse=True)
def no_process_is_left() -> Iterator[None]:
    """The one that forks others ends with the tests."""
    yield
    close_shared()


@pytest.fixture
def warm_child(monkeypatch: pytest.MonkeyPatch) -> float:
    """The guard's children are forked where Linux can; how much time each saves by it [s]."""
    if sys.platform != "linux":
        return 0.0
    shared().install(monkeypatch)
    return shared().start
