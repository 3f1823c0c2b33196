"""Workers that die, on this machine and on a real Dask cluster: nothing lost, nothing twice."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from batch import cluster, many
from batch.cli import main
from batch.cluster import ClusterError, fulfil_on
from tests.faults import workers
from tests.faults.support import ROOT, reviewed, small_book

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="workers are killed by a signal")


@pytest.fixture
def mark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SILTBOOK_TEST_MARK", str(tmp_path / "mark"))
    return tmp_path / "mark"


def books(folder: Path, *names: str) -> list[Path]:
    folder.mkdir()
    for name in names:
        (folder / f"{name}.xlsx").write_bytes(small_book(folder.parent))
    return [folder / f"{name}.xlsx" for name in names]


def check_all(todo: list[many.Order], outcomes: list[many.Outcome], failing: str = "") -> None:
    """One outcome for each book, in order; its result there, whole, and nothing else."""
    assert [o.path for o in outcomes] == [o.path for o in todo]
    for order, outcome in zip(todo, outcomes, strict=True):
        target = order.target
        assert target is not None
        if failing and order.path.name.startswith(failing):
            assert "ended the process more than once" in outcome.failure
            assert not target.exists()
            continue
        assert outcome.failure == ""
        book = order.path.read_bytes()
        assert target.read_bytes() == reviewed(book, order.path.name, str(order.path))
    names = sorted(p.name for p in todo[0].target.parent.iterdir())  # type: ignore[union-attr]
    wanted = [o.target.name for o in todo if o.target and not (failing and failing in o.path.name)]
    assert names == sorted(wanted)


def test_a_process_that_dies_takes_no_book_with_it(tmp_path: Path, mark: Path) -> None:
    todo = many.orders(books(tmp_path / "in", "a", "b", "deadly", "d"), tmp_path / "out", False, None)
    check_all(todo, list(many.fulfil_all(todo, 2, workers.die_once)))
    assert mark.exists()


def test_a_book_that_ends_every_process_is_given_up_and_the_others_go_on(tmp_path: Path) -> None:
    todo = many.orders(books(tmp_path / "in", "a", "deadly", "c"), tmp_path / "out", False, None)
    check_all(todo, list(many.fulfil_all(todo, 2, workers.die_always)), failing="deadly")


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """A real scheduler on this machine, without workers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
         "--port", "0", "--no-dashboard"],
        cwd=ROOT, text=True, stderr=subprocess.PIPE,
    )  # fmt: skip
    yield address_in(process)
    process.terminate()
    process.communicate(timeout=20)


def address_in(process: subprocess.Popen[str]) -> str:
    assert process.stderr is not None
    for line in process.stderr:
        if "Scheduler at:" in line:
            threading.Thread(target=process.stderr.read, daemon=True).start()
            return line.rpartition(" ")[2].strip()
    raise AssertionError("the scheduler did not start")


def work_for(address: str) -> subprocess.Popen[bytes]:
    """A worker process with one thread and nobody who would start it again."""
    return subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-nanny",
         "--nthreads", "1", "--no-dashboard", "--death-timeout", "60"],
        cwd=ROOT, stderr=subprocess.DEVNULL,
    )  # fmt: skip
