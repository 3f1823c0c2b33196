"""What holds for every test."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from tests.amount import LONG, left_out, settle, whole
from tests.lean import all_rows, few_rows
from tests.office import Shared, in_one_run
from tests.warm import close_shared, install, shared

# Compiled modules are kept, as an installation keeps them, whatever this process was told: some
# tests start the program anew, and it would be compiled anew each time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Those who run tests share the cores: threads of the numerical libraries only get in their way.
for library in ("OPENBLAS", "OMP"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

# A shell that starts this in the background lets it ignore Ctrl-C, and all that it starts would.
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not LONG:
    settings.load_profile("same")


# Under `workeroutput` a worker sends it to the process that starts the workers, which shows it.
LEFT_OUT = "at_length"
number_left_out = pytest.StashKey[int]()


def pytest_configure(config: pytest.Config) -> None:
    """How much this run takes on; its workers are told by the environment."""
    config.addinivalue_line("markers", "at_length(usual=0, keep=(), drop=()): tests/amount.py")
    if not hasattr(config, "workerinput"):
        every = {Path(__file__).parent, Path(__file__).parents[1]}
        given = {(config.invocation_params.dir / str(arg)).resolve() for arg in config.args}
        settle(named=not given & every)
    few_rows()
    config.stash[number_left_out] = 0


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What is at length is deselected, not skipped: nothing that did not run looks like passed."""
    if whole():
        return
    long = left_out(items)
    gone = {id(item) for item in long}
    items[:] = [item for item in items if id(item) not in gone]
    config.hook.pytest_deselected(items=long)
    config.stash[number_left_out] = len(long)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker says how many it left out."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput[LEFT_OUT] = session.config.stash[number_left_out]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Each worker collects the same and leaves out the same."""
    sent = getattr(node, "workeroutput", None) or {}
    node.config.stash[number_left_out] = sent.get(LEFT_OUT, 0)


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """What did not run, and how it is run."""
    if count := config.stash[number_left_out]:
        terminalreporter.write_line(
            f"{count} tests at length were left out; SILTBOOK_TESTS=all runs them too."
        )


def pytest_collection_finish() -> None:
    """What was imported stays: to look through it for garbage again and again took a tenth."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 20, 50)


@pytest.fixture(scope="session")
def office(tmp_path_factory: pytest.TempPathFactory) -> Shared:
    """Books as LibreOffice re-saves them, shared by all that run tests."""
    return in_one_run(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="session", autouse=True)
def no_process_is_left() -> Iterator[None]:
    """The one that forks others ends with the tests."""
    yield
    close_shared()


@pytest.fixture(autouse=True)
def guards_children_are_forked(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where Linux can, and the test does not ask for `real_child`."""
    if sys.platform == "linux" and "real_child" not in request.fixturenames:
        install(monkeypatch)


@pytest.fixture
def real_child() -> None:
    """The guard's children of this test are started in earnest."""


@pytest.fixture
def prepared_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blanks of this test have all the rows that are prepared for people."""
    all_rows(monkeypatch)


@pytest.fixture
def saved_by_forking() -> float:
    """How much processor time a child of the guard saves by being forked [s]."""
    return shared().start if sys.platform == "linux" else 0.0
