"""Workers that die, on this machine and on a real Dask cluster: nothing lost, nothing twice."""

from __future__ import annotations

import json
import multiprocessing
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import forkserver
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from siltbook.batch import cluster, many
from siltbook.batch.cli import main
from siltbook.batch.cluster import ClusterError, process_on_cluster
from tests.amount import whole
from tests.faults import workers
from tests.faults.support import ROOT, reviewed, small_book
from tests.forked import Forked
from tests.warm import process

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


def orders(folder: Path, *names: str) -> list[many.Order]:
    return many.orders(books(folder / "in", *names), folder / "out", False, None)


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


@pytest.fixture
def forked_workers(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The processes of a pool are forked from one that has imported everything."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.faults.warm_workers"])
    monkeypatch.setenv("PYTHONPATH", str(ROOT))  # where it finds what it imports
    monkeypatch.setattr(multiprocessing, "get_context", lambda _: context)
    yield
    forkserver._forkserver._stop()


@pytest.mark.at_length  # the next ends processes too
@pytest.mark.usefixtures("forked_workers")
def test_a_process_that_dies_takes_no_book_with_it(tmp_path: Path, mark: Path) -> None:
    todo = orders(tmp_path, "a", "b", "deadly", "d")
    check_all(todo, list(many.process_books(todo, 2, workers.die_once)))
    assert mark.exists()


def test_a_book_that_ends_every_process_is_given_up_and_the_others_go_on(
    tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    if not whole():  # tests/whole/test_commands.py starts them in earnest
        request.getfixturevalue("forked_workers")
    todo = orders(tmp_path, "a", "deadly", "c")
    check_all(todo, list(many.process_books(todo, 2, workers.die_always)), failing="deadly")


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A real scheduler on this machine, without workers."""
    told = tmp_path_factory.mktemp("scheduler") / "told.json"
    process = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
         "--port", "0", "--no-dashboard", "--scheduler-file", str(told)],
        cwd=ROOT, stderr=subprocess.DEVNULL,
        env={**os.environ, "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"},
    )  # fmt: skip
    try:
        yield address_in(told)
    finally:
        process.kill()
        process.wait(timeout=20)


def address_in(told: Path) -> str:
    for _ in range(600):
        with suppress(OSError, ValueError):
            return str(json.loads(told.read_text())["address"])
        time.sleep(0.1)
    raise AssertionError("the scheduler did not start")


@contextmanager
def worker(address: str, really: bool = False) -> Iterator[subprocess.Popen[Any] | Forked]:
    """A worker process with one thread and nobody who would start it again."""
    made = process(
        f"{workers.__name__}:of_dask", address, "--no-nanny", "--nthreads", "1",
        "--no-dashboard", "--death-timeout", "60", really=really, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield made
    finally:
        made.kill()
        made.wait(timeout=20)


def wait_for_workers(address: str, count: int) -> None:
    """Until so many workers have joined: fewer would queue books behind one that ends them."""
    with distributed.Client(address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=60)


def kill_the_holder(mark: Path, processes: Sequence[subprocess.Popen[Any] | Forked]) -> None:
    """End the worker that has taken a book and holds it; AssertionError if none does in time."""
    for _ in range(6_000):
        with suppress(OSError, ValueError):
            holder = int((mark / "held").read_text())
            next(p for p in processes if p.pid == holder).kill()
            return
        time.sleep(0.01)
    raise AssertionError("no worker took a second book")


@pytest.mark.at_length  # the next ends workers too
def test_cluster_one_worker_of_two_killed_half_way(
    scheduler: str, tmp_path: Path, mark: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 60.0)  # a busy machine starts workers slowly
    mark.mkdir()
    todo = orders(tmp_path, *(f"b{i}" for i in range(10)))
    with worker(scheduler, whole()) as one, worker(scheduler, whole()) as two:
        wait_for_workers(scheduler, 2)
        with ThreadPoolExecutor(1) as other:
            killed = other.submit(kill_the_holder, mark, (one, two))
            outcomes = list(process_on_cluster(todo, scheduler, workers.counted_one_held))
            killed.result()
    check_all(todo, outcomes)
    begun = Counter(p.name.partition("-")[0] for p in mark.glob("b*"))
    assert set(begun) == {order.path.stem for order in todo}
    assert (mark / "held-book").read_text() in [book for book, times in begun.items() if times == 2]


def test_cluster_gives_a_deadly_book_up_and_says_when_no_worker_is_left(
    scheduler: str, tmp_path: Path, mark: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 60.0)
    mark.mkdir()
    todo = orders(tmp_path, "a", "deadly", "c")
    with worker(scheduler) as one, worker(scheduler) as two, worker(scheduler) as three:
        # Two of them die of it; what was queued behind it is judged all the same.
        wait_for_workers(scheduler, 3)
        check_all(
            todo, list(process_on_cluster(todo, scheduler, workers.die_always)), failing="deadly"
        )
        monkeypatch.setattr(cluster, "PATIENCE", 2.0)
        again = process_on_cluster(todo, scheduler, workers.slow)
        assert next(again).failure == ""
        for process in (one, two, three):
            process.kill()
        with pytest.raises(ClusterError) as told:
            list(again)
    assert str(told.value) == (
        f"{scheduler}: the cluster failed after 1 of 3 books (no worker is left). What was written "
        "is whole; run the other books again."
    )


def sentence(*arguments: object) -> str:
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 3
    assert "Traceback" not in done.output
    (line,) = done.stderr.strip().splitlines()
    return line


def test_cluster_without_workers_says_so(
    scheduler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 0.5)
    (book,) = books(tmp_path / "in", "a")
    assert sentence("run", book, "--cluster", scheduler) == (
        f"siltbook: {scheduler}: this scheduler has no worker. Start workers and run again."
    )
    assert [p.name for p in book.parent.iterdir()] == ["a.xlsx"]


def test_cluster_with_another_version_is_refused(
    scheduler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (book,) = books(tmp_path / "in", "a")
    monkeypatch.setattr(cluster, "__version__", "9.9")
    monkeypatch.setattr(cluster, "PATIENCE", 60.0)
    with worker(scheduler):
        said = sentence("run", book, "--cluster", scheduler)
    assert "the workers have no Siltbook 9.9 (" in said
    assert said.endswith('on every worker: pip install "siltbook[cluster]"')


def test_cluster_that_cannot_be_reached_or_used_gives_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 0.5)
    (book,) = books(tmp_path / "in", "a")
    nowhere = sentence("run", book, "--cluster", "tcp://127.0.0.1:1")
    assert "tcp://127.0.0.1:1: no Dask scheduler could be reached there (" in nowhere
    assert nowhere.endswith("Check the address and that the scheduler runs.")
    assert "no Dask scheduler could be reached there" in sentence(
        "run", book, "--cluster", "no such address"
    )
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert sentence("run", book, "--cluster", "tcp://127.0.0.1:1") == (
        "siltbook: --cluster needs the Dask library 'distributed', which is not installed: "
        'pip install "siltbook[cluster]"'
    )


def test_differing_versions_are_named() -> None:
    there = {"packages": {"python": "3.12", "dask": "2026.1"}}
    here = {"packages": {"python": "3.11", "dask": "2026.1"}}
    said = distributed.versions.error_message(there, {"w": there}, here)["warning"]
    assert "mismatch" in said.casefold()
    assert cluster._packages(said) == ["python"]
